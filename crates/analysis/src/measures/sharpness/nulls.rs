//! Where the edges leave the kind of blur open, or call it a fault, the nulls of the spectrum are asked as well.

use super::kind::{KindReading, Verdict};
use super::lowered;
use super::psf::PointSpread;
use super::pyramid::Level;
use super::samples::SampleNoise;
use super::spectrum::{self, Spectrum};

/// Gain from which stripes or rings are taken for real. Sharp frames of streets, leaves, print, random texture and of
/// the photographs that come with scikit-image stay below 0.13, blurred ones lie above 0.2 (own simulations).
const LEAST_GAIN: f64 = 0.17;
/// Longest motion that is read, halved pixels: what repeats in a scene (rows of bricks) looks like a longer one.
const LONGEST_MOTION: f64 = 12.0;
/// Where edges leave the kind open or have the shape of a disc, those across a motion must be as wide as this share of what
/// it makes them, unless its stripes are many.
const CONTRADICTED: f64 = 0.5;
/// The other shape must explain less than this share of it.
const RIVAL_SHARE: f64 = 0.7;
/// Shortest motion and smallest disc whose first null lies in the band that is read, halved pixels.
const LEAST_MOTION: f64 = 1.75;
const LEAST_DISC: f64 = 1.4;
/// Edges are called soft by the scene itself where the spectrum is at most this wide against them, and itself no wider
/// than a good lens leaves it, px.
const SCENE_SOFT: f64 = 0.8;
const SCENE_SOFT_PX: f64 = 1.2;
/// ... and the texture reaches above the noise up to here, cycles per pixel.
const SCENE_SOFT_REACH: f64 = 0.08;
/// Gaussian part up to which texture without plain edges shows a sharp frame, px. Photographs of textures: sharp ones
/// read 0.25 to 0.8, those with a disc of 1.6 px or more above 1.0 (own simulations).
const SHARP_TEXTURE_PX: f64 = 0.8;
const SHARP_TEXTURE_REACH: f64 = 0.11;
/// Gaussian part beside a motion from which focus was missed as well, px and share of the length, where no edge tells.
const WIDE_SIGMA_PX: f64 = 1.7;
const WIDE_SHARE: f64 = 0.13;
/// ... and where the edges along the motion are wide: at least this much of it must show in the spectrum, px.
const SOME_SIGMA_PX: f64 = 1.5;
/// Confidence in what the spectrum alone says, in what both say, and where they do not agree or one part is a guess.
const ALONE: f64 = 0.75;
const BOTH: f64 = 0.9;
const UNSURE: f64 = 0.55;
/// Confidence in sharpness that texture alone shows: a movement shorter than the first null would not show.
const TEXTURE: f64 = 0.6;
/// Gain that is asked for where the edges, facing one way, show nothing.
const LEAST_GAIN_ALONE: f64 = 0.5;
/// ... and, where no edge speaks, of stripes within so many degrees of the frame's own rows or columns: rows of windows
/// and of waves leave such stripes too (lit windows in noise reach 0.28, own simulations).
const LEAST_GAIN_UPRIGHT: f64 = 0.45;
const UPRIGHT_DEG: f64 = 3.0;
/// Gain times length, in halved pixels, from which the stripes are believed against the edges: a longer motion has more
/// of them in the band, and is the harder for edges (own simulations: right in all of 9 frames, the edges in none).
const MANY_STRIPES: f64 = 1.6;
/// ... and against edges that look sharp, and the confidence in these above which the spectrum is not asked.
const STRIPES_OVER_SHARP: f64 = 3.2;
const PLAINLY_SHARP: f64 = 0.8;
/// A disc's standard deviation and that of the edges agree within this, ln.
const SAME_WIDTH_LN: f64 = 0.3;
/// Two motions agree within this: degrees, and ln of their lengths.
const SAME_DEG: f64 = 12.0;
const SAME_LENGTH_LN: f64 = 0.25;
/// ... and so nearly that the edges, which are the finer measure of a motion they see, are taken for its length.
const NEARLY_LN: f64 = 0.12;

/// What the nulls show.
enum Seen {
    Motion {
        psf: PointSpread,
        gain: f64,
        /// Gain times length in halved pixels.
        stripes: f64,
    },
    Disc(PointSpread),
    /// No nulls in a spectrum that is clear enough to show them.
    None(Texture),
}

/// A scene's texture behind a plain Gaussian.
#[derive(Clone, Copy)]
struct Texture {
    /// Standard deviation of the Gaussian, px.
    sigma_px: f64,
    /// Highest frequency at which the texture stands clear of the noise, cycles per pixel.
    reach_cy_px: f64,
}

