//! The small picture that tells near-duplicates: mean of the green (or only) plane in some 32 x 24 cells, as EV below
//! saturation, laid out as the frame is stored.
//!
//! Own derivation. Two frames of one subject differ by one constant where only the exposure changed (a bracket), by
//! next to nothing where nothing did (a burst).

use multiversion::multiversion;
use rawassay_decode::Area;

use super::Likeness;
use super::clipping::{Thresholds, splits};

/// Cells along the longer and the shorter side.
const CELLS: (usize, usize) = (32, 24);

/// Steps per EV of the stored value.
const STEPS: f64 = 16.0;

/// Sum and number of the values whose mask is set.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn masked_sum(values: &[u16], masks: &[u16]) -> (u32, u32) {
    let (mut sum, mut count) = (0, 0);
    for (&v, &m) in values.iter().zip(masks) {
        sum += u32::from(v & m);
        count += u32::from(m & 1);
    }
    (sum, count)
}

/// Sums by cell while rows pass.
#[derive(Debug)]
pub(crate) struct Sums {
    columns: Vec<usize>,
    rows: Vec<usize>,
    row: usize,
    sum: Vec<u64>,
    count: Vec<u64>,
}

impl Sums {
    pub(crate) fn new(area: &Area) -> Self {
        let (longer, shorter) = CELLS;
        let (x, y) = if area.width >= area.height { (longer, shorter) } else { (shorter, longer) };
        let (x, y) = (x.min(area.width), y.min(area.height));
        Self {
            columns: splits(area.width, x),
            rows: splits(area.height, y),
            row: 0,
            sum: vec![0; x * y],
            count: vec![0; x * y],
        }
    }

    /// Adds row `y` of the active area; `mask` is all ones where the sample belongs to the picture, else zero.
    pub(crate) fn add(&mut self, y: usize, row: &[u16], mask: &[u16], spp: usize) {
        if y >= self.rows[self.row + 1] {
            self.row += 1;
        }
        let cols = self.columns.len() - 1;
        for cell in 0..cols {
            let (from, to) = (self.columns[cell] * spp, self.columns[cell + 1] * spp);
            let (mut sum, mut count) = (0_u64, 0_u64);
            // Sums of at most 8192 samples stay inside 32 bits.
            for (values, masks) in row[from..to].chunks(8192).zip(mask[from..to].chunks(8192)) {
                let (s, n) = masked_sum(values, masks);
                sum += u64::from(s);
                count += u64::from(n);
            }
            self.sum[self.row * cols + cell] += sum;
            self.count[self.row * cols + cell] += count;
        }
    }

    /// The small picture; empty where a cell held no sample of a pictured plane.
    pub(crate) fn finish(self, thresholds: &[Thresholds]) -> Likeness {
        let pictured: Vec<&Thresholds> = thresholds.iter().filter(|t| t.pictured).collect();
        let n = pictured.len().max(1) as f64;
        let black = pictured.iter().map(|t| t.black_dn).sum::<f64>() / n;
        let saturation = pictured.iter().map(|t| t.saturation_dn).sum::<f64>() / n - black;
        if self.count.contains(&0) || saturation <= 0.0 {
            return Likeness::default();
        }
        let below = |sum: u64, count: u64| {
            let share = (sum as f64 / count as f64 - black) / saturation;
            if share > 0.0 { (-STEPS * share.log2()).round().clamp(0.0, 255.0) as u8 } else { 255 }
        };
        Likeness {
            cols: self.columns.len() - 1,
            rows: self.rows.len() - 1,
            below_saturation: self.sum.iter().zip(&self.count).map(|(&s, &c)| below(s, c)).collect(),
        }
    }
}
