//! The page of one frame: verdict and wall first, then the picture with overlays, crops, plots and every value.

use rawassay_analysis::{Finding, Outcome, Severity};
use rawassay_decode::Orientation;

use super::draw::Crop;
use super::html::{close_page, esc, open_page, put};
use super::overview::{purpose_words, sign, ways};
use super::shoot::{Purpose, Sheet, Shoot, finding_title, numbers};
use super::{overlay, units, values};
use crate::plot;
use crate::plot::wall::Wall;
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
        verdict(&mut out, shoot, sheet);
        wall(&mut out, shoot, sheet);
        out.push_str("</div>\n");
        picture(&mut out, sheet);
        crops(&mut out, sheet);
        plots(&mut out, sheet);
    }
    honest(&mut out, sheet);
    values::section(&mut out, sheet);
    out.push_str("</main>\n");
    close_page(&mut out, "../");
    out
}

fn orientation(sheet: &Sheet) -> Orientation {
    sheet.card.shot.as_ref().map_or(Orientation::NORMAL, |s| s.orientation)
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
        let camera = match (&shot.make, &shot.model) {
            (Some(make), Some(model)) if !model.starts_with(make.as_str()) => Some(format!("{make} {model}")),
            (make, model) => model.clone().or_else(|| make.clone()),
        };
        let parts = [
            shot.taken_at.as_deref().map(units::moment),
            camera,
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

fn verdict(out: &mut String, shoot: &Shoot, sheet: &Sheet) {
    let purpose = &shoot.purpose;
    let size = purpose.size.replace(" x ", " \u{d7} ");
    let outcome = sheet.outcome();
    let headline = match outcome {
        Outcome::Prints if purpose.screen => format!("Good enough for {size}"),
        Outcome::Prints => format!("Prints at {size}"),
        Outcome::Borderline => format!("At its limit for {size}"),
        Outcome::Fails => format!("Not good enough for {size}"),
        Outcome::Unmeasured => "Could not be judged".into(),
    };
    put!(
        out,
        "<section class=\"verdict {outcome}\" aria-labelledby=\"verdict-h\">\n<h2 id=\"verdict-h\">{}{}</h2>\n<p \
         class=\"for\">Outcome: <b>{outcome}</b> for the brief <q>{}</q>: {}.</p>\n",
        sign(outcome),
        esc(&headline),
        esc(&purpose.name),
        esc(&purpose_words(purpose))
    );
    largest(out, purpose, sheet);
    let proof = sheet.card.print.largest_with_proof.as_ref();
    if let Some(proof) =
        proof.filter(|p| Some(p.width_in * 0.97) > sheet.card.print.largest.as_ref().map(|l| l.width_in))
    {
        put!(
            out,
            "<p>{}, up to {} ({}).</p>\n",
            if purpose.screen { "With a look at the full size first" } else { "With a proof print" },
            units::print_most(proof.width_in, proof.height_in, purpose.unit),
            units::print_most(proof.width_in, proof.height_in, purpose.unit.other())
        );
    }
    let findings = &sheet.card.verdict.findings;
    if findings.is_empty() {
        out.push_str("<p>Nothing found that spoils it.</p>\n");
    } else {
        out.push_str("<ul class=\"findings\">\n");
        for finding in findings {
            one_finding(out, finding);
        }
        out.push_str("</ul>\n");
    }
    if matches!(outcome, Outcome::Prints | Outcome::Borderline) && !purpose.screen {
        out.push_str(
            "<p class=\"proof\">Before a large print: make a proof print of a strip at final size and look at it from the viewing \
             distance. Composition, colour, expression and the focus on <em>your</em> subject were not measured.</p>\n",
        );
    }
    out.push_str("</section>\n");
}

/// The largest honest print, or that there is none and what would have to be accepted for one.
fn largest(out: &mut String, purpose: &Purpose, sheet: &Sheet) {
    let most = |w: f64, h: f64, unit| units::print_most(w, h, unit);
    let (unit, other) = (purpose.unit, purpose.unit.other());
    let many = |what: &str| what.ends_with('s') && what != "sharpness";
    let print = &sheet.card.print;
    let name = if purpose.screen { "Largest honest size" } else { "Largest honest print" };
    if let Some(largest) = &print.largest {
        put!(
            out,
            "<p class=\"largest\"><span>{}</span> <b>{}</b> <span>{} at {} ppi; beyond that {} \
             {} it.</span></p>\n",
            name,
            most(largest.width_in, largest.height_in, unit),
            most(largest.width_in, largest.height_in, other),
            units::number(largest.ppi),
            esc(&largest.limited_by),
            if many(&largest.limited_by) { "limit" } else { "limits" }
        );
    }
    let Some(accepted) = &print.if_accepted else { return };
    let size = most(accepted.width_in, accepted.height_in, unit);
    let what = esc(&accepted.what);
    if print.largest.is_none() {
        put!(
            out,
            "<p class=\"largest\"><span>{name}</span> <b>none</b> <span>{what} {} at every size. By size alone \
             {size}, for whoever accepts the {what}.</span></p>\n",
            if many(&accepted.what) { "fail" } else { "fails" }
        );
    } else {
        put!(out, "<p>By size alone {size}, for whoever accepts the {what}.</p>\n");
    }
}

fn one_finding(out: &mut String, finding: &Finding) {
    let severity = match finding.severity {
        Severity::Fails => "fails",
        Severity::Borderline => "borderline",
        Severity::Note => "note",
    };
    put!(
        out,
        "<li class=\"{severity}\"><h3><a href=\"../words.html#{code}\">{}</a> <span class=\"how\">{severity}</span></h3><p>{}",
        finding_title(finding.code),
        esc(&finding.text),
        code = finding.code
    );
    if let Some(numbers) = numbers(finding) {
        put!(out, " <span class=\"numbers\">Measured {}.</span>", esc(&numbers));
    }
    out.push_str("</p>");
    if !finding.remedy.is_empty() {
        put!(out, "<p class=\"remedy\"><b>Next time:</b> {}</p>", esc(&finding.remedy));
    }
    out.push_str("</li>\n");
}

fn wall(out: &mut String, shoot: &Shoot, sheet: &Sheet) {
    let small = sheet.drawn.as_ref().map(|_| format!("../pictures/{}-small.jpg", sheet.id));
    let wall = Wall {
        sizes: sheet.sizes.clone(),
        largest_cm: sheet.largest_cm(),
        picture: small.as_deref(),
        distance: &shoot.purpose.distance,
        unit: shoot.purpose.unit,
    };
    if let Some(svg) = wall.svg() {
        put!(
            out,
            "<figure class=\"on-wall\">{svg}<figcaption>To scale. The picture hangs at its largest honest size, seen from {}; \
             <span class=\"line proof\">half-tone outlines</span> need {}, <span class=\"line empty\">dashed \
             outlines</span> ask more than the frame has.</figcaption></figure>\n",
            esc(&shoot.purpose.distance),
            if shoot.purpose.screen { "a look at the full size" } else { "a proof print" }
        );
    }
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

/// Whether the exposure used what the sensor has, at both ends.
fn range_used(sheet: &Sheet) -> String {
    let mut told = String::new();
    if let Some(room) = sheet.card.range.shadow_room_ev {
        let (ev, side) = (room.abs(), if room < 0.0 { "below" } else { "inside" });
        put!(told, " The scene's darkest tones lie {ev:.1} EV {side} it.");
    }
    match sheet.card.exposure.as_ref().and_then(|e| e.brighter_by_ev) {
        Some(ev) if ev >= 0.1 => put!(told, " The highlights had room for {ev:.1} EV more light."),
        Some(_) => told.push_str(" The highlights had no room for more light."),
        None => {}
    }
    told
}

fn plots(out: &mut String, sheet: &Sheet) {
    let Some(measures) = &sheet.record.measures else { return };
    out.push_str("<section class=\"plots\" aria-labelledby=\"plots-h\">\n<h2 id=\"plots-h\">Measurements</h2>\n<div class=\"grid\">\n");
    let figure = |out: &mut String, svg: &str, caption: &str| {
        put!(
            out,
            "<figure><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Plot\">{svg}</div><figcaption>{caption}</figcaption></figure>\n"
        );
    };

    if let Some(drawn) = &sheet.drawn {
        let marks = plot::histogram::Marks {
            engineering_ev: sheet.card.range.engineering_ev,
            usable_ev: sheet.card.range.usable_ev,
        };
        let mut key = String::new();
        for channel in &measures.channels {
            let role = plot::Role::of_plane(&channel.name).word();
            put!(
                key,
                " <span class=\"key\"><svg class=\"dash\" viewBox=\"0 0 30 8\" aria-hidden=\"true\"><path class=\"s-{role}\" \
                 d=\"M0 4H30\"/></svg>{}</span>",
                esc(&channel.name)
            );
        }
        let caption = format!(
            "<a href=\"../words.html#range.usable_ev\">Raw histogram</a> per filter colour, from the raw samples.{key} The shaded part is the \
             usable range at signal-to-noise {} on the paper.{}",
            units::number(sheet.card.range.snr_limit),
            range_used(sheet)
        );
        figure(out, &plot::histogram::svg(&drawn.histograms, &measures.channels, marks), &caption);
    }

    let green = measures.channels.get(super::draw::green_plane(&measures.channels));
    if let (Some(gain), Some(read), Some(green)) = (measures.noise.gain_e_per_dn, measures.noise.read_noise_dn, green) {
        let model = plot::noise::Model {
            gain_e_per_dn: gain,
            read_noise_dn: read,
            full_dn: green.saturation_dn - green.black_dn,
            r2: measures.noise.model_r2,
            square: sheet.drawn.as_ref().map_or(0.0, |d| d.unevenness),
        };
        let caption = format!(
            "<a href=\"../words.html#noise.gain_e_per_dn\">Noise</a> of the {} plane: variance against mean. Line: the fit to {} flat \
             patches of this frame{}; dots: the middle one of each tone.{}",
            esc(&green.name),
            measures.noise.flat_patches,
            measures.noise.model_r2.map_or(String::new(), |r2| format!(", R\u{b2} {}", units::number(r2))),
            if model.square > 0.0 {
                " Dashed: with pixels that respond unevenly, or fine texture, which grow with the square of the tone."
            } else {
                ""
            }
        );
        let patches: Vec<(f64, f64)> = sheet
            .drawn
            .iter()
            .flat_map(|d| d.patches.iter().map(|&(mean, variance)| (f64::from(mean), f64::from(variance))))
            .collect();
        figure(out, &plot::noise::svg(model, &patches), &caption);
    }

    let sharpness = &measures.sharpness;
    if sharpness.rise_by_direction_px.iter().any(Option::is_some) || measures.blur.motion_px.is_some() {
        let turned = if orientation(sheet) == Orientation::NORMAL {
            ""
        } else {
            " Turned with the picture; the angles in the table below are those of the frame as stored."
        };
        let caption = format!(
            "<a href=\"../words.html#sharpness.rise_by_direction_px\">Edge rise by direction</a>, in pixels from the centre. A round shape is \
             even blur; a long one is motion along its length. Dashed: diffraction alone.{turned}"
        );
        figure(out, &plot::polar::svg(&sharpness.rise_by_direction_px, &measures.blur, orientation(sheet)), &caption);
    }
    if let Some(curves) = plot::edge::model(sharpness, &measures.blur) {
        let caption = "<a href=\"../words.html#sharpness.edge_rise_px\">Edge spread</a> of the point spread that was fitted to the \
                       sharpest edges, pixel included. Shaded: from 10 to 90 %.";
        figure(out, &plot::edge::spread(&curves.spread, sharpness.edge_rise_px), caption);
        let caption = "<a href=\"../words.html#sharpness.mtf50_cy_px\">Contrast against fineness (MTF)</a> of the same point spread; dots: \
                       the measured half and tenth of the contrast.";
        figure(out, &plot::edge::mtf(&curves.mtf, sharpness.mtf50_cy_px, sharpness.mtf10_cy_px), caption);
    }
    out.push_str("</div>\n</section>\n");
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
