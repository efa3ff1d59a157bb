//! Offsets that whole lines share, from what their parts show alike.
//!
//! Measures: variance of the offsets of independent lines, DN squared, with its standard error. Method: an offset of the
//! whole line shows in all its parts, so the mean product of different parts is free of noise. Second differences of independent offsets of variance V, d lines apart, have the covariances 6 V, -4 V and V at lags
//! 0, d and 2 d: that shape is fitted, so that whatever a scene leaves in many lines alike (6 - 8 + 2 = 0) drops out.
//! What the lens drew reaches over the next line too, an offset of the sensor does not; and what the scene has goes with the
//! light, while an offset is the same in dark and bright parts.
//! Source: own derivation, docs/measures.md.

use super::lines_shown::{PARTS, Shown};

/// Difference of chi-squared from which offsets count as the sensor's, or as the scene's.
pub(super) const TELLS: f64 = 4.0;

/// Banding is stated from this many standard errors on; below it is zero.
pub(super) const SIGNIFICANT: f64 = 3.5;

/// Most of chi-squared that offsets of the sensor leave, of two tests.
const FITS: f64 = 9.0;

/// Lines of a group, those that show little counted as fewer: groups give the standard errors, and of fewer lines they would
/// scatter to one side.
const GROUP: f64 = 15.0;

/// Fewest groups.
const FEWEST: usize = 8;

/// Groups further from the middle one than so many deviations are left out, where the scene may have made them.
const APART: f64 = 5.0;

/// Share of the variance that is left out from which on this matters: a fifth of the offsets' size.
const LEFT_OUT: f64 = 0.44;

/// Standard errors of what all groups show from which on it counts.
const LEFT_OUT_ERRORS: f64 = 2.0;

/// Covariances of the second differences of independent offsets of variance 1, at lags of 0, 1 and 2 times d.
pub(super) const SHAPE: [f64; 3] = [6.0, -4.0, 1.0];

/// Weights of the covariances at lags of 0 to 4 times d that tell the offsets best from noise that differs from line to line
/// (least squares in the spectrum over the lines, own derivation): three quarters of what could be told, where the shape
/// itself as weights tells 0.38 of it. They too add up to nothing.
const OF_NOISE: [f64; 5] = [5.72, 1.91, -1.57, -2.20, -1.0];

/// Standard deviations by which both may differ.
const ALIKE: f64 = 1.5;

/// Least correlation with the next line of what a lens has drawn: a line of the scene as thin as can be under a blur of
/// a third of a pixel and the pixel's own width.
const DRAWN: f64 = 0.3;

/// A value and its standard error.
pub(super) type Estimate = (f64, f64);

/// What the lines show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Offsets {
    /// Variance of the lines' offsets, DN squared.
    pub(super) variance_dn2: Estimate,
    /// The same from the middle group alone.
    pub(super) middle_dn2: f64,
    /// Covariance with the next line over the variance.
    pub(super) next: Estimate,
    /// Variance with each part weighed by its level too, over the variance: 1 for offsets; and what it is where the lines
    /// go with the light.
    pub(super) by_level: Estimate,
    pub(super) of_light: f64,
    /// True where few groups of lines show most of it.
    pub(super) of_few: bool,
    /// What other groups, which may be the scene's and are left out, show more, DN squared; zero where that is little.
    pub(super) left_out_dn2: f64,
}

impl Offsets {
    /// Chi-squared of what is seen if the offsets are the sensor's, and if they are lines of the scene.
    pub(super) fn how_unlike(&self) -> (f64, f64) {
        let (next, next_error) = self.next;
        let (level, level_error) = self.by_level;
        let off = |by: f64, error: f64| (by.max(0.0) / error).powi(2);
        let sensor = off(next, next_error) + ((level - 1.0) / level_error).powi(2);
        (sensor, off(DRAWN - next, next_error) + off(self.of_light - level, level_error))
    }

    /// True where they surely are the sensor's.
    pub(super) fn are_the_sensors(&self) -> bool {
        let (sensor, scene) = self.how_unlike();
        scene - sensor > TELLS && sensor < FITS
    }
}

/// Sums of a group: covariance by the fitted shape, with the next line, and by level, each with what offsets of variance 1
/// would give; and what the last would be of lines that go with the light.
#[derive(Debug, Clone, Copy, Default)]
struct Group {
    own: (f64, f64),
    /// The same by the weights that suit noise.
    noise: (f64, f64),
    next: (f64, f64),
    level: (f64, f64),
    light: f64,
}

