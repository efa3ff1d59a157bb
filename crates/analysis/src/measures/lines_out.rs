//! The level of each row, or column, taken out of a block's residuals.
//!
//! Where a frame has bands, neighbours along the lines are correlated: the tests of structure would leave out the blocks whose
//! lines differ most, and what is left would show too little of the bands to take them out by their mean size. With a level of
//! its own for each line a block shows neither. Exact for filter arrays in which a colour's places form a grid.
//! Source: own derivation; two-way analysis of variance is textbook (degrees of freedom of levels by row and column).

use rawassay_decode::Frame;

use super::patches::OFFSETS;

/// Rows, columns or both of a block.
#[derive(Debug, Clone)]
pub(super) struct LinesOut {
    side: usize,
    /// Distance of like places along x and y, and the plane of each that differ.
    step: [usize; 2],
    planes: Vec<usize>,
    rows: bool,
    columns: bool,
    freedom: f64,
    expected: [f64; 6],
}

impl LinesOut {
    /// For blocks of `side` places; `None` for arrays whose colours form no grid, and where nothing is to be taken out.
    pub(super) fn of(frame: &Frame, side: usize, [rows, columns]: [bool; 2]) -> Option<Self> {
        let filter = &frame.filter;
        let step = [filter.columns, filter.rows];
        if filter.planes.len() != step[0] * step[1] || !(rows || columns) {
            return None;
        }
        let plane = |i: usize| filter.plane_at(frame.active.x + i % step[0], frame.active.y + i / step[0]);
        let [across, down] = step.map(|step| (side / step) as f64);
        let taken = match (rows, columns) {
            (true, true) => across + down - 1.0,
            (true, false) => down + 1.0,
            (false, _) => across + 1.0,
        };
        let n = across * down;
        let planes = (0..filter.planes.len()).map(plane).collect();
        let mut out = Self { side, step, planes, rows, columns, freedom: n - taken, expected: [0.0; 6] };
        out.expected = OFFSETS.map(|(dx, dy)| {
            let places = |d: isize| (side as isize - d.abs()) as f64;
            let alike = dx % step[0] as isize == 0 && dy % step[1] as isize == 0;
            if alike { -out.taken_between(dx, dy) * n / out.freedom / (places(dx) * places(dy)) } else { 0.0 }
        });
        Some(out)
    }

    /// Degrees of freedom that are left of each plane's variance.
    pub(super) fn freedom(&self) -> f64 {
        self.freedom
    }

    /// Correlation that this leaves between samples without any, at each of [`OFFSETS`].
    pub(super) fn expected(&self) -> &[f64; 6] {
        &self.expected
    }

    /// Sum over all pairs of places so far apart of the matrix that projects samples onto what is taken out.
    fn taken_between(&self, dx: isize, dy: isize) -> f64 {
        let [across, down] = self.step.map(|step| (self.side / step) as f64);
        // Places of like colour from their middle along one side, and the sum of their squares.
        let place = |i: isize, k: usize| (i as usize / self.step[k]) as f64 - 0.5 * ([across, down][k] - 1.0);
        let squares = |n: f64| n * (n * n - 1.0) / 12.0;
        let mut sum = 0.0;
        for y in 0..self.side as isize - dy {
            for x in 0.max(-dx)..self.side as isize - dx.max(0) {
                let by_row = if dy == 0 { 1.0 / across } else { 0.0 };
                let by_column = if dx == 0 { 1.0 / down } else { 0.0 };
                sum += match (self.rows, self.columns) {
                    (true, true) => by_row + by_column - 1.0 / (across * down),
                    (true, false) => by_row + place(x, 0) * place(x + dx, 0) / (down * squares(across)),
                    (false, _) => by_column + place(y, 1) * place(y + dy, 1) / (across * squares(down)),
                };
            }
        }
        sum
    }

