//! Gain and read noise from one ordinary frame.
//!
//! Measures: electrons per DN, read noise (DN, electrons). Method: variance against mean over many small blocks that hold
//! no structure ([`super::patches`]), a robust line through them ([`super::line_fit`]); the slope is one over the gain,
//! the offset the read variance and the rounding's 1/12 DN^2.
//! Source: Foi et al. 2008 (variance = a mean + b); Janesick, "Photon Transfer"; docs/measures.md.
//! Fails when: dithered or processed samples, linear files, too few flat blocks, tones too alike: `None` with a note.

use rawassay_decode::{Frame, PlaneLevels};

use super::banding::{Search, Spread};
use super::flat_blocks::{Blocks, Flat, Usable};
use super::line_fit::{self, Line, Point};
use super::lines_out::LinesOut;
use super::patches::BlockShape;
use super::rounding::{ROUNDING, rounding_off};
use super::smoothing::{self, Neighbours};
use super::variance::Variance;

/// Fewest flat patches for a gain.
const FEWEST_PATCHES: usize = 60;

/// Greatest standard error of a gain that is stated.
const WORST_GAIN_ERROR: f64 = 0.06;

/// Greatest standard error of a read variance that is stated (twice that of read noise).
const WORST_READ_ERROR: f64 = 0.25;

/// The same where bands stay in the blocks: they correlate neighbours, and what looks like a rest of structure may be theirs.
const WORST_READ_ERROR_BANDED: f64 = 0.35;

/// What the variance of dark patches may be wrong by, as a share of it, besides its standard error.
const DARK_SHARE: f64 = 0.015;

/// The same for each unit of the ratio of the darkest to the brightest tones: the narrower they are, the further away is
/// black, and the more weighs a small error of shape.
const DARK_SHARE_BY_SPAN: f64 = 0.1;

/// Mean sum of the correlations of blocks without any structure, of which those above the limit are left out: that of a normal
/// distribution of six such, cut there and at the limit of each. And what structure that raises it by one may take from a gain:
/// found on simulated frames, where it takes 0.03 to 0.2.
const CLEAN_SUM: f64 = -1.15;
const GAIN_BY_STRUCTURE: f64 = 0.1;

/// Standard deviations above the line from which a point is left out.
const CUT: f64 = 1.5;

/// Share of the darkest variance from which on it counts what rounding may do to it; and a variance to which it adds 1/12 to
/// one in a hundred, DN squared.
const ROUNDED_SHARE: f64 = 0.03;
const CLEAR_OF_ROUNDING: f64 = 0.3 + ROUNDING;

/// Share of the blocks that show no structure of their own in a plain scene.
const PLAIN: f64 = 0.6;

/// Noise of one plane.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PlaneNoise {
    pub(crate) line: Option<Line>,
    /// True where the line holds beyond the tones that the flat patches cover.
    holds: bool,
    /// Gain, electrons per DN.
    pub(crate) gain_e_per_dn: Option<f64>,
    /// Read noise, DN.
    pub(crate) read_noise_dn: Option<f64>,
    /// Levels above black that the flat patches cover, DN.
    pub(crate) tones_dn: Option<(f64, f64)>,
}

impl PlaneNoise {
    /// Signal-to-noise ratio of one pixel at a level above black, DN, straight from the patches: where the gain is left
    /// open by what differs between pixels, the noise of a tone that the picture holds (to a factor of two) is not.
    pub(crate) fn snr_at(&self, level_dn: f64) -> Option<f64> {
        let (low, high) = self.tones_dn?;
        let variance = self.line?.at(level_dn);
        (level_dn > 0.5 * low && level_dn < 2.0 * high && variance > 0.0).then(|| level_dn / variance.sqrt())
    }
}

