//! Samples of one filter colour, linear above black, and what is known of their noise.

use rawassay_decode::{Area, Colour, Frame};

use super::local_noise;
use crate::measures::Channel;
use crate::measures::histogram::picture_area;

/// Stands for a saturated sample in pictures made from the mosaic. Averages that hold one stay far above any DN.
pub(crate) const SATURATED: f32 = 1e12;
/// Averages above this hold a saturated sample.
pub(crate) const HOLDS_SATURATED: f32 = 1e8;
/// Samples above this share of saturation count as clipped: sensors bend a little before they clip.
const CLIP_SHARE: f64 = 0.97;

/// How one cell of the filter array is read: `(dn - black_dn) * scale`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cell {
    /// Black level, DN.
    pub(crate) black_dn: f32,
    /// Evens out the two greens.
    pub(crate) scale: f32,
    /// Raw DN at and above which the sample is clipped.
    pub(crate) clip_dn: u16,
}

/// Variance of one sample: `slope_dn * level + floor_dn2`, in DN above black.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SampleNoise {
    /// DN of variance per DN of level (one over the gain).
    pub(crate) slope_dn: f32,
    /// Variance at black, DN^2.
    pub(crate) floor_dn2: f32,
}

impl SampleNoise {
    /// Variance at `level_dn` above black, DN^2.
    pub(crate) fn variance(&self, level_dn: f32) -> f32 {
        self.slope_dn.mul_add(level_dn.max(0.0), self.floor_dn2)
    }
}

/// Until something is known.
const UNKNOWN: SampleNoise = SampleNoise { slope_dn: 0.0, floor_dn2: 1.0 };

/// The samples of one filter colour of a frame.
pub(crate) struct ColourSamples<'a> {
    /// The frame.
    pub(crate) frame: &'a Frame,
    /// The picture: what of the active area is stored.
    pub(crate) area: Area,
    /// Columns and rows after which `cells` repeats.
    pub(crate) period: (usize, usize),
    /// One per cell of the filter array by row; `None` where another colour lies.
    pub(crate) cells: Vec<Option<Cell>>,
    /// Which sample of a pixel is read (linear files; 0 for mosaics).
    pub(crate) sample: usize,
    /// Noise of one sample; where it is not measured, with what of the finest texture looks like it.
    pub(crate) noise: SampleNoise,
    /// The same as differences of near samples have it, which hold less of the texture.
    pub(crate) near: SampleNoise,
    /// Name for notes ("G", "R", ...).
    pub(crate) name: String,
}

impl<'a> ColourSamples<'a> {
    /// Samples of the planes `planes` (indices into the filter's planes, one colour).
    pub(crate) fn new(frame: &'a Frame, channels: &[Channel], planes: &[usize]) -> Self {
        let filter = &frame.filter;
        let linear = filter.is_linear();
        let scales = even_greens(frame, channels, planes);
        let cell = |plane: usize| -> Option<Cell> {
            let k = planes.iter().position(|&p| p == plane)?;
            let black = channels.get(plane).map_or(0.0, |c| c.black_dn);
            let saturation = channels.get(plane).map_or(65535.0, |c| c.saturation_dn);
            let clip = black + (saturation - black) * CLIP_SHARE;
            Some(Cell { black_dn: black as f32, scale: scales[k], clip_dn: clip.clamp(1.0, 65535.0) as u16 })
        };
        let (period, cells, sample) = if linear {
            ((1, 1), vec![cell(planes[0])], planes[0])
        } else {
            let cells = filter.cells.iter().map(|&p| cell(usize::from(p))).collect();
            ((filter.columns, filter.rows), cells, 0)
        };
        let name = planes
            .first()
            .and_then(|&p| filter.planes.get(p))
            .map_or_else(String::new, |p| p.name.chars().take(1).collect());
        let mut samples =
            Self { frame, area: picture_area(frame), period, cells, sample, noise: UNKNOWN, near: UNKNOWN, name };
        if let Some(noise) = stated_noise(channels, planes) {
            (samples.noise, samples.near) = (noise, noise);
        } else {
            samples.noise = local_noise::with_texture(&samples);
            samples.near = local_noise::near(&samples, stated_slope(channels, planes)).unwrap_or(samples.noise);
        }
        samples
    }

    /// How the sample at column `x`, row `y` of the full frame is read; `None` where it is of another colour.
    #[inline]
    pub(crate) fn cell_at(&self, x: usize, y: usize) -> Option<Cell> {
        self.cells[(y % self.period.1) * self.period.0 + x % self.period.0]
    }

