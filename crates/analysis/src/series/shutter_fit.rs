//! Share of frames free of shake against exposure time times focal length.
//!
//! Model: the share falls along x = log2(exposure time x 35 mm focal length) as a logistic curve or as a complementary
//! log-log curve (what lengths of a Weibull or Rayleigh distribution give); both are tried and weighted by the data.
//! The lengths of the shaken frames count too, as far as four times the limit: the share of frames shorter than m times
//! the limit is the same curve, moved by log2(m) / b (b near 1: the length grows in proportion to the exposure time).
//! Frames free of shake are only known to be below the limit, frames beyond four times it only to be above that.
//! The posterior is summed on a grid with broad priors, so that it stands where all short exposures are free and all
//! long ones shaken, and with few frames; the interval is its 5 to 95 %.
//! Source: own derivation (ordinal regression with proportional odds, McCullagh 1980, for the logistic curve).

use super::stats::weighted_quantile;

/// Classes of a shaken frame's length between one and four times the limit, per doubling.
const PER_DOUBLING: usize = 4;
/// Lengths count up to this many doublings of the limit.
const DOUBLINGS: usize = 2;
/// Grid of x, steps per stop.
const PER_STOP: f64 = 12.0;

/// How one frame ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ending {
    /// Free of shake: its motion is below the limit.
    Free,
    /// Shaken, with its length over the limit (a ratio from 1), where measured.
    Shaken(Option<f64>),
}

/// The fit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    /// x at which the wanted share is free of shake: 5 %, 50 %, 95 % of the posterior.
    pub(super) limit_x: [f64; 3],
    /// Share free of shake by the fit, at (x, share), every quarter of a stop over what was tested.
    pub(super) curve: Vec<(f64, f64)>,
}

/// Shape of the curve.
#[derive(Debug, Clone, Copy)]
enum Curve {
    Logistic,
    LogLog,
}

impl Curve {
    /// ln(P / (1 - P)) at 90 % less that at 10 %, and its like for the other curve: scales a width to a slope.
    const fn span(self) -> f64 {
        match self {
            Self::Logistic => 4.394_449_154_672_439,
            Self::LogLog => 3.084_399_553_5,
        }
    }

    /// Argument at which the share is one half.
    const fn middle(self) -> f64 {
        match self {
            Self::Logistic => 0.0,
            Self::LogLog => -0.366_512_920_581_664_3,
        }
    }

    /// Share free at an argument.
    fn share(self, eta: f64) -> f64 {
        match self {
            Self::Logistic => 1.0 / (1.0 + (-eta).exp()),
            Self::LogLog => -(-eta.min(30.0).exp()).exp_m1(),
        }
    }

    /// Argument at a share.
    fn argument(self, share: f64) -> f64 {
        match self {
            Self::Logistic => (share / (1.0 - share)).ln(),
            Self::LogLog => (-(1.0 - share).ln()).ln(),
        }
    }
}

/// Frames with the same x (to a sixth of a stop) and ending.
struct Cell {
    x: f64,
    /// Length class bounds over the limit, log2; `None` where open.
    above: Option<f64>,
    below: Option<f64>,
    count: f64,
}

/// Shaken frames, and free ones, that a fit takes at least.
pub(super) const LEAST_EACH: usize = 3;

