//! `rawassay edge`.

use std::io::Write;
use std::path::{Path, PathBuf};

use rawassay_analysis::bench::slanted_edge::{EdgeResponse, GOOD_SLANT_DEG, SlantedEdges, good_slant, slanted_edges};
use rawassay_decode::{Area, PitchFrom, Shot};
use rawassay_report::numbers::write_json_pretty;
use rawassay_report::page::units;
use rawassay_report::table::{Weight, printable};
use rawassay_report::{ReportError, Table};
use serde::Serialize;

use super::shared;
use crate::answer::{AnswerArguments, Form};
use crate::messages::{Exit, Failure};
use crate::output::{self, Sink};
use crate::target::Target;

/// Measure a slanted edge of a test target: contrast by spatial frequency (ISO 12233 method)
///
/// Photograph a straight dark-to-light edge, turned by about 5 degrees against the rows or columns, evenly lit, neither
/// side clipped. Without --region the long straight edges of the frame are found and measured, each filter colour by
/// itself, on the raw samples. Of a house or a mast the edge itself is measured too: only a target tells of the lens.
#[derive(clap::Args)]
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

/// An edge shorter than this is told with a caution, px.
const SHORT_PX: f64 = 80.0;

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
    width_px: usize,
    height_px: usize,
    pixel_pitch_um: Option<f64>,
    pitch_from: Option<PitchFrom>,
    method: &'static str,
    program: &'static str,
    edges: Vec<EdgeResponse>,
    notes: Vec<String>,
}

const METHOD: &str = "edge-based spatial frequency response after ISO 12233, by filter colour on the mosaic, bins of 1/4 px, flat-topped window";
const PROGRAM: &str = concat!("rawassay ", env!("CARGO_PKG_VERSION"));

impl Edge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let plan = self.answer.plan(&self.frames)?;
        let plot = self.plot.as_deref().map(|plot| Target::check("--plot", plot, self.answer.file.force, &self.frames));
        let plot = plot.transpose()?;
        let mut answers = Vec::new();
        let mut failures = Vec::new();
        for path in &self.frames {
            match self.measure(path) {
                Ok(answer) => answers.push(answer),
                Err(failure) if self.frames.len() == 1 => return Err(failure),
                Err(failure) => failures.push(failure),
            }
        }
        for failure in &failures {
            crate::messages::error(&failure.to_string());
        }
        if answers.is_empty() {
            return Err(Failure::nothing("no slanted edge measured in any of the frames, see above"));
        }
        if let Some(plot) = &plot {
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
        Ok(if failures.is_empty() { Exit::Done } else { Exit::SomeUnmeasured })
    }

    fn measure(&self, path: &Path) -> Result<Answer, Failure> {
        shared::no_folder(path)?;
        let file = path.display().to_string();
        let frame = rawassay_decode::open(path).map_err(|e| Failure::nothing(format!("{file}: {e}")))?;
        let channels = rawassay_analysis::measure(&frame).channels;
        let SlantedEdges { edges, notes: unmeasured } =
            slanted_edges(&frame, &channels, self.region).map_err(|why| {
                let hint = if self.region.is_some() { "" } else { "; name the place of an edge with --region WxH+X+Y" };
                Failure::nothing(format!("{file}: no slanted edge measured: {why}{hint}"))
            })?;
        let mut notes = cautions(&edges, self.region.is_some());
        notes.extend(unmeasured);
        let (width_px, height_px) = frame.picture_size();
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
            width_px,
            height_px,
            pixel_pitch_um,
            pitch_from,
            method: METHOD,
            program: PROGRAM,
            edges,
            notes,
        })
    }
}

