//! The picture with overlays: hatched clipped highlights per plane, dotted blocked shadows, rings of edge rise, places of
//! the crops. Each button is its own legend and shows the pattern itself, so nothing depends on colour.

use rawassay_analysis::FindingCode;

use super::draw::{Crop, Drawn, Source, mask_name};
use super::html::{esc, put};
use super::shoot::Sheet;
use super::{units, upright};

/// Direction of the hatch of each plane with clipped samples, as a path in an 8 x 8 tile.
const HATCHES: [&str; 4] = [
    // rising
    "M-2 2L2 -2M0 8L8 0M6 10L10 6",
    // level
    "M0 4H8",
    // upright
    "M4 0V8",
    // falling
    "M-2 6L2 10M0 0L8 8M6 -2L10 2",
];
const DIRECTIONS: [&str; 4] = ["rising lines", "level lines", "upright lines", "falling lines"];

/// Which hatch a plane has: the same for the same colour on every page.
fn hatch_of(plane: &str, index: usize) -> usize {
    match plane {
        "R" => 0,
        "G" | "G1" => 1,
        "G2" => 2,
        "B" => 3,
        _ => index % HATCHES.len(),
    }
}

/// The figure with its buttons.
pub(crate) fn figure(out: &mut String, sheet: &Sheet, drawn: &Drawn) {
    let [width, height] = drawn.picture_px;
    let id = &sheet.id;
    let first = main_finding(sheet);
    let clipped_first = first == Some(FindingCode::Blown);
    let most = most_clipped(drawn);
    buttons(out, sheet, drawn, first);
    put!(
        out,
        "<figure class=\"stage\">\n<div class=\"layers\"><img width=\"{width}\" height=\"{height}\" src=\"../pictures/{id}.jpg\" \
         alt=\"{}\">\n<svg class=\"over\" viewBox=\"0 0 {width} {height}\" aria-hidden=\"true\"><defs>",
        esc(sheet.name())
    );
    // Patterns are drawn in picture pixels; 12 px tiles stay visible when the picture is shown small.
    let used = |i: usize| drawn.clipped.iter().enumerate().any(|(index, (plane, _))| hatch_of(plane, index) == i);
    for (i, hatch) in HATCHES.iter().enumerate().filter(|&(i, _)| used(i)) {
        put!(
            out,
            "<pattern id=\"hatch-{i}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\" patternTransform=\"scale(1.5)\"><path \
             class=\"casing\" d=\"{hatch}\"/><path class=\"hatch\" d=\"{hatch}\"/></pattern>"
        );
    }
    out.push_str(
        "<pattern id=\"dots\" width=\"10\" height=\"10\" patternUnits=\"userSpaceOnUse\"><circle class=\"dot\" cx=\"2.5\" cy=\"2.5\" \
         r=\"2\"/><circle class=\"dot\" cx=\"7.5\" cy=\"7.5\" r=\"2\"/></pattern>",
    );
    let mask = |out: &mut String, word: &str| {
        put!(
            out,
            "<mask id=\"m-{word}\" maskUnits=\"userSpaceOnUse\" x=\"0\" y=\"0\" width=\"{width}\" height=\"{height}\"><image \
             href=\"../pictures/{id}-{word}.png\" width=\"{width}\" height=\"{height}\" preserveAspectRatio=\"none\" \
             image-rendering=\"pixelated\"/></mask>"
        );
    };
    for (plane, _) in &drawn.clipped {
        mask(out, &format!("clipped-{}", mask_name(plane)));
    }
    if drawn.blocked.unwrap_or(0) > 0 {
        mask(out, "blocked");
    }
    out.push_str("</defs>");
    for (index, (plane, _)) in drawn.clipped.iter().enumerate() {
        let name = mask_name(plane);
        put!(
            out,
            "<g class=\"layer{}\" id=\"layer-clipped-{name}\"><rect class=\"tint\" width=\"{width}\" height=\"{height}\" \
             mask=\"url(#m-clipped-{name})\"/><rect width=\"{width}\" height=\"{height}\" \
             fill=\"url(#hatch-{})\" mask=\"url(#m-clipped-{name})\"/></g>",
            on(clipped_first && most == Some(plane.as_str())),
            hatch_of(plane, index)
        );
    }
    if drawn.blocked.unwrap_or(0) > 0 {
        put!(
            out,
            "<g class=\"layer{}\" id=\"layer-blocked\"><rect width=\"{width}\" height=\"{height}\" fill=\"url(#dots)\" \
             mask=\"url(#m-blocked)\"/></g>",
            on(first == Some(FindingCode::Blocked))
        );
    }
    rings(out, sheet, drawn, rise_first(first));
    for (word, label, crop) in [
        ("sharpest", "sharpest", drawn.sharpest),
        ("softest", "least sharp", drawn.softest),
        ("patch", "clipped patch", drawn.patch),
    ] {
        if let Some(crop) = crop {
            place(out, word, label, crop, drawn.picture_px);
        }
    }
    if let Some(crop) = cropped(sheet, drawn) {
        out.push_str(&crop);
    }
    out.push_str("</svg></div>\n<figcaption>");
    if sheet.crop.is_some() {
        out.push_str("Only the part inside the outline is judged. ");
    }
    match drawn.source {
        Source::Preview => out.push_str(
            "The preview that the camera put into the raw file; overlays come from the raw data and lie on its active area.",
        ),
        Source::Mosaic => {
            out.push_str("A plain rendering of the raw mosaic, made only to be looked at: balanced to grey");
            if drawn.lift_ev > 0.05 {
                put!(out, ", brightened by {} EV", units::number(drawn.lift_ev));
            }
            out.push('.');
        }
    }
    put!(
        out,
        " A hatch marks cells of {cell} \u{d7} {cell} sensor pixels with at least one clipped sample of that plane; dots mark cells where at \
         least half of the samples lie at the noise floor.</figcaption></figure>\n",
        cell = units::number(drawn.cell_px)
    );
}

