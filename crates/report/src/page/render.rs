//! Plain pictures from the mosaic: a small rendering of the whole frame and crops at 100 %.
//!
//! Made only to be looked at: colours balanced to grey, brightened so that the picture fills the tones, no sharpening,
//! no noise reduction. Nothing is measured from them.

use image::{Rgb, RgbImage};
use rawassay_decode::{Area, Colour, Frame};

/// What a rendering did to the tones; the page states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Toning {
    /// Gains of red, green, blue, the least of them 1.
    pub balance: [f64; 3],
    /// Brightening, ratio.
    pub lift: f64,
}

/// Level range of each plane: black and saturation, DN absolute.
pub type PlaneRange = (f64, f64);

/// Most that a dark frame is brightened: 4 EV.
const LIFT_MOST: f64 = 16.0;

/// The active area averaged down to at most `long_side` pixels, as stored (not yet upright), with the toning used.
///
/// Every output pixel is the mean of the samples that fall in it, each colour apart, so nothing is demosaiced.
#[must_use]
pub fn whole(frame: &Frame, ranges: &[PlaneRange], long_side: usize) -> Option<(RgbImage, Toning)> {
    let active = frame.active.intersect(&Area::new(0, 0, frame.width, frame.height));
    let period = frame.filter.columns.max(frame.filter.rows).max(1);
    if active.width < period || active.height < period || long_side == 0 {
        return None;
    }
    // No output pixel is smaller than one period of the filter array, so that each holds every colour.
    let scale = (active.width.max(active.height) as f64 / long_side as f64).max(period as f64);
    let columns = ((active.width as f64 / scale) as usize).max(1);
    let rows = ((active.height as f64 / scale) as usize).max(1);
    let planes = frame.filter.planes.len();
    let spp = frame.filter.samples_per_pixel;
    let column_of: Vec<usize> = (0..active.width).map(|x| (x * columns / active.width) * planes).collect();
    let mut linear = vec![[0f32; 3]; columns * rows];
    let mut sums = vec![0u64; columns * planes];
    let mut counts = vec![0u32; columns * planes];
    let mut y = 0;
    for (row, line) in linear.chunks_exact_mut(columns).enumerate() {
        sums.fill(0);
        counts.fill(0);
        while y < active.height && y * rows / active.height == row {
            let samples = frame.row(active.y + y);
            for (x, &slot) in column_of.iter().enumerate() {
                let at = active.x + x;
                if spp == 1 {
                    let slot = slot + frame.filter.plane_at(at, active.y + y);
                    sums[slot] += u64::from(samples[at]);
                    counts[slot] += 1;
                } else {
                    for plane in 0..planes.min(spp) {
                        sums[slot + plane] += u64::from(samples[at * spp + plane]);
                        counts[slot + plane] += 1;
                    }
                }
            }
            y += 1;
        }
        for (column, pixel) in line.iter_mut().enumerate() {
            let mut colours = Colours::default();
            for plane in 0..planes {
                let slot = column * planes + plane;
                if counts[slot] > 0 {
                    let level = relative(sums[slot] as f64 / f64::from(counts[slot]), ranges.get(plane));
                    colours.add(frame.filter.planes[plane].colour, level);
                }
            }
            *pixel = colours.rgb();
        }
    }
    let toning = toning(&linear);
    Some((paint(&linear, columns, toning), toning))
}

/// A square of `side` sensor pixels about a point of the full frame, moved inside the active area where it would
/// leave it; one output pixel per sensor pixel, as stored. Missing colours are the mean of that colour's nearest
/// samples (3 x 3, or the filter's period). With it the part that it shows, and its brightening.
#[must_use]
pub fn crop(
    frame: &Frame,
    ranges: &[PlaneRange],
    centre: (u32, u32),
    side: usize,
    balance: [f64; 3],
) -> Option<(RgbImage, Area, f64)> {
    let active = frame.active.intersect(&Area::new(0, 0, frame.width, frame.height));
    let area = square_inside(&active, centre, side)?;
    let spp = frame.filter.samples_per_pixel;
    let reach = if frame.filter.columns <= 2 { 1 } else { 2 };
    let mut linear = Vec::with_capacity(area.len());
    for y in area.y..area.bottom() {
        for x in area.x..area.right() {
            let mut colours = Colours::default();
            if spp > 1 {
                for (plane, p) in frame.filter.planes.iter().enumerate().take(spp) {
                    colours.add(p.colour, relative(f64::from(frame.row(y)[x * spp + plane]), ranges.get(plane)));
                }
                linear.push(colours.rgb());
                continue;
            }
            let own = frame.filter.plane_at(x, y);
            let own_colour = frame.filter.planes[own].colour;
            colours.add(own_colour, relative(f64::from(frame.row(y)[x]), ranges.get(own)));
            for v in y.saturating_sub(reach).max(active.y)..(y + reach + 1).min(active.bottom()) {
                for u in x.saturating_sub(reach).max(active.x)..(x + reach + 1).min(active.right()) {
                    let plane = frame.filter.plane_at(u, v);
                    let colour = frame.filter.planes[plane].colour;
                    if colour != own_colour {
                        colours.add(colour, relative(f64::from(frame.row(v)[u]), ranges.get(plane)));
                    }
                }
            }
            linear.push(colours.rgb());
        }
    }
    let toning = Toning { balance, lift: lift(&linear, balance) };
    Some((paint(&linear, area.width, toning), area, toning.lift))
}

