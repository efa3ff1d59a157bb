//! Where the edges leave the kind of blur open, or call it a fault, the nulls of the spectrum are asked as well.

use super::kind::{CLEARLY_SHARP, KindReading, MIXED_MARGIN, Verdict};
use super::lowered;
use super::power::Picture;
use super::psf::PointSpread;
use super::scales::{LEAST_CLAIM, LEAST_GAIN_UPRIGHT, Seen, Texture, Witness, seen, upright};
use super::spectrum::{self, Read};
pub(crate) use widths::Widths;

mod widths;

const SOME_BLUR: &str = "the texture shows that the frame is blurred, but not whether by motion or missed focus";
const DISC_AND_MORE: &str = "the texture shows missed focus, but not whether the camera moved as well";
const LINES_OR_SUBJECT: &str = "most edges look sharp, but the texture and the edges of one direction show the same motion: thin lines that were smeared, or a subject that moved";
const LINES_OR_ROWS: &str = "the edges look sharp, but the texture shows a motion along the rows or columns of the frame: thin lines that were smeared, or windows and bars of one size";
/// Edges are called soft by the scene itself where the spectrum is at most this wide against them, and itself no wider
/// than a good lens leaves it, px.
const SCENE_SOFT: f64 = 0.8;
const SCENE_SOFT_PX: f64 = 1.2;
/// ... and the texture reaches above the noise up to here, cycles per pixel.
const SCENE_SOFT_REACH: f64 = 0.08;
/// Gaussian part up to which texture without plain edges shows a sharp frame, px. Photographs of textures: sharp ones
/// read 0.25 to 0.8, those with a disc of 1.6 px or more above 1.0 (own simulations).
const SHARP_TEXTURE_PX: f64 = 0.9;
const SHARP_TEXTURE_REACH: f64 = 0.11;
/// The same where plain edges beside it show a motion that it has not.
const SHARP_BESIDE_PX: f64 = 1.0;
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
/// Gain of each of two spectra without a motion over that with it from which the texture does not have it, be its first null in
/// the band or not: it would have made the texture fall off as the motion's own spectrum does.
const WITHOUT_IT: f64 = 0.3;
/// Gain that is asked for where the edges, facing one way, show nothing.
const LEAST_GAIN_ALONE: f64 = 0.5;
/// Gain times length, in halved pixels, from which the stripes are believed against the edges: a longer motion has more
/// of them in the band, and is the harder for edges (own simulations: right in all of 9 frames, the edges in none).
const MANY_STRIPES: f64 = 1.6;
/// ... and against edges that look sharp, and the confidence in these above which the spectrum is not asked.
const STRIPES_OVER_SHARP: f64 = 3.2;
const PLAINLY_SHARP: f64 = 0.8;
/// Two motions agree within this: degrees, and ln of their lengths.
const SAME_DEG: f64 = 12.0;
const SAME_LENGTH_LN: f64 = 0.25;
/// ... and so nearly that the edges, which are the finer measure of a motion they see, are taken for its length.
const NEARLY_LN: f64 = 0.12;

/// The kind from edges (`told`, `None` where they are too few) and nulls together. Edges along a motion that are wider than
/// `allowance_px` are out of focus.
pub(crate) fn weigh(
    told: Option<KindReading>,
    widths: &Widths<'_>,
    allowance_px: f64,
    pictures: &[Picture<'_, '_>],
    spectra: &[Read],
) -> Option<KindReading> {
    // A motion of the whole frame would be in every picture, whatever else these show.
    let none_like = |k: &KindReading| spectra.iter().all(|read| read.has_none_like(&k.psf, WITHOUT_IT));
    let of_a_part = |k: &KindReading| moves(k) && spectra.len() == 2 && none_like(k);
    let Some(seen) = seen(spectra) else {
        // Pictures that contradict each other name no blur.
        return told.map(|k| if of_a_part(&k) { beside_the_texture(&k, None, allowance_px) } else { k });
    };
    // Another blur than that of the edges, such as the grain of cloth leaves, counts for what it counts against a sharp frame.
    if let Some(k) = told.filter(|k| !matches!(seen, Seen::None(_)) && of_a_part(k)) {
        let beside = beside_the_texture(&k, None, allowance_px);
        let psf = PointSpread { motion_px: 0.0, defocus_px: 0.0, ..k.psf };
        let still = KindReading { verdict: Verdict::None, psf, defocus_px: None, ..k };
        let still = with_seen(Some(still), widths, allowance_px, seen, &|_| false);
        if matches!(beside.verdict, Verdict::SubjectMoved) && still.is_some_and(|k| matches!(k.verdict, Verdict::None))
        {
            return Some(beside);
        }
    }
    let in_neither =
        |k: &KindReading| spectra.len() == 2 && spectra.iter().all(|read| read.without(&k.psf) > WITHOUT_IT);
    // Directions that hardly show a motion beside a disc may differ as scenes do.
    let unsure = |k: &KindReading| lowered(k.confidence, widths.share) < PLAINLY_SHARP;
    if let Some(k) = told.filter(|k| matches!(k.verdict, Verdict::Mixed) && !k.one_way && unsure(k) && in_neither(k)) {
        return Some(beside_the_texture(&k, None, allowance_px));
    }
    let refuted = |k: &KindReading| in_neither(k) || pictures.iter().any(|picture| spectrum::refutes(picture, &k.psf));
    with_seen(told, widths, allowance_px, seen, &refuted)
}

