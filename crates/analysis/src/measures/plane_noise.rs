//! Noise of each plane: the lines through the flat blocks, and what gain and read noise may be off by.
//!
//! Method: one line through the blocks of all planes, and one of its own for a plane that differs for certain; structure that
//! passed for noise, tones too alike and rounding add to the errors, and what is too uncertain is not stated.
//! Source: own derivation, docs/measures.md; the fit is [`super::line_fit`]'s.

use super::faint_structure::FaintStructure;
use super::flat_blocks::Flat;
use super::line_fit::{self, Line, Point};
use super::patches::BlockShape;
use super::rounding::{ROUNDING, rounding_off};

/// Greatest standard error of the slope of a line that holds beyond its tones.
const WORST_SLOPE_ERROR: f64 = 0.06;

/// The same of a gain that is stated, with what structure and the square term may make of it: of 382 frames within it one is more
/// than 6 % off, of 13 between it and 6 % two.
const WORST_GAIN_ERROR: f64 = 0.055;

/// What the gain may be off by for each time that the square term makes as much of the brightest tones' noise as light does: fine
/// texture differs from place to place. More than two times count as two.
const GAIN_BY_SQUARE: f64 = 0.06;

/// Greatest standard error of a read variance that is stated (twice that of read noise).
const WORST_READ_ERROR: f64 = 0.25;

/// The same where bands stay in the blocks: they correlate neighbours, and what looks like a rest of structure may be theirs.
const WORST_READ_ERROR_BANDED: f64 = 0.35;

/// What the variance of dark patches may be wrong by, as a share of it, besides its standard error.
const DARK_SHARE: f64 = 0.015;

/// The same for each unit of the ratio of the darkest to the brightest tones: the narrower they are, the further away is
/// black, and the more weighs a small error of shape.
const DARK_SHARE_BY_SPAN: f64 = 0.1;

/// What faint structure may take from a gain, over what it is reckoned to add to the bright blocks' noise: so much, and so much
/// more for each block that was looked at for one that passes for even (where few do, they are those of much structure that look
/// least like it); and over what taking it off does to the gain.
const GAIN_BY_STRUCTURE: f64 = 0.5;
const GAIN_BY_FEW: f64 = 0.05;
const GAIN_BY_CHANGE: f64 = 1.0;

/// Part of what is taken off the dark blocks that their noise may be off by.
const DARK_BY_STRUCTURE: f64 = 0.5;

/// Read noises up to which the tones of a frame may show no noise of light.
const LIGHTLESS: f64 = 2.0;

/// Standard deviations above the line from which a point is left out.
const CUT: f64 = 1.5;

/// Share of the darkest variance from which on it counts what rounding may do to it; and a variance to which it adds 1/12 to
/// one in a hundred, DN squared.
const ROUNDED_SHARE: f64 = 0.03;
const CLEAR_OF_ROUNDING: f64 = 0.3 + ROUNDING;

/// Noise of one plane.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PlaneNoise {
    pub(crate) line: Option<Line>,
    /// True where the line holds beyond the tones that the flat patches cover.
    pub(super) holds: bool,
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

/// The lines through a frame's points.
pub(super) struct Fits {
    /// Of all planes together.
    pub(super) all: Option<Line>,
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
    /// What the variance at black may be off by besides, DN squared.
    offset_dn2: f64,
}

impl Doubt {
    /// The same where only blocks without their lines' levels are even. What stays of the scene's lines goes with the square of the
    /// light, as differences between pixels do, so what the square makes of the noise may be the slope's too.
    fn of_lines(self, all: Option<&Line>, points: &[Point]) -> Self {
        let by_square = all.map_or(0.0, |line| by_square(line, tones(points)));
        Self { gain_share: self.gain_share.hypot(by_square), ..self }
    }

    /// The same for a plane's own line. Planes that are amplified differently have offsets that go with the square of their
    /// slopes; what does not is structure in the darker places of one colour.
    fn of_own(self, own: &Line, all: &Line) -> Self {
        let scale = own.slope / all.slope;
        Self { offset_dn2: (own.offset - all.offset * scale * scale).abs(), ..self }
    }
}

