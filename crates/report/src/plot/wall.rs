//! Print sizes drawn to scale on a wall beside a person: what the frame fills honestly, what needs a proof print, and
//! what stays an empty outline.

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::PictureUnit;

use crate::page::html::{esc, put};
use crate::page::units::{number, print_most};

/// One size on the wall.
#[derive(Debug, Clone, PartialEq)]
pub struct Hanging {
    /// Width of the picture, cm.
    pub width_cm: f64,
    /// Height, cm.
    pub height_cm: f64,
    /// Pixels per inch.
    pub ppi: f64,
    /// Outcome at this size.
    pub outcome: Outcome,
    /// What limits it; `None` where it prints.
    pub limited_by: Option<String>,
    /// True for the size that the brief asks for.
    pub asked: bool,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Wall<'a> {
    /// The sizes.
    pub sizes: Vec<Hanging>,
    /// Width and height of the largest honest print, cm.
    pub largest_cm: Option<(f64, f64)>,
    /// Address of the picture to hang, relative to the page.
    pub picture: Option<&'a str>,
    /// Viewing distance in words.
    pub distance: &'a str,
    /// Unit of the labels.
    pub unit: PictureUnit,
}

/// Height of the person beside the wall, cm.
const PERSON_CM: f64 = 170.0;
/// Height at which pictures are hung, centre over the floor, cm. Common practice, no source: 145 to 150.
const CENTRE_CM: f64 = 148.0;

impl Wall<'_> {
    /// The drawing; `None` where there is no size to draw.
    #[must_use]
    pub fn svg(&self) -> Option<String> {
        let width = self.sizes.iter().map(|s| s.width_cm).chain(self.largest_cm.map(|l| l.0)).fold(0.0, f64::max);
        let height = self.sizes.iter().map(|s| s.height_cm).chain(self.largest_cm.map(|l| l.1)).fold(0.0, f64::max);
        if !(width.is_finite() && height.is_finite() && width > 0.0 && height > 0.0) {
            return None;
        }
        // One unit is one centimetre: whoever reads the drawing's source reads sizes.
        let bottom = (CENTRE_CM - height / 2.0).max(18.0);
        let wall_height = (bottom + height + 22.0).max(PERSON_CM + 30.0);
        let left = 85.0;
        let labels = self.labelled();
        let long = |l: &Label| l.text.chars().count() as f64 * if l.class == "label" { LETTER } else { STRONG_LETTER };
        let label_width = labels.iter().map(long).fold(0.0, f64::max) + 14.0;
        let total = left + width + label_width;
        let floor = wall_height;
        let foot = 26.0;
        let y_bottom = floor - bottom;

        let mut out = String::new();
        put!(
            out,
            "<svg class=\"wall\" role=\"img\" viewBox=\"0 0 {:.0} {:.0}\" xmlns=\"http://www.w3.org/2000/svg\"><title>Print \
             sizes on a wall, to scale</title><desc>{}</desc>",
            total,
            wall_height + foot,
            esc(&self.words())
        );
        put!(out, "<rect class=\"plaster\" width=\"{total:.0}\" height=\"{floor:.1}\"/>");
        put!(out, "<rect class=\"boards\" y=\"{floor:.1}\" width=\"{total:.0}\" height=\"{foot}\"/>");
        person(&mut out, 40.0, floor);
        put!(out, "<text class=\"small\" x=\"40\" y=\"{:.1}\" text-anchor=\"middle\">170 cm</text>", floor + 17.0);
        scale_bar(&mut out, left, floor + 12.0);

        let mut sizes: Vec<&Hanging> = self.sizes.iter().filter(|s| s.width_cm > 0.0 && s.height_cm > 0.0).collect();
        sizes.sort_by(|a, b| (b.width_cm * b.height_cm).total_cmp(&(a.width_cm * a.height_cm)));
        for size in sizes.iter().filter(|s| s.outcome != Outcome::Prints) {
            let class = if size.outcome == Outcome::Borderline { "sheet proof" } else { "sheet empty" };
            let class = if size.asked { format!("{class} asked") } else { class.to_owned() };
            sheet(&mut out, &class, left, y_bottom, (size.width_cm, size.height_cm));
        }
        if let Some((w, h)) = self.largest_cm {
            if let Some(picture) = self.picture {
                put!(
                    out,
                    "<image href=\"{}\" x=\"{left}\" y=\"{:.1}\" width=\"{w:.1}\" height=\"{h:.1}\" \
                     preserveAspectRatio=\"xMidYMid slice\"/>",
                    esc(picture),
                    y_bottom - h
                );
            }
            sheet(
                &mut out,
                if self.picture.is_some() { "sheet hung" } else { "sheet hung bare" },
                left,
                y_bottom,
                (w, h),
            );
        }
        for size in sizes.iter().filter(|s| s.outcome == Outcome::Prints) {
            let class = if size.asked { "sheet within asked" } else { "sheet within" };
            sheet(&mut out, class, left, y_bottom, (size.width_cm, size.height_cm));
        }
        draw_labels(&mut out, &labels, left, y_bottom, left + width);
        out.push_str("</svg>");
        Some(out)
    }

    /// One label per size, the tallest sheet first.
    fn labelled(&self) -> Vec<Label> {
        let mut labels: Vec<Label> = self
            .largest_cm
            .iter()
            .map(|&(w, h)| Label {
                class: "label strong",
                size: (w, h),
                text: format!("{} largest", print_most(w / 2.54, h / 2.54, self.unit)),
            })
            .collect();
        for size in self.sizes.iter().filter(|s| s.width_cm > 0.0 && s.height_cm > 0.0) {
            let why = size.limited_by.as_deref().map_or(String::new(), |l| format!(": {l}"));
            let brief = if size.asked { ", the brief" } else { "" };
            let name = print_most(size.width_cm / 2.54, size.height_cm / 2.54, self.unit);
            labels.push(Label {
                class: if size.asked { "label strong" } else { "label" },
                size: (size.width_cm, size.height_cm),
                text: format!("{name} {}{why}{brief}", size.outcome),
            });
        }
        labels.sort_by(|a, b| b.size.1.total_cmp(&a.size.1));
        labels
    }

    /// The drawing in words.
    fn words(&self) -> String {
        let mut words = match self.largest_cm {
            Some((w, h)) if self.unit.is_pixel() => {
                format!("Largest honest size {}", print_most(w / 2.54, h / 2.54, self.unit))
            }
            Some((w, h)) => format!("Largest honest print {}", print_most(w / 2.54, h / 2.54, self.unit)),
            None if self.unit.is_pixel() => "No honest size".to_owned(),
            None => "No honest print".to_owned(),
        };
        put!(words, ", seen from {}.", self.distance);
        for size in &self.sizes {
            put!(
                words,
                " {}: {}{}, {} ppi.",
                print_most(size.width_cm / 2.54, size.height_cm / 2.54, self.unit),
                size.outcome,
                size.limited_by.as_deref().map_or(String::new(), |l| format!(" ({l})")),
                number(size.ppi)
            );
        }
        words
    }
}

