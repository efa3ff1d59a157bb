//! Small square blocks of the mosaic: mean and variance of every plane in them, the scene's gradient taken out.
//!
//! A block holds some 64 samples of each plane (16x16 of a Bayer array, 18x18 of a 6x6 array, 10x10 without filters).
//! From each plane's samples a level and a slope in x and y are fitted by least squares; what is left over, divided by
//! the degrees of freedom, is the variance. Structure that a plane cannot follow is told from noise by
//! [`structure`](Block::structure): noise of one sample knows nothing of its neighbours', whatever their colour.
//! Source: own derivation; the least-squares variance is textbook (n - 3 degrees of freedom).

use rawassay_decode::Frame;

use super::block_sums::{LANES, PlaneSums, left_of_row, pair_sums, plane_sums};
use super::histogram::picture_area;
use super::like_pairs::LikePairs;

/// Most blocks that are measured; a larger frame is sampled evenly.
const MOST_BLOCKS: usize = 60_000;

/// Most places of a block.
const MOST_PLACES: usize = 324;

/// Places of a block with two columns of zeros after each row, and rows of zeros below.
const PADDED: usize = 21 * 20;

/// Offsets (columns, rows) at which neighbours are compared: next pixels (other colours in a Bayer array), diagonals,
/// and next pixels of the same colour of a Bayer array.
pub(crate) const OFFSETS: [(isize, isize); 6] = [(1, 0), (0, 1), (1, 1), (-1, 1), (2, 0), (0, 2)];

/// One plane of the block's geometry.
#[derive(Debug, Clone)]
struct PlaneShape {
    /// Places of its samples in the block, by row.
    at: Vec<u16>,
    /// Offset of each place from the plane's centre.
    x: Vec<f32>,
    y: Vec<f32>,
    /// Inverse of the normal matrix of (x, y): xx, xy, yy.
    inverse: (f64, f64, f64),
}

/// Geometry that all blocks of a frame share.
#[derive(Debug, Clone)]
pub(crate) struct BlockShape {
    pub(crate) side: usize,
    pub(crate) planes: usize,
    shapes: Vec<PlaneShape>,
    /// Plane of each place.
    plane_of: Vec<u8>,
    /// True where rows hold two planes in turn, and the next rows two others (a Bayer array).
    in_turn: bool,
    /// Pairs of each offset, and the correlation that fitting a plane leaves between samples without any.
    pairs: [f64; 6],
    expected: [f64; 6],
    /// Like-coloured neighbours of an array larger than 2 x 2.
    like: Option<LikePairs>,
}

/// Variance and mean of one plane of one block.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PlaneStat {
    /// DN absolute.
    pub(crate) mean: f32,
    /// DN squared.
    pub(crate) variance: f32,
    /// Least and greatest sample.
    pub(crate) least: u16,
    pub(crate) greatest: u16,
    /// Slopes along x and y, DN per pixel.
    slopes: [f32; 2],
}

