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

/// Standard deviations above its level from which on a sample is left out: a hot photosite.
const HOT: f64 = 4.0;

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
    let level_of = |levels: &[Vec<f64>; 2], s: &Sample| levels[0][s.0 as usize] + levels[1][s.1 as usize];
    // Of the lines, and of the places across by phase of the array, in which the planes' own levels are.
    let mut levels = [medians(samples, lines, period), vec![0.0_f64; across]];
    let mut variances: Vec<f64> = vec![1.0; planes];
    let mut of_plane = vec![0.0_f64; planes];
    samples.iter().for_each(|s| of_plane[s.2 as usize] += 1.0);
    for s in samples {
        variances[s.2 as usize] += f64::from(s.3).powi(2) / of_plane[s.2 as usize];
    }
    let is_hot = |s: &Sample, level: f64, variance: f64| f64::from(s.3) > level + HOT * variance.sqrt() + 0.5;
    let mut kept = [vec![0.0_f64; lines], vec![0.0_f64; across]];
    for round in 0..ROUNDS {
        let mut off = [vec![0.0_f64; lines], vec![0.0_f64; across]];
        let mut squares = vec![0.0_f64; planes];
        kept.iter_mut().for_each(|kept| kept.fill(0.0));
        of_plane.fill(0.0);
        for s in samples {
            let (level, variance) = (level_of(&levels, s), variances[s.2 as usize]);
            if is_hot(s, level, variance) {
                continue;
            }
            let (value, more) = if s.3 == 0 {
                let deviation = variance.sqrt();
                let [mean, scatter, _] = below.at((0.5 - level) / deviation);
                (-deviation * mean, variance * scatter)
            } else {
                (f64::from(s.3) - level, 0.0)
            };
            squares[s.2 as usize] += value * value + more;
            of_plane[s.2 as usize] += 1.0;
            for (k, place) in [s.0, s.1].into_iter().enumerate() {
                off[k][place as usize] += value;
                kept[k][place as usize] += 1.0;
            }
        }
        // In turn: what both share would be taken twice.
        if round % 2 == 0 {
            levels[1]
                .iter_mut()
                .zip(off[1].iter().zip(&kept[1]))
                .for_each(|(level, (off, n))| *level += off / n.max(1.0));
        } else {
            let mut phases = vec![(0.0, 0.0); period];
            off[0].iter().zip(&kept[0]).enumerate().for_each(|(l, (off, n))| {
                let phase = &mut phases[l % period];
                *phase = (phase.0 + off, phase.1 + n);
            });
            for (l, (level, (off, n))) in levels[0].iter_mut().zip(off[0].iter().zip(&kept[0])).enumerate() {
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
    let (mut says, mut above, mut zeros) = (vec![0.0_f64; lines], vec![0.0_f64; lines], vec![0.0_f64; planes]);
    for s in samples {
        let (level, variance) = (level_of(&levels, s), variances[s.2 as usize]);
        if is_hot(s, level, variance) {
            continue;
        }
        says[s.0 as usize] += below.at((0.5 - level) / variance.sqrt())[2] / variance;
        above[s.0 as usize] += f64::from(u8::from(s.3 > 0));
        zeros[s.2 as usize] += f64::from(u8::from(s.3 == 0));
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
    // A line that is nearly all zeros has hardly a level: where many are, there is no size of their offsets.
    let low = above.iter().zip(&kept[0]).filter(|(above, n)| **n >= LEAST_LINE as f64 && **above < FEWEST_IN_LINE);
    let shown = low.count() as f64 <= MOST_LOW * lines as f64;
    let line =
        |l: usize| (says[l] > 0.0 && kept[0][l] >= LEAST_LINE as f64).then(|| [l as f64, levels[0][l], 1.0 / says[l]]);
    Cut {
        variances: (0..planes).map(told).collect(),
        lines: if shown { (0..lines).filter_map(line).collect() } else { Vec::new() },
    }
}

/// Medians of the lines about their mean in each phase of the array: a line far off the others is not all hot.
fn medians(samples: &[Sample], lines: usize, period: usize) -> Vec<f64> {
    let mut codes: Vec<Vec<u16>> = vec![Vec::new(); lines];
    samples.iter().for_each(|s| codes[s.0 as usize].push(s.3));
    let median = |codes: &mut Vec<u16>| {
        let middle = codes.len() / 2;
        if codes.is_empty() { 0.0 } else { f64::from(*codes.select_nth_unstable(middle).1) }
    };
    let mut medians: Vec<f64> = codes.iter_mut().map(median).collect();
    for phase in 0..period.min(lines) {
        let of_phase = || (phase..lines).step_by(period);
        let mean = of_phase().map(|l| medians[l]).sum::<f64>() / of_phase().count() as f64;
        of_phase().for_each(|l| medians[l] -= mean);
    }
    medians
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Noise;

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
            // One photosite in a thousand is hot.
            samples.iter_mut().skip(500).step_by(1000).for_each(|s| s.3 += 300);
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
            let told = measure(&samples, 1, [300, 40], 1).variances[0];
            assert_eq!(told.map(|(_, variance)| variance), Some(0.0), "{black}");
        }
    }
}
