//! A stretch of the masked border whose noise is cut off at code zero, as in files whose black was taken off.
//!
//! Measures: standard deviation of each plane's samples about their lines, and the lines' levels, as they were before the lower half
//! of the noise became zeros: its mean lies too high and it scatters too little otherwise (0.40 and 0.58 of a standard deviation
//! where black is just zero). Method: greatest likelihood by expectation and maximisation: each zero stands for the mean, and the
//! scatter, of a normal variable that is known to lie below half a code (Dempster, Laird, Rubin 1977; Tobin 1958); levels of
//! lines and of lines across as in a two-way analysis of variance.
//! Fails when: four in five of a plane's samples are zeros, or the noise is below some 1.2 DN.

use super::chi_square::gamma_p;
use super::masked::{FEWEST, FEWEST_IN_LINE as LEAST_LINE};

/// Zeros that noise about a black above zero leaves, at the most.
const FEW_ZEROS: f64 = 0.01;

/// Most zeros that leave enough of the noise to tell its size.
const MOST_ZEROS: f64 = 0.8;

/// Least noise that may be read, rounding with it, DN: below it the few codes above zero say too little of its shape (0.6 DN read
/// up to 0.94).
const LEAST_DN: f64 = 1.25;

/// Samples above zero that a line needs, or its level is anywhere below.
const FEWEST_IN_LINE: f64 = 4.0;

/// Share of the lines that may have fewer.
const MOST_LOW: f64 = 0.02;

/// Rounds at the most, in turn of the lines of either direction.
const ROUNDS: usize = 120;

/// Share of the noise by which a round that ends them changes it.
const SETTLED: f64 = 1e-4;

/// A sample: its line, its place across, its plane and its code.
pub(super) type Sample = (u32, u32, u32, u16);

/// What the stretch shows.
pub(super) struct Cut {
    /// Samples and variance of each plane, rounding not taken off; zero where it is not shown.
    pub(super) variances: Vec<Option<(f64, f64)>>,
    /// Of each line: place, level and what noise adds to its square; empty where many lines are nearly all zeros.
    pub(super) lines: Vec<[f64; 3]>,
}

/// True where so many samples are zeros that noise must have been cut off there.
pub(super) fn is_cut(zeros: usize, samples: usize) -> bool {
    zeros as f64 > FEW_ZEROS * samples as f64
}

/// Of a normal variable known to lie below z: how far its mean lies below zero, its variance, and what a sample, cut there or not,
/// says of the level, over what it says uncut.
struct Below {
    table: Vec<[f64; 3]>,
}

impl Below {
    const REACH: f64 = 5.0;
    const STEPS: f64 = 64.0;

    fn new() -> Self {
        let entry = |i: usize| {
            let z = i as f64 / Self::STEPS - Self::REACH;
            let half = 0.5 * gamma_p(0.5, 0.5 * z * z);
            let below = if z < 0.0 { 0.5 - half } else { 0.5 + half };
            let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            let mean = density / below.max(1e-300);
            [mean, 1.0 - z * mean - mean * mean, 1.0 - below + z * density + density * mean]
        };
        Self { table: (0..=(2.0 * Self::REACH * Self::STEPS) as usize).map(entry).collect() }
    }

    fn at(&self, z: f64) -> [f64; 3] {
        self.table[((z.clamp(-Self::REACH, Self::REACH) + Self::REACH) * Self::STEPS).round() as usize]
    }
}

