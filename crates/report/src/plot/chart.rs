//! A chart with two linear axes, drawn by `plotters` and adapted to the page.

use std::ops::Range;

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::finish::finish;

/// What a line or an area is; the stylesheet gives each its colour and dash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    /// Axes and text.
    Ink,
    /// Grid.
    Faint,
    /// Red-filtered plane.
    Red,
    /// Green-filtered planes (the second is drawn dashed).
    Green,
    /// The second green plane.
    SecondGreen,
    /// Blue-filtered plane.
    Blue,
    /// Any other plane, and single curves.
    Main,
    /// The fit or the model.
    Fit,
    /// A limit of the brief.
    Limit,
    /// The range that can be used.
    Usable,
    /// Spread of the values.
    Spread,
    /// The noise floor.
    Floor,
}

pub(super) const ROLES: [(Role, &str); 12] = [
    (Role::Ink, "ink"),
    (Role::Faint, "faint"),
    (Role::Red, "red"),
    (Role::Green, "green"),
    (Role::SecondGreen, "green2"),
    (Role::Blue, "blue"),
    (Role::Main, "main"),
    (Role::Fit, "fit"),
    (Role::Limit, "limit"),
    (Role::Usable, "usable"),
    (Role::Spread, "spread"),
    (Role::Floor, "floor"),
];

impl Role {
    /// The stylesheet's word.
    pub(crate) fn word(self) -> &'static str {
        ROLES.iter().find(|(role, _)| *role == self).map_or("ink", |(_, word)| word)
    }

    /// The colour that stands for the role until [`finish`] replaces it.
    fn colour(self) -> RGBColor {
        RGBColor(0xFE, 0, self as u8)
    }

    /// The role of a plane.
    pub(crate) fn of_plane(name: &str) -> Self {
        match name {
            "R" => Self::Red,
            "G" | "G1" => Self::Green,
            "G2" => Self::SecondGreen,
            "B" => Self::Blue,
            _ => Self::Main,
        }
    }
}

/// One axis.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    /// What it shows, with its unit.
    pub label: String,
    /// From, to.
    pub range: Range<f64>,
    /// About so many ticks.
    pub ticks: usize,
    /// Names of the places 0, 1, 2 ..., where the axis has names instead of numbers.
    pub names: Option<Vec<String>>,
}

impl Axis {
    /// An axis whose range is made sound: finite and not empty.
    pub(crate) fn new(label: impl Into<String>, range: Range<f64>, ticks: usize) -> Self {
        let start = if range.start.is_finite() { range.start } else { 0.0 };
        let end = if range.end.is_finite() && range.end > start { range.end } else { start + 1.0 };
        Self { label: label.into(), range: start..end, ticks, names: None }
    }

    /// An axis of named places: 0, 1, 2 ...
    pub(crate) fn named(label: impl Into<String>, names: &[String]) -> Self {
        let range = -0.5..names.len().max(1) as f64 - 0.5;
        Self { label: label.into(), range, ticks: names.len().max(1), names: Some(names.to_vec()) }
    }

    /// What stands at a tick.
    fn tick(&self, value: f64) -> String {
        match &self.names {
            None => crate::page::units::number(value),
            Some(names) if (value - value.round()).abs() < 1e-6 && value >= 0.0 => {
                names.get(value.round() as usize).cloned().unwrap_or_default()
            }
            Some(_) => String::new(),
        }
    }
}

type Area2<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Canvas, in units of which the page shows about half a CSS pixel each: plotters places things on whole units.
pub(super) const SIZE: (u32, u32) = (1200, 720);
const TEXT: u32 = 26;

/// One thing drawn in a chart.
enum Item {
    Line(Role, Vec<(f64, f64)>),
    Band(Role, f64, f64),
    Dots(Role, Vec<(f64, f64)>),
    Upright(Role, f64, String),
    Level(Role, f64, String),
    Bar(Role, f64, f64, f64),
}

/// A chart being put together.
pub(crate) struct Chart {
    title: String,
    description: String,
    x: Axis,
    y: Axis,
    items: Vec<Item>,
}

impl Chart {
    /// An empty chart. The description is for those who cannot see it: say what it shows, with numbers.
    pub(crate) fn new(title: impl Into<String>, description: impl Into<String>, x: Axis, y: Axis) -> Self {
        Self { title: title.into(), description: description.into(), x, y, items: Vec::new() }
    }

