//! Outcomes and other words of the scorecard.

use super::{Explanation, Kind};

const fn word(
    word: &'static str,
    unit: &'static str,
    means: &'static str,
    how: &'static str,
    source: &'static str,
    next_time: &'static str,
) -> Explanation {
    Explanation { word, kind: Kind::Word, unit, means, how, source, next_time }
}

/// Word, unit, meaning, method, source, next time.
#[rustfmt::skip]
pub(super) const WORDS: &[Explanation] = &[
    word(
        "prints", "",
        "Good enough for the brief as far as it was measured. A photograph is more than that: look at it.",
        "No finding at or over a limit, and everything that the brief needs was measured.",
        "own derivation (docs/measures.md, Print and verdict)",
        "Before a costly print make a proof.",
    ),
    word(
        "borderline", "",
        "Something is at its limit for this print.",
        "The worst finding lies between the borderline and the fails value of its limit.",
        "own derivation (docs/measures.md, Print and verdict)",
        "Make a proof print of the critical part at full size, and see it from the distance.",
    ),
    word(
        "fails", "",
        "Not good enough for the brief; a smaller print may be.",
        "A finding lies past the fails value of its limit.",
        "own derivation (docs/measures.md, Print and verdict)",
        "print.largest says how large it prints; the finding says what to do next time. Nothing is ever deleted.",
    ),
    word(
        "unmeasured", "",
        "What the brief needs could not be measured in this frame, or the file could not be read. It says nothing about the picture.",
        "verdict.not_measured and notes name what and why.",
        "own derivation (docs/measures.md, Print and verdict)",
        "Look at the frame yourself, and make a proof print.",
    ),
    word(
        "note", "",
        "Worth knowing; does not change the outcome.",
        "A rule that the measurement does not bear out as a fault in this frame.",
        "own derivation (docs/measures.md, Print and verdict)",
        "",
    ),
    word(
        "status", "",
        "measured, damaged (decoded, but part of the sensor data is missing) or unreadable.",
        "",
        "own derivation (docs/measures.md, Integrity)",
        "",
    ),
    word(
        "eye limits", "",
        "Blur on the paper in units of the finest that is seen: one minute of arc at the viewing distance, or a screen's pixel where that is larger.",
        "mm on the paper over print.finest_mm.",
        "20/20 sight, common practice",
        "",
    ),
    word(
        "brief", "",
        "What the picture is for: size, distance, limits. Frames are judged by it.",
        "Built in: screen, album, portfolio, exhibition; your own as a TOML file (`brief show portfolio` is a start).",
        "docs/briefs.md",
        "",
    ),
];
