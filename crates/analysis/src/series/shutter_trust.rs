//! Whether a fitted hand-holding limit may be stated at all.
//!
//! The fit of `shutter_fit` assumes that shake grows with exposure time x focal length. It gives a limit, and a narrow
//! one, for frames in which it does not (frames on a tripod among hand-held ones, a lens with faulty stabilisation, a
//! running engine), so the assumption is tested on the counts alone before the limit is told:
//! 1. free frames have smaller x than shaken ones: rank-sum test (Mann and Whitney 1947) with tied ranks, one-sided 1 %;
//! 2. the limit lies inside what was tested, and the frames below it keep the wanted share, by their count and its Wilson
//!    interval (1927);
//! 3. the shares per stop follow the curve: Pearson's chi-square (1900), by the cube-root approximation of Wilson and
//!    Hilferty (1931).

use super::share_interval;
use super::shutter_fit::{Ending, Fit, LEAST_EACH};

/// One-sided 1 % point of the normal distribution.
const FALLS_Z: f64 = 2.326;
/// A limit this far below the fastest tested frames is still told, stops: a quarter is within one setting.
const OUTSIDE_STOPS: f64 = 0.25;
/// Frames below the limit that it takes at least.
const LEAST_BELOW: usize = 3;
/// Normal score of the chi-square from which the shares do not follow the curve (one in some ten thousand by chance).
const MISFIT_Z: f64 = 3.7;
/// Shares of the curve are kept this far from 0 and 1 in the chi-square: one slip of the hand is no misfit.
const LEAST_SHARE: f64 = 0.04;

/// Why no limit can be told, as the end of a sentence; `None` where it can. `frames` are (x, ending), `share` is the
/// wanted share free of shake.
pub(super) fn refusal(fit: Option<&Fit>, frames: &[(f64, Ending)], share: f64) -> Option<String> {
    let total = frames.len();
    let free = frames.iter().filter(|f| f.1 == Ending::Free).count();
    let Some(fit) = fit else {
        // What is missing says where to go on.
        let more = match (free < LEAST_EACH, total - free < LEAST_EACH) {
            (true, false) => "too few are free of shake: take shorter times too, until most frames are".to_string(),
            (false, true) => few_shaken(frames),
            _ => format!("it takes at least {LEAST_EACH} shaken and {LEAST_EACH} unshaken frames near the limit"),
        };
        return Some(more);
    };
    let z = falls(frames);
    if z < FALLS_Z {
        return Some(
            "the shaken ones are not clearly those of longer times. Take more frames around the limit, leave out those \
             from a tripod, or look for another cause (a moving subject, the mirror, wind)"
                .to_string(),
        );
    }
    let least = frames.iter().map(|f| f.0).fold(f64::INFINITY, f64::min);
    let most = frames.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
    let limit = fit.limit_x[1];
    let percent = 100.0 * share;
    if limit > most + 0.5 {
        return Some(format!("the share stays above {percent:.0} % up to the longest time tested; take longer ones"));
    }
    let below: Vec<&(f64, Ending)> = frames.iter().filter(|f| f.0 <= limit.max(least) + OUTSIDE_STOPS).collect();
    let kept = below.iter().filter(|f| f.1 == Ending::Free).count();
    if limit < least - OUTSIDE_STOPS || below.len() < LEAST_BELOW || too_few(kept, below.len(), share) {
        let fastest = if below.is_empty() { String::new() } else { format!(" ({kept} of {})", below.len()) };
        return Some(format!(
            "even the shortest times tested do not reach {percent:.0} % free of shake{fastest}; take shorter ones"
        ));
    }
    if misfit(fit, frames) > MISFIT_Z {
        return Some(format!(
            "the share free of shake ({free} of {total}) does not fall steadily with exposure time and focal length: \
             frames from a tripod among hand-held ones, or another cause of motion"
        ));
    }
    None
}