/// Noise of the frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FrameNoise {
    pub(crate) planes: Vec<PlaneNoise>,
    pub(crate) flat_patches: u64,
    pub(crate) r2: Option<f64>,
    /// Noise of the darkest flat blocks, DN.
    pub(crate) dark_noise_dn: Option<f64>,
    /// Offsets of rows and of columns as the picture shows them.
    pub(crate) rows: Option<Spread>,
    pub(crate) columns: Option<Spread>,
    /// The same with what the border shows, standard deviation, DN.
    pub(crate) row_banding_dn: Option<f64>,
    pub(crate) column_banding_dn: Option<f64>,
    pub(crate) notes: Vec<String>,
}

/// Measures gain, read noise and the offsets of rows and of columns, those that the masked border does not show (`border_dn`).
pub(crate) fn noise(frame: &Frame, blocks: &Blocks, usable: &[Usable], border_dn: [Option<f64>; 2]) -> FrameNoise {
    let mut out = FrameNoise { planes: vec![PlaneNoise::default(); usable.len()], ..FrameNoise::default() };
    if frame.filter.is_linear() {
        out.notes
            .push("gain and read noise: not measurable, the file holds interpolated colours, not the mosaic".into());
        return out;
    }
    if frame.dithered {
        out.notes.push("gain and read noise: not measurable, the reader dithered the samples through a curve".into());
        return out;
    }
    let Some(shape) = &blocks.shape else {
        out.notes.push("gain and read noise: not measurable with this filter array".into());
        return out;
    };
    let mut flat = Flat::of(frame, blocks, shape, usable, None);
    let objections = std::mem::take(&mut flat.same_colour).map(|mut of| smoothing::neighbours(&mut of, flat.looked));
    if let Some(why) = objections.into_iter().max().and_then(Neighbours::objection) {
        out.notes.push(format!("gain and read noise: not measurable, {why}"));
        return out;
    }
    let pooled = flat.pooled();
    out.flat_patches = pooled.len() as u64;
    out.dark_noise_dn = dark_noise(&pooled);
    if pooled.len() < FEWEST_PATCHES {
        out.notes.push("gain and read noise: not measurable, too few areas without structure".into());
        return out;
    }
    let fits = Fits::of(shape, &mut flat);
    out.r2 = fits.all.and_then(|line| explained(&pooled, &line));
    out.planes = fits.planes(&flat, 0.0);
    let blacks: Vec<f64> = usable.iter().map(|u| u.black_dn).collect();
    let plain = flat.shown.map(|n| n as f64 > PLAIN * flat.looked as f64);
    let [rows, columns] = out.find_lines((frame, shape, usable), &blacks, (border_dn, plain));
    // Offsets of whole rows and columns are in every block's variance too; they are told apart from read noise. Those of the
    // sensor are taken out, as the tests of structure prefer blocks that show little of them.
    let without = LinesOut::of(frame, shape.side, [rows.sensor, columns.sensor])
        .map(|lines| Flat::of(frame, blocks, shape, usable, Some(&lines)))
        .filter(|flat| flat.tones.len() * shape.planes >= FEWEST_PATCHES);
    out.planes = match without {
        Some(mut flat) => {
            let left_dn2 = [rows, columns].iter().filter(|l| !l.sensor).map(|l| l.in_blocks_dn2).sum();
            Fits::of(shape, &mut flat).planes(&flat, left_dn2)
        }
        None => fits.planes(&flat, rows.in_blocks_dn2 + columns.in_blocks_dn2),
    };
    if out.planes.iter().all(|p| p.gain_e_per_dn.is_none()) {
        out.notes.push(if out.planes.iter().any(|p| p.holds) {
            "gain: not measurable, the areas that seem without structure hold faint structure all the same".into()
        } else {
            "gain: not measurable, the areas without structure have tones too alike to tell the noise of light from \
             differences between pixels"
                .into()
        });
    }
    if out.planes.iter().all(|p| p.read_noise_dn.is_none()) {
        out.notes.push("read noise: not measurable from the picture, it has no dark areas without structure".into());
    }
    out
}

