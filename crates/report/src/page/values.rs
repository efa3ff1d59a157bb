//! Every value of the scorecard with its unit and a link to what it means.

use rawassay_analysis::explain;
use serde_json::Value;

use super::html::{esc, put};
use super::shoot::Sheet;
use super::units::{number, shutter};

/// Parts of the scorecard that are shown as tables, with their headings.
const PARTS: [(&str, &str); 8] = [
    ("print", "On the paper"),
    ("sharpness", "Sharpness"),
    ("blur", "Blur"),
    ("exposure", "Exposure"),
    ("noise", "Noise"),
    ("range", "Range"),
    ("shot", "Shot"),
    ("decoder", "Read by"),
];

/// The section.
pub(crate) fn section(out: &mut String, sheet: &Sheet) {
    let Ok(card) = serde_json::to_value(&sheet.card) else { return };
    out.push_str("<section class=\"values\" aria-labelledby=\"values-h\">\n<h2 id=\"values-h\">All values</h2>\n<div class=\"grid\">\n");
    for (part, heading) in PARTS {
        let Some(Value::Object(fields)) = card.get(part) else { continue };
        let mut rows = String::new();
        collect(&mut rows, part, fields);
        put!(out, "<table><caption>{heading}</caption><tbody>{rows}</tbody></table>\n");
    }
    channels(out, &card);
    put!(
        out,
        "<table><caption>File</caption><tbody><tr><th>size</th><td>{} bytes</td></tr><tr><th>status</th><td>{}</td></tr><tr><th>content hash</th><td class=\"hash\">{}</td></tr></tbody></table>\n</div>\n</section>\n",
        sheet.card.file_id.size,
        card.get("status").and_then(Value::as_str).unwrap_or(""),
        esc(&sheet.card.file_id.hash)
    );
}

/// Rows of one object; objects inside it follow with their name before theirs. Lists are drawn elsewhere.
fn collect(rows: &mut String, path: &str, fields: &serde_json::Map<String, Value>) {
    for (name, value) in fields {
        let path = format!("{path}.{name}");
        match value {
            Value::Object(inner) => collect(rows, &path, inner),
            Value::Array(_) => {}
            _ => row(rows, &path, value),
        }
    }
}

fn row(rows: &mut String, path: &str, value: &Value) {
    let (label, unit) = label_and_unit(path);
    rows.push_str("<tr><th>");
    match explain::find(path) {
        Some(found) => put!(rows, "<a href=\"../words.html#{}\">{}</a>", esc(found.word), esc(&label)),
        None => put!(rows, "{}", esc(&label)),
    }
    rows.push_str("</th><td>");
    match (path, value.as_f64()) {
        ("shot.shutter_s", Some(seconds)) => put!(rows, "{}", shutter(seconds)),
        // Sides of a print: those who cut paper in centimetres need not reckon.
        (_, Some(inches)) if unit == "in" => {
            put!(rows, "{}\u{a0}in ({}\u{a0}cm)", number(inches), number(2.54 * inches))
        }
        _ => cell(rows, value, unit),
    }
    rows.push_str("</td></tr>");
}

fn cell(out: &mut String, value: &Value, unit: &str) {
    match value {
        Value::Null => out.push_str("<span class=\"unknown\">unknown</span>"),
        Value::Number(n) => {
            // Counts stay whole; measures are rounded.
            let text = n.as_u64().map_or_else(|| number(n.as_f64().unwrap_or(f64::NAN)), |whole| whole.to_string());
            put!(out, "{text}{}{unit}", if unit.is_empty() { "" } else { "\u{a0}" });
        }
        Value::Bool(b) => out.push_str(if *b { "yes" } else { "no" }),
        Value::String(text) => put!(out, "{}", esc(text)),
        other => put!(out, "{}", esc(&other.to_string())),
    }
}

/// Units that field names end in, the longer ones first.
const UNITS: [(&str, &str); 22] = [
    ("_e_per_dn", "e\u{207b}/DN"),
    ("_cy_px", "cycles/px"),
    ("_lp_mm", "line pairs/mm"),
    ("_pct", "%"),
    ("_px", "px"),
    ("_um", "\u{b5}m"),
    ("_mm", "mm"),
    ("_cm", "cm"),
    ("_in", "in"),
    ("_ev", "EV"),
    ("_dn", "DN"),
    ("_db", "dB"),
    ("_deg", "\u{b0}"),
    ("_e", "e\u{207b}"),
    ("_s", "s"),
    ("focal35_mm", "mm"),
    ("ppi", "ppi"),
    ("_midtone", ":1"),
    ("snr_limit", ":1"),
    ("focal_mm", "mm"),
    ("_r2", ""),
    ("_number", ""),
];