/// The finding whose overlay is shown at first: the worst that has one; a note of blown patches shows where they are.
fn main_finding(sheet: &Sheet) -> Option<FindingCode> {
    let codes = sheet.card.verdict.findings.iter().map(|f| f.code);
    codes.into_iter().find(|c| matches!(c, FindingCode::Blown | FindingCode::Blocked) || rise_first(Some(*c)))
}

/// The plane with most clipped cells: four hatches at once hide the picture.
fn most_clipped(drawn: &Drawn) -> Option<&str> {
    let most = drawn.clipped.iter().map(|(_, cells)| *cells).max()?;
    drawn.clipped.iter().find(|(_, cells)| *cells == most).map(|(plane, _)| plane.as_str())
}

/// Whether the rings of edge rise show this finding.
fn rise_first(code: Option<FindingCode>) -> bool {
    matches!(code, Some(FindingCode::Soft | FindingCode::Shaken | FindingCode::Diffracted))
}

/// The class of a layer that is shown at first.
fn on(shown: bool) -> &'static str {
    if shown { " on" } else { "" }
}

/// A button per overlay, with its pattern as the legend.
fn buttons(out: &mut String, sheet: &Sheet, drawn: &Drawn, first: Option<FindingCode>) {
    out.push_str(
        "<div class=\"overlays\" role=\"group\" aria-label=\"Overlays on the picture\"><span class=\"hint\">Press to show or \
         hide:</span> ",
    );
    let button = |out: &mut String, layer: &str, pressed: bool, swatch: &str, text: &str| {
        put!(
            out,
            "<button type=\"button\" aria-pressed=\"{pressed}\" data-layer=\"{layer}\"><svg class=\"swatch\" viewBox=\"0 0 24 16\" \
             aria-hidden=\"true\">{swatch}</svg>{text}</button> "
        );
    };
    if drawn.clipped.is_empty() {
        out.push_str("<span class=\"none\">No clipped sample.</span> ");
    }
    for (index, (plane, _)) in drawn.clipped.iter().enumerate() {
        let hatch = hatch_of(plane, index);
        let pct = sheet.card.channels.iter().find(|c| &c.name == plane).map_or(0.0, |c| c.clipped_pct);
        // The pattern itself, from the picture below.
        let swatch = format!(
            "<rect class=\"paper\" width=\"24\" height=\"16\"/><rect width=\"24\" height=\"16\" fill=\"url(#hatch-{hatch})\"/>"
        );
        let text = format!(
            "clipped {} <span class=\"how\">{}, {} %</span>",
            esc(plane),
            DIRECTIONS[hatch],
            units::number(pct)
        );
        let pressed = first == Some(FindingCode::Blown) && most_clipped(drawn) == Some(plane.as_str());
        button(out, &format!("clipped-{}", mask_name(plane)), pressed, &swatch, &text);
    }
    match drawn.blocked {
        Some(0) => out.push_str("<span class=\"none\">No blocked shadow.</span> "),
        Some(_) => button(
            out,
            "blocked",
            first == Some(FindingCode::Blocked),
            "<rect class=\"dark\" width=\"24\" height=\"16\"/><g class=\"dot\"><circle cx=\"4\" cy=\"4\" r=\"2\"/><circle cx=\"12\" cy=\"4\" r=\"2\"/><circle \
             cx=\"20\" cy=\"4\" r=\"2\"/><circle cx=\"8\" cy=\"11\" r=\"2\"/><circle cx=\"16\" cy=\"11\" r=\"2\"/></g>",
            "blocked shadows <span class=\"how\">dots</span>",
        ),
        None => out.push_str("<span class=\"none\">Blocked shadows unknown: no read noise.</span> "),
    }
    if sheet.record.measures.as_ref().is_some_and(|m| m.sharpness.map.rise_px.iter().any(Option::is_some)) {
        button(
            out,
            "rise",
            rise_first(first),
            "<circle class=\"ring\" cx=\"6\" cy=\"8\" r=\"3\"/><circle class=\"ring\" cx=\"16\" cy=\"8\" r=\"6\"/>",
            "edge rise <span class=\"how\">the wider the ring, the less sharp; px</span>",
        );
    }
    if drawn.sharpest.is_some() || drawn.softest.is_some() || drawn.patch.is_some() {
        button(
            out,
            "crops",
            false,
            "<path class=\"ring\" d=\"M4 6V3H8M16 3H20V6M20 10V13H16M8 13H4V10\"/>",
            "crops <span class=\"how\">corner marks</span>",
        );
    }
    out.push_str("</div>\n");
}