/// Fits frames given as (x, ending); `share` is the share free of shake that is wanted (0.5 to 0.99). `None` with fewer
/// than [`LEAST_EACH`] frames of either ending.
pub(super) fn fit(frames: &[(f64, Ending)], share: f64) -> Option<Fit> {
    let free = frames.iter().filter(|f| f.1 == Ending::Free).count();
    if free < LEAST_EACH || frames.len() - free < LEAST_EACH {
        return None;
    }
    let cells = cells(frames);
    let least = cells.iter().map(|c| c.x).fold(f64::INFINITY, f64::min);
    let most = cells.iter().map(|c| c.x).fold(f64::NEG_INFINITY, f64::max);
    let lengths = cells.iter().any(|c| c.above.is_some_and(|a| a > 0.0) || (c.above.is_some() && c.below.is_some()));
    let growths: &[f64] = if lengths { &[0.5, 0.7, 0.85, 1.0, 1.15, 1.3, 1.5] } else { &[1.0] };
    let steps = (((most - least) + 4.0) * PER_STOP).ceil() as usize;
    let grid: Vec<f64> = (0..=steps).map(|i| least - 2.0 + i as f64 / PER_STOP).collect();
    let at: Vec<f64> = (0..=((most - least) * 4.0).ceil() as usize).map(|i| least + i as f64 / 4.0).collect();
    let mut nodes: Vec<(f64, f64, Curve, f64, f64)> = Vec::new();
    for curve in [Curve::Logistic, Curve::LogLog] {
        for width_step in 0..16 {
            // 10 to 90 % width in stops, from 0.7 on, in steps of a fifth; log-normal prior around 2.5 stops, factor 1.8.
            let width = 0.7 * 1.2_f64.powi(width_step);
            let width_prior = -0.5 * ((width / 2.5).ln() / 1.8_f64.ln()).powi(2);
            let slope = curve.span() / width;
            for &growth in growths {
                let growth_prior = -0.5 * ((growth - 1.0) / 0.25_f64).powi(2);
                for &x50 in &grid {
                    // Around 1/(2 f35), within three stops (1 sigma).
                    let prior = width_prior + growth_prior - 0.5 * ((x50 + 1.0) / 3.0).powi(2);
                    let likelihood = likelihood(&cells, curve, slope, growth, x50);
                    nodes.push((prior + likelihood, x50, curve, slope, growth));
                }
            }
        }
    }
    let top = nodes.iter().map(|n| n.0).fold(f64::NEG_INFINITY, f64::max);
    nodes.retain(|n| n.0 > top - 14.0);
    let mut limits: Vec<(f64, f64)> = nodes
        .iter()
        .map(|&(log, x50, curve, slope, _)| (x50 - (curve.argument(share) - curve.middle()) / slope, (log - top).exp()))
        .collect();
    let mut quantile = |q| weighted_quantile(&mut limits, q);
    let limit_x = [quantile(0.05)?, quantile(0.5)?, quantile(0.95)?];
    let total: f64 = nodes.iter().map(|n| (n.0 - top).exp()).sum();
    let curve_at = |x: f64| {
        let sum: f64 = nodes
            .iter()
            .map(|&(log, x50, curve, slope, _)| (log - top).exp() * curve.share(curve.middle() + slope * (x50 - x)))
            .sum();
        sum / total
    };
    Some(Fit { limit_x, curve: at.into_iter().map(|x| (x, curve_at(x))).collect() })
}

/// Gathers frames that the model cannot tell apart.
fn cells(frames: &[(f64, Ending)]) -> Vec<Cell> {
    use std::collections::BTreeMap;
    let mut counts: BTreeMap<(i64, i64), f64> = BTreeMap::new();
    for &(x, ending) in frames {
        let class = match ending {
            Ending::Free => -1,
            Ending::Shaken(None) => -2,
            Ending::Shaken(Some(ratio)) => {
                ((ratio.max(1.0).log2() * PER_DOUBLING as f64) as i64).min((PER_DOUBLING * DOUBLINGS) as i64)
            }
        };
        *counts.entry(((x * 6.0).round() as i64, class)).or_default() += 1.0;
    }
    let bound = |class: i64| class as f64 / PER_DOUBLING as f64;
    let last = (PER_DOUBLING * DOUBLINGS) as i64;
    counts
        .into_iter()
        .map(|((x, class), count)| {
            let (above, below) = match class {
                -1 => (None, Some(0.0)),
                -2 => (Some(0.0), None),
                c if c >= last => (Some(bound(last)), None),
                c => (Some(bound(c)), Some(bound(c + 1))),
            };
            Cell { x: x as f64 / 6.0, above, below, count }
        })
        .collect()
}