    /// A curve.
    pub(crate) fn line(&mut self, role: Role, points: Vec<(f64, f64)>) -> &mut Self {
        self.items.push(Item::Line(role, points));
        self
    }

    /// A band over the whole height.
    pub(crate) fn band(&mut self, role: Role, from: f64, to: f64) -> &mut Self {
        self.items.push(Item::Band(role, from, to));
        self
    }

    /// Separate points.
    pub(crate) fn dots(&mut self, role: Role, points: Vec<(f64, f64)>) -> &mut Self {
        self.items.push(Item::Dots(role, points));
        self
    }

    /// A vertical mark with its name at the top.
    pub(crate) fn upright(&mut self, role: Role, x: f64, name: impl Into<String>) -> &mut Self {
        self.items.push(Item::Upright(role, x, name.into()));
        self
    }

    /// A horizontal mark with its name at the right.
    pub(crate) fn level(&mut self, role: Role, y: f64, name: impl Into<String>) -> &mut Self {
        self.items.push(Item::Level(role, y, name.into()));
        self
    }

    /// A vertical interval at x from y0 to y1 with feet.
    pub(crate) fn interval(&mut self, role: Role, x: f64, y0: f64, y1: f64) -> &mut Self {
        self.items.push(Item::Bar(role, x, y0, y1));
        self
    }

    /// The SVG. Drawing into memory cannot fail; should plotters refuse all the same, the words remain.
    pub(crate) fn svg(&self) -> String {
        let mut text = String::new();
        let drawn = self.draw(&mut text).is_ok();
        finish(if drawn { &text } else { "" }, &self.title, &self.description)
    }

    fn draw(&self, text: &mut String) -> Result<(), DrawingAreaErrorKind<std::io::Error>> {
        let root: DrawingArea<SVGBackend<'_>, Shift> = SVGBackend::with_string(text, SIZE).into_drawing_area();
        let font = |role: Role| ("sans-serif", TEXT).into_font().color(&role.colour());
        let mut chart: Area2<'_, '_> = ChartBuilder::on(&root)
            .margin_top(TEXT * 5 / 2)
            .margin_right(TEXT)
            .margin_bottom(8)
            .margin_left(8)
            .x_label_area_size(TEXT * 3)
            .y_label_area_size(TEXT * 4)
            .build_cartesian_2d(self.x.range.clone(), self.y.range.clone())?;
        for item in &self.items {
            if let Item::Band(role, from, to) = item {
                let (from, to) = (from.max(self.x.range.start), to.min(self.x.range.end));
                if to > from {
                    let corners = [(from, self.y.range.start), (to, self.y.range.end)];
                    chart.draw_series([Rectangle::new(corners, role.colour().filled())])?;
                }
            }
        }
        chart
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(Role::Faint.colour().stroke_width(2))
            .axis_style(Role::Ink.colour().stroke_width(2))
            .label_style(font(Role::Ink))
            .axis_desc_style(font(Role::Ink))
            .x_labels(self.x.ticks)
            .y_labels(self.y.ticks)
            .x_label_formatter(&|v| self.x.tick(*v))
            .y_label_formatter(&|v| self.y.tick(*v))
            .x_desc(self.x.label.as_str())
            .y_desc(self.y.label.as_str())
            .draw()?;
        let (xs, ys) = (&self.x.range, &self.y.range);
        let inside = |p: &(f64, f64)| p.0.is_finite() && p.1.is_finite();
        // Names above the plot that would run into each other stand in two rows.
        let mut named: Vec<(f64, f64)> = Vec::new();
        let clamp = |p: &(f64, f64)| (p.0.clamp(xs.start, xs.end), p.1.clamp(ys.start, ys.end));
        for item in &self.items {
            match item {
                Item::Band(..) => {}
                Item::Line(role, points) => {
                    let points = points.iter().filter(|p| inside(p)).map(clamp);
                    chart.draw_series(LineSeries::new(points, role.colour().stroke_width(4)))?;
                }
                Item::Dots(role, points) => {
                    let shown = points.iter().filter(|p| inside(p) && **p == clamp(p));
                    chart.draw_series(shown.map(|&p| Circle::new(p, 6, role.colour().filled())))?;
                }
                Item::Upright(role, x, name) if xs.contains(x) => {
                    chart
                        .draw_series(LineSeries::new([(*x, ys.start), (*x, ys.end)], role.colour().stroke_width(3)))?;
                    // The name stands above the frame of the axes, moved inwards at its ends.
                    let share = (x - xs.start) / (xs.end - xs.start);
                    let anchor = if share > 0.85 {
                        HPos::Right
                    } else if share < 0.15 {
                        HPos::Left
                    } else {
                        HPos::Center
                    };
                    let style = font(*role).pos(Pos::new(anchor, VPos::Bottom));
                    let (px, py) = chart.backend_coord(&(*x, ys.end));
                    let width = name.chars().count() as f64 * f64::from(TEXT) * 0.45;
                    let span = match anchor {
                        HPos::Right => (f64::from(px) - width, f64::from(px)),
                        HPos::Left => (f64::from(px), f64::from(px) + width),
                        HPos::Center => (f64::from(px) - width / 2.0, f64::from(px) + width / 2.0),
                    };
                    let row = i32::from(named.iter().any(|n| n.0 < span.1 && span.0 < n.1));
                    named.push(span);
                    root.draw(&Text::new(name.clone(), (px, py - 4 - row * TEXT as i32), style))?;
                }
                Item::Level(role, y, name) if ys.contains(y) => {
                    chart
                        .draw_series(LineSeries::new([(xs.start, *y), (xs.end, *y)], role.colour().stroke_width(3)))?;
                    let style = font(*role).pos(Pos::new(HPos::Right, VPos::Bottom));
                    let (px, py) = chart.backend_coord(&(xs.end, *y));
                    root.draw(&Text::new(name.clone(), (px - 6, py - 4), style))?;
                }
                Item::Bar(role, x, y0, y1) => {
                    let foot = (xs.end - xs.start) * 0.006;
                    let (low, high) = (y0.clamp(ys.start, ys.end), y1.clamp(ys.start, ys.end));
                    let stroke = role.colour().stroke_width(3);
                    chart.draw_series(LineSeries::new([(*x, low), (*x, high)], stroke))?;
                    for y in [low, high] {
                        chart.draw_series(LineSeries::new([(x - foot, y), (x + foot, y)], stroke))?;
                    }
                }
                Item::Upright(..) | Item::Level(..) => {}
            }
        }
        drop(chart);
        root.present()?;
        Ok(())
    }
}