fn seen(halved: &[Level], noise: SampleNoise) -> Option<Seen> {
    let mut plain = None;
    for level in halved {
        let Some(spectrum) = spectrum::read(level, noise) else { continue };
        if let Some(found) = nulls(&spectrum, f64::from(level.step_px)) {
            return Some(found);
        }
        plain = plain
            .or(Some(Seen::None(Texture { sigma_px: spectrum.plain.psf.sigma_px, reach_cy_px: spectrum.reach_cy_px })));
    }
    plain
}

fn nulls(spectrum: &Spectrum, step_px: f64) -> Option<Seen> {
    let Spectrum { plain, disc, motion, both, .. } = spectrum;
    let for_motion = spectrum.gain(plain, motion);
    let for_disc = spectrum.gain(plain, disc);
    let long = (LEAST_MOTION..LONGEST_MOTION).contains(&(motion.psf.motion_px / step_px));
    let wide = disc.psf.defocus_px >= LEAST_DISC * step_px;
    let rings = spectrum.gain(motion, both) > LEAST_GAIN && both.psf.defocus_px >= LEAST_DISC * step_px;
    // Either alone explains much, both together clearly more.
    let stripes_and_rings = rings && spectrum.gain(disc, both) > LEAST_GAIN;
    if long && for_motion > LEAST_GAIN && (stripes_and_rings || for_disc < RIVAL_SHARE * for_motion) {
        let psf = if rings { both.psf } else { motion.psf };
        return Some(Seen::Motion { psf, gain: for_motion, stripes: for_motion * psf.motion_px / step_px });
    }
    (wide && for_disc > LEAST_GAIN && for_motion < RIVAL_SHARE * for_disc).then_some(Seen::Disc(disc.psf))
}

/// What the edges say by themselves: standard deviations by their direction against a motion's, in degrees (`None` where too few
/// have it).
pub(crate) struct Widths<'a> {
    /// To what share of itself their number lowers a confidence above one half.
    pub(crate) share: f64,
    /// Of those that lie along it.
    pub(crate) along_px: &'a dyn Fn(f64) -> Option<f64>,
    /// Of those that lie across it.
    pub(crate) across_px: &'a dyn Fn(f64) -> Option<f64>,
}

impl Widths<'_> {
    /// True where edges across the motion are far narrower than it would make them.
    fn contradict(&self, psf: &PointSpread) -> bool {
        (self.across_px)(psf.motion_deg).is_some_and(|px| px < CONTRADICTED * psf.motion_px / 12.0_f64.sqrt())
    }
}

/// The kind from edges (`told`, `None` where they are too few) and nulls together. Edges along a motion that are wider than
/// `allowance_px` are out of focus.
pub(crate) fn weigh(
    told: Option<KindReading>,
    widths: &Widths<'_>,
    allowance_px: f64,
    halved: &[Level],
    noise: SampleNoise,
) -> Option<KindReading> {
    if told.is_some_and(|k| {
        matches!(k.verdict, Verdict::None) && !k.one_way && lowered(k.confidence, widths.share) > PLAINLY_SHARP
    }) {
        return told;
    }
    let Some(seen) = seen(halved, noise) else { return told };
    let along_px = widths.along_px;
    if let Seen::Motion { psf, stripes, .. } = &seen
        && told.is_some_and(|k| matches!(k.verdict, Verdict::Undetermined(_)) || shaped_as_disc(&k))
        && *stripes < STRIPES_OVER_SHARP
        && widths.contradict(psf)
    {
        return told;
    }
    match (seen, told) {
        // Edges that face one way say nothing of a motion along them; of one across them they would. Many clear stripes
        // are believed all the same: a few edges of a smeared frame may look sharp.
        (Seen::Motion { psf, gain, stripes }, Some(k))
            if matches!(k.verdict, Verdict::None)
                && (gain < LEAST_GAIN_ALONE
                    || stripes < STRIPES_OVER_SHARP && (!k.one_way || along_px(psf.motion_deg).is_none())) =>
        {
            told
        }
        (Seen::Motion { psf, stripes, .. }, Some(k))
            if matches!(k.verdict, Verdict::Motion | Verdict::Mixed) && !k.one_way =>
        {
            let turn = (psf.motion_deg - k.psf.motion_deg + 90.0).rem_euclid(180.0) - 90.0;
            let off_ln = (psf.motion_px / k.psf.motion_px).ln().abs();
            let agree = turn.abs() < SAME_DEG && off_ln < SAME_LENGTH_LN;
            if stripes > MANY_STRIPES && !(agree && off_ln < NEARLY_LN) {
                return Some(moved(psf, along_px(psf.motion_deg), allowance_px));
            }
            let confidence = if agree { k.confidence.max(BOTH) } else { k.confidence.min(UNSURE) };
            Some(KindReading { confidence, whole_frame: agree, ..k })
        }
        (Seen::Motion { psf, gain, .. }, _) if upright(&psf) && gain < LEAST_GAIN_UPRIGHT => told,
        (Seen::Motion { psf, .. }, _) => Some(moved(psf, along_px(psf.motion_deg), allowance_px)),
        (Seen::Disc(_), Some(k)) if matches!(k.verdict, Verdict::Motion | Verdict::Mixed) => {
            Some(KindReading { confidence: k.confidence.min(UNSURE), ..k })
        }
        (Seen::Disc(psf), Some(k)) if matches!(k.verdict, Verdict::Defocus) => {
            let shaped = k.psf.defocus_px > 0.0;
            let radius = if shaped { k.psf.defocus_px } else { psf.defocus_px };
            Some(KindReading { defocus_px: Some(radius), confidence: k.confidence.max(BOTH), ..k })
        }
        (Seen::Disc(_), Some(k)) if matches!(k.verdict, Verdict::None) && !k.one_way => told,
        // A disc widens every edge: rows of pickets or waves leave rings too.
        (Seen::Disc(psf), Some(k))
            if (psf.defocus_px / 2.0 / k.psf.variance(0.0).sqrt()).ln().abs() > SAME_WIDTH_LN =>
        {
            told
        }
        (Seen::Disc(psf), _) => {
            let psf = PointSpread { sigma_px: psf.sigma_px.min(0.8), ..psf };
            Some(found(Verdict::Defocus, psf, ALONE))
        }
        (Seen::None(texture), Some(k))
            if matches!(k.verdict, Verdict::Defocus)
                && k.psf.defocus_px <= 0.0
                && texture.reach_cy_px > SCENE_SOFT_REACH
                && texture.sigma_px < SCENE_SOFT_PX.min(SCENE_SOFT * k.psf.sigma_px) =>
        {
            Some(found(Verdict::SceneSoft, k.psf, 0.2))
        }
        (Seen::None(Texture { sigma_px, reach_cy_px }), None)
            if sigma_px < SHARP_TEXTURE_PX && reach_cy_px > SHARP_TEXTURE_REACH =>
        {
            Some(found(Verdict::SharpTexture, PointSpread { sigma_px, ..PointSpread::default() }, TEXTURE))
        }
        (Seen::None(_), _) => told,
    }
}

