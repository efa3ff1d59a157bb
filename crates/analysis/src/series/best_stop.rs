//! The sharpest f-stop from rises at several f-stops: a smooth model of aberration and diffraction.
//!
//! Model: R^2 = c + a N^-q + d N^2. Widths add as variances: `c` is pixel and focus, `a N^-q` the aberrations, which
//! shrink as the lens is closed (q from 1 to 6: defocus and field curvature go with 1/N, spherical aberration with
//! 1/N^3, and they enter squared), `d N^2` diffraction, whose width goes with N. Written around its optimum N0,
//! a = 2 d N0^(q+2) / q, so that for given q and N0 the model is linear in c and d (both kept from going below zero).
//! N0 is found as the middle of its posterior on a grid (flat in log N0 and q, the scale of the errors integrated out),
//! which also gives its interval and needs no start values.
//! Source: own derivation; the diffraction term is checked against 10-90 % rise = 1.33287 w N of the perfect lens.

use super::stats::weighted_quantile;

/// Exponents of the aberration term.
const EXPONENTS: [f64; 5] = [1.0, 2.0, 3.0, 4.0, 6.0];
/// Grid of N0, steps per stop.
const PER_STOP: f64 = 24.0;
/// The optimum is looked for up to this far outside what was tested, stops.
const OUTSIDE_STOPS: f64 = 0.5;
/// Error of one step's squared rise that is always reckoned with (relative, 1 sigma): 1.5 % of the rise.
const LEAST_ERROR: f64 = 0.03;
/// How well the diffraction term is known beforehand where pitch and wavelength are (1 sigma of its logarithm).
const DIFFRACTION_KNOWN: f64 = 0.5;
/// Error of the optimum that more frames do not take away, stops (1.64 sigma): how the tails of diffraction count
/// beside the aberrations depends on the spread's shape, which is not known (simulated lenses: up to a fifth of a stop).
const SHAPE_STOPS: f64 = 0.2;
/// Diffraction costs from where the rise is this much above its least.
pub(super) const COST: f64 = 1.1;

/// One step: f-number, median rise (pixels), frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    pub(super) f_number: f64,
    pub(super) rise_px: f64,
    pub(super) frames: usize,
}

/// What the fit says, each as (5 %, 50 %, 95 %) of its posterior.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BestStop {
    /// f-number of the least rise.
    pub(super) f_number: [f64; 3],
    /// Least rise of the fit, pixels.
    pub(super) rise_px: f64,
    /// f-number from which diffraction costs more than [`COST`]; `None` where that lies beyond what was tested.
    pub(super) costs_from: Option<[f64; 3]>,
}

/// One value of the exponent and the optimum.
struct Node {
    log_weight: f64,
    optimum: f64,
    rise_px: f64,
    costs_from: f64,
}