impl BlockShape {
    /// Geometry for that frame; `None` for a linear file or an array that does not fit.
    pub(crate) fn of(frame: &Frame) -> Option<Self> {
        let filter = &frame.filter;
        if filter.is_linear() || filter.columns == 0 || filter.rows == 0 || filter.planes.len() > 8 {
            return None;
        }
        let side = match (filter.columns, filter.rows) {
            (1, 1) => 10,
            (6, 6) => 18,
            _ => 16,
        };
        if side % filter.columns != 0 || side % filter.rows != 0 {
            return None;
        }
        let (x0, y0) = (frame.active.x, frame.active.y);
        let plane_of: Vec<u8> = (0..side * side).map(|i| filter.plane_at(x0 + i % side, y0 + i / side) as u8).collect();
        let planes = filter.planes.len();
        let shapes: Vec<PlaneShape> = (0..planes).map(|p| PlaneShape::of(p as u8, &plane_of, side)).collect();
        if shapes.iter().any(|s| s.at.len() < 24) {
            return None;
        }
        let in_turn =
            side == 16 && planes == 4 && (0..side * side).all(|i| plane_of[i] == plane_of[i / side % 2 * side + i % 2]);
        let mut shape =
            Self { side, planes, shapes, plane_of, in_turn, pairs: [0.0; 6], expected: [0.0; 6], like: None };
        for (k, &(dx, dy)) in OFFSETS.iter().enumerate() {
            let (mut pairs, mut expected) = (0.0, 0.0);
            shape.for_pairs(dx, dy, |a, b| {
                pairs += 1.0;
                if shape.plane_of[a] == shape.plane_of[b] {
                    expected += shape.left_between(shape.plane_of[a], a as u16, b as u16);
                }
            });
            shape.pairs[k] = pairs;
            shape.expected[k] = expected / pairs;
        }
        if planes > 1 && !shape.in_turn {
            let expected = |plane: u8, a: u16, b: u16| shape.left_between(plane, a, b);
            shape.like = Some(LikePairs::of(side, &shape.plane_of, (filter.columns, filter.rows), expected));
        }
        Some(shape)
    }

    /// Mean product that the fit leaves between two samples of a plane without correlation.
    fn left_between(&self, plane: u8, a: u16, b: u16) -> f64 {
        let s = &self.shapes[usize::from(plane)];
        -s.leverage(a, b) * s.at.len() as f64 / s.freedom()
    }

    fn for_pairs(&self, dx: isize, dy: isize, mut each: impl FnMut(usize, usize)) {
        let side = self.side as isize;
        for y in 0..side - dy {
            for x in 0.max(-dx)..side - dx.max(0) {
                each((y * side + x) as usize, ((y + dy) * side + x + dx) as usize);
            }
        }
    }

    /// Correlation of neighbours of one colour, both directions together, in standard deviations: next ones, and in arrays
    /// larger than 2 x 2 those one period apart; `None` where unlike colours already show structure.
    pub(crate) fn like_colour(&self, c: &[f64; 6], left: &[f32]) -> [Option<f64>; 2] {
        let both = |a: f64, b: f64| (a + b) * std::f64::consts::FRAC_1_SQRT_2;
        match (&self.like, self.planes) {
            (Some(like), _) => like.correlations(left),
            (None, 1) => [Some(both(c[0], c[1])), None],
            _ => [(c[0].abs() < 2.0 && c[1].abs() < 2.0).then(|| both(c[4], c[5])), None],
        }
    }

    /// Standard deviations that full correlation at one of [`OFFSETS`] comes to.
    pub(crate) fn deviations(&self, offset: usize) -> f64 {
        self.pairs[offset].sqrt()
    }

    /// Samples of a plane.
    pub(crate) fn samples(&self, plane: usize) -> f64 {
        self.shapes[plane].at.len() as f64
    }

    /// Degrees of freedom of a plane's variance.
    pub(crate) fn freedom(&self, plane: usize) -> f64 {
        self.shapes[plane].freedom()
    }

    /// Variance of the tones that were taken out of a plane's samples, DN squared: of its slopes, and of lines that left `times`
    /// the variance.
    pub(crate) fn spread(&self, plane: usize, stat: &PlaneStat, times: f64) -> f64 {
        let shape = &self.shapes[plane];
        let ([bx, by], (xx, _, yy)) = (stat.slopes.map(f64::from), shape.inverse);
        let lines = (1.0 - times).max(0.0) * f64::from(stat.variance) * shape.freedom();
        (bx * bx / xx + by * by / yy + lines) / shape.at.len() as f64
    }

    /// Corners of the blocks that are measured.
    pub(crate) fn corners(&self, frame: &Frame) -> Vec<(u32, u32)> {
        let area = picture_area(frame);
        let (cols, rows) = (area.width / self.side, area.height / self.side);
        let step = (cols * rows).div_ceil(MOST_BLOCKS).max(1);
        let mut corners = Vec::with_capacity((cols * rows) / step + rows);
        for row in 0..rows {
            // The rows start at different columns, so that no column of the frame is left out.
            for col in ((row * 7) % step..cols).step_by(step) {
                corners.push(((area.x + col * self.side) as u32, (area.y + row * self.side) as u32));
            }
        }
        corners
    }