/// A ring per tile of the rise map; its diameter is the rise, enlarged.
fn rings(out: &mut String, sheet: &Sheet, drawn: &Drawn, shown: bool) {
    let Some(measures) = &sheet.record.measures else { return };
    let map = &measures.sharpness.map;
    if map.cols == 0 || map.rows == 0 || map.rise_px.len() != map.cols * map.rows {
        return;
    }
    let orientation = sheet.card.shot.as_ref().map_or(rawassay_decode::Orientation::NORMAL, |s| s.orientation);
    let [width, height] = drawn.picture_px.map(f64::from);
    let (cols, rows) = (map.cols as f64, map.rows as f64);
    let (up_cols, up_rows) = upright::size(orientation, cols, rows);
    let tile = (width / up_cols).min(height / up_rows);
    let widest = map.rise_px.iter().flatten().copied().fold(1.0, f64::max);
    // The widest ring just fits its tile, but a sharp frame's rings stay small.
    let px = (tile * 0.46 / widest).min(tile * 0.46 / 4.0);
    let (mut path, mut labels) = (String::new(), String::new());
    for (i, rise) in map.rise_px.iter().enumerate() {
        let Some(rise) = rise.filter(|r| r.is_finite()) else { continue };
        let centre = ((i % map.cols) as f64 + 0.5, (i / map.cols) as f64 + 0.5);
        let (x, y) = upright::point(orientation, centre, (cols, rows));
        let (x, y, r) = (x / up_cols * width, y / up_rows * height, (rise * px).max(1.0));
        // A circle as two half turns.
        put!(path, "M{:.1} {y:.0}a{r:.1} {r:.1} 0 1 0 {d:.1} 0a{r:.1} {r:.1} 0 1 0-{d:.1} 0", x - r, d = 2.0 * r);
        put!(
            labels,
            "<text x=\"{x:.0}\" y=\"{:.0}\">{}</text>",
            (y + r + 15.0).min(height - 3.0),
            units::number((rise * 10.0).round() / 10.0)
        );
    }
    put!(
        out,
        "<g class=\"layer{}\" id=\"layer-rise\"><defs><path id=\"rings\" d=\"{path}\"/></defs><use href=\"#rings\" class=\"casing\"/><use \
         href=\"#rings\" class=\"ring\"/>{labels}</g>",
        on(shown)
    );
}