/// Width of a letter of a label, of a bold one, and the least step between two labels, cm of the drawing.
const LETTER: f64 = 4.7;
const STRONG_LETTER: f64 = 5.4;
const LABEL_STEP: f64 = 10.0;

/// What is written beside a sheet.
struct Label {
    class: &'static str,
    /// Width and height of the sheet, cm.
    size: (f64, f64),
    text: String,
}

/// The labels at the right, each led from the top edge of its sheet and moved down where another stands there.
fn draw_labels(out: &mut String, labels: &[Label], left: f64, y_bottom: f64, right: f64) {
    // As low as it has to be, so that none falls off the wall: the last one stands at its sheet, those above make room.
    let mut places: Vec<f64> = Vec::with_capacity(labels.len());
    for label in labels {
        let wanted = y_bottom - label.size.1;
        places.push(places.last().map_or(wanted, |above| wanted.max(above + LABEL_STEP)));
    }
    for (label, y) in labels.iter().zip(places) {
        let from = y_bottom - label.size.1;
        put!(
            out,
            "<path class=\"lead\" d=\"M{:.1} {from:.1}H{:.1}L{:.1} {y:.1}\"/>",
            left + label.size.0,
            right - 1.0,
            right + 5.0
        );
        put!(
            out,
            "<text class=\"{}\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            label.class,
            right + 7.0,
            y + 3.0,
            esc(&label.text)
        );
    }
}