/// The same with what the spectra show, and whether they refute a motion.
fn with_seen(
    told: Option<KindReading>,
    widths: &Widths<'_>,
    allowance_px: f64,
    seen: Seen,
    refuted: &dyn Fn(&KindReading) -> bool,
) -> Option<KindReading> {
    if let Some(k) = told
        && let Seen::None(texture) = seen
        && moves(&k)
        && refuted(&k)
    {
        return Some(beside_the_texture(&k, Some(&texture), allowance_px));
    }
    let along_px = widths.along_px;
    let unsure = |k: &KindReading| lowered(k.confidence, widths.share) < PLAINLY_SHARP;
    let agreed = matches!(seen, Seen::Motion { witness: Witness::Agrees, .. });
    // Edges of one direction with the shape of a motion show no disc: what the spectrum has beside it is the scene's.
    if let Seen::Motion { psf, stripes, .. } = &seen
        && told.is_some_and(|k| k.one_way && matches!(k.verdict, Verdict::Motion))
        && moved(*psf, *stripes, along_px(psf), allowance_px).is_some_and(|k| matches!(k.verdict, Verdict::Mixed))
    {
        return told;
    }
    // Edges with the shape of a disc that all lie along the motion: it is none that made them wide.
    if let Seen::Motion { psf, .. } = &seen
        && told.is_some_and(|k| shaped_as_disc(&k) && !(agreed && unsure(&k)))
        && (widths.across_px)(psf.motion_deg).is_none()
    {
        return told;
    }
    if let Seen::Motion { psf, stripes, .. } = &seen
        && told.is_some_and(|k| matches!(k.verdict, Verdict::Undetermined(_)) || shaped_as_disc(&k))
        && *stripes < STRIPES_OVER_SHARP
        && widths.contradict(psf)
    {
        return told;
    }
    match (seen, told) {
        // The smear of a thin line has flanks as sharp as the lens: many stripes and the plain edges of one direction, as wide as
        // the motion makes them, contradict such edges.
        (Seen::Motion { psf, gain, stripes, witness }, Some(k))
            if matches!(k.verdict, Verdict::None)
                && !k.one_way
                && witness != Witness::Agrees
                && gain > LEAST_GAIN_ALONE
                && stripes > STRIPES_OVER_SHARP
                && (widths.smeared)(&psf) =>
        {
            let verdict = Verdict::Undetermined(LINES_OR_SUBJECT);
            Some(KindReading { verdict, confidence: UNSURE.min(k.confidence), ..k })
        }
        // Edges that face one way say nothing of a motion along them; of one across them they would. Many clear stripes
        // are believed all the same: a few edges of a smeared frame may look sharp.
        (Seen::Motion { psf, gain, stripes, witness }, Some(k))
            if matches!(k.verdict, Verdict::None)
                && (gain < LEAST_GAIN_ALONE
                    || witness == Witness::Doubts
                    || witness == Witness::Silent && (upright(&psf) || !k.one_way && !unsure(&k))
                    || stripes < STRIPES_OVER_SHARP && (!k.one_way || along_px(&psf).is_none())) =>
        {
            told
        }
        (Seen::Motion { psf, .. }, Some(k)) if matches!(k.verdict, Verdict::None) && !k.one_way && upright(&psf) => {
            Some(KindReading {
                verdict: Verdict::Undetermined(LINES_OR_ROWS),
                confidence: UNSURE.min(k.confidence),
                ..k
            })
        }
        (Seen::Motion { psf, gain, stripes, .. }, Some(k))
            if matches!(k.verdict, Verdict::Motion | Verdict::Mixed) && !k.one_way =>
        {
            let turn = (psf.motion_deg - k.psf.motion_deg + 90.0).rem_euclid(180.0) - 90.0;
            let off_ln = (psf.motion_px / k.psf.motion_px).ln().abs();
            let agree = turn.abs() < SAME_DEG && off_ln < SAME_LENGTH_LN;
            // Stripes along the rows may be the scene's own.
            let sure = lowered(k.confidence, widths.share) > PLAINLY_SHARP;
            // Sure edges are the finer measure; others give way to many stripes altogether.
            let near_ln = match (sure, agreed || stripes > STRIPES_OVER_SHARP) {
                (true, _) => 2.0 * NEARLY_LN,
                (false, false) => NEARLY_LN,
                (false, true) => 0.0,
            };
            let nearly = agree && off_ln < near_ln;
            if stripes > MANY_STRIPES && !nearly && !(sure && upright(&psf) && gain < 2.0 * LEAST_GAIN_UPRIGHT) {
                let along_px = along_px(&psf);
                let of_stripes = moved(psf, stripes, along_px, allowance_px);
                // Where both have the same motion, what the edges along it tell of the focus is no doing of another one.
                let soft_along = along_px.is_some_and(|px| px > allowance_px);
                let beside = agree && k.defocus_px.is_some() && matches!(k.verdict, Verdict::Mixed);
                return match of_stripes {
                    // The edges are the finer measure of a disc.
                    Some(found) if beside && (soft_along || matches!(found.verdict, Verdict::Mixed)) => {
                        Some(KindReading { verdict: Verdict::Mixed, defocus_px: k.defocus_px, ..found })
                    }
                    found => found.or(told),
                };
            }
            let confidence = if agree { k.confidence.max(BOTH) } else { k.confidence.min(UNSURE) };
            Some(KindReading { confidence, whole_frame: agree, ..k })
        }
        // Blurred, but by what is open: edges near the allowance, or wide without a shape, do not tell either.
        // Plainly sharp edges give way to nothing but stripes.
        (_, Some(k)) if matches!(k.verdict, Verdict::None) && !k.one_way && !unsure(&k) && !agreed => told,
        (Seen::OneOrBoth, Some(k)) if widths.do_not_tell(&k, allowance_px) => Some(KindReading {
            verdict: Verdict::Undetermined(SOME_BLUR),
            defocus_px: None,
            confidence: UNSURE.min(k.confidence),
            ..k
        }),
        (Seen::OneOrBoth, _) => told,
        (Seen::Motion { psf, gain, .. }, _) if upright(&psf) && gain < LEAST_GAIN_UPRIGHT => told,
        // Rows leave stripes; a motion along them would leave the edges along it sharp.
        (Seen::Motion { psf, witness, .. }, _)
            if upright(&psf) && witness != Witness::Agrees && along_px(&psf).is_some_and(|px| px > allowance_px) =>
        {
            told
        }
        (Seen::Motion { psf, stripes, .. }, _) => moved(psf, stripes, along_px(&psf), allowance_px).or(told),
        // What few edges call a motion may be the disc that two pictures show.
        (Seen::Disc { psf, twice: true, alone: true }, Some(k))
            if (matches!(k.verdict, Verdict::Motion) || k.one_way && matches!(k.verdict, Verdict::Mixed))
                && unsure(&k)
                && Widths::allow(&psf, &k) =>
        {
            Some(found(Verdict::Defocus, psf, UNSURE))
        }
        (Seen::Disc { .. }, Some(k)) if matches!(k.verdict, Verdict::Motion | Verdict::Mixed) => {
            Some(KindReading { confidence: k.confidence.min(UNSURE), ..k })
        }
        (Seen::Disc { psf, .. }, Some(k)) if matches!(k.verdict, Verdict::Defocus) => {
            let shaped = k.psf.defocus_px > 0.0;
            let radius = if shaped { k.psf.defocus_px } else { psf.defocus_px };
            Some(KindReading { defocus_px: Some(radius), confidence: k.confidence.max(BOTH), ..k })
        }
        (Seen::Disc { .. }, Some(k)) if matches!(k.verdict, Verdict::None) && !k.one_way => told,
        // A disc widens every edge: rows of pickets or waves leave rings too.
        (Seen::Disc { psf, twice, alone }, Some(k))
            if !(Widths::allow(&psf, &k) || twice && alone && widths.end_allows(&psf, &k))
                || widths.sharper_than(&psf, allowance_px) =>
        {
            told
        }
        // The edges do not tell, and the rings are not those of a disc alone.
        (Seen::Disc { psf, alone: false, .. }, _) => Some(found(Verdict::Undetermined(DISC_AND_MORE), psf, UNSURE)),
        (Seen::Disc { psf, .. }, _) => {
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
pub(crate) fn preferred(one: &PointSpread, other: &PointSpread, pictures: &[Picture<'_, '_>]) -> Option<PointSpread> {
    let clearest = clearest(one, other, pictures).filter(|gain| gain.abs() > PREFERS)?;
    Some(if clearest > 0.0 { *one } else { *other })
}

/// True where the spectrum has the one blur, and clearly not the other.
pub(crate) fn speak_for(one: &PointSpread, other: &PointSpread, pictures: &[Picture<'_, '_>]) -> bool {
    clearest(one, other, pictures).is_some_and(|gain| gain > LEAST_CLAIM)
}

/// By how much more the spectrum of the picture that tells most explains with `one` than with `other`.
fn clearest(one: &PointSpread, other: &PointSpread, pictures: &[Picture<'_, '_>]) -> Option<f64> {
    let gains = pictures.iter().filter_map(|picture| spectrum::preference(picture, one, other));
    gains.max_by(|a, b| a.abs().total_cmp(&b.abs()))
}

/// True where the edges have the shape of a disc in directions that would show a motion.
fn shaped_as_disc(k: &KindReading) -> bool {
    matches!(k.verdict, Verdict::Defocus) && k.psf.defocus_px > 0.0 && !k.one_way
}

/// A motion that the spectrum alone shows; `along_px` is the standard deviation of the edges that lie along it. `None` where
/// these are wide, and nothing in the spectrum says why: a motion leaves the edges along it sharp. Many stripes are believed
/// all the same.
fn moved(psf: PointSpread, stripes: f64, along_px: Option<f64>, allowance_px: f64) -> Option<KindReading> {
    let radius = match along_px {
        _ if psf.defocus_px > 0.0 => Some(psf.defocus_px),
        Some(sigma) if sigma > allowance_px => {
            // Out of focus, unless the scene is soft there.
            let out_of_focus = psf.sigma_px > SOME_SIGMA_PX;
            if !out_of_focus && stripes < STRIPES_OVER_SHARP {
                return None;
            }
            out_of_focus.then(|| 2.0 * (sigma * sigma - 0.25).sqrt())
        }
        Some(_) => None,
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
    Some(KindReading { whole_frame: true, ..found })
}

/// True for a motion whose length and direction the edges show.
fn moves(k: &KindReading) -> bool {
    matches!(k.verdict, Verdict::Motion | Verdict::Mixed) && !k.one_way
}

/// A motion that plain edges show, where the texture of the whole frame has none of it: a subject moved, not the camera. The frame
/// is sharp if the texture is, or if the subject is in focus: its motion leaves the edges along it as the lens made them.
fn beside_the_texture(told: &KindReading, texture: Option<&Texture>, allowance_px: f64) -> KindReading {
    let sharp = |t: &Texture| t.sigma_px < SHARP_BESIDE_PX && t.reach_cy_px > SHARP_TEXTURE_REACH;
    let focus_px = PointSpread { motion_px: 0.0, ..told.psf }.variance(0.0).sqrt();
    let in_focus = matches!(told.verdict, Verdict::Motion) && focus_px < CLEARLY_SHARP / MIXED_MARGIN * allowance_px;
    let verdict = if in_focus || texture.is_some_and(sharp) {
        Verdict::SubjectMoved
    } else {
        Verdict::Undetermined("the plain edges show a motion, the texture of the frame as a whole does not")
    };
    KindReading { verdict, defocus_px: None, confidence: UNSURE, ..*told }
}

/// A kind read from the spectrum.
fn found(verdict: Verdict, psf: PointSpread, confidence: f64) -> KindReading {
    KindReading { from_nulls: true, ..KindReading::of(verdict, psf, confidence) }
}

#[cfg(test)]
mod tests;