/// Sum over pairs of different parts of the product of one value of each.
pub(super) fn cross(a: &[Shown; PARTS], b: &[Shown; PARTS], value: impl Fn(&Shown) -> f64) -> f64 {
    let (mut sum_a, mut sum_b, mut same) = (0.0, 0.0, 0.0);
    for (a, b) in a.iter().zip(b) {
        let (a, b) = (value(a), value(b));
        sum_a += a;
        sum_b += b;
        same += a * b;
    }
    sum_a * sum_b - same
}

/// Covariances of second differences, d lines apart, where each line goes with the next: by lag.
fn shape_of_next(d: usize) -> Vec<(usize, f64)> {
    let mut shape: Vec<(usize, f64)> = Vec::new();
    for (lag, covariance) in [(1, 6.0), (d - 1, -4.0), (d + 1, -4.0), (2 * d - 1, 1.0), (2 * d + 1, 1.0)] {
        match shape.iter_mut().find(|s| s.0 == lag) {
            Some(known) => known.1 += covariance,
            None => shape.push((lag, covariance)),
        }
    }
    shape
}

/// Where groups of enough lines end: of n alike there are (sum of weights)^2 over the sum of their squares.
pub(super) fn ends(lines: &[[Shown; PARTS]]) -> Vec<usize> {
    let (mut ends, mut sum, mut squares) = (Vec::new(), 0.0, 0.0);
    for (l, line) in lines.iter().enumerate() {
        let weight = cross(line, line, |s| s.own.response);
        (sum, squares) = (sum + weight, squares + weight * weight);
        if squares > 0.0 && sum * sum >= GROUP * squares {
            ends.push(l + 1);
            (sum, squares) = (0.0, 0.0);
        }
    }
    ends
}

fn group(lines: &[[Shown; PARTS]], apart: usize, of: std::ops::Range<usize>, next: &[(usize, f64)]) -> Group {
    let mut to = Group::default();
    for l in of {
        let a = &lines[l];
        for (k, of_noise) in OF_NOISE.into_iter().enumerate() {
            let Some(b) = lines.get(l + k * apart) else { continue };
            let covariance = SHAPE.get(k).copied().unwrap_or(0.0);
            // Every lag but 0 stands for its negative too.
            let both = if k == 0 { 1.0 } else { 2.0 };
            let (value, response) = (cross(a, b, |s| s.own.value), cross(a, b, |s| s.own.response));
            to.noise.0 += both * of_noise * value;
            to.noise.1 += both * of_noise * covariance * response;
            if covariance == 0.0 {
                continue;
            }
            let weight = both * covariance;
            to.own.0 += weight * value;
            to.own.1 += weight * covariance * response;
            to.level.0 += weight * cross(a, b, |s| s.by_level.value);
            to.level.1 += weight * covariance * cross(a, b, |s| s.by_level.response);
            to.light += weight * covariance * cross(a, b, |s| s.by_level.again);
        }
        for &(lag, covariance) in next {
            let Some(b) = lines.get(l + lag) else { continue };
            to.next.0 += covariance * cross(a, b, |s| s.own.value);
            to.next.1 += covariance * covariance * cross(a, b, |s| s.own.response);
        }
    }
    to
}

/// The offsets of independent lines; `None` where too little of the frame is even.
pub(super) fn offsets(lines: &[[Shown; PARTS]], apart: usize) -> Option<Offsets> {
    let next = shape_of_next(apart);
    let ends = ends(lines);
    let starts = std::iter::once(0).chain(ends.iter().copied());
    let groups = starts.zip(&ends).map(|(start, &end)| group(lines, apart, start..end, &next));
    let mut groups: Vec<Group> = groups.filter(|g| g.own.1 > 0.0).collect();
    if groups.len() < FEWEST {
        return None;
    }
    let share = |g: &Group| g.own.0 / g.own.1;
    let centre = middle(groups.iter().map(share).collect());
    let spread = 1.483 * middle(groups.iter().map(|g| (share(g) - centre).abs()).collect());
    let all = of_groups(&groups, centre)?;
    groups.retain(|g| (share(g) - centre).abs() <= APART * spread);
    let kept = of_groups(&groups, centre)?;
    // Where few lines are off it is their groups that are left out, and what is kept is short.
    let (variance, error) = all.variance_dn2;
    let left_out_dn2 = variance - kept.variance_dn2.0.max(0.0);
    let matters = left_out_dn2 > LEFT_OUT * kept.variance_dn2.0;
    if matters && variance > SIGNIFICANT * error && all.are_the_sensors() {
        return Some(Offsets { of_few: true, ..all });
    }
    let left_out_dn2 = if matters && left_out_dn2 > LEFT_OUT_ERRORS * error { left_out_dn2 } else { 0.0 };
    Some(Offsets { left_out_dn2, ..kept })
}

