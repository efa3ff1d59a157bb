//! The overview: the shoot at a glance, the filter as a sentence, the ledger of frames, the list.

mod filter;
mod ledger;

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::LengthUnit;

use super::html::{close_page, esc, open_page, put};
use super::shoot::{Purpose, Sheet, Shoot, finding_title};
use super::units;
use crate::plot;

/// Outcomes from the best, with what they say in a sentence; what is for a screen needs no print.
const fn outcomes(screen: bool) -> [(Outcome, &'static str); 4] {
    let (good, limit) =
        if screen { ("are good enough", "need a look at full size") } else { ("print", "need a proof print") };
    [
        (Outcome::Prints, good),
        (Outcome::Borderline, limit),
        (Outcome::Fails, "fail"),
        (Outcome::Unmeasured, "could not be measured"),
    ]
}

/// The page.
#[must_use]
pub fn page(shoot: &Shoot) -> String {
    let mut out = String::with_capacity(4096 + shoot.sheets.len() * 1024);
    open_page(&mut out, "", &format!("{} \u{2013} {}", shoot.title, shoot.purpose.name), "overview");
    masthead(&mut out, shoot);
    out.push_str("<main id=\"main\">\n");
    worth(&mut out, shoot);
    glance(&mut out, shoot);
    filter::sentence(&mut out, shoot);
    ledger::ledger(&mut out, shoot);
    list(&mut out);
    out.push_str("</main>\n");
    close_page(&mut out, "");
    out
}

/// Links to the pages of the shoot.
pub(crate) fn ways(out: &mut String, root: &str, shoot: &Shoot, here: &str) {
    out.push_str("<nav class=\"ways\" aria-label=\"Pages of this shoot\"><ul>");
    for (page, label, there) in [
        ("index.html", "All frames", true),
        ("series.html", "Series", shoot.has_series()),
        ("sets.html", "Bursts and brackets", shoot.has_sets()),
        ("words.html", "Words and numbers", true),
    ] {
        if there {
            let current = if page == here { " aria-current=\"page\"" } else { "" };
            put!(out, "<li><a href=\"{root}{page}\"{current}>{label}</a></li>");
        }
    }
    out.push_str("</ul></nav>\n");
}

/// What the output is, in words: `13 x 19 in, seen from 45 cm`.
pub(crate) fn purpose_words(purpose: &Purpose) -> String {
    format!("{}, seen from {}", purpose.size.replace(" x ", " \u{d7} "), purpose.distance)
}

fn masthead(out: &mut String, shoot: &Shoot) {
    let total = shoot.sheets.len();
    let prints = shoot.count(Outcome::Prints);
    put!(out, "<header class=\"masthead\">\n<p class=\"source\">{}</p>\n<h1>", esc(&shoot.title));
    match total {
        0 => out.push_str("No frame in this record"),
        _ => put!(
            out,
            "<strong>{prints}</strong> of {total} {} {} <span class=\"size\">{}</span>",
            if total == 1 { "frame" } else { "frames" },
            match (shoot.purpose.is_screen(), prints) {
                (true, 1) => "is good enough for",
                (true, _) => "are good enough for",
                (false, 1) => "prints at",
                (false, _) => "print at",
            },
            esc(&shoot.purpose.size.replace(" x ", " \u{d7} "))
        ),
    }
    put!(
        out,
        "</h1>\n<p class=\"lede\">Judged by the brief <q>{}</q>: {}{}.",
        esc(&shoot.purpose.name),
        if shoot.purpose.is_screen() { "a screen of " } else { "a print of " },
        esc(&purpose_words(&shoot.purpose))
    );
    if let Some(crop) = &shoot.purpose.crop {
        put!(
            out,
            " Only the part {} of each frame is judged (columns \u{d7} rows + first column + first row, as stored).",
            esc(crop)
        );
    }
    let proofs = shoot.count(Outcome::Borderline);
    if proofs > 0 {
        put!(
            out,
            " {proofs} {} at a limit: {} first.",
            if proofs == 1 { "frame is" } else { "frames are" },
            if shoot.purpose.is_screen() { "look at the full size on that screen" } else { "make a proof print" }
        );
    }
    fails_most(out, shoot);
    out.push_str("</p>\n");
    ways(out, "", shoot, "index.html");
    out.push_str("</header>\n");
}

/// What fails most frames, where one or two causes lead: among many that fail as many none does.
fn fails_most(out: &mut String, shoot: &Shoot) {
    let findings = shoot.findings();
    let most = findings.first().map_or(0, |f| f.1);
    let leading: Vec<&str> = findings.iter().filter(|f| f.1 == most).map(|f| finding_title(f.0)).collect();
    match leading[..] {
        _ if most == 0 => {}
        [one] => put!(out, " What fails most: {one} ({most})."),
        [one, other] => put!(out, " What fails most: {one} and {other} ({most} each)."),
        _ => {}
    }
}

/// Most frames in the strip at the top.
const MOST_WORTH: usize = 12;

/// The small picture of a frame. The name beside it says what it is; the empty alternative keeps it from being read twice.
fn small_picture(out: &mut String, sheet: &Sheet) {
    let Some(drawn) = &sheet.drawn else {
        out.push_str("<span class=\"bare\">no picture</span>");
        return;
    };
    let [w, h] = small_size(drawn.picture_px);
    put!(
        out,
        "<img loading=\"lazy\" decoding=\"async\" width=\"{w}\" height=\"{h}\" src=\"pictures/{}-small.jpg\" alt=\"\">",
        sheet.id
    );
}

/// The answer first: the frames that print, the best of each set only.
fn worth(out: &mut String, shoot: &Shoot) {
    let worth = shoot.worth_developing();
    if worth.is_empty() {
        return;
    }
    let verb = if shoot.purpose.is_screen() { "showing" } else { "developing" };
    put!(out, "<section class=\"worth\" aria-labelledby=\"worth-h\">\n<h2 id=\"worth-h\">Worth {verb}</h2>\n<ul>");
    for sheet in worth.iter().take(MOST_WORTH) {
        put!(out, "<li><a href=\"frames/{}.html\">", sheet.id);
        small_picture(out, sheet);
        put!(out, "{}</a>", esc(sheet.name()));
        if let Some((w, h)) = sheet.largest_cm() {
            put!(out, "<small>to {}</small>", units::print_most(w / 2.54, h / 2.54, shoot.purpose.unit));
        }
        out.push_str("</li>");
    }
    out.push_str("</ul>\n");
    let prints = shoot.count(Outcome::Prints);
    if worth.len() > MOST_WORTH || prints > worth.len() {
        put!(
            out,
            "<p class=\"aside\"><a href=\"#outcome=prints\">All {prints} that {}</a>",
            if shoot.purpose.is_screen() { "are good enough" } else { "print" }
        );
        if prints > worth.len() {
            out.push_str("; of a burst or a bracket only the best stand here");
        }
        out.push_str(".</p>\n");
    }
    out.push_str("</section>\n");
}

fn glance(out: &mut String, shoot: &Shoot) {
    if shoot.sheets.is_empty() {
        return;
    }
    let unit = shoot.purpose.unit;
    let in_unit = |cm: f64| cm * LengthUnit::Cm.mm() / unit.mm();
    let marks: Vec<plot::shoot::Mark> = shoot
        .sheets
        .iter()
        .map(|sheet| plot::shoot::Mark {
            filled: sheet.largest_cm().and_then(|l| shoot.purpose.filled_cm(l)).map(in_unit),
            outcome: sheet.outcome(),
            taken: sheet.card.shot.as_ref().and_then(|s| s.taken_at.as_deref()).map_or(String::new(), units::moment),
        })
        .collect();
    out.push_str("<section class=\"glance\" aria-labelledby=\"glance-h\">\n<h2 id=\"glance-h\">How large each frame goes</h2>\n<div class=\"glance-grid\">\n<figure class=\"wide\">");
    out.push_str(&plot::shoot::svg(&marks, in_unit(shoot.purpose.size_cm.0.max(shoot.purpose.size_cm.1)), unit));
    out.push_str("<figcaption>");
    for (outcome, words) in outcomes(shoot.purpose.is_screen()) {
        put!(
            out,
            "<a class=\"key\" href=\"#outcome={outcome}\">{}<b>{}</b> {words}</a> ",
            sign(outcome),
            shoot.count(outcome)
        );
    }
    out.push_str("</figcaption></figure>\n<div class=\"limits\"><h3>What spoils frames here</h3>");
    let findings = shoot.findings();
    if findings.is_empty() {
        out.push_str("<p>Nothing found that spoils a frame for this brief.</p>");
    } else {
        let most = findings.iter().map(|f| f.1 + f.2).max().unwrap_or(1) as f64;
        out.push_str("<ol>");
        for (code, fail, limit) in findings {
            let words = match (fail, limit) {
                (0, n) => format!("<b>{n}</b> at a limit"),
                (n, 0) => format!("<b>{n}</b> fail"),
                (n, m) => format!("<b>{n}</b> fail, <b>{m}</b> at a limit"),
            };
            let share = |n: usize| 100.0 * n as f64 / most;
            put!(
                out,
                "<li><a href=\"#finding={code}\"><span>{}</span> <span class=\"how\">{words}</span></a><svg class=\"bar\" viewBox=\"0 0 \
                 100 6\" preserveAspectRatio=\"none\" aria-hidden=\"true\"><rect width=\"{:.1}\" height=\"6\"/><rect class=\"half\" \
                 x=\"{:.1}\" width=\"{:.1}\" height=\"6\"/></svg></li>",
                finding_title(code),
                share(fail),
                share(fail),
                share(limit)
            );
        }
        out.push_str("</ol><p class=\"aside\">A frame may show several. Choose one to see its frames.</p>");
    }
    out.push_str("</div></div>\n</section>\n");
}

/// The sign of an outcome: full ink, half tone, bare paper crossed out, dashed outline. Readable without colour.
pub(crate) fn sign(outcome: Outcome) -> String {
    format!(
        "<svg class=\"sign {outcome}\" viewBox=\"0 0 16 16\" aria-hidden=\"true\">{}</svg>",
        plot::shoot::drawing(outcome)
    )
}

fn camera(sheet: &Sheet) -> Option<&str> {
    sheet.card.shot.as_ref()?.model.as_deref()
}

fn lens(sheet: &Sheet) -> Option<&str> {
    sheet.card.shot.as_ref()?.lens.as_deref()
}

/// Size at which the small picture is shown.
fn small_size([width, height]: [u32; 2]) -> [u32; 2] {
    let scale = 108.0 / f64::from(width.max(height).max(1));
    [width, height].map(|side| ((f64::from(side) * scale).round() as u32).max(1))
}

/// The list of chosen files, to be copied or saved.
fn list(out: &mut String) {
    out.push_str(
        "<section class=\"list\" aria-labelledby=\"list-h\">\n<h2 id=\"list-h\">The list</h2>\n<p id=\"list-what\">Tick frames to \
         put them on the list. With none ticked, the list holds the frames that are shown.</p>\n<p class=\"doing\"><button \
         type=\"button\" id=\"pick-shown\">Tick all shown</button> <button type=\"button\" id=\"pick-none\">Untick \
         all</button> <button type=\"button\" id=\"list-copy\">Copy the list</button> <button type=\"button\" \
         id=\"list-save\">Save as a text file</button> <output id=\"list-said\" aria-live=\"polite\"></output></p>\n<label \
         for=\"list-text\">Files, one a line</label>\n<textarea id=\"list-text\" rows=\"6\" readonly spellcheck=\"false\"></textarea>\n\
         <p class=\"aside\">Nothing is deleted or moved by these pages. A saved list can be given back to <code>rawassay audit -</code> \
         or to any program that takes file names, one a line.</p>\n</section>\n",
    );
}
