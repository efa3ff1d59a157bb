//! The shoot at a glance: the largest print of each frame in the order of taking, with the brief's size as a line.

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::PictureUnit;

use super::chart::nice_step;
use crate::page::html::{esc, put};
use crate::page::units::number;

/// One frame in the plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Long side of the output of the brief's proportions that the largest honest print fills, in the unit of the plot: so
    /// that what lies on the brief's line is what the brief asks for, whatever the picture's shape. `None` where it could not
    /// be told.
    pub filled: Option<f64>,
    /// Outcome for the brief.
    pub outcome: Outcome,
    /// Day and time as the camera wrote it, to be printed under the axis; empty where unknown.
    pub taken: String,
}

const LEFT: f64 = 58.0;
const RIGHT: f64 = 1180.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 300.0;
/// The strip below that shows how many of each outcome.
const STRIP: (f64, f64) = (330.0, 372.0);
/// At most so many columns in the strip.
const COLUMNS: usize = 60;

/// Outcomes from the best, with the stylesheet's word.
const OUTCOMES: [(Outcome, &str); 4] = [
    (Outcome::Prints, "prints"),
    (Outcome::Borderline, "borderline"),
    (Outcome::Fails, "fails"),
    (Outcome::Unmeasured, "unmeasured"),
];

/// The plot. `brief` is the long side that the brief asks for, `unit` the unit of both.
#[must_use]
pub fn svg(marks: &[Mark], brief: f64, unit: PictureUnit) -> String {
    let (what, on, unit) =
        if unit.is_pixel() { ("size", "screen", unit.sign()) } else { ("print", "paper", unit.sign()) };
    let count = |outcome| marks.iter().filter(|m| m.outcome == outcome).count();
    let counted =
        |outcome, one, several| format!("{} {}", count(outcome), if count(outcome) == 1 { one } else { several });
    let most = marks.iter().filter_map(|m| m.filled).fold(brief, f64::max) * 1.08;
    let most = if most.is_finite() && most > 0.0 { most } else { 100.0 };
    let n = marks.len().max(1) as f64;
    let x = |i: f64| LEFT + 10.0 + (RIGHT - LEFT - 20.0) * (i + 0.5) / n;
    let y = |side: f64| BOTTOM - (BOTTOM - TOP) * side / most;

    let mut out = String::new();
    put!(
        out,
        "<svg class=\"plot shoot\" role=\"img\" viewBox=\"0 0 1200 400\" xmlns=\"http://www.w3.org/2000/svg\"><title>Largest \
         {what} of each frame, in the order of taking</title><desc>{} {}: {}, {}, {}, {} could \
         not be measured. The brief asks for {} {unit} on the long side.</desc>",
        marks.len(),
        if marks.len() == 1 { "frame" } else { "frames" },
        counted(Outcome::Prints, "prints", "print"),
        counted(Outcome::Borderline, "is borderline", "are borderline"),
        counted(Outcome::Fails, "fails", "fail"),
        count(Outcome::Unmeasured),
        number(brief)
    );
    let step = nice_step(most, 5);
    let mut level = 0.0;
    while level <= most {
        put!(out, "<path class=\"s-faint\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/>", y = y(level));
        put!(
            out,
            "<text class=\"f-ink\" font-size=\"14\" text-anchor=\"end\" x=\"{:.0}\" y=\"{:.1}\">{}</text>",
            LEFT - 6.0,
            y(level) + 5.0,
            number(level)
        );
        level += step;
    }
    put!(
        out,
        "<text class=\"f-ink\" font-size=\"14\" x=\"4\" y=\"14\">{on} of the brief's proportions that the largest {what} fills: \
         long side, {unit}</text>"
    );
    put!(out, "<path class=\"s-limit thick\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/>", y = y(brief));
    put!(
        out,
        "<text class=\"f-limit\" font-size=\"14\" text-anchor=\"end\" x=\"{RIGHT}\" y=\"{:.1}\">the brief: {} {unit}</text>",
        y(brief) - 6.0,
        number(brief)
    );
    // One path per outcome keeps 2000 frames small: a mark is drawn at each of its points.
    let side = (960.0 / n).clamp(5.0, 16.0);
    tones(&mut out, side);
    for (outcome, word) in OUTCOMES {
        let mark = format!("url(#mark-{word})");
        put!(
            out,
            "<path class=\"mark {word}\" marker-start=\"{mark}\" marker-mid=\"{mark}\" marker-end=\"{mark}\" d=\""
        );
        let mut letter = 'M';
        for (i, mark) in marks.iter().enumerate().filter(|(_, m)| m.outcome == outcome) {
            let (px, py) = (x(i as f64), y(mark.filled.unwrap_or(0.0).clamp(0.0, most)));
            put!(out, "{letter}{px:.1} {py:.1}");
            letter = 'L';
        }
        out.push_str("\"/>");
    }
    strip(&mut out, marks);
    ticks(&mut out, marks, x);
    out.push_str("</svg>");
    out
}

