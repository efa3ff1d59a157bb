//! How far each row (or column) stands off its neighbours of the same kind, in whatever parts of it the scene is smooth.
//!
//! Measures: for every line and each of eight parts of it, the mean second difference 2 v(y) - v(y - d) - v(y + d) of like
//! samples, DN, with the weight it deserves. Method: an M-estimate with a redescending weight (Cauchy's, squared): what
//! stands out of the noise of its tone is structure and counts for nothing, so that the even places of a frame full of
//! edges are used, however small they are. Level and slope of the scene drop out of the difference.
//! Source: Huber, Robust Statistics (M-estimates); the rest is our own derivation, docs/measures.md.
//! Fails when: the noise by tone is unknown, or the filter array does not repeat in twelve columns.

use multiversion::multiversion;
use rawassay_decode::{Area, Colour, Frame};

use super::flat_blocks::Usable;
use super::histogram::picture_area;
use super::lines_shown::{EVEN, LinesShown, PARTS};
use super::rounding::ROUNDING;
use super::variance::Variance;

/// Samples of a stretch; and after how many the filter array repeats.
pub(super) const STRETCH: usize = 48;
const LANES: usize = 12;

/// Standard deviations at which a sample's weight has fallen to a quarter.
const WIDTH: f32 = 2.5;

/// Least response of the stretches on both sides, of their weight: one between others that have less is mostly structure.
/// Its own response must not decide: an offset that brings structure nearer to the line would be kept, one that takes it
/// away left out, and all would read short. The next lines share neither samples nor offsets with it.
const LEAST_EVEN: f32 = 0.4;

/// Share of the stretch in hand in the evenness of its place, lines on which a wave has both signs: a place must not count as
/// less even where the wave is steep.
const MEMORY: f32 = 1.0 / 50.0;

/// Least noise at which whole DN still follow an offset to a tenth, DN squared: at one level they follow 1 - 2 exp(-2 pi^2 V) of
/// it at the least (Widrow and Kollar, Quantization Noise, 2008).
const FOLLOWS: f64 = 0.16 + ROUNDING;

/// Samples that are looked at in one go.
const AT_A_TIME: usize = 2_500_000;

/// What the planes of a row give to its samples, by column.
struct RowPlanes {
    slope: [f32; LANES],
    offset: [f32; LANES],
    black: [f32; LANES],
    /// Levels between which the noise is known.
    from: [f32; LANES],
    to: [f32; LANES],
    /// Level from which on whole DN follow an offset.
    follows: [f32; LANES],
    floor: [f32; LANES],
    clipped: [f32; LANES],
    green: [bool; LANES],
}

impl RowPlanes {
    fn of(frame: &Frame, usable: &[Usable], variances: &[Variance], (x, y): (usize, usize)) -> Self {
        let plane = |i: usize| frame.filter.plane_at(x + i, y);
        let lanes = |value: &dyn Fn(usize) -> f64| std::array::from_fn(|i| value(plane(i)) as f32);
        Self {
            slope: lanes(&|p| variances[p].line.slope),
            offset: lanes(&|p| variances[p].line.offset),
            black: lanes(&|p| usable[p].black_dn),
            from: lanes(&|p| variances[p].tones_dn.map_or(0.0, |t| t.0)),
            to: lanes(&|p| variances[p].tones_dn.map_or(f64::from(f32::MAX), |t| t.1)),
            follows: lanes(&|p| variances[p].line.reaches(FOLLOWS)),
            floor: lanes(&|p| usable[p].floor_dn.unwrap_or(-1.0)),
            clipped: lanes(&|p| usable[p].clipped_from),
            green: std::array::from_fn(|i| frame.filter.planes[plane(i)].colour == Colour::Green),
        }
    }
}

/// Sums over a stretch, by sample modulo `N`.
struct Sums<const N: usize> {
    /// Weighted differences.
    value: [f32; N],
    /// What an offset of one adds to them.
    response: [f32; N],
    weight: [f32; N],
    level: [f32; N],
}