/// A step of 1, 2 or 5 times a power of ten that divides `most` into about `parts`.
pub(crate) fn nice_step(most: f64, parts: u32) -> f64 {
    let raw = (most / f64::from(parts)).max(1e-9);
    let power = 10f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|&s| s >= raw).unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn roles_keep_their_order() {
        for (i, (role, word)) in ROLES.iter().enumerate() {
            assert_eq!(*role as usize, i);
            assert_eq!(role.word(), *word);
        }
    }

    #[test]
    fn colours_become_classes_and_text_stays_text() {
        let mut chart = Chart::new(
            "A <title>",
            "Says & tells",
            Axis::new("EV <below>", -10.0..0.0, 6),
            Axis::new("share, %", 0.0..5.0, 5),
        );
        chart.line(Role::Red, vec![(-10.0, 0.0), (f64::NAN, 1.0), (0.0, 5.0)]);
        chart.upright(Role::Limit, -5.0, "limit <b>");
        let svg = chart.svg();
        assert!(svg.contains("<title>A &lt;title&gt;</title><desc>Says &amp; tells</desc>"), "{svg}");
        assert!(svg.contains("class=\"s-red\"") && svg.contains("class=\"s-limit\""));
        assert!(svg.contains("limit &lt;b&gt;") && svg.contains("EV &lt;below&gt;"));
        assert!(!svg.contains("#FE") && !svg.contains("style="), "{svg}");
        assert!(svg.ends_with("</svg>"));
    }

    #[test]
    fn unsound_ranges_still_draw() {
        let axis = |a: f64, b: f64| Axis::new("x", a..b, 5);
        for (a, b) in [(f64::NAN, 1.0), (1.0, 1.0), (0.0, f64::INFINITY), (5.0, -5.0)] {
            let mut chart = Chart::new("t", "d", axis(a, b), axis(a, b));
            chart.dots(Role::Main, vec![(0.5, 0.5)]).level(Role::Limit, 1e9, "far").interval(Role::Main, 0.5, 0.0, 9.0);
            assert!(chart.svg().contains("s-ink"));
        }
    }
}
