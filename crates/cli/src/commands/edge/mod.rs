//! `rawassay edge`.

mod write;

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ArgGroup;
use clap::builder::Resettable;
use rawassay_analysis::bench::edge_checks::Standing;
use rawassay_analysis::bench::slanted_edge::{EdgeResponse, GOOD_SLANT_DEG, SlantedEdges, good_slant, slanted_edges};
use rawassay_decode::{Area, PitchFrom, Shot};
use rawassay_report::table::printable;
use serde::Serialize;

use super::shared;
use crate::answer::{AnswerArguments, Form};
use crate::messages::{Exit, Failure};
use crate::output::Sink;
use crate::target::{Target, same};

pub use write::COLUMNS;
use write::{csv, drawing, json, table};

/// Measure a slanted edge of a test target: contrast by spatial frequency (ISO 12233 method)
///
/// Photograph a straight dark-to-light edge, turned by about 5 degrees against the rows or columns, evenly lit, neither
/// side clipped. Without --region the long straight edges of the frame are found and measured, each filter colour by
/// itself, on the raw samples. Of a house or a mast the edge itself is measured too: only a target tells of the lens.
#[derive(clap::Args)]
#[command(
    group = ArgGroup::new("written").args(["out", "plot"]).multiple(true),
    mut_arg("force", |force| force
        .requires(Resettable::Reset)
        .requires("written")
        .help("Replace the file at --out or --plot though rawassay did not write it (never a raw, an input or a record)"))
)]
pub struct Edge {
    /// Raw files with the target
    #[arg(value_name = "FRAME", required = true)]
    frames: Vec<PathBuf>,
    /// Where the edge lies in each: columns x rows + first column + first row of the picture as stored
    #[arg(long, value_name = "WxH+X+Y", value_parser = shared::region)]
    region: Option<Area>,
    /// Draw the curves, by filter colour, as SVG into this file
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    answer: AnswerArguments,
}

/// The edges of a frame, with what is needed to compare them with others.
#[derive(Serialize)]
struct Answer {
    file: String,
    make: Option<String>,
    model: Option<String>,
    lens: Option<String>,
    focal_mm: Option<f64>,
    f_number: Option<f64>,
    iso: Option<f64>,
    shutter_s: Option<f64>,
    width_px: Option<usize>,
    height_px: Option<usize>,
    pixel_pitch_um: Option<f64>,
    pitch_from: Option<PitchFrom>,
    method: &'static str,
    program: &'static str,
    edges: Vec<EdgeResponse>,
    /// False where the frame could not be looked at.
    #[serde(skip)]
    read: bool,
    /// Why nothing could be measured; absent where something was.
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    notes: Vec<String>,
}

impl Answer {
    /// True where an edge gave figures.
    fn measured(&self) -> bool {
        self.edges.iter().any(|e| e.standing != Standing::Undetermined)
    }
}

const METHOD: &str = "edge-based spatial frequency response after ISO 12233, by filter colour on the mosaic, bins of 1/4 px, flat-topped window";
const PROGRAM: &str = concat!("rawassay ", env!("CARGO_PKG_VERSION"));

