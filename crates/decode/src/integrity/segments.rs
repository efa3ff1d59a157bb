//! One pass over the samples, in stretches of 128 along the rows: smallest, largest, how many are impossibly low, how
//! rough the stretch is.

use crate::backend::Decoded;

/// Samples of a stretch; the last one of a row takes the rest.
pub(super) const STRETCH: usize = 128;
/// Samples of a stretch from which its roughness is taken.
const PROBE: usize = 32;

/// Figures of one stretch.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Segment {
    pub(super) least: u16,
    pub(super) most: u16,
    /// Samples below the lowest possible.
    pub(super) low: u16,
    /// Mean difference of neighbours of one colour, DN.
    pub(super) rough_dn: u16,
}

impl Segment {
    pub(super) fn constant(&self) -> bool {
        self.least == self.most
    }
}

/// All stretches, by row.
pub(super) struct Segments {
    pub(super) per_row: usize,
    pub(super) rows: usize,
    pub(super) all: Vec<Segment>,
    row_samples: usize,
    beyond: Option<(usize, u16, u16)>,
}

impl Segments {
    pub(super) fn new(decoded: &Decoded, low: u16) -> Self {
        let row_samples = decoded.width * decoded.filter.samples_per_pixel;
        let per_row = (row_samples / STRETCH).max(1);
        let stride = (decoded.filter.columns * decoded.filter.samples_per_pixel).min(STRETCH / 2);
        let mut all = Vec::with_capacity(per_row * decoded.height);
        for row in decoded.samples.chunks_exact(row_samples) {
            let (main, last) = row.split_at((per_row - 1) * STRETCH);
            all.extend(main.chunks_exact(STRETCH).chain([last]).map(|s| segment(s, low, stride)));
        }
        let beyond = decoded.largest_code.and_then(|code| {
            let at = all.iter().position(|s| s.most > code)?;
            Some((at / per_row, all[at].most, code))
        });
        Self { per_row, rows: decoded.height, all, row_samples, beyond }
    }

    /// Columns (in samples) of a stretch.
    pub(super) fn span(&self, index: usize) -> (usize, usize) {
        let first = index % self.per_row;
        let end = if first + 1 == self.per_row { self.row_samples } else { (first + 1) * STRETCH };
        (first * STRETCH, end)
    }

    pub(super) fn row_samples(&self) -> usize {
        self.row_samples
    }

    /// Samples that the code has no room for: the decompressor read rubbish.
    pub(super) fn beyond_code(&self) -> Option<String> {
        let (row, value, code) = self.beyond?;
        Some(format!("row {row} holds the value {value}, the file's samples end at {code}: decoded from broken data"))
    }
}

fn segment(samples: &[u16], low: u16, stride: usize) -> Segment {
    let (mut least, mut most, mut lows) = (u16::MAX, 0, 0_u16);
    for &v in samples {
        least = least.min(v);
        most = most.max(v);
        lows += u16::from(v < low);
    }
    let probe = &samples[..samples.len().min(PROBE + stride)];
    let pairs = probe.len().saturating_sub(stride);
    let sum: u32 = probe.iter().zip(&probe[stride.min(probe.len())..]).map(|(a, b)| u32::from(a.abs_diff(*b))).sum();
    Segment { least, most, low: lows, rough_dn: (sum / pairs.max(1) as u32) as u16 }
}
