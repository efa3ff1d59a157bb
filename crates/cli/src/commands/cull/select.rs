//! Which frames are meant.

use clap::builder::PossibleValuesParser;
use rawassay_analysis::brief::length::{self, Size};
use rawassay_analysis::crop::Crop;
use rawassay_analysis::{FindingCode, Judgement, Outcome, Severity};

use crate::commands::shared;
use crate::messages::Failure;

/// Outcomes on the command line.
const OUTCOMES: [(&str, Outcome); 4] = [
    ("prints", Outcome::Prints),
    ("borderline", Outcome::Borderline),
    ("fails", Outcome::Fails),
    ("unmeasured", Outcome::Unmeasured),
];

/// Frames that meet every kind of condition given, in one of its values.
#[derive(clap::Args)]
pub struct Selection {
    /// Frames with one of these outcomes
    #[arg(long = "outcome", value_name = "O", num_args = 1.., value_parser = outcomes())]
    outcomes: Vec<String>,
    /// Frames with one of these findings, at least borderline
    #[arg(long = "finding", value_name = "C", num_args = 1.., value_parser = findings())]
    findings: Vec<String>,
    /// Frames whose largest honest print is at least this large ("40 x 60 cm", "A2"); those that fail the brief only
    /// where --outcome asks for them
    #[arg(long, value_name = "SIZE")]
    largest_at_least: Option<String>,
    /// Frames whose file name holds this text; may be given again
    #[arg(long = "frame", value_name = "TEXT")]
    pub names: Vec<String>,
    /// Judge this part only: WxH+X+Y in pixels as stored (upright:WxH+X+Y: of the upright picture), 4:3 or 50% of each
    /// side in the middle. Not with --sidecars, which speak of whole frames
    #[arg(long, value_name = "CROP", value_parser = shared::crop, conflicts_with = "sidecars")]
    pub crop: Option<Crop>,
}

fn outcomes() -> PossibleValuesParser {
    PossibleValuesParser::new(OUTCOMES.map(|o| o.0))
}

fn findings() -> PossibleValuesParser {
    PossibleValuesParser::new(FindingCode::ALL.map(FindingCode::word))
}

impl Selection {
    /// True where nothing narrows the selection.
    pub fn is_everything(&self) -> bool {
        self.outcomes.is_empty() && self.findings.is_empty() && self.largest_at_least.is_none() && self.names.is_empty()
    }

    /// True where the file's name is one of those asked for.
    pub fn names(&self, file: &str) -> bool {
        shared::wanted(file, &self.names)
    }

    /// The condition, ready to be asked.
    pub fn condition(&self) -> Result<impl Fn(&str, &Judgement) -> bool + '_, Failure> {
        let sides_in = match self.largest_at_least.as_deref().map(length::size) {
            None => None,
            Some(Ok(Size::Paper(a, b, _))) => Some((a.max(b) / 25.4, a.min(b) / 25.4)),
            Some(Ok(Size::Pixels(..))) => {
                return Err(Failure::usage("--largest-at-least takes a size on paper, such as \"40 x 60 cm\""));
            }
            Some(Err(what)) => return Err(Failure::usage(format!("--largest-at-least {what}"))),
        };
        Ok(move |file: &str, judgement: &Judgement| {
            let verdict = &judgement.verdict;
            let outcome = || OUTCOMES.iter().find(|o| o.1 == verdict.outcome).map_or("", |o| o.0);
            let found = |word: &String| {
                verdict.findings.iter().any(|f| f.code.word() == word && f.severity >= Severity::Borderline)
            };
            let large = |(long, short): (f64, f64)| {
                judgement.print.largest.as_ref().is_some_and(|largest| {
                    // A picture of other proportions must still fill the size in one of its sides.
                    let (a, b) = (largest.width_in.max(largest.height_in), largest.width_in.min(largest.height_in));
                    let slack = 1.0 - 1e-6;
                    a >= long * slack || b >= short * slack
                })
            };
            self.names(file)
                && (self.outcomes.is_empty() || self.outcomes.iter().any(|o| o == outcome()))
                && (self.findings.is_empty() || self.findings.iter().any(found))
                && sides_in.is_none_or(large)
                && (sides_in.is_none() || verdict.outcome != Outcome::Fails || !self.outcomes.is_empty())
        })
    }
}
