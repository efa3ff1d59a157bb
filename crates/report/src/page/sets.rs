//! Bursts and brackets side by side.

use rawassay_analysis::sets::{Bracket, Burst};

use super::html::{close_page, esc, file_name, open_page, put};
use super::overview::{sign, ways};
use super::shoot::Shoot;
use super::units;

/// The page.
#[must_use]
pub fn page(shoot: &Shoot) -> String {
    let mut out = String::with_capacity(32 * 1024);
    open_page(&mut out, "", &format!("Bursts and brackets \u{2013} {}", shoot.title), "sets");
    put!(
        out,
        "<header class=\"masthead\"><p class=\"source\">{}</p><h1>Bursts and brackets</h1>\n<p class=\"lede\">Frames of one framing, side \
         by side. Best means technically best: expression and moment were not measured.</p>\n",
        esc(&shoot.title)
    );
    ways(&mut out, "", shoot, "sets.html");
    out.push_str("</header>\n<main id=\"main\">\n");
    if let Some(sets) = &shoot.sets {
        if !sets.bursts.is_empty() {
            out.push_str("<section><h2>Bursts: which frame is sharpest</h2>\n");
            for set in &sets.bursts {
                burst(&mut out, shoot, set);
            }
            out.push_str("</section>\n");
        }
        if !sets.brackets.is_empty() {
            out.push_str("<section><h2>Brackets: which frames cover the scene</h2>\n");
            for set in &sets.brackets {
                bracket(&mut out, shoot, set);
            }
            out.push_str("</section>\n");
        }
        for warning in &sets.warnings {
            put!(out, "<p class=\"aside\">{}</p>\n", esc(warning));
        }
    }
    out.push_str("</main>\n");
    close_page(&mut out, "");
    out
}

/// The picture of a file with its name, linked to its page.
fn picture(out: &mut String, shoot: &Shoot, file: &str) {
    let name = esc(file_name(file)).to_string();
    match shoot.of_file(file) {
        Some(sheet) => {
            put!(out, "<a href=\"frames/{}.html\">", sheet.id);
            if sheet.drawn.is_some() {
                put!(out, "<img loading=\"lazy\" src=\"pictures/{}-small.jpg\" alt=\"\">", sheet.id);
            } else {
                out.push_str("<span class=\"bare\">no picture</span>");
            }
            put!(out, "{name}</a>");
        }
        None => out.push_str(&name),
    }
}

fn burst(out: &mut String, shoot: &Shoot, set: &Burst) {
    put!(out, "<article><h3>{} frames", set.files.len());
    if let Some(span) = set.span_s {
        put!(out, " in {} s", units::number(span));
    }
    match &set.best {
        Some(_) if set.focus_moved => out.push_str(": the focus moved, each is sharp elsewhere</h3>\n"),
        Some(best) => put!(out, ": best is {}</h3>\n", esc(file_name(best))),
        None => out.push_str(": sharpness could not be told</h3>\n"),
    }
    out.push_str("<div class=\"compare\">\n");
    let surface = shoot.purpose.says("the paper");
    for ranked in &set.ranking {
        let best = if set.best.as_ref() == Some(&ranked.file) { " class=\"best\"" } else { "" };
        put!(out, "<figure{best}>");
        picture(out, shoot, &ranked.file);
        put!(
            out,
            "<figcaption>{}. <span class=\"o {outcome}\">{}{outcome}</span>{} {}</figcaption></figure>\n",
            ranked.rank,
            sign(ranked.outcome),
            ranked
                .print_blur_mm
                .map_or(String::new(), |mm| format!(", blur {} mm on {surface}, motion included.", units::number(mm))),
            esc(&ranked.reason),
            outcome = ranked.outcome
        );
    }
    out.push_str("</div></article>\n");
}

fn bracket(out: &mut String, shoot: &Shoot, set: &Bracket) {
    put!(
        out,
        "<article><h3>{} exposures</h3>\n<p class=\"answer\">{}</p>\n<div class=\"compare\">\n",
        set.files.len(),
        esc(&set.answer)
    );
    for (i, file) in set.files.iter().enumerate() {
        let merged = if set.fewest_to_merge.contains(file) { " class=\"best\"" } else { "" };
        put!(out, "<figure{merged}>");
        picture(out, shoot, file);
        out.push_str("<figcaption>");
        if let Some(ev) = set.ev_steps.get(i) {
            put!(out, "{} EV", format!("{ev:+.1}").replace('-', "\u{2212}"));
        }
        for (holder, what) in [
            (&set.highlights_held_by, "brightest that holds the highlights"),
            (&set.shadows_held_by, "darkest that holds the shadows"),
        ] {
            if holder.as_ref() == Some(file) {
                put!(out, "; {what}");
            }
        }
        out.push_str("</figcaption></figure>\n");
    }
    out.push_str("</div>\n");
    for warning in &set.warnings {
        put!(out, "<p class=\"aside\">{}</p>\n", esc(warning));
    }
    out.push_str("</article>\n");
}
