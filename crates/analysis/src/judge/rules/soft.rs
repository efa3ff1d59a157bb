//! `soft`: edges are wider on the paper than the eye forgives, and neither motion nor diffraction nor the enlargement
//! alone explains it. Advice follows the diffraction that is known: no stopping down where it makes a good part.

use rawassay_decode::PitchFrom;

use super::{
    Case, Finding, FindingCode, Parts, apart, diffracted, finest_words, or_print_smaller, passed, shaken, surface,
};
use crate::brief::length::short;
use crate::measures::BlurKind;
use crate::print::Aspect;

/// A rise up to this is as good as lens and pixel give: a wide edge on the paper is then enlargement. A Gaussian lens
/// blur of 0.7 px and the pixel make 1.96 px (closed forms in docs/measures.md).
pub(crate) const PIXEL_SHARP_PX: f64 = 2.0;

/// From this f-number on diffraction is as likely a cause as focus or lens where the pixel pitch is not sure, and
/// stopping down is no longer advised. Common practice, no source.
const DIFFRACTION_LIKELY_F: f64 = 11.0;

/// A share of the edges' variance beyond the pixel from which diffraction is named beside the other cause: two stops
/// further it doubles, and alone would be as wide as the edges are, so that stopping down cannot help (own derivation).
const DIFFRACTION_PART: f64 = 0.25;
/// Confidence of the blur's kind from which its shape is that of missed focus. Simulated discs of 1.2 to 4.7 px radius have
/// 0.93 and more, lenses with a Gaussian spread of 1.2 to 3.2 px 0.56 to 0.89 (own simulations).
const SHAPE_SURE: f64 = 0.9;
/// Radius of a disc as wide as the softest of these lenses, px (twice the standard deviation; own choice).
const SOFTEST_LENS_PX: f64 = 6.4;
/// The f-number below which few lenses open by two stops more (f/2; common practice, no source).
const TWO_STOPS_LEFT_F: f64 = 4.0;

/// True where the frame is sharp pixel by pixel: then it has too few pixels for the print, not too little sharpness.
pub(in crate::judge) fn pixel_sharp(case: &Case<'_>) -> bool {
    case.paper.brings.rise_px.is_some_and(|rise| rise <= PIXEL_SHARP_PX)
        && !matches!(case.blur_kind(), BlurKind::Defocus | BlurKind::Mixed)
        && !diffracted::explains(case)
}

/// What diffraction adds to the cause: its part where that is known to be a good one.
fn partly_diffraction(case: &Case<'_>) -> Option<String> {
    let shot = case.shot?;
    let f_number = shot.f_number?;
    let share = diffracted::share(case).filter(|share| *share >= DIFFRACTION_PART)?;
    let sure = matches!(shot.pitch_from, Some(PitchFrom::FocalPlaneResolution));
    let by = if sure { "" } else { ", by a pixel pitch that is only inferred" };
    Some(format!("diffraction at f/{f_number} makes {:.0} % of what widens them{by}", 100.0 * share.min(1.0)))
}

/// The f-number, where diffraction may be the cause although the pitch, which is only inferred, does not bear it out.
fn maybe_diffraction(case: &Case<'_>) -> Option<String> {
    let shot = case.shot?;
    let f_number = shot.f_number.filter(|n| *n >= DIFFRACTION_LIKELY_F)?;
    match (shot.pixel_pitch_um, shot.pitch_from) {
        (Some(_), Some(PitchFrom::FocalPlaneResolution)) => None,
        (Some(pitch), _) => {
            Some(format!("diffraction at f/{f_number} (the pixel pitch of {} um is only inferred)", short(pitch)))
        }
        (None, _) => Some(format!("diffraction at f/{f_number} (the pixel pitch is not known)")),
    }
}

