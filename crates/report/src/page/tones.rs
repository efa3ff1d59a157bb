//! One pass over the mosaic for the pages: histogram of each plane, and where it is clipped or blocked.
//!
//! Where a sample is clipped or at the floor is decided by the levels that the record holds, so the page shows what
//! was measured and nothing else.

use rawassay_analysis::Channel;
use rawassay_decode::{Area, Frame};
use serde::{Deserialize, Serialize};

/// Step of the histogram, EV.
pub const STEP_EV: f64 = 1.0 / 8.0;
/// Lowest bin's lower edge, EV relative to saturation.
pub const LOWEST_EV: f64 = -16.0;
/// Bins: from [`LOWEST_EV`] to 0.5 EV above saturation.
pub const BINS: usize = 132;
/// Longest side of a mask, cells.
const MASK_LONG_SIDE: usize = 480;

/// Histogram of one plane on an EV axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlaneHistogram {
    /// Plane name.
    pub name: String,
    /// First bin that is kept, counted from [`LOWEST_EV`] (0 EV = saturation).
    pub first: usize,
    /// Samples in each bin of [`STEP_EV`] from there; empty bins at both ends are left out.
    pub counts: Vec<u64>,
    /// Samples at or below black, which have no place on an EV axis.
    pub at_black: u64,
}

/// A map of flags over the active area, as stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Mask {
    /// Cells across.
    pub cols: usize,
    /// Cells down.
    pub rows: usize,
    /// By row: true where marked.
    pub cells: Vec<bool>,
}

impl Mask {
    /// Marked cells.
    #[must_use]
    pub fn marked(&self) -> usize {
        self.cells.iter().filter(|&&c| c).count()
    }
}

impl PlaneHistogram {
    /// Samples of the plane.
    #[must_use]
    pub fn total(&self) -> u64 {
        self.counts.iter().sum::<u64>() + self.at_black
    }

    /// Samples in a bin counted from [`LOWEST_EV`].
    #[must_use]
    pub fn count(&self, bin: usize) -> u64 {
        bin.checked_sub(self.first).and_then(|at| self.counts.get(at)).copied().unwrap_or(0)
    }
}

/// What the pass gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Tones {
    /// One per plane.
    pub histograms: Vec<PlaneHistogram>,
    /// One per plane: cells with at least one sample at saturation.
    pub clipped: Vec<Mask>,
    /// Cells where at least half of the samples, over all planes, lie at or below black + one read noise. `None`
    /// where no plane's read noise is known.
    pub blocked: Option<Mask>,
    /// Side of a mask's cell, sensor pixels (cells at the right and bottom edge may be a pixel smaller).
    pub cell_px: f64,
}

/// Columns and rows of the masks for an active area.
fn mask_size(active: &Area) -> (usize, usize) {
    let scale = (active.width.max(active.height) as f64 / MASK_LONG_SIDE as f64).max(2.0);
    (((active.width as f64 / scale) as usize).max(1), ((active.height as f64 / scale) as usize).max(1))
}

/// Reads the active area once. `channels` are the record's, in the order of the frame's planes; `None` where they do
/// not fit the frame (then the record was made from another file).
#[must_use]
pub fn read(frame: &Frame, channels: &[Channel]) -> Option<Tones> {
    let active = frame.active.intersect(&Area::new(0, 0, frame.width, frame.height));
    let planes = frame.filter.planes.len();
    if channels.len() != planes || active.is_empty() {
        return None;
    }
    let spp = frame.filter.samples_per_pixel;
    let (cols, rows) = mask_size(&active);
    let column_of: Vec<usize> = (0..active.width).map(|x| x * cols / active.width).collect();
    let saturation: Vec<f64> = channels.iter().map(|c| c.saturation_dn).collect();
    let floor: Vec<Option<f64>> = channels.iter().map(|c| c.read_noise_dn.map(|n| c.black_dn + n)).collect();
    let any_floor = floor.iter().any(Option::is_some);

    let mut dn = vec![vec![0u64; 65536]; planes];
    let mut clipped = vec![vec![false; cols * rows]; planes];
    let mut low = vec![0u32; cols];
    let mut seen = vec![0u32; cols];
    let mut blocked = vec![false; cols * rows];
    for row in 0..rows {
        low.fill(0);
        seen.fill(0);
        // Rows y with y * rows / height == row.
        let from = (row * active.height).div_ceil(rows);
        let to = ((row + 1) * active.height).div_ceil(rows);
        for y in from..to {
            let line = frame.row(active.y + y);
            let mut take = |plane: usize, x: usize, sample: u16| {
                let value = f64::from(sample);
                dn[plane][usize::from(sample)] += 1;
                let column = column_of[x];
                if value >= saturation[plane] {
                    clipped[plane][row * cols + column] = true;
                }
                if let Some(floor) = floor[plane] {
                    seen[column] += 1;
                    low[column] += u32::from(value <= floor);
                }
            };
            for x in 0..active.width {
                let at = active.x + x;
                if spp == 1 {
                    take(frame.filter.plane_at(at, active.y + y), x, line[at]);
                } else {
                    for plane in 0..planes.min(spp) {
                        take(plane, x, line[at * spp + plane]);
                    }
                }
            }
        }
        for column in 0..cols {
            blocked[row * cols + column] = seen[column] > 0 && 2 * low[column] >= seen[column];
        }
    }
    let histograms = channels.iter().zip(&dn).map(|(channel, dn)| histogram(channel, dn)).collect();
    let mask = |cells| Mask { cols, rows, cells };
    Some(Tones {
        histograms,
        clipped: clipped.into_iter().map(mask).collect(),
        blocked: any_floor.then(|| mask(blocked)),
        cell_px: active.width as f64 / cols as f64,
    })
}