    /// The samples of this colour in row `y` of the full frame from column `x` on, 0 where there is none, [`SATURATED`] where
    /// it is clipped.
    pub(crate) fn fill_row(&self, x: usize, y: usize, to: &mut [f32]) {
        let spp = self.frame.filter.samples_per_pixel;
        let row = &self.frame.row(y)[x * spp..];
        for (k, (to, pixel)) in to.iter_mut().zip(row.chunks_exact(spp)).enumerate() {
            let dn = pixel[self.sample];
            *to = self.cell_at(x + k, y).map_or(0.0, |cell| {
                if dn >= cell.clip_dn { SATURATED } else { (f32::from(dn) - cell.black_dn) * cell.scale }
            });
        }
    }

    /// Share of the pixels that hold a sample of this colour.
    pub(crate) fn density(&self) -> f32 {
        self.cells.iter().flatten().count() as f32 / self.cells.len() as f32
    }
}

/// The planes of each colour, the colour with most samples first (green in Bayer and 6x6 arrays).
pub(crate) fn colour_groups(frame: &Frame) -> Vec<Vec<usize>> {
    let filter = &frame.filter;
    let mut groups: Vec<(Colour, Vec<usize>, usize)> = Vec::new();
    for (index, plane) in filter.planes.iter().enumerate() {
        let samples = if filter.is_linear() {
            1
        } else {
            filter.cells.iter().filter(|&&cell| usize::from(cell) == index).count()
        };
        // A linear file holds each colour at every pixel, and colours of kind `Other` may differ: keep them apart.
        let known = (!filter.is_linear() && plane.colour != Colour::Other)
            .then(|| groups.iter_mut().find(|group| group.0 == plane.colour))
            .flatten();
        match known {
            Some(group) => {
                group.1.push(index);
                group.2 += samples;
            }
            None => groups.push((plane.colour, vec![index], samples)),
        }
    }
    groups.sort_by_key(|(colour, _, samples)| {
        (std::cmp::Reverse(*samples), !matches!(colour, Colour::Green | Colour::White))
    });
    groups.into_iter().map(|(_, planes, _)| planes).collect()
}

/// Factor for each of the planes of one colour that brings their means together: the two greens of a Bayer array
/// differ by a per cent or two in many cameras. Factors far from one are not trusted.
fn even_greens(frame: &Frame, channels: &[Channel], planes: &[usize]) -> Vec<f32> {
    if planes.len() < 2 || frame.filter.is_linear() {
        return vec![1.0; planes.len()];
    }
    let mut sums = vec![(0.0_f64, 0.0_f64); planes.len()];
    let area = picture_area(frame);
    let step = (area.height / 256).max(1) * frame.filter.rows;
    for y0 in (area.y..area.bottom()).step_by(step) {
        for y in y0..(y0 + frame.filter.rows).min(area.bottom()) {
            let row = &frame.row(y)[..area.right()];
            let period = frame.filter.columns;
            for first in area.x..area.right().min(area.x + period) {
                let Some(k) = planes.iter().position(|&p| p == frame.filter.plane_at(first, y)) else { continue };
                let Some(channel) = channels.get(planes[k]) else { continue };
                let below = (channel.saturation_dn * 0.9).ceil().clamp(0.0, 65_536.0) as u32;
                let (mut sum, mut n) = (0_u64, 0_u64);
                for &dn in row[first..].iter().step_by(period) {
                    let counts = u64::from(u32::from(dn) < below);
                    sum += u64::from(dn) * counts;
                    n += counts;
                }
                sums[k].0 += sum as f64 - n as f64 * channel.black_dn;
                sums[k].1 += n as f64;
            }
        }
    }
    let means: Vec<f64> = sums.iter().map(|&(sum, n)| if n > 0.0 { sum / n } else { 0.0 }).collect();
    let mean = means.iter().sum::<f64>() / means.len() as f64;
    means.iter().map(|&m| if m > 0.0 && (mean / m - 1.0).abs() < 0.1 { (mean / m) as f32 } else { 1.0 }).collect()
}

/// Noise of one sample from the gain and read noise of the channels, where they are known.
fn stated_noise(channels: &[Channel], planes: &[usize]) -> Option<SampleNoise> {
    let slope = stated_slope(channels, planes)?;
    let mut floor = 0.0;
    for &plane in planes {
        floor += channels.get(plane)?.read_noise_dn?.powi(2);
    }
    let noise = SampleNoise { slope_dn: slope, floor_dn2: ((floor / planes.len() as f64).max(1.0 / 12.0)) as f32 };
    noise.floor_dn2.is_finite().then_some(noise)
}

/// Variance over level from the gain of the channels, where it is known.
fn stated_slope(channels: &[Channel], planes: &[usize]) -> Option<f32> {
    let mut slope = 0.0;
    for &plane in planes {
        slope += 1.0 / channels.get(plane)?.gain_e_per_dn.filter(|g| *g > 0.0)?;
    }
    let slope = (slope / planes.len() as f64) as f32;
    slope.is_finite().then_some(slope)
}
