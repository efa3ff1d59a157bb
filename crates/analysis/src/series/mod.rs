//! What changes along a test series, and what the gear's limit is for the brief.
//!
//! Takes frames as measured and judged; reads no pixels. Each way of ordering the frames has its own file.

mod aperture;
mod best_stop;
mod camera;
mod camera_texture;
mod camera_verdict;
mod iso;
mod iso_cautions;
mod iso_settles;
mod otherwise;
mod readings;
mod scenes;
mod shutter;
mod shutter_fit;
mod shutter_trust;
mod stats;
pub(crate) mod telling;
pub(crate) mod zones;

use std::collections::HashSet;

use crate::brief::Brief;
use crate::print::grade_below;
use serde::{Deserialize, Serialize};

use crate::{Camera, FindingCode, FrameRow, Outcome, Severity};

pub use crate::brief::length::short;
pub use crate::optics::shutter_text;
pub use readings::{Key, Readings, Setting};
pub use stats::{Estimate, estimate, share_interval};

/// What a series is held against.
#[derive(Debug, Clone, Copy)]
pub struct Held<'a> {
    /// The brief by which the frames were judged.
    pub brief: &'a Brief,
    /// It, with its output, as in "exhibition (30 x 40 in)".
    pub name: &'a str,
    /// With [`By::Shutter`]: share of frames that should be free of shake, 0.5 to 0.99.
    pub keeper_share: f64,
}

impl Held<'_> {
    /// Motion on the paper from which a frame counts as shaken, mm: the brief's borderline limit.
    #[must_use]
    pub fn shake_limit_mm(&self) -> f64 {
        self.brief.limits.motion_eye_limits.borderline * crate::print::seen(&self.brief.output).finest_mm
    }
}

/// What a series is ordered by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    /// Sensitivity.
    Iso,
    /// f-number.
    Aperture,
    /// Exposure time.
    Shutter,
    /// Camera body.
    Camera,
}

impl By {
    /// What a step's `meets_brief` is about; a frame may fail the brief for another reason all the same.
    #[must_use]
    pub const fn tests(self) -> &'static str {
        match self {
            Self::Iso => "noise and banding",
            Self::Aperture => "sharpness",
            Self::Shutter => "share of frames free of shake",
            Self::Camera => "pixels, sharpness and noise",
        }
    }

    /// A step's `meets_brief` in words that do not say more than was tested.
    #[must_use]
    pub const fn said(self, outcome: Option<Outcome>) -> &'static str {
        match (self, outcome) {
            (_, None | Some(Outcome::Unmeasured)) => "not measured",
            (_, Some(Outcome::Borderline)) => "borderline",
            (Self::Iso, Some(Outcome::Prints)) => "noise low enough",
            (Self::Iso, Some(Outcome::Fails)) => "too noisy",
            (Self::Aperture, Some(Outcome::Prints)) => "sharp enough",
            (Self::Aperture, Some(Outcome::Fails)) => "not sharp enough",
            (Self::Shutter, Some(Outcome::Prints)) => "enough unshaken",
            (Self::Shutter, Some(Outcome::Fails)) => "too many shaken",
            (Self::Camera, Some(Outcome::Prints)) => "meets the brief",
            (Self::Camera, Some(Outcome::Fails)) => "fails",
        }
    }
}

/// The frames of one setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// ISO, f-number, exposure time in seconds, or camera.
    pub setting: Setting,
    /// Frames that count.
    pub frames: usize,
    /// Frames of this setting that were left out because something else spoiled them.
    pub left_out: usize,
    /// Medians.
    #[serde(flatten)]
    pub readings: Readings,
    /// Whether the step meets the brief in what this series tests ([`By::tests`]); `None` where it cannot be told.
    pub meets_brief: Option<Outcome>,
}

/// The best setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Best {
    /// The setting: a tested one, or the optimum of a fit.
    pub setting: Setting,
    /// Lower end of its 90 % interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// One sentence.
    pub reason: String,
}

/// The furthest tested setting that meets the brief.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// That setting; `Unknown` where none meets it.
    pub setting: Setting,
    /// The furthest setting that is borderline at the worst.
    pub borderline_to: Setting,
    /// The tested settings between which the limit falls; `None` where the limit lies outside what was tested.
    pub between: Option<[f64; 2]>,
    /// Where the curve through those two crosses the brief's limit; told along ISO only.
    pub by_curve: Option<f64>,
    /// One sentence.
    pub reason: String,
}

/// Frames that can be compared with each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// What they have in common.
    pub key: Key,
    /// Frames.
    pub frames: usize,
    /// One per setting.
    pub steps: Vec<Step>,
    /// The best setting.
    pub best: Option<Best>,
    /// The limit for the brief.
    pub limit_for_brief: Option<Limit>,
    /// What is told of the group as a whole.
    #[serde(flatten)]
    pub readings: Readings,
    /// The answer in one plain sentence.
    pub answer: String,
    /// What else the data show, and what to be careful of.
    pub warnings: Vec<String>,
}

impl Group {
    /// Whether there is something to compare: a table of one row, or of a few frames of one focal length, tells nothing.
    #[must_use]
    pub fn compares(&self, by: By) -> bool {
        /// Frames of one focal length below which shares are not worth counting.
        const LEAST_HAND_HELD: usize = 6;
        let settings = self.steps.iter().filter(|s| s.frames > 0).count();
        match by {
            // A median over whatever one camera was used for compares nothing.
            By::Camera => self.steps.len() >= 2,
            By::Shutter => settings >= 2 && self.frames >= LEAST_HAND_HELD,
            By::Iso | By::Aperture => settings >= 2,
        }
    }

