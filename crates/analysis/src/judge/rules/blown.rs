//! `blown`: highlights at saturation, by their area on the paper.
//!
//! Spots up to the brief's diameter on the paper are specular highlights and do not count. Where one colour alone is
//! clipped the hue goes but tone is left: such a frame is borderline at the most. A light source or its reflection is
//! meant to be white: see [`is_light`]; alone it is a note.

use rawassay_decode::Area;

use super::{Case, Finding, FindingCode, Parts, Severity, apart, passed, surface};
use crate::brief::length::short;
use crate::judge::case::tile_share;
use crate::known;
use crate::measures::levels::FURTHEST_OVER_EV;
use crate::measures::{ClippedArea, Measures};
use crate::print::grade_above;

/// Share of the blown area in which a second colour clips too, from which on tone counts as lost.
const TONE_LOST_SHARE: f64 = 0.5;
/// A light source or its reflection stands out of its surroundings by this much, EV: half as bright again at the least.
const STANDS_OUT_EV: f64 = 0.6;
/// The disc of sun, moon or lamp fills no more of the picture than this, per cent: the sun at 300 mm on 36 x 24 mm fills 0.7.
const DISC_MOST_PCT: f64 = 1.0;
/// A disc, whole or cut by a horizon, fills pi/4 of its box; flare and branches take some away.
const DISC_FILL: f64 = 0.55;
/// The box of a disc of which a horizon leaves a quarter of the height is four times as wide as high.
const DISC_ASPECT: f64 = 4.0;
/// From this share of what any colour clips on, all colours clip in the same places.
const ALIKE: f64 = 0.9;
/// A glint may have any shape and is no larger than this, per cent.
const GLINT_MOST_PCT: f64 = 0.05;

/// Whether a clipped area is a light source or its reflection: a second colour clips in less than half of it, it stands
/// out of its surroundings, and it is a small disc (or the part of one above a horizon) or a glint.
fn is_light(m: &Measures, area: &ClippedArea) -> bool {
    let (Some(lost), Some(around)) = (area.tone_lost_pct, area.around_ev) else { return false };
    let (width, height) = (area.box_px[2] as f64, area.box_px[3] as f64);
    let px = area.area_pct / 100.0 * m.active_px[2] as f64 * m.active_px[3] as f64;
    let disc = area.area_pct <= DISC_MOST_PCT
        && px >= DISC_FILL * width * height
        && width.max(height) <= DISC_ASPECT * width.min(height);
    lost < TONE_LOST_SHARE * area.area_pct && around >= STANDS_OUT_EV && (disc || area.area_pct <= GLINT_MOST_PCT)
}

/// What is blown in the picture (in the crop), per cent of it.
#[derive(Debug, Clone, Copy, Default)]
struct Blown {
    /// Without specular spots.
    area_pct: f64,
    /// The part of it in which a second colour clips too, at the most.
    tone_lost_pct: f64,
    /// The largest patch.
    patch_pct: f64,
    /// Patches that count, as far as listed.
    patches: usize,
    /// How far the surroundings of the largest patch lie below saturation, EV.
    around_ev: Option<f64>,
}

