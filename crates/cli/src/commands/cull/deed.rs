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
    /// Codes of the findings that count, borderline or worse, worst first: those that `--finding` asks for.
    pub findings: Vec<FindingCode>,
    /// Codes of the findings that are notes: they change nothing.
    pub findings_noted: Vec<FindingCode>,
    /// Longer side of the largest honest print, inches.
    pub largest_long_side_in: Option<f64>,
    /// Shorter side, inches.
    pub largest_short_side_in: Option<f64>,
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
        let codes = |note: bool| {
            let asked = verdict.findings.iter().filter(|f| (f.severity == Severity::Note) == note);
            asked.map(|f| f.code).collect()
        };
        Self {
            file: file.to_string(),
            outcome: verdict.outcome,
            findings: codes(false),
            findings_noted: codes(true),
            largest_long_side_in: largest.map(|l| l.width_in.max(l.height_in)),
            largest_short_side_in: largest.map(|l| l.width_in.min(l.height_in)),
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
        let findings = self.findings.iter().map(|code| code.word().to_string());
        let words: Vec<String> =
            findings.chain(self.findings_noted.iter().map(|code| format!("note: {code}"))).collect();
        words.join(", ")
    }
}