    /// Mean and variance of each plane of the block at (x, y).
    pub(crate) fn measure(&self, frame: &Frame, corner: (u32, u32), stats: &mut [PlaneStat]) {
        let mut values = [0_u16; MOST_PLACES];
        self.gather(frame, corner, &mut values);
        for ((shape, values), stat) in self.by_plane(&values).zip(stats) {
            *stat = shape.measure(values);
        }
    }

    /// The block's samples, plane after plane.
    fn gather(&self, frame: &Frame, (x, y): (u32, u32), values: &mut [u16; MOST_PLACES]) {
        let (x, y) = (x as usize, y as usize);
        if self.in_turn {
            for (r, planes) in self.plane_of.chunks_exact(16).enumerate() {
                let row = &frame.row(y + r)[x..x + 16];
                for (first, &plane) in planes[..2].iter().enumerate() {
                    let to = &mut values[usize::from(plane) * 64 + r / 2 * 8..][..8];
                    to.iter_mut().zip(row.as_chunks::<2>().0).for_each(|(to, pair)| *to = pair[first]);
                }
            }
            return;
        }
        let mut block = [0_u16; MOST_PLACES];
        for (r, to) in block[..self.side * self.side].chunks_exact_mut(self.side).enumerate() {
            to.copy_from_slice(&frame.row(y + r)[x..x + self.side]);
        }
        let places = self.shapes.iter().flat_map(|s| &s.at);
        values.iter_mut().zip(places).for_each(|(to, &at)| *to = block[usize::from(at)]);
    }

    /// Each plane's geometry with its samples, as [`gather`](Self::gather) laid them out.
    fn by_plane<'a>(&'a self, values: &'a [u16]) -> impl Iterator<Item = (&'a PlaneShape, &'a [u16])> {
        self.shapes.iter().scan(values, |rest, shape| {
            let (own, others) = rest.split_at_checked(shape.at.len())?;
            *rest = others;
            Some((shape, own))
        })
    }

    /// What the fit of level and slope that gave `stats` leaves of each sample, in standard deviations of its plane, into
    /// `left` (`side * side`). False where a plane holds no noise at all.
    pub(crate) fn residuals(&self, frame: &Frame, corner: (u32, u32), stats: &[PlaneStat], left: &mut [f32]) -> bool {
        if stats.iter().any(|s| s.variance <= 0.0) {
            return false;
        }
        if self.in_turn {
            self.residuals_in_turn(frame, corner, stats, left);
            return true;
        }
        let mut values = [0_u16; MOST_PLACES];
        self.gather(frame, corner, &mut values);
        for ((shape, values), stat) in self.by_plane(&values).zip(stats) {
            shape.residuals(values, stat, left);
        }
        true
    }

    /// The same by whole rows of a Bayer array, in the same arithmetic.
    fn residuals_in_turn(&self, frame: &Frame, (x, y): (u32, u32), stats: &[PlaneStat], left: &mut [f32]) {
        const SIDE: usize = 16;
        let (x, y) = (x as usize, y as usize);
        // By kind of row: mean, slope across times place, and scale of each column.
        let mut columns = [[[0.0_f32; SIDE]; 3]; 2];
        for (kind, [mean, across, scale]) in columns.iter_mut().enumerate() {
            for first in 0..2 {
                let plane = usize::from(self.plane_of[kind * SIDE + first]);
                let (shape, stat) = (&self.shapes[plane], &stats[plane]);
                let (own_scale, slope) = (shape.scale(stat), stat.slopes[0]);
                for (k, x) in shape.x[..SIDE / 2].iter().enumerate() {
                    let i = 2 * k + first;
                    (mean[i], across[i], scale[i]) = (stat.mean, slope * x, own_scale);
                }
            }
        }
        for (r, left) in left.as_chunks_mut::<SIDE>().0.iter_mut().enumerate() {
            let Some(row) = frame.row(y + r)[x..].first_chunk::<SIDE>() else { return };
            let [mean, across, scale] = &columns[r % 2];
            // Slope down times place, of both planes of the row.
            let down = [0, 1].map(|k| {
                let plane = usize::from(self.plane_of[r * SIDE + k]);
                stats[plane].slopes[1] * self.shapes[plane].y[r / 2 * (SIDE / 2)]
            });
            left_of_row(row, [mean, across, scale], down, left);
        }
    }

    /// Correlation of neighbouring residuals at each of [`OFFSETS`], less what the fit itself puts there, in units of
    /// its standard deviation for noise that is independent from sample to sample.
    pub(crate) fn correlations(&self, left: &[f32]) -> [f64; 6] {
        self.correlations_less(left, &self.expected)
    }

    /// The same less what another fit puts there.
    pub(crate) fn correlations_less(&self, left: &[f32], expected: &[f64; 6]) -> [f64; 6] {
        // Zeros beside the block: pairs across its border count nothing, and all places can be gone through in a line.
        let stride = self.side + 2;
        let mut padded = [0.0_f32; PADDED];
        for (to, from) in padded.chunks_exact_mut(stride).zip(left.chunks_exact(self.side)) {
            to[..self.side].copy_from_slice(from);
        }
        let places = (self.side * stride).next_multiple_of(LANES);
        let sums = pair_sums(&padded[..], places, OFFSETS.map(|(dx, dy)| (dy * stride as isize + dx) as usize));
        let mut out = [0.0; 6];
        for (k, sum) in sums.iter().enumerate() {
            let sum: f64 = sum.iter().map(|&l| f64::from(l)).sum();
            out[k] = (sum / self.pairs[k] - expected[k]) * self.pairs[k].sqrt();
        }
        out
    }
}