/// The lines through a frame's points.
struct Fits {
    all: Option<Line>,
    /// Each plane's own, where it has one.
    own: Vec<Option<Line>>,
    doubt: Doubt,
}

/// What structure that passed for noise may do.
#[derive(Debug, Clone, Copy)]
struct Doubt {
    /// Level of the dark end, DN above black, and what its variance may be off by, as a share.
    dark_dn: f64,
    dark_share: f64,
    /// What the gain may be off by, as a share.
    gain_share: f64,
}

impl Fits {
    fn of(shape: &BlockShape, flat: &mut Flat) -> Self {
        let pooled = flat.pooled();
        let (all, excess) = line_fit::fit_dark_apart(&pooled, CUT);
        let all = all.and_then(|line| clear_of_rounding(&pooled, line));
        // Sorts them by level.
        let (dark_dn, rest) = dark_end(shape, &mut flat.tones);
        let doubt =
            Doubt { dark_dn, dark_share: rest + excess, gain_share: GAIN_BY_STRUCTURE * structure(&flat.tones) };
        let own = |points: &Vec<Point>| {
            let all = all.filter(|_| shape.planes > 1)?;
            line_fit::fit_like(points, CUT, &all)
                .filter(|own| differs(own, &all, doubt.dark_share * lever(tones(points))))
        };
        Self { all, own: flat.points.iter().map(own).collect(), doubt }
    }

    /// Each plane's noise, where bands left so much variance in the blocks.
    fn planes(&self, flat: &Flat, lines_dn2: f64) -> Vec<PlaneNoise> {
        let plane = |(own, points): (&Option<Line>, &Vec<Point>)| match own {
            Some(own) => {
                let tones = tones(points);
                let dark_dn = self.doubt.dark_dn.max(tones.map_or(0.0, |t| t.0));
                let doubt = Doubt { dark_dn, dark_share: self.doubt.dark_share * lever(tones), ..self.doubt };
                from_line(Some(*own), doubt, lines_dn2, points)
            }
            None => from_line(self.all, self.doubt, lines_dn2, points),
        };
        self.own.iter().zip(&flat.points).map(plane).collect()
    }
}

/// How much further a line's ends may be off than its points, by the range of tones that they cover.
fn lever(tones: Option<(f64, f64)>) -> f64 {
    let span = span(tones).min(0.99);
    (1.0 + span) / (1.0 - span)
}

/// Ratio of the darkest to the brightest tones, 0 to 1.
fn span(tones: Option<(f64, f64)>) -> f64 {
    tones.map_or(1.0, |(low, high)| (low.max(0.0) / high.max(1e-9)).min(1.0))
}

/// The line; where rounding may do something else to the darkest points than it does on average, that through those alone whose
/// noise is large enough that it does not.
fn clear_of_rounding(points: &[Point], line: Line) -> Option<Line> {
    if rounding_off(line.offset - ROUNDING, points) < ROUNDED_SHARE * line.offset {
        return Some(line);
    }
    let from = line.reaches(CLEAR_OF_ROUNDING);
    let clear: Vec<Point> = points.iter().filter(|p| p.mean > from).copied().collect();
    line_fit::fit(&clear, CUT)
}

/// What offsets of lines do to blocks.
#[derive(Debug, Clone, Copy, Default)]
struct InBlocks {
    /// Variance that they leave in a block, DN squared.
    in_blocks_dn2: f64,
    /// True where they surely are the sensor's.
    sensor: bool,
}

