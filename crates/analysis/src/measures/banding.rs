//! Offsets of whole rows or columns beyond what independent noise explains.
//!
//! Measures: standard deviation of the offsets, DN. Method: in each block of the mosaic a level and a slope are taken out
//! of every plane; what is left is averaged along each row, separately in eight parts of the frame's width. An offset
//! of the whole row shows in all parts alike, so the mean product of different parts is its variance; noise, and any
//! structure of the scene that does not cross the whole frame, has a mean product of zero. Columns likewise.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than eight rows of blocks. Waves longer than a block are left to [`super::waves`].

use super::banding_tone::ByTone;
use super::patches::{BlockShape, PlaneStat};
use super::waves::{Wave, left_by_block};

/// Parts of the frame along a line.
pub(super) const PARTS: usize = 8;

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

/// Share of the offsets' variance that is left where the tone is zero: less is the scene's.
const ADDED: f64 = 0.6;

/// A block whose rows may be looked at, by its correlations at [`super::patches::OFFSETS`].
pub(crate) fn shows_rows(c: &[f64; 6]) -> bool {
    [0, 4].iter().all(|&k| c[k].abs() < ALONG) && [1, 2, 3, 5].iter().all(|&k| c[k].abs() < ACROSS)
}

/// A block whose columns may be looked at.
pub(crate) fn shows_columns(c: &[f64; 6]) -> bool {
    [1, 5].iter().all(|&k| c[k].abs() < ALONG) && [0, 2, 3, 4].iter().all(|&k| c[k].abs() < ACROSS)
}

/// Most planes of a block, and its longest side.
const PLANES: usize = 8;
pub(super) const MOST_SIDE: usize = 18;

/// Sum of residuals of one plane in a line of a block, DN, and their number.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    value: f32,
    n: f32,
}

impl Sum {
    fn add(&mut self, value: f32) {
        self.value += value;
        self.n += 1.0;
    }
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
    /// Lines of one plane in a block, and how far apart they are.
    of_plane: (usize, usize),
    by_tone: ByTone,
}

/// What the blocks show of the lines' offsets.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Spread {
    /// Standard deviation of the offsets, DN; zero where it is not told from noise.
    pub(crate) dn: f64,
    /// Variance that would have been told from noise, DN squared.
    pub(crate) least_dn2: f64,
    /// False where the tones do not tell whether it is added to all of them, or goes with them as the scene does.
    pub(crate) sure: bool,
    /// True where it does go with the tones: the scene has such lines itself, and they hide the sensor's.
    pub(crate) scene: bool,
    /// True where most of the picture shows no structure.
    pub(crate) plain: bool,
}

impl Lines {
    /// For `count` lines (rows or columns of the active area), each `across` pixels long.
    pub(crate) fn new(shape: &BlockShape, count: usize, across: usize) -> Self {
        let groups = count / shape.side;
        let apart = if shape.planes == 4 { 2 } else { 1 };
        let lines_of_plane = shape.side as f64 / apart as f64;
        Self {
            side: shape.side,
            across: across.max(1),
            sums: vec![(0.0, 0.0); groups * shape.side * PARTS],
            left_over: 1.0 - 2.0 / lines_of_plane,
            of_plane: (shape.side / apart, apart),
            by_tone: ByTone::new(groups * shape.side),
        }
    }

    /// True where at least half of the groups of lines are seen in several parts of the frame: a wave over few of them would
    /// be the scene's.
    pub(crate) fn mostly_seen(&self) -> bool {
        let seen_twice = |line: &[(f64, f64)]| line.iter().filter(|s| s.1 > 0.0).count() > 1;
        let groups = self.sums.chunks_exact(self.side * PARTS);
        let all = groups.len();
        2 * groups.filter(|group| group.chunks_exact(PARTS).any(seen_twice)).count() >= all
    }

    /// All offsets: what blocks show (`within`), and a longer wave in place of what they show of it.
    pub(crate) fn with_wave(&self, within: Spread, wave: Option<Wave>) -> Spread {
        let Some(Wave { period, spread_dn, sure }) = wave else { return within };
        let (lines, apart) = self.of_plane;
        let shown = left_by_block(period, lines, apart as f64) / self.left_over;
        let rest = within.dn * within.dn - shown * spread_dn * spread_dn;
        // Of what is left, so much is by chance.
        let more = rest > 0.15 * within.dn * within.dn;
        let dn = (if more { rest } else { 0.0 } + spread_dn * spread_dn).sqrt();
        Spread { dn, sure: sure && (within.sure || !more), scene: within.scene && more, ..within }
    }

    /// Share of the offsets' variance that a block's residuals keep.
    pub(crate) fn left_over(&self) -> f64 {
        self.left_over
    }