impl<const N: usize> Sums<N> {
    const NONE: Self = Self { value: [0.0; N], response: [0.0; N], weight: [0.0; N], level: [0.0; N] };

    /// Adds the samples `here` against those `before` and `after`.
    #[inline(always)]
    fn add(&mut self, before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) {
        let (before, here, after) = (&before[..STRETCH], &here[..STRETCH], &after[..STRETCH]);
        for start in (0..STRETCH).step_by(LANES) {
            let to = start % N;
            let (value, response) = (&mut self.value[to..][..LANES], &mut self.response[to..][..LANES]);
            let (weights, levels) = (&mut self.weight[to..][..LANES], &mut self.level[to..][..LANES]);
            let (before, here, after) = (&before[start..][..LANES], &here[start..][..LANES], &after[start..][..LANES]);
            for i in 0..LANES {
                let (a, b, c) = (f32::from(before[i]), f32::from(here[i]), f32::from(after[i]));
                // The mean of the three and their second difference are not correlated.
                let difference = 2.0 * b - a - c;
                let level = (a + b + c) * (1.0 / 3.0) - planes.black[i];
                let known = level.max(planes.from[i]).min(planes.to[i]);
                let variance = (planes.slope[i] * known + planes.offset[i]).max(ROUNDING as f32);
                let usable = a.max(b).max(c) < planes.clipped[i]
                    && a.min(b).min(c) > planes.floor[i]
                    && level > planes.follows[i];
                let weight = if usable { 1.0 / variance } else { 0.0 };
                let out = difference * difference * weight * (1.0 / (6.0 * WIDTH * WIDTH));
                let share = 1.0 / (1.0 + out);
                value[i] += weight * difference * share;
                response[i] += weight * (1.0 - out) * share * share;
                weights[i] += weight;
                levels[i] += weight * level;
            }
        }
    }

    /// Value, response, weight and level of some of the samples.
    fn fold(&self, of: impl Fn(usize) -> bool) -> Folded {
        let mut total = [0.0; 4];
        for i in (0..N).filter(|&i| of(i)) {
            let own = [self.value[i], self.response[i], self.weight[i], self.level[i]];
            total.iter_mut().zip(own).for_each(|(to, v)| *to += v);
        }
        total
    }
}

/// A stretch of a row.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn along(before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) -> Sums<LANES> {
    let mut sums = Sums::NONE;
    sums.add(before, here, after, planes);
    sums
}

/// A stretch of columns, one row of it.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn across(sums: &mut Sums<STRETCH>, before: &[u16], here: &[u16], after: &[u16], planes: &RowPlanes) {
    sums.add(before, here, after, planes);
}

/// Value, response, weight and level of the samples of one colour.
pub(super) type Folded = [f32; 4];

/// Response of some samples over their weight.
fn evenness(folded: &[Folded]) -> f32 {
    let (response, weight) = folded.iter().fold((0.0, 0.0), |t, f| (t.0 + f[1], t.1 + f[2]));
    if weight > 0.0 { response / weight } else { 0.0 }
}

/// The lines of one direction.
pub(super) struct LineSteps<'a> {
    frame: &'a Frame,
    area: Area,
    rows: bool,
    planes: Vec<RowPlanes>,
    /// Lines between the samples that are compared.
    apart: usize,
    pub(super) shown: LinesShown,
    /// One stretch in so many is looked at in one go; goes so far.
    every: usize,
    gone: usize,
}

impl<'a> LineSteps<'a> {
    /// `None` for arrays whose columns do not repeat as the kernel needs it.
    pub(super) fn new(
        frame: &'a Frame,
        usable: &[Usable],
        variances: &[Variance],
        rows: bool,
        apart: usize,
    ) -> Option<Self> {
        let (area, filter) = (picture_area(frame), &frame.filter);
        if !LANES.is_multiple_of(filter.columns) {
            return None;
        }
        let planes = (0..filter.rows).map(|y| RowPlanes::of(frame, usable, variances, (area.x, area.y + y))).collect();
        let count = if rows { area.height } else { area.width };
        let every = (area.width * area.height).div_ceil(AT_A_TIME).max(1);
        Some(Self { frame, area, rows, planes, apart, shown: LinesShown::none(count), every, gone: 0 })
    }

