//! `rawassay series`.

use std::path::PathBuf;

use rawassay_analysis::brief::{PictureUnit, length};
use rawassay_analysis::explain;
use rawassay_analysis::series::{self, By, Estimate, Group, Series as Answer, Setting, Step, short, shutter_text};
use rawassay_report::numbers::rounded;
use rawassay_report::page::units::places;

use super::shared;
use crate::answer::{self, AnswerArguments, Form};
use crate::frames;
use crate::messages::{self, Exit, Failure};
use crate::tables::{Grid, wrap};

/// Learn your gear's limits from test series: by ISO, aperture, shutter or camera
#[derive(clap::Args)]
pub struct Series {
    /// Records made by `audit`
    #[arg(required = true, value_name = "RECORD")]
    records: Vec<PathBuf>,
    /// What the series is ordered by
    #[arg(long, value_enum, ignore_case = true)]
    by: ByArgument,
    #[command(flatten)]
    brief: shared::BriefArgument,
    /// With --by shutter: share of frames that should be free of shake, per cent
    #[arg(long, value_name = "PCT", default_value_t = 90.0, value_parser = share)]
    keepers: f64,
    #[command(flatten)]
    answer: AnswerArguments,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ByArgument {
    /// Noise and range at each ISO, and the highest ISO for the brief
    Iso,
    /// Sharpness at each f-stop, and the sharpest one
    Aperture,
    /// Frames free of shake at each exposure time, and the slowest you can hold
    Shutter,
    /// Cameras against each other at the brief's output
    Camera,
}

fn share(text: &str) -> Result<f64, String> {
    match text.trim_end_matches('%').trim().parse::<f64>() {
        Ok(value) if (50.0..=99.0).contains(&value) => Ok(value),
        _ => Err("a share from 50 to 99 per cent".to_string()),
    }
}

impl Series {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let plan = self.answer.plan(&answer::inputs(&self.records, &self.brief.text))?;
        let (rows, copies) = frames::rows(&self.records, &brief)?;
        if rows.is_empty() {
            return Err(Failure::nothing("no frame in the record could be measured; see the errors of audit"));
        }
        let by = match self.by {
            ByArgument::Iso => By::Iso,
            ByArgument::Aperture => By::Aperture,
            ByArgument::Shutter => By::Shutter,
            ByArgument::Camera => By::Camera,
        };
        let name = frames::brief_text(&brief);
        let held = series::Held { brief: &brief, name: &name, keeper_share: self.keepers / 100.0 };
        let mut answer = series::series(by, &rows, &held);
        answer.warnings.extend(copies);
        match plan.form {
            Form::Json => plan.json("series", &answer)?,
            // A table without rows has no columns either; what was left out is told before the error line below.
            _ if answer.groups.is_empty() => answer.warnings.iter().for_each(|text| messages::warning(text)),
            Form::Csv => plan.csv("series", &csv(&answer))?,
            Form::Table => plan.text("series", &text(&answer, brief.output.picture_unit()))?,
        }
        if answer.groups.iter().flat_map(|group| &group.steps).all(|step| step.frames == 0) {
            return Err(Failure::nothing(format!("no frame tells what a series {}", needs(by))));
        }
        Ok(Exit::Done)
    }
}

/// What the frames of a series must bring.
const fn needs(by: By) -> &'static str {
    match by {
        By::Iso => "by ISO needs: the ISO, and smooth places to measure noise in; audit frames that have both",
        By::Aperture => "by aperture needs: the f-number, and edges to measure; audit frames that have both",
        By::Shutter => "by shutter needs: the exposure time, and edges to measure; audit frames that have both",
        By::Camera => {
            "by camera needs: the camera's name, and edges that neither motion nor missed focus blurred; audit frames that have both"
        }
    }
}