/// Logarithm of the likelihood at one node.
fn likelihood(cells: &[Cell], curve: Curve, slope: f64, growth: f64, x50: f64) -> f64 {
    cells
        .iter()
        .map(|cell| {
            let eta = curve.middle() + slope * (x50 - cell.x);
            let below = cell.below.map_or(1.0, |b| curve.share(eta + slope * b / growth));
            let above = cell.above.map_or(0.0, |a| curve.share(eta + slope * a / growth));
            cell.count * (below - above).max(1e-9).ln()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Noise;

    /// One simulated test: eight exposure times, fifteen frames each, lengths of a given distribution. Returns the true
    /// x at 90 % and the fit's.
    fn trial(seed: u64, rayleigh: bool, with_lengths: bool, growth: f64) -> (f64, [f64; 3]) {
        let mut dice = Noise::new(seed);
        let mut frames = Vec::new();
        let width = 2.4;
        for step in 0..8 {
            for _ in 0..15 {
                let x = -5.0 + f64::from(step);
                // log2 of length over limit; zero at x = -1 in the middle.
                let u = dice.uniform();
                let noise = if rayleigh {
                    0.5 * (-u.ln()).log2() + 0.264_383
                } else {
                    (u / (1.0 - u)).ln() * width / Curve::Logistic.span()
                };
                let length = growth * (x + 1.0) + growth * noise;
                frames.push((
                    x,
                    if length < 0.0 {
                        Ending::Free
                    } else {
                        Ending::Shaken(with_lengths.then(|| length.exp2() * (1.0 + 0.1 * (dice.uniform() - 0.5))))
                    },
                ));
            }
        }
        let truth = if rayleigh {
            // P(L < limit) = 1 - exp(-ln 2 * 4^(-(x+1))) = 0.9
            -1.0 - 0.5 * (10.0_f64.ln() / 2.0_f64.ln()).log2()
        } else {
            -1.0 - 9.0_f64.ln() * width / Curve::Logistic.span()
        };
        (truth, fit(&frames, 0.9).unwrap().limit_x)
    }

    /// k within 20 % from 120 frames, and the 90 % interval holding the truth, over 40 seeds.
    #[test]
    fn the_limit_is_found_from_120_frames() {
        for (rayleigh, lengths, growth, least) in [
            (false, true, 1.0, 30),
            (true, true, 1.0, 30),
            (true, true, 0.8, 30),
            (false, false, 1.0, 24),
            (true, false, 1.0, 22),
        ] {
            let (mut close, mut held) = (0, 0);
            for seed in 0..40 {
                let (truth, [low, middle, high]) = trial(seed * 77 + 5, rayleigh, lengths, growth);
                let ratio = (truth - middle).exp2();
                close += u32::from((0.8..=1.2).contains(&ratio));
                held += u32::from(low <= truth && truth <= high);
            }
            assert!(close >= least, "rayleigh {rayleigh} lengths {lengths}: {close} of 40 within 20 %");
            assert!(held >= 32, "rayleigh {rayleigh} lengths {lengths}: {held} of 40 intervals hold the truth");
        }
    }

    #[test]
    fn a_clean_cut_between_free_and_shaken_still_has_a_finite_interval() {
        let frames: Vec<(f64, Ending)> = (-6..6)
            .flat_map(|x| {
                let ending = if x < 0 { Ending::Free } else { Ending::Shaken(None) };
                [(f64::from(x), ending); 3]
            })
            .collect();
        let fit = fit(&frames, 0.9).unwrap();
        assert!(fit.limit_x[0] > -3.5 && fit.limit_x[2] < 0.3, "{:?}", fit.limit_x);
        assert!(fit.curve.windows(2).all(|w| w[1].1 <= w[0].1));
    }
}