    /// Whether any frame was shaken: without one a series of exposure times tells nothing of the hand, as when they only
    /// follow the ISO on a tripod.
    #[must_use]
    pub fn any_shaken(&self) -> bool {
        self.steps.iter().any(|s| s.readings.value("free_of_shake_pct").is_some_and(|pct| pct < 100.0))
    }
}

/// A series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// What it is ordered by.
    pub by: By,
    /// What `meets_brief` of the steps is about.
    pub tested: &'static str,
    /// The brief it is held against, with its output.
    pub brief: String,
    /// The groups.
    pub groups: Vec<Group>,
    /// Frames that could be placed in no group, and other cautions.
    pub warnings: Vec<String>,
}

/// Makes the series.
#[must_use]
pub fn series(by: By, frames: &[FrameRow], held: &Held<'_>) -> Series {
    let (groups, warnings) = match by {
        By::Iso => iso::groups(frames, held),
        By::Aperture => aperture::groups(frames, held),
        By::Shutter => shutter::groups(frames, held),
        By::Camera => camera::groups(frames, held),
    };
    let mut series = Series { by, tested: by.tests(), brief: held.name.to_string(), groups, warnings };
    let damaged = frames.iter().filter(|f| f.damaged).count();
    if damaged > 0 {
        series.warnings.push(format!("{damaged} damaged {} left out.", plural(damaged, "frame")));
    }
    series
}

/// How bodies are called: those that share a name with another are told with their serial numbers.
struct BodyNames(HashSet<String>);

impl BodyNames {
    fn of(frames: &[FrameRow]) -> Self {
        let bodies: HashSet<Camera<'_>> = frames.iter().map(FrameRow::camera).collect();
        let mut seen = HashSet::new();
        Self(bodies.into_iter().map(|body| body.name(false)).filter(|name| !seen.insert(name.clone())).collect())
    }

    fn name(&self, body: &Camera<'_>) -> String {
        body.name(self.0.contains(&body.name(false)))
    }
}

/// Splits frames into groups with equal keys, in the order of the keys.
fn group_by<'f, K: Ord>(
    frames: impl IntoIterator<Item = &'f FrameRow>,
    key: impl Fn(&'f FrameRow) -> Option<K>,
) -> Vec<(K, Vec<&'f FrameRow>)> {
    let mut groups: std::collections::BTreeMap<K, Vec<&'f FrameRow>> = std::collections::BTreeMap::new();
    for frame in frames {
        if let Some(key) = key(frame) {
            groups.entry(key).or_default().push(frame);
        }
    }
    groups.into_iter().collect()
}

/// Splits frames by a number: values within `tolerance` (a ratio) of the first of a step share it. Steps ascend and
/// bear the median of their values.
fn steps_by<'f>(
    frames: &[&'f FrameRow],
    tolerance: f64,
    value: impl Fn(&FrameRow) -> Option<f64>,
) -> Vec<(f64, Vec<&'f FrameRow>)> {
    let mut valued: Vec<(f64, &'f FrameRow)> =
        frames.iter().filter_map(|f| value(f).filter(|v| v.is_finite() && *v > 0.0).map(|v| (v, *f))).collect();
    valued.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut steps: Vec<(f64, Vec<(f64, &'f FrameRow)>)> = Vec::new();
    for (value, frame) in valued {
        match steps.last_mut() {
            Some((first, members)) if value <= *first * tolerance => members.push((value, frame)),
            _ => steps.push((value, vec![(value, frame)])),
        }
    }
    steps
        .into_iter()
        .map(|(_, members)| (members[members.len() / 2].0, members.into_iter().map(|m| m.1).collect()))
        .collect()
}

/// How a step stands with regard to some findings: the outcome that the middle frame has (the worse of two). Noise counts
/// as in a frame that was exposed as metered: that a test frame was darker says nothing of its ISO or camera.
fn outcome_of(frames: &[&FrameRow], codes: &[FindingCode], brief: &Brief) -> Option<Outcome> {
    let others: Vec<FindingCode> = codes.iter().copied().filter(|code| *code != FindingCode::Noisy).collect();
    let noise = |frame: &FrameRow| {
        let noise = grade_below(frame.print_snr_midtone()?, brief.limits.snr_midtone);
        noise.filter(|_| codes.contains(&FindingCode::Noisy))
    };
    let mut outcomes: Vec<Outcome> = frames
        .iter()
        .map(|frame| match frame.worst(&others).max(noise(frame)) {
            Some(Severity::Fails) => Outcome::Fails,
            Some(Severity::Borderline) => Outcome::Borderline,
            Some(Severity::Note) | None => Outcome::Prints,
        })
        .collect();
    outcomes.sort();
    outcomes.get(outcomes.len() / 2).copied()
}

/// Millimetres on the paper per pixel of the frame.
fn mm_per_px(frame: &FrameRow) -> Option<f64> {
    frame.ppi().filter(|ppi| *ppi > 0.0).map(|ppi| 25.4 / ppi)
}

/// "frame" or "frames".
fn plural(count: usize, word: &str) -> String {
    if count == 1 { word.to_string() } else { format!("{word}s") }
}
