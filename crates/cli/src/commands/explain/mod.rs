//! `rawassay explain`.

mod columns;

use std::fmt::Write as _;

use rawassay_analysis::explain::{self, Explanation, Kind};

use rawassay_report::fields::{FIELDS, Field};

use columns::Column;

use crate::messages::{Exit, Failure};
use crate::output;

/// Say what a finding or a measure means, how it is measured, its source, and what to do next time
#[derive(clap::Args)]
pub struct Explain {
    /// A finding code (shaken) or a measure (print.ppi, edge_rise_px); without it, all are listed
    #[arg(value_name = "CODE|MEASURE")]
    word: Vec<String>,
}

impl Explain {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        if self.word.is_empty() {
            output::print(&list())?;
            return Ok(Exit::Done);
        }
        let joined = self.word.join(" ");
        let is_one = explain::find(&joined).is_some() || explain::key_of_a_brief(&joined).is_some();
        let words = if is_one { vec![joined] } else { self.word };
        let mut text = String::new();
        for (i, word) in words.iter().enumerate() {
            let (word, end) = columns::end_of_interval(word).unwrap_or((word, ""));
            if i > 0 {
                text.push('\n');
            }
            if !end.is_empty() {
                let _ = writeln!(text, "The {end} end of the 90 % interval of {word}; of that:");
            }
            let Some(known) = known(word) else {
                let hint = explain::nearest(word).map_or(String::new(), |near| format!("did you mean `{near}`? "));
                return Err(Failure::usage(format!(
                    "nothing is known of `{word}`; {hint}`rawassay explain` lists every word"
                )));
            };
            text += &known;
        }
        output::print(&text)?;
        Ok(Exit::Done)
    }
}

/// What is known of a word: as a word of the scorecard or a field of it, and as a key of a brief; else as a column.
fn known(word: &str) -> Option<String> {
    let key = explain::key_of_a_brief(word);
    let of_a_scorecard = explain::find(word).map(one).or_else(|| {
        let several = if key.is_some() { Vec::new() } else { explain::beginning_with(word) };
        match several[..] {
            [] => field(word).map(|field| {
                let means = wrapped(field.text);
                format!("{} (field of the scorecard)\n  {:LABEL$}{means}\n", field.path, "means")
            }),
            [found] => Some(one(found)),
            _ => Some(format!("{word} begins these:\n{}", lines(&several))),
        }
    });
    let of_a_brief = key.map(|(key, about)| {
        let source = "docs/briefs.md; `rawassay brief show` has its value";
        format!("{key} (key of a brief)\n  {:LABEL$}{}\n  {:LABEL$}{source}\n", "means", wrapped(about), "source")
    });
    let told: Vec<String> = of_a_scorecard.into_iter().chain(of_a_brief).collect();
    if !told.is_empty() {
        return Some(told.join("\n"));
    }
    let of_commands: Vec<&Column> = columns::named(word).collect();
    (!of_commands.is_empty()).then(|| columns(&of_commands))
}

/// The field of that path, or of that last part where only one has it; columns of the CSV too.
fn field(word: &str) -> Option<&'static Field> {
    let plain = |path: &str| {
        let parts = path.split(|c: char| !c.is_ascii_alphanumeric());
        let told = parts.filter(|part| !part.is_empty() && !part.bytes().all(|b| b.is_ascii_digit()));
        told.collect::<Vec<_>>().join("_").to_lowercase()
    };
    let word = plain(word);
    FIELDS.iter().find(|field| plain(field.path) == word).or_else(|| {
        let mut of_that_name =
            FIELDS.iter().filter(|field| field.path.rsplit('.').next().map(plain).as_ref() == Some(&word));
        of_that_name.next().filter(|_| of_that_name.next().is_none())
    })
}

fn columns(of_commands: &[&Column]) -> String {
    let mut text = String::new();
    for column in of_commands {
        let unit = if column.unit.is_empty() { String::new() } else { format!(", {}", column.unit) };
        let _ = writeln!(text, "{} (column of {}{unit})", column.name, column.of);
        let _ = writeln!(text, "  {:LABEL$}{}", "means", wrapped(column.text));
    }
    text
}

/// Columns of the text.
const WIDTH: usize = 96;
/// Width of the labels.
const LABEL: usize = 11;

fn one(e: &Explanation) -> String {
    let kind = match e.kind {
        Kind::Finding => "finding",
        Kind::Measure => "measure",
        Kind::Word => "word",
    };
    let unit = if e.unit.is_empty() { String::new() } else { format!(", {}", e.unit) };
    let called = match e.kind {
        Kind::Measure => format!(": {}", explain::label(e.word).0),
        _ => String::new(),
    };
    let mut text = format!("{}{called} ({kind}{unit})\n", e.word);
    for (label, part) in [("means", e.means), ("how", e.how), ("source", e.source), ("next time", e.next_time)] {
        if !part.is_empty() {
            let _ = writeln!(text, "  {label:LABEL$}{}", wrapped(part));
        }
    }
    text
}

/// Text in lines that fit beside the labels.
fn wrapped(part: &str) -> String {
    let mut text = String::new();
    let mut used = 0;
    for word in part.split_whitespace() {
        if used > 0 && used + 1 + word.len() > WIDTH - LABEL - 2 {
            let _ = write!(text, "\n{:1$}", "", LABEL + 2);
            used = 0;
        }
        if used > 0 {
            text.push(' ');
            used += 1;
        }
        text.push_str(word);
        used += word.len();
    }
    text
}

fn list() -> String {
    let mut text = String::new();
    for (kind, heading) in
        [(Kind::Finding, "Findings"), (Kind::Word, "Outcomes and words"), (Kind::Measure, "Measures")]
    {
        let _ = writeln!(text, "{heading}");
        text += &lines(&explain::all().filter(|e| e.kind == kind).collect::<Vec<_>>());
        text.push('\n');
    }
    text.push_str("rawassay explain WORD tells more.\n");
    text
}

/// A word a line, with the first clause of its meaning.
fn lines(words: &[&Explanation]) -> String {
    let mut text = String::new();
    let width = words.iter().map(|e| e.word.len()).max().unwrap_or(0);
    for e in words {
        let first =
            e.means.split_inclusive([':', ';', '.']).next().unwrap_or(e.means).trim_end_matches([':', ';', '.']);
        let unit = if e.unit.is_empty() || e.kind != Kind::Measure { String::new() } else { format!(" [{}]", e.unit) };
        let _ = writeln!(text, "  {:width$}  {first}{unit}", e.word);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::{edge, enlarge, sensor, sets};

    #[test]
    fn every_column_of_every_command_is_explained() {
        let known =
            |word: &str| explain::find(word).is_some() || field(word).is_some() || columns::named(word).count() == 1;
        for column in [&edge::COLUMNS[..], &enlarge::COLUMNS, &sensor::COLUMNS, &sets::COLUMNS].into_iter().flatten() {
            assert!(known(column), "{column}");
        }
        assert!(!known("dsnu"));
    }
}
