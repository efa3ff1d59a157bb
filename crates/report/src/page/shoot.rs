//! What the pages are made from.

use std::collections::{BTreeMap, HashSet};

use rawassay_analysis::brief::PictureUnit;
use rawassay_analysis::print;
use rawassay_analysis::series::{By, Group, Series};
use rawassay_analysis::sets::Sets;
use rawassay_analysis::{Finding, FindingCode, Outcome, Severity};
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
    /// Width and height of the output, as the brief gives them, cm.
    pub size_cm: (f64, f64),
    /// Unit in which its lengths are told.
    pub unit: PictureUnit,
    /// Edge rise on the paper from which a frame is borderline, and from which it fails, mm.
    pub rise_limit_mm: (f64, f64),
    /// The part of each frame that is judged, as it is written; `None` for the whole.
    pub crop: Option<String>,
    /// Mid-tone signal-to-noise on the paper below which a frame is borderline, and below which it fails, ratio.
    pub snr_limit: (f64, f64),
}

impl Purpose {
    /// True for a screen.
    #[must_use]
    pub const fn is_screen(&self) -> bool {
        self.unit.is_pixel()
    }

    /// Words of paper and prints, or those of a screen.
    #[must_use]
    pub fn says(&self, words: &str) -> String {
        self.unit.says(words)
    }

    /// Width and height of the output as it lies for a picture of those sides, cm: paper is turned, a screen is not.
    #[must_use]
    pub fn laid_for(&self, picture: (f64, f64)) -> (f64, f64) {
        let (w, h) = self.size_cm;
        if !self.is_screen() && ((picture.0 > picture.1) != (w > h)) { (h, w) } else { (w, h) }
    }