/// The curves of all edges.
fn drawing(answers: &[Answer]) -> String {
    let curves: Vec<(String, Vec<(f64, f64)>)> = answers
        .iter()
        .flat_map(|a| &a.edges)
        .map(|e| (e.plane.clone(), e.curve.iter().map(|[f, mtf]| (*f, *mtf)).collect()))
        .collect();
    let files: Vec<&str> = answers.iter().map(|a| a.file.as_str()).collect();
    rawassay_report::plot::edge::target(&curves, format!("{} curves of {}", curves.len(), files.join(", ")))
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
    say(
        edges.iter().any(|e| e.length_px < SHORT_PX),
        format!("an edge shorter than {SHORT_PX} px tells little: see the standard errors"),
    );
    let others = edges.iter().map(|e| e.other_edges).max().unwrap_or(0);
    say(
        others > 0,
        format!(
            "the region holds {} straight edges; the longest was measured: name a smaller region for another",
            others + 1
        ),
    );
    let cut = edges.iter().find(|e| named && e.side_px < e.side_wanted_px - 0.5);
    if let Some(edge) = cut {
        say(
            true,
            format!(
                "only {:.0} px of plain side were used beside an edge, {:.0} would hold its whole spread: give the region more room",
                edge.side_px, edge.side_wanted_px
            ),
        );
    }
    say(
        !named && edges.iter().all(|e| e.length_px < 400.0),
        "these edges were found, not named: one of a house or a mast is no perfect step, and looks softer than the lens is".into(),
    );
    say(
        edges.iter().any(|e| e.mtf10_cy_px.is_some_and(|f| f > 0.5)),
        "* beyond 0.5 cycles per pixel, where the sensor shows false detail, not finer detail".into(),
    );
    notes
}

fn json(answer: &impl Serialize, out: &mut dyn Write) -> Result<(), ReportError> {
    write_json_pretty(&mut *out, answer)?;
    Ok(writeln!(out)?)
}

/// Columns of the CSV: one row for each point of a curve.
pub const COLUMNS: [&str; 23] = [
    "file",
    "make",
    "model",
    "lens",
    "f_number",
    "iso",
    "pixel_pitch_um",
    "pitch_from",
    "edge",
    "region",
    "plane",
    "angle_deg",
    "slant_deg",
    "length_px",
    "rise_px",
    "rise_se_px",
    "mtf50_cy_px",
    "mtf50_se_cy_px",
    "mtf50_lp_mm",
    "mtf10_cy_px",
    "mtf10_se_cy_px",
    "f_cy_px",
    "mtf",
];

fn csv(answers: &[Answer], out: &mut dyn Write) -> Result<(), ReportError> {
    // Into memory first: an error of the output would lose its kind on the way through the table's writer.
    let mut table = Vec::new();
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(&mut table);
    let io = |e: csv::Error| std::io::Error::from(e);
    writer.write_record(COLUMNS).map_err(io)?;
    let known = |v: Option<f64>, digits: usize| v.map_or_else(String::new, |v| format!("{v:.digits$}"));
    let plain = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
    let text = |v: &Option<String>| v.clone().unwrap_or_default();
    for a in answers {
        for e in &a.edges {
            for [f, mtf] in &e.curve {
                let row: [String; COLUMNS.len()] = [
                    a.file.clone(),
                    text(&a.make),
                    text(&a.model),
                    text(&a.lens),
                    plain(a.f_number),
                    plain(a.iso),
                    known(a.pixel_pitch_um, 4),
                    a.pitch_from.map_or_else(String::new, |from| pitch_word(from).into()),
                    e.edge.to_string(),
                    rawassay_analysis::crop::text(&e.region),
                    e.plane.clone(),
                    format!("{:.3}", e.angle_deg),
                    format!("{:.3}", e.slant_deg),
                    format!("{:.1}", e.length_px),
                    known(e.rise_px, 5),
                    known(e.rise_se_px, 5),
                    known(e.mtf50_cy_px, 5),
                    known(e.mtf50_se_cy_px, 5),
                    known(e.mtf50_lp_mm, 3),
                    known(e.mtf10_cy_px, 5),
                    known(e.mtf10_se_cy_px, 5),
                    format!("{f:.3}"),
                    format!("{mtf:.5}"),
                ];
                writer.write_record(&row).map_err(io)?;
            }
        }
    }
    writer.flush()?;
    drop(writer);
    Ok(out.write_all(&table)?)
}

/// The word of the scorecard.
fn pitch_word(from: PitchFrom) -> &'static str {
    match from {
        PitchFrom::FocalPlaneResolution => "focal-plane-resolution",
        PitchFrom::Focal35 => "focal35",
    }
}

