//! Spectra on the fine grid, folded to the sensor's.

use std::f64::consts::PI;

use rawassay_fourier::{Complex32, Complex64};

use crate::tiling::{Plan, Radial};

/// Multiplies a spectrum by a transfer function and folds it to the sensor's grid.
pub(crate) fn fold(plan: &Plan, fine: &[Complex32], otf: &[Complex32], live: usize, out: &mut [Complex32]) {
    let (n, m) = (plan.cells, plan.side);
    out.fill(Complex32::default());
    for kx in (0..live).chain(n - live..n) {
        let into = &mut out[(kx % m) * m..(kx % m + 1) * m];
        let columns = fine[kx * n..(kx + 1) * n].chunks_exact(m).zip(otf[kx * n..(kx + 1) * n].chunks_exact(m));
        for (spectrum, otf) in columns {
            for ((sum, value), factor) in into.iter_mut().zip(spectrum).zip(otf) {
                *sum += value * factor;
            }
        }
    }
}

/// The same with a radial transfer function beside `path` and a shift of each colour. `pair` 0 holds red and green,
/// 1 blue and cover; the symmetry of real signals' spectra separates the two.
pub(crate) fn fold_shifted(
    plan: &Plan,
    fine: &[Complex32],
    path: &[Complex32],
    radial: &Radial,
    shift: [[f64; 2]; 3],
    pair: usize,
    out: &mut [Complex32],
) {
    let (n, m) = (plan.cells, plan.side);
    out.fill(Complex32::default());
    let (first, second) = if pair == 0 { (shift[0], shift[1]) } else { (shift[2], shift[1]) };
    let wave = |p: f64| -> Vec<Complex32> {
        let at = |k| Complex64::from_polar(1.0, -2.0 * PI * plan.frequency(k) * p);
        (0..n).map(at).map(|c| Complex32::new(c.re as f32, c.im as f32)).collect()
    };
    let [ax, ay, bx, by] = [wave(first[0]), wave(first[1]), wave(second[0]), wave(second[1])];
    let frequencies: Vec<f32> = (0..n).map(|k| plan.frequency(k) as f32).collect();
    // The Nyquist column does not pass.
    for kx in (0..n / 2).chain(n / 2 + 1..n) {
        let fx2 = frequencies[kx] * frequencies[kx];
        let into = &mut out[(kx % m) * m..(kx % m + 1) * m];
        let opposite = &fine[((n - kx) % n) * n..((n - kx) % n + 1) * n];
        for ky in 0..n {
            let f = (fx2 + frequencies[ky] * frequencies[ky]).sqrt();
            let here = fine[kx * n + ky];
            let there = opposite[(n - ky) % n].conj();
            let a = (here + there) * 0.5;
            // i times the second signal's spectrum.
            let b = (here - there) * 0.5;
            into[ky % m] += (a * ax[kx] * ay[ky] + b * bx[kx] * by[ky]) * path[kx * n + ky] * radial.at(f);
        }
    }
}

/// Transposes some columns of a square, in blocks that fit the cache.
pub(crate) fn transpose(from: &[Complex32], to: &mut [Complex32], n: usize, columns: std::ops::Range<usize>) {
    const BLOCK: usize = 16;
    for by in (0..n).step_by(BLOCK) {
        for bx in columns.clone().step_by(BLOCK) {
            for x in bx..(bx + BLOCK).min(columns.end) {
                for y in by..(by + BLOCK).min(n) {
                    to[x * n + y] = from[y * n + x];
                }
            }
        }
    }
}
