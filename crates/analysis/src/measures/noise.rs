//! Gain and read noise from one ordinary frame.
//!
//! Measures: electrons per DN, read noise (DN, electrons). Method: variance against mean over many small blocks that hold
//! no structure ([`super::patches`]), a robust line through them ([`super::line_fit`]); the slope is one over the gain,
//! the offset the read variance and the rounding's 1/12 DN^2.
//! Source: Foi et al. 2008 (variance = a mean + b); Janesick, "Photon Transfer"; docs/measures.md.
//! Fails when: dithered or processed samples, linear files, too few flat blocks, tones too alike: `None` with a note.

use rawassay_decode::{Frame, PlaneLevels};

use super::banding::{self, Search, Spread};
use super::line_fit::{self, Line, Point};
use super::patches::{BlockShape, PlaneStat};
use super::rounding::{ROUNDING, rounding_off};
use super::smoothing::{self, Neighbours};
use super::variance::Variance;

/// Fewest flat patches for a gain.
const FEWEST_PATCHES: usize = 60;

/// Greatest standard error of a gain that is stated.
const WORST_GAIN_ERROR: f64 = 0.06;

/// Greatest standard error of a read variance that is stated (twice that of read noise).
const WORST_READ_ERROR: f64 = 0.25;

/// The same in a frame with bands: they correlate neighbours, and what looks like a rest of structure may be theirs.
const WORST_READ_ERROR_BANDED: f64 = 0.35;

/// What the variance of dark patches may be wrong by, as a share of it, besides its standard error.
const DARK_SHARE: f64 = 0.015;

/// The same for each unit of the ratio of the darkest to the brightest tones: the narrower they are, the further away is
/// black, and the more weighs a small error of shape.
const DARK_SHARE_BY_SPAN: f64 = 0.1;

/// Share of the blocks that show no structure of their own in a plain scene.
const PLAIN: f64 = 0.6;

/// Blocks that are taken at a time, spread evenly over the frame: all of a frame of four megapixels.
const AT_A_TIME: usize = 16_000;

/// Blocks without structure of which a part must hold so many that no more are taken. Noise and banding were tried on
/// frames that hold fewer in all (docs/accuracy.md).
const ENOUGH: usize = 1500;

/// Blocks of the frame with their planes' statistics.
pub(crate) struct Blocks {
    pub(crate) shape: Option<BlockShape>,
    pub(crate) corners: Vec<(u32, u32)>,
    /// `shape.planes` per block.
    pub(crate) stats: Vec<PlaneStat>,
    /// Corners of further blocks, for frames that hold few without structure.
    further: Vec<Vec<(u32, u32)>>,
}

impl Blocks {
    /// Measures mean and variance of all blocks, of a large frame of an even part of them.
    pub(crate) fn measure(frame: &Frame) -> Self {
        let Some(shape) = BlockShape::of(frame) else {
            return Self { shape: None, corners: Vec::new(), stats: Vec::new(), further: Vec::new() };
        };
        let all = shape.corners(frame);
        let parts = all.len().div_ceil(AT_A_TIME).max(1);
        let mut further = vec![Vec::with_capacity(all.len() / parts + 1); parts];
        for (i, corner) in all.into_iter().enumerate() {
            // Each row of blocks starts with another part, so that no column of the frame is left out.
            further[(i + corner.1 as usize / shape.side) % parts].push(corner);
        }
        let corners = further.remove(0);
        let mut stats = vec![PlaneStat::default(); corners.len() * shape.planes];
        for (&corner, stats) in corners.iter().zip(stats.chunks_exact_mut(shape.planes)) {
            shape.measure(frame, corner, stats);
        }
        Self { shape: Some(shape), corners, stats, further }
    }

    /// Calls `look` with each block and its statistics, and with those of further parts as long as fewer than
    /// [`ENOUGH`] blocks are said to hold no structure: `look` says it.
    fn each(&self, frame: &Frame, mut look: impl FnMut((u32, u32), &[PlaneStat]) -> bool) {
        let Some(shape) = &self.shape else { return };
        let mut plain = 0;
        for (&corner, stats) in self.corners.iter().zip(self.stats.chunks_exact(shape.planes)) {
            plain += usize::from(look(corner, stats));
        }
        let mut stats = vec![PlaneStat::default(); shape.planes];
        for part in &self.further {
            if plain >= ENOUGH {
                break;
            }
            for &corner in part {
                shape.measure(frame, corner, &mut stats);
                plain += usize::from(look(corner, &stats));
            }
        }
    }

