//! Gain and read noise from one ordinary frame.
//!
//! Measures: electrons per DN, read noise (DN, electrons). Method: variance against mean over many small blocks that hold
//! no structure ([`super::patches`]), a robust line through them ([`super::line_fit`]); the slope is one over the gain,
//! the offset the read variance and the rounding's 1/12 DN^2.
//! Source: Foi et al. 2008 (variance = a mean + b); Janesick, "Photon Transfer"; docs/measures.md.
//! Fails when: dithered or processed samples, linear files, too few flat blocks, tones too alike: `None` with a note.

use rawassay_decode::{Colour, Frame, PlaneLevels};

use super::banding::{self, Lines};
use super::histogram::picture_area;
use super::line_fit::{self, Line, Point};
use super::patches::{BlockShape, PlaneStat};

/// Variance that rounding to whole DN adds.
pub(crate) const ROUNDING: f64 = 1.0 / 12.0;

/// Fewest flat patches for a gain.
const FEWEST_PATCHES: usize = 60;

/// Greatest standard error of a gain that is stated.
const WORST_GAIN_ERROR: f64 = 0.06;

/// Greatest standard error of a read variance that is stated (twice that of read noise).
const WORST_READ_ERROR: f64 = 0.3;

/// Mean correlation of like-coloured neighbours, in standard deviations of one block's, from which a frame counts as
/// processed: about 0.13 in correlation, where independent samples give 0 and a blur of half a sample 0.2 or more.
const PROCESSED: f64 = 2.0;

/// Masked pixels and picture agree in read noise within this share; from the larger one on the picture is believed.
const AGREES: f64 = 0.15;
const FAR_APART: f64 = 0.4;

/// A stated gain that is off by more is noted.
const PROFILE_DIFFERS: f64 = 0.2;

/// Blocks with a correlation beyond this hold edges: they say nothing of rows and columns either.
const STRUCTURED: f64 = 8.0;

/// Blocks of the frame with their planes' statistics.
pub(crate) struct Blocks {
    pub(crate) shape: Option<BlockShape>,
    pub(crate) corners: Vec<(u32, u32)>,
    /// `shape.planes` per block.
    pub(crate) stats: Vec<PlaneStat>,
}

impl Blocks {
    /// Measures mean and variance of all blocks.
    pub(crate) fn measure(frame: &Frame) -> Self {
        let Some(shape) = BlockShape::of(frame) else {
            return Self { shape: None, corners: Vec::new(), stats: Vec::new() };
        };
        let corners = shape.corners(frame);
        let mut stats = vec![PlaneStat::default(); corners.len() * shape.planes];
        for (&corner, stats) in corners.iter().zip(stats.chunks_exact_mut(shape.planes)) {
            shape.measure(frame, corner, stats);
        }
        Self { shape: Some(shape), corners, stats }
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
}

/// Noise of the frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FrameNoise {
    pub(crate) planes: Vec<PlaneNoise>,
    pub(crate) flat_patches: u64,
    pub(crate) r2: Option<f64>,
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

/// Measures gain and read noise.
pub(crate) fn noise(frame: &Frame, blocks: &Blocks, usable: &[Usable]) -> FrameNoise {
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
    let area = picture_area(frame);
    let mut rows = Lines::new(shape, area.height, area.width);
    let mut columns = Lines::new(shape, area.width, area.height);
    let mut spread = vec![0.0_f32; planes];
    let mut left = vec![0.0_f32; shape.side * shape.side];
    let mut points: Vec<Vec<Point>> = vec![Vec::new(); planes];
    // Sums over blocks of the correlation of like-coloured neighbours, where unlike ones show no structure.
    let (mut same_colour, mut tested) = ([0.0_f64; 2], 0.0);
    for (&corner, stats) in blocks.corners.iter().zip(blocks.stats.chunks_exact(planes)) {
        if !stats.iter().zip(usable).all(|(s, u)| within(s, u)) || !shape.residuals(frame, corner, &mut left) {
            continue;
        }
        if left.iter().fold(false, |any, z| any | (z.abs() > 5.0)) {
            continue;
        }
        let c = shape.correlations(&left);
        if c.iter().all(|c| c.abs() < STRUCTURED) {
            spread.iter_mut().zip(stats).for_each(|(to, s)| *to = s.variance.sqrt());
            let place = (corner.0 as usize - area.x, corner.1 as usize - area.y);
            banding::add_block(shape, place, &left, &spread, &mut rows, &mut columns);
        }
        if c[0].abs() < 2.0 && c[1].abs() < 2.0 {
            same_colour[0] += c[4];
            same_colour[1] += c[5];
            tested += 1.0;
        }
        if c.iter().any(|c| c.abs() > 3.3) || c.iter().sum::<f64>() > 1.2 {
            continue;
        }
        for (p, s) in stats.iter().enumerate() {
            points[p].push(Point {
                mean: f64::from(s.mean) - usable[p].black_dn,
                variance: f64::from(s.variance),
                freedom: shape.freedom(p),
            });
        }
    }
    if tested >= 16.0 && shape.samples_like_colour() && same_colour.iter().all(|c| c / tested > PROCESSED) {
        out.notes.push(
            "gain and read noise: not measurable, neighbouring samples of one colour are correlated even in flat areas: \
             the file was smoothed (noise reduction) or interpolated"
                .into(),
        );
        return out;
    }
    out.row_banding_dn = rows.spread_dn();
    out.column_banding_dn = columns.spread_dn();
    let pooled: Vec<Point> = points.iter().flatten().copied().collect();
    out.flat_patches = pooled.len() as u64;
    if pooled.len() < FEWEST_PATCHES {
        out.notes.push("gain and read noise: not measurable, too few areas without structure".into());
        return out;
    }
    let all = line_fit::fit(&pooled, 1.5);
    out.r2 = all.and_then(|line| explained(&pooled, &line));
    for (plane, points) in out.planes.iter_mut().zip(&points) {
        let own = line_fit::fit(points, 1.5);
        let line = match (own, all) {
            (Some(own), Some(all)) if differs(&own, &all) => Some(own),
            (_, all) => all,
        };
        *plane = from_line(line);
    }
    if out.planes.iter().all(|p| p.gain_e_per_dn.is_none()) {
        out.notes.push("gain: not measurable, the areas without structure have tones too alike".into());
    }
    if out.planes.iter().all(|p| p.read_noise_dn.is_none()) {
        out.notes.push("read noise: not measurable from the picture, it has no dark areas without structure".into());
    }
    out
}

/// Noise of one plane as a function of the level.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Variance {
    line: Line,
    black_dn: f64,
}