    /// Takes them out of what a fit of level and slope left of each place, in standard deviations of its plane, in units of
    /// which the rest is given back; `times` is the rest's variance over that of the fit, which had `freedom` degrees, by
    /// plane. False where nothing is left of a plane.
    pub(super) fn take_out(&self, left: &mut [f32], freedom: f64, times: &mut [f64]) -> bool {
        let [across, down] = self.step.map(|step| self.side / step);
        let n = (across * down) as f64;
        for (first, &plane) in self.planes.iter().enumerate() {
            let (first_x, first_y) = (first % self.step[0], first / self.step[0]);
            let at = |x: usize, y: usize| (first_y + y * self.step[1]) * self.side + first_x + x * self.step[0];
            if self.rows {
                (0..down).for_each(|y| level_out(left, (0..across).map(|x| at(x, y))));
            }
            if self.columns {
                (0..across).for_each(|x| level_out(left, (0..down).map(|y| at(x, y))));
            }
            let places = || (0..down).flat_map(|y| (0..across).map(move |x| at(x, y)));
            let squares: f64 = places().map(|i| f64::from(left[i]).powi(2)).sum();
            if squares <= 0.0 {
                return false;
            }
            // The mean square was 1.
            times[plane] = squares / n * freedom / self.freedom;
            let scale = (n / squares).sqrt() as f32;
            places().for_each(|i| left[i] *= scale);
        }
        true
    }
}

/// Takes the mean of some places from each.
fn level_out(left: &mut [f32], places: impl Iterator<Item = usize> + Clone) {
    let (n, sum) = places.clone().fold((0.0_f32, 0.0_f32), |(n, sum), i| (n + 1.0, sum + left[i]));
    places.for_each(|i| left[i] -= sum / n);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::patches::{BlockShape, PlaneStat};
    use super::*;
    use crate::test_frames::{Noise, Sensor};
    use rawassay_decode::FilterArray;

    #[test]
    fn noise_under_lines_has_its_variance_and_no_structure() {
        let arrays = [FilterArray::bayer("GBRG").unwrap(), FilterArray::monochrome()];
        for (filter, which) in arrays.iter().flat_map(|f| [[true, false], [false, true], [true, true]].map(|w| (f, w)))
        {
            let (side, mut rng) = (540, Noise::new(17));
            let lines: Vec<f64> = (0..2 * side).map(|_| 30.0 * rng.normal()).collect();
            let sensor = Sensor { filter: filter.clone(), width: side, height: side, ..Sensor::default() };
            let frame = sensor.draw(|x, y, p, _| {
                let line = |k: usize, i: usize| if which[k] { lines[k * side + i] } else { 0.0 };
                (2_000.0 + 300.0 * p as f64 + 3.0 * x as f64 - 1.5 * y as f64
                    + line(0, y)
                    + line(1, x)
                    + 20.0 * rng.normal())
                .round()
            });
            let shape = BlockShape::of(&frame).unwrap();
            let out = LinesOut::of(&frame, shape.side, which).unwrap();
            let (mut stats, mut left) = (vec![PlaneStat::default(); shape.planes], vec![0.0; shape.side * shape.side]);
            let mut times = vec![0.0; shape.planes];
            let (mut variance, mut correlation, mut squares) = (vec![0.0; shape.planes], [0.0; 6], [0.0; 6]);
            let corners = shape.corners(&frame);
            for &corner in &corners {
                shape.measure(&frame, corner, &mut stats);
                assert!(shape.residuals(&frame, corner, &stats, &mut left));
                assert!(out.take_out(&mut left, shape.freedom(0), &mut times));
                variance.iter_mut().zip(&stats).zip(&times).for_each(|((v, s), t)| *v += f64::from(s.variance) * t);
                for (k, c) in shape.correlations_less(&left, out.expected()).into_iter().enumerate() {
                    correlation[k] += c;
                    squares[k] += c * c;
                }
            }
            let n = corners.len() as f64;
            for v in variance {
                let tolerance = 5.0 * (2.0 / (n * out.freedom())).sqrt();
                assert!((v / n / (400.0 + 1.0 / 12.0) - 1.0).abs() < tolerance, "{which:?}: {}", v / n);
            }
            for k in 0..6 {
                let (mean, sd) = (correlation[k] / n, (squares[k] / n).sqrt());
                assert!(mean.abs() < 5.0 / n.sqrt() + 0.05, "{which:?} offset {k}: {mean}");
                assert!((0.8..1.15).contains(&sd), "{which:?} offset {k}: {sd}");
            }
        }
    }

    #[test]
    fn arrays_without_a_grid_and_no_lines_have_nothing_to_take_out() {
        let grid = Sensor::default().draw(|_, _, _, _| 600.0);
        assert!(LinesOut::of(&grid, 16, [false, false]).is_none());
        let filter = FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap();
        let frame = Sensor { filter, ..Sensor::default() }.draw(|_, _, _, _| 600.0);
        assert!(LinesOut::of(&frame, 18, [true, true]).is_none());
    }
}