/// The part that is judged: an outline, and a veil over the rest.
fn cropped(sheet: &Sheet, drawn: &Drawn) -> Option<String> {
    let crop = sheet.crop?;
    let shot = sheet.card.shot.as_ref()?;
    let (stored_w, stored_h) = (shot.width_px as f64, shot.height_px as f64);
    let whole = upright::size(shot.orientation, stored_w, stored_h);
    let corner = |x: usize, y: usize| upright::point(shot.orientation, (x as f64, y as f64), (stored_w, stored_h));
    let ((x0, y0), (x1, y1)) = (corner(crop.x, crop.y), corner(crop.right(), crop.bottom()));
    let [width, height] = drawn.picture_px.map(f64::from);
    let (x, y) = (x0.min(x1) / whole.0 * width, y0.min(y1) / whole.1 * height);
    let (w, h) = ((x0 - x1).abs() / whole.0 * width, (y0 - y1).abs() / whole.1 * height);
    let inner = format!("M{x:.1} {y:.1}v{h:.1}h{w:.1}v-{h:.1}z");
    Some(format!(
        "<path class=\"veil\" d=\"M0 0H{width}V{height}H0z{inner}\"/><path class=\"judged-part casing\" d=\"{inner}\"/><path \
         class=\"judged-part ring\" d=\"{inner}\"/>"
    ))
}

/// Corner marks about a crop.
fn place(out: &mut String, word: &str, label: &str, crop: Crop, size: [u32; 2]) {
    let [width, height] = size.map(f64::from);
    let [x, y, w, h] = crop.place;
    let (x, y, w, h) = (x * width, y * height, w * width, h * height);
    let a = (w.min(h) * 0.3).max(4.0);
    let path = format!(
        "M{:.1} {:.1}v-{a:.1}h{a:.1}M{:.1} {:.1}h{a:.1}v{a:.1}M{:.1} {:.1}v{a:.1}h-{a:.1}M{:.1} {:.1}h-{a:.1}v-{a:.1}",
        x,
        y + a,
        x + w - a,
        y,
        x + w,
        y + h - a,
        x + a,
        y + h
    );
    put!(
        out,
        "<g class=\"layer layer-crops\" id=\"layer-crop-{word}\"><path class=\"casing\" d=\"{path}\"/><path class=\"ring\" d=\"{path}\"/><text \
         x=\"{:.0}\" y=\"{:.0}\">{label}</text></g>",
        (x + w / 2.0).clamp(40.0, (width - 40.0).max(40.0)),
        if y > 22.0 { y - 6.0 } else { y + h + 18.0 }
    );
}
