//! `soft`: edges are wider on the paper than the eye forgives, and neither motion nor diffraction explains it.

use super::{Case, Finding, FindingCode, Parts, diffracted, finest_words, or_print_smaller, passed, shaken, surface};
use crate::brief::length::short;
use crate::measures::BlurKind;
use crate::print::Aspect;

/// A rise up to this is as good as lens and pixel give: a wide edge on the paper is then enlargement. A Gaussian lens
/// blur of 0.7 px and the pixel make 1.96 px (closed forms in docs/measures.md).
const PIXEL_SHARP_PX: f64 = 2.0;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let severity = case.grade(Aspect::Sharpness)?;
    let kind = case.blur_kind();
    // A motion that is as bad accounts for what it left of the sharpest edges.
    let motion_accounts = kind == BlurKind::Motion && shaken::severity(case) >= Some(severity);
    if motion_accounts || diffracted::explains(case) {
        return None;
    }
    let rise_px = case.paper.brings.rise_px?;
    let (mm, eyes) = (case.mm(rise_px)?, case.value(Aspect::Sharpness)?);
    let limit = passed(case.paper.limit(Aspect::Sharpness), severity);
    let (why, remedy) = match kind {
        BlurKind::Defocus | BlurKind::Mixed => (
            "; focus missed",
            "Focus on the enlarged live view on the plane that matters, check it at full size, and bracket focus where \
             you can",
        ),
        _ if rise_px <= PIXEL_SHARP_PX => (
            "; the frame is sharp pixel by pixel, the enlargement is too much for it",
            "Stitch several frames or use a camera with more pixels; sharper focus will not help",
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
                "Edges are {} mm wide on {}, {eyes:.1} times what {}, limit {}{why} ({rise_px:.1} px in the frame).",
                short(mm),
                surface(case),
                finest_words(case).replace("one pixel", "fills one pixel"),
                short(limit),
            ),
            remedy: format!("{remedy}{}", or_print_smaller(case)),
        }
        .into_finding(),
    )
}
