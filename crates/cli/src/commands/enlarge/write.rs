//! The answer of `enlarge` as JSON, CSV and table.

use std::io::Write;

use rawassay_analysis::brief::PictureUnit;
use rawassay_analysis::brief::length::{self, short};
use rawassay_analysis::crop::Crop;
use rawassay_analysis::enlarge::{Distance, Ladder, Rung};
use rawassay_analysis::judge::IfAccepted;
use rawassay_analysis::{Brief, LargestPrint, Outcome};
use rawassay_report::numbers::{rounded, write_json_pretty};
use rawassay_report::table::Weight;
use rawassay_report::{ReportError, Status, Table};
use serde::Serialize;

use crate::output;

/// What is told of a file besides its ladder.
pub(super) struct Head {
    pub(super) file: String,
    pub(super) status: Status,
    pub(super) error: Option<String>,
}

/// The ladder of a file, as it is written.
#[derive(Serialize)]
struct Answer<'a> {
    file: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<&'a str>,
    #[serde(flatten)]
    ladder: &'a Ladder,
}

pub(super) fn json(ladders: &[(Head, Ladder)], single: bool, out: &mut dyn Write) -> Result<(), ReportError> {
    let answers: Vec<Answer<'_>> = ladders
        .iter()
        .map(|(record, ladder)| Answer { file: &record.file, error: record.error.as_deref(), ladder })
        .collect();
    match answers.as_slice() {
        [one] if single => write_json_pretty(&mut *out, one)?,
        _ => write_json_pretty(&mut *out, &answers)?,
    }
    Ok(writeln!(out)?)
}

/// Columns of the CSV.
pub const COLUMNS: [&str; 18] = [
    "file",
    "paper",
    "width_in",
    "height_in",
    "distance_mm",
    "ppi",
    "asks_width_px",
    "asks_height_px",
    "edges_ask_width_px",
    "edges_ask_height_px",
    "rise_mm",
    "asks_rise_mm",
    "motion_mm",
    "asks_motion_mm",
    "snr_midtone",
    "snr_lifted",
    "outcome",
    "limited_by",
];

/// One row per rung.
pub(super) fn csv(ladders: &[(Head, Ladder)]) -> Vec<Vec<String>> {
    let number = |v: f64| rounded(v).to_string();
    let known = |v: Option<f64>| v.map_or_else(String::new, number);
    let mut rows = vec![COLUMNS.map(String::from).to_vec()];
    for (record, ladder) in ladders {
        rows.extend(ladder.rungs.iter().map(|r| {
            vec![
                record.file.clone(),
                r.paper.clone(),
                number(r.width_in),
                number(r.height_in),
                number(r.distance_mm),
                number(r.ppi),
                number(r.asks_px[0]),
                number(r.asks_px[1]),
                known(r.edges_ask_px.map(|px| px[0])),
                known(r.edges_ask_px.map(|px| px[1])),
                known(r.rise_mm),
                number(r.asks_rise_mm),
                known(r.motion_mm),
                number(r.asks_motion_mm),
                known(r.snr_midtone),
                known(r.snr_lifted),
                r.outcome.to_string(),
                r.limited_by.clone().unwrap_or_default(),
            ]
        }));
    }
    rows
}

/// What limits a rung, in words.
fn verdict(rung: &Rung, unit: PictureUnit) -> String {
    match (&rung.outcome, &rung.limited_by) {
        (Outcome::Prints, _) => "prints".into(),
        (Outcome::Borderline, Some(by)) if unit.is_pixel() => format!("borderline: {by}; look at it at full size"),
        (Outcome::Borderline, Some(by)) => format!("borderline: {by}; make a proof print"),
        (outcome, Some(by)) => format!("{outcome}: {by}"),
        (outcome, None) => outcome.to_string(),
    }
}

fn largest(print: &LargestPrint, unit: PictureUnit) -> String {
    let size = sizes(print.width_in, print.height_in, unit);
    format!("{size} at {:.0} ppi, limited by {}", print.ppi, print.limited_by)
}

/// A largest size in the brief's unit, and in the other beside it.
fn sizes(width_in: f64, height_in: f64, unit: PictureUnit) -> String {
    let (w, h) = (width_in * length::MM_PER_INCH, height_in * length::MM_PER_INCH);
    format!("{} ({})", length::most_text(w, h, unit), length::most_text(w, h, unit.other()))
}

/// True where a dark frame's noise, lifted, is another than that of its mid-tones as metered.
fn lifted(r: &Rung) -> bool {
    r.snr_midtone.zip(r.snr_lifted).is_some_and(|(metered, lifted)| lifted < 0.9 * metered)
}

/// "85", or "85 (21)" with what is left of it once a dark frame is lifted.
fn noise_cell(r: &Rung) -> String {
    // Three digits that count: 9.7 under a limit of 10 must not read as 10.
    let whole = |v: Option<f64>| v.map_or_else(|| "-".into(), short);
    if lifted(r) {
        format!("{} ({})", whole(r.snr_midtone), whole(r.snr_lifted))
    } else {
        whole(r.snr_midtone.or(r.snr_lifted))
    }
}

/// The pixels that a size is held against, marked where the edges ask for more than the wanted resolution does.
fn wants(r: &Rung) -> String {
    let ([width, height], by_edges) = r.held_against_px();
    format!("{}{width:.0} x {height:.0}", if by_edges { "* " } else { "" })
}

/// What the mark of [`wants`] means.
fn edges_footnote(ladder: &Ladder, out: &mut dyn Write) -> Result<(), ReportError> {
    if ladder.rungs.iter().any(|r| r.held_against_px().1) {
        writeln!(
            out,
            "* more than the wanted resolution: edges as sharp, pixel by pixel, as these are too wide with fewer pixels"
        )?;
    }
    Ok(())
}

