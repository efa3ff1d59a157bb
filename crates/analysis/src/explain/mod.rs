//! What each finding and each measure means: one table for `explain`, the pages and the docs.

mod edges;
mod findings;
mod labels;
mod levels;
mod paper;
mod shot;
mod words;

pub use labels::{heading, label};

/// What a word of the scorecard stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A finding code.
    Finding,
    /// A measure or a field of the scorecard.
    Measure,
    /// An outcome, a severity, a status.
    Word,
}

/// An explanation.
#[derive(Debug)]
pub struct Explanation {
    /// The word: a finding code, or a path in the scorecard such as `sharpness.edge_rise_px`.
    pub word: &'static str,
    /// What it is.
    pub kind: Kind,
    /// Unit; empty where it has none.
    pub unit: &'static str,
    /// What it means for a photographer.
    pub means: &'static str,
    /// How it is measured or decided.
    pub how: &'static str,
    /// Where the method comes from.
    pub source: &'static str,
    /// What to do next time; empty where nothing follows.
    pub next_time: &'static str,
}

/// Every explanation: findings, measures, words.
pub fn all() -> impl Iterator<Item = &'static Explanation> {
    findings::FINDINGS
        .iter()
        .chain(paper::PAPER)
        .chain(edges::EDGES)
        .chain(levels::LEVELS)
        .chain(shot::SHOT)
        .chain(words::WORDS)
}

const fn measure(
    word: &'static str,
    unit: &'static str,
    means: &'static str,
    how: &'static str,
    source: &'static str,
    next_time: &'static str,
) -> Explanation {
    Explanation { word, kind: Kind::Measure, unit, means, how, source, next_time }
}

fn plain(word: &str) -> String {
    word.trim().to_lowercase().replace(['.', '-', ' '], "_").replace("[]", "")
}

/// The explanation of a finding code or measure: by its path (`print.ppi`), its CSV column (`print_ppi`), its last
/// part (`ppi`), or a column of one channel (`channels_1_clipped_pct`).
#[must_use]
pub fn find(word: &str) -> Option<&'static Explanation> {
    let word = plain(word);
    // A column of a list carries a number: channels_0_clipped_pct, rise_by_direction_px_3.
    let unnumbered = word
        .split('_')
        .filter(|part| part.is_empty() || !part.bytes().all(|b| b.is_ascii_digit()))
        .collect::<Vec<_>>()
        .join("_");
    let last = |e: &Explanation| plain(e.word.rsplit('.').next().unwrap_or(e.word));
    let whole = |word: &str| all().find(|e| plain(e.word) == word);
    let alias =
        || words::ALIASES.iter().find(|(alias, _)| plain(alias) == word).and_then(|(_, meant)| whole(&plain(meant)));
    let labelled = || all().find(|e| e.kind == Kind::Measure && plain(&label(e.word).0) == word);
    whole(&word)
        .or_else(alias)
        .or_else(|| whole(&unnumbered))
        .or_else(|| all().find(|e| last(e) == word))
        .or_else(labelled)
        .or_else(|| {
            // A named part in the column, such as the plane's: keep the group and the last part.
            let (group, _) = word.split_once('_')?;
            all()
                .filter(|e| plain(e.word).starts_with(group) && word.ends_with(&format!("_{}", last(e))))
                .max_by_key(|e| last(e).len())
        })
}

/// Every explained word that begins so, or has a part that does.
#[must_use]
pub fn beginning_with(word: &str) -> Vec<&'static Explanation> {
    let word = plain(word);
    if word.len() < 2 {
        return Vec::new();
    }
    let begins = |e: &&Explanation| {
        let own = plain(e.word);
        own.starts_with(&word) || e.word.split('.').any(|part| plain(part).starts_with(&word))
    };
    all().filter(begins).collect()
}

/// What a key of a brief says, one line.
#[must_use]
pub fn key_of_a_brief(word: &str) -> Option<(&'static str, &'static str)> {
    let word = plain(word);
    crate::brief::keys::all().find(|(key, _)| plain(key) == word)
}

/// The nearest word, where one is near enough to be meant.
#[must_use]
pub fn nearest(word: &str) -> Option<&'static str> {
    let last = all().map(|e| e.word.rsplit('.').next().unwrap_or(e.word));
    crate::brief::keys::nearest(word, all().map(|e| e.word).chain(last))
}

#[cfg(test)]
mod tests;
