//! Every value of the scorecard with its unit and a link to what it means.

use rawassay_analysis::explain;
use serde_json::Value;

use super::html::{esc, put};
use super::shoot::{Purpose, Sheet};
use super::units::{number, shutter};
use crate::record::Status;

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
pub(crate) fn section(out: &mut String, sheet: &Sheet, purpose: &Purpose) {
    let Ok(card) = serde_json::to_value(&sheet.card) else { return };
    out.push_str("<section class=\"values\" aria-labelledby=\"values-h\">\n<h2 id=\"values-h\">All values</h2>\n<div class=\"grid\">\n");
    let readable = sheet.card.status != Status::Unreadable;
    for (part, heading) in PARTS.into_iter().filter(|(part, _)| readable || *part == "shot") {
        let Some(Value::Object(fields)) = card.get(part) else { continue };
        let mut rows = String::new();
        collect(&mut rows, part, fields, purpose);
        put!(out, "<table><caption>{}</caption><tbody>{rows}</tbody></table>\n", purpose.says(heading));
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
fn collect(rows: &mut String, path: &str, fields: &serde_json::Map<String, Value>, purpose: &Purpose) {
    for (name, value) in fields {
        let path = format!("{path}.{name}");
        match value {
            Value::Object(inner) => collect(rows, &path, inner, purpose),
            Value::Array(_) => {}
            // Only where something spoils the frame that may be accepted.
            Value::Null if path == "print.if_accepted" => {}
            Value::Null if found_none(&path, fields) => row(rows, &path, &Value::from("none"), purpose),
            _ => row(rows, &path, value, purpose),
        }
    }
}

/// True where a value is null because there is none (the blur is of another kind, no size prints), not because it is unknown.
fn found_none(path: &str, fields: &serde_json::Map<String, Value>) -> bool {
    let kind = fields.get("kind").and_then(Value::as_str).unwrap_or_default();
    match path {
        "blur.motion_px" | "blur.motion_deg" | "blur.motion_tiles_pct" => matches!(kind, "none" | "defocus"),
        "blur.defocus_px" => matches!(kind, "none" | "motion"),
        // Highlights, shadows or bands rule out every size: there is none, whatever the pixels would do.
        "print.largest" | "print.largest_with_proof" => fields.get("if_accepted").is_some_and(|v| !v.is_null()),
        _ => false,
    }
}

fn row(rows: &mut String, path: &str, value: &Value, purpose: &Purpose) {
    let (label, unit) = explain::label(path);
    let label = purpose.says(&label);
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
        let (label, unit) = explain::label(&format!("channels.{name}"));
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

    /// "Length of the motion: unknown" beside "motion on the paper: 0 mm" said two things.
    #[test]
    fn a_blur_that_was_not_found_is_none_and_not_unknown() {
        let shown = |kind: &str| {
            let blur = serde_json::json!({ "kind": kind, "motion_px": null, "defocus_px": null });
            let mut rows = String::new();
            collect(&mut rows, "blur", blur.as_object().unwrap(), &crate::page::testing::purpose((30.0, 20.0), false));
            (rows.matches(">none<").count(), rows.matches(">unknown<").count())
        };
        // The kind's own row says none, too.
        assert_eq!(shown("none"), (3, 0));
        assert_eq!(shown("motion"), (1, 1));
        assert_eq!(shown("undetermined"), (0, 2));
    }

    #[test]
    fn a_print_that_highlights_rule_out_is_none_and_not_unknown() {
        let shown = |accepted: Value| {
            let print = serde_json::json!({ "largest": null, "if_accepted": accepted });
            let mut rows = String::new();
            collect(
                &mut rows,
                "print",
                print.as_object().unwrap(),
                &crate::page::testing::purpose((30.0, 20.0), false),
            );
            rows.matches(">none<").count()
        };
        assert_eq!(shown(serde_json::json!({ "what": "highlights" })), 1);
        assert_eq!(shown(Value::Null), 0);
    }
}