/// Fits the model. `diffraction_px_per_f` is the rise in pixels that diffraction gives per unit of the f-number, where
/// known. `None` with fewer than four f-stops, or where the data do not place the optimum within three stops.
pub(super) fn fit(points: &[Point], diffraction_px_per_f: Option<f64>) -> Option<BestStop> {
    let points: Vec<Point> =
        points.iter().copied().filter(|p| p.f_number > 0.0 && p.rise_px > 0.0 && p.frames > 0).collect();
    let least = points.iter().map(|p| p.f_number).fold(f64::INFINITY, f64::min).log2();
    let most = points.iter().map(|p| p.f_number).fold(0.0, f64::max).log2();
    if points.len() < 4 || most - least < 1.0 {
        return None;
    }
    let mean_frames = points.iter().map(|p| p.frames as f64).sum::<f64>() / points.len() as f64;
    // Two pseudo-observations of the least error keep few points from looking perfect; c and d take up two.
    let prior_sse = 2.0 * LEAST_ERROR * LEAST_ERROR;
    let power = points.len() as f64 / 2.0;
    let first = ((least - OUTSIDE_STOPS / 2.0) * 2.0 * PER_STOP).floor() as i64;
    let last = ((most + OUTSIDE_STOPS / 2.0) * 2.0 * PER_STOP).ceil() as i64;
    let mut nodes: Vec<Node> = Vec::new();
    for exponent in EXPONENTS {
        for step in first..=last {
            // An f-stop is a factor of sqrt(2) of the f-number: half a unit of its log2.
            let optimum = (step as f64 / (2.0 * PER_STOP)).exp2();
            let shape = |n: f64| n * n + 2.0 / exponent * optimum.powf(exponent + 2.0) * n.powf(-exponent);
            let Some((c, d)) = linear(&points, mean_frames, &shape) else { continue };
            let misfit = |p: &Point| (p.rise_px * p.rise_px / (c + d * shape(p.f_number))).ln();
            let sse: f64 = points.iter().map(|p| p.frames as f64 / mean_frames * misfit(p).powi(2)).sum();
            let mut log_weight = -power * (1.0 + sse / prior_sse).ln();
            if let Some(known) = diffraction_px_per_f.filter(|k| *k > 0.0) {
                let off = if d > 0.0 { (d.sqrt() / known).ln().clamp(-2.0, 2.0) } else { -2.0 };
                log_weight -= 0.5 * (off / DIFFRACTION_KNOWN).powi(2);
            }
            let rise_px = (c + d * shape(optimum)).max(0.0).sqrt();
            nodes.push(Node { log_weight, optimum, rise_px, costs_from: cost_from(c, d, &shape, optimum) });
        }
    }
    let top = nodes.iter().map(|n| n.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let middle = |value: fn(&Node) -> f64| -> Option<[f64; 3]> {
        let mut sample: Vec<(f64, f64)> = nodes.iter().map(|n| (value(n), (n.log_weight - top).exp())).collect();
        let mut at = |share| weighted_quantile(&mut sample, share);
        Some([at(0.05)?, at(0.5)?, at(0.95)?])
    };
    let f_number = middle(|n| n.optimum)?;
    if (f_number[2] / f_number[0]).log2() * 2.0 > 3.0 {
        return None;
    }
    let widened = |end: f64| {
        let stops = 2.0 * (end / f_number[1]).log2();
        f_number[1] * (0.5 * stops.hypot(SHAPE_STOPS).copysign(stops)).exp2()
    };
    let f_number = [widened(f_number[0].min(f_number[1] * 0.9999)), f_number[1], widened(f_number[2].max(f_number[1]))];
    let costs = middle(|n| n.costs_from)?;
    // A little beyond the last tested stop may still be said; further would be a guess.
    let told = costs[1].log2() <= most + 0.17;
    Some(BestStop { f_number, rise_px: middle(|n| n.rise_px)?[1], costs_from: told.then_some(costs) })
}

/// c and d of the model at one node: relative least squares of R^2, neither below zero.
fn linear(points: &[Point], mean_frames: f64, shape: &impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    let (mut s1, mut sg, mut sgg, mut sy, mut sgy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points {
        let (y, g) = (p.rise_px * p.rise_px, shape(p.f_number));
        let w = p.frames as f64 / mean_frames / (y * y);
        s1 += w;
        sg += w * g;
        sgg += w * g * g;
        sy += w * y;
        sgy += w * g * y;
    }
    let determinant = s1 * sgg - sg * sg;
    let free = (determinant > 1e-12 * s1 * sgg)
        .then(|| ((sgg * sy - sg * sgy) / determinant, (s1 * sgy - sg * sy) / determinant));
    match free {
        Some((c, d)) if c >= 0.0 && d >= 0.0 => Some((c, d)),
        Some((_, d)) if d < 0.0 => Some((sy / s1, 0.0)),
        _ => (sgg > 0.0).then(|| (0.0, sgy / sgg)),
    }
}

/// The f-number above the optimum where the rise is [`COST`] times its least; infinity where it never is.
fn cost_from(c: f64, d: f64, shape: &impl Fn(f64) -> f64, optimum: f64) -> f64 {
    let target = COST * COST * (c + d * shape(optimum));
    if d <= 0.0 {
        return f64::MAX;
    }
    let (mut low, mut high) = (optimum, optimum * 64.0);
    if c + d * shape(high) < target {
        return f64::MAX;
    }
    for _ in 0..40 {
        let middle = (low * high).sqrt();
        if c + d * shape(middle) < target { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Third-stop f-numbers from 1.4 to 22.
    fn stops() -> Vec<f64> {
        (0..=8).map(|i| (f64::from(i + 1) / 2.0).exp2()).collect()
    }

    /// Rises with a closed form: R^2 = c + a/N^q + d N^2 has its least at (q a / 2 d)^(1/(q+2)). Exponents that are not on
    /// the fit's grid too, with 2 % errors: within a third of a stop.
    #[test]
    fn the_optimum_of_the_closed_form_is_found_within_a_third_of_a_stop() {
        let mut state = 5_u64;
        let mut gauss = move || {
            let mut sum = 0.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
            }
            sum - 6.0
        };
        let (mut held, mut cases) = (0, 0);
        for q in [1.5, 2.0, 3.0, 5.0] {
            for optimum in [3.5, 5.6, 8.0] {
                for pitch in [2.4, 4.0, 6.0] {
                    let d: f64 = (1.33287_f64 * 0.55 / pitch).powi(2);
                    let a = 2.0 * d * f64::powf(optimum, q + 2.0) / q;
                    let c: f64 = 0.8 * 0.8 + 0.6;
                    let points: Vec<Point> = stops()
                        .into_iter()
                        .map(|n| Point {
                            f_number: n,
                            rise_px: (c + a * n.powf(-q) + d * n * n).sqrt() * (1.0 + 0.02 * gauss()),
                            frames: 1,
                        })
                        .collect();
                    let best = fit(&points, Some(1.33287 * 0.55 / pitch)).unwrap();
                    let off = 2.0 * (best.f_number[1] / optimum).log2();
                    assert!(off.abs() < 0.5, "q {q} optimum {optimum} pitch {pitch}: {best:?}");
                    cases += 1;
                    held += usize::from(off.abs() <= 1.0 / 3.0);
                }
            }
        }
        assert!(held * 100 >= cases * 95, "{held} of {cases} within a third of a stop");
    }

    #[test]
    fn the_cost_of_diffraction_is_the_models() {
        let (c, a, d): (f64, f64, f64) = (1.0, 8.0, 0.02);
        let points: Vec<Point> = stops()
            .into_iter()
            .map(|n| Point { f_number: n, rise_px: (c + a / n.powi(2) + d * n * n).sqrt(), frames: 3 })
            .collect();
        let best = fit(&points, None).unwrap();
        let optimum = (a / d).powf(0.25);
        let least = c + 2.0 * (a * d).sqrt();
        // c + a/n^2 + d n^2 = 1.21 least, a quadratic in n^2.
        let b = c - 1.21 * least;
        let costs = ((-b + (b * b - 4.0 * a * d).sqrt()) / (2.0 * d)).sqrt();
        assert!((best.f_number[1] / optimum).log2().abs() < 0.1, "{best:?} {optimum}");
        assert!((best.costs_from.unwrap()[1] / costs).log2().abs() < 0.1, "{best:?} {costs}");
        assert!((best.rise_px / least.sqrt() - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_flat_series_places_no_optimum() {
        let points: Vec<Point> = stops()
            .into_iter()
            .enumerate()
            .map(|(i, n)| Point { f_number: n, rise_px: if i % 2 == 0 { 2.0 } else { 2.1 }, frames: 1 })
            .collect();
        assert_eq!(fit(&points, None), None);
        assert_eq!(fit(&points[..3], None), None);
    }
}