    /// Looks at the next of the stretches; false where all were looked at.
    pub(super) fn go_on(&mut self) -> bool {
        if self.gone == self.every {
            return false;
        }
        if self.rows {
            self.add_rows()
        } else {
            self.add_columns()
        }
        self.gone += 1;
        true
    }

    fn row(&self, y: usize) -> &'a [u16] {
        &self.frame.row(self.area.y + y)[self.area.x..self.area.x + self.area.width]
    }

    fn add_rows(&mut self) {
        let (d, width) = (self.apart, self.area.width);
        let starts: Vec<usize> =
            (0..width / STRETCH).skip(self.gone).step_by(self.every).map(|i| i * STRETCH).collect();
        // The row in hand and the two before it; and how even each stretch was so far.
        let mut last: [Vec<[Folded; 2]>; 3] = Default::default();
        let mut usual = vec![EVEN; starts.len()];
        for y in d..self.area.height.saturating_sub(d) {
            let (before, here, after) = (self.row(y - d), self.row(y), self.row(y + d));
            let planes = &self.planes[y % self.planes.len()];
            last.rotate_left(1);
            last[2].clear();
            last[2].extend(starts.iter().map(|&x| {
                let sums = along(&before[x..], &here[x..], &after[x..], planes);
                [sums.fold(|i| planes.green[i]), sums.fold(|i| !planes.green[i])]
            }));
            let [above, between, below] = &last;
            for ((((above, between), below), x), usual) in
                above.iter().zip(between).zip(below).zip(&starts).zip(&mut usual)
            {
                let (above, below) = (evenness(above), evenness(below));
                let even = 0.5 * (above + below);
                *usual += (even - *usual) * MEMORY;
                if even > LEAST_EVEN {
                    self.shown.add((y - 1, x * PARTS / width), between, [*usual, above.min(below)]);
                }
            }
        }
    }

    fn add_columns(&mut self) {
        let (d, width, height) = (self.apart, self.area.width, self.area.height);
        let tops: Vec<usize> = (0..height / STRETCH).skip(self.gone).step_by(self.every).map(|i| i * STRETCH).collect();
        // The first stretch that has neighbours on its left; all start with the array.
        let first = d.div_ceil(LANES) * LANES;
        for top in tops {
            for x in (first..(width + 1).saturating_sub(d + STRETCH)).step_by(STRETCH) {
                // A column of a 2x2 array holds one colour in the rows of one parity.
                let mut sums = [Sums::<STRETCH>::NONE, Sums::<STRETCH>::NONE];
                for y in top..top + STRETCH {
                    let row = self.row(y);
                    let phase = y % self.planes.len();
                    across(&mut sums[phase % 2], &row[x - d..], &row[x..], &row[x + d..], &self.planes[phase]);
                }
                let folded: [[Folded; 2]; STRETCH] =
                    std::array::from_fn(|i| [sums[0].fold_one(i), sums[1].fold_one(i)]);
                let even = folded.map(|f| evenness(&f));
                let usual = even.iter().sum::<f32>() / STRETCH as f32;
                for (i, own) in folded.iter().enumerate() {
                    let sides = (even.get(i.wrapping_sub(1)), even.get(i + 1));
                    let (left, right) = (sides.0.or(sides.1), sides.1.or(sides.0));
                    let (even, least) = left.zip(right).map_or((0.0, 0.0), |(l, r)| (0.5 * (l + r), l.min(*r)));
                    if even > LEAST_EVEN {
                        self.shown.add((x + i, top * PARTS / height), own, [usual, least]);
                    }
                }
            }
        }
    }
}

impl Sums<STRETCH> {
    fn fold_one(&self, i: usize) -> Folded {
        [self.value[i], self.response[i], self.weight[i], self.level[i]]
    }
}
