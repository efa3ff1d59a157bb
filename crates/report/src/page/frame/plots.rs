//! The plots of a frame: histogram, noise, edge rise by direction, edge spread and contrast.

use rawassay_analysis::Measures;
use rawassay_decode::Orientation;

use crate::page::draw::green_plane;
use crate::page::html::{esc, put};
use crate::page::shoot::{Purpose, Sheet};
use crate::page::units;
use crate::plot;

/// The section of plots; nothing where the frame was not measured.
pub(super) fn section(out: &mut String, sheet: &Sheet, purpose: &Purpose) {
    let Some(measures) = &sheet.record.measures else { return };
    out.push_str("<section class=\"plots\" aria-labelledby=\"plots-h\">\n<h2 id=\"plots-h\">Measurements</h2>\n<div class=\"grid\">\n");
    histogram(out, sheet, measures, purpose);
    noise(out, sheet, measures);
    directions(out, sheet, measures);
    edge(out, measures);
    out.push_str("</div>\n</section>\n");
}

fn figure(out: &mut String, svg: &str, caption: &str) {
    put!(
        out,
        "<figure><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Plot\">{svg}</div><figcaption>{caption}</figcaption></figure>\n"
    );
}

fn histogram(out: &mut String, sheet: &Sheet, measures: &Measures, purpose: &Purpose) {
    let Some(drawn) = &sheet.drawn else { return };
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
             usable range at signal-to-noise {} on {}.{}",
        units::number(sheet.card.range.snr_limit),
        purpose.says("the paper"),
        range_used(sheet)
    );
    figure(out, &plot::histogram::svg(&drawn.histograms, &measures.channels, marks), &caption);
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
        // Overexposed, and nothing tells how far.
        None if sheet.card.exposure.as_ref().is_some_and(|e| e.clipped_any_pct > 0.1) => {
            told.push_str(" The highlights had no room for more light.");
        }
        None => {}
    }
    told
}

fn noise(out: &mut String, sheet: &Sheet, measures: &Measures) {
    let green = measures.channels.get(green_plane(&measures.channels));
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
}

fn directions(out: &mut String, sheet: &Sheet, measures: &Measures) {
    let orientation = sheet.card.shot.as_ref().map_or(Orientation::NORMAL, |s| s.orientation);
    let sharpness = &measures.sharpness;
    if sharpness.rise_by_direction_px.iter().any(Option::is_some) || measures.blur.motion_px.is_some() {
        let turned = if orientation == Orientation::NORMAL {
            ""
        } else {
            " Turned with the picture; the angles in the table below are those of the frame as stored."
        };
        let caption = format!(
            "<a href=\"../words.html#sharpness.rise_by_direction_px\">Edge rise by direction</a>, in pixels from the centre. A round shape is \
             even blur; a long one is motion along its length. Dashed: diffraction alone.{turned}"
        );
        figure(out, &plot::polar::svg(&sharpness.rise_by_direction_px, &measures.blur, orientation), &caption);
    }
}

fn edge(out: &mut String, measures: &Measures) {
    let sharpness = &measures.sharpness;
    if let Some(curves) = plot::edge::model(sharpness, &measures.blur) {
        let caption = "<a href=\"../words.html#sharpness.edge_rise_px\">Edge spread</a> of the point spread that was fitted to the \
                       sharpest edges, pixel included. Shaded: from 10 to 90 %.";
        figure(out, &plot::edge::spread(&curves.spread, sharpness.edge_rise_px), caption);
        let caption = "<a href=\"../words.html#sharpness.mtf50_cy_px\">Contrast against fineness (MTF)</a> of the same point spread; dots: \
                       the measured half and tenth of the contrast.";
        figure(out, &plot::edge::mtf(&curves.mtf, sharpness.mtf50_cy_px, sharpness.mtf10_cy_px), caption);
    }
}
