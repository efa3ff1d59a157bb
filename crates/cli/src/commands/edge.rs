//! `rawassay edge`.

use std::io::Write;
use std::path::PathBuf;

use rawassay_analysis::bench::slanted_edge::{EdgeResponse, GOOD_SLANT_DEG, slanted_edges};
use rawassay_decode::{Area, Frame};
use rawassay_report::table::{Weight, printable};
use rawassay_report::{ReportError, Table};
use serde::Serialize;

use super::shared;
use crate::answer::{AnswerArguments, Form};
use crate::messages::{Exit, Failure};
use crate::output;

/// Measure a slanted edge of a test target: contrast by spatial frequency (ISO 12233 method)
///
/// Photograph a straight dark-to-light edge, turned by about 5 degrees against the rows or columns, evenly lit, neither
/// side clipped. Without --region the long straight edges of the frame are found and measured, each filter colour by
/// itself, on the raw samples.
#[derive(clap::Args)]
pub struct Edge {
    /// Raw file with the target
    frame: PathBuf,
    /// Where the edge lies: columns x rows + first column + first row of the picture as stored
    #[arg(long, value_name = "WxH+X+Y", value_parser = shared::region)]
    region: Option<Area>,
    #[command(flatten)]
    answer: AnswerArguments,
}

#[derive(Serialize)]
struct Answer<'a> {
    file: String,
    edges: &'a [EdgeResponse],
}

impl Edge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let plan = self.answer.plan(std::slice::from_ref(&self.frame))?;
        let name = self.frame.display().to_string();
        let frame = rawassay_decode::open(&self.frame).map_err(|e| Failure::nothing(format!("{name}: {e}")))?;
        let channels = rawassay_analysis::measure(&frame).channels;
        let edges = slanted_edges(&frame, &channels, self.region).map_err(|why| {
            let hint = if self.region.is_some() { "" } else { "; name the place of an edge with --region WxH+X+Y" };
            Failure::nothing(format!("{name}: no slanted edge measured: {why}{hint}"))
        })?;
        plan.write("edge", |out| match plan.form {
            Form::Json => Ok(json(&name, &edges, out)?),
            Form::Csv => Ok(csv(&name, &edges, out)?),
            Form::Table => table(&name, &frame, &edges, out),
        })?;
        Ok(Exit::Done)
    }
}

fn json(file: &str, edges: &[EdgeResponse], out: &mut dyn Write) -> std::io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, &Answer { file: file.to_string(), edges })?;
    writeln!(out)
}

/// Columns of the CSV.
pub const COLUMNS: [&str; 11] = [
    "file",
    "edge",
    "region",
    "plane",
    "angle_deg",
    "slant_deg",
    "rise_px",
    "mtf50_cy_px",
    "mtf10_cy_px",
    "f_cy_px",
    "mtf",
];

fn csv(file: &str, edges: &[EdgeResponse], out: &mut dyn Write) -> std::io::Result<()> {
    write!(out, "{}\r\n", COLUMNS.join(","))?;
    let quoted =
        if file.contains([',', '"', '\n', '\r']) { format!("\"{}\"", file.replace('"', "\"\"")) } else { file.into() };
    let known = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.5}"));
    let mut number = 0;
    let mut before: Option<(&str, f64)> = None;
    for edge in edges {
        // The colours of one edge follow each other; the first colour comes back with the next edge.
        let first = edges.first().map(|e| e.plane.as_str());
        if before.is_none() || first == Some(edge.plane.as_str()) {
            number += 1;
        }
        before = Some((edge.plane.as_str(), edge.angle_deg));
        let [x, y, w, h] = edge.region;
        for [f, mtf] in &edge.curve {
            write!(
                out,
                "{quoted},{number},{w}x{h}+{x}+{y},{},{:.3},{:.3},{},{},{},{f:.3},{mtf:.5}\r\n",
                edge.plane,
                edge.angle_deg,
                edge.slant_deg,
                known(edge.rise_px),
                known(edge.mtf50_cy_px),
                known(edge.mtf10_cy_px),
            )?;
        }
    }
    Ok(())
}

fn table(file: &str, frame: &Frame, edges: &[EdgeResponse], out: &mut dyn Write) -> Result<(), ReportError> {
    let style = output::stdout_style();
    let (w, h) = frame.picture_size();
    writeln!(out, "{}: {w} x {h} px, slanted edges by filter colour", printable(file))?;
    let pitch = frame.shot.pixel_pitch_um.filter(|p| *p > 0.0);
    let mut headings = vec!["region", "plane", ">angle", ">length px", ">rise px", ">MTF50 cy/px", ">MTF10 cy/px"];
    if pitch.is_some() {
        headings.push(">MTF50 lp/mm");
    }
    headings.extend([">at 0.1", ">at 0.25", ">at 0.4"]);
    let mut rows = Table::new(style, &headings);
    let known = |v: Option<f64>, digits: usize| v.map_or_else(|| "-".into(), |v| format!("{v:.digits$}"));
    for edge in edges {
        let [x, y, w, h] = edge.region;
        let at = |f: f64| {
            let near = edge.curve.windows(2).find(|p| p[0][0] <= f && f <= p[1][0]);
            near.map(|p| p[0][1] + (p[1][1] - p[0][1]) * (f - p[0][0]) / (p[1][0] - p[0][0]))
        };
        let mut cells = vec![
            format!("{w}x{h}+{x}+{y}"),
            edge.plane.clone(),
            format!("{:.1}", edge.angle_deg),
            format!("{:.0}", edge.length_px),
            known(edge.rise_px, 2),
            known(edge.mtf50_cy_px, 3),
            known(edge.mtf10_cy_px, 3),
        ];
        if let Some(pitch) = pitch {
            cells.push(known(edge.mtf50_cy_px.map(|f| f * 1000.0 / pitch), 1));
        }
        cells.extend([0.1, 0.25, 0.4].map(|f| known(at(f), 2)));
        rows.row(cells, Weight::Plain);
    }
    rows.write(out)?;
    writeln!(
        out,
        "angle: of the edge, degrees anticlockwise from the rows; at f: contrast left at f cycles per pixel"
    )?;
    if edges.iter().any(|e| !(GOOD_SLANT_DEG.0..=GOOD_SLANT_DEG.1).contains(&e.slant_deg)) {
        writeln!(
            out,
            "caution: an edge slanted by {} to {} degrees off the rows or columns samples the pixels evenly; these are not all",
            GOOD_SLANT_DEG.0, GOOD_SLANT_DEG.1
        )?;
    }
    Ok(())
}
