//! One small trait for all formats of scorecards.

use std::io::Write;

use rawassay_analysis::Outcome;

use crate::error::ReportError;
use crate::record::Status;
use crate::scorecard::Scorecard;

/// Turns finished scorecards into one format. Never computes, never opens files.
pub trait ScorecardWriter {
    /// What stands before the first card.
    ///
    /// # Errors
    /// Where `out` cannot be written.
    fn begin(&mut self, out: &mut dyn Write) -> Result<(), ReportError>;
    /// One card.
    ///
    /// # Errors
    /// Where `out` cannot be written.
    fn card(&mut self, card: &Scorecard, out: &mut dyn Write) -> Result<(), ReportError>;
    /// What stands after the last card.
    ///
    /// # Errors
    /// Where `out` cannot be written.
    fn finish(&mut self, totals: &Totals, out: &mut dyn Write) -> Result<(), ReportError>;
}

/// Counts over a run.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Totals {
    /// Name of the brief.
    pub brief: String,
    /// Frames by outcome: prints, borderline, fails, unmeasured.
    pub by_outcome: [usize; 4],
    /// Frames whose file could not be read.
    pub unreadable: usize,
    /// Frames whose file is damaged.
    pub damaged: usize,
    /// Frames whose measures came from the record; `None` where all do (`judge`).
    pub from_record: Option<usize>,
    /// Frames whose content is that of a file that this run measured: a card and its backup.
    pub copies: usize,
    /// The worst outcome seen.
    pub worst: Option<Outcome>,
}

impl Totals {
    /// Counts a card.
    pub fn add(&mut self, card: &Scorecard) {
        let outcome = card.verdict.outcome;
        self.by_outcome[outcome as usize] += 1;
        self.unreadable += usize::from(card.status == Status::Unreadable);
        self.damaged += usize::from(card.status == Status::Damaged);
        self.worst = self.worst.max(Some(outcome));
        if self.brief != card.verdict.brief {
            self.brief.clone_from(&card.verdict.brief);
        }
    }

    /// Frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.by_outcome.iter().sum()
    }

    /// The summary line.
    #[must_use]
    pub fn summary(&self) -> String {
        let frames = self.frames();
        let [prints, borderline, fails, unmeasured] = self.by_outcome;
        let verb = |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
        let mut line = format!(
            "{} for {}: {}, {borderline} borderline, {}, {unmeasured} unmeasured",
            verb(frames, "frame", "frames"),
            if self.brief.is_empty() { "the brief" } else { &self.brief },
            verb(prints, "prints", "print"),
            verb(fails, "fails", "fail"),
        );
        let mut files = Vec::new();
        if self.unreadable > 0 {
            files.push(verb(self.unreadable, "file unreadable", "files unreadable"));
        }
        if self.damaged > 0 {
            files.push(verb(self.damaged, "file damaged", "files damaged"));
        }
        if !files.is_empty() {
            line += &format!(" ({})", files.join(", "));
        }
        if let Some(known) = self.from_record {
            line += &format!("; {known} from the record");
        }
        if self.copies > 0 {
            line += &format!(
                ", {}",
                verb(
                    self.copies,
                    "copy of another file, not measured twice",
                    "copies of other files, not measured twice"
                )
            );
        }
        line
    }
}

/// A file format of scorecards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Comma-separated, one row per frame (RFC 4180).
    Csv,
    /// One JSON array.
    Json,
    /// One JSON object per line.
    Ndjson,
}

impl Format {
    /// The writer of this format.
    #[must_use]
    pub fn writer(self) -> Box<dyn ScorecardWriter> {
        match self {
            Self::Csv => Box::new(crate::csv::CsvWriter::default()),
            Self::Json => Box::new(crate::json::JsonWriter::default()),
            Self::Ndjson => Box::new(crate::json::NdjsonWriter),
        }
    }

    /// The format that a file name's extension asks for.
    #[must_use]
    pub fn of_extension(path: &std::path::Path) -> Option<Self> {
        match path.extension()?.to_str()?.to_ascii_lowercase().as_str() {
            "csv" => Some(Self::Csv),
            "json" => Some(Self::Json),
            "ndjson" | "jsonl" => Some(Self::Ndjson),
            _ => None,
        }
    }
}
