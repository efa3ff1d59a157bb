//! Whether two frames show the same framing, by their small pictures from the raw.
//!
//! Measures: correlation of the log2 levels, so that exposure drops out, over the cells that hold tone in both frames
//! (neither saturated nor near the noise), at the best of small shifts; and by how many EV the second is brighter.
//! Source: own derivation (normalised cross-correlation of log luminance).
//! Fails when: fewer than 15 % of the cells hold tone in both, or a picture has another number of cells.

use crate::Likeness;

/// Steps of the small picture per EV.
const STEPS_PER_EV: f64 = 16.0;
/// Cells nearer to saturation than this hold clipped samples, steps (1/8 EV).
const TOP: u8 = 2;
/// Cells further below saturation than this are near the noise, steps (11 EV).
const BOTTOM: u8 = 176;
/// Least share of cells that must hold tone in both frames.
const LEAST_CELLS: f64 = 0.15;
/// Below this spread of tone a picture is plain: its correlation is that of the noise, EV.
const PLAIN_EV: f64 = 0.12;

/// How alike two frames are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// Correlation of the log levels, -1..1; 1 for two plain pictures that differ by nothing but exposure.
    pub correlation: f64,
    /// Root mean square of what differs after exposure is taken out, EV.
    pub differs_ev: f64,
    /// By how much the second frame is brighter in the raw, EV.
    pub brighter_ev: f64,
    /// Share of the cells that hold tone in both, 0..1.
    pub cells: f64,
    /// Shift of the second picture, cells.
    pub shift: (i32, i32),
}

/// Compares two small pictures, allowing shifts of up to `reach` cells. `None` where too few cells hold tone in both.
#[must_use]
pub fn compare(first: &Likeness, second: &Likeness, reach: i32) -> Option<Alike> {
    let (cols, rows) = (first.cols, first.rows);
    let cells = cols.checked_mul(rows)?;
    if cells == 0 || (second.cols, second.rows) != (cols, rows) {
        return None;
    }
    if first.below_saturation.len() != cells || second.below_saturation.len() != cells {
        return None;
    }
    let mut best = at_shift(first, second, 0, 0);
    if best.is_some_and(|b| b.correlation > 0.985) {
        return best;
    }
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            if (dx, dy) == (0, 0) {
                continue;
            }
            let alike = at_shift(first, second, dx, dy);
            if alike.is_some_and(|a| best.is_none_or(|b| a.correlation > b.correlation)) {
                best = alike;
            }
        }
    }
    best
}

/// The comparison at one shift; integer sums, one pass.
fn at_shift(first: &Likeness, second: &Likeness, dx: i32, dy: i32) -> Option<Alike> {
    let (cols, rows) = (first.cols as i32, first.rows as i32);
    let (mut n, mut sa, mut sb, mut saa, mut sbb, mut sab) = (0_i64, 0_i64, 0_i64, 0_i64, 0_i64, 0_i64);
    for y in dy.max(0)..rows.min(rows + dy) {
        let start = dx.max(0);
        let end = cols.min(cols + dx);
        if start >= end {
            return None;
        }
        let a = &first.below_saturation[(y * cols + start) as usize..(y * cols + end) as usize];
        let from = (y - dy) * cols + start - dx;
        let b = &second.below_saturation[from as usize..(from + end - start) as usize];
        for (&a, &b) in a.iter().zip(b) {
            if a.min(b) > TOP && a.max(b) < BOTTOM {
                let (a, b) = (i64::from(a), i64::from(b));
                n += 1;
                sa += a;
                sb += b;
                saa += a * a;
                sbb += b * b;
                sab += a * b;
            }
        }
    }
    let share = n as f64 / (cols as f64 * rows as f64);
    if share < LEAST_CELLS || n < 12 {
        return None;
    }
    let n = n as f64;
    let (ma, mb) = (sa as f64 / n, sb as f64 / n);
    let va = (saa as f64 / n - ma * ma).max(0.0);
    let vb = (sbb as f64 / n - mb * mb).max(0.0);
    let covariance = sab as f64 / n - ma * mb;
    let differs_ev = (va + vb - 2.0 * covariance).max(0.0).sqrt() / STEPS_PER_EV;
    let plain = (PLAIN_EV * STEPS_PER_EV).powi(2);
    let correlation = if va < plain && vb < plain {
        // Two plain pictures: alike as far as can be told.
        1.0 - differs_ev / PLAIN_EV
    } else if va <= 0.0 || vb <= 0.0 {
        0.0
    } else {
        covariance / (va * vb).sqrt()
    };
    Some(Alike { correlation, differs_ev, brighter_ev: (ma - mb) / STEPS_PER_EV, cells: share, shift: (dx, dy) })
}