/// What groups of lines show together, the middle one of all that much.
fn of_groups(groups: &[Group], middle_dn2: f64) -> Option<Offsets> {
    let mean = |of: &dyn Fn(&Group) -> (f64, f64)| {
        let total = groups.iter().map(of).fold((0.0, 0.0), |t, v| (t.0 + v.0, t.1 + v.1));
        let mean = total.0 / total.1;
        let off = groups.iter().map(|g| (of(g).0 - mean * of(g).1).powi(2)).sum::<f64>();
        (mean, off.sqrt() / total.1.abs())
    };
    let (own, level) = (mean(&|g| g.own), mean(&|g| g.level));
    // What the scene leaves of some lines bends both, but not alike: then the shape itself is the surer one (Hausman's test: the
    // difference of a good and the best estimate has the difference of their variances).
    let of_noise = mean(&|g| g.noise);
    let apart2 = (of_noise.0 - own.0).powi(2);
    let alike = apart2 < ALIKE.powi(2) * (own.1.powi(2) - of_noise.1.powi(2));
    let variance_dn2 = if alike { of_noise } else { own };
    let over_own = |(value, error): Estimate| (value / own.0, error / own.0.abs());
    let (plain, by_level, light) =
        groups.iter().fold((0.0, 0.0, 0.0), |t, g| (t.0 + g.own.1, t.1 + g.level.1, t.2 + g.light));
    (own.0.is_finite() && own.1 > 0.0).then(|| Offsets {
        variance_dn2,
        middle_dn2,
        next: over_own(mean(&|g| g.next)),
        by_level: over_own(level),
        of_light: light * plain / by_level.powi(2),
        of_few: false,
        left_out_dn2: 0.0,
    })
}

/// The middle one; zero of none.
pub(super) fn middle(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let at = values.len() / 2;
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}

/// Lines with known offsets, for tests.
#[cfg(test)]
pub(super) mod simulated {
    use super::{PARTS, Shown};
    use crate::test_frames::Noise;

    pub(in crate::measures) const D: usize = 2;
    pub(in crate::measures) const LINES: usize = 1200;

    /// Lines with these offsets at level 1, which go with the level to some power, and noise of one in each part.
    pub(in crate::measures) fn lines(offsets: &[f64], power: i32, constant: f64, apart: usize) -> Vec<[Shown; PARTS]> {
        let mut rng = Noise::new(8);
        let noise: Vec<[f64; PARTS]> = (0..LINES).map(|_| std::array::from_fn(|_| rng.normal())).collect();
        (0..LINES)
            .map(|l| {
                if l < apart || l + apart >= LINES {
                    return [Shown::default(); PARTS];
                }
                std::array::from_fn(|p| {
                    let level = 1.0 + (p % 4) as f64;
                    let v = |l: usize| offsets[l] * level.powi(power) + noise[l][p];
                    let value = 2.0 * v(l) - v(l - apart) - v(l + apart) + constant;
                    let mut shown = Shown::default();
                    shown.own.add(1.0, value, 1.0);
                    shown.by_level.add(level, value, 1.0);
                    shown
                })
            })
            .collect()
    }