/// The square of `side` about `centre`, kept inside `active`; none where the point lies outside.
fn square_inside(active: &Area, (x, y): (u32, u32), side: usize) -> Option<Area> {
    let (x, y) = (x as usize, y as usize);
    if active.is_empty() || x < active.x || y < active.y || x >= active.right() || y >= active.bottom() {
        return None;
    }
    let width = side.min(active.width);
    let height = side.min(active.height);
    let left = x.saturating_sub(width / 2).clamp(active.x, active.right() - width);
    let top = y.saturating_sub(height / 2).clamp(active.y, active.bottom() - height);
    Some(Area::new(left, top, width, height))
}

/// Share of saturation, 0..1 and a little beyond.
fn relative(dn: f64, range: Option<&PlaneRange>) -> f64 {
    match range {
        Some(&(black, saturation)) if saturation > black => ((dn - black) / (saturation - black)).clamp(-0.05, 1.2),
        _ => 0.0,
    }
}

/// Sum and number of each colour at one place.
#[derive(Default)]
struct Colours {
    sums: [(f64, f64); 7],
}

impl Colours {
    fn add(&mut self, colour: Colour, level: f64) {
        let slot = match colour {
            Colour::Red => 0,
            Colour::Green => 1,
            Colour::Blue => 2,
            Colour::Cyan => 3,
            Colour::Magenta => 4,
            Colour::Yellow => 5,
            Colour::White | Colour::Other => 6,
        };
        self.sums[slot].0 += level;
        self.sums[slot].1 += 1.0;
    }

    fn rgb(&self) -> [f32; 3] {
        let [red, green, blue, cyan, magenta, yellow, white] = self.sums.map(|(s, n)| (n > 0.0).then(|| s / n));
        let rgb = match (cyan, magenta, yellow) {
            // Complementary filters: each primary is in two of them (cyan = green + blue ...).
            (Some(c), Some(m), Some(y)) => [(m + y - c).max(0.0), (c + y - m).max(0.0), (c + m - y).max(0.0)],
            _ => {
                let grey = white.or(green).or(red).or(blue).unwrap_or(0.0);
                [red.unwrap_or(grey), green.unwrap_or(grey), blue.unwrap_or(grey)]
            }
        };
        rgb.map(|v| v as f32)
    }
}

/// Balance so that the picture as a whole is grey (each gain at most 4), and the lift.
fn toning(linear: &[[f32; 3]]) -> Toning {
    let mut sums = [0f64; 3];
    for pixel in linear {
        // Clipped pixels carry no colour.
        if pixel.iter().all(|&v| v < 0.95) {
            for (sum, &v) in sums.iter_mut().zip(pixel) {
                *sum += f64::from(v.max(0.0));
            }
        }
    }
    let mut balance = sums.map(|s| if s > 0.0 && sums[1] > 0.0 { (sums[1] / s).clamp(0.25, 4.0) } else { 1.0 });
    // With the least gain at 1, a pixel clipped in every plane comes out white.
    let least = balance.iter().copied().fold(f64::INFINITY, f64::min);
    balance = balance.map(|g| g / least);
    Toning { balance, lift: lift(linear, balance) }
}

/// Brightening that takes the 99.5 percentile of the brightest colour to white.
fn lift(linear: &[[f32; 3]], balance: [f64; 3]) -> f64 {
    const BINS: usize = 4096;
    let mut histogram = vec![0u32; BINS];
    for pixel in linear {
        let brightest = pixel.iter().zip(balance).map(|(&v, g)| f64::from(v) * g).fold(0.0, f64::max);
        histogram[((brightest * BINS as f64 / 2.0) as usize).min(BINS - 1)] += 1;
    }
    let beyond = (linear.len() as f64 * 0.005) as u64;
    let mut seen = 0u64;
    for (bin, &count) in histogram.iter().enumerate().rev() {
        seen += u64::from(count);
        if seen > beyond {
            return (BINS as f64 / 2.0 / (bin as f64 + 1.0)).clamp(1.0, LIFT_MOST);
        }
    }
    1.0
}