impl Edge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let plan = self.answer.plan(&self.frames)?;
        let plot = self.plot()?;
        let mut answers = Vec::new();
        let mut failures = Vec::new();
        for path in &self.frames {
            match self.measure(path) {
                Ok(answer) => answers.push(answer),
                Err(failure) if self.frames.len() == 1 => return Err(failure),
                Err(failure) => {
                    answers.push(self.unread(path, &failure));
                    failures.push(failure);
                }
            }
        }
        for failure in &failures {
            crate::messages::error(&failure.to_string());
        }
        if failures.len() == self.frames.len() {
            let line = "no slanted edge measured in any of the frames, see above";
            // What is wrong usage with one frame is so with all.
            let usage = failures.iter().all(|failure| failure.exit() == Exit::Usage);
            return Err(if usage { Failure::usage(line) } else { Failure::nothing(line) });
        }
        let measured = answers.iter().filter(|a| a.measured()).count();
        if let Some(plot) = plot.as_ref().filter(|_| measured > 0) {
            let mut sink = Sink::open(Some(plot))?;
            sink.write_all(drawing(&answers).as_bytes()).or_else(|e| sink.fault(e))?;
            sink.finish()?;
            crate::messages::say(&format!("drawn in {}", plot.path().display()));
        }
        plan.write("edge", |out| match (plan.form, answers.as_slice()) {
            (Form::Json, [one]) if self.frames.len() == 1 => json(one, out),
            (Form::Json, _) => json(&answers, out),
            (Form::Csv, _) => csv(&answers, out),
            (Form::Table, _) => table(&answers, out),
        })?;
        // Of what was not even read it is said above.
        for answer in answers.iter().filter(|answer| answer.read) {
            if let Some(why) = &answer.error {
                crate::messages::error(&format!("{}: no slanted edge measured: {why}", printable(&answer.file)));
            }
        }
        Ok(match measured {
            0 => Exit::Nothing,
            n if n == self.frames.len() => Exit::Done,
            _ => Exit::SomeUnmeasured,
        })
    }

    /// Where the drawing goes, checked; the answer, written after it, must not go over it.
    fn plot(&self) -> Result<Option<Target>, Failure> {
        let Some(plot) = self.plot.as_deref() else { return Ok(None) };
        if self.answer.file.out.as_deref().is_some_and(|out| same(plot, out)) {
            return Err(Failure::usage(format!(
                "--plot {}: --out writes to this file too; name another file",
                printable(&plot.display().to_string())
            )));
        }
        Target::check("--plot", plot, self.answer.file.force, &self.frames).map(Some)
    }

    /// The answer for a frame that could not be looked at.
    fn unread(&self, path: &Path, failure: &Failure) -> Answer {
        let file = path.display().to_string();
        let line = failure.to_string();
        let error = line.strip_prefix(&format!("{file}: ")).unwrap_or(&line).to_string();
        Answer {
            file,
            make: None,
            model: None,
            lens: None,
            focal_mm: None,
            f_number: None,
            iso: None,
            shutter_s: None,
            width_px: None,
            height_px: None,
            pixel_pitch_um: None,
            pitch_from: None,
            method: METHOD,
            program: PROGRAM,
            edges: Vec::new(),
            read: false,
            error: Some(error),
            notes: Vec::new(),
        }
    }

    fn measure(&self, path: &Path) -> Result<Answer, Failure> {
        shared::no_folder(path)?;
        let file = path.display().to_string();
        let frame = rawassay_decode::open(path).map_err(|e| Failure::nothing(format!("{file}: {e}")))?;
        let channels = rawassay_analysis::measure(&frame).channels;
        let (width_px, height_px) = frame.picture_size();
        if let Some(region) = self.region.filter(|r| !rawassay_analysis::crop::inside(r, width_px, height_px)) {
            return Err(Failure::usage(format!(
                "{file}: region {} does not lie inside the picture of {width_px} x {height_px} px",
                rawassay_analysis::crop::text(&region)
            )));
        }
        let hint = if self.region.is_some() { "" } else { "; name the place of an edge with --region WxH+X+Y" };
        let (edges, unmeasured, mut error) = match slanted_edges(&frame, &channels, self.region) {
            Ok(SlantedEdges { edges, notes }) => (edges, notes, None),
            Err(why) => (Vec::new(), Vec::new(), Some(format!("{why}{hint}"))),
        };
        let told = standings(&edges);
        if error.is_none() && edges.iter().all(|e| e.standing == Standing::Undetermined) {
            error = Some(format!("{}{hint}", told.join("; ")));
        }
        let mut notes = told;
        notes.extend(cautions(&edges, self.region.is_some()));
        notes.extend(unmeasured);
        let Shot { make, model, lens, focal_mm, f_number, iso, shutter_s, pixel_pitch_um, pitch_from, .. } =
            frame.shot.clone();
        Ok(Answer {
            file,
            make,
            model,
            lens,
            focal_mm,
            f_number,
            iso,
            shutter_s,
            width_px: Some(width_px),
            height_px: Some(height_px),
            pixel_pitch_um,
            pitch_from,
            method: METHOD,
            program: PROGRAM,
            edges,
            read: true,
            error,
            notes,
        })
    }
}

/// What is worth less than all, and why: colours of one edge with the same reasons on one line.
fn standings(edges: &[EdgeResponse]) -> Vec<String> {
    let mut told: Vec<(usize, Standing, String, Vec<&str>)> = Vec::new();
    for e in edges.iter().filter(|e| !e.reasons.is_empty()) {
        let why = e.reasons.join("; ");
        match told.iter_mut().find(|t| (t.0, t.1) == (e.edge, e.standing) && t.2 == why) {
            Some(same) => same.3.push(&e.plane),
            None => told.push((e.edge, e.standing, why, vec![&e.plane])),
        }
    }
    let line = |(edge, standing, why, planes): (usize, Standing, String, Vec<&str>)| {
        format!("edge {edge} {}: {}: {why}", planes.join(", "), standing.word())
    };
    told.into_iter().map(line).collect()
}

/// What to be careful of.
fn cautions(edges: &[EdgeResponse], named: bool) -> Vec<String> {
    let mut notes = Vec::new();
    let mut say = |is: bool, text: String| {
        if is {
            notes.push(text);
        }
    };
    let (least, most) = GOOD_SLANT_DEG;
    say(
        edges.iter().any(|e| !good_slant(e.slant_deg)),
        format!(
            "an edge slanted by {least} to {most} degrees off the rows or columns samples the pixels evenly; these are not all"
        ),
    );
    let others = edges.iter().map(|e| e.other_edges).max().unwrap_or(0);
    say(
        others > 0,
        format!(
            "the region holds {} straight edges; the longest was measured: name a smaller region for another",
            others + 1
        ),
    );
    say(
        !named && !edges.is_empty() && edges.iter().all(|e| e.length_px < 400.0),
        "these edges were found, not named: one of a house or a mast is no perfect step, and looks softer than the lens is".into(),
    );
    say(
        edges.iter().any(|e| e.mtf10_cy_px.is_some_and(|f| f > 0.5)),
        "* beyond 0.5 cycles per pixel, where the sensor shows false detail, not finer detail".into(),
    );
    notes
}
