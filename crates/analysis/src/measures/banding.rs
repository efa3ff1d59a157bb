//! Offsets of whole rows or columns beyond what independent noise explains.
//!
//! Measures: standard deviation of the offsets, DN. Method: in each block of the mosaic a level and a slope are taken out
//! of every plane; what is left is averaged along each row, separately in eight parts of the frame's width. An offset
//! of the whole row shows in all parts alike, so the mean product of different parts is its variance; noise, and any
//! structure of the scene that does not cross the whole frame, has a mean product of zero. Columns likewise.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than eight rows of blocks. Waves longer than about 12 rows are sized too small, by a
//! quarter at 16; those longer than about 24 are taken for the scene.

use super::patches::BlockShape;

/// Parts of the frame along a line.
const PARTS: usize = 8;

/// Fewest groups of lines (block rows).
const FEWEST_GROUPS: usize = 8;

/// Banding is stated from this many standard errors on; below it is zero.
const SIGNIFICANT: f64 = 3.0;

/// Most correlation of neighbours, in standard deviations of one block's, along and across the lines: offsets of whole
/// lines correlate the samples along them, slow waves of them those across too; edges of the scene do more.
const ALONG: f64 = 8.0;
const ACROSS: f64 = 4.5;

/// Least that the middle group of lines shows of the mean of all: bands are everywhere, lines of the scene are not.
const EVERYWHERE: f64 = 0.4;

/// A block whose rows may be looked at, by its correlations at [`super::patches::OFFSETS`].
pub(crate) fn shows_rows(c: &[f64; 6]) -> bool {
    [0, 4].iter().all(|&k| c[k].abs() < ALONG) && [1, 2, 3, 5].iter().all(|&k| c[k].abs() < ACROSS)
}

/// A block whose columns may be looked at.
pub(crate) fn shows_columns(c: &[f64; 6]) -> bool {
    [1, 5].iter().all(|&k| c[k].abs() < ALONG) && [0, 2, 3, 4].iter().all(|&k| c[k].abs() < ACROSS)
}

/// Weighted sums of the lines' residuals by part.
#[derive(Debug, Clone)]
pub(crate) struct Lines {
    side: usize,
    /// Length of a line, pixels.
    across: usize,
    sums: Vec<(f64, f64)>,
    /// Share of an offset's variance that fitting level and slope leaves.
    left_over: f64,
}

impl Lines {
    /// For `count` lines (rows or columns of the active area), each `across` pixels long.
    pub(crate) fn new(shape: &BlockShape, count: usize, across: usize) -> Self {
        let groups = count / shape.side;
        let lines_of_plane = shape.side as f64 / if shape.planes == 4 { 2.0 } else { 1.0 };
        Self {
            side: shape.side,
            across: across.max(1),
            sums: vec![(0.0, 0.0); groups * shape.side * PARTS],
            left_over: 1.0 - 2.0 / lines_of_plane,
        }
    }

    /// Share of the offsets' variance that a block's residuals keep.
    pub(crate) fn left_over(&self) -> f64 {
        self.left_over
    }

    /// Adds the mean residual `value` (DN) of `samples` samples of variance `variance` in line `line`, at `along`.
    pub(crate) fn add(&mut self, line: usize, along: usize, value: f64, samples: f64, variance: f64) {
        let part = (along * PARTS / self.across).min(PARTS - 1);
        if let Some(sum) = self.sums.get_mut(line * PARTS + part) {
            let weight = samples / variance;
            sum.0 += weight * value;
            sum.1 += weight;
        }
    }

    /// Standard deviation of the offsets, DN; zero where it is not told from noise, `None` where too little is seen.
    pub(crate) fn spread_dn(&self) -> Option<f64> {
        let mut groups: Vec<(f64, f64)> = Vec::new();
        for group in self.sums.chunks_exact(self.side * PARTS) {
            let (mut products, mut weights) = (0.0, 0.0);
            for line in group.chunks_exact(PARTS) {
                let total = line
                    .iter()
                    .fold((0.0, 0.0, 0.0, 0.0), |t, s| (t.0 + s.0, t.1 + s.1, t.2 + s.0 * s.0, t.3 + s.1 * s.1));
                products += total.0 * total.0 - total.2;
                weights += total.1 * total.1 - total.3;
            }
            if weights > 0.0 {
                groups.push((products / weights / self.left_over, weights));
            }
        }
        if groups.len() < FEWEST_GROUPS {
            return None;
        }
        let variance = mean_of_groups(&mut groups);
        match variance {
            Some(v) if v > 0.0 => Some(v.sqrt()),
            _ => Some(0.0),
        }
    }
}

