//! The answer of `edge` as JSON, CSV, table and drawing.

use std::io::Write;

use rawassay_analysis::Camera;
use rawassay_analysis::bench::edge_checks::Standing;
use rawassay_decode::PitchFrom;
use rawassay_report::numbers::write_json_pretty;
use rawassay_report::page::units;
use rawassay_report::table::{Weight, printable};
use rawassay_report::{ReportError, Table};
use serde::Serialize;

use super::Answer;
use crate::output;

/// The curves of all edges.
pub(super) fn drawing(answers: &[Answer]) -> String {
    let curves: Vec<(String, Vec<(f64, f64)>)> = answers
        .iter()
        .flat_map(|a| &a.edges)
        .filter(|e| e.standing != Standing::Undetermined)
        .map(|e| (e.plane.clone(), e.curve.iter().map(|[f, mtf]| (*f, *mtf)).collect()))
        .collect();
    let files: Vec<&str> = answers.iter().map(|a| a.file.as_str()).collect();
    rawassay_report::plot::edge::target(&curves, format!("{} curves of {}", curves.len(), files.join(", ")))
}

pub(super) fn json(answer: &impl Serialize, out: &mut dyn Write) -> Result<(), ReportError> {
    write_json_pretty(&mut *out, answer)?;
    Ok(writeln!(out)?)
}

/// Columns of the CSV: one row for each point of a curve; of an edge without one, and of a frame without an edge, one row.
pub const COLUMNS: [&str; 26] = [
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
    "standing",
    "reasons",
    "error",
];

pub(super) fn csv(answers: &[Answer], out: &mut dyn Write) -> Result<(), ReportError> {
    // Into memory first: an error of the output would lose its kind on the way through the table's writer.
    let mut table = Vec::new();
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(&mut table);
    let io = |e: csv::Error| std::io::Error::from(e);
    writer.write_record(COLUMNS).map_err(io)?;
    let known = |v: Option<f64>, digits: usize| v.map_or_else(String::new, |v| format!("{v:.digits$}"));
    let plain = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
    let text = |v: &Option<String>| v.clone().unwrap_or_default();
    for a in answers {
        let shot = [
            a.file.clone(),
            text(&a.make),
            text(&a.model),
            text(&a.lens),
            plain(a.f_number),
            plain(a.iso),
            known(a.pixel_pitch_um, 4),
            a.pitch_from.map_or_else(String::new, |from| pitch_word(from).into()),
        ];
        if a.edges.is_empty() {
            let empty = COLUMNS.len() - shot.len() - 1;
            let row = shot.iter().cloned().chain(std::iter::repeat_n(String::new(), empty)).chain([text(&a.error)]);
            writer.write_record(row).map_err(io)?;
        }
        for e in &a.edges {
            // Undetermined: one row without a curve.
            let points = e.curve.iter().copied().map(Some);
            for point in points.chain(e.curve.is_empty().then_some(None)) {
                let row = [
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
                    known(point.map(|p| p[0]), 3),
                    known(point.map(|p| p[1]), 5),
                    e.standing.word().into(),
                    e.reasons.join("; "),
                    text(&a.error),
                ];
                // A row that is too short or too long is an error of the writer.
                writer.write_record(shot.iter().chain(&row)).map_err(io)?;
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
    parts.extend(Camera { make: a.make.as_deref(), model: a.model.as_deref(), serial: None }.make_and_model());
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

pub(super) fn table(answers: &[Answer], out: &mut dyn Write) -> Result<(), ReportError> {
    // Of a frame without an edge there is nothing to tell here; stderr says why.
    let told = || answers.iter().filter(|a| !a.edges.is_empty());
    if told().count() == 0 {
        return Ok(());
    }
    for (i, a) in told().enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        let size = a.width_px.zip(a.height_px).map(|(width, height)| format!(" {width} x {height} px,"));
        writeln!(out, "{}:{} slanted edges by filter colour", printable(&a.file), size.unwrap_or_default())?;
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
    let worth = a.edges.iter().any(|e| e.standing != Standing::Measured);
    if worth {
        headings.push("worth");
    }
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
        if worth {
            cells.push(e.standing.word().into());
        }
        rows.row(cells, Weight::Plain);
    }
    rows
}
