//! The ledger of the overview: a row for each frame.

use std::collections::HashMap;

use super::{camera, lens, sign, small_picture};
use crate::page::html::{esc, file_name, put};
use crate::page::measures::SORTABLE;
use crate::page::shoot::{Purpose, Sheet, Shoot};
use crate::page::units;
use crate::record::Status;

/// The frames.
pub(super) fn ledger(out: &mut String, shoot: &Shoot) {
    let what = if shoot.purpose.is_screen() { "size" } else { "print" };
    put!(
        out,
        "<section aria-labelledby=\"ledger-h\">\n<h2 id=\"ledger-h\" class=\"unseen\">Frames</h2>\n<table \
         class=\"ledger\" id=\"ledger\"><caption class=\"unseen\">Frames with outcome, largest {what} and main reason</caption><thead><tr>\
         <th scope=\"col\" class=\"c-pick\"><span class=\"unseen\">On the list</span></th>\
         <th scope=\"col\" class=\"c-look\"><span class=\"unseen\">Picture</span></th>\
         <th scope=\"col\" class=\"c-name\"><button type=\"button\" data-sort=\"name\">Frame</button></th>\
         <th scope=\"col\" class=\"c-outcome\"><button type=\"button\" data-sort=\"outcome\">Outcome</button></th>\
         <th scope=\"col\" class=\"c-print\"><button type=\"button\" data-sort=\"print\">Largest {what}</button></th>\
         <th scope=\"col\" class=\"c-why\">Main reason</th>\
         <th scope=\"col\" class=\"c-value\"><span id=\"value-head\"></span></th></tr></thead>\n<tbody>\n",
    );
    let files: Vec<&str> = shoot.sheets.iter().map(|sheet| sheet.record.file.as_str()).collect();
    for ((order, sheet), folder) in shoot.sheets.iter().enumerate().zip(folders(&files)) {
        row(out, order, sheet, folder.as_deref(), &shoot.purpose);
    }
    out.push_str("</tbody></table>\n<p id=\"nothing\" hidden>No frame is left: loosen a part of the sentence above.</p>\n</section>\n");
}

/// The folder by which each file is told from the others of its name; `None` where its name alone tells it, or where no
/// folder is given.
fn folders(files: &[&str]) -> Vec<Option<String>> {
    // Cards begin at the same number and in folders of one name, and backups keep both.
    let mut named: HashMap<&str, Vec<usize>> = HashMap::new();
    for (i, file) in files.iter().enumerate() {
        named.entry(file_name(file)).or_default().push(i);
    }
    let mut told = vec![None; files.len()];
    for alike in named.into_values().filter(|alike| alike.len() > 1) {
        // Folders from the innermost outwards: in their order those that share most are neighbours.
        let mut inwards: Vec<(Vec<&str>, usize)> = alike.into_iter().map(|i| (innermost_first(files[i]), i)).collect();
        inwards.sort_unstable();
        let shared = |a: usize, b: usize| {
            let (a, b) = (&inwards[a].0, &inwards[b].0);
            a.iter().zip(b).take_while(|(a, b)| a == b).count()
        };
        let depths: Vec<usize> = (0..inwards.len())
            .map(|at| {
                let before = at.checked_sub(1).map_or(0, |before| shared(before, at));
                let after = if at + 1 < inwards.len() { shared(at, at + 1) } else { 0 };
                before.max(after).min(inwards[at].0.len().saturating_sub(1))
            })
            .collect();
        let mut times: HashMap<&str, usize> = HashMap::new();
        for ((folders, _), depth) in inwards.iter().zip(&depths) {
            if let Some(name) = folders.get(*depth) {
                *times.entry(name).or_default() += 1;
            }
        }
        for ((folders, i), depth) in inwards.iter().zip(&depths) {
            told[*i] = folders.get(*depth).map(|name| {
                // The same name in two places of the tree: with the folders below it.
                let end = if times.get(name).is_some_and(|n| *n > 1) { 0 } else { *depth };
                folders[end..=*depth].iter().rev().copied().collect::<Vec<_>>().join("/")
            });
        }
    }
    told
}

/// The folders of a file as given, the one that holds it first.
fn innermost_first(file: &str) -> Vec<&str> {
    let folders = file.rsplit_once(['/', '\\']).map_or("", |(folders, _)| folders);
    folders.rsplit(['/', '\\']).filter(|name| !name.is_empty()).collect()
}

