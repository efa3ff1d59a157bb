//! `too-few-pixels`: after crop and fit there are fewer picture pixels per inch than the brief wants.

use super::{Case, Finding, FindingCode, Parts, passed, surface};
use crate::print::Aspect;

/// Share of a frame that neighbours have in common when stitched. Common practice, no source.
const STITCH_OVERLAP: f64 = 0.3;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let severity = case.grade(Aspect::Pixels)?;
    let fit = case.fit?;
    let limit = case.paper.limit(Aspect::Pixels);
    let brings = &case.paper.brings;
    let after = if case.crop.is_some() { " after the crop" } else { "" };
    // Frames side by side along the limiting edge, each adding what it does not share.
    let frames = ((limit.borderline / fit.ppi - STITCH_OVERLAP) / (1.0 - STITCH_OVERLAP)).ceil().max(2.0);
    let closer =
        if case.crop.is_some() { "crop less, go closer or use a longer lens" } else { "use a camera with more pixels" };
    let smaller = super::or_print_smaller(case);
    Some(
        Parts {
            code: FindingCode::TooFewPixels,
            severity,
            measured: fit.ppi,
            limit: passed(limit, severity),
            unit: "ppi",
            text: format!(
                "{:.0} x {:.0} px{after} give {:.0} ppi on {} (the {} fills it); this brief wants {:.0} and {:.0} at the least.",
                brings.width_px,
                brings.height_px,
                fit.ppi,
                surface(case),
                if fit.width_limits { "width" } else { "height" },
                limit.borderline,
                limit.fails
            ),
            remedy: format!("Stitch {frames:.0} frames along each edge with a third of overlap, or {closer}{smaller}"),
        }
        .into_finding(),
    )
}