impl FrameNoise {
    /// Finds the offsets of rows and of columns, those that the border does not show; says what both do to blocks.
    fn find_lines(
        &mut self,
        (frame, shape, usable): (&Frame, &BlockShape, &[Usable]),
        blacks: &[f64],
        (border_dn, plain): ([Option<f64>; 2], [bool; 2]),
    ) -> [InBlocks; 2] {
        let Some(variances) = self.variances_above(blacks) else { return Default::default() };
        let search = Search { frame, usable, variances: &variances };
        let of_border = border_dn.map(|dn| dn.map(Spread::of_independent));
        let look = |k: usize| search.spread(k == 0).map(|s| Spread { plain: plain[k], ..s });
        let found = [0, 1].map(|k| if of_border[k].is_none() { look(k) } else { None });
        [self.rows, self.columns] = found;
        [0, 1].map(|k| {
            let apart = [frame.filter.rows, frame.filter.columns][k];
            of_border[k].or(found[k]).map_or_else(InBlocks::default, |lines| {
                let in_blocks_dn2 = lines.left_in_block_dn2(shape.side, apart);
                InBlocks { in_blocks_dn2, sensor: in_blocks_dn2 > 0.0 && lines.sure && !lines.scene }
            })
        })
    }

    /// Noise by level of each plane; `None` where it is unknown.
    pub(crate) fn variances(&self, levels: &[PlaneLevels]) -> Option<Vec<Variance>> {
        self.variances_above(&levels.iter().map(|l| l.black_dn).collect::<Vec<f64>>())
    }

    fn variances_above(&self, blacks: &[f64]) -> Option<Vec<Variance>> {
        let variance = |(p, &black_dn): (&PlaneNoise, &f64)| {
            let tones_dn = if p.holds { None } else { Some(p.tones_dn?) };
            Some(Variance { line: p.line?, black_dn, tones_dn })
        };
        self.planes.iter().zip(blacks).map(variance).collect()
    }
}

/// A plane's own slope is taken where it differs from that of all planes by more than chance and more than 4 %.
/// (`share`: or by as much as its points may be off.)
fn differs(own: &Line, all: &Line, share: f64) -> bool {
    let apart = (own.slope - all.slope).abs();
    apart > 4.0 * own.slope_error && apart > f64::max(0.04, share) * all.slope
}

/// Noise of the darkest twentieth of the flat blocks, standard deviation, DN.
fn dark_noise(points: &[Point]) -> Option<f64> {
    let mut points = points.to_vec();
    points.sort_unstable_by(|a, b| a.mean.total_cmp(&b.mean));
    let dark = &points[..(points.len() / 20).max(points.len().min(8))];
    (!dark.is_empty()).then(|| (dark.iter().map(|p| p.variance).sum::<f64>() / dark.len() as f64).sqrt())
}

/// Mean level above black of the darkest tenth of the flat blocks, and how far their variance may be off, as a share: a
/// rest of structure that the other blocks do not have shows in their correlations.
fn dark_end(shape: &BlockShape, flat: &mut [(f64, [f64; 6])]) -> (f64, f64) {
    let n = flat.len();
    let dark = (n / 10).max(n.min(15)).max(1);
    if n == 0 {
        return (0.0, 1.0);
    }
    flat.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mean = |blocks: &[(f64, [f64; 6])], k: usize| blocks.iter().map(|b| b.1[k]).sum::<f64>() / blocks.len() as f64;
    let chance = 1.0 / (dark as f64).sqrt();
    let more = |k: usize| (mean(&flat[..dark], k) - mean(flat, k) - chance) / shape.deviations(k);
    let rest = (0..6).map(more).fold(0.0, f64::max);
    let level = flat[..dark].iter().map(|b| b.0).sum::<f64>() / dark as f64;
    (level, DARK_SHARE + 1.5 * rest)
}

/// How much more correlated the brighter half of the blocks (sorted by level) is than noise alone, by the mean sum of
/// correlations: structure just too faint to be seen in each.
fn structure(tones: &[(f64, [f64; 6])]) -> f64 {
    let bright = &tones[tones.len() / 2..];
    let sum = bright.iter().map(|b| b.1.iter().sum::<f64>()).sum::<f64>() / bright.len() as f64;
    if bright.is_empty() { 0.0 } else { (sum - CLEAN_SUM).max(0.0) }
}