impl Fits {
    /// Faint structure taken off. `lines`: the levels of rows and columns had to be taken out of the blocks, so that the scene has
    /// lines, of which a rest stays: it counts twice.
    pub(super) fn of(shape: &BlockShape, flat: &Flat, lines: bool) -> Self {
        let faint = FaintStructure::of(shape, &flat.tones);
        let share = may_take(&faint, flat) * if lines { 2.0 } else { 1.0 };
        let as_it_is = line_fit::fit(&flat.pooled(), CUT);
        let without = Self::through(shape, flat, &flat.without(&faint), lines, share);
        let change = as_it_is.zip(without.all).map_or(0.0, |(with, without)| (with.slope / without.slope - 1.0).abs());
        let gain_share = without.doubt.gain_share.hypot(GAIN_BY_CHANGE * change);
        let dark_share = without.doubt.dark_share + DARK_BY_STRUCTURE * faint.share_at(without.doubt.dark_dn);
        Self { doubt: Doubt { gain_share, dark_share, ..without.doubt }, ..without }
    }

    /// The same, faint structure left in the points.
    pub(super) fn with_structure(shape: &BlockShape, flat: &Flat) -> Self {
        let faint = FaintStructure::of(shape, &flat.tones);
        Self::through(shape, flat, &flat.points, false, faint.bright() + may_take(&faint, flat))
    }

    /// The same where offsets of rows and columns add so much variance to the blocks' means, DN squared.
    pub(super) fn with_means_off(self, flat: &Flat, dn2: f64) -> Self {
        let Some(all) = self.all.filter(|_| dn2 > 0.0) else { return self };
        let points = flat.pooled();
        let flattened = line_fit::flattened(&points, &all, dn2) - line_fit::flattened(&points, &all, 0.0);
        Self { doubt: Doubt { gain_share: self.doubt.gain_share.hypot(flattened), ..self.doubt }, ..self }
    }

    fn through(shape: &BlockShape, flat: &Flat, points: &[Vec<Point>], lines: bool, gain_share: f64) -> Self {
        let pooled: Vec<Point> = points.iter().flatten().copied().collect();
        let all = line_fit::fit(&pooled, CUT);
        let from = all.map_or(f64::NEG_INFINITY, |line| clear_of_rounding_from(&pooled, &line));
        let clear = |points: &[Point]| points.iter().filter(|p| p.mean > from).copied().collect::<Vec<Point>>();
        let all = if from > f64::NEG_INFINITY { line_fit::fit(&clear(&pooled), CUT) } else { all };
        let (dark_dn, dark_share) = dark_end(shape, &flat.tones);
        let doubt = Doubt { dark_dn, dark_share, gain_share, offset_dn2: 0.0 };
        let doubt = if lines { doubt.of_lines(all.as_ref(), &pooled) } else { doubt };
        let own = |points: &Vec<Point>| {
            let all = all.filter(|_| shape.planes > 1)?;
            let points = clear(points);
            line_fit::fit_like(&points, CUT, &all)
                .filter(|own| differs(own, &all, doubt.dark_share * lever(tones(&points))))
        };
        Self { all, own: points.iter().map(own).collect(), doubt }
    }

    /// Each plane's noise, where bands left so much variance in the blocks.
    pub(super) fn planes(&self, flat: &Flat, lines_dn2: f64) -> Vec<PlaneNoise> {
        let plane = |(own, points): (&Option<Line>, &Vec<Point>)| match own {
            Some(own) => {
                let tones = tones(points);
                let dark_dn = self.doubt.dark_dn.max(tones.map_or(0.0, |t| t.0));
                let doubt = Doubt { dark_dn, dark_share: self.doubt.dark_share * lever(tones), ..self.doubt };
                let doubt = if let Some(all) = &self.all { doubt.of_own(own, all) } else { doubt };
                from_line(Some(*own), doubt, lines_dn2, points)
            }
            None => from_line(self.all, self.doubt, lines_dn2, points),
        };
        self.own.iter().zip(&flat.points).map(plane).collect()
    }
}