/// The drawing of an outcome in a box of 16 x 16: full ink, half tone, bare paper crossed out, dashed outline. Readable
/// without colour, and the same in the key, the chart and the lists.
#[must_use]
pub fn drawing(outcome: Outcome) -> String {
    format!("<rect x=\"1.5\" y=\"1.5\" width=\"13\" height=\"13\"/>{}", inside(outcome))
}

/// What stands in the box.
const fn inside(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Prints => "",
        Outcome::Borderline => "<path d=\"M2 14L14 2M2 9L9 2M7 14L14 7\"/>",
        Outcome::Fails => "<path d=\"M4 4L12 12M12 4L4 12\"/>",
        Outcome::Unmeasured => "<path d=\"M5 8H11\"/>",
    }
}

/// The marks of the plot, so large, and what fills the shares of the strip.
fn tones(out: &mut String, side: f64) {
    out.push_str("<defs>");
    for (outcome, word) in OUTCOMES {
        put!(
            out,
            "<marker id=\"mark-{word}\" class=\"sign {word}\" viewBox=\"0 0 16 16\" refX=\"8\" refY=\"8\" \
             markerUnits=\"userSpaceOnUse\" markerWidth=\"{side:.1}\" markerHeight=\"{side:.1}\">{}</marker>",
            drawing(outcome)
        );
        let tile = match outcome {
            Outcome::Borderline => "<path d=\"M-1 1L1 -1M0 8L8 0M7 9L9 7\"/>",
            _ => inside(outcome),
        };
        let size = if outcome == Outcome::Borderline { 8 } else { 16 };
        put!(
            out,
            "<pattern id=\"tone-{word}\" class=\"sign {word}\" patternUnits=\"userSpaceOnUse\" width=\"{size}\" \
             height=\"{size}\">{tile}</pattern>"
        );
    }
    out.push_str("</defs>");
}

/// How many of each outcome, in columns of equally many frames.
fn strip(out: &mut String, marks: &[Mark]) {
    let columns = marks.len().clamp(1, COLUMNS);
    let width = (RIGHT - LEFT - 20.0) / columns as f64;
    for column in 0..columns {
        let from = column * marks.len() / columns;
        let to = (column + 1) * marks.len() / columns;
        let part = &marks[from..to];
        let mut top = STRIP.1;
        for (outcome, word) in OUTCOMES {
            let share = part.iter().filter(|m| m.outcome == outcome).count() as f64 / part.len().max(1) as f64;
            if share > 0.0 {
                let height = share * (STRIP.1 - STRIP.0);
                top -= height;
                put!(
                    out,
                    "<rect class=\"share {word}\" fill=\"url(#tone-{word})\" x=\"{:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{height:.1}\"/>",
                    LEFT + 10.0 + column as f64 * width,
                    (width - 1.0).max(1.0)
                );
            }
        }
    }
}

