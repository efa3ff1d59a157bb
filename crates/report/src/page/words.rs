//! The explanation page: every finding, measure and word that the other pages link to.

use rawassay_analysis::explain::{self, Explanation, Kind};

use super::html::{close_page, esc, open_page, put};
use super::overview::ways;
use super::shoot::Shoot;

/// The page.
#[must_use]
pub fn page(shoot: &Shoot) -> String {
    let mut out = String::with_capacity(64 * 1024);
    open_page(&mut out, "", "What the words and numbers mean", "words");
    out.push_str("<header class=\"masthead\"><h1>What the words and numbers mean</h1>\n");
    ways(&mut out, "", shoot, "words.html");
    out.push_str("</header>\n<main id=\"main\">\n");
    for (kind, heading) in [
        (Kind::Finding, "What can be found in a frame"),
        (Kind::Word, "Words of the verdict"),
        (Kind::Measure, "What is measured"),
    ] {
        put!(out, "<section><h2>{heading}</h2>\n<dl>\n");
        for explanation in explain::all().filter(|e| e.kind == kind) {
            entry(&mut out, explanation);
        }
        out.push_str("</dl></section>\n");
    }
    out.push_str("</main>\n");
    close_page(&mut out, "");
    out
}

fn entry(out: &mut String, e: &Explanation) {
    put!(out, "<div class=\"entry\" id=\"{word}\"><dt>{word}", word = esc(e.word));
    if e.kind == Kind::Measure {
        put!(out, " <span class=\"label\">{}</span>", esc(&explain::label(e.word).0));
    }
    if !e.unit.is_empty() {
        put!(out, " <span class=\"unit\">{}</span>", esc(e.unit));
    }
    put!(out, "</dt><dd><p>{}</p>", esc(e.means));
    for (label, text) in [("How", e.how), ("Source", e.source), ("Next time", e.next_time)] {
        if !text.is_empty() {
            put!(out, "<p><b>{label}:</b> {}</p>", esc(text));
        }
    }
    out.push_str("</dd></div>\n");
}
