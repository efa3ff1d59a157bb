//! Measures and a brief become a verdict. Reads no pixels.

mod case;
mod rules;

use std::fmt;

use rawassay_decode::{Area, Shot};
use serde::{Deserialize, Serialize};

use crate::Measures;
use crate::brief::Brief;

pub(crate) use case::{Case, tone_word};
pub(crate) use rules::PIXEL_SHARP_PX;

/// Outcome of a frame for a brief, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Good enough for the brief.
    Prints,
    /// Something is at its limit: make a proof print.
    Borderline,
    /// Not good enough.
    Fails,
    /// What the brief needs could not be measured.
    Unmeasured,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Prints => "prints",
            Self::Borderline => "borderline",
            Self::Fails => "fails",
            Self::Unmeasured => "unmeasured",
        })
    }
}

/// Severity of a finding, mildest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; does not change the outcome.
    Note,
    /// At the limit.
    Borderline,
    /// Over the limit.
    Fails,
}

/// Finding codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "each is explained by `rawassay explain CODE`")]
pub enum FindingCode {
    Blown,
    Blocked,
    Noisy,
    Banded,
    Soft,
    Shaken,
    Diffracted,
    SlowShutter,
    VibrationBand,
    TooFewPixels,
    Damaged,
}

impl FindingCode {
    /// Every code.
    pub const ALL: [Self; 11] = [
        Self::Blown,
        Self::Blocked,
        Self::Noisy,
        Self::Banded,
        Self::Soft,
        Self::Shaken,
        Self::Diffracted,
        Self::SlowShutter,
        Self::VibrationBand,
        Self::TooFewPixels,
        Self::Damaged,
    ];

    /// The word in scorecards and on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Blown => "blown",
            Self::Blocked => "blocked",
            Self::Noisy => "noisy",
            Self::Banded => "banded",
            Self::Soft => "soft",
            Self::Shaken => "shaken",
            Self::Diffracted => "diffracted",
            Self::SlowShutter => "slow-shutter",
            Self::VibrationBand => "vibration-band",
            Self::TooFewPixels => "too-few-pixels",
            Self::Damaged => "damaged",
        }
    }
}

impl fmt::Display for FindingCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// One thing found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// What.
    pub code: FindingCode,
    /// How bad for this brief.
    pub severity: Severity,
    /// Measured value.
    pub measured: Option<f64>,
    /// The limit it is held against.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: String,
    /// One plain sentence.
    pub text: String,
    /// One remedy for next time.
    pub remedy: String,
}

/// The largest print that the frame honestly makes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LargestPrint {
    /// Width of the picture on paper as it stands upright, inches.
    pub width_in: f64,
    /// Height, inches.
    pub height_in: f64,
    /// Pixels per inch at that size.
    pub ppi: f64,
    /// What limits it first: "pixels", "sharpness", "motion", "noise"; "highlights" where a blown patch grows too large.
    pub limited_by: String,
}

/// The largest print for whoever accepts what spoils the tones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IfAccepted {
    /// What must be accepted: "highlights", "shadows", "banding".
    pub what: String,
    /// Width on paper as the picture stands upright, inches.
    pub width_in: f64,
    /// Height, inches.
    pub height_in: f64,
    /// Pixels per inch at that size.
    pub ppi: f64,
}

impl IfAccepted {
    /// Why there is no largest print, with this one's size in words. Larger ones are beyond what their size allows; bands may
    /// show less in them.
    #[must_use]
    pub fn why_none(&self, size: &str) -> String {
        format!("every one up to {size} fails by its {}", self.what)
    }
}

/// The frame at the brief's size.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PrintFit {
    /// Pixels per inch after crop and fit.
    pub ppi: Option<f64>,
    /// Edge rise on the paper, mm.
    pub rise_mm: Option<f64>,
    /// Motion on the paper, mm.
    pub motion_mm: Option<f64>,
    /// Mid-tone SNR after averaging over what the eye resolves, ratio.
    pub snr_midtone: Option<f64>,
    /// The same of the tone that becomes the mid-tone once the frame is lifted to a normal brightness, ratio.
    #[serde(default)]
    pub snr_lifted: Option<f64>,
    /// What the eye resolves at the brief's distance (one minute of arc), mm.
    pub eye_limit_mm: Option<f64>,
    /// The finest that is seen, mm: the eye's limit, or the screen's pixel where that is larger. Blur is held against
    /// this.
    #[serde(default)]
    pub finest_mm: Option<f64>,
    /// The largest honest print: the largest that `prints` at the brief's distance, as to pixels, sharpness, motion
    /// and noise, and at which no highlight, shadow or band fails. `None` also where those fail at every size up to that.
    pub largest: Option<LargestPrint>,
    /// The largest that does not fail; between the two, make a proof print.
    #[serde(default)]
    pub largest_with_proof: Option<LargestPrint>,
    /// The largest print by size alone, where highlights, shadows or bands keep it smaller or rule it out.
    #[serde(default)]
    pub if_accepted: Option<IfAccepted>,
}

