//! The page of one frame: verdict and wall first, then the picture with overlays, crops, plots and every value.

mod plots;
mod verdict;

use rawassay_analysis::{Camera, Outcome};

use super::draw::Crop;
use super::html::{close_page, esc, open_page, put};
use super::overview::{sign, ways};
use super::shoot::{Sheet, Shoot};
use super::{overlay, units, values};
use crate::record::Status;

/// The page of the frame at `index` of the shoot.
#[must_use]
pub fn page(shoot: &Shoot, index: usize) -> String {
    let sheet = &shoot.sheets[index];
    let mut out = String::with_capacity(32 * 1024);
    open_page(&mut out, "../", &format!("{} \u{2013} {}", sheet.name(), shoot.title), "frame");
    header(&mut out, shoot, index);
    out.push_str("<main id=\"main\">\n");
    if sheet.card.status == Status::Unreadable {
        unreadable(&mut out, sheet);
    } else {
        out.push_str("<div class=\"verdict-and-wall\">\n");
        verdict::verdict(&mut out, shoot, sheet);
        verdict::wall(&mut out, shoot, sheet);
        out.push_str("</div>\n");
        picture(&mut out, sheet);
        crops(&mut out, sheet);
        plots::section(&mut out, sheet, &shoot.purpose);
    }
    honest(&mut out, sheet);
    values::section(&mut out, sheet, &shoot.purpose);
    out.push_str("</main>\n");
    close_page(&mut out, "../");
    out
}

fn header(out: &mut String, shoot: &Shoot, index: usize) {
    let sheet = &shoot.sheets[index];
    out.push_str("<header class=\"masthead\">\n");
    ways(out, "../", shoot, "");
    out.push_str("<nav class=\"beside\" aria-label=\"Frames before and after\">");
    for (label, rel, at) in [("Before", "prev", index.checked_sub(1)), ("After", "next", Some(index + 1))] {
        if let Some(other) = at.and_then(|i| shoot.sheets.get(i)) {
            put!(out, "<a rel=\"{rel}\" href=\"{}.html\">{label}: {}</a> ", other.id, esc(other.name()));
        }
    }
    put!(out, "</nav>\n<p class=\"source\">{}</p>\n<h1>{}</h1>\n", esc(&sheet.record.file), esc(sheet.name()));
    if let Some(shot) = &sheet.card.shot {
        let camera = Camera { make: shot.make.as_deref(), model: shot.model.as_deref(), serial: None };
        let parts = [
            shot.taken_at.as_deref().map(units::moment),
            camera.make_and_model(),
            shot.lens.clone(),
            shot.focal_mm.map(|f| format!("{} mm", units::number(f))),
            shot.iso.map(|iso| format!("ISO {}", units::number(iso))),
            shot.shutter_s.map(units::shutter),
            shot.f_number.map(units::aperture),
        ];
        let shown: Vec<String> = parts.into_iter().flatten().map(|p| format!("<span>{}</span>", esc(&p))).collect();
        put!(out, "<p class=\"shot\">{}</p>\n", shown.join(" "));
    }
    out.push_str("</header>\n");
}

fn unreadable(out: &mut String, sheet: &Sheet) {
    // Reasons go on from the name of the file: "is cut short".
    let why = sheet
        .card
        .error
        .as_deref()
        .map_or("No reason is recorded.".into(), |e| format!("The file {}.", e.trim_end_matches('?')));
    put!(
        out,
        "<section class=\"verdict unmeasured\"><h2>{}This file could not be read</h2><p>{}</p><p>It is not judged. If the camera can \
         show the picture, copy the file from the card again and audit it once more.</p></section>\n",
        sign(Outcome::Unmeasured),
        esc(&why)
    );
}

fn picture(out: &mut String, sheet: &Sheet) {
    out.push_str("<section class=\"look\" aria-labelledby=\"look-h\">\n<h2 id=\"look-h\">The picture, and where it is spoiled</h2>\n");
    match &sheet.drawn {
        Some(drawn) => overlay::figure(out, sheet, drawn),
        None => {
            let why = sheet.no_picture.as_deref().unwrap_or("no picture was drawn");
            put!(
                out,
                "<p class=\"bare\">No picture: {}. All numbers on this page come from the record.</p>\n",
                esc(&why)
            );
        }
    }
    out.push_str("</section>\n");
}

fn crops(out: &mut String, sheet: &Sheet) {
    let Some(drawn) = &sheet.drawn else { return };
    let places = [
        ("sharpest", "The sharpest measured edge", drawn.sharpest),
        ("softest", "The least sharp measured edge", drawn.softest),
        ("patch", "The largest clipped patch", drawn.patch),
    ];
    if places.iter().all(|p| p.2.is_none()) {
        return;
    }
    out.push_str("<section class=\"crops\" aria-labelledby=\"crops-h\">\n<h2 id=\"crops-h\">At 100 %</h2>\n<div class=\"pair\">\n");
    for (word, title, crop) in places {
        if let Some(crop) = crop {
            put!(
                out,
                "<figure><img loading=\"lazy\" src=\"../pictures/{}-{word}.jpg\" alt=\"{title}, {} by {} sensor \
                 pixels\"><figcaption>{title}{}</figcaption></figure>\n",
                sheet.id,
                crop.size_px[0],
                crop.size_px[1],
                drawn_how(&crop)
            );
        }
    }
    out.push_str(
        "</div>\n<p class=\"aside\">One sensor pixel per screen pixel, drawn plainly from the mosaic: no sharpening, no noise \
         reduction. The places are marked in the picture above under <q>crops</q>. Your raw developer will draw them differently; \
         the numbers come from the raw data, not from these.</p>\n</section>\n",
    );
}

/// How a crop was drawn, where it is not plainly.
fn drawn_how(crop: &Crop) -> String {
    let mut said = String::new();
    if crop.lift_ev > 0.05 {
        put!(said, ", brightened by {} EV", units::number((crop.lift_ev * 10.0).round() / 10.0));
    }
    if crop.shrunk > 1.01 {
        put!(said, ", drawn at {} % to fit", units::number((100.0 / crop.shrunk).round()));
    }
    said
}

/// What the page does not know.
fn honest(out: &mut String, sheet: &Sheet) {
    let card = &sheet.card;
    out.push_str("<section class=\"honest\" aria-labelledby=\"honest-h\">\n<h2 id=\"honest-h\">What was not measured</h2>\n<ul>\n");
    for missing in &card.verdict.not_measured {
        put!(out, "<li>{}</li>\n", esc(missing));
    }
    out.push_str(
        "<li>Composition, expression, colour and taste; flare, dust and moir\u{e9}; whether the sharpest part is the part that \
         matters. A single frame cannot tell these apart from what the scene is.</li>\n</ul>\n",
    );
    let error = card.error.iter().filter(|_| card.status != Status::Unreadable);
    let notes: Vec<&String> = card.notes.iter().chain(error).collect();
    if !notes.is_empty() {
        out.push_str("<h2>Notes on what was measured</h2>\n<ul>\n");
        for note in notes {
            put!(out, "<li>{}</li>\n", esc(note));
        }
        out.push_str("</ul>\n");
    }
    out.push_str("</section>\n");
}
