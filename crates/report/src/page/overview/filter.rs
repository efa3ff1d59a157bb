//! The filter of the overview, which reads as a sentence.

use std::collections::BTreeSet;

use super::{camera, lens, outcomes};
use crate::page::html::{esc, put};
use crate::page::measures::SORTABLE;
use crate::page::shoot::{Sheet, Shoot, finding_title};
use crate::page::units;

/// Distinct texts of the shoot.
fn distinct<'a>(shoot: &'a Shoot, text: impl Fn(&'a Sheet) -> Option<&'a str>) -> BTreeSet<&'a str> {
    shoot.sheets.iter().filter_map(text).collect()
}

/// Distinct numbers of the shoot, rising.
fn numbers(shoot: &Shoot, value: impl Fn(&Sheet) -> Option<f64>) -> Vec<f64> {
    let mut values: Vec<f64> = shoot.sheets.iter().filter_map(value).filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    values
}

/// The filter: one sentence whose blanks are filled in.
pub(super) fn sentence(out: &mut String, shoot: &Shoot) {
    let choice = |out: &mut String, name: &str, label: &str, any: &str, options: Vec<(String, String)>| {
        put!(
            out,
            "<label><span class=\"unseen\">{label}</span><select name=\"{name}\" id=\"ask-{name}\"><option value=\"\">{any}</option>"
        );
        for (value, text) in options {
            put!(out, "<option value=\"{}\">{}</option>", esc(&value), esc(&text));
        }
        out.push_str("</select></label>");
    };
    let texts = |values: BTreeSet<&str>| -> Vec<(String, String)> {
        values.into_iter().map(|v| (v.to_owned(), v.to_owned())).collect()
    };
    out.push_str("<section class=\"ask\" aria-labelledby=\"ask-h\">\n<h2 id=\"ask-h\" class=\"unseen\">Which frames to show</h2>\n<form id=\"ask\" role=\"search\" autocomplete=\"off\"><p>Show frames that ");
    let outcomes = outcomes(shoot.purpose.is_screen()).map(|(o, words)| (o.to_string(), words.to_owned())).to_vec();
    choice(out, "outcome", "Outcome", "have any outcome", outcomes);
    out.push_str(", with ");
    let findings = shoot
        .findings()
        .into_iter()
        .map(|(c, n, m)| (c.word().to_owned(), format!("{} ({})", finding_title(c), n + m)));
    choice(out, "finding", "Finding", "anything or nothing found", findings.collect());
    out.push_str(", taken with ");
    choice(out, "camera", "Camera", "any camera", texts(distinct(shoot, camera)));
    out.push_str(" and ");
    choice(out, "lens", "Lens", "any lens", texts(distinct(shoot, lens)));
    out.push_str(", at ISO ");
    let isos = numbers(shoot, |s| s.card.shot.as_ref()?.iso);
    let iso_options = || isos.iter().map(|v| (v.to_string(), units::number(*v))).collect::<Vec<_>>();
    choice(out, "iso-from", "ISO from", "any", iso_options());
    out.push_str(" to ");
    choice(out, "iso-to", "ISO to", "any", iso_options());
    out.push_str(", exposed from ");
    let times = numbers(shoot, |s| s.card.shot.as_ref()?.shutter_s);
    let time_options = || times.iter().map(|v| (v.to_string(), units::shutter(*v))).collect::<Vec<_>>();
    choice(out, "shutter-from", "Exposure time from", "any time", time_options());
    out.push_str(" to ");
    choice(out, "shutter-to", "Exposure time to", "any time", time_options());
    out.push_str(
        ", whose name holds <label><span class=\"unseen\">Part of the name</span><input type=\"search\" name=\"name\" \
         id=\"ask-name\" size=\"12\" placeholder=\"anything\"></label>; put them in order of <label><span \
         class=\"unseen\">Order</span><select name=\"sort\" id=\"ask-sort\"><option value=\"\">taking</option><option \
         value=\"name\">name</option><option value=\"outcome\">outcome</option>",
    );
    for sortable in SORTABLE {
        let (label, unit) = sortable.label(shoot.purpose.unit);
        put!(out, "<option value=\"{}\" data-unit=\"{unit}\">{}</option>", sortable.word, esc(&label));
    }
    out.push_str(
        "</select></label>, <label><span class=\"unseen\">Direction</span><select name=\"turn\" id=\"ask-turn\"><option \
         value=\"\">rising</option><option value=\"falling\">falling</option></select></label>.</p>\n<p class=\"asked\"><output \
         id=\"shown\" for=\"ask\" aria-live=\"polite\"></output> <button type=\"reset\" id=\"ask-all\">Show all again</button></p>\
         </form>\n<noscript><p class=\"aside\">Filtering and sorting need the script of this folder; all frames are listed \
         below.</p></noscript>\n</section>\n",
    );
}