/// Puts counts by DN on the EV axis.
fn histogram(channel: &Channel, dn: &[u64]) -> PlaneHistogram {
    let mut counts = vec![0u64; BINS];
    let mut at_black = 0;
    let full = channel.saturation_dn - channel.black_dn;
    for (value, &count) in dn.iter().enumerate().filter(|&(_, &count)| count > 0) {
        let above = value as f64 - channel.black_dn;
        if above <= 0.0 || full <= 0.0 {
            at_black += count;
            continue;
        }
        let bin = (((above / full).log2() - LOWEST_EV) / STEP_EV).floor();
        counts[(bin.max(0.0) as usize).min(BINS - 1)] += count;
    }
    let first = counts.iter().position(|&c| c > 0).unwrap_or(0);
    let last = counts.iter().rposition(|&c| c > 0).map_or(first, |l| l + 1);
    PlaneHistogram { name: channel.name.clone(), first, counts: counts[first..last].to_vec(), at_black }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::page::testing::{channels, frame_from};
    use rawassay_decode::FilterArray;

    /// A frame with a clipped disc in the green planes only and a blocked corner, and a small active area.
    fn spotted(filter: FilterArray) -> Frame {
        let mut frame = frame_from(filter, 640, 430, |f, x, y| {
            let green = f.planes[f.plane_at(x, y)].colour == rawassay_decode::Colour::Green;
            let disc = (x as f64 - 400.0).hypot(y as f64 - 200.0) < 60.0;
            if disc && green {
                4000
            } else if x < 90 && y < 70 {
                101
            } else {
                1000
            }
        });
        frame.active = Area::new(7, 5, 620, 411);
        frame
    }

    #[test]
    fn masks_agree_with_the_samples_cell_by_cell() {
        for letters in ["RGGB", "GBRG"] {
            let frame = spotted(FilterArray::bayer(letters).unwrap());
            let channels = channels(&frame, Some(2.0));
            let tones = read(&frame, &channels).unwrap();
            let active = frame.active;
            for (plane, mask) in tones.clipped.iter().enumerate() {
                let mut expected = vec![false; mask.cols * mask.rows];
                for y in 0..active.height {
                    for x in 0..active.width {
                        let (fx, fy) = (active.x + x, active.y + y);
                        if frame.filter.plane_at(fx, fy) == plane && frame.row(fy)[fx] >= 4000 {
                            expected[(y * mask.rows / active.height) * mask.cols + x * mask.cols / active.width] = true;
                        }
                    }
                }
                assert_eq!(mask.cells, expected, "{letters} plane {plane}");
                let green = frame.filter.planes[plane].colour == rawassay_decode::Colour::Green;
                assert_eq!(mask.marked() > 0, green, "{letters} plane {plane}");
            }
            let blocked = tones.blocked.unwrap();
            assert!(blocked.cells[0] && !blocked.cells[blocked.cells.len() - 1]);
            // 83 x 65 of the active area's 620 x 411 pixels: 2.12 %.
            let share = blocked.marked() as f64 / blocked.cells.len() as f64;
            assert!((share - 83.0 * 65.0 / (620.0 * 411.0)).abs() < 0.002, "{share}");
        }
    }

    #[test]
    fn histogram_counts_every_sample_once_at_its_place() {
        let frame = spotted(FilterArray::bayer("RGGB").unwrap());
        let tones = read(&frame, &channels(&frame, None)).unwrap();
        assert!(tones.blocked.is_none());
        let total: u64 = tones.histograms.iter().map(PlaneHistogram::total).sum();
        assert_eq!(total, frame.active.len() as u64);
        // 1000 DN above black 100 of 3900: log2(900 / 3900) = -2.115 EV.
        let bin = ((-2.115 - LOWEST_EV) / STEP_EV) as usize;
        for histogram in &tones.histograms {
            let fullest = (0..BINS).max_by_key(|&b| histogram.count(b)).unwrap();
            assert_eq!(fullest, bin, "{}", histogram.name);
        }
        // Saturation itself is the first bin at 0 EV.
        let at_zero = (-LOWEST_EV / STEP_EV) as usize;
        assert!(tones.histograms[1].count(at_zero) > 1000);
        assert_eq!(tones.histograms[0].count(at_zero), 0);
    }

    #[test]
    fn a_record_of_another_frame_is_refused() {
        let frame = spotted(FilterArray::bayer("RGGB").unwrap());
        assert!(read(&frame, &channels(&frame, None)[..3]).is_none());
    }
}
