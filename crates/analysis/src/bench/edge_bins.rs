//! Samples across an edge brought to even places: means in bins of 1/4 px, joined by a cubic spline.

/// Bins per pixel.
pub(super) const BINS_PER_PX: f64 = 4.0;
/// Distance between neighbouring samples, across, over which the profile is joined, px: 1 / (2 x 0.7) cycles per pixel
/// are still sampled. A slant of tan 1/3 has 0.63 px.
const MOST_GAP_PX: f64 = 0.7;

/// A sample of the band round an edge: distance across, place along, level.
pub(super) type Sample = (f64, f64, f64);

/// A profile at even places.
pub(super) struct Supersampled {
    pub(super) esf: Vec<f64>,
    pub(super) bin_px: f64,
    pub(super) knot_px: f64,
}

/// Means of the samples in bins of 1/4 px from -half to half, at the middles of the bins: a cubic spline through the mean
/// distance and mean level of each. At slants of small fractions the samples lie on a lattice, off the middles.
pub(super) fn supersample(samples: &[Sample], half: f64) -> Result<Supersampled, String> {
    let n = (2.0 * half * BINS_PER_PX) as usize;
    // Count, sums of distance, of its square and of level.
    let mut sums = vec![[0.0_f64; 4]; n];
    for &(t, _, v) in samples {
        let k = ((t + half) * BINS_PER_PX).floor();
        if k >= 0.0 && (k as usize) < n {
            let add = [1.0, t, t * t, v];
            sums[k as usize].iter_mut().zip(add).for_each(|(sum, x)| *sum += x);
        }
    }
    // Bins whose samples lie next to each other are one: a spline would swing between them.
    let mut knots: Vec<[f64; 4]> = Vec::with_capacity(n);
    for bin in sums.into_iter().filter(|bin| bin[0] > 0.0) {
        match knots.last_mut() {
            Some(last) if bin[1] / bin[0] - last[1] / last[0] < 0.5 / BINS_PER_PX => {
                last.iter_mut().zip(bin).for_each(|(sum, x)| *sum += x);
            }
            _ => knots.push(bin),
        }
    }
    let x: Vec<f64> = knots.iter().map(|k| k[1] / k[0]).collect();
    let y: Vec<f64> = knots.iter().map(|k| k[3] / k[0]).collect();
    let gap = x.windows(2).map(|p| p[1] - p[0]).fold(0.0, f64::max);
    let ends = x.first().zip(x.last()).map_or(f64::INFINITY, |(a, b)| (a + half).max(half - b));
    if x.len() < 4 || gap.max(ends) > MOST_GAP_PX {
        return Err(
            "parts of its profile hold no sample: turn the target by about 5 degrees, or take a longer edge".into()
        );
    }
    let spread = |k: &[f64; 4]| (k[2] / k[0] - (k[1] / k[0]).powi(2)).max(0.0);
    let variance = knots.iter().map(spread).sum::<f64>() / knots.len() as f64;
    let at: Vec<f64> = (0..n).map(|k| (k as f64 + 0.5) / BINS_PER_PX - half).collect();
    Ok(Supersampled {
        esf: spline(&x, &y, &at),
        bin_px: (12.0 * variance).sqrt(),
        knot_px: (x[x.len() - 1] - x[0]) / (x.len() - 1) as f64,
    })
}

/// Natural cubic spline through (x, y), read at rising places; level beyond the ends.
fn spline(x: &[f64], y: &[f64], at: &[f64]) -> Vec<f64> {
    let n = x.len();
    let width = |i: usize| x[i + 1] - x[i];
    let slope = |i: usize| (y[i + 1] - y[i]) / width(i);
    // Second derivatives, from a tridiagonal system.
    let (mut upper, mut second) = (vec![0.0; n], vec![0.0; n]);
    for i in 1..n - 1 {
        let pivot = 2.0 * (width(i - 1) + width(i)) - width(i - 1) * upper[i - 1];
        upper[i] = width(i) / pivot;
        second[i] = (6.0 * (slope(i) - slope(i - 1)) - width(i - 1) * second[i - 1]) / pivot;
    }
    for i in (1..n - 1).rev() {
        second[i] -= upper[i] * second[i + 1];
    }
    let mut i = 0;
    at.iter()
        .map(|&t| {
            let t = t.clamp(x[0], x[n - 1]);
            while i + 2 < n && t > x[i + 1] {
                i += 1;
            }
            let (a, b, h) = (x[i + 1] - t, t - x[i], width(i));
            (a * y[i] + b * y[i + 1]) / h
                + ((a * a * a / h - a * h) * second[i] + (b * b * b / h - b * h) * second[i + 1]) / 6.0
        })
        .collect()
}
