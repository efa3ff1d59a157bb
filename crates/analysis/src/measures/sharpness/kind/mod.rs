//! What blurred the frame: nothing, motion, missed focus, both, or cannot be told.

use super::directions::{coverage, directions, explained, mirrored, supported};
use super::one_way;
use super::psf::{GAUSSIAN_RISE, PointSpread};
use super::shape::{ShapeFit, ShapeFitter};
use super::stack::Stack;
use fits::Fits;
pub(crate) use reading::{KindReading, SharpEnds, Verdict};
pub(crate) use together::{refined, together};

mod blind;
mod fits;
mod jointly;
mod reading;
mod together;

/// Gaussian that a sound lens, an anti-alias filter and good focus may leave beyond diffraction, px.
///
/// Own choice: at 100 % on a screen an edge of sigma 1.1 px (rise 2.9 px with the pixel) is what good lenses give on
/// sensors of 20 to 60 megapixels; wider than that in every direction is a fault worth a name.
pub(crate) const LENS_ALLOWANCE_PX: f64 = 1.1;
/// Shortest motion that is called one, px.
const LEAST_MOTION_PX: f64 = 1.5;
/// Variance of the motion over that of the rest, at least: lenses and filters are not quite round themselves.
const LEAST_MOTION_SHARE: f64 = 0.30;
/// Smallest disc that is called missed focus, px radius.
pub(super) const LEAST_DEFOCUS_PX: f64 = 1.3;
/// Share of the directions that a named blur must explain, or a sharpness that is near the allowance.
const LEAST_EXPLAINED: f64 = 0.7;
/// Standard deviation of a square pixel, px: 1 / sqrt 12.
pub(super) const PIXEL_SIGMA_PX: f64 = 0.288_675;
/// The round part beside a motion must pass the allowance by this factor to be called missed focus as well.
pub(crate) const MIXED_MARGIN: f64 = 1.08;
/// ... or this one, where at least so much evidence is for the shape of a disc.
const AT_THE_LIMIT: f64 = 0.97;
const TRACE: f64 = 1.0;
/// Round part beside a motion, over the allowance, that is more than sound lenses mostly leave, and the evidence for the shape
/// of a disc that is asked for then.
const SOME_WIDTH: f64 = 0.75;
const SOME_EVIDENCE: f64 = 6.0;
/// Spread of edges that face one way, over the allowance, up to which they are called sharp.
pub(crate) const CLEARLY_SHARP: f64 = 0.85;
/// Least share of the error that stacks are taken to have which edges of several directions may show: directions differ by
/// more than their noise.
const CLEANEST: f64 = 0.25;
/// Fall of chi^2 (at one per degree of freedom) that a part must bring.
pub(super) const LEAST_EVIDENCE: f64 = 20.0;
/// Ratio of the widths of directions up to which scenes make them differ by themselves (thin features, bent edges), and the
/// share of what a round spread leaves that a motion must not leave then. Of frames of another simulator 8 without and 3 with a
/// motion lie between these; all others of 75 with one are clear of them.
const SCENES_DIFFER: f64 = 1.3;
const LITTLE_EXPLAINED: f64 = 0.6;
/// Largest gap between directions that show whether a motion is there, degrees.
const WIDEST_GAP: f64 = 125.0;
/// The same where three or more may show that one is there, but not that none is.
const WIDEST_GAP_FOR_MOTION: f64 = 145.0;
/// ... and where the evidence is so many times as much as is asked for.
const WIDEST_GAP_FOR_PLAIN_MOTION: f64 = 160.0;
const PLAIN: f64 = 3.0;

/// Standard deviation that lens, filter, diffraction and pixel may leave, px.
pub(crate) fn allowance_px(diffraction_rise_px: Option<f64>) -> f64 {
    LENS_ALLOWANCE_PX.hypot(diffraction_rise_px.unwrap_or(0.0) / GAUSSIAN_RISE).hypot(PIXEL_SIGMA_PX)
}