    /// Means of one plane's blocks, DN absolute.
    pub(crate) fn means(&self, plane: usize) -> Vec<f32> {
        let planes = self.shape.as_ref().map_or(1, |s| s.planes);
        self.stats.iter().skip(plane).step_by(planes).map(|s| s.mean).collect()
    }
}

/// Noise of one plane.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PlaneNoise {
    pub(crate) line: Option<Line>,
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

/// Range of a plane's codes that are neither clipped nor at the floor, DN absolute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Usable {
    pub(crate) black_dn: f64,
    /// Lowest code that the converter can give (clipped shadows pile up there); `None` where nothing piles up.
    pub(crate) floor_dn: Option<f64>,
    /// Lowest clipped code.
    pub(crate) clipped_from: f64,
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
    let planes = shape.planes;
    let blacks: Vec<f64> = usable.iter().map(|u| u.black_dn).collect();
    let mut left = vec![0.0_f32; shape.side * shape.side];
    let mut points: Vec<Vec<Point>> = vec![Vec::new(); planes];
    // Correlations of neighbours of one colour, next ones and those one period of a large array apart.
    let mut same_colour: [Vec<f64>; 2] = Default::default();
    // Blocks with both ends of the range in them, and those that show rows and columns.
    let (mut looked, mut shown) = (0_usize, [0_usize; 2]);
    let mut flat: Vec<(f64, [f64; 6])> = Vec::new();
    blocks.each(frame, |corner, stats| {
        if !stats.iter().zip(usable).all(|(s, u)| within(s, u)) || !shape.residuals(frame, corner, stats, &mut left) {
            return false;
        }
        looked += 1;
        if left.iter().fold(false, |any, z| any | (z.abs() > 5.0)) {
            return false;
        }
        let c = shape.correlations(&left);
        shown[0] += usize::from(banding::shows_rows(&c));
        shown[1] += usize::from(banding::shows_columns(&c));
        same_colour.iter_mut().zip(shape.like_colour(&c, &left)).for_each(|(to, c)| to.extend(c));
        if c.iter().any(|c| c.abs() > 3.3) || c.iter().sum::<f64>() > 1.2 {
            return false;
        }
        let level = stats.iter().zip(usable).map(|(s, u)| f64::from(s.mean) - u.black_dn).sum::<f64>() / planes as f64;
        flat.push((level, c));
        for (p, s) in stats.iter().enumerate() {
            points[p].push(Point {
                mean: f64::from(s.mean) - usable[p].black_dn,
                variance: f64::from(s.variance),
                freedom: shape.freedom(p),
            });
        }
        true
    });
    let objections = same_colour.map(|mut of| smoothing::neighbours(&mut of, looked));
    if let Some(why) = objections.into_iter().max().and_then(Neighbours::objection) {
        out.notes.push(format!("gain and read noise: not measurable, {why}"));
        return out;
    }
    let pooled: Vec<Point> = points.iter().flatten().copied().collect();
    out.flat_patches = pooled.len() as u64;
    out.dark_noise_dn = dark_noise(&pooled);
    if pooled.len() < FEWEST_PATCHES {
        out.notes.push("gain and read noise: not measurable, too few areas without structure".into());
        return out;
    }
    let (all, excess) = line_fit::fit_dark_apart(&pooled, 1.5);
    out.r2 = all.and_then(|line| explained(&pooled, &line));
    let (level, rest) = dark_end(shape, &mut flat);
    let dark = (level, rest + excess);
    let lines: Vec<Option<Line>> = points
        .iter()
        .map(|points| {
            let all = all?;
            let own = line_fit::fit_like(points, 1.5, &all).filter(|own| planes > 1 && differs(own, &all));
            Some(own.unwrap_or(all))
        })
        .collect();
    for ((plane, line), points) in out.planes.iter_mut().zip(&lines).zip(&points) {
        *plane = from_line(*line, dark, 0.0, points);
    }
    let plain = shown.map(|n| n as f64 > PLAIN * looked as f64);
    let lines_dn2 = out.find_lines((frame, shape, usable), &blacks, (border_dn, plain));
    // Offsets of whole rows and columns are in every block's variance too; they are told apart from read noise.
    for ((plane, line), points) in out.planes.iter_mut().zip(&lines).zip(&points) {
        *plane = from_line(*line, dark, lines_dn2, points);
    }
    if out.planes.iter().all(|p| p.gain_e_per_dn.is_none()) {
        out.notes.push(
            "gain: not measurable, the areas without structure have tones too alike to tell the noise of light from \
             differences between pixels"
                .into(),
        );
    }
    if out.planes.iter().all(|p| p.read_noise_dn.is_none()) {
        out.notes.push("read noise: not measurable from the picture, it has no dark areas without structure".into());
    }
    out
}