/// Why the noise is the same at several sizes, where it is, and what stands in brackets.
fn noise_footnote(ladder: &Ladder, out: &mut dyn Write) -> Result<(), ReportError> {
    if ladder.rungs.iter().any(lifted) {
        writeln!(out, "signal:noise in brackets: once the frame, which is dark, is lifted to a normal brightness")?;
    }
    let snr: Vec<f64> = ladder.rungs.iter().filter_map(|r| r.snr_midtone).collect();
    let same = snr.windows(2).filter(|w| (w[0] / w[1] - 1.0).abs() < 1e-6).count();
    if same > 0 {
        writeln!(
            out,
            "the mid-tone SNR falls no further where a pixel is larger than what the eye resolves: noise is then seen pixel by pixel"
        )?;
    }
    Ok(())
}

pub(super) fn table(
    ladders: &[(Head, Ladder)],
    brief: &Brief,
    distance: Distance,
    crop: Option<Crop>,
    out: &mut dyn Write,
) -> Result<(), ReportError> {
    let style = output::stdout_style();
    // Of a file that could not be read there is nothing to tell here; stderr says why.
    let told = ladders.iter().filter(|(record, _)| record.status != Status::Unreadable);
    for (i, (record, ladder)) in told.enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        let file = rawassay_report::table::printable(&record.file);
        let size = ladder.picture_px.map_or("no picture".into(), |[w, h]| format!("{w:.0} x {h:.0} px"));
        let from = match distance {
            Distance::Diagonal => "each seen from its diagonal".to_string(),
            Distance::Brief => format!("seen from {}", brief.distance_text()),
            Distance::Fixed(mm) => format!("seen from {} cm", short(mm / 10.0)),
        };
        let part = crop.map_or_else(String::new, |crop| format!(" of crop {}", crop.text()));
        writeln!(out, "{file}: {size}{part}, {from}, limits of {}", ladder.brief)?;
        if distance != Distance::Brief && !brief.is_built_in() {
            let at =
                brief.seen_from(if let Distance::Fixed(mm) = distance { mm } else { brief.output.distance_mm / 2.0 });
            if at.output.ppi_wanted.to_bits() == brief.output.ppi_wanted.to_bits() {
                writeln!(out, "{} ppi wanted, as the brief states, whatever the distance", brief.output.ppi_wanted)?;
            }
        }
        for line in &ladder.not_measured {
            writeln!(out, "not measured: {line}")?;
        }
        if ladder.rungs.is_empty() {
            continue;
        }
        let motion = ladder.rungs.iter().any(|r| r.motion_mm.is_some_and(|mm| mm > 0.0));
        let unit = brief.output.picture_unit();
        let (surface, honest, look) = if unit.is_pixel() {
            ("screen", "largest honest size ", "with a look at it    ")
        } else {
            ("paper", "largest honest print", "with a proof print   ")
        };
        let mut headings = vec![surface, ">picture on it", ">wants px", ">ppi", ">edge rise, mm", ">allowed, mm"];
        if motion {
            headings.extend([">motion, mm", ">allowed, mm"]);
        }
        headings.extend([">mid-tone SNR", "outcome"]);
        let mut rows = Table::new(style, &headings);
        let mm = |v: Option<f64>| v.map_or_else(|| "-".into(), |mm| format!("{mm:.2}"));
        for r in &ladder.rungs {
            let mut cells = vec![
                r.paper.clone(),
                length::most_text(r.width_in * length::MM_PER_INCH, r.height_in * length::MM_PER_INCH, unit),
                wants(r),
                format!("{:.0}", r.ppi),
                mm(r.rise_mm),
                format!("{:.2}", r.asks_rise_mm),
            ];
            if motion {
                cells.extend([mm(r.motion_mm), format!("{:.2}", r.asks_motion_mm)]);
            }
            cells.push(noise_cell(r));
            cells.push(verdict(r, unit));
            let weight = match r.outcome {
                Outcome::Prints => Weight::Strong,
                Outcome::Borderline => Weight::Plain,
                Outcome::Fails | Outcome::Unmeasured => Weight::Faint,
            };
            rows.row(cells, weight);
        }
        rows.write(out)?;
        match (&ladder.largest, &ladder.if_accepted) {
            (Some(most), _) => {
                writeln!(out, "{honest}  {}", largest(most, unit))?;
                if let Some(what) = &ladder.held_back_by {
                    writeln!(
                        out,
                        "                      as to size; for its {what} look at the outcomes above, size by size"
                    )?;
                }
            }
            (None, Some(accepted)) => {
                let size = sizes(accepted.width_in, accepted.height_in, unit);
                writeln!(out, "{honest}  none: {}", accepted.why_none(&size))?;
            }
            (None, None) if record.status == Status::Damaged => {
                writeln!(out, "{honest}  none: part of the file is missing or empty")?;
            }
            (None, None) => writeln!(out, "{}: not known, see above", honest.trim_end())?,
        }
        if let Some(proof) = &ladder.largest_with_proof {
            writeln!(out, "{look} {}", largest(proof, unit))?;
        }
        if let Some(IfAccepted { what, width_in, height_in, .. }) = &ladder.if_accepted {
            writeln!(
                out,
                "by size alone         {}, for whoever accepts the {what}",
                sizes(*width_in, *height_in, unit)
            )?;
        }
        edges_footnote(ladder, out)?;
        noise_footnote(ladder, out)?;
    }
    Ok(())
}