/// What to do where too few frames are shaken for a fit.
fn few_shaken(frames: &[(f64, Ending)]) -> String {
    let shaken = frames.iter().filter(|f| f.1 != Ending::Free);
    let count = shaken.clone().count();
    let longest = shaken.map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
    let (are, were) = if count == 1 { ("is", "it was") } else { ("are", "they were") };
    // A sixth of a stop is the same setting.
    let longer = if frames.iter().any(|f| f.0 > longest + 1.0 / 6.0) { "" } else { ", and longer times too" };
    match count {
        0 => "none are shaken: take longer times too, until some frames are".to_string(),
        _ => format!("only {count} {are} shaken: take more at the times where {were}{longer}"),
    }
}

/// Whether `kept` of `tested` frames below the limit fall short of the wanted share: half a frame is granted, and with
/// many frames the Wilson interval decides.
fn too_few(kept: usize, tested: usize, share: f64) -> bool {
    (kept as f64 + 0.5) < share * tested as f64 || share_interval(kept, tested).1 < share
}

/// Normal score of the rank-sum test that free frames have smaller x than shaken ones; above zero where they do.
fn falls(frames: &[(f64, Ending)]) -> f64 {
    let mut sorted: Vec<(f64, bool)> = frames.iter().map(|f| (f.0, f.1 == Ending::Free)).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = sorted.len() as f64;
    let (mut shaken_ranks, mut shaken, mut ties) = (0.0, 0.0, 0.0);
    let mut at = 0;
    while at < sorted.len() {
        // Settings nearer than a sixth of a stop to the first of their run are one.
        let end = sorted[at..].iter().position(|s| s.0 > sorted[at].0 + 1.0 / 6.0).map_or(sorted.len(), |p| at + p);
        let size = (end - at) as f64;
        let rank = at as f64 + (size + 1.0) / 2.0;
        let here = sorted[at..end].iter().filter(|s| !s.1).count() as f64;
        shaken_ranks += here * rank;
        shaken += here;
        ties += size * size * size - size;
        at = end;
    }
    let free = n - shaken;
    let mean = shaken * (n + 1.0) / 2.0;
    let variance = free * shaken / 12.0 * ((n + 1.0) - ties / (n * (n - 1.0)).max(1.0));
    if variance > 0.0 { (shaken_ranks - mean) / variance.sqrt() } else { 0.0 }
}