/// One row per step; the group's key stands in each.
fn csv(answer: &Answer) -> Vec<Vec<String>> {
    let Some(first) = answer.groups.first() else { return Vec::new() };
    let mut header: Vec<String> = first.key.0.iter().map(|k| k.0.to_string()).collect();
    header.extend(["setting", "frames", "left_out", "meets_brief"].map(String::from));
    let names: Vec<&str> = first.steps.first().map(|s| s.readings.0.iter().map(|r| r.0).collect()).unwrap_or_default();
    for name in &names {
        header.extend([(*name).to_string(), format!("{name}_low"), format!("{name}_high")]);
    }
    let number = |value: Option<f64>| value.map_or(String::new(), |v| rounded(v).to_string());
    let mut rows = vec![header];
    for group in &answer.groups {
        for step in &group.steps {
            let mut row: Vec<String> = group.key.0.iter().map(|k| setting_text(&k.1)).collect();
            row.extend([
                setting_text(&step.setting),
                step.frames.to_string(),
                step.left_out.to_string(),
                step.meets_brief.map_or(String::new(), |o| o.to_string()),
            ]);
            for name in &names {
                let estimate = step.readings.get(name);
                row.extend([number(estimate.value), number(estimate.low), number(estimate.high)]);
            }
            rows.push(row);
        }
    }
    rows
}

fn setting_text(setting: &Setting) -> String {
    match setting {
        Setting::Number(value) => value.to_string(),
        Setting::Text(text) => text.clone(),
        Setting::Unknown => String::new(),
    }
}

/// A column of the table: reading, digits.
type Column = (&'static str, usize);

const ISO: [Column; 6] = [
    ("print_snr_midtone", 0),
    ("usable_ev", 1),
    ("range_lost_ev_per_stop", 2),
    ("engineering_ev", 1),
    ("read_noise_e", 1),
    ("row_banding_over_read_noise", 2),
];
const APERTURE: [Column; 5] = [
    ("edge_rise_px", 2),
    ("centre_rise_px", 2),
    ("corners_rise_px", 2),
    ("expected_diffraction_px", 2),
    ("print_rise_mm", 2),
];
const SHUTTER: [Column; 3] = [("free_of_shake_pct", 0), ("fitted_free_pct", 0), ("motion_px", 1)];
const CAMERA: [Column; 7] = [
    ("megapixels", 0),
    ("ppi", 0),
    ("print_rise_mm", 2),
    ("print_snr_midtone", 0),
    ("usable_ev", 1),
    ("largest_long_side_in", 0),
    ("largest_short_side_in", 0),
];

/// Head of a reading's column; sides of a picture are told in the brief's unit, and a screen is called one.
fn column_heading(reading: &str, unit: PictureUnit) -> String {
    let path = format!("series.{reading}");
    let heading = match explain::label(&path) {
        (label, "in") => format!(">{label}, {}", unit.sign()),
        _ => format!(">{}", explain::heading(&path)),
    };
    unit.says(&heading)
}

/// The answer first, then the table it comes from, then what to be careful of.
fn text(answer: &Answer, unit: PictureUnit) -> String {
    let (heading, columns): (&str, &[Column]) = match answer.by {
        By::Iso => (">ISO", &ISO),
        By::Aperture => (">f-stop", &APERTURE),
        By::Shutter => (">time", &SHUTTER),
        By::Camera => ("camera", &CAMERA),
    };
    let mut text = String::new();
    let (told, single): (Vec<&Group>, Vec<&Group>) = answer.groups.iter().partition(|g| g.compares(answer.by));
    for group in told {
        text.push_str(&wrap(&group.answer, "  "));
        if over_all(group) {
            text.push_str(
                "  f is the focal length at 36 x 24 mm: a time of 1/(2 f) is 1/100 s at 50 mm, 1/400 s at 200 mm.\n",
            );
        }
        let mut headings = vec![heading, ">frames"];
        // A column in which nothing is known only takes room.
        let told: Vec<&Column> =
            columns.iter().filter(|c| group.steps.iter().any(|s| s.readings.value(c.0).is_some())).collect();
        let named: Vec<String> = told.iter().map(|c| column_heading(c.0, unit)).collect();
        headings.extend(named.iter().map(String::as_str));
        headings.push("");
        let mut grid = Grid::new(&headings);
        for step in &group.steps {
            let mut row = vec![step_text(answer.by, group, step), step.frames.to_string()];
            row.extend(told.iter().map(|c| {
                let estimate = step.readings.get(c.0);
                match c.0 {
                    "megapixels" => cell(estimate, usize::from(estimate.value.is_some_and(|v| v < 10.0))),
                    side_in if side_in.ends_with("_side_in") => side(estimate, unit),
                    // Three digits that count: 9.7 under a limit of 10 must not read as 10.
                    "print_snr_midtone" => cell(estimate, places(estimate.value.unwrap_or_default())),
                    _ => cell(estimate, c.1),
                }
            }));
            row.push(answer.by.said(step.meets_brief).to_string());
            grid.row(row);
        }
        text.push_str(&grid.text());
        for warning in &group.warnings {
            text.push_str(&wrap(&format!("  Note: {warning}"), "    "));
        }
        text.push('\n');
    }
    if !single.is_empty() {
        text.push_str(single_heading(answer.by));
        for group in single {
            text.push_str(&wrap(&format!("  {}", group.answer), "    "));
        }
        text.push('\n');
    }
    for warning in &answer.warnings {
        text.push_str(&wrap(&format!("Note: {warning}"), "  "));
    }
    if answer.groups.iter().flat_map(|g| &g.steps).any(|s| s.readings.0.iter().any(|r| r.1.low.is_some())) {
        text.push_str("Medians, with their 90 % intervals in brackets.\n");
    }
    text
}

fn single_heading(by: By) -> &'static str {
    match by {
        By::Iso => "One ISO only, nothing to compare:\n",
        By::Aperture => "One f-stop only, nothing to compare:\n",
        By::Shutter => "Too few frames to count shares:\n",
        By::Camera => "One camera only:\n",
    }
}