/// The time under some of the frames, the day where it changes.
fn ticks(out: &mut String, marks: &[Mark], x: impl Fn(f64) -> f64) {
    if marks.is_empty() {
        return;
    }
    let wanted = 6.min(marks.len());
    let mut last_day = "";
    for tick in 0..wanted {
        let at = if wanted == 1 { 0 } else { tick * (marks.len() - 1) / (wanted - 1) };
        let Some((day, time)) = marks[at].taken.split_once(' ') else { continue };
        let text = if day == last_day {
            time.get(..5).unwrap_or(time).to_owned()
        } else {
            format!("{day} {}", time.get(..5).unwrap_or(time))
        };
        last_day = day;
        let anchor = if tick == 0 {
            "start"
        } else if tick + 1 == wanted {
            "end"
        } else {
            "middle"
        };
        put!(
            out,
            "<text class=\"f-ink\" font-size=\"14\" text-anchor=\"{anchor}\" x=\"{:.1}\" y=\"392\">{}</text>",
            x(at as f64),
            esc(&text)
        );
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use rawassay_analysis::brief::LengthUnit;

    const CM: PictureUnit = PictureUnit::Length(LengthUnit::Cm);
    use crate::plot::reading::{attribute, near};

    #[test]
    fn every_frame_has_its_mark_at_its_size() {
        let mark = |cm, outcome| Mark { filled: cm, outcome, taken: "2026-10-04 07:00:00".into() };
        let marks = [
            mark(Some(50.0), Outcome::Prints),
            mark(Some(20.0), Outcome::Borderline),
            mark(Some(10.0), Outcome::Fails),
            mark(None, Outcome::Unmeasured),
        ];
        let svg = svg(&marks, 40.0, CM);
        let lines: Vec<String> = svg.replace('<', "\n<").lines().map(str::to_owned).collect();
        // Scale from the printed labels 0 and 40 (text baselines lie 5 below their line).
        let label = |text: &str| -> f64 {
            let end = format!(">{text}");
            let line = lines.iter().find(|l| l.starts_with("<text") && l.ends_with(&end)).unwrap();
            attribute(line, "y").unwrap().parse::<f64>().unwrap() - 5.0
        };
        let (zero, forty) = (label("0"), label("40"));
        let cm = |y: f64| 40.0 * (zero - y) / (zero - forty);
        let path = |class: &str| {
            let line = lines.iter().find(|l| attribute(l, "class") == Some(class)).unwrap();
            attribute(line, "d").unwrap().to_owned()
        };
        let prints = path("mark prints");
        let numbers: Vec<f64> = prints[1..].split([' ', 'L']).filter_map(|s| s.parse().ok()).collect();
        near(cm(numbers[1]), 50.0, 0.1);
        let limit = path("s-limit thick");
        near(cm(limit.split([' ', 'H']).nth(1).unwrap().parse().unwrap()), 40.0, 0.1);
        for word in ["borderline", "fails", "unmeasured"] {
            assert_eq!(path(&format!("mark {word}")).matches('M').count(), 1);
        }
        // The mark of each is the sign that the key shows.
        for (outcome, word) in OUTCOMES {
            let marker = svg.split("<marker ").find(|m| m.contains(&format!("id=\"mark-{word}\""))).unwrap();
            assert!(marker.contains(&drawing(outcome)), "{word}");
            assert!(crate::page::overview::sign(outcome).contains(&drawing(outcome)), "{word}");
        }
        assert!(svg.contains("4 frames: 1 prints, 1 is borderline, 1 fails, 1 could"));
    }

    #[test]
    fn an_empty_shoot_and_a_big_one() {
        assert!(svg(&[], 40.0, CM).ends_with("</svg>"));
        let mark = Mark { filled: Some(33.3), outcome: Outcome::Prints, taken: String::new() };
        assert!(svg(&vec![mark; 2000], 40.0, CM).len() < 90_000);
    }
}
