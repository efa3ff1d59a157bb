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

/// What a habit of handling did to the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Effect {
    /// It is shaken, so badly.
    Shaken(Severity),
    /// It is sharp enough for the brief.
    SharpEnough,
    /// It is too soft for the brief, but sharp pixel by pixel.
    PixelSharp,
    /// It is soft, and not by motion as far as is known.
    SoftOtherwise,
    /// Its sharpness is not known.
    Unmeasured,
}

impl Effect {
    /// In this frame.
    pub(super) fn of(case: &Case<'_>) -> Self {
        let sharp = case.ppi().map(|ppi| case.paper.grade(Aspect::Sharpness, ppi));
        match (shaken::severity(case), sharp) {
            (Some(severity), _) => Self::Shaken(severity),
            (None, Some(Ok(None))) => Self::SharpEnough,
            (None, Some(Ok(Some(_)))) if case.paper.brings.pixel_sharp => Self::PixelSharp,
            (None, Some(Ok(Some(_)))) => Self::SoftOtherwise,
            (None, None | Some(Err(Unknown))) => Self::Unmeasured,
        }
    }

    /// How a rule of handling is graded: by what it did.
    pub(super) const fn severity(self) -> Severity {
        match self {
            Self::Shaken(severity) => severity,
            _ => Severity::Note,
        }
    }

    /// The end of the finding's sentence.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Shaken(_) => "this frame is shaken",
            Self::SharpEnough => "this frame is sharp enough all the same",
            Self::PixelSharp => "this frame is sharp pixel by pixel all the same",
            Self::SoftOtherwise => "this frame is soft, but motion was not found to be the cause",
            Self::Unmeasured => "sharpness was not measured in this frame, so make a proof print",
        }
    }

    /// True where the frame is sharp all the same.
    pub(super) const fn is_sharp(self) -> bool {
        matches!(self, Self::SharpEnough | Self::PixelSharp)
    }
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    if !applies(case) {
        return None;
    }
    let shot = case.shot?;
    let (shutter, focal35) = (shot.shutter_s?, shot.focal35_mm?);
    let handling = &case.brief.handling;
    let effect = Effect::of(case);
    Some(
        Parts {
            code: FindingCode::VibrationBand,
            severity: effect.severity(),
            measured: shutter,
            limit: handling.vibration_fastest_s,
            unit: "s",
            text: format!(
                "{} at {focal35:.0} mm (35 mm equivalent) lies between {} and {}, where mirror and shutter shake a camera most; {}.",
                optics::shutter_text(shutter),
                optics::shutter_text(handling.vibration_fastest_s),
                optics::shutter_text(handling.vibration_slowest_s),
                effect.words(),
            ),
            remedy: format!("Use {WAYS_OUT}"),
        }
        .into_finding(),
    )
}