impl PlaneShape {
    fn of(plane: u8, plane_of: &[u8], side: usize) -> Self {
        let at: Vec<u16> = (0..plane_of.len()).filter(|&i| plane_of[i] == plane).map(|i| i as u16).collect();
        let n = at.len().max(1) as f64;
        let place = |i: &u16| (f64::from(*i % side as u16), f64::from(*i / side as u16));
        let (sx, sy) = at.iter().map(place).fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
        let (x, y): (Vec<f32>, Vec<f32>) =
            at.iter().map(place).map(|(x, y)| ((x - sx / n) as f32, (y - sy / n) as f32)).unzip();
        let sums = x.iter().zip(&y).fold((0.0, 0.0, 0.0), |s, (&x, &y)| {
            let (x, y) = (f64::from(x), f64::from(y));
            (s.0 + x * x, s.1 + x * y, s.2 + y * y)
        });
        let det = sums.0 * sums.2 - sums.1 * sums.1;
        let inverse = if det > 0.0 { (sums.2 / det, -sums.1 / det, sums.0 / det) } else { (0.0, 0.0, 0.0) };
        Self { at, x, y, inverse }
    }

    fn freedom(&self) -> f64 {
        self.at.len() as f64 - 3.0
    }

    /// Element of the matrix that projects samples onto the fitted plane.
    fn leverage(&self, a: u16, b: u16) -> f64 {
        let find = |i: u16| self.at.binary_search(&i).ok().map(|k| (self.x[k], self.y[k]));
        let (Some(a), Some(b)) = (find(a), find(b)) else { return 0.0 };
        let (ax, ay, bx, by) = (f64::from(a.0), f64::from(a.1), f64::from(b.0), f64::from(b.1));
        let (xx, xy, yy) = self.inverse;
        1.0 / self.at.len() as f64 + ax * (xx * bx + xy * by) + ay * (xy * bx + yy * by)
    }

