//! `blown`: highlights at saturation, by their area on the paper.
//!
//! Spots up to the brief's diameter on the paper are specular highlights and do not count. Where one colour alone is
//! clipped the hue goes but tone is left: such a frame is borderline at the most.

use rawassay_decode::Area;

use super::{Case, Finding, FindingCode, Parts, Severity, passed, surface};
use crate::brief::length::short;
use crate::judge::case::tile_share;
use crate::known;
use crate::measures::Measures;
use crate::print::grade_above;

/// Share of the blown area in which a second colour clips too, from which on tone counts as lost.
const TONE_LOST_SHARE: f64 = 0.5;

/// What is blown in the picture (in the crop), per cent of it.
struct Blown {
    /// Without specular spots.
    area_pct: f64,
    /// The part of it in which a second colour clips too, at the most.
    tone_lost_pct: f64,
    /// The largest patch.
    patch_pct: f64,
    /// Patches that count, as far as listed.
    patches: usize,
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

fn measure(case: &Case<'_>) -> Option<Blown> {
    let m = case.measures?;
    let picture = (m.active_px[2], m.active_px[3]);
    let whole = (picture.0 as f64) * (picture.1 as f64);
    // Per cent of the picture to per cent of the crop.
    let scale = case.crop.map_or(1.0, |c| whole / c.len() as f64);
    let any = match &case.crop {
        None => known(m.exposure.clipped_any_pct)?,
        Some(crop) => tiles_pct(&m.clipping.any_pct, (m.clipping.cols, m.clipping.rows), picture, crop)?,
    };
    let mut listed: Vec<f64> = m
        .clipping
        .areas
        .iter()
        .map(|a| a.area_pct * scale * case.crop.map_or(1.0, |crop| box_share(m, a.box_px, &crop)))
        .filter(|pct| pct.is_finite() && *pct > 0.0)
        .collect();
    if m.clipping.areas.is_empty() && m.exposure.largest_clipped_area_pct > 0.0 {
        listed.push((m.exposure.largest_clipped_area_pct * scale).min(any));
    }
    let radius_cm = case.brief.limits.specular_spot_mm / 20.0;
    let spot_pct = std::f64::consts::PI * radius_cm * radius_cm / case.paper_cm2()? * 100.0;
    let patches: Vec<f64> = listed.iter().copied().filter(|pct| *pct > spot_pct).collect();
    // What is not listed counts by its mean size: spots in full only where they are as large as a patch.
    let rest = (any - listed.iter().sum::<f64>()).max(0.0);
    let unlisted = (m.exposure.clipped_area_count as f64 - m.clipping.areas.len() as f64).max(0.0);
    let mean = if unlisted > 0.0 { rest / unlisted } else { 0.0 };
    let rest = if spot_pct > 0.0 { rest * (mean / spot_pct).min(1.0) } else { rest };
    let area_pct = (patches.iter().sum::<f64>() + rest).min(any.max(0.0));
    let share = if any > 0.0 { area_pct / any } else { 0.0 };
    let second = second_colour_pct(m) * scale;
    Some(Blown {
        area_pct,
        tone_lost_pct: (second * share).min(area_pct),
        patch_pct: patches.iter().copied().fold(0.0, f64::max),
        patches: patches.len(),
    })
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

fn colour_words(m: &Measures) -> String {
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
    match (clipped.len(), colours.len()) {
        (_, 0 | 1) | (0, _) => String::new(),
        (n, all) if n == all => " in all colours".into(),
        (1, _) => format!(" in {} alone", clipped[0]),
        _ => format!(" in {}", clipped.join(" and ")),
    }
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let blown = measure(case)?;
    let m = case.measures?;
    let paper_cm2 = case.paper_cm2()?;
    let (area, patch) = (case.brief.limits.blown_area_pct, case.brief.limits.blown_patch_cm2);
    let patch_cm2 = blown.patch_pct / 100.0 * paper_cm2;
    let tone_lost = blown.area_pct > 0.0 && blown.tone_lost_pct >= TONE_LOST_SHARE * blown.area_pct;
    let by_area = match grade_above(blown.tone_lost_pct, area) {
        Some(Severity::Fails) => Some(Severity::Fails),
        _ => grade_above(blown.area_pct, area).map(|_| Severity::Borderline),
    };
    let by_patch = grade_above(patch_cm2, patch).map(|s| if tone_lost { s } else { Severity::Borderline });
    let severity = by_area.max(by_patch)?;
    let (measured, limit, unit) = if by_area >= by_patch {
        (blown.area_pct, passed(area, severity), "%")
    } else {
        (patch_cm2, passed(patch, severity), "cm2")
    };
    let lost = if tone_lost { "tone and texture are gone there" } else { "hue shifts there, some tone is left" };
    let count = match blown.patches {
        0 | 1 => String::new(),
        n => format!(" in {n} patches or more"),
    };
    let less = m.exposure.brighter_by_ev.filter(|ev| *ev < 0.0).map(|ev| ((-ev * 3.0).ceil() / 3.0).max(1.0 / 3.0));
    let remedy = match less {
        Some(ev) => format!("Expose {ev:.1} EV less, and bracket (-1, -2 EV) where the shadows cannot spare it"),
        None => {
            "Expose 1 EV less and look at the raw levels again, or bracket (-1, -2 EV): how far over it was cannot be \
                 told from the frame"
                .into()
        }
    };
    Some(
        Parts {
            code: FindingCode::Blown,
            severity,
            measured,
            limit,
            unit,
            text: format!(
                "Highlights are clipped{} over {} % of the picture, {} cm2 of {}{count}, the largest {} cm2 (limit {} {unit}); {lost}; specular spots are not counted.",
                colour_words(m),
                short(blown.area_pct),
                short(blown.area_pct / 100.0 * paper_cm2),
                surface(case),
                short(patch_cm2),
                short(limit),
            ),
            remedy,
        }
        .into_finding(),
    )
}