    pub(in crate::measures) fn random(seed: u64, size: f64) -> Vec<f64> {
        let mut rng = Noise::new(seed);
        (0..LINES).map(|_| size * rng.normal()).collect()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::simulated::{D, LINES, lines, random};
    use super::*;

    #[test]
    fn offsets_are_sized_whatever_the_scene_leaves_in_all_lines() {
        for (size, constant) in [(0.0, 0.0), (0.5, 0.0), (1.0, 3.0)] {
            let found = offsets(&lines(&random(3, size), 0, constant, D), D).unwrap();
            let (variance, error) = found.variance_dn2;
            assert!((variance - size * size).abs() < 3.0 * error && error < 0.1, "{size} {constant}: {found:?}");
        }
    }

    #[test]
    fn lines_of_the_sensor_and_of_the_scene_are_told_apart() {
        let sensor = offsets(&lines(&random(3, 1.0), 0, 0.0, D), D).unwrap().how_unlike();
        assert!(sensor.1 - sensor.0 > 20.0, "{sensor:?}");
        // Through a lens: each line reaches over the next ones.
        let thin = random(4, 1.0);
        let blurred: Vec<f64> =
            (0..LINES).map(|l| thin[l] + 0.5 * (thin[l.saturating_sub(1)] + thin[(l + 1).min(LINES - 1)])).collect();
        let drawn = offsets(&lines(&blurred, 0, 0.0, D), D).unwrap().how_unlike();
        assert!(drawn.0 - drawn.1 > 4.0, "{drawn:?}");
        // Neither: independent lines that go with the light.
        let lit = offsets(&lines(&random(5, 1.0), 1, 0.0, D), D).unwrap();
        assert!(lit.how_unlike().0 > 9.0, "{lit:?}");
    }

    #[test]
    fn offsets_of_few_lines_are_sized_whole_or_known_to_be_left_out() {
        let mut whole_of_few = 0;
        for seed in 1..=6 {
            let all = random(seed, 4.0);
            // Four lines in a hundred, now here, now there.
            let mut rng = crate::test_frames::Noise::new(seed);
            let few: Vec<f64> = all.iter().map(|v| if rng.uniform() < 0.04 { *v } else { 0.0 }).collect();
            let size2 = few.iter().map(|v| v * v).sum::<f64>() / LINES as f64;
            let found = offsets(&lines(&few, 0, 0.0, D), D).unwrap();
            // Whole, or it is said that some are left out.
            let whole = (found.variance_dn2.0 / size2).ln().abs() < 0.3;
            let left_out = (found.left_out_dn2 / size2 - 1.0).abs() < 0.3;
            assert!(whole || left_out, "{seed}: {found:?} of {size2}");
            whole_of_few += usize::from(found.of_few && whole);
            // Those that a lens draws count as before, without the groups that stand out.
            let at = |l: usize| few.get(l).copied().unwrap_or(0.0);
            let drawn: Vec<f64> = (0..LINES).map(|l| at(l) + 0.5 * (at(l.wrapping_sub(1)) + at(l + 1))).collect();
            assert!(!offsets(&lines(&drawn, 0, 0.0, D), D).unwrap().of_few, "{seed}");
        }
        assert!(whole_of_few >= 3, "{whole_of_few} of 6");
    }

    #[test]
    fn covariances_with_the_next_line_follow_from_the_differences() {
        let sum = |d: usize| shape_of_next(d).iter().map(|s| s.1).sum::<f64>();
        assert_eq!(shape_of_next(2), vec![(1, 2.0), (3, -3.0), (5, 1.0)]);
        assert_eq!((sum(2), sum(6)), (0.0, 0.0));
    }

    #[test]
    fn weights_that_suit_noise_add_up_to_nothing_and_tell_twice_as_much_of_it() {
        assert!((OF_NOISE[0] + 2.0 * OF_NOISE[1..].iter().sum::<f64>()).abs() < 1e-9);
        // Information on offsets in noise of white lines: (mean of weight and signal)^2 over the mean square of weight and noise.
        let information = |weights: &[f64]| {
            let (mut signal, mut noise) = (0.0, 0.0);
            for i in 0..2_000 {
                let turn = std::f64::consts::PI * (f64::from(i) + 0.5) / 2_000.0;
                let at = |k: usize| if k == 0 { 1.0 } else { 2.0 * (k as f64 * turn).cos() };
                let weight: f64 = weights.iter().enumerate().map(|(k, w)| w * at(k)).sum();
                let power = (2.0 - 2.0 * turn.cos()).powi(2);
                signal += weight * power / 2_000.0;
                noise += (weight * power).powi(2) / 2_000.0;
            }
            signal * signal / noise
        };
        assert!((information(&SHAPE) - 0.38).abs() < 0.01, "{}", information(&SHAPE));
        assert!((information(&OF_NOISE) - 0.72).abs() < 0.01, "{}", information(&OF_NOISE));
        // So much surer are faint offsets.
        let found = offsets(&lines(&random(3, 0.5), 0, 0.0, D), D).unwrap();
        let (variance, error) = found.variance_dn2;
        assert!((variance - 0.25).abs() < 3.0 * error && error < 0.027, "{found:?}");
    }

    #[test]
    fn groups_hold_as_many_lines_as_show_something() {
        let all = lines(&random(3, 1.0), 0, 0.0, D);
        assert!(ends(&all).windows(2).all(|e| e[1] - e[0] == 15));
        let mut few = all;
        few.iter_mut().enumerate().filter(|(l, _)| l % 5 > 0).for_each(|(_, line)| *line = [Shown::default(); PARTS]);
        assert!(ends(&few).windows(2).all(|e| e[1] - e[0] == 75), "{:?}", ends(&few));
    }
}