/// Linear light to 8 bit with the sRGB curve (IEC 61966-2-1).
fn paint(linear: &[[f32; 3]], columns: usize, toning: Toning) -> RgbImage {
    let curve: Vec<u8> = (0..=4095)
        .map(|i| {
            let v = f64::from(i) / 4095.0;
            let s = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
            (s * 255.0).round() as u8
        })
        .collect();
    let gain = toning.balance.map(|g| (g * toning.lift * 4095.0) as f32);
    let mut picture = RgbImage::new(columns as u32, (linear.len() / columns.max(1)) as u32);
    for (pixel, source) in picture.pixels_mut().zip(linear) {
        let tone = |c: usize| curve[(source[c] * gain[c]).clamp(0.0, 4095.0) as usize];
        *pixel = Rgb([tone(0), tone(1), tone(2)]);
    }
    picture
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::page::testing::{flat_frame, frame_from};
    use rawassay_decode::FilterArray;

    #[test]
    fn a_grey_frame_is_grey_at_any_phase_and_size() {
        for phase in ["RGGB", "GBRG", "BGGR", "GRBG"] {
            let frame = flat_frame(FilterArray::bayer(phase).unwrap(), 301, 203, 1000);
            let (picture, toning) = whole(&frame, &[(100.0, 4000.0); 4], 100).unwrap();
            assert!(picture.width() <= 100 && picture.width() >= 98, "{}", picture.width());
            assert_eq!(toning.balance, [1.0; 3]);
            let first = picture.get_pixel(0, 0);
            assert!(picture.pixels().all(|p| p == first), "{phase}");
            assert!(first.0[0] == first.0[1] && first.0[1] == first.0[2]);
        }
    }

    #[test]
    fn each_colour_lands_in_its_channel() {
        for (columns, rows, letters) in [(2, 2, "RGGB"), (6, 6, "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG")] {
            let filter = FilterArray::mosaic(columns, rows, letters).unwrap();
            for (channel, colour) in [Colour::Red, Colour::Green, Colour::Blue].into_iter().enumerate() {
                let frame = frame_from(filter.clone(), 120, 90, |f, x, y| {
                    if f.planes[f.plane_at(x, y)].colour == colour { 3000 } else { 120 }
                });
                let ranges = vec![(100.0, 4000.0); frame.filter.planes.len()];
                let (picture, area, _) = crop(&frame, &ranges, (60, 45), 32, [1.0; 3]).unwrap();
                assert_eq!((area.width, area.height), (32, 32));
                for pixel in picture.pixels() {
                    assert!(pixel.0[channel] > 200, "{letters} {colour:?} {pixel:?}");
                    assert!(
                        (0..3).filter(|&c| c != channel).all(|c| pixel.0[c] < 120),
                        "{letters} {colour:?} {pixel:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_clipped_frame_is_white_and_a_black_one_black() {
        let filter = FilterArray::bayer("RGGB").unwrap();
        let (white, _) = whole(&flat_frame(filter.clone(), 64, 64, 4000), &[(100.0, 4000.0); 4], 32).unwrap();
        assert!(white.pixels().all(|p| p.0 == [255; 3]));
        let (black, _) = whole(&flat_frame(filter, 64, 64, 100), &[(100.0, 4000.0); 4], 32).unwrap();
        assert!(black.pixels().all(|p| p.0 == [0; 3]));
    }

    #[test]
    fn odd_inputs_give_nothing_or_something_but_no_panic() {
        let filter = FilterArray::bayer("RGGB").unwrap();
        assert!(whole(&flat_frame(filter.clone(), 1, 1, 5), &[(0.0, 10.0); 4], 100).is_none());
        let tiny = flat_frame(filter.clone(), 3, 5, 5);
        assert!(whole(&tiny, &[(0.0, 10.0); 4], 100).is_some());
        assert!(whole(&tiny, &[], 100).is_some());
        assert!(whole(&tiny, &[(10.0, 10.0); 4], 100).is_some());
        assert!(crop(&tiny, &[(0.0, 10.0); 4], (9, 9), 50, [1.0; 3]).is_none());
        let (picture, area, _) = crop(&tiny, &[(0.0, 10.0); 4], (2, 4), 50, [1.0; 3]).unwrap();
        assert_eq!((picture.width(), picture.height()), (3, 5));
        assert_eq!(area, Area::new(0, 0, 3, 5));
        let mono = flat_frame(FilterArray::monochrome(), 20, 20, 5);
        assert!(whole(&mono, &[(0.0, 10.0)], 10).is_some());
        let linear = flat_frame(FilterArray::linear_rgb(), 20, 20, 5);
        assert!(whole(&linear, &[(0.0, 10.0); 3], 10).is_some());
        assert!(crop(&linear, &[(0.0, 10.0); 3], (5, 5), 10, [1.0; 3]).is_some());
    }
}
