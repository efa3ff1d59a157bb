//! One round of the fit of variance against mean: weighted least squares, with what is known beforehand.
//!
//! Source: textbook; what is known beforehand counts as one more measurement.

use super::line_fit::Line;

/// What is known beforehand of the square term: photosites differ in sensitivity by some 0.45 % (standard deviation) at
/// the most (common practice, no source), so the term lies about zero with the square of that as its own deviation.
/// Where the tones of a frame do not tell the term from the slope, that much stays open, and the slope's error says so.
const SQUARE_BEFOREHAND: f64 = 2e-5;

/// An offset of zero counts as known so many times better than by the points.
const PINNED: f64 = 1e3;

/// What is known beforehand of the offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Offset {
    Unknown,
    /// It lies about zero with that deviation, DN squared.
    About(f64),
    Zero,
}

/// One patch as the fit sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weighted {
    /// Mean above black, DN.
    pub(super) mean: f64,
    /// Inverse variance of the next.
    pub(super) weight: f64,
    /// Variance, DN squared.
    pub(super) variance: f64,
}

/// Sums of weight * mean^k and weight * mean^k * variance, means in units of `scale`.
fn sums<const TERMS: usize>(points: &[Weighted], scale: f64) -> ([f64; 5], [f64; 3]) {
    let (mut powers, mut products) = ([0.0; 5], [0.0; 3]);
    for p in points {
        let x = p.mean / scale;
        let mut term = p.weight;
        for k in 0..2 * TERMS - 1 {
            powers[k] += term;
            if k < TERMS {
                products[k] += term * p.variance;
            }
            term *= x;
        }
    }
    (powers, products)
}

/// Weighted least squares of the variances with 1, mean and (three terms) mean squared, the last about zero with
/// [`SQUARE_BEFOREHAND`].
pub(super) fn solve(points: &[Weighted], terms: usize, offset: Offset) -> Option<Line> {
    // Means in units of a typical one keep the matrix well behaved.
    let scale = points.iter().map(|p| p.mean.abs()).fold(0.0, f64::max);
    if points.len() < 8 || scale <= 0.0 {
        return None;
    }
    let (mut powers, products) = if terms == 3 { sums::<3>(points, scale) } else { sums::<2>(points, scale) };
    if terms == 3 {
        powers[4] += (SQUARE_BEFOREHAND * scale * scale).powi(-2);
    }
    match offset {
        Offset::Unknown => {}
        Offset::About(deviation) => powers[0] += deviation.powi(-2),
        Offset::Zero => powers[0] *= PINNED,
    }
    let inverse = invert(&powers, terms)?;
    let coefficient = |i: usize| (0..terms).map(|j| inverse[i][j] * products[j]).sum::<f64>();
    let error = |i: usize| inverse[i][i].max(0.0).sqrt();
    let square = if terms == 3 { (coefficient(2), error(2)) } else { (0.0, 0.0) };
    Some(Line {
        offset: coefficient(0),
        slope: coefficient(1) / scale,
        square: square.0 / (scale * scale),
        offset_error: error(0),
        slope_error: error(1) / scale,
        square_error: square.1 / (scale * scale),
        used: points.len(),
    })
}

/// Inverse of the `n` by `n` matrix of moments (element i, j is `powers[i + j]`), by elimination with pivots.
fn invert(powers: &[f64; 5], n: usize) -> Option<[[f64; 3]; 3]> {
    let mut a = [[0.0; 6]; 3];
    for i in 0..n {
        a[i][..n].copy_from_slice(&powers[i..i + n]);
        a[i][3 + i] = 1.0;
    }
    for k in 0..n {
        let pivot = (k..n).max_by(|&i, &j| a[i][k].abs().total_cmp(&a[j][k].abs()))?;
        a.swap(k, pivot);
        let p = a[k][k];
        if p.is_nan() || p.abs() < 1e-11 * powers[0].abs() {
            return None;
        }
        a[k].iter_mut().for_each(|v| *v /= p);
        let row = a[k];
        for (i, other) in a.iter_mut().enumerate().take(n) {
            if i != k {
                let factor = other[k];
                other.iter_mut().zip(&row).for_each(|(v, r)| *v -= factor * r);
            }
        }
    }
    let mut out = [[0.0; 3]; 3];
    for i in 0..n {
        for j in 0..n {
            out[i][j] = a[i][3 + j];
        }
    }
    Some(out)
}