fn sheet(out: &mut String, class: &str, left: f64, bottom: f64, (width, height): (f64, f64)) {
    put!(
        out,
        "<rect class=\"{class}\" x=\"{left}\" y=\"{:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>",
        bottom - height
    );
}

/// A standing figure of 170 cm, seen from behind, feet at `floor`.
fn person(out: &mut String, x: f64, floor: f64) {
    put!(
        out,
        "<path class=\"person\" transform=\"translate({x} {:.1})\" d=\"M0 0a10.5 12 0 1 1 0 24a10.5 12 0 1 1 0 -24M-6 26h12c12 2 17 9 \
         18 20l3 40h-7l-5-33-1 36 4 81h-9l-8-70h-2l-8 70h-9l4-81-1-36-5 33h-7l3-40c1-11 6-18 18-20Z\"/>",
        floor - PERSON_CM
    );
}

/// Half a metre, in decimetres.
fn scale_bar(out: &mut String, x: f64, y: f64) {
    put!(out, "<path class=\"scale\" d=\"M{x} {y:.1}h50m-50 -3v6m10 -6v6m10 -6v6m10 -6v6m10 -6v6m10 -6v6\"/>");
    put!(out, "<text class=\"small\" x=\"{:.1}\" y=\"{:.1}\">50 cm</text>", x + 54.0, y + 3.5);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use rawassay_analysis::brief::LengthUnit;

    use crate::plot::reading::attribute;

    fn hanging(width_cm: f64, outcome: Outcome) -> Hanging {
        Hanging {
            width_cm,
            height_cm: width_cm * 2.0 / 3.0,
            ppi: 200.0,
            outcome,
            limited_by: Some("motion".into()),
            asked: width_cm == 60.0,
        }
    }

    #[test]
    fn every_sheet_is_drawn_at_its_size_in_cm() {
        let wall = Wall {
            sizes: vec![
                hanging(30.0, Outcome::Prints),
                hanging(60.0, Outcome::Borderline),
                hanging(150.0, Outcome::Fails),
            ],
            largest_cm: Some((45.0, 30.0)),
            picture: Some("../pictures/a\"b.jpg"),
            distance: "60 cm",
            unit: LengthUnit::Cm.into(),
        };
        let svg = wall.svg().unwrap();
        let lines: Vec<String> = svg.replace('<', "\n<").lines().map(str::to_owned).collect();
        for (class, width) in
            [("sheet within", 30.0), ("sheet proof asked", 60.0), ("sheet empty", 150.0), ("sheet hung", 45.0)]
        {
            let line = lines.iter().find(|l| attribute(l, "class") == Some(class)).unwrap();
            let side = |n| attribute(line, n).unwrap().parse::<f64>().unwrap();
            assert!(
                (side("width") - width).abs() < 0.06 && (side("height") - width * 2.0 / 3.0).abs() < 0.06,
                "{line}"
            );
        }
        assert!(svg.contains("a&quot;b.jpg") && svg.contains("seen from 60 cm"));
        assert!(svg.contains("150 \u{d7} 100 cm: fails (motion), 200 ppi."));
        assert!(svg.contains("60 \u{d7} 40 cm borderline: motion, the brief</text>"));
        // Every size has its label, inside the drawing and clear of the others.
        let texts: Vec<&String> =
            lines.iter().filter(|l| attribute(l, "class").is_some_and(|c| c.starts_with("label"))).collect();
        assert_eq!(texts.len(), 4);
        let total: f64 = attribute(&lines[1], "viewBox").unwrap().split(' ').nth(2).unwrap().parse().unwrap();
        let mut before = f64::NEG_INFINITY;
        for text in texts {
            let at = |n| attribute(text, n).unwrap().parse::<f64>().unwrap();
            let letters = text.split('>').nth(1).unwrap().chars().count() as f64;
            // Widths as Chromium sets them in the sans serif of this machine: the bold label is the longest one here.
            let letter = if attribute(text, "class") == Some("label") { 4.4 } else { 5.1 };
            assert!(at("y") >= before + LABEL_STEP - 0.11 && at("x") + letter * letters <= total, "{text}");
            before = at("y");
        }
    }

    #[test]
    fn no_size_no_wall() {
        let wall =
            Wall { sizes: Vec::new(), largest_cm: None, picture: None, distance: "60 cm", unit: LengthUnit::Cm.into() };
        assert!(wall.svg().is_none());
    }
}
