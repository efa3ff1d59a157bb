//! `too-few-pixels`: after crop and fit there are fewer picture pixels per inch than the brief wants, or fewer than keep
//! the edges of a frame that is sharp pixel by pixel narrow enough on the paper.

use super::{Case, Finding, FindingCode, Parts, Severity, apart, passed, surface};
use crate::brief::length::short;
use crate::measures::BlurKind;
use crate::print::Aspect;

/// Share of a frame that neighbours have in common when stitched. Common practice, no source.
const STITCH_OVERLAP: f64 = 1.0 / 3.0;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let sharp = case.paper.brings.pixel_sharp;
    let edges = if sharp { case.grade(Aspect::Sharpness) } else { None };
    let severity = case.grade(Aspect::Pixels).max(edges)?;
    let fit = case.fit?;
    let limit = case.paper.limit(Aspect::Pixels);
    // What the brief wants, or what the edges need where that is more.
    let needed = |wanted: f64, fails: bool| match case.paper.least_ppi(Aspect::Sharpness, fails) {
        Some(ppi) if sharp => wanted.max(ppi),
        _ => wanted,
    };
    let (clean, least) = (needed(limit.borderline, false), needed(limit.fails, true));
    let brings = &case.paper.brings;
    let after = if case.crop.is_some() { " after the crop" } else { "" };
    // A longer lens gives the resolution; frames side by side give the view back, each adding what it does not share.
    let longer = (10.0 * clean / fit.ppi - 1e-6).ceil() / 10.0;
    let frames = ((longer - STITCH_OVERLAP) / (1.0 - STITCH_OVERLAP) - 1e-6).ceil().max(2.0);
    let closer =
        if case.crop.is_some() { "crop less, go closer or use a longer lens" } else { "use a camera with more pixels" };
    let smaller = super::or_print_smaller(case);
    // A motion smears the edges across it and leaves those that lie along it.
    let (which, they) = match case.blur_kind() {
        BlurKind::Motion => ("Edges that lie along its motion are", "they are"),
        _ => ("The frame is", "its edges are"),
    };
    // Enough by the brief's numbers, and too few all the same for what the frame holds.
    let enough = case.grade(Aspect::Pixels).is_none();
    let wants = if enough {
        format!(
            ", no less than the {} ppi that this brief wants, but too few for edges as fine as these",
            short(limit.borderline)
        )
    } else {
        format!("; this brief wants {}, {} at the least", short(limit.borderline), short(limit.fails))
    };
    let wide = match (edges, brings.rise_px.and_then(|px| case.mm(px)), case.value(Aspect::Sharpness)) {
        (Some(_), Some(mm), Some(eyes)) => format!(
            " {which} sharp pixel by pixel, but so enlarged {they} {} mm wide, {} times {}; {clean:.0} ppi would do.",
            short(mm),
            apart(format!("{eyes:.1}"), eyes, case.paper.limit(Aspect::Sharpness).borderline),
            super::finest_words(case),
        ),
        _ => String::new(),
    };
    let focus = if edges.is_some() { "; sharper focus will not help" } else { "" };
    Some(
        Parts {
            code: FindingCode::TooFewPixels,
            severity,
            measured: fit.ppi,
            limit: if severity == Severity::Fails { least } else { clean },
            unit: "ppi",
            text: format!(
                "{:.0} x {:.0} px{after} give {} ppi on {} (the {} fills it){wants}.{wide}",
                brings.width_px,
                brings.height_px,
                apart(format!("{:.0}", fit.ppi), fit.ppi, passed(limit, severity)),
                surface(case),
                if fit.width_limits { "width" } else { "height" },
            ),
            remedy: format!("Stitch {frames:.0} x {frames:.0} frames with a third of overlap, through a lens {longer:.1} times as long, or {closer}{focus}{smaller}"),
        }
        .into_finding(),
    )
}