/// Measures samples of so many planes, lines and places across; the array repeats in so many lines.
pub(super) fn measure(samples: &[Sample], planes: usize, [lines, across]: [usize; 2], period: usize) -> Cut {
    let below = Below::new();
    let count = |of: usize, key: &dyn Fn(&Sample) -> u32, counts: &dyn Fn(&Sample) -> bool| {
        let mut n = vec![0.0; of];
        samples.iter().filter(|s| counts(s)).for_each(|s| n[key(s) as usize] += 1.0);
        n
    };
    let all = |_: &Sample| true;
    let of_plane = count(planes, &|s| s.2, &all);
    let of_line = count(lines, &|s| s.0, &all);
    let of_across = count(across, &|s| s.1, &all);
    let zeros = count(planes, &|s| s.2, &|s| s.3 == 0);
    let above = count(lines, &|s| s.0, &|s| s.3 > 0);
    // Of the lines, and of the places across by phase of the array, in which the planes' own levels are.
    let mut levels = [vec![0.0_f64; lines], vec![0.0_f64; across]];
    let mut variances: Vec<f64> = vec![1.0; planes];
    for s in samples {
        variances[s.2 as usize] += f64::from(s.3).powi(2) / of_plane[s.2 as usize];
    }
    let level_of = |levels: &[Vec<f64>; 2], s: &Sample| levels[0][s.0 as usize] + levels[1][s.1 as usize];
    for round in 0..ROUNDS {
        let mut off = [vec![0.0_f64; lines], vec![0.0_f64; across]];
        let mut squares = vec![0.0_f64; planes];
        for s in samples {
            let (level, variance) = (level_of(&levels, s), variances[s.2 as usize]);
            let (value, more) = if s.3 == 0 {
                let deviation = variance.sqrt();
                let [mean, scatter, _] = below.at((0.5 - level) / deviation);
                (-deviation * mean, variance * scatter)
            } else {
                (f64::from(s.3) - level, 0.0)
            };
            squares[s.2 as usize] += value * value + more;
            off[0][s.0 as usize] += value;
            off[1][s.1 as usize] += value;
        }
        // In turn: what both share would be taken twice.
        if round % 2 == 0 {
            levels[1]
                .iter_mut()
                .zip(off[1].iter().zip(&of_across))
                .for_each(|(level, (off, n))| *level += off / n.max(1.0));
        } else {
            let mut phases = vec![(0.0, 0.0); period];
            off[0].iter().zip(&of_line).enumerate().for_each(|(l, (off, n))| {
                let phase = &mut phases[l % period];
                *phase = (phase.0 + off, phase.1 + n);
            });
            for (l, (level, (off, n))) in levels[0].iter_mut().zip(off[0].iter().zip(&of_line)).enumerate() {
                let phase = phases[l % period];
                *level += off / n.max(1.0) - phase.0 / f64::max(phase.1, 1.0);
            }
        }
        let mut moved = 0.0;
        for (variance, (squares, n)) in variances.iter_mut().zip(squares.iter().zip(&of_plane)) {
            let next = squares / n.max(1.0);
            moved = f64::max(moved, (next / *variance - 1.0).abs());
            *variance = next.max(1e-6);
        }
        if round % 2 == 1 && moved < SETTLED {
            break;
        }
    }
    // Levels cost the likelihood's variance their share of all samples, twice that where half of them are zeros and say less of it
    // (simulated: 1.5 to 2.2 times).
    let levels_share = (lines + across) as f64 / samples.len().max(1) as f64;
    let told = |p: usize| {
        let share = zeros[p] / of_plane[p].max(1.0);
        let variance = variances[p] * (1.0 + (1.0 + 2.0 * share).min(2.0) * levels_share);
        let shows = share < MOST_ZEROS && variance > LEAST_DN * LEAST_DN;
        // One that does not show its noise is quieter than any that does: of the others those would be left that light lifts.
        (of_plane[p] >= FEWEST).then_some((of_plane[p], if shows { variance } else { 0.0 }))
    };
    let mut says = vec![0.0_f64; lines];
    for s in samples {
        let variance = variances[s.2 as usize];
        says[s.0 as usize] += below.at((0.5 - level_of(&levels, s)) / variance.sqrt())[2] / variance;
    }
    // A line that is nearly all zeros has hardly a level: where many are, there is no size of their offsets.
    let low = above.iter().zip(&of_line).filter(|(above, n)| **n >= LEAST_LINE as f64 && **above < FEWEST_IN_LINE);
    let shown = low.count() as f64 <= MOST_LOW * lines as f64;
    let line =
        |l: usize| (says[l] > 0.0 && of_line[l] >= LEAST_LINE as f64).then(|| [l as f64, levels[0][l], 1.0 / says[l]]);
    Cut {
        variances: (0..planes).map(told).collect(),
        lines: if shown { (0..lines).filter_map(line).collect() } else { Vec::new() },
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Noise;

    fn zeros(samples: &[Sample]) -> usize {
        samples.iter().filter(|s| s.3 == 0).count()
    }

    #[test]
    fn noise_that_was_cut_off_has_its_size_and_its_lines_theirs() {
        for (black, noise, offsets) in
            [(0.0, 3.0, 0.0), (0.0, 3.0, 1.0), (2.0, 5.0, 1.0), (-2.0, 4.0, 1.0), (0.4, 1.3, 0.6)]
        {
            let (lines, across, mut rng) = (900, 40, Noise::new(12));
            let rows: Vec<f64> = (0..lines).map(|_| offsets * rng.normal()).collect();
            let columns: Vec<f64> = (0..across).map(|_| 0.5 * noise * rng.normal()).collect();
            let mut samples = Vec::new();
            for (l, row) in rows.iter().enumerate() {
                for (i, column) in columns.iter().enumerate() {
                    let code = (black + row + column + noise * rng.normal()).round().max(0.0) as u16;
                    samples.push((l as u32, (l % 2 * across + i) as u32, (i % 2 + 2 * (l % 2)) as u32, code));
                }
            }
            assert!(is_cut(zeros(&samples), samples.len()));
            let cut = measure(&samples, 4, [lines, 2 * across], 2);
            // Each plane's chance is 1 to 1.5 %.
            let dn = |of: f64| (of - 1.0 / 12.0).sqrt() / noise;
            let known: Vec<f64> = cut.variances.iter().map(|v| v.unwrap().1).collect();
            assert!(known.iter().all(|&v| (dn(v) - 1.0).abs() < 0.08), "{black} {noise} {offsets}: {known:?}");
            let all = known.iter().sum::<f64>() / 4.0;
            assert!((dn(all) - 1.0).abs() < 0.03, "{black} {noise} {offsets}: {}", dn(all));
            let n = cut.lines.len() as f64;
            let mean = cut.lines.iter().map(|l| l[1]).sum::<f64>() / n;
            let all = cut.lines.iter().map(|l| (l[1] - mean).powi(2)).sum::<f64>() / n;
            let chance = cut.lines.iter().map(|l| l[2]).sum::<f64>() / n;
            let drawn = rows.iter().map(|v| v * v).sum::<f64>() / n;
            assert!(
                (all - chance - drawn).abs() < 0.2 * drawn + 0.15 * chance,
                "{black} {noise} {offsets}: {all} {chance} {drawn}"
            );
        }
    }

    #[test]
    fn what_is_nearly_all_zeros_tells_nothing() {
        let mut rng = Noise::new(12);
        for (black, noise) in [(-6.0, 3.0), (0.0, 0.4), (-0.4, 0.8)] {
            let mut code = || (black + noise * rng.normal()).round().max(0.0) as u16;
            let samples: Vec<Sample> = (0..12_000).map(|i| (i / 40, i % 40, 0, code())).collect();
            assert_eq!(measure(&samples, 1, [300, 40], 1).variances, vec![Some((12_000.0, 0.0))], "{black}");
        }
        let samples: Vec<Sample> =
            (0..12_000).map(|i| (i / 40, i % 40, 0, (20.0 + 3.0 * rng.normal()) as u16)).collect();
        assert!(!is_cut(zeros(&samples), samples.len()));
    }
}
