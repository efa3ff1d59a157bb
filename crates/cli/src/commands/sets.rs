//! `rawassay sets`.

use std::path::PathBuf;

use rawassay_analysis::sets::{self, Bracket, Burst, Sets as Answer};
use rawassay_report::numbers::rounded;

use super::shared;
use crate::answer::{self, AnswerArguments, Form};
use crate::frames;
use crate::messages::{Exit, Failure};
use crate::tables::{Grid, Names, wrap};

/// Find bursts and brackets: the best of near-duplicates, and the frames that hold a scene's range
#[derive(clap::Args)]
pub struct Sets {
    /// Records made by `audit`
    #[arg(required = true, value_name = "RECORD")]
    records: Vec<PathBuf>,
    #[command(flatten)]
    brief: shared::BriefArgument,
    /// Show every frame of each set, with why it stands where it does
    #[arg(long)]
    ranking: bool,
    #[command(flatten)]
    answer: AnswerArguments,
}

impl Sets {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let plan = self.answer.plan(&answer::inputs(&self.records, &self.brief.text))?;
        let (rows, copies) = frames::rows(&self.records, &brief)?;
        let mut answer = sets::sets(&rows);
        answer.warnings.extend(copies);
        match plan.form {
            Form::Json => plan.json("sets", &answer)?,
            Form::Csv => plan.csv("sets", &csv(&answer))?,
            Form::Table => plan.text("sets", &text(&answer, self.ranking))?,
        }
        Ok(Exit::Done)
    }
}

/// Columns of the CSV.
pub const COLUMNS: [&str; 12] = [
    "kind",
    "set",
    "file",
    "rank",
    "ev_step",
    "blur_px",
    "print_blur_mm",
    "holds_highlights",
    "holds_shadows",
    "merge",
    "merged_range_ev",
    "reason",
];

/// One row per frame of a set.
fn csv(answer: &Answer) -> Vec<Vec<String>> {
    let number = |value: Option<f64>| value.map_or(String::new(), |v| rounded(v).to_string());
    let mut rows = vec![COLUMNS.map(String::from).to_vec()];
    for (index, burst) in answer.bursts.iter().enumerate() {
        for frame in &burst.ranking {
            let mut row =
                vec!["burst".to_string(), (index + 1).to_string(), frame.file.clone(), frame.rank.to_string()];
            row.extend([String::new(), number(frame.blur_px), number(frame.print_blur_mm)]);
            row.extend(std::iter::repeat_n(String::new(), 4));
            row.push(frame.reason.clone());
            rows.push(row);
        }
    }
    let yes = |is: bool| if is { "yes" } else { "no" }.to_string();
    for (index, bracket) in answer.brackets.iter().enumerate() {
        let holds = bracket.holds_highlights.iter().zip(&bracket.holds_shadows);
        for ((file, step), (&highlights, &shadows)) in bracket.files.iter().zip(&bracket.ev_steps).zip(holds) {
            let mut row = vec!["bracket".to_string(), (index + 1).to_string(), file.clone(), String::new()];
            row.extend([step.to_string(), String::new(), String::new()]);
            row.extend([
                yes(highlights),
                shadows.map_or(String::new(), yes),
                match bracket.fewest_to_merge.as_slice() {
                    [one] if one == file => "alone".into(),
                    merged => yes(merged.contains(file)),
                },
                number(bracket.merged_range_ev),
                bracket.answer.clone(),
            ]);
            rows.push(row);
        }
    }
    rows
}

fn text(answer: &Answer, ranking: bool) -> String {
    let sets = answer.bursts.iter().map(|b| &b.files).chain(answer.brackets.iter().map(|b| &b.files));
    let names = Names::of(sets.flatten().map(String::as_str));
    let word = |count: usize, one: &str| if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") };
    let mut text = format!("{} and {}.\n", word(answer.bursts.len(), "burst"), word(answer.brackets.len(), "bracket"));
    if ranking {
        for burst in &answer.bursts {
            text.push('\n');
            text.push_str(&burst_text(burst, &names));
        }
        for bracket in &answer.brackets {
            text.push('\n');
            text.push_str(&bracket_text(bracket, &names));
        }
    } else {
        text.push_str(&short_text(answer, &names));
    }
    if !answer.warnings.is_empty() {
        text.push('\n');
    }
    for warning in &answer.warnings {
        text.push_str(&wrap(&format!("Note: {warning}"), "  "));
    }
    text
}