/// Gain by which the spectrum must prefer one of two motions.
const PREFERS: f64 = 0.02;

/// Of two motions that the edges cannot tell apart, the one that the spectrum has; `None` where it has neither.
pub(crate) fn preferred(
    one: &PointSpread,
    other: &PointSpread,
    halved: &[Level],
    noise: SampleNoise,
) -> Option<PointSpread> {
    let gains = halved.iter().filter_map(|level| spectrum::preference(level, noise, one, other));
    let clearest = gains.max_by(|a, b| a.abs().total_cmp(&b.abs())).filter(|gain| gain.abs() > PREFERS)?;
    Some(if clearest > 0.0 { *one } else { *other })
}

/// True where the edges have the shape of a disc in directions that would show a motion.
fn shaped_as_disc(k: &KindReading) -> bool {
    matches!(k.verdict, Verdict::Defocus) && k.psf.defocus_px > 0.0 && !k.one_way
}

/// True for stripes along the rows or columns of the frame.
fn upright(psf: &PointSpread) -> bool {
    let off = psf.motion_deg.rem_euclid(90.0);
    off.min(90.0 - off) < UPRIGHT_DEG
}

/// A motion that the spectrum alone shows; `along_px` is the standard deviation of the edges that lie along it.
fn moved(psf: PointSpread, along_px: Option<f64>, allowance_px: f64) -> KindReading {
    let radius = match along_px {
        // A motion leaves the edges along it sharp: wide ones are out of focus, unless the scene is soft there.
        Some(sigma) if sigma > allowance_px && psf.sigma_px.hypot(psf.defocus_px / 2.0) > SOME_SIGMA_PX => {
            Some(2.0 * (sigma * sigma - 0.25).sqrt())
        }
        Some(_) => None,
        None if psf.defocus_px > 0.0 => Some(psf.defocus_px),
        None => {
            let wide = psf.sigma_px > WIDE_SIGMA_PX.max(WIDE_SHARE * psf.motion_px);
            wide.then_some(2.0 * psf.sigma_px)
        }
    };
    let found = match radius {
        None => found(Verdict::Motion, PointSpread { defocus_px: 0.0, ..psf }, ALONE),
        Some(_) => KindReading { defocus_px: radius, ..found(Verdict::Mixed, psf, UNSURE) },
    };
    // The spectrum is that of the tiles of the whole frame.
    KindReading { whole_frame: true, ..found }
}

fn found(verdict: Verdict, psf: PointSpread, confidence: f64) -> KindReading {
    let defocus_px = (psf.defocus_px > 0.0).then_some(psf.defocus_px);
    KindReading {
        verdict,
        psf,
        defocus_px,
        confidence,
        one_way: false,
        mirrored: None,
        from_nulls: true,
        whole_frame: false,
    }
}
