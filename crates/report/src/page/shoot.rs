//! What the pages are made from.

use std::collections::BTreeMap;

use rawassay_analysis::series::Series;
use rawassay_analysis::sets::Sets;
use rawassay_analysis::{FindingCode, Outcome, Severity};
use rawassay_decode::Area;

use super::draw::Drawn;
use super::html::{file_name, page_id};
use super::units;
use crate::plot::wall::Hanging;
use crate::record::{Record, Status};
use crate::scorecard::Scorecard;

/// What the pictures are for, in words and in the one number that the overview needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Purpose {
    /// Name of the brief.
    pub name: String,
    /// Its size in words: "13 x 19 in".
    pub size: String,
    /// Its viewing distance in words: "45 cm".
    pub distance: String,
    /// Width and height of the output, cm, the long side first.
    pub sides_cm: (f64, f64),
    /// True for a screen.
    pub screen: bool,
    /// Edge rise on the paper from which a frame is borderline, and from which it fails, mm.
    pub rise_limit_mm: (f64, f64),
    /// The part of each frame that is judged, as it is written; `None` for the whole.
    pub crop: Option<String>,
    /// Mid-tone signal-to-noise on the paper below which a frame is borderline, and below which it fails, ratio.
    pub snr_limit: (f64, f64),
}

/// One frame.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Name of its page and pictures.
    pub id: String,
    /// The record.
    pub record: Record,
    /// Its scorecard for the brief.
    pub card: Scorecard,
    /// Print sizes and what the frame makes of them.
    pub sizes: Vec<Hanging>,
    /// The part that is judged, in pixels of the picture as stored; `None` for the whole.
    pub crop: Option<Area>,
    /// What was drawn from the raw file.
    pub drawn: Option<Drawn>,
    /// Why there is no picture, one line.
    pub no_picture: Option<String>,
}

impl Sheet {
    /// A frame without pictures.
    #[must_use]
    pub fn new(record: Record, card: Scorecard, sizes: Vec<Hanging>) -> Self {
        let id = page_id(&record.file);
        Self { id, record, card, sizes, crop: None, drawn: None, no_picture: None }
    }

    /// The file's name without its folders, as shown.
    #[must_use]
    pub fn name(&self) -> &str {
        file_name(&self.record.file)
    }

    /// The outcome.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        self.card.verdict.outcome
    }

    /// Sides of the largest honest print, cm.
    #[must_use]
    pub fn largest_cm(&self) -> Option<(f64, f64)> {
        let largest = self.card.print.largest.as_ref()?;
        Some((largest.width_in * 2.54, largest.height_in * 2.54))
    }

    /// The worst thing found, in words for the ledger.
    #[must_use]
    pub fn reason(&self) -> String {
        let verdict = &self.card.verdict;
        if self.card.status == Status::Unreadable {
            return "could not be read".into();
        }
        match verdict.findings.iter().find(|f| f.severity != Severity::Note) {
            Some(finding) => finding_title(finding.code).into(),
            None if verdict.outcome == Outcome::Unmeasured => "not measurable".into(),
            None => match &self.card.print.largest {
                Some(largest) => format!("size is limited by {}", largest.limited_by),
                None => String::new(),
            },
        }
    }

    /// Seconds of the camera's clock, for order.
    #[must_use]
    pub fn taken_s(&self) -> Option<f64> {
        units::seconds(self.card.shot.as_ref()?.taken_at.as_deref()?)
    }
}

/// The whole shoot.
#[derive(Debug, Clone)]
pub struct Shoot {
    /// What it is called on the pages: the record's name.
    pub title: String,
    /// What the pictures are for.
    pub purpose: Purpose,
    /// The frames, in the order of taking.
    pub sheets: Vec<Sheet>,
    /// Series that the shoot holds.
    pub series: Vec<Series>,
    /// Bursts and brackets that it holds.
    pub sets: Option<Sets>,
}

impl Shoot {
    /// Puts the frames into the order of taking (those without a time last, by name) and makes their page names differ.
    #[must_use]
    pub fn new(title: String, purpose: Purpose, mut sheets: Vec<Sheet>) -> Self {
        sheets.sort_by(|a, b| {
            let time = |s: &Sheet| s.taken_s().unwrap_or(f64::INFINITY);
            time(a).total_cmp(&time(b)).then_with(|| a.record.file.cmp(&b.record.file))
        });
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for sheet in &mut sheets {
            let times = seen.entry(sheet.id.clone()).or_default();
            *times += 1;
            if *times > 1 {
                sheet.id = format!("{}-{times}", sheet.id);
            }
        }
        Self { title, purpose, sheets, series: Vec::new(), sets: None }
    }

    /// True where there is a page of series.
    #[must_use]
    pub fn has_series(&self) -> bool {
        self.series.iter().any(|s| s.groups.iter().any(|g| g.steps.len() > 1))
    }

    /// True where there is a page of bursts and brackets.
    #[must_use]
    pub fn has_sets(&self) -> bool {
        self.sets.as_ref().is_some_and(|s| !s.bursts.is_empty() || !s.brackets.is_empty())
    }

    /// The frame of that file.
    #[must_use]
    pub fn of_file(&self, file: &str) -> Option<&Sheet> {
        self.sheets.iter().find(|s| s.record.file == file)
    }

    /// Frames with that outcome.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> usize {
        self.sheets.iter().filter(|s| s.outcome() == outcome).count()
    }

    /// How often each finding spoils a frame (borderline or worse), the most frequent first.
    #[must_use]
    pub fn findings(&self) -> Vec<(FindingCode, usize)> {
        let count = |code| {
            let hit =
                |s: &&Sheet| s.card.verdict.findings.iter().any(|f| f.code == code && f.severity != Severity::Note);
            self.sheets.iter().filter(hit).count()
        };
        let mut counts: Vec<_> = FindingCode::ALL.into_iter().map(|c| (c, count(c))).filter(|c| c.1 > 0).collect();
        counts.sort_by_key(|c| std::cmp::Reverse(c.1));
        counts
    }
}

/// A finding in plain words.
#[must_use]
pub fn finding_title(code: FindingCode) -> &'static str {
    match code {
        FindingCode::Blown => "blown highlights",
        FindingCode::Blocked => "blocked shadows",
        FindingCode::Noisy => "noise",
        FindingCode::Banded => "banding",
        FindingCode::Soft => "not sharp enough",
        FindingCode::Shaken => "camera shake or motion",
        FindingCode::Diffracted => "diffraction",
        FindingCode::SlowShutter => "slow shutter",
        FindingCode::VibrationBand => "vibration band",
        FindingCode::TooFewPixels => "too few pixels",
        FindingCode::Damaged => "damaged file",
    }
}