/// Per cent of a crop, from per cent of each tile.
pub(super) fn tiles_pct(pct: &[f32], size: (usize, usize), picture: (usize, usize), crop: &Area) -> Option<f64> {
    let (cols, rows) = size;
    if cols == 0 || rows == 0 || pct.len() != cols * rows {
        return None;
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for (i, pct) in pct.iter().enumerate() {
        let share = tile_share((i % cols, i / cols), size, picture, crop);
        if share > 0.0 {
            sum += share * f64::from(*pct);
            weight += share;
        }
    }
    known(sum / weight)
}

/// Share of a box (full frame) that lies in the crop (picture), 0..1.
fn box_share(m: &Measures, [x, y, width, height]: [usize; 4], crop: &Area) -> f64 {
    let area = Area::new(x.saturating_sub(m.active_px[0]), y.saturating_sub(m.active_px[1]), width, height);
    let inside = area.intersect(crop);
    if area.is_empty() { 0.0 } else { inside.len() as f64 / area.len() as f64 }
}

/// One listed patch.
#[derive(Clone, Copy)]
struct Patch {
    pct: f64,
    lost_pct: f64,
    light: bool,
    around_ev: Option<f64>,
}

/// What counts, and what is a light source or its reflection.
fn measure(case: &Case<'_>) -> Option<(Blown, Blown)> {
    let m = case.measures?;
    let picture = (m.active_px[2], m.active_px[3]);
    let whole = (picture.0 as f64) * (picture.1 as f64);
    // Per cent of the picture to per cent of the crop.
    let scale = case.crop.map_or(1.0, |c| whole / c.len() as f64);
    let any = match &case.crop {
        None => known(m.exposure.clipped_any_pct)?,
        Some(crop) => tiles_pct(&m.clipping.any_pct, (m.clipping.cols, m.clipping.rows), picture, crop)?,
    };
    let mut listed: Vec<Patch> = m
        .clipping
        .areas
        .iter()
        .map(|a| {
            let scale = scale * case.crop.map_or(1.0, |crop| box_share(m, a.box_px, &crop));
            let lost_pct = a.tone_lost_pct.unwrap_or(0.0) * scale;
            Patch { pct: a.area_pct * scale, lost_pct, light: is_light(m, a), around_ev: a.around_ev }
        })
        .filter(|patch| patch.pct.is_finite() && patch.pct > 0.0)
        .collect();
    if m.clipping.areas.is_empty() && m.exposure.largest_clipped_area_pct > 0.0 {
        let pct = (m.exposure.largest_clipped_area_pct * scale).min(any);
        listed.push(Patch { pct, lost_pct: 0.0, light: false, around_ev: None });
    }
    let radius_cm = case.brief.limits.specular_spot_mm / 20.0;
    let spot_pct = std::f64::consts::PI * radius_cm * radius_cm / case.paper_cm2()? * 100.0;
    // What is not listed counts by its mean size: spots in full only where they are as large as a patch.
    let rest = (any - listed.iter().map(|p| p.pct).sum::<f64>()).max(0.0);
    let unlisted = (m.exposure.clipped_area_count as f64 - m.clipping.areas.len() as f64).max(0.0);
    let mean = if unlisted > 0.0 { rest / unlisted } else { 0.0 };
    let rest = if spot_pct > 0.0 { rest * (mean / spot_pct).min(1.0) } else { rest };
    let sum = |light: bool| {
        let mut blown = Blown::default();
        for patch in listed.iter().filter(|p| p.light == light && p.pct > spot_pct) {
            blown.area_pct += patch.pct;
            blown.tone_lost_pct += patch.lost_pct;
            blown.patches += 1;
            if patch.pct > blown.patch_pct {
                (blown.patch_pct, blown.around_ev) = (patch.pct, patch.around_ev);
            }
        }
        blown
    };
    let light = sum(true);
    let mut counted = sum(false);
    counted.area_pct = (counted.area_pct + rest).min(any.max(0.0));
    // Older records do not tell which patch has lost its tone: then the share is that of all that is clipped.
    let all_light = listed.iter().filter(|p| p.light);
    let (light_any, light_lost) = all_light.fold((0.0, 0.0), |(any, lost), p| (any + p.pct, lost + p.lost_pct));
    let others = any - light_any;
    let share = if others > 0.0 { (counted.area_pct / others).min(1.0) } else { 0.0 };
    let second = (second_colour_pct(m) * scale - light_lost).max(0.0);
    counted.tone_lost_pct = (second * share).min(counted.area_pct);
    Some((counted, light))
}

/// How bad an area is: by its share of the picture and by its largest patch.
fn grades(case: &Case<'_>, blown: &Blown) -> Option<(Option<Severity>, Option<Severity>)> {
    let (area, patch) = (case.brief.limits.blown_area_pct, case.brief.limits.blown_patch_cm2);
    let patch_cm2 = blown.patch_pct / 100.0 * case.paper_cm2()?;
    let by_area = match grade_above(blown.tone_lost_pct, area) {
        Some(Severity::Fails) => Some(Severity::Fails),
        _ => grade_above(blown.area_pct, area).map(|_| Severity::Borderline),
    };
    let by_patch = grade_above(patch_cm2, patch).map(|s| if tone_lost(blown) { s } else { Severity::Borderline });
    Some((by_area, by_patch))
}

fn tone_lost(blown: &Blown) -> bool {
    blown.area_pct > 0.0 && blown.tone_lost_pct >= TONE_LOST_SHARE * blown.area_pct
}

/// How bad the highlights are at this size; `None` within the limits or unknown.
pub(in crate::judge) fn grade(case: &Case<'_>) -> Option<Severity> {
    let (by_area, by_patch) = grades(case, &measure(case)?.0)?;
    by_area.max(by_patch)
}

/// Clipped share of each colour, per cent of the picture, largest first: two planes of one colour count as the larger.
fn colours(m: &Measures) -> Vec<(String, f64)> {
    let mut colours: Vec<(String, f64)> = Vec::new();
    for channel in &m.channels {
        let name = channel.name.trim_end_matches(|c: char| c.is_ascii_digit()).to_string();
        match colours.iter_mut().find(|(known, _)| *known == name) {
            Some((_, pct)) => *pct = pct.max(channel.clipped_pct),
            None => colours.push((name, channel.clipped_pct)),
        }
    }
    colours.sort_by(|a, b| b.1.total_cmp(&a.1));
    colours
}

/// Area in which two colours or more can be clipped at the most; all of it where there is but one colour.
fn second_colour_pct(m: &Measures) -> f64 {
    match colours(m).as_slice() {
        [] => m.exposure.clipped_any_pct,
        [(_, only)] => only.max(m.exposure.clipped_any_pct),
        [_, (_, second), ..] => second.max(m.exposure.clipped_all_pct),
    }
}

/// "in green alone", or which colours; with the share of each, and of all at once, in the whole frame (those of a crop are
/// not known). Empty where there is but one colour.
fn colour_words(m: &Measures, whole: bool) -> String {
    let colours = colours(m);
    let most = colours.first().map_or(0.0, |c| c.1);
    let word = |letter: &str| match letter {
        "R" => "red".to_string(),
        "G" => "green".into(),
        "B" => "blue".into(),
        other => other.to_string(),
    };
    let clipped: Vec<String> =
        colours.iter().filter(|(_, pct)| *pct > 0.0 && *pct >= 0.3 * most).map(|(name, _)| word(name)).collect();
    let which = match (clipped.len(), colours.len()) {
        (_, 0 | 1) | (0, _) => return String::new(),
        // As good as everywhere.
        (n, all) if n == all && m.exposure.clipped_all_pct >= ALIKE * m.exposure.clipped_any_pct => {
            "in all colours".into()
        }
        (1, _) if colours.iter().skip(1).all(|(_, pct)| *pct <= 0.0) => format!("in {} alone", clipped[0]),
        (1, _) => format!("mostly in {}", clipped[0]),
        _ => "in one colour or more".into(),
    };
    let mut shares: Vec<String> =
        colours.iter().map(|(name, pct)| format!("{} {} %", word(name), short(round(*pct)))).collect();
    shares.push(format!("all at once {} %", short(round(m.exposure.clipped_all_pct))));
    let shares = shares.join(", ");
    // Which colours a part of the frame has clipped is not known.
    if whole { format!("{which} ({shares})") } else { format!("(of the whole frame: {shares})") }
}

/// Two digits: a share of the picture is no better known.
fn round(value: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let unit = 10f64.powf(value.log10().floor() - 1.0);
    (value / unit).round() * unit
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let (counted, light) = measure(case)?;
    let (by_area, by_patch) = grades(case, &counted)?;
    match by_area.max(by_patch) {
        Some(severity) => blown(case, &counted, &light, severity, by_area >= by_patch),
        None => lit(case, &light),
    }
}

fn blown(case: &Case<'_>, blown: &Blown, light: &Blown, severity: Severity, by_area: bool) -> Option<Finding> {
    let m = case.measures?;
    let paper_cm2 = case.paper_cm2()?;
    let (area, patch) = (case.brief.limits.blown_area_pct, case.brief.limits.blown_patch_cm2);
    let patch_cm2 = blown.patch_pct / 100.0 * paper_cm2;
    let (measured, limit, unit) = if by_area {
        (blown.area_pct, passed(area, severity), "%")
    } else {
        (patch_cm2, passed(patch, severity), "cm2")
    };
    let lost = match tone_lost(blown) {
        true if blown.tone_lost_pct >= ALIKE * blown.area_pct => "tone and texture are gone there",
        true => "tone and texture are gone in the larger part of it",
        false => "hue shifts there, some tone is left",
    };
    let colours = match colour_words(m, case.crop.is_none()) {
        none if none.is_empty() => none,
        words => format!("; clipped {words}"),
    };
    let passed = format!(" (limit {} {unit})", short(limit));
    // Each limit stands beside the number that is held against it.
    let (of_area, of_patch) = if by_area { (passed.as_str(), "") } else { ("", passed.as_str()) };
    let area_cm2 = short(blown.area_pct / 100.0 * paper_cm2);
    let largest_cm2 = if by_area { short(patch_cm2) } else { apart(short(patch_cm2), patch_cm2, limit) };
    let patches = match blown.patches {
        0 | 1 if short(patch_cm2) == area_cm2 => format!(" in one patch{of_patch}"),
        0 | 1 => format!(", the largest {largest_cm2} cm2{of_patch}"),
        n => format!(" in {n} patches or more, the largest {largest_cm2} cm2{of_patch}"),
    };
    let lights = match light.patches {
        0 => "specular spots are not counted".to_string(),
        n => format!("specular spots and {n} of light sources or glitter are not counted"),
    };
    Some(
        Parts {
            code: FindingCode::Blown,
            severity,
            measured,
            limit,
            unit,
            text: format!(
                "Highlights are clipped over {} % of the picture{of_area}, {area_cm2} cm2 of {}{patches}{colours}; {lost}; {lights}.",
                if by_area { apart(short(measured), measured, limit) } else { short(blown.area_pct) },
                surface(case),
            ),
            remedy: remedy(m.exposure.brighter_by_ev),
        }
        .into_finding(),
    )
}

/// What to do next time, by the room that the frame's exposure had.
fn remedy(brighter_by_ev: Option<f64>) -> String {
    match brighter_by_ev.and_then(known) {
        // As far as an overexposure is estimated: the true one may be larger.
        Some(ev) if ev <= -(FURTHEST_OVER_EV - 0.05) => {
            format!("Expose at least {FURTHEST_OVER_EV} EV less, and add frames 2 and 4 EV darker than that")
        }
        Some(ev) if ev < 0.0 => {
            let less = ((-ev * 3.0).ceil() / 3.0).max(1.0 / 3.0);
            format!(
                "Expose up to {less:.1} EV less (an estimate), and bracket (-1, -2 EV) where the shadows cannot spare it"
            )
        }
        Some(ev) => {
            let room = if ev >= 0.3 { format!(" (it had room for {ev:.1} EV)") } else { String::new() };
            format!(
                "The exposure was right for all but the brightest 0.1 % of the picture{room}: bracket (-1, -2 EV) where \
                 that patch must hold texture, else leave it"
            )
        }
        None => {
            "Bracket downwards (-1, -2, -4 EV) and look at the raw levels again: how far over it was cannot be told \
                 from the frame"
                .into()
        }
    }
}

/// A note where what would have passed a limit is a light source or its reflection.
fn lit(case: &Case<'_>, light: &Blown) -> Option<Finding> {
    let (by_area, by_patch) = grades(case, light)?;
    by_area.max(by_patch)?;
    let paper_cm2 = case.paper_cm2()?;
    // The colours of the whole frame are not those of the patch.
    let second = match light.tone_lost_pct / light.area_pct {
        share if share > 0.0 => format!("a second colour in {:.0} % of that", (100.0 * share).max(1.0)),
        _ => "one colour alone".into(),
    };
    let patches = match light.patches {
        1 => "A small bright patch is".to_string(),
        n => format!("{n} small bright patches are"),
    };
    let largest = match light.patches {
        1 => String::new(),
        _ => format!(", the largest {} cm2", short(light.patch_pct / 100.0 * paper_cm2)),
    };
    Some(
        Parts {
            code: FindingCode::Blown,
            severity: Severity::Note,
            measured: light.area_pct,
            limit: case.brief.limits.blown_area_pct.borderline,
            unit: "%",
            text: format!(
                "{patches} clipped over {} % of the picture, {} cm2 of {}{largest}, {second}{}: taken for a light source or its reflection, and not held against the frame.",
                short(light.area_pct),
                short(light.area_pct / 100.0 * paper_cm2),
                surface(case),
                light.around_ev.map_or(String::new(), |ev| format!(", with surroundings {ev:.1} EV below saturation")),
            ),
            remedy: "Look at it in the picture: nothing to do where it is the sun, a lamp or glitter; where it is a surface \
                     that must show texture, bracket (-1, -2 EV)"
                .into(),
        }
        .into_finding(),
    )
}
