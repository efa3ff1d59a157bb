//! The table on the terminal: which frames to develop, how large, and why the others fail.

use std::collections::HashMap;
use std::io::Write;

use rawassay_analysis::brief::PictureUnit;
use rawassay_analysis::brief::length::{MM_PER_INCH, most_text, short};
use rawassay_analysis::{Finding, Outcome, Severity};

use crate::error::ReportError;
use crate::page::units;
use crate::scorecard::Scorecard;
use crate::table::{Table, TableStyle, Weight, printable};
use crate::writer::{ScorecardWriter, Totals};

/// Terminals narrower than this show no columns for the shot.
const ROOM_FOR_SHOT: usize = 104;
/// Narrower than this, not what limits the largest print either: the reason says most of it.
const ROOM_FOR_LIMIT: usize = 92;

/// Sets scorecards as a table: file, shot, outcome, largest print and what limits it, main reason.
#[derive(Debug)]
pub struct TableWriter {
    table: Table,
    unit: PictureUnit,
    /// A terminal has room for the figures of a reason, not for its sentence.
    brief_reasons: bool,
    shot: bool,
    limit: bool,
    /// Reasons told in full, and the first frame each was told of.
    told: HashMap<String, String>,
}

impl TableWriter {
    /// A writer in this style; pictures are told in this unit.
    #[must_use]
    pub fn new(style: TableStyle, unit: PictureUnit) -> Self {
        let shot = style.width.is_none_or(|width| width >= ROOM_FOR_SHOT);
        let mut headings = vec!["frame"];
        if shot {
            headings.extend([">ISO", ">time", ">f-stop"]);
        }
        let limit = style.width.is_none_or(|width| width >= ROOM_FOR_LIMIT);
        headings.extend(["outcome", if unit.is_pixel() { ">largest size" } else { ">largest print" }]);
        if limit {
            headings.push("limited by");
        }
        headings.push("main reason");
        Self {
            table: Table::new(style, &headings),
            unit,
            brief_reasons: style.width.is_some(),
            shot,
            limit,
            told: HashMap::new(),
        }
    }

    /// Why the frame has its outcome: its worst finding, or what stopped the measuring.
    fn reason(&mut self, card: &Scorecard) -> String {
        if card.verdict.outcome == Outcome::Unmeasured {
            return match &card.error {
                Some(error) => format!("the file {error}"),
                None => format!("not measured: {}", card.verdict.not_measured.join(", ")),
            };
        }
        match card.verdict.findings.first() {
            // A frame that is good enough needs no sentence: `explain` and the scorecard have it.
            Some(finding) if finding.severity == Severity::Note => format!("note: {}", finding.code),
            Some(finding) if self.brief_reasons => figures(finding),
            Some(finding) => {
                let whole = format!("{}: {}", finding.code, finding.text);
                match self.told.get(&whole) {
                    Some(frame) => format!("{}: as {frame}", finding.code),
                    None => {
                        self.told.insert(whole.clone(), units_name(&card.file).to_owned());
                        whole
                    }
                }
            }
            None => String::new(),
        }
    }
}

fn units_name(file: &str) -> &str {
    file.rsplit(['/', '\\']).next().unwrap_or(file)
}

/// "soft 2.18 > 1.5 eye limits".
fn figures(finding: &Finding) -> String {
    // "eye limits (one minute of arc ...)" is explained elsewhere.
    let unit = finding.unit.split(" (").next().unwrap_or_default();
    let unit = if unit.is_empty() || unit == "ratio" { String::new() } else { format!(" {unit}") };
    match (finding.measured, finding.limit) {
        (Some(measured), Some(limit)) => {
            let past = if measured < limit { '<' } else { '>' };
            let told = Some(short(measured)).filter(|told| *told != short(limit));
            let told = told.unwrap_or_else(|| format!("{measured:.3}"));
            format!("{} {told} {past} {}{unit}", finding.code, short(limit))
        }
        (Some(measured), None) => format!("{} {}{unit}", finding.code, short(measured)),
        _ => finding.code.to_string(),
    }
}

impl ScorecardWriter for TableWriter {
    fn begin(&mut self, _: &mut dyn Write) -> Result<(), ReportError> {
        Ok(())
    }

    fn card(&mut self, card: &Scorecard, _: &mut dyn Write) -> Result<(), ReportError> {
        let largest = card.print.largest.as_ref();
        let reason = self.reason(card);
        let weight = match card.verdict.outcome {
            Outcome::Prints => Weight::Strong,
            Outcome::Borderline => Weight::Plain,
            Outcome::Fails | Outcome::Unmeasured => Weight::Faint,
        };
        let mut cells = vec![card.file.clone()];
        if self.shot {
            let shot = card.shot.as_ref();
            cells.extend([
                shot.and_then(|s| s.iso).map_or_else(String::new, |iso| format!("{iso:.0}")),
                shot.and_then(|s| s.shutter_s).map_or_else(String::new, units::shutter),
                shot.and_then(|s| s.f_number).map_or_else(String::new, units::aperture),
            ]);
        }
        cells.extend([
            card.verdict.outcome.to_string(),
            largest.map_or_else(
                || "-".into(),
                |l| most_text(l.width_in * MM_PER_INCH, l.height_in * MM_PER_INCH, self.unit),
            ),
        ]);
        if self.limit {
            cells.push(largest.map_or_else(|| "-".into(), |l| l.limited_by.clone()));
        }
        cells.push(reason);
        self.table.row(cells, weight);
        Ok(())
    }

    fn finish(&mut self, totals: &Totals, out: &mut dyn Write) -> Result<(), ReportError> {
        if totals.frames() > 0 {
            self.table.name_folder_once();
            self.table.plain_where_all_are_faint();
            self.table.write(out)?;
            writeln!(out)?;
        }
        Ok(writeln!(out, "{}", printable(&totals.summary()))?)
    }
}