    /// Long side of the output of the brief's proportions that a picture of those sides fills, cm: that of the brief where
    /// the picture is as large as it comes out by the brief.
    #[must_use]
    pub fn filled_cm(&self, picture: (f64, f64)) -> Option<f64> {
        let on_it = print::fit(picture.0, picture.1, self.size_cm, !self.is_screen())?;
        Some(self.size_cm.0.max(self.size_cm.1) * picture.0 / on_it.width_mm)
    }
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
            Some(finding) => match numbers(finding) {
                Some(numbers) => format!("{}: {numbers}", finding_title(finding.code)),
                None => finding_title(finding.code).into(),
            },
            None if verdict.outcome == Outcome::Unmeasured => "not measurable".into(),
            None => match &self.card.print.largest {
                Some(largest) => format!("nothing spoils it; its size is limited by {}", largest.limited_by),
                None => "nothing spoils it".into(),
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
        self.series.iter().any(|s| s.groups.iter().any(|g| telling(s.by, g)))
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

    /// How often each finding spoils a frame: code, frames that fail by it, frames that it brings to a limit. What fails
    /// most frames comes first.
    #[must_use]
    pub fn findings(&self) -> Vec<(FindingCode, usize, usize)> {
        let count = |code, severity| {
            let worst = |s: &Sheet| {
                s.card.verdict.findings.iter().filter(|f| f.code == code).map(|f| f.severity).max() == Some(severity)
            };
            self.sheets.iter().filter(|s| worst(s)).count()
        };
        let of = |c| (c, count(c, Severity::Fails), count(c, Severity::Borderline));
        let mut counts: Vec<_> = FindingCode::ALL.into_iter().map(of).filter(|c| c.1 + c.2 > 0).collect();
        counts.sort_by_key(|c| std::cmp::Reverse((c.1, c.2)));
        counts
    }

    /// The frames that print, without the lesser ones of a burst or a bracket.
    #[must_use]
    pub fn worth_developing(&self) -> Vec<&Sheet> {
        let lesser: HashSet<&str> = self.sets.iter().flat_map(lesser).collect();
        let prints = self.sheets.iter().filter(|s| s.outcome() == Outcome::Prints);
        prints.filter(|s| !lesser.contains(s.record.file.as_str())).collect()
    }
}

/// Whether a group of a series has something to say on a page: exposure times without one shaken frame have not.
pub(crate) fn telling(by: By, group: &Group) -> bool {
    group.compares(by) && (by != By::Shutter || group.any_shaken())
}

/// Files of bursts and brackets that another frame of the set stands for.
fn lesser(sets: &Sets) -> Vec<&str> {
    // Where the focus moved, any of them may hold the part that matters.
    let bursts = sets.bursts.iter().filter(|b| b.best.is_some() && !b.focus_moved);
    let bursts = bursts.flat_map(|b| b.files.iter().filter(|f| b.best.as_ref() != Some(f)));
    let brackets = sets.brackets.iter().filter(|b| !b.fewest_to_merge.is_empty());
    let brackets = brackets.flat_map(|b| b.files.iter().filter(|f| !b.fewest_to_merge.contains(f)));
    bursts.chain(brackets).map(String::as_str).collect()
}

/// What was measured and its limit, short.
pub(crate) fn numbers(finding: &Finding) -> Option<String> {
    let (measured, limit) = (units::number(finding.measured?), units::number(finding.limit?));
    Some(match finding.unit.as_str() {
        // On a screen that is its pixel, where the eye resolves finer.
        "eye limits" => format!("{measured} times the finest that is seen, limit {limit}"),
        "ratio" if finding.code == FindingCode::Noisy => format!("signal-to-noise {measured}, limit {limit}"),
        "ratio" => format!("{measured} of the noise, limit {limit}"),
        "s" if finding.code == FindingCode::VibrationBand => format!(
            "{}, in the band that begins at {}",
            units::shutter(finding.measured?),
            units::shutter(finding.limit?)
        ),
        "s" => format!("{}, limit {}", units::shutter(finding.measured?), units::shutter(finding.limit?)),
        "" => return None,
        unit => format!("{measured} {unit}, limit {limit} {unit}"),
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What the brief asks for, whatever the picture's shape, stands at the brief's line; paper is turned, a screen is not.
    #[test]
    fn a_picture_as_large_as_the_brief_asks_fills_it() {
        let mut purpose = crate::page::testing::purpose((13.0 * 2.54, 19.0 * 2.54), false);
        // 4:3, 3:2, a square, upright 2:3, a panorama: each as it is fitted into 13 x 19 in.
        for (w, h) in [(52.0 / 3.0, 13.0), (19.0, 38.0 / 3.0), (13.0, 13.0), (38.0 / 3.0, 19.0), (19.0, 6.0)] {
            let filled = purpose.filled_cm((w * 2.54, h * 2.54)).unwrap_or(0.0) / 2.54;
            assert!((filled - 19.0).abs() < 1e-9, "{w} x {h}: {filled}");
            let twice = purpose.filled_cm((2.0 * w * 2.54, 2.0 * h * 2.54)).unwrap_or(0.0) / 2.54;
            assert!((twice - 38.0).abs() < 1e-9, "{w} x {h}: {twice}");
        }
        assert!(purpose.laid_for((30.0, 20.0)).0 > purpose.laid_for((20.0, 30.0)).0);
        purpose = crate::page::testing::purpose((64.0, 36.0), true);
        assert_eq!(purpose.filled_cm((24.0, 36.0)), Some(64.0));
        assert_eq!(purpose.laid_for((24.0, 36.0)), (64.0, 36.0));
    }

    #[test]
    fn numbers_say_what_they_are() {
        let told = |code, unit: &str| {
            let finding = Finding {
                code,
                severity: Severity::Fails,
                measured: Some(4.38),
                limit: Some(20.0),
                unit: unit.into(),
                text: String::new(),
                remedy: String::new(),
            };
            numbers(&finding)
        };
        assert_eq!(told(FindingCode::Noisy, "ratio").as_deref(), Some("signal-to-noise 4.38, limit 20"));
        assert_eq!(told(FindingCode::Banded, "ratio").as_deref(), Some("4.38 of the noise, limit 20"));
        // The same words for paper and screen: on a screen the finest is its pixel, not what the eye resolves.
        let soft = told(FindingCode::Soft, "eye limits");
        assert_eq!(soft.as_deref(), Some("4.38 times the finest that is seen, limit 20"));
    }
}