/// The verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// Name of the brief.
    pub brief: String,
    /// Outcome.
    pub outcome: Outcome,
    /// Findings, worst first.
    pub findings: Vec<Finding>,
    /// What could not be measured, one line each.
    #[serde(default)]
    pub not_measured: Vec<String>,
}

/// All that a brief says of a frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Usable range at the brief's SNR limit and print scale, EV.
    pub usable_ev: Option<f64>,
    /// How far the scene's darkest tones lie inside that range, EV; negative: below it, where noise hides them.
    #[serde(default)]
    pub shadow_room_ev: Option<f64>,
    /// That SNR limit, ratio.
    pub snr_limit: f64,
    /// The frame on the paper.
    pub print: PrintFit,
    /// The verdict.
    pub verdict: Verdict,
}

/// What is judged: the record of one frame without its file.
#[derive(Debug, Clone, Copy, Default)]
pub struct Subject<'a> {
    /// Shot data; `None` for an unreadable file.
    pub shot: Option<&'a Shot>,
    /// Measures; `None` for an unreadable file.
    pub measures: Option<&'a Measures>,
    /// The reason where part of the sensor data is missing.
    pub damaged: Option<&'a str>,
}

/// The findings that stand for what limits a print.
fn limiting(limited_by: &str) -> &'static [FindingCode] {
    match limited_by {
        "pixels" => &[FindingCode::TooFewPixels],
        "sharpness" => &[FindingCode::Soft, FindingCode::Diffracted],
        "motion" => &[FindingCode::Shaken],
        "noise" => &[FindingCode::Noisy],
        "highlights" => &[FindingCode::Blown],
        "shadows" => &[FindingCode::Blocked],
        "banding" => &[FindingCode::Banded],
        _ => &[],
    }
}

/// Judges a frame by a brief, whole or cropped (see [`crate::crop`] for its coordinates).
///
/// The outcome follows from the findings and from what is unknown: one finding that fails makes the frame fail; else
/// it is unmeasured where something that the brief needs is unknown; else borderline where a finding is; else it
/// prints. A crop outside the picture is unmeasured, never judged as something else.
#[must_use]
pub fn judge(subject: &Subject<'_>, brief: &Brief, crop: Option<Area>) -> Judgement {
    let case = Case::new(subject, brief, crop);
    let mut findings: Vec<Finding> = rules::RULES.iter().filter_map(|rule| rule(&case)).collect();
    for said in findings.iter_mut().flat_map(|f| [&mut f.text, &mut f.remedy]) {
        *said = brief.output.picture_unit().says(said);
    }
    let print = case.print_fit();
    // Of two that weigh the same, the one that limits the print first, or leaves none, tells more.
    let limited_by = match (&print.largest, &print.if_accepted) {
        (Some(largest), _) => largest.limited_by.as_str(),
        (None, Some(accepted)) => accepted.what.as_str(),
        (None, None) => "",
    };
    let limits = |f: &Finding| limiting(limited_by).contains(&f.code);
    findings.sort_by_key(|f| (std::cmp::Reverse(f.severity), !limits(f)));
    let outcome = if case.unreadable() {
        Outcome::Unmeasured
    } else if findings.iter().any(|f| f.severity == Severity::Fails) {
        Outcome::Fails
    } else if case.lacks_what_is_needed() {
        Outcome::Unmeasured
    } else if findings.iter().any(|f| f.severity == Severity::Borderline) {
        Outcome::Borderline
    } else {
        Outcome::Prints
    };
    Judgement {
        usable_ev: case.usable_ev(),
        shadow_room_ev: case.shadow_room_ev(),
        snr_limit: brief.limits.shadow_snr,
        print,
        verdict: Verdict { brief: brief.name.clone(), outcome, findings, not_measured: case.not_measured() },
    }
}

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod random_tests;
#[cfg(test)]
mod tests;
