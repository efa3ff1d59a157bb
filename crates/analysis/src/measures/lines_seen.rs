//! Lines as differences of one distance show them, some next ones taken together for long waves.
//!
//! Gives: sums by line and part, and what a wave of the lines comes to in them. What a scene leaves in the lines is faint in
//! each but goes on over many, so it shows in the scatter of several together, and the parts are weighed by that
//! ([`super::line_weights`]): a long wave is held against what disturbs long waves.
//! Source: own derivation, docs/measures.md.

use rawassay_fourier::Complex64;

use super::line_spectrum::response;
use super::lines_shown::{PARTS, Shown};

/// Lines, by groups, of second differences.
#[derive(Debug, Clone)]
pub(super) struct LinesSeen {
    pub(super) lines: Vec<[Shown; PARTS]>,
    /// Lines between those that are held against each other.
    pub(super) apart: usize,
    /// Lines of a group.
    pub(super) together: usize,
    /// Waves are not looked for that are shorter than so many lines.
    pub(super) shortest: f64,
}

impl LinesSeen {
    /// Lines of the frame that the groups stand for.
    pub(super) fn count(&self) -> usize {
        self.lines.len() * self.together
    }

    /// Height that a wave of height 1 has in a group: its differences, and the mean over the lines of a group.
    pub(super) fn response(&self, frequency: f64) -> f64 {
        let half_turn = std::f64::consts::PI * frequency;
        let n = self.together as f64;
        response(frequency, self.apart) * (n * half_turn).sin() / (n * half_turn.sin())
    }

    /// Turn of a wave (cycles per line) up to the middle of a group.
    pub(super) fn turn(&self, group: usize, frequency: f64) -> Complex64 {
        let line = (group * self.together) as f64 + 0.5 * (self.together as f64 - 1.0);
        Complex64::cis(std::f64::consts::TAU * frequency * line)
    }
}

/// Sums of so many next lines each; what is left at the end is left out.
pub(super) fn taken_together(lines: &[[Shown; PARTS]], together: usize) -> Vec<[Shown; PARTS]> {
    let sum = |group: &[[Shown; PARTS]]| {
        let mut sum = [Shown::default(); PARTS];
        sum.iter_mut().enumerate().for_each(|(p, to)| group.iter().for_each(|line| to.take(&line[p])));
        sum
    };
    lines.chunks_exact(together).map(sum).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::line_offsets::simulated::{LINES, lines};
    use super::super::line_spectrum::LineSpectrum;
    use super::super::line_waves::{agrees, find, take_out};
    use super::super::line_weights::weigh;
    use super::*;
    use crate::test_frames::Noise;

    const APART: usize = 18;

    fn sine(amplitude: f64, period: f64) -> Vec<f64> {
        (0..LINES).map(|l| amplitude * (std::f64::consts::TAU * l as f64 / period + 0.4).sin()).collect()
    }

    /// A wave in noise of one; half of the parts hold slow structure besides, of so much.
    fn beside_structure(seed: u64, wave: &[f64], structure: f64) -> Vec<[Shown; PARTS]> {
        let mut rng = Noise::new(seed);
        let mut seen = lines(wave, 0, 0.0, APART);
        let mut slow = || -> Vec<f64> {
            let waves: Vec<(f64, f64)> =
                (0..12).map(|k| (24.0 + 4.0 * (f64::from(k) + rng.uniform()), rng.uniform())).collect();
            let at = |l: usize| {
                let sum = |(period, phase): &(f64, f64)| (std::f64::consts::TAU * (l as f64 / period + phase)).sin();
                structure * (2.0 / 12.0_f64).sqrt() * waves.iter().map(sum).sum::<f64>()
            };
            (APART..LINES - APART).map(|l| 2.0 * at(l) - at(l - APART) - at(l + APART)).collect()
        };
        let slow = [(); PARTS / 2].map(|()| slow());
        for (l, line) in seen[APART..LINES - APART].iter_mut().enumerate() {
            line[PARTS / 2..].iter_mut().zip(&slow).for_each(|(part, slow)| part.own.value += slow[l]);
        }
        seen
    }

    fn seen(lines: &[[Shown; PARTS]], together: usize) -> LinesSeen {
        let mut lines = taken_together(lines, together);
        weigh(&mut lines);
        LinesSeen { lines, apart: APART, together, shortest: APART as f64 }
    }

    #[test]
    fn a_wave_has_its_period_height_and_phase_whatever_is_taken_together() {
        for period in [26.0, 33.0, 57.0] {
            let lines = lines(&sine(0.8, period), 0, 0.0, APART);
            let [single, four] = [1, 4].map(|together| seen(&lines, together));
            let [of_single, of_four] = [&single, &four].map(|seen| find(seen).unwrap().found.unwrap());
            for found in [of_single, of_four] {
                assert!((found.period / period - 1.0).abs() < 0.005, "{period}: {found:?}");
                assert!((found.dn2 / 0.32 - 1.0).abs() < 0.1, "{period}: {found:?}");
            }
            assert!((of_single.height - of_four.height).norm() < 0.1 * of_single.height.norm(), "{period}");
            assert!(agrees(&of_single, &four) && agrees(&of_four, &single), "{period}");
            for mut seen in [single, four] {
                take_out(&mut seen, &of_single);
                assert_eq!(find(&seen).unwrap().found, None, "{period}");
            }
        }
        // Four lines together say nothing of a wave of eight.
        let lines = lines(&sine(0.8, 8.0), 0, 0.0, APART);
        let short = find(&LinesSeen { shortest: 6.0, ..seen(&lines, 1) }).unwrap().found.unwrap();
        assert!(agrees(&short, &seen(&lines, 4)), "{short:?}");
    }

    #[test]
    fn slow_structure_in_some_parts_hides_less_of_a_slow_wave_where_lines_are_taken_together() {
        let mut shares = Vec::new();
        for seed in 1..=4 {
            let lines = beside_structure(seed, &sine(0.3, 40.0), 1.5);
            let [single, four] = [1, 4].map(|together| seen(&lines, together));
            shares.extend([30.0, 44.0].map(|period| {
                LineSpectrum::of(&four).stands_out_dn2(period) / LineSpectrum::of(&single).stands_out_dn2(period)
            }));
            let found = find(&four).unwrap().found.unwrap();
            assert!((found.dn2 / 0.045 - 1.0).abs() < 0.4, "{seed}: {found:?}");
        }
        let mean = shares.iter().sum::<f64>() / shares.len() as f64;
        assert!(mean < 0.9, "{mean}: {shares:?}");
    }
}