impl FrameNoise {
    /// Finds the offsets of rows and of columns, those that the border does not show; gives the variance that all of them
    /// leave in a block, DN squared.
    fn find_lines(
        &mut self,
        (frame, shape, usable): (&Frame, &BlockShape, &[Usable]),
        blacks: &[f64],
        (border_dn, plain): ([Option<f64>; 2], [bool; 2]),
    ) -> f64 {
        let Some(variances) = self.variances_above(blacks) else { return 0.0 };
        let search = Search { frame, usable, variances: &variances };
        let mut found = [None; 2];
        let mut in_blocks_dn2 = 0.0;
        for k in 0..2 {
            let rows = k == 0;
            let apart = if rows { frame.filter.rows } else { frame.filter.columns };
            let of_border = border_dn[k].map(Spread::of_independent);
            if of_border.is_none() {
                found[k] = search.spread(rows).map(|s| Spread { plain: plain[k], ..s });
            }
            in_blocks_dn2 += of_border.or(found[k]).map_or(0.0, |s| s.left_in_block_dn2(shape.side, apart));
        }
        [self.rows, self.columns] = found;
        in_blocks_dn2
    }

    /// Noise by level of each plane; `None` where it is unknown.
    pub(crate) fn variances(&self, levels: &[PlaneLevels]) -> Option<Vec<Variance>> {
        self.variances_above(&levels.iter().map(|l| l.black_dn).collect::<Vec<f64>>())
    }

    fn variances_above(&self, blacks: &[f64]) -> Option<Vec<Variance>> {
        let variance = |(p, &black_dn): (&PlaneNoise, &f64)| {
            let tones_dn = if p.gain_e_per_dn.is_some() { None } else { Some(p.tones_dn?) };
            Some(Variance { line: p.line?, black_dn, tones_dn })
        };
        self.planes.iter().zip(blacks).map(variance).collect()
    }
}

/// No sample of the plane's patch is touched by clipping at either end.
fn within(s: &PlaneStat, u: &Usable) -> bool {
    let margin = 4.0 * f64::from(s.variance).sqrt();
    let mean = f64::from(s.mean);
    f64::from(s.greatest) < u.clipped_from
        && mean + margin < u.clipped_from
        && u.floor_dn.is_none_or(|floor| mean - margin > floor && f64::from(s.least) > floor)
}

/// A plane's own slope is taken where it differs from that of all planes by more than chance and more than 4 %.
fn differs(own: &Line, all: &Line) -> bool {
    let apart = (own.slope - all.slope).abs();
    apart > 4.0 * own.slope_error && apart > 0.04 * all.slope
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

fn from_line(line: Option<Line>, (dark, share): (f64, f64), lines: f64, points: &[Point]) -> PlaneNoise {
    let Some(line) = line else { return PlaneNoise::default() };
    let gain = (line.slope > 0.0 && line.slope_error < WORST_GAIN_ERROR * line.slope).then(|| 1.0 / line.slope);
    let variance = line.offset - ROUNDING - lines;
    let tones = tones(points);
    let span = tones.map_or(1.0, |(low, high)| (low.max(0.0) / high.max(1e-9)).min(1.0));
    let share = share + DARK_SHARE_BY_SPAN * span;
    let error = line.offset_error.hypot(share * line.at(dark.max(0.0))).hypot(rounding_off(variance, points));
    let worst = if lines > 0.0 { WORST_READ_ERROR_BANDED } else { WORST_READ_ERROR };
    let read = (variance > 0.0 && error < worst * variance).then(|| variance.sqrt());
    PlaneNoise { line: Some(line), gain_e_per_dn: gain, read_noise_dn: read, tones_dn: tones }
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