fn from_line(line: Option<Line>, doubt: Doubt, lines: f64, points: &[Point]) -> PlaneNoise {
    let Some(line) = line else { return PlaneNoise::default() };
    let worst_error = WORST_GAIN_ERROR * line.slope;
    let holds = line.slope > 0.0 && line.slope_error < worst_error;
    let gain_error = line.slope_error.hypot(doubt.gain_share * line.slope);
    let gain = (holds && gain_error < worst_error).then(|| 1.0 / line.slope);
    let variance = line.offset - ROUNDING - lines;
    let tones = tones(points);
    let share = doubt.dark_share + DARK_SHARE_BY_SPAN * span(tones);
    let error = line.offset_error.hypot(share * line.at(doubt.dark_dn.max(0.0))).hypot(rounding_off(variance, points));
    let worst = if lines > 0.0 { WORST_READ_ERROR_BANDED } else { WORST_READ_ERROR };
    let read = (variance > 0.0 && error < worst * variance).then(|| variance.sqrt());
    PlaneNoise { line: Some(line), holds, gain_e_per_dn: gain, read_noise_dn: read, tones_dn: tones }
}

/// Range of levels above black that the plane's flat patches cover, two in a hundred at either end left out.
fn tones(points: &[Point]) -> Option<(f64, f64)> {
    let mut means: Vec<f64> = points.iter().map(|p| p.mean).collect();
    let edge = means.len() / 50;
    let last = means.len().checked_sub(1 + edge)?;
    let low = *means.select_nth_unstable_by(edge, f64::total_cmp).1;
    let high = *means.select_nth_unstable_by(last, f64::total_cmp).1;
    Some((low, high))
}