/// Camera, lens and settings on one line.
fn shot_line(a: &Answer) -> String {
    let mut parts: Vec<String> = Vec::new();
    let camera: Vec<&str> = [&a.make, &a.model].into_iter().flatten().map(String::as_str).collect();
    // Many models begin with their maker's name.
    parts.push(match camera.as_slice() {
        [make, model] if !model.starts_with(make) => format!("{make} {model}"),
        [_, model] => (*model).to_string(),
        rest => rest.concat(),
    });
    parts.extend(a.lens.clone());
    parts.extend(a.f_number.map(units::aperture));
    parts.extend(a.iso.map(|iso| format!("ISO {iso:.0}")));
    parts.extend(a.shutter_s.map(units::shutter));
    parts.push(match (a.pixel_pitch_um, a.pitch_from) {
        (Some(pitch), Some(PitchFrom::FocalPlaneResolution)) => format!("pixels of {pitch:.2} um, as the file states"),
        (Some(pitch), _) => format!("pixels of {pitch:.2} um, worked out from the 35 mm equivalent (a few per cent)"),
        (None, _) => "pixel size not known, so no line pairs per mm".into(),
    });
    parts.retain(|part| !part.is_empty());
    printable(&parts.join(", "))
}

fn table(answers: &[Answer], out: &mut dyn Write) -> Result<(), ReportError> {
    for (i, a) in answers.iter().enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        writeln!(out, "{}: {} x {} px, slanted edges by filter colour", printable(&a.file), a.width_px, a.height_px)?;
        writeln!(out, "{}", shot_line(a))?;
        rows(a).write(out)?;
        for note in &a.notes {
            writeln!(out, "note: {note}")?;
        }
    }
    Ok(writeln!(
        out,
        "\nslant: off the rows or columns; +-: one standard error, from pieces along the edge; at f: contrast left at f cycles\n\
         per pixel; rise: 10 to 90 %. MTF50: half the contrast left. `rawassay explain mtf50` tells more."
    )?)
}

fn rows(a: &Answer) -> Table {
    let pitch = a.edges.iter().any(|e| e.mtf50_lp_mm.is_some());
    let mut headings =
        vec![">edge", "region", "plane", ">slant", ">length px", ">rise px +-", ">MTF50 cy/px +-", ">MTF10 cy/px +-"];
    if pitch {
        headings.push(">MTF50 lp/mm");
    }
    headings.extend([">at 0.1", ">at 0.25", ">at 0.4"]);
    let mut rows = Table::new(output::stdout_style(), &headings);
    let known = |v: Option<f64>, digits: usize| v.map_or_else(|| "-".into(), |v| format!("{v:.digits$}"));
    let with_error = |v: Option<f64>, se: Option<f64>, digits: usize| match (v, se) {
        (Some(v), Some(se)) => format!("{v:.digits$} {se:.digits$}"),
        _ => known(v, digits),
    };
    for e in &a.edges {
        let at = |f: f64| {
            let near = e.curve.windows(2).find(|p| p[0][0] <= f && f <= p[1][0]);
            near.map(|p| p[0][1] + (p[1][1] - p[0][1]) * (f - p[0][0]) / (p[1][0] - p[0][0]))
        };
        let beyond = if e.mtf10_cy_px.is_some_and(|f| f > 0.5) { "*" } else { "" };
        let mut cells = vec![
            e.edge.to_string(),
            rawassay_analysis::crop::text(&e.region),
            e.plane.clone(),
            format!("{:.1}", e.slant_deg),
            format!("{:.0}", e.length_px),
            with_error(e.rise_px, e.rise_se_px, 3),
            with_error(e.mtf50_cy_px, e.mtf50_se_cy_px, 4),
            format!("{beyond}{}", with_error(e.mtf10_cy_px, e.mtf10_se_cy_px, 4)),
        ];
        if pitch {
            cells.push(known(e.mtf50_lp_mm, 1));
        }
        cells.extend([0.1, 0.25, 0.4].map(|f| known(at(f), 2)));
        rows.row(cells, Weight::Plain);
    }
    rows
}