    /// Fits level and slope.
    fn measure(&self, values: &[u16]) -> PlaneStat {
        let PlaneSums { least, greatest, sum, squares, slopes: [sx, sy] } = plane_sums(values, &self.x, &self.y);
        let first = values[0];
        let n = self.at.len() as f64;
        let (xx, xy, yy) = self.inverse;
        let (bx, by) = (xx * sx + xy * sy, xy * sx + yy * sy);
        let left = squares - f64::from(sum) * f64::from(sum) / n - bx * sx - by * sy;
        PlaneStat {
            mean: (f64::from(first) + f64::from(sum) / n) as f32,
            variance: (left.max(0.0) / self.freedom()) as f32,
            least,
            greatest,
            slopes: [bx as f32, by as f32],
        }
    }

    /// Residuals over their standard deviation, per DN.
    fn scale(&self, stat: &PlaneStat) -> f32 {
        (self.at.len() as f64 / (f64::from(stat.variance) * self.freedom())).sqrt() as f32
    }

    fn residuals(&self, values: &[u16], stat: &PlaneStat, left: &mut [f32]) {
        let [bx, by] = stat.slopes;
        let scale = self.scale(stat);
        for (((&i, &v), &x), &y) in self.at.iter().zip(values).zip(&self.x).zip(&self.y) {
            left[usize::from(i)] = (f32::from(v) - stat.mean - bx * x - by * y) * scale;
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::{Noise, Sensor};
    use rawassay_decode::FilterArray;

    fn xtrans() -> FilterArray {
        FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap()
    }

    #[test]
    fn white_noise_on_a_slope_has_its_variance_and_no_structure() {
        for filter in [FilterArray::bayer("GBRG").unwrap(), FilterArray::monochrome(), xtrans()] {
            let sensor = Sensor { filter, width: 540, height: 540, ..Sensor::default() };
            let mut rng = Noise::new(9);
            let frame = sensor.draw(|x, y, p, _| {
                (2_000.0 + 300.0 * p as f64 + 3.0 * x as f64 - 1.5 * y as f64 + 20.0 * rng.normal()).round()
            });
            let shape = BlockShape::of(&frame).unwrap();
            let corners = shape.corners(&frame);
            let mut stats = vec![PlaneStat::default(); shape.planes];
            let mut left = vec![0.0; shape.side * shape.side];
            let mut variance = vec![0.0; shape.planes];
            let mut correlation = [0.0; 6];
            let mut squares = [0.0; 6];
            for &c in &corners {
                shape.measure(&frame, c, &mut stats);
                assert!(shape.residuals(&frame, c, &stats, &mut left));
                let found = shape.correlations(&left);
                (0..6).for_each(|k| {
                    correlation[k] += found[k];
                    squares[k] += found[k] * found[k];
                });
                variance.iter_mut().zip(&stats).for_each(|(v, s)| *v += f64::from(s.variance));
            }
            let n = corners.len() as f64;
            for (p, v) in variance.iter().enumerate() {
                let expected = 400.0 + 1.0 / 12.0;
                let tolerance = 5.0 * (2.0 / (n * shape.freedom(p))).sqrt();
                assert!((v / n / expected - 1.0).abs() < tolerance, "plane {p}: {}", v / n);
            }
            for k in 0..6 {
                let (mean, sd) = (correlation[k] / n, (squares[k] / n).sqrt());
                assert!(mean.abs() < 5.0 / n.sqrt() + 0.05, "offset {k}: {mean}");
                assert!((0.8..1.15).contains(&sd), "offset {k}: {sd}");
            }
        }
    }

    #[test]
    fn arrays_that_do_not_fit_and_small_frames_have_no_blocks() {
        let sensor = Sensor { width: 7, height: 3, ..Sensor::default() };
        let frame = sensor.draw(|_, _, _, _| 600.0);
        assert!(BlockShape::of(&frame).unwrap().corners(&frame).is_empty());
        let sensor = Sensor { filter: FilterArray::linear_rgb(), ..sensor };
        assert!(BlockShape::of(&sensor.draw(|_, _, _, _| 600.0)).is_none());
    }
}