/// What faint structure that is taken off may still take from a gain, as a share.
fn may_take(faint: &FaintStructure, flat: &Flat) -> f64 {
    let looked_for_each = flat.looked as f64 / flat.tones.len().max(1) as f64;
    faint.bright() * (GAIN_BY_STRUCTURE + GAIN_BY_FEW * looked_for_each)
}

/// Noise that the square term makes of the brightest tones, over that of light.
fn by_square(line: &Line, tones: Option<(f64, f64)>) -> f64 {
    tones.map_or(0.0, |(_, high)| line.square * high / line.slope)
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

/// Level from which on points count: where rounding may do something else to the darkest than it does on average, those alone
/// whose noise is large enough that it does not.
fn clear_of_rounding_from(points: &[Point], line: &Line) -> f64 {
    let plain = rounding_off(line.offset - ROUNDING, points) < ROUNDED_SHARE * line.offset;
    if plain { f64::NEG_INFINITY } else { line.reaches(CLEAR_OF_ROUNDING) }
}

/// A plane's own slope is taken where it differs from that of all planes by more than chance and more than 4 %.
/// (`share`: or by as much as its points may be off.)
fn differs(own: &Line, all: &Line, share: f64) -> bool {
    let apart = (own.slope - all.slope).abs();
    apart > 4.0 * own.slope_error && apart > f64::max(0.04, share) * all.slope
}

/// Mean level above black of the darkest tenth of the flat blocks, and how far their variance may be off, as a share: a
/// rest of structure that the other blocks do not have shows in their correlations.
fn dark_end(shape: &BlockShape, flat: &[(f64, [f64; 6])]) -> (f64, f64) {
    let n = flat.len();
    if n == 0 {
        return (0.0, 1.0);
    }
    let dark = (n / 10).max(n.min(15));
    let mean = |blocks: &[(f64, [f64; 6])], k: usize| blocks.iter().map(|b| b.1[k]).sum::<f64>() / blocks.len() as f64;
    let chance = 1.0 / (dark as f64).sqrt();
    let more = |k: usize| (mean(&flat[..dark], k) - mean(flat, k) - chance) / shape.deviations(k);
    let rest = (0..6).map(more).fold(0.0, f64::max);
    let level = flat[..dark].iter().map(|b| b.0).sum::<f64>() / dark as f64;
    (level, DARK_SHARE + 1.5 * rest)
}

fn from_line(line: Option<Line>, doubt: Doubt, lines: f64, points: &[Point]) -> PlaneNoise {
    let Some(line) = line else { return PlaneNoise::default() };
    let holds = line.slope > 0.0 && line.slope_error < WORST_SLOPE_ERROR * line.slope;
    let tones = tones(points);
    let square_share = GAIN_BY_SQUARE * by_square(&line, tones).min(2.0);
    let gain_error = (line.slope_error / line.slope).hypot(doubt.gain_share).hypot(square_share);
    let gain = (holds && gain_error < WORST_GAIN_ERROR).then(|| 1.0 / line.slope);
    let variance = line.offset - ROUNDING - lines;
    let share = doubt.dark_share + DARK_SHARE_BY_SPAN * span(tones);
    let error = line
        .offset_error
        .hypot(doubt.offset_dn2)
        .hypot(share * line.at(doubt.dark_dn.max(0.0)))
        .hypot(rounding_off(variance, points));
    let worst = if lines > 0.0 { WORST_READ_ERROR_BANDED } else { WORST_READ_ERROR };
    // Tones far above a read noise have noise of light, whatever the gain: where none shows, structure does.
    let dark = tones.is_none_or(|(_, high)| high < LIGHTLESS * line.offset.sqrt());
    let read = (variance > 0.0 && error < worst * variance && (line.slope > 0.0 || dark)).then(|| variance.sqrt());
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

#[cfg(test)]
mod tests;