/// Coefficient of determination over groups of patches of like mean.
fn explained(points: &[Point], line: &Line) -> Option<f64> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    let groups: Vec<(f64, f64)> = sorted
        .chunks(sorted.len().div_ceil(24))
        .map(|g| {
            let mut variances: Vec<f64> = g.iter().map(|p| p.variance).collect();
            variances.sort_by(f64::total_cmp);
            (g.iter().map(|p| p.mean).sum::<f64>() / g.len() as f64, variances[g.len() / 2])
        })
        .collect();
    let mean = groups.iter().map(|g| g.1).sum::<f64>() / groups.len() as f64;
    let total: f64 = groups.iter().map(|g| (g.1 - mean).powi(2)).sum();
    let left: f64 = groups.iter().map(|g| (g.1 - line.at(g.0)).powi(2)).sum();
    (total > 0.0).then(|| (1.0 - left / total).max(0.0)).filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    /// Light by tiles of 80 pixels, electrons: from `top` down.
    fn steps(x: usize, y: usize, top: f64) -> f64 {
        top * 2_f64.powf(-0.6 * ((x / 80 * 7 + y / 80 * 13) % 23) as f64)
    }

    #[test]
    fn read_noise_under_bands_is_read_noise() {
        for (seed, columns) in [(1, false), (2, true), (3, false), (4, true)] {
            let mut rng = Noise::new(seed);
            let offsets: Vec<f64> = (0..1_024).map(|_| 2.4 * rng.normal()).collect();
            let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
            let frame = sensor.draw(|x, y, _, s| {
                let e = steps(x, y, 8_000.0);
                let noise = e.sqrt() * rng.normal() + s.read_noise * rng.normal();
                (s.black + e + noise + offsets[if columns { x } else { y }]).round()
            });
            let m = measure(&frame).noise;
            let banding = if columns { m.column_banding_dn } else { m.row_banding_dn };
            assert!(banding.is_some_and(|dn| (dn / 2.4 - 1.0).abs() < 0.2), "{seed}: {m:?}");
            assert!((m.read_noise_dn.unwrap() / 3.0 - 1.0).abs() < 0.05, "{seed}: {m:?}");
        }
    }

    #[test]
    fn dark_tones_below_half_a_dn_of_noise_do_not_bend_the_gain() {
        for (seed, gain) in [(1, 11.0), (2, 8.0), (3, 14.0)] {
            let sensor = Sensor { width: 1_024, height: 768, gain, read_noise: 2.1, seed, ..Sensor::default() };
            // Half of the frame without light.
            let m = measure(&sensor.shoot(|x, y, _| if y < 400 { 0.0 } else { steps(x, y, 4_000.0) })).noise;
            assert!(m.gain_e_per_dn.is_none_or(|g| (g / gain - 1.0).abs() < 0.05), "{gain}: {m:?}");
        }
    }

    #[test]
    fn bands_that_whole_dn_do_not_follow_are_not_taken_for_small_ones() {
        let mut rng = Noise::new(8);
        let sensor = Sensor { width: 1_024, height: 768, gain: 11.0, read_noise: 2.1, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let e = if y % 384 < 200 { 0.0 } else { steps(x, y, 4_000.0) };
            let wave = 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / 31.0).sin();
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + wave) / s.gain).round()
        });
        let m = measure(&frame).noise;
        assert!(m.column_banding_dn.is_none_or(|dn| (dn * 11.0 / 1.5 - 1.0).abs() < 0.2), "{m:?}");
    }

    #[test]
    fn faint_structure_all_over_is_not_taken_for_noise_of_light() {
        for seed in [1, 2, 3] {
            let sensor = Sensor { width: 1_024, height: 768, ..Sensor::default() };
            let mut rng = Noise::new(seed);
            let field: Vec<f64> = (0..1_030 * 774).map(|_| rng.normal()).collect();
            // As faint as a fifth of the noise in one block, and three times the noise in another.
            let height: Vec<f64> = (0..64 * 48).map(|_| 0.3 + 2.7 * rng.uniform()).collect();
            let frame = sensor.draw(|x, y, _, s| {
                let at = |dx: usize, dy: usize| field[(y + dy) * 1_030 + x + dx];
                let texture = (0..25).map(|i| at(i % 5, i / 5)).sum::<f64>() / 5.0 * height[y / 16 * 64 + x / 16];
                let e = steps(x, y, 20_000.0);
                (s.black + (e + texture * e.sqrt() + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain)
                    .round()
            });
            let gain = measure(&frame).noise.gain_e_per_dn;
            assert!(gain.is_none_or(|g| (g / sensor.gain - 1.0).abs() < 0.06), "{seed}: {gain:?}");
        }
    }

    #[test]
    fn a_plane_of_tones_too_alike_has_no_read_noise_of_its_own() {
        // Variance 2.44 DN to the DN and 44 at black; the second plane's tones lie close together, and structure adds to the
        // darker of them.
        let mut rng = Noise::new(4);
        let chance = |rng: &mut Noise| (0..61).map(|_| rng.normal().powi(2)).sum::<f64>() / 61.0;
        let mut plane = |low: f64, high: f64, added: f64| -> Vec<Point> {
            let tone = |u: f64| low + (high - low) * u;
            let point = |u: f64, chi: f64| {
                let variance = (44.0 + 2.44 * tone(u)) * (1.0 + added * (1.0 - u)) * chi;
                Point { mean: tone(u), variance, freedom: 61.0 }
            };
            (0..4_000).map(|i| point(f64::from(i) / 4_000.0, chance(&mut rng))).collect()
        };
        let points = vec![plane(0.0, 45.0, 0.0), plane(74.0, 95.0, 0.1)];
        let tones = vec![(40.0, [0.0; 6]); 4_000];
        let shape = BlockShape::of(&Sensor::default().draw(|_, _, _, _| 600.0)).unwrap();
        let mut flat = Flat { points, tones, ..Flat::default() };
        for (p, noise) in Fits::of(&shape, &mut flat).planes(&flat, 0.0).iter().enumerate() {
            let off = noise.read_noise_dn.map(|dn| dn / (44.0 - ROUNDING).sqrt() - 1.0);
            assert!(off.is_none_or(|off| off.abs() < 0.1), "plane {p}: {off:?}");
        }
    }
}