    /// Adds what a block shows of line `line` at `along`, by plane; `block` is its number along the line.
    fn add(
        &mut self,
        (line, along): (usize, usize),
        block: usize,
        planes: &[Sum; PLANES],
        stats: &[PlaneStat],
        blacks: &[f64],
    ) {
        let part = (along * PARTS / self.across).min(PARTS - 1);
        let (mut n, mut value, mut variance) = (0.0, 0.0, 0.0);
        for ((sum, stat), black) in planes.iter().zip(stats).zip(blacks).filter(|((s, _), _)| s.n > 0.0) {
            let (own, own_n) = (f64::from(stat.variance), f64::from(sum.n));
            n += own_n;
            value += f64::from(sum.value);
            variance += own_n * own;
            let level = f64::from(stat.mean) - black;
            self.by_tone.add(line, block % 2, level, f64::from(sum.value) / own_n, own_n / own);
        }
        if let Some(sum) = self.sums.get_mut(line * PARTS + part).filter(|_| variance > 0.0) {
            let weight = n * n / variance;
            sum.0 += weight * value / n;
            sum.1 += weight;
        }
    }

    /// The offsets; `None` where too little is seen.
    pub(crate) fn spread(&self) -> Option<Spread> {
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
        let (mean, error, everywhere) = mean_of_groups(&mut groups);
        let least_dn2 = SIGNIFICANT * error;
        let nothing = Spread { dn: 0.0, least_dn2, sure: true, scene: false, plain: false };
        if mean <= least_dn2 || !everywhere {
            return Some(nothing);
        }
        let seen = Spread { dn: mean.sqrt(), sure: false, ..nothing };
        // What stays where the tone is zero is banding; what goes with the tone is the scene.
        let Some((at_black, at_black_error)) = self.by_tone.at_black() else { return Some(seen) };
        let (at_black, at_black_error) = (at_black / self.left_over, at_black_error / self.left_over);
        if at_black + 2.0 * at_black_error < ADDED * mean {
            return Some(Spread { scene: true, ..nothing });
        }
        Some(Spread { sure: at_black - 2.0 * at_black_error > (1.0 - ADDED) * mean, ..seen })
    }
}

/// Mean over groups, those left out in which the scene itself has lines across the whole frame; its standard error; and
/// whether the middle group shows it too.
fn mean_of_groups(groups: &mut Vec<(f64, f64)>) -> (f64, f64, bool) {
    groups.sort_by(|a, b| a.0.total_cmp(&b.0));
    let middle = median_by_weight(groups);
    let mut apart: Vec<f64> = groups.iter().map(|g| (g.0 - middle).abs()).collect();
    apart.sort_by(f64::total_cmp);
    let limit = middle + 5.0 * 1.483 * apart[apart.len() / 2];
    groups.retain(|g| g.0 <= limit);
    let total: f64 = groups.iter().map(|g| g.1).sum();
    let mean = groups.iter().map(|g| g.0 * g.1).sum::<f64>() / total;
    let error = groups.iter().map(|g| (g.1 * (g.0 - mean)).powi(2)).sum::<f64>().sqrt() / total;
    (mean, error, middle > EVERYWHERE * mean)
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

/// Adds one block to the sums of the rows and of the columns (those that are given). `left` are residuals in standard
/// deviations, `stats` and `blacks` mean, variance and black of each plane, (x, y) the block's place in the active area.
pub(crate) fn add_block(
    shape: &BlockShape,
    (x, y): (usize, usize),
    left: &[f32],
    (stats, blacks): (&[PlaneStat], &[f64]),
    mut rows: Option<&mut Lines>,
    mut columns: Option<&mut Lines>,
) {
    let side = shape.side;
    let mut across = [[Sum::default(); PLANES]; MOST_SIDE];
    let spreads: [f32; PLANES] = std::array::from_fn(|p| stats.get(p).map_or(0.0, |s| s.variance.sqrt()));
    for (r, left) in left.chunks_exact(side).enumerate() {
        let mut along = [Sum::default(); PLANES];
        for ((&plane, z), down) in shape.planes_of_row(r).iter().zip(left).zip(&mut across) {
            let plane = usize::from(plane) % PLANES;
            let value = z * spreads[plane];
            along[plane].add(value);
            down[plane].add(value);
        }
        if let Some(rows) = rows.as_mut() {
            rows.add((y + r, x), x / side, &along, stats, blacks);
        }
    }
    if let Some(columns) = columns.as_mut() {
        for (k, sums) in across[..side].iter().enumerate() {
            columns.add((x + k, y), y / side, sums, stats, blacks);
        }
    }
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
    fn lines_seen_in_one_part_or_in_few_groups_only_are_not_mostly_seen() {
        let shape = super::BlockShape::of(&frame(|_| 0.0, |_| 0.0)).unwrap();
        let mut lines = super::Lines::new(&shape, 10 * shape.side, 1_024);
        let group = shape.side * super::PARTS;
        lines.sums.iter_mut().step_by(group).for_each(|s| s.1 = 1.0);
        assert!(!lines.mostly_seen());
        lines.sums.iter_mut().skip(3).step_by(group).take(4).for_each(|s| s.1 = 1.0);
        assert!(!lines.mostly_seen());
        lines.sums.iter_mut().skip(3).step_by(group).take(5).for_each(|s| s.1 = 1.0);
        assert!(lines.mostly_seen());
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