/// One line per set: what to take from it.
fn short_text(answer: &Answer, names: &Names<'_>) -> String {
    let mut text = String::new();
    let first_and_last = |files: &[String]| match files {
        [first, .., last] => format!("{} to {}", names.short(first), names.short(last)),
        [one] => names.short(one).to_string(),
        [] => String::new(),
    };
    if !answer.bursts.is_empty() {
        let mut grid = Grid::new(&["burst", ">frames", "technically best", "outcome", "why"]);
        for burst in &answer.bursts {
            let best = burst.ranking.first().filter(|_| burst.best.is_some());
            grid.row(vec![
                first_and_last(&burst.files),
                burst.files.len().to_string(),
                best.map_or("Could not be told".to_string(), |b| names.short(&b.file).to_string()),
                best.map_or(String::new(), |b| b.outcome.to_string()),
                best.map_or(String::new(), |b| b.reason.clone()),
            ]);
        }
        text.push('\n');
        text.push_str(&grid.text());
    }
    if !answer.brackets.is_empty() {
        let mut grid = Grid::new(&["bracket", ">frames", "EV", "what to take"]);
        for bracket in &answer.brackets {
            let steps: Vec<String> = bracket.ev_steps.iter().map(|ev| format!("{ev:+.1}")).collect();
            grid.row(vec![
                first_and_last(&bracket.files),
                bracket.files.len().to_string(),
                steps.join(" "),
                bracket.answer.clone(),
            ]);
        }
        text.push('\n');
        text.push_str(&grid.text());
    }
    if !text.is_empty() {
        text.push_str("\nEvery frame of each set, with reasons: --ranking\n");
    }
    text
}

fn burst_text(burst: &Burst, names: &Names<'_>) -> String {
    let span = burst.span_s.map_or(String::new(), |s| format!(" in {s:.1} s"));
    let best = match &burst.best {
        Some(best) if burst.focus_moved => format!("the focus moved; sharpest {}", names.short(best)),
        Some(best) => format!("technically best {}", names.short(best)),
        None => "the best could not be told".to_string(),
    };
    let mut text = format!("Burst of {} frames{span}: {best}.\n", burst.files.len());
    let mut grid = Grid::new(&[">", "file", "outcome", ">blur on paper mm", ""]);
    for frame in &burst.ranking {
        grid.row(vec![
            frame.rank.to_string(),
            names.short(&frame.file).to_string(),
            frame.outcome.to_string(),
            frame.print_blur_mm.map_or(String::new(), |mm| format!("{mm:.2}")),
            frame.reason.clone(),
        ]);
    }
    text.push_str(&grid.text());
    text
}

fn bracket_text(bracket: &Bracket, names: &Names<'_>) -> String {
    let mut text = wrap(&format!("Bracket of {} frames: {}", bracket.files.len(), bracket.answer), "  ");
    let mut grid = Grid::new(&["file", ">exposure EV", ""]);
    for (file, step) in bracket.files.iter().zip(&bracket.ev_steps) {
        let mut roles = Vec::new();
        if bracket.highlights_held_by.as_ref() == Some(file) {
            roles.push("brightest that holds the highlights");
        }
        if bracket.shadows_held_by.as_ref() == Some(file) {
            roles.push("darkest that holds the shadows");
        }
        let merged = bracket.fewest_to_merge.len() > 1 && bracket.fewest_to_merge.contains(file);
        if merged && roles.is_empty() {
            roles.push("joins the two");
        }
        grid.row(vec![names.short(file).to_string(), format!("{step:+.1}"), roles.join(", ")]);
    }
    text.push_str(&grid.text());
    for warning in &bracket.warnings {
        text.push_str(&wrap(&format!("  Note: {warning}"), "    "));
    }
    text
}