/// Reads the kind of blur from the stacks. `diffraction_rise_px` is what the aperture alone gives.
pub(crate) fn read(stacks: &[Stack], diffraction_rise_px: Option<f64>) -> KindReading {
    let fitter = ShapeFitter::new(stacks);
    let fits = Fits::of(&fitter, stacks, diffraction_rise_px);
    let Fits { gauss, disc, motion, both } = &fits;
    let narrow = gauss.psf.variance(0.0).sqrt();
    // chi^2 in units of what the best model leaves.
    let unit = (both.chi2.min(motion.chi2).min(disc.chi2) / both.freedom).max(CLEANEST);
    let gain = |plain: &ShapeFit, richer: &ShapeFit| (plain.chi2 - richer.chi2) / unit;
    let (bins, gap) = coverage(stacks);
    let directions_seen = !face_one_way(stacks);

    // Motion: is the spread different between directions?
    let with_disc = gain(motion, both);
    let disc_gain = gain(gauss, disc);
    let round_best = gauss.or(*disc);
    let moved_best = motion.or(*both);
    let motion_gain = supported(&fitter, stacks, &round_best.psf, &moved_best.psf) / unit;
    let widest = if motion_gain > PLAIN * LEAST_EVIDENCE { WIDEST_GAP_FOR_PLAIN_MOTION } else { WIDEST_GAP_FOR_MOTION };
    let some_seen = bins >= 3 && gap <= widest;
    let allowance = allowance_px(diffraction_rise_px);

    let one_way = (!directions_seen).then(|| {
        let found = one_way::told(stacks, &gauss.psf, diffraction_rise_px);
        // One direction by itself may ask for a disc beside the motion; all of them have one lens.
        let one_lens = bins >= 3 && behind_a_sharp_lens(&fits, unit, allowance);
        let a_disc_beside = matches!(found.verdict, Verdict::Mixed);
        if a_disc_beside && one_lens && explained(&fitter, stacks, &motion.psf) >= LEAST_EXPLAINED {
            return KindReading { one_way: true, ..KindReading::of(Verdict::Motion, motion.psf, found.confidence) };
        }
        found
    });
    if let Some(found) = one_way.filter(|_| !some_seen) {
        return found;
    }
    let found = told(&fits, &Evidence { motion_gain, disc_gain, with_disc, narrow, allowance });
    // Directions far apart tell a disc from a motion by their widths too, unless these lie about right angles.
    let round_alike = matches!(found.verdict, Verdict::Defocus)
        && found.psf.defocus_px > 0.0
        && (motion.chi2 - disc.chi2) / unit > LEAST_EVIDENCE;
    let moves = matches!(found.verdict, Verdict::Motion | Verdict::Mixed);
    let open = |k: &KindReading| matches!(k.verdict, Verdict::Undetermined(_));
    if let Some(alone) = one_way.filter(|k| !(moves || round_alike && open(k))) {
        return alone;
    }
    let claims = match found.verdict {
        Verdict::Defocus | Verdict::Motion | Verdict::Mixed => true,
        Verdict::None => !found.clearly_sharp(allowance),
        _ => false,
    };
    if claims && explained(&fitter, stacks, &found.psf) < LEAST_EXPLAINED {
        return KindReading::of(
            Verdict::Undetermined("the edges of different directions contradict each other"),
            gauss.psf,
            0.2,
        );
    }
    let round_or_moved = RoundOrMoved { round: round_best.chi2, moved: moved_best.chi2 };
    if moves && round_or_moved.little_told(stacks, &found.psf) && !one_way::shows_a_motion(stacks) {
        let why = "some directions are smeared a little more than others: as much as scenes differ by themselves";
        return KindReading::of(Verdict::Undetermined(why), round_best.psf, 0.3);
    }
    if matches!(found.verdict, Verdict::Motion) && one_way::shows_a_disc(stacks) {
        let why =
            "some directions are smeared more than others, but with the shape of missed focus: thin lines may mislead";
        return KindReading::of(Verdict::Undetermined(why), gauss.psf, 0.3);
    }
    if matches!(found.verdict, Verdict::Mixed) && one_way::plainly_a_motion(stacks) {
        // Each direction by itself has the shape of a motion: what is wide along it is no disc.
        return KindReading {
            mirrored: mirrored(&fitter, stacks, &motion.psf, LEAST_EVIDENCE * unit),
            ..KindReading::of(Verdict::Motion, motion.psf, 0.6)
        };
    }
    if !moves {
        let half_way = matches!(found.verdict, Verdict::Defocus)
            && found.psf.defocus_px > 0.0
            && directions(stacks) <= 2
            && (motion.chi2 - disc.chi2) / unit < LEAST_EVIDENCE
            && motion_counts(&motion.psf);
        return KindReading { mirrored: half_way.then_some(motion.psf), ..found };
    }
    KindReading { mirrored: mirrored(&fitter, stacks, &found.psf, LEAST_EVIDENCE * unit), ..found }
}

/// True where a motion behind a lens as sharp as good ones are explains all directions, which a disc does not, and a disc beside
/// the motion hardly better.
fn behind_a_sharp_lens(fits: &Fits, unit: f64, allowance_px: f64) -> bool {
    let Fits { disc, motion, both, .. } = fits;
    motion.psf.sigma_px.hypot(PIXEL_SIGMA_PX) < CLEARLY_SHARP * allowance_px
        && motion_counts(&motion.psf)
        && disc.chi2 - motion.chi2 > LEAST_EVIDENCE * unit
        && motion.chi2 - both.chi2 < SOME_EVIDENCE * unit
}