/// Normal score of Pearson's chi-square of the counts per stop against the curve.
fn misfit(fit: &Fit, frames: &[(f64, Ending)]) -> f64 {
    let mut bins: std::collections::BTreeMap<i64, (f64, f64, f64)> = std::collections::BTreeMap::new();
    for &(x, ending) in frames {
        let nearest = fit.curve.iter().min_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()));
        let Some(&(_, expected)) = nearest else { continue };
        let bin = bins.entry(x.round() as i64).or_default();
        bin.0 += 1.0;
        bin.1 += f64::from(u8::from(ending == Ending::Free));
        bin.2 += expected.clamp(LEAST_SHARE, 1.0 - LEAST_SHARE);
    }
    let chi2: f64 = bins
        .values()
        .map(|&(n, free, expected)| {
            let p = expected / n;
            (free - expected).powi(2) / (n * p * (1.0 - p))
        })
        .sum();
    // Two parameters of the curve follow the counts.
    let degrees = bins.len() as f64 - 2.0;
    if degrees < 1.0 {
        return 0.0;
    }
    let scale = 2.0 / (9.0 * degrees);
    ((chi2 / degrees).cbrt() - (1.0 - scale)) / scale.sqrt()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::shutter_fit;
    use super::*;
    use crate::test_frames::Noise;

    /// `each` frames at eight times from x = -5 on; `shaken` gives the chance of shake at x, `length` its size.
    fn frames(seed: u64, each: usize, shaken: impl Fn(f64) -> f64, length: impl Fn(f64) -> f64) -> Vec<(f64, Ending)> {
        let mut dice = Noise::new(seed * 7919 + 3);
        let mut frames = Vec::new();
        for step in 0..8 {
            let x = -5.0 + f64::from(step);
            for _ in 0..each {
                let moved = dice.uniform() < shaken(x);
                let ratio = length(x) * (1.0 + 0.5 * dice.uniform());
                frames.push((x, if moved { Ending::Shaken(Some(ratio.max(1.01))) } else { Ending::Free }));
            }
        }
        frames
    }

    fn told(frames: &[(f64, Ending)]) -> bool {
        refusal(shutter_fit::fit(frames, 0.9).as_ref(), frames, 0.9).is_none()
    }

    /// Ties and score against scipy.stats.mannwhitneyu(shaken, free, method="asymptotic", use_continuity=False) for
    /// shaken at 0, 1, 1, 2 and free at -2, -1, 0, 1: U = 13.5, z = 1.637.
    #[test]
    fn the_rank_sum_is_the_textbooks() {
        let mut sample: Vec<(f64, Ending)> = [0.0, 1.0, 1.0, 2.0].map(|x| (x, Ending::Shaken(None))).to_vec();
        sample.extend([-2.0, -1.0, 0.0, 1.0].map(|x| (x, Ending::Free)));
        assert!((falls(&sample) - 1.637_187).abs() < 1e-5, "{}", falls(&sample));
    }

    /// Shake that comes as often at any time, rarely or often: a limit would be false.
    #[test]
    fn shake_that_does_not_depend_on_time_gives_no_limit() {
        for chance in [0.05, 0.1, 0.2, 0.4, 0.7] {
            let stated = (0..60).filter(|seed| told(&frames(*seed, 15, |_| chance, |_| 1.8))).count();
            assert!(stated <= 2, "chance {chance}: {stated} of 60");
        }
        // Lengths that grow with the time while the counts do not.
        let stated = (0..60).filter(|seed| told(&frames(*seed, 15, |_| 0.3, |x| (x + 6.0).max(1.0)))).count();
        assert!(stated <= 2, "{stated} of 60");
    }

    /// Hand-held up to x = -1, from a tripod beyond.
    #[test]
    fn tripod_frames_among_hand_held_ones_give_no_limit() {
        let chance = |x: f64| if x < 0.0 { ((x + 4.0) / 3.0).clamp(0.0, 0.95) } else { 0.0 };
        let stated = (0..60).filter(|seed| told(&frames(*seed, 15, chance, |_| 2.0))).count();
        assert!(stated <= 2, "{stated} of 60");
    }

    /// A third of the frames are shaken however short the time: 90 % are never reached.
    #[test]
    fn shortest_times_that_miss_the_share_give_no_limit() {
        let chance = |x: f64| 0.33 + 0.6 * ((x + 3.0) / 5.0).clamp(0.0, 1.0);
        let stated = (0..60).filter(|seed| told(&frames(*seed, 15, chance, |_| 2.0))).count();
        assert!(stated <= 6, "{stated} of 60");
    }

    /// One frame of 40 is shaken: at the longest time tested, or at one beyond which all others held.
    #[test]
    fn longer_times_are_asked_for_only_where_none_were_taken() {
        let ending = |x: i32, at: i32| if x == at { Ending::Shaken(None) } else { Ending::Free };
        let said = |at: i32| {
            let frames: Vec<(f64, Ending)> = (0..40).map(|i| (f64::from(i / 5), ending(i, at))).collect();
            refusal(None, &frames, 0.9).unwrap()
        };
        assert_eq!(said(38), "only 1 is shaken: take more at the times where it was, and longer times too");
        assert_eq!(said(20), "only 1 is shaken: take more at the times where it was");
    }

    /// And the ordinary test, as in `shutter_fit`, is told.
    #[test]
    fn an_ordinary_test_is_told() {
        let chance = |x: f64| 1.0 / (1.0 + (-(x + 1.0) * 1.8).exp());
        let length = |x: f64| (x + 1.5).exp2().max(1.05);
        for each in [5, 15] {
            let stated = (0..60).filter(|seed| told(&frames(*seed, each, chance, length))).count();
            assert!(stated >= 57, "{each} each: {stated} of 60");
        }
    }
}