impl Variance {
    /// Variance (DN squared) of a tone at a level, DN absolute.
    pub(crate) fn at(&self, level_dn: f64) -> f64 {
        self.line.at((level_dn - self.black_dn).max(0.0)).max(ROUNDING)
    }
}

impl FrameNoise {
    /// Noise by level of each plane; `None` where it is unknown.
    pub(crate) fn variances(&self, levels: &[PlaneLevels]) -> Option<Vec<Variance>> {
        self.planes.iter().zip(levels).map(|(p, l)| Some(Variance { line: p.line?, black_dn: l.black_dn })).collect()
    }
}

/// Brings the read noise of the picture and that of the masked pixels together: the masked pixels see nothing else, so
/// theirs is taken, unless both are known and far apart. Agreement, and the file's own statement, are noted.
pub(crate) fn settle_read_noise(frame: &Frame, found: &mut FrameNoise, masked: &[Option<f64>]) {
    if frame.dithered || frame.filter.is_linear() {
        return;
    }
    let (mut scene_sum, mut masked_sum, mut both) = (0.0, 0.0, 0.0);
    for (plane, masked) in found.planes.iter_mut().zip(masked) {
        if let (Some(s), Some(m)) = (plane.read_noise_dn, masked) {
            scene_sum += s;
            masked_sum += m;
            both += 1.0;
        }
    }
    let far = both > 0.0 && (scene_sum / masked_sum - 1.0).abs() > FAR_APART;
    if both > 0.0 && (scene_sum / masked_sum - 1.0).abs() > AGREES {
        found.notes.push(format!(
            "read noise: {:.2} DN by the masked pixels, {:.2} DN by the dark tones of the picture; {} is taken",
            masked_sum / both,
            scene_sum / both,
            if far { "the picture's" } else { "that of the masked pixels" }
        ));
    }
    for (plane, masked) in found.planes.iter_mut().zip(masked) {
        if !(far && plane.read_noise_dn.is_some()) {
            plane.read_noise_dn = masked.or(plane.read_noise_dn);
        }
    }
    if masked.iter().any(Option::is_some) {
        found.notes.retain(|n| !n.starts_with("read noise: not measurable"));
    }
    compare_with_profile(frame, found);
}

/// The file's NoiseProfile gives the variance of a value x (0 black, 1 white) as S x + O: S times the range is the slope.
fn compare_with_profile(frame: &Frame, found: &mut FrameNoise) {
    let green = frame.filter.planes.iter().position(|p| p.colour == Colour::Green).unwrap_or(0);
    let profile = &frame.noise_profile;
    // One statement for all planes, or one per colour in the order red, green, blue.
    let Some(stated) = (if profile.len() == 3 { profile.get(1) } else { profile.first() }) else { return };
    let (Some(gain), Some(levels)) = (found.planes[green].gain_e_per_dn, frame.levels.get(green)) else { return };
    let slope = stated.scale * (levels.white_declared_dn - levels.black_dn);
    if slope > 0.0 && (1.0 / (gain * slope) - 1.0).abs() > PROFILE_DIFFERS {
        found.notes.push(format!(
            "noise: the file states {:.3} electrons per DN (NoiseProfile), the picture shows {gain:.3}",
            1.0 / slope
        ));
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

fn from_line(line: Option<Line>) -> PlaneNoise {
    let Some(line) = line else { return PlaneNoise::default() };
    let gain = (line.slope > 0.0 && line.slope_error < WORST_GAIN_ERROR * line.slope).then(|| 1.0 / line.slope);
    let variance = line.offset - ROUNDING;
    let read = (variance > 0.0 && line.offset_error < WORST_READ_ERROR * variance).then(|| variance.sqrt());
    PlaneNoise { line: Some(line), gain_e_per_dn: gain, read_noise_dn: read }
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