/// True where the edges are wide all round, but do not have the shape of a disc for certain: a soft lens looks the same. Wider
/// than any lens is soft it is missed focus, whatever few edges tell of the shape.
fn by_width_alone(case: &Case<'_>) -> bool {
    let Some(blur) = case.measures.map(|m| &m.blur) else { return true };
    blur.confidence < SHAPE_SURE && blur.defocus_px.is_none_or(|radius| radius < SOFTEST_LENS_PX)
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let severity = case.grade(Aspect::Sharpness)?;
    let kind = case.blur_kind();
    // A motion that is as bad accounts for what it left of the sharpest edges.
    let motion_accounts = kind == BlurKind::Motion && shaken::severity(case) >= Some(severity);
    if motion_accounts || case.paper.brings.pixel_sharp || diffracted::explains(case) {
        return None;
    }
    let rise_px = case.paper.brings.rise_px?;
    let (mm, eyes) = (case.mm(rise_px)?, case.value(Aspect::Sharpness)?);
    let limit = passed(case.paper.limit(Aspect::Sharpness), severity);
    let diffraction = maybe_diffraction(case);
    let partly = if diffraction.is_some() { None } else { partly_diffraction(case) };
    let closed = case.shot.and_then(|s| s.f_number).filter(|n| *n >= DIFFRACTION_LIKELY_F);
    // What the remedy begins with; a lens that is nearly open has no two stops left.
    let open = match (&partly, case.shot.and_then(|s| s.f_number)) {
        (None, _) => "",
        (_, Some(n)) if n < TWO_STOPS_LEFT_F => "Open up as far as the lens does",
        _ => "Open up by two stops",
    };
    let (why, remedy) = match kind {
        BlurKind::Defocus | BlurKind::Mixed if partly.is_some() => (
            "; focus missed, and ",
            ", and focus on the enlarged live view on the plane that matters; bracket focus where you \
             can and stack it where depth is needed",
        ),
        BlurKind::None | BlurKind::Motion if partly.is_some() => (
            "; missed focus was not seen, so the lens is the likeliest cause beside diffraction: ",
            " and prove it with a series by aperture: stopping down further only widens the edges; \
             where they stay as wide, use a better lens",
        ),
        _ if partly.is_some() => (
            "; the other cause could not be told, ",
            " and shoot again with focus checked on the enlarged live view, a tripod with its column \
             down and a faster shutter, changing one at a time",
        ),
        _ if diffraction.is_some() => (
            match kind {
                BlurKind::Defocus | BlurKind::Mixed => "; missed focus or ",
                _ => "; the lens or ",
            },
            "Open up by two stops and compare: sharper edges mean diffraction, the same ones mean focus or lens",
        ),
        BlurKind::Defocus if by_width_alone(case) => (
            "; focus missed, or the lens itself is so soft",
            "Focus on the enlarged live view on the plane that matters and check it at full size; where that changes \
             nothing it is the lens: prove it with a series by aperture, or use a better lens",
        ),
        BlurKind::Defocus | BlurKind::Mixed => (
            "; focus missed",
            "Focus on the enlarged live view on the plane that matters, check it at full size, and bracket focus where \
             you can",
        ),
        BlurKind::None | BlurKind::Motion if closed.is_some() => (
            "; missed focus was not seen, so the lens is the likeliest cause",
            "Prove it with a series by aperture that opens up from here (so far closed no lens gains by stopping down), or \
             use a better lens",
        ),
        BlurKind::None | BlurKind::Motion => (
            "; missed focus was not seen, so the lens is the likeliest cause",
            "Stop down two to three stops from wide open (common practice) and prove it with a series by aperture, or \
             use a better lens",
        ),
        _ => (
            "; the cause could not be told",
            "Shoot again with focus checked on the enlarged live view, a tripod with its column down and a faster \
             shutter, changing one at a time",
        ),
    };
    Some(
        Parts {
            code: FindingCode::Soft,
            severity,
            measured: eyes,
            limit,
            unit: "eye limits",
            text: format!(
                "Edges are {} mm wide on {}, {} times {}, limit {}{why}{} ({rise_px:.1} px in the frame).",
                short(mm),
                surface(case),
                apart(format!("{eyes:.1}"), eyes, limit),
                finest_words(case),
                short(limit),
                partly.or(diffraction).unwrap_or_default(),
            ),
            remedy: format!("{open}{remedy}{}", or_print_smaller(case)),
        }
        .into_finding(),
    )
}