/// Mean over groups, those left out in which the scene itself has lines across the whole frame. `None` where it is not
/// significantly above zero.
fn mean_of_groups(groups: &mut Vec<(f64, f64)>) -> Option<f64> {
    groups.sort_by(|a, b| a.0.total_cmp(&b.0));
    let middle = median_by_weight(groups);
    let mut apart: Vec<f64> = groups.iter().map(|g| (g.0 - middle).abs()).collect();
    apart.sort_by(f64::total_cmp);
    let limit = middle + 5.0 * 1.483 * apart[apart.len() / 2];
    groups.retain(|g| g.0 <= limit);
    let total: f64 = groups.iter().map(|g| g.1).sum();
    let mean = groups.iter().map(|g| g.0 * g.1).sum::<f64>() / total;
    let error = groups.iter().map(|g| (g.1 * (g.0 - mean)).powi(2)).sum::<f64>().sqrt() / total;
    (mean > SIGNIFICANT * error && middle > EVERYWHERE * mean).then_some(mean)
}

fn median_by_weight(sorted: &[(f64, f64)]) -> f64 {
    let half = 0.5 * sorted.iter().map(|g| g.1).sum::<f64>();
    let mut below = 0.0;
    for &(value, weight) in sorted {
        below += weight;
        if below >= half {
            return value;
        }
    }
    0.0
}

/// Adds one block to the sums of the rows and of the columns (those that are given). `left` are residuals in standard deviations, `spread_dn` the
/// standard deviation of each plane, (x, y) the block's place in the active area.
pub(crate) fn add_block(
    shape: &BlockShape,
    (x, y): (usize, usize),
    left: &[f32],
    spread_dn: &[f32],
    mut rows: Option<&mut Lines>,
    mut columns: Option<&mut Lines>,
) {
    let side = shape.side;
    // Value and variance of a row, by column, and of all columns.
    let (mut value, mut variance) = ([0.0_f32; 18], [0.0_f32; 18]);
    let (mut columns_value, mut columns_variance) = ([0.0_f32; 18], [0.0_f32; 18]);
    let n = side as f64;
    for (r, left) in left.chunks_exact(side).enumerate() {
        let spread = shape.planes_of_row(r).iter().map(|&plane| spread_dn[usize::from(plane)]);
        for ((((to, square), z), s), (sum, squares)) in value
            .iter_mut()
            .zip(&mut variance)
            .zip(left)
            .zip(spread)
            .zip(columns_value.iter_mut().zip(&mut columns_variance))
        {
            *to = z * s;
            *square = s * s;
            *sum += *to;
            *squares += *square;
        }
        if let Some(rows) = rows.as_mut() {
            rows.add(y + r, x, total(&value[..side]) / n, n, total(&variance[..side]) / n);
        }
    }
    if let Some(columns) = columns.as_mut() {
        for k in 0..side {
            columns.add(x + k, y, f64::from(columns_value[k]) / n, n, f64::from(columns_variance[k]) / n);
        }
    }
}

/// Sum in four lanes, which do not wait for each other.
fn total(values: &[f32]) -> f64 {
    let mut lanes = [0.0_f32; 4];
    for values in values.chunks(4) {
        lanes.iter_mut().zip(values).for_each(|(to, v)| *to += v);
    }
    f64::from(lanes[0] + lanes[1] + (lanes[2] + lanes[3]))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    fn sensor() -> Sensor {
        Sensor { width: 1_024, height: 768, gain: 2.0, read_noise: 6.0, ..Sensor::default() }
    }

    /// A frame of patches, an offset (DN) added to each row and column.
    fn frame(row: impl Fn(usize) -> f64, column: impl Fn(usize) -> f64) -> rawassay_decode::Frame {
        let mut rng = Noise::new(5);
        sensor().draw(|x, y, _, s| {
            let i = (x / 100 * 7 + y / 90 * 13) % 17;
            let e = 20_000.0 * 2_f64.powf(-0.5 * i as f64);
            let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
            (v + row(y) + column(x)).round()
        })
    }

    #[test]
    fn half_a_read_noise_of_random_rows_is_found_and_sized() {
        let mut rng = Noise::new(11);
        let offsets: Vec<f64> = (0..768).map(|_| 1.5 * rng.normal()).collect();
        let m = measure(&frame(|y| offsets[y], |_| 0.0)).noise;
        let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
        assert!((row / 1.5 - 1.0).abs() < 0.2, "{row}");
        assert!(column < 0.2, "{column}");
    }

    #[test]
    fn half_a_read_noise_of_periodic_columns_is_found_and_sized() {
        for period in [3.0, 8.0, 11.0] {
            let wave = |x: usize| 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin();
            let m = measure(&frame(|_| 0.0, wave)).noise;
            let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
            assert!((column / 1.5 - 1.0).abs() < 0.25, "{column} at {period}");
            assert!(row < 0.2, "{row}");
        }
    }

    #[test]
    fn a_clean_frame_and_lines_of_the_scene_are_not_banding() {
        assert!(measure(&frame(|_| 0.0, |_| 0.0)).noise.row_banding_dn.unwrap() < 0.2);
        // Blinds: lines over half of the frame.
        let mut rng = Noise::new(6);
        let blinds = sensor().draw(|x, y, _, s| {
            let e = if x < 500 && y % 14 < 5 { 3_000.0 } else { 6_000.0 };
            (s.black + (e + f64::sqrt(e) * rng.normal()) / s.gain).round()
        });
        assert!(measure(&blinds).noise.row_banding_dn.unwrap_or(0.0) < 1.0);
    }
}
