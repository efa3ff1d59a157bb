//! Whether lines show their offsets too where what lies next to them is even.
//!
//! Gives: the variance of the offsets by the more even half of the lines alone. What the scene draws along rows or columns, like
//! the sides of windows, makes the lines uneven next to those it is seen in; an offset of the sensor is in all lines. The next
//! lines share neither samples nor offsets with one, so that its own offset does not decide in which half it is.
//! Source: own derivation, docs/measures.md.

use super::line_offsets::{Estimate, SHAPE, cross, ends};
use super::lines_shown::{PARTS, Shown};

/// Share of the variance that the more even half must show: the less even one makes the offsets up to a fifth greater.
const LEAST: f64 = 1.0 / 1.44;

/// Standard errors by which it must lack.
const ERRORS: f64 = 3.0;

/// What the more even half of the lines shows of the offsets' variance, DN squared.
#[derive(Debug)]
pub(super) struct MoreEven(Estimate);

impl MoreEven {
    /// True where it surely lacks some of offsets that have `variance_dn2` together, of which `random_dn2` is to be told.
    pub(super) fn lacks(&self, variance_dn2: f64, random_dn2: f64) -> bool {
        let (even, error) = self.0;
        variance_dn2 - even > (1.0 - LEAST) * random_dn2 + ERRORS * error
    }

    /// True where it shows such offsets by itself, so many standard errors of them.
    pub(super) fn shows(&self, variance_dn2: f64, significant: f64) -> bool {
        let (even, error) = self.0;
        even > significant * error && even > LEAST * variance_dn2
    }

    /// By the lines that are more even than the middle one, each counted by what it shows.
    pub(super) fn of(lines: &[[Shown; PARTS]], evenness: &[f64], apart: usize) -> Self {
        let shows: Vec<f64> = lines.iter().map(|line| cross(line, line, |s| s.own.response)).collect();
        let mut order: Vec<usize> = (0..lines.len()).filter(|&l| shows[l] > 0.0).collect();
        order.sort_unstable_by(|a, b| evenness[*a].total_cmp(&evenness[*b]));
        let all: f64 = order.iter().map(|&l| shows[l]).sum();
        let mut sum = 0.0;
        let less_even = |l: &usize| {
            sum += shows[*l];
            sum < 0.5 * all
        };
        let mut more_even = vec![false; lines.len()];
        order.iter().copied().skip_while(less_even).for_each(|l| more_even[l] = true);
        let ends = ends(lines);
        let starts = std::iter::once(0).chain(ends.iter().copied());
        let group = |(from, &to): (usize, &usize)| {
            let own = (from..to).filter(|&l| more_even[l]).map(|l| shared(lines, l, apart));
            own.fold((0.0, 0.0), |t, s| (t.0 + s.0, t.1 + s.1))
        };
        let groups: Vec<(f64, f64)> = starts.zip(&ends).map(group).collect();
        let (value, response) = groups.iter().fold((0.0, 0.0), |t, g| (t.0 + g.0, t.1 + g.1));
        let mean = value / response;
        Self((mean, groups.iter().map(|g| (g.0 - mean * g.1).powi(2)).sum::<f64>().sqrt() / response))
    }
}

/// What a line shows with those before and after it by the shape of independent offsets, and what offsets of variance 1 would give.
fn shared(lines: &[[Shown; PARTS]], l: usize, apart: usize) -> (f64, f64) {
    let mut sums = (0.0, 0.0);
    for (k, covariance) in SHAPE.into_iter().enumerate() {
        for other in [l.checked_sub(k * apart), Some(l + k * apart)] {
            let Some(other) = other.and_then(|other| lines.get(other)) else { continue };
            sums.0 += covariance * cross(&lines[l], other, |s| s.own.value);
            sums.1 += covariance * covariance * cross(&lines[l], other, |s| s.own.response);
            if k == 0 {
                break;
            }
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::super::line_offsets::simulated::{D, LINES, lines, random};
    use super::*;
    use crate::test_frames::Noise;

    #[test]
    fn offsets_of_the_sensor_are_in_even_lines_too_and_those_beside_structure_are_not() {
        let mut rng = Noise::new(40);
        let evenness: Vec<f64> = (0..LINES).map(|_| 0.7 + 0.02 * rng.normal()).collect();
        for seed in 1..=4 {
            let everywhere = random(seed, 1.5);
            let seen = MoreEven::of(&lines(&everywhere, 0, 0.0, D), &evenness, D);
            assert!(seen.shows(2.25, 3.5) && !seen.lacks(2.25, 2.25), "{seed}: {:?}", seen.0);
            // Offsets of one line in twelve, which with those they are compared with stand between less even ones.
            let off = |l: usize| l % 12 == 2;
            let beside: Vec<f64> = everywhere.iter().enumerate().map(|(l, v)| if off(l) { *v } else { 0.0 }).collect();
            let size2 = beside.iter().map(|v| v * v).sum::<f64>() / LINES as f64;
            let uneven: Vec<f64> =
                evenness.iter().enumerate().map(|(l, e)| if l % 12 < 5 { e - 0.1 } else { *e }).collect();
            let of = lines(&beside, 0, 0.0, D);
            let (alike, other) = (MoreEven::of(&of, &evenness, D), MoreEven::of(&of, &uneven, D));
            assert!(!alike.lacks(size2, size2), "{seed}: {:?}", alike.0);
            assert!(other.lacks(size2, size2) && !other.shows(size2, 3.5), "{seed}: {:?}", other.0);
        }
    }
}