/// Whether the group takes all focal lengths together.
fn over_all(group: &Group) -> bool {
    group.key.0.iter().any(|k| k.1 == Setting::Text("all".into()))
}

fn step_text(by: By, group: &Group, step: &Step) -> String {
    let over_all = over_all(group);
    match (by, &step.setting) {
        (By::Iso, Setting::Number(iso)) => format!("{iso:.0}"),
        (By::Aperture, Setting::Number(n)) => format!("f/{}", short(*n)),
        // Over all focal lengths a step is exposure time x focal length.
        (By::Shutter, Setting::Number(s)) if over_all && *s < 1.0 => format!("1/({} f)", short(1.0 / s)),
        (By::Shutter, Setting::Number(s)) if over_all => format!("{}/f", short(*s)),
        (By::Shutter, Setting::Number(s)) => shutter_text(*s),
        (_, setting) => setting_text(setting),
    }
}

/// A side of a print, inches, in the brief's unit; rounded down as every size that is a most.
fn side(estimate: Estimate, unit: PictureUnit) -> String {
    let shown = |inches: f64| length::most(inches * length::MM_PER_INCH, unit);
    match (estimate.value.map(shown), estimate.low.map(shown), estimate.high.map(shown)) {
        (Some(value), Some(low), Some(high)) if low != high => format!("{value} ({low}-{high})"),
        (Some(value), ..) => value,
        _ => String::new(),
    }
}

/// A median and its interval, with as many places each.
fn cell(estimate: Estimate, digits: usize) -> String {
    let shown = |value: f64| format!("{value:.digits$}");
    match (estimate.value.map(&shown), estimate.low.map(&shown), estimate.high.map(&shown)) {
        // An interval that vanishes in the digits shown only takes room.
        (Some(value), Some(low), Some(high)) if low != high => format!("{value} ({low}-{high})"),
        (Some(value), ..) => value,
        _ => String::new(),
    }
}
