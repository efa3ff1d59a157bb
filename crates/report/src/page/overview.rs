//! The overview: the shoot at a glance, a filter that reads as a sentence, and the ledger of frames.

use std::collections::BTreeSet;

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::LengthUnit;

use super::html::{close_page, esc, open_page, put};
use super::measures::SORTABLE;
use super::shoot::{Purpose, Sheet, Shoot, finding_title};
use super::units;
use crate::plot;
use crate::record::Status;

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
    sentence(&mut out, shoot);
    ledger(&mut out, shoot);
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
            match (shoot.purpose.screen, prints) {
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
        if shoot.purpose.screen { "a screen of " } else { "a print of " },
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
            if shoot.purpose.screen { "look at the full size on that screen" } else { "make a proof print" }
        );
    }
    if let Some((code, fail, _)) = shoot.findings().first().filter(|f| f.1 > 0) {
        put!(out, " What fails most: {} ({fail}).", finding_title(*code));
    }
    out.push_str("</p>\n");
    ways(out, "", shoot, "index.html");
    out.push_str("</header>\n");
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
    let verb = if shoot.purpose.screen { "showing" } else { "developing" };
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
            if shoot.purpose.screen { "are good enough" } else { "print" }
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
            long_side: sheet.largest_cm().map(|l| in_unit(l.0.max(l.1))),
            outcome: sheet.outcome(),
            taken: sheet.card.shot.as_ref().and_then(|s| s.taken_at.as_deref()).map_or(String::new(), units::moment),
        })
        .collect();
    out.push_str("<section class=\"glance\" aria-labelledby=\"glance-h\">\n<h2 id=\"glance-h\">How large each frame goes</h2>\n<div class=\"glance-grid\">\n<figure class=\"wide\">");
    out.push_str(&plot::shoot::svg(&marks, in_unit(shoot.purpose.sides_cm.0), unit));
    out.push_str("<figcaption>");
    for (outcome, words) in outcomes(shoot.purpose.screen) {
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
        "<svg class=\"sign {outcome}\" viewBox=\"0 0 16 16\" aria-hidden=\"true\"><rect x=\"1.5\" y=\"1.5\" width=\"13\" \
         height=\"13\"/>{}</svg>",
        match outcome {
            Outcome::Prints => "",
            Outcome::Borderline => "<path d=\"M2 14L14 2M2 9L9 2M7 14L14 7\"/>",
            Outcome::Fails => "<path d=\"M4 4L12 12M12 4L4 12\"/>",
            Outcome::Unmeasured => "<path d=\"M5 8H11\"/>",
        }
    )
}

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
fn sentence(out: &mut String, shoot: &Shoot) {
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
    let outcomes = outcomes(shoot.purpose.screen).map(|(o, words)| (o.to_string(), words.to_owned())).to_vec();
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

fn camera(sheet: &Sheet) -> Option<&str> {
    sheet.card.shot.as_ref()?.model.as_deref()
}

fn lens(sheet: &Sheet) -> Option<&str> {
    sheet.card.shot.as_ref()?.lens.as_deref()
}

/// The frames.
fn ledger(out: &mut String, shoot: &Shoot) {
    let what = if shoot.purpose.screen { "size" } else { "print" };
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
    for (order, sheet) in shoot.sheets.iter().enumerate() {
        row(out, order, sheet, &shoot.purpose);
    }
    out.push_str("</tbody></table>\n<p id=\"nothing\" hidden>No frame is left: loosen a part of the sentence above.</p>\n</section>\n");
}

fn row(out: &mut String, order: usize, sheet: &Sheet, purpose: &Purpose) {
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
    let name = esc(sheet.name()).to_string();
    put!(
        out,
        "\"><td class=\"c-pick\"><input type=\"checkbox\" aria-label=\"Put {name} on the list\"></td><td class=\"c-look\">"
    );
    small_picture(out, sheet);
    put!(out, "</td><th scope=\"row\" class=\"c-name\"><a href=\"frames/{}.html\">{name}</a>", sheet.id);
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
            sheetlet(out, largest, purpose.sides_cm);
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
    // The paper is turned to suit the picture.
    let (long, short) = (asked.0.max(asked.1), asked.0.min(asked.1));
    let (aw, ah) = if largest.0 >= largest.1 { (long, short) } else { (short, long) };
    // The brief's long side is 16 units; a much larger print runs into the frame of the drawing.
    let unit = 16.0 / long.max(1e-9);
    let box_of = |w: f64, h: f64| (w * unit, h * unit);
    let ((aw, ah), (lw, lh)) = (box_of(aw, ah), box_of(largest.0, largest.1));
    put!(
        out,
        "<svg class=\"sheetlet\" viewBox=\"0 0 27 21\" aria-hidden=\"true\"><rect class=\"has\" x=\"1\" y=\"{:.1}\" \
         width=\"{lw:.1}\" height=\"{lh:.1}\"/><rect class=\"asks\" x=\"1\" y=\"{:.1}\" width=\"{aw:.1}\" height=\"{ah:.1}\"/></svg>",
        20.0 - lh,
        20.0 - ah
    );
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
