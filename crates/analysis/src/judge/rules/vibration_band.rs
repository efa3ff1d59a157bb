//! `vibration-band`: a shutter time at which mirror and shutter shake a camera even on a tripod, on a longer lens.
//! Common practice, no source: worst around 1/2 to 1/4 s.

use super::{Case, Finding, FindingCode, Parts, Severity, shaken};
use crate::optics;
use crate::print::{Aspect, Unknown};

/// What avoids it. Common practice, no source.
pub(super) const WAYS_OUT: &str = "mirror lock-up or live view with a delay, an electronic first curtain or a leaf \
                                   shutter, the tripod's column down, or a time outside the band";

/// True where the shutter and the lens fall into the brief's band.
pub(super) fn applies(case: &Case<'_>) -> bool {
    let handling = &case.brief.handling;
    let Some(shot) = case.shot else { return false };
    let (Some(shutter), Some(focal35)) = (shot.shutter_s, shot.focal35_mm) else { return false };
    // Exif rounds times: 1/8 may stand as 0.13.
    shutter >= handling.vibration_fastest_s * 0.96
        && shutter <= handling.vibration_slowest_s * 1.04
        && focal35 >= handling.vibration_focal35_mm
}

/// How a rule of handling is graded: by what it did. A sharp frame makes it a note.
pub(super) fn severity_and_words(case: &Case<'_>) -> (Severity, &'static str) {
    let sharp = case.ppi().map(|ppi| case.paper.grade(Aspect::Sharpness, ppi));
    match (shaken::severity(case), sharp) {
        (Some(severity), _) => (severity, "this frame is shaken"),
        (None, Some(Ok(None))) => (Severity::Note, "this frame is sharp enough all the same"),
        (None, Some(Ok(Some(_)))) if case.paper.brings.pixel_sharp => {
            (Severity::Note, "this frame is sharp pixel by pixel all the same")
        }
        (None, Some(Ok(Some(_)))) => (Severity::Note, "this frame is soft, but motion was not found to be the cause"),
        (None, None | Some(Err(Unknown))) => {
            (Severity::Note, "sharpness was not measured in this frame, so make a proof print")
        }
    }
}

/// True where a rule of handling is a note because the frame is sharp.
pub(super) fn sharp_all_the_same(case: &Case<'_>) -> bool {
    let sharp = case.ppi().map(|ppi| case.paper.grade(Aspect::Sharpness, ppi));
    shaken::severity(case).is_none()
        && match sharp {
            Some(Ok(None)) => true,
            Some(Ok(Some(_))) => case.paper.brings.pixel_sharp,
            None | Some(Err(Unknown)) => false,
        }
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    if !applies(case) {
        return None;
    }
    let shot = case.shot?;
    let (shutter, focal35) = (shot.shutter_s?, shot.focal35_mm?);
    let handling = &case.brief.handling;
    let (severity, words) = severity_and_words(case);
    Some(
        Parts {
            code: FindingCode::VibrationBand,
            severity,
            measured: shutter,
            limit: handling.vibration_fastest_s,
            unit: "s",
            text: format!(
                "{} at {focal35:.0} mm (35 mm equivalent) lies between {} and {}, where mirror and shutter shake a camera most; {words}.",
                optics::shutter_text(shutter),
                optics::shutter_text(handling.vibration_fastest_s),
                optics::shutter_text(handling.vibration_slowest_s),
            ),
            remedy: format!("Use {WAYS_OUT}"),
        }
        .into_finding(),
    )
}
