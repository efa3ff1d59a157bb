//! The shoot at a glance: the largest print of each frame in the order of taking, with the brief's size as a line.

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::PictureUnit;

use super::chart::nice_step;
use crate::page::html::{esc, put};
use crate::page::units::number;

/// One frame in the plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Long side of the largest honest print, in the unit of the plot; `None` where it could not be told.
    pub long_side: Option<f64>,
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
    let (what, unit) = (if unit.is_pixel() { "size" } else { "print" }, unit.sign());
    let count = |outcome| marks.iter().filter(|m| m.outcome == outcome).count();
    let most = marks.iter().filter_map(|m| m.long_side).fold(brief, f64::max) * 1.08;
    let most = if most.is_finite() && most > 0.0 { most } else { 100.0 };
    let n = marks.len().max(1) as f64;
    let x = |i: f64| LEFT + 10.0 + (RIGHT - LEFT - 20.0) * (i + 0.5) / n;
    let y = |side: f64| BOTTOM - (BOTTOM - TOP) * side / most;

    let mut out = String::new();
    put!(
        out,
        "<svg class=\"plot shoot\" role=\"img\" viewBox=\"0 0 1200 400\" xmlns=\"http://www.w3.org/2000/svg\"><title>Largest \
         {what} of each frame, in the order of taking</title><desc>{} frames: {} print, {} are borderline, {} fail, {} could \
         not be measured. The brief asks for {} {unit} on the long side.</desc>",
        marks.len(),
        count(Outcome::Prints),
        count(Outcome::Borderline),
        count(Outcome::Fails),
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
    put!(out, "<text class=\"f-ink\" font-size=\"14\" x=\"4\" y=\"14\">long side of the largest {what}, {unit}</text>");
    put!(out, "<path class=\"s-limit thick\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/>", y = y(brief));
    put!(
        out,
        "<text class=\"f-limit\" font-size=\"14\" text-anchor=\"end\" x=\"{RIGHT}\" y=\"{:.1}\">the brief: {} {unit}</text>",
        y(brief) - 6.0,
        number(brief)
    );
    // One path per outcome keeps 2000 frames small. Each outcome has a shape of its own.
    let half = (480.0 / n).clamp(2.5, 6.0);
    for (outcome, word) in OUTCOMES {
        put!(out, "<path class=\"mark {word}\" d=\"");
        for (i, mark) in marks.iter().enumerate().filter(|(_, m)| m.outcome == outcome) {
            let (px, py) = (x(i as f64), y(mark.long_side.unwrap_or(0.0).clamp(0.0, most)));
            match outcome {
                Outcome::Prints | Outcome::Borderline => {
                    put!(out, "M{:.1} {:.1}h{s:.1}v{s:.1}h-{s:.1}z", px - half, py - half, s = 2.0 * half);
                }
                Outcome::Fails => put!(
                    out,
                    "M{:.1} {:.1}l{s:.1} {s:.1}m0 -{s:.1}l-{s:.1} {s:.1}",
                    px - half,
                    py - half,
                    s = 2.0 * half
                ),
                Outcome::Unmeasured => put!(out, "M{px:.1} {:.1}v-{:.1}", BOTTOM, 2.0 * half),
            }
        }
        out.push_str("\"/>");
    }
    strip(&mut out, marks);
    ticks(&mut out, marks, x);
    out.push_str("</svg>");
    out
}

/// How many of each outcome, in columns of equally many frames.
fn strip(out: &mut String, marks: &[Mark]) {
    let columns = marks.len().clamp(1, COLUMNS);
    let width = (RIGHT - LEFT - 20.0) / columns as f64;
    for column in 0..columns {
        let from = column * marks.len() / columns;
        let to = (column + 1) * marks.len() / columns;
        let part = &marks[from..to.max(from)];
        let mut top = STRIP.1;
        for (outcome, word) in OUTCOMES {
            let share = part.iter().filter(|m| m.outcome == outcome).count() as f64 / part.len().max(1) as f64;
            if share > 0.0 {
                let height = share * (STRIP.1 - STRIP.0);
                top -= height;
                put!(
                    out,
                    "<rect class=\"share {word}\" x=\"{:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{height:.1}\"/>",
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
        let mark = |cm, outcome| Mark { long_side: cm, outcome, taken: "2026-10-04 07:00:00".into() };
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
        let numbers: Vec<f64> = prints[1..].split([' ', 'h', 'v', '-', 'z']).filter_map(|s| s.parse().ok()).collect();
        near(cm(numbers[1] + numbers[2] / 2.0), 50.0, 0.1);
        let limit = path("s-limit thick");
        near(cm(limit.split([' ', 'H']).nth(1).unwrap().parse().unwrap()), 40.0, 0.1);
        for word in ["borderline", "fails", "unmeasured"] {
            assert_eq!(path(&format!("mark {word}")).matches('M').count(), 1);
        }
        assert!(svg.contains("4 frames: 1 print, 1 are borderline, 1 fail, 1 could"));
    }

    #[test]
    fn an_empty_shoot_and_a_big_one() {
        assert!(svg(&[], 40.0, CM).ends_with("</svg>"));
        let mark = Mark { long_side: Some(33.3), outcome: Outcome::Prints, taken: String::new() };
        assert!(svg(&vec![mark; 2000], 40.0, CM).len() < 90_000);
    }
}
