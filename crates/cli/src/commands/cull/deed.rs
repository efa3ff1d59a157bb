//! What became of one file.

use std::path::PathBuf;

use rawassay_analysis::{FindingCode, Judgement, Outcome, Severity};
use serde::Serialize;

/// What was done, or would be, with one file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Deed {
    /// The raw, as the record names it.
    pub file: String,
    /// Outcome.
    pub outcome: Outcome,
    /// Codes of the findings, worst first.
    pub findings: Vec<FindingCode>,
    /// Longer side of the largest honest print, inches.
    pub largest_long_side_in: Option<f64>,
    /// Shorter side, inches.
    pub largest_short_side_in: Option<f64>,
    /// How many of the findings, the last ones, are notes that change nothing.
    #[serde(skip)]
    pub notes: usize,
    /// True where the largest print stands upright.
    #[serde(skip)]
    pub upright: bool,
    /// "listed", "sidecar written", "copied", "moved", or with "would be"; `None` where it failed.
    pub done: Option<&'static str>,
    /// Files written.
    pub to: Vec<PathBuf>,
    /// Why it failed, or what to know.
    pub note: Option<String>,
}

impl Deed {
    /// Nothing was done yet.
    pub fn new(file: &str, judgement: &Judgement) -> Self {
        let verdict = &judgement.verdict;
        let largest = judgement.print.largest.as_ref();
        Self {
            file: file.to_string(),
            outcome: verdict.outcome,
            findings: verdict.findings.iter().map(|f| f.code).collect(),
            largest_long_side_in: largest.map(|l| l.width_in.max(l.height_in)),
            largest_short_side_in: largest.map(|l| l.width_in.min(l.height_in)),
            notes: verdict.findings.iter().filter(|f| f.severity == Severity::Note).count(),
            upright: largest.is_some_and(|l| l.width_in < l.height_in),
            done: None,
            to: Vec::new(),
            note: None,
        }
    }

    /// It was not done, and why.
    pub fn failed(mut self, what: impl Into<String>) -> Self {
        self.note = Some(what.into());
        self
    }

    /// The findings for people: a frame that prints must not look as if something spoiled it.
    pub fn told(&self) -> String {
        let faults = self.findings.len().saturating_sub(self.notes);
        let words = self.findings.iter().enumerate();
        let words: Vec<String> =
            words.map(|(i, code)| if i < faults { code.word().into() } else { format!("note: {code}") }).collect();
        words.join(", ")
    }

    /// The findings in words.
    pub fn words(&self, between: &str) -> String {
        let words: Vec<&str> = self.findings.iter().map(|code| code.word()).collect();
        words.join(between)
    }
}