/// True where the edges cannot show a motion along them.
pub(crate) fn face_one_way(stacks: &[Stack]) -> bool {
    let (bins, gap) = coverage(stacks);
    bins < 2 || gap > WIDEST_GAP
}

/// What the best round spread and the best with a motion leave, chi^2.
struct RoundOrMoved {
    round: f64,
    moved: f64,
}

impl RoundOrMoved {
    /// True where the motion makes the directions that are seen hardly differ, and explains little of what a round spread leaves.
    fn little_told(&self, stacks: &[Stack], psf: &PointSpread) -> bool {
        let widths = stacks.iter().map(|s| psf.variance(s.deg).sqrt());
        let (least, most) = widths.fold((f64::INFINITY, 0.0_f64), |(a, b), width| (a.min(width), b.max(width)));
        most < SCENES_DIFFER * least && self.moved > LITTLE_EXPLAINED * self.round
    }
}

struct Evidence {
    motion_gain: f64,
    disc_gain: f64,
    with_disc: f64,
    narrow: f64,
    allowance: f64,
}

/// True where the motion is long enough, and large against the rest, to be called one.
pub(super) fn motion_counts(p: &PointSpread) -> bool {
    let rest = p.sigma_px.powi(2) + p.defocus_px.powi(2) / 4.0 + 1.0 / 12.0;
    p.motion_px >= LEAST_MOTION_PX && p.motion_px.powi(2) / 12.0 >= LEAST_MOTION_SHARE * rest
}

/// True where the disc is large enough, and large against the Gaussian, to be called missed focus.
fn disc_counts(p: &PointSpread) -> bool {
    p.defocus_px >= LEAST_DEFOCUS_PX && p.defocus_px.powi(2) / 4.0 >= 0.8 * p.sigma_px.powi(2)
}

/// Radius of a disc of the variance of the round part beside a motion, where that part is too wide for a sharp frame: it need
/// not have the shape of one. At the limit itself a trace of the shape decides.
fn radius_beside(motion: &ShapeFit, e: &Evidence) -> Option<f64> {
    let sigma_px = motion.psf.sigma_px;
    let width = sigma_px.hypot(PIXEL_SIGMA_PX) / e.allowance;
    let wide = width > MIXED_MARGIN || width > AT_THE_LIMIT && e.with_disc > TRACE;
    wide.then(|| 2.0 * (sigma_px.powi(2) - 0.25).max(0.0).sqrt())
}

/// The kind where edges of several directions were seen.
fn told(fits: &Fits, e: &Evidence) -> KindReading {
    let Fits { gauss, disc, motion, both } = fits;
    let sure = |evidence: f64| 1.0 - 0.5 * (-evidence.max(0.0) / (2.0 * LEAST_EVIDENCE)).exp();
    if e.motion_gain > LEAST_EVIDENCE && (motion_counts(&motion.psf) || motion_counts(&both.psf)) {
        let shaped = e.with_disc > LEAST_EVIDENCE
            || e.with_disc > SOME_EVIDENCE && motion.psf.sigma_px.hypot(PIXEL_SIGMA_PX) > SOME_WIDTH * e.allowance;
        if shaped && disc_counts(&both.psf) && motion_counts(&both.psf) {
            return KindReading::of(Verdict::Mixed, both.psf, sure(e.motion_gain.min(e.with_disc)));
        }
        if motion_counts(&motion.psf)
            && let Some(radius) = radius_beside(motion, e)
        {
            if disc_counts(&both.psf) {
                return KindReading::of(Verdict::Mixed, both.psf, 0.6);
            }
            return KindReading { defocus_px: Some(radius), ..KindReading::of(Verdict::Mixed, motion.psf, 0.6) };
        }
        return KindReading::of(Verdict::Motion, motion.psf, sure(e.motion_gain));
    }
    if e.disc_gain > LEAST_EVIDENCE && disc_counts(&disc.psf) {
        return KindReading::of(Verdict::Defocus, disc.psf, sure(e.disc_gain));
    }
    if e.narrow > e.allowance {
        // Round and wide, without the shape of a disc: the radius is that of a disc of the same variance.
        let excess = (e.narrow * e.narrow - e.allowance * e.allowance) / (e.narrow * e.narrow);
        let found = KindReading::of(Verdict::Defocus, gauss.psf, 0.5 + 0.45 * excess);
        return KindReading { defocus_px: Some(2.0 * gauss.psf.sigma_px), ..found };
    }
    if e.motion_gain > LEAST_EVIDENCE / 2.0 && motion_counts(&motion.psf) {
        let why = "some directions are smeared more than others, but not for certain";
        return KindReading::of(Verdict::Undetermined(why), gauss.psf, 0.3);
    }
    let excess = (e.narrow / e.allowance).powi(2);
    KindReading::of(Verdict::None, gauss.psf, (0.97 - 0.4 * excess.powi(2)).max(0.5))
}

#[cfg(test)]
mod tests;