/// Labels where the name alone would stand twice in a table, or says too little.
const LABELS: [(&str, &str); 24] = [
    ("blur.motion_px", "length of the motion"),
    ("blur.motion_deg", "direction of the motion"),
    ("blur.motion_tiles_pct", "tiles that show the motion"),
    ("blur.defocus_px", "radius of the defocus"),
    ("blur.expected_diffraction_px", "rise by diffraction alone"),
    ("print.largest.ppi", "largest, resolution"),
    ("print.largest_with_proof.width_in", "with a proof print, width"),
    ("print.largest_with_proof.height_in", "with a proof print, height"),
    ("print.largest_with_proof.ppi", "with a proof print, resolution"),
    ("print.largest_with_proof.limited_by", "with a proof print, limited by"),
    ("sharpness.mtf50_cy_px", "MTF50"),
    ("sharpness.mtf10_cy_px", "MTF10"),
    ("sharpness.mtf50_lp_mm", "MTF50 on the sensor"),
    ("shot.focal35_mm", "focal length at 36 x 24 mm"),
    ("shot.focal_mm", "focal length"),
    ("series.mtf50_cy_px", "MTF50"),
    ("series.expected_diffraction_px", "diffraction alone"),
    ("series.engineering_ev", "range, saturation over read noise"),
    ("series.usable_ev", "usable range"),
    ("series.range_lost_ev_per_stop", "range lost per stop"),
    ("series.print_snr_midtone", "mid-tone signal-to-noise on the paper"),
    ("series.row_banding_over_read_noise", "row banding over read noise"),
    ("series.free_of_shake_pct", "free of shake"),
    ("series.fitted_free_pct", "free of shake by the fit"),
];

/// `sharpness.edge_rise_px` becomes ("edge rise", "px").
pub(crate) fn label_and_unit(path: &str) -> (String, &'static str) {
    let mut parts = path.split('.').skip(1).collect::<Vec<_>>();
    let last = parts.pop().unwrap_or(path);
    let (stem, unit) = UNITS
        .iter()
        .find_map(|(suffix, unit)| {
            let stem = last.strip_suffix(suffix)?;
            Some((if suffix.starts_with('_') && !unit.is_empty() && *unit != ":1" { stem } else { last }, *unit))
        })
        .unwrap_or((last, ""));
    parts.push(stem);
    let unit = if last == "range_lost_ev_per_stop" { "EV" } else { unit };
    match LABELS.iter().find(|l| l.0 == path) {
        Some((_, label)) => ((*label).to_owned(), unit),
        None => (parts.join(" ").replace('_', " "), unit),
    }
}

/// The planes side by side.
fn channels(out: &mut String, card: &Value) {
    let Some(Value::Array(channels)) = card.get("channels") else { return };
    let Some(Value::Object(first)) = channels.first() else { return };
    out.push_str(
        "<table class=\"planes\"><caption>Planes of the filter array</caption><thead><tr><th scope=\"col\">plane</th>",
    );
    for channel in channels {
        put!(out, "<th scope=\"col\">{}</th>", esc(channel.get("name").and_then(Value::as_str).unwrap_or("")));
    }
    out.push_str("</tr></thead><tbody>");
    for name in first.keys().filter(|k| *k != "name") {
        let (label, unit) = label_and_unit(&format!("channels.{name}"));
        let path = format!("channels.{name}");
        out.push_str("<tr><th>");
        match explain::find(&path) {
            Some(found) => put!(out, "<a href=\"../words.html#{}\">{}</a>", esc(found.word), esc(&label)),
            None => put!(out, "{}", esc(&label)),
        }
        if !unit.is_empty() {
            put!(out, ", {unit}");
        }
        out.push_str("</th>");
        for channel in channels {
            out.push_str("<td>");
            cell(out, channel.get(name).unwrap_or(&Value::Null), "");
            out.push_str("</td>");
        }
        out.push_str("</tr>");
    }
    out.push_str("</tbody></table>\n");
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn units_come_from_the_names() {
        for (path, label, unit) in [
            ("sharpness.edge_rise_px", "edge rise", "px"),
            ("sharpness.mtf50_cy_px", "MTF50", "cycles/px"),
            ("sharpness.mtf50_lp_mm", "MTF50 on the sensor", "line pairs/mm"),
            ("blur.motion_deg", "direction of the motion", "\u{b0}"),
            ("noise.gain_e_per_dn", "gain", "e\u{207b}/DN"),
            ("print.largest.width_in", "largest width", "in"),
            ("print.ppi", "ppi", "ppi"),
            ("print.snr_midtone", "snr midtone", ":1"),
            ("shot.f_number", "f number", ""),
            ("channels.read_noise_e", "read noise", "e\u{207b}"),
        ] {
            assert_eq!(label_and_unit(path), (label.to_owned(), unit), "{path}");
        }
    }
}
