//! How far each row (or column) stands off its neighbours of the same kind, in whatever parts of it the scene is smooth.
//!
//! Measures: for every line and each of eight parts of it, the mean second difference 2 v(y) - v(y - d) - v(y + d) of like
//! samples, DN, with the weight it deserves. Method: an M-estimate with a redescending weight (Cauchy's, squared): what
//! stands out of the noise of its tone is structure and counts for nothing, so that the even places of a frame full of
//! edges are used, however small they are. Level and slope of the scene drop out of the difference.
//! Source: Huber, Robust Statistics (M-estimates); the rest is our own derivation, docs/measures.md.
//! Fails when: the noise by tone is unknown, or the filter array does not repeat in twelve columns.

use rawassay_decode::{Area, Frame};

use super::flat_blocks::Usable;
use super::histogram::picture_area;
use super::line_stretch::{Columns, Folded, REPEATS, RowPlanes, STRETCH, along};
use super::lines_shown::{EVEN, LinesShown, PARTS};
use super::variance::Variance;

/// Least response of the stretches on both sides, of their weight: one between others that have less is mostly structure.
/// Its own response must not decide: an offset that brings structure nearer to the line would be kept, one that takes it
/// away left out, and all would read short. The next lines share neither samples nor offsets with it.
const LEAST_EVEN: f32 = 0.4;

/// Share of the stretch in hand in the evenness of its place, lines on which a wave has both signs: a place must not count as
/// less even where the wave is steep.
const MEMORY: f32 = 1.0 / 50.0;

/// Samples that are looked at in one go.
const AT_A_TIME: usize = 2_500_000;

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
    pub(super) apart: usize,
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
        if !REPEATS.is_multiple_of(filter.columns) {
            return None;
        }
        let distance = if rows { (0, apart) } else { (apart, 0) };
        let of_row = |y| RowPlanes::of(frame, usable, variances, (area.x, area.y + y), distance);
        let planes = (0..filter.rows).map(of_row).collect();
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
            last[2].extend(starts.iter().map(|&x| along(&before[x..], &here[x..], &after[x..], planes)));
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
        let first = d.div_ceil(REPEATS) * REPEATS;
        for top in tops {
            for x in (first..(width + 1).saturating_sub(d + STRETCH)).step_by(STRETCH) {
                // A column of a 2x2 array holds one colour in the rows of one parity.
                let mut sums = [Columns::NONE, Columns::NONE];
                for y in top..top + STRETCH {
                    let row = self.row(y);
                    let phase = y % self.planes.len();
                    sums[phase % 2].add(&row[x - d..], &row[x..], &row[x + d..], &self.planes[phase]);
                }
                let folded: [[Folded; 2]; STRETCH] = std::array::from_fn(|i| [sums[0].at(i), sums[1].at(i)]);
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
