//! All waves that run over the lines, the clearest first.
//!
//! Gives: waves, and the variance of one that may go unseen, DN squared. A pattern that repeats itself every so many lines, as of
//! columns that share converters, is several waves. Where what the scene leaves of the lines repeats itself, a wave shows at
//! other periods too: each is taken out before the next one is looked for, the clearest first.
//! Source: own derivation, docs/measures.md.

use super::line_waves::{Wave, Waves, agrees, find, take_out};
use super::lines_seen::LinesSeen;

/// Waves at the most: half as many as lines after which a pattern repeats itself.
const MOST: usize = 12;

/// Share of the variance of all below which no further wave is looked for: what a wave is off by leaves some of it.
const NO_MORE: f64 = 0.01;

/// Share of the variance of all up to which those that may not be the sensor's do not matter: a tenth of the size.
const LITTLE: f64 = 0.2;

/// The waves that these lines show.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SeveralWaves {
    pub(super) found: Vec<Wave>,
    pub(super) unseen_dn2: f64,
}

impl SeveralWaves {
    /// Those that all of these lines show alike.
    pub(super) fn of(seen: &[LinesSeen]) -> Self {
        let mut out = Self { found: Vec::new(), unseen_dn2: 0.0 };
        let mut rest = None;
        for _ in 0..MOST {
            let lines = rest.as_deref().unwrap_or(seen);
            let alike = |wave: &Wave| lines.iter().all(|lines| agrees(wave, lines));
            let waves: Vec<Waves> = lines.iter().filter_map(find).map(|waves| waves.only(alike)).collect();
            out.unseen_dn2 = Waves::unseen_dn2(&waves);
            let Some(next) = clearest(waves.iter().filter_map(|w| w.found)) else { break };
            out.found.push(next);
            let all: f64 = out.found.iter().map(|w| w.dn2).sum();
            if waves.iter().filter_map(|w| w.found).all(|w| w.dn2 < NO_MORE * all) {
                break;
            }
            let rest = rest.get_or_insert_with(|| seen.to_vec());
            rest.iter_mut().for_each(|lines| take_out(lines, &next));
        }
        out.found = without_little(out.found);
        out
    }
}

/// The one that stands out most.
fn clearest(waves: impl Iterator<Item = Wave>) -> Option<Wave> {
    waves.max_by(|a, b| a.over.total_cmp(&b.over))
}

/// Those that matter: some that may be the scene's are left out where all of them together are little.
fn without_little(mut waves: Vec<Wave>) -> Vec<Wave> {
    let of = |sure: bool| waves.iter().filter(|w| w.sure == sure).map(|w| w.dn2).sum::<f64>();
    if of(false) < LITTLE * of(true) {
        waves.retain(|w| w.sure);
    }
    waves
}

#[cfg(test)]
mod tests {
    use super::super::line_offsets::simulated::{D, LINES, lines};
    use super::super::line_spectrum::SHORTEST;
    use super::*;
    use rawassay_fourier::Complex64;

    fn sum_of(waves: &[(f64, f64)]) -> Vec<f64> {
        let at = |l: usize| {
            let wave = |(period, height): &(f64, f64)| height * (std::f64::consts::TAU * l as f64 / period + 0.4).sin();
            waves.iter().map(wave).sum()
        };
        (0..LINES).map(at).collect()
    }

    fn seen(offsets: &[f64]) -> [LinesSeen; 2] {
        [D, 6].map(|apart| LinesSeen {
            lines: lines(offsets, 0, 0.0, apart),
            apart,
            together: 1,
            shortest: SHORTEST.max(if apart == D { 0.0 } else { apart as f64 }),
        })
    }

    #[test]
    fn all_waves_are_found_each_as_high_as_it_is() {
        // A sine's variance is half the square of its height.
        for waves in [vec![(7.0, 0.8)], vec![(7.0, 0.8), (3.5, 0.5)], vec![(11.3, 0.9), (5.2, 0.6), (2.9, 0.4)], vec![]]
        {
            let found = SeveralWaves::of(&seen(&sum_of(&waves))).found;
            for (period, height) in &waves {
                let near = found.iter().filter(|w| (w.period / period - 1.0).abs() < 0.02);
                let dn2: f64 = near.map(|w| w.dn2).sum();
                assert!((dn2 / (0.5 * height * height) - 1.0).abs() < 0.12, "{period}: {found:?}");
            }
            let all: f64 = found.iter().map(|w| w.dn2).sum();
            let true_all: f64 = waves.iter().map(|(_, height)| 0.5 * height * height).sum();
            assert!((all - true_all).abs() <= 0.1 * true_all, "{waves:?}: {found:?}");
        }
    }

    #[test]
    fn little_that_may_be_the_scenes_does_not_count() {
        let wave = |dn2: f64, sure: bool| Wave { period: 7.0, dn2, over: 90.0, sure, height: Complex64::default() };
        let left = |waves: &[Wave]| without_little(waves.to_vec()).len();
        assert_eq!(left(&[wave(1.0, true), wave(0.1, false), wave(0.05, false)]), 1);
        assert_eq!(left(&[wave(1.0, true), wave(0.15, false), wave(0.15, false)]), 3);
        assert_eq!(left(&[wave(1.0, false)]), 1);
    }
}
