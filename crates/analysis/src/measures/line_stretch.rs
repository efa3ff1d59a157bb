//! A stretch of a line against its neighbours: weighted second differences, the inner loop of [`super::line_steps`].
//!
//! Of each sample b between a and c the difference 2 b - a - c (DN) counts with the redescending weight of its deviation from
//! the noise of its tone (Cauchy's, squared); the response is what an offset of one adds to the weighted difference.
//! Source: Huber, Robust Statistics (M-estimates); docs/measures.md.

#![allow(clippy::needless_range_loop, reason = "lanes of several rows are taken together")]

use multiversion::multiversion;
use rawassay_decode::{Colour, Frame};

use super::flat_blocks::Usable;
use super::rounding::ROUNDING;
use super::variance::Variance;

/// Samples of a stretch; filter arrays must repeat in a quarter of it.
pub(super) const STRETCH: usize = 48;
pub(super) const REPEATS: usize = STRETCH / 4;

/// Samples that are added up side by side.
const LANES: usize = 16;

/// Standard deviations at which a sample's weight has fallen to a quarter.
const WIDTH: f32 = 2.5;

/// Least noise at which whole DN still follow an offset to a tenth, DN squared: at one level they follow 1 - 2 exp(-2 pi^2 V) of
/// it at the least (Widrow and Kollar, Quantization Noise, 2008).
const FOLLOWS: f64 = 0.16 + ROUNDING;

/// What the planes of a row give to the samples of a stretch.
pub(super) struct RowPlanes {
    slope: [f32; STRETCH],
    offset: [f32; STRETCH],
    black: [f32; STRETCH],
    /// Levels between which the noise is known.
    from: [f32; STRETCH],
    to: [f32; STRETCH],
    /// Level from which on whole DN follow an offset.
    follows: [f32; STRETCH],
    floor: [f32; STRETCH],
    clipped: [f32; STRETCH],
    /// One for green, else zero.
    green: [f32; STRETCH],
}

impl RowPlanes {
    /// Of the row at (x, y); samples count whose like stand at that distance along x and y on both sides.
    pub(super) fn of(
        frame: &Frame,
        usable: &[Usable],
        variances: &[Variance],
        (x, y): (usize, usize),
        apart: (usize, usize),
    ) -> Self {
        let plane = |i: usize| frame.filter.plane_at(x + i, y);
        let like: [bool; STRETCH] = std::array::from_fn(|i| frame.filter.like_on_both_sides((x + i, y), apart));
        let lanes = |value: &dyn Fn(usize) -> f64| std::array::from_fn(|i| value(plane(i)) as f32);
        Self {
            slope: lanes(&|p| variances[p].line.slope),
            offset: lanes(&|p| variances[p].line.offset),
            black: lanes(&|p| usable[p].black_dn),
            from: lanes(&|p| variances[p].tones_dn.map_or(0.0, |t| t.0)),
            to: lanes(&|p| variances[p].tones_dn.map_or(f64::from(f32::MAX), |t| t.1)),
            follows: lanes(&|p| variances[p].line.reaches(FOLLOWS)),
            floor: lanes(&|p| usable[p].floor_dn.unwrap_or(-1.0)),
            clipped: std::array::from_fn(|i| if like[i] { usable[plane(i)].clipped_from } else { -1.0 } as f32),
            green: lanes(&|p| f64::from(u8::from(frame.filter.planes[p].colour == Colour::Green))),
        }
    }

    /// Value, response, weight and weighted level (above black) of the sample at `i` between `a` and `c`.
    #[inline(always)]
    fn weigh(&self, i: usize, [a, b, c]: [u16; 3]) -> Folded {
        let (a, b, c) = (f32::from(a), f32::from(b), f32::from(c));
        // The mean of the three and their second difference are not correlated.
        let difference = 2.0 * b - a - c;
        let level = (a + b + c) * (1.0 / 3.0) - self.black[i];
        let known = level.max(self.from[i]).min(self.to[i]);
        let variance = (self.slope[i] * known + self.offset[i]).max(ROUNDING as f32);
        let usable =
            (a.max(b).max(c) < self.clipped[i]) & (a.min(b).min(c) > self.floor[i]) & (level > self.follows[i]);
        // Both reciprocals are those of Cauchy's weight 1 / (1 + out), out = difference^2 / (6 WIDTH^2 variance).
        let out = difference * difference * (1.0 / (6.0 * WIDTH * WIDTH));
        let (weight, share) = (1.0 / variance, 1.0 / (variance + out));
        let (weight, share) = if usable { (weight, share) } else { (0.0, 0.0) };
        [difference * share, (variance - out) * share * share, weight, weight * level]
    }
}

/// Value, response, weight and level of some samples, added up.
pub(super) type Folded = [f32; 4];

/// A stretch of a row, `here` between those `before` and `after`: its green samples and the others.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn along(before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) -> [Folded; 2] {
    let (before, here, after) = (&before[..STRETCH], &here[..STRETCH], &after[..STRETCH]);
    let mut sums = [[[0.0_f32; LANES]; 4]; 2];
    for start in (0..STRETCH).step_by(LANES) {
        for lane in 0..LANES {
            let i = start + lane;
            let own = planes.weigh(i, [before[i], here[i], after[i]]);
            for k in 0..4 {
                let green = own[k] * planes.green[i];
                sums[0][k][lane] += green;
                sums[1][k][lane] += own[k] - green;
            }
        }
    }
    let mut folded = [[0.0; 4]; 2];
    for (to, sums) in folded.iter_mut().zip(&sums) {
        for (to, lanes) in to.iter_mut().zip(sums) {
            for &v in lanes {
                *to += v;
            }
        }
    }
    folded
}

/// Sums of each column of a stretch: value, response, weight and level.
pub(super) struct Columns([[f32; STRETCH]; 4]);

impl Columns {
    pub(super) const NONE: Self = Self([[0.0; STRETCH]; 4]);

    /// Adds a row, its samples between those some columns `before` and `after`.
    pub(super) fn add(&mut self, before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) {
        across(&mut self.0, before, here, after, planes);
    }

    /// What stands in one column.
    pub(super) fn at(&self, column: usize) -> Folded {
        self.0.each_ref().map(|sums| sums[column])
    }
}

#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn across(sums: &mut [[f32; STRETCH]; 4], before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) {
    let (before, here, after) = (&before[..STRETCH], &here[..STRETCH], &after[..STRETCH]);
    let [values, responses, weights, levels] = sums;
    for i in 0..STRETCH {
        let [value, response, weight, level] = planes.weigh(i, [before[i], here[i], after[i]]);
        values[i] += value;
        responses[i] += response;
        weights[i] += weight;
        levels[i] += level;
    }
}