fn row(out: &mut String, order: usize, sheet: &Sheet, folder: Option<&str>, purpose: &Purpose) {
    let outcome = sheet.outcome();
    let findings: Vec<&str> = sheet.card.verdict.findings.iter().map(|f| f.code.word()).collect();
    put!(out, "<tr data-n=\"{order}\" data-o=\"{outcome}\" data-f=\"{}\"", findings.join(" "));
    put!(out, " data-p=\"{}\"", esc(&sheet.record.file));
    if let Some(camera) = camera(sheet) {
        put!(out, " data-c=\"{}\"", esc(camera));
    }
    if let Some(lens) = lens(sheet) {
        put!(out, " data-l=\"{}\"", esc(lens));
    }
    out.push_str(" data-v=\"");
    for (i, sortable) in SORTABLE.iter().enumerate() {
        if i > 0 {
            out.push(',');
        }
        if let Some(value) = sortable.shown(sheet, purpose.unit) {
            out.push_str(&short(value));
        }
    }
    let within = folder.map_or(String::new(), |folder| format!(" in {folder}"));
    let name = esc(sheet.name()).to_string();
    put!(
        out,
        "\"><td class=\"c-pick\"><input type=\"checkbox\" aria-label=\"Put {name}{} on the list\"></td><td class=\"c-look\">",
        esc(&within)
    );
    small_picture(out, sheet);
    put!(out, "</td><th scope=\"row\" class=\"c-name\"><a href=\"frames/{}.html\">{name}</a>", sheet.id);
    if !within.is_empty() {
        put!(out, "<small>{}</small>", esc(within.trim_start()));
    }
    if let Some(shot) = &sheet.card.shot {
        let parts = [
            shot.iso.map(|iso| format!("ISO {}", units::number(iso))),
            shot.shutter_s.map(units::shutter),
            shot.f_number.map(units::aperture),
            shot.focal_mm.map(|f| format!("{} mm", units::number(f))),
        ];
        put!(out, "<small>{}</small>", parts.into_iter().flatten().collect::<Vec<_>>().join(", "));
    }
    put!(
        out,
        "</th><td class=\"c-outcome\"><span class=\"o {outcome}\">{}{outcome}</span></td><td class=\"c-print\">",
        sign(outcome)
    );
    match sheet.largest_cm() {
        Some(largest) => {
            sheetlet(out, largest, purpose.laid_for(largest));
            put!(out, "{}", units::print_most(largest.0 / 2.54, largest.1 / 2.54, purpose.unit));
        }
        // Highlights, shadows or bands that fail at every size: there is none, whatever the pixels would do.
        None if sheet.card.print.if_accepted.is_some() || sheet.card.status == Status::Damaged => out.push_str("none"),
        None => out.push_str("<span class=\"unknown\">unknown</span>"),
    }
    put!(out, "</td><td class=\"c-why\">{}</td><td class=\"c-value\"></td></tr>\n", esc(&sheet.reason()));
}

/// Enough digits to sort and show, few enough to keep the page small.
fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The largest print drawn over the size that the brief asks for, both to one scale.
fn sheetlet(out: &mut String, largest: (f64, f64), asked: (f64, f64)) {
    // The brief's long side is 16 units; a much larger print runs into the frame of the drawing.
    let unit = 16.0 / asked.0.max(asked.1).max(1e-9);
    let box_of = |(w, h): (f64, f64)| (w * unit, h * unit);
    let ((aw, ah), (lw, lh)) = (box_of(asked), box_of(largest));
    put!(
        out,
        "<svg class=\"sheetlet\" viewBox=\"0 0 27 21\" aria-hidden=\"true\"><rect class=\"has\" x=\"1\" y=\"{:.1}\" \
         width=\"{lw:.1}\" height=\"{lh:.1}\"/><rect class=\"asks\" x=\"1\" y=\"{:.1}\" width=\"{aw:.1}\" height=\"{ah:.1}\"/></svg>",
        20.0 - lh,
        20.0 - ah
    );
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::page::testing;
    use crate::{FileId, Record, Scorecard};
    use rawassay_analysis::{Brief, judge::judge};
    use std::path::Path;

    #[test]
    fn frames_of_one_name_are_told_apart_by_their_folder() {
        let told = |files: &[&str]| -> Vec<String> {
            folders(files).into_iter().map(|folder| folder.unwrap_or_else(|| "-".into())).collect()
        };
        assert_eq!(told(&["card/a b/X.dng", "card/c/X.dng", "card/c/Y.dng"]), ["a b", "c", "-"]);
        assert_eq!(told(&["X.dng", "/X.dng"]), ["-", "-"]);
        // Two cards whose folders have the same names, and a third folder on one of them.
        let [one, two] = ["one/DCIM/100OURS/A_0001.dng", "two\\DCIM\\100OURS\\A_0001.dng"];
        assert_eq!(told(&[one, two]), ["one", "two"]);
        assert_eq!(told(&[one, two, "one/DCIM/101OURS/A_0001.dng"]), ["one", "two", "101OURS"]);
        // One lies above the other.
        assert_eq!(told(&["100/X.dng", "two/100/X.dng", "X.dng"]), ["100", "two", "-"]);
        // The folder that differs has the same name twice.
        assert_eq!(told(&["a/q/1/X.dng", "b/q/1/X.dng", "z/a/1/X.dng"]), ["a/q/1", "b", "a/1"]);
        let sheet = |file: &str| {
            let record = Record::unreadable(Path::new(file), FileId::default(), "is empty");
            let card = Scorecard::new(&record, &judge(&record.subject(), &Brief::find("portfolio").unwrap(), None));
            Sheet::new(record, card, Vec::new())
        };
        let rows = |name: &str| {
            let sheets = vec![sheet("one/A.dng"), sheet(&format!("two & three/{name}"))];
            let mut out = String::new();
            ledger(&mut out, &Shoot::new("shoot".into(), testing::purpose((30.0, 20.0), false), sheets));
            out
        };
        assert!(rows("A.dng").contains("in one</small>") && rows("A.dng").contains("in two &amp; three</small>"));
        assert!(!rows("B.dng").contains("in one</small>"));
        let cards = ["one", "two"].map(|card| sheet(&format!("{card}/DCIM/100OURS/A_0001.dng"))).to_vec();
        let mut out = String::new();
        ledger(&mut out, &Shoot::new("shoot".into(), testing::purpose((30.0, 20.0), false), cards));
        assert!(out.contains("in one</small>") && out.contains("in two</small>") && !out.contains("in 100OURS"));
    }
}
