//! Spatial frequency response of a slanted edge on a test target, on the mosaic's own samples of one colour.
//!
//! Measures: transfer function, 10-90 % rise, MTF50, MTF10, per filter colour. Unit: cycles per pixel, pixels.
//! Method: edge-based SFR after ISO 12233: a straight line through the edge, samples laid by their distance from it into
//! bins of 1/4 px, joined by a cubic spline, differentiated, windowed (flat-topped), Fourier transformed; corrected for the
//! central difference, the width of the bins and the spline. Distances are across the edge, so that its slant does not
//! widen it. Samples of one filter colour only: nothing is demosaiced.
//! Fails when: the region holds no single straight edge, it is clipped, or it lies so that bins stay empty.

use rawassay_decode::{Area, Frame};
use serde::Serialize;

use super::edge_checks::{Checked, Standing, Taken};
use super::edge_errors::standard_errors;
use super::edge_line::Line;
use super::edge_profile::{Profile, core_px};
use super::edge_samples::clean;
use crate::measures::Channel;
use crate::measures::histogram::picture_area;
use crate::measures::sharpness::target::{OneColour, target_edges};

/// Half-width of the band round the edge that is used, px: at least, at most.
const HALF_WIDTH_PX: (f64, f64) = (10.0, 48.0);
/// Step of the curve, cycles per pixel.
const CURVE_STEP: f64 = 0.02;
/// Points of the curve: 0 to 1 cycles per pixel.
const CURVE_POINTS: usize = 51;
/// Shortest edge, px.
const SHORTEST_PX: f64 = 24.0;
/// Slants that sample every phase of the grid, degrees off the rows or columns.
pub const GOOD_SLANT_DEG: (f64, f64) = (2.0, 20.0);

/// How far a slant may lie outside of these for its own error, degrees.
const SLANT_ERROR_DEG: f64 = 0.3;

/// True where a slant samples every phase of the grid.
#[must_use]
pub fn good_slant(slant_deg: f64) -> bool {
    let (least, most) = GOOD_SLANT_DEG;
    (least - SLANT_ERROR_DEG..=most + SLANT_ERROR_DEG).contains(&slant_deg)
}

/// The slanted edges of a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct SlantedEdges {
    /// By edge and filter colour.
    pub edges: Vec<EdgeResponse>,
    /// What was not measured, and why.
    pub notes: Vec<String>,
}

/// Response across one edge in one colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeResponse {
    /// Number of the edge in its frame, from the top down; its colours share it.
    pub edge: usize,
    /// Where it was measured, in picture pixels as stored; written as `WxH+X+Y`.
    #[serde(serialize_with = "as_written")]
    pub region: Area,
    /// Filter colour ("G" holds both greens of a Bayer array).
    pub plane: String,
    /// Direction of the edge itself, degrees anticlockwise from the horizontal, 0 <= angle < 180.
    pub angle_deg: f64,
    /// Its slant: degrees off the nearer of rows and columns.
    pub slant_deg: f64,
    /// Length used, px.
    pub length_px: f64,
    /// 10-90 % rise across the edge, px.
    pub rise_px: Option<f64>,
    /// Its standard error, px; as those below from pieces along the edge.
    pub rise_se_px: Option<f64>,
    /// Frequency of 50 % contrast, cycles per pixel.
    pub mtf50_cy_px: Option<f64>,
    /// Its standard error, cycles per pixel.
    pub mtf50_se_cy_px: Option<f64>,
    /// The same frequency on the sensor, line pairs per mm, where the pixel pitch is known.
    pub mtf50_lp_mm: Option<f64>,
    /// Frequency of 10 % contrast, cycles per pixel.
    pub mtf10_cy_px: Option<f64>,
    /// Its standard error, cycles per pixel.
    pub mtf10_se_cy_px: Option<f64>,
    /// Step of the edge over the noise of one sample; `None` where it shows none (below a millionth: rounding).
    pub contrast_to_noise: Option<f64>,
    /// How far the plain sides that were used reach from the edge, px.
    pub side_px: f64,
    /// How far they reach at least where there is room, px: enough for the core of the spread.
    pub side_wanted_px: f64,
    /// Further straight edges in the region that were left alone.
    pub other_edges: usize,
    /// What the figures are worth.
    pub standing: Standing,
    /// Why they are worth less than all, or why MTF10 alone is not given (the others are `measured` all the same), in words.
    pub reasons: Vec<String>,
    /// Frequency (cycles per pixel) and contrast, from 0 to 1 cycle per pixel; empty where undetermined.
    pub curve: Vec<[f64; 2]>,
}

/// Measures the slanted edges of a frame: in `region` (picture pixels as stored), or those that it finds itself.
///
/// # Errors
/// One line that says why there is nothing to measure.
pub fn slanted_edges(frame: &Frame, channels: &[Channel], region: Option<Area>) -> Result<SlantedEdges, String> {
    let picture = picture_area(frame);
    let full = match region {
        Some(region) => {
            if !crate::crop::inside(&region, picture.width, picture.height) {
                return Err(format!(
                    "region {} does not lie inside the picture of {} x {} px",
                    crate::crop::text(&region),
                    picture.width,
                    picture.height
                ));
            }
            Some(Area::new(region.x + picture.x, region.y + picture.y, region.width, region.height))
        }
        None => None,
    };
    let within = full.unwrap_or(picture);
    let colours = OneColour::all(frame, channels);
    let mut why = match region {
        Some(_) => format!(
            "no straight edge of at least {SHORTEST_PX} px stands out in it, clear of its border; give it more room"
        ),
        None => "no straight edge stands out".to_string(),
    };
    let targets = target_edges(frame, channels, full, SHORTEST_PX);
    if targets.lines.is_empty() && targets.clipped {
        why = "the bright side is clipped: expose the target less".into();
    }
    let mut lines: Vec<Line> = Vec::new();
    for line in targets.lines {
        // Only on the edge itself is it seen which are one, and how they are slanted.
        let line = colours.first().and_then(|colour| on_edge(colour, &line, &within).ok()).unwrap_or(line);
        if !lines.iter().any(|known| known.same_edge(&line)) {
            lines.push(line);
        }
    }
    // Of a named region the longest edge is meant.
    let other_edges = if region.is_some() { lines.len().saturating_sub(1) } else { 0 };
    if region.is_some() {
        lines.truncate(1);
    }
    lines.sort_by(|a, b| a.at.1.total_cmp(&b.at.1).then(a.at.0.total_cmp(&b.at.0)));
    let pitch_um = frame.shot.pixel_pitch_um.filter(|p| *p > 0.0);
    let (mut edges, mut notes) = (Vec::new(), Vec::new());
    let mut number = 0;
    for line in &lines {
        if region.is_none() && !good_slant(slant(line.normal_deg())) {
            why = format!(
                "its straight edges are not slanted by {} to {} degrees off the rows and columns",
                GOOD_SLANT_DEG.0, GOOD_SLANT_DEG.1
            );
            continue;
        }
        let (mut measured, mut failed) = (Vec::new(), Vec::new());
        for colour in &colours {
            match response(colour, line, (&picture, &within), pitch_um) {
                Ok(response) => measured.push(EdgeResponse { edge: number + 1, other_edges, ..response }),
                Err(reason) => failed.push((colour.name(), reason)),
            }
        }
        if measured.is_empty() {
            if let Some((_, reason)) = failed.first() {
                why.clone_from(reason);
            }
            notes.push(format!("an edge at {} was not measured: {why}", place(line, &picture)));
            continue;
        }
        number += 1;
        notes
            .extend(failed.iter().map(|(colour, reason)| format!("edge {number}: not measured in {colour}: {reason}")));
        edges.append(&mut measured);
    }
    if targets.left_out > 0 && region.is_none() {
        let (edges, each) =
            if targets.left_out == 1 { ("edge was", "its place") } else { ("edges were", "the place of one") };
        notes.push(format!("{} shorter straight {edges} left alone: name {each} with --region", targets.left_out));
    }
    if edges.is_empty() { Err(why) } else { Ok(SlantedEdges { edges, notes }) }
}

/// Middle of a line in the picture as stored, in words.
fn place(line: &Line, picture: &Area) -> String {
    format!("column {:.0}, row {:.0}", line.at.0 - picture.x as f64, line.at.1 - picture.y as f64)
}

/// Half-width that holds the core of an edge with room to spare, px.
fn wanted_px(line: &Line) -> f64 {
    (12.0 * line.sigma_px + 6.0).clamp(HALF_WIDTH_PX.0, HALF_WIDTH_PX.1)
}

/// The samples round a line that lie in the part of the sensor that is meant: the band of a slanted edge reaches out of a
/// region at its corners.
fn band(colour: &OneColour<'_>, line: &Line, half: f64, within: &Area) -> Result<Vec<(f64, f64, f64)>, String> {
    let mut samples = colour.band(line, half)?;
    let (nx, ny) = line.normal;
    samples.retain(|&(t, u, _)| {
        let across = t + line.bend * u * u;
        let (x, y) = (line.at.0 + across * nx - u * ny, line.at.1 + across * ny + u * nx);
        // Photosites have whole numbers.
        x > within.x as f64 - 0.5
            && y > within.y as f64 - 0.5
            && x < within.right() as f64 - 0.5
            && y < within.bottom() as f64 - 0.5
    });
    Ok(samples)
}

/// The line on the edge that one colour shows.
fn on_edge(colour: &OneColour<'_>, line: &Line, within: &Area) -> Result<Line, String> {
    // Where there is little room, still what it takes to tell a bent edge from a narrow one.
    let half = wanted_px(line).min(line.room_px.max(2.5 * line.sigma_px + 4.0));
    colour.straighten(line, &clean(band(colour, line, half, within)?, core_px(line.sigma_px)))
}

/// A region as `--region` takes it.
fn as_written<S: serde::Serializer>(region: &Area, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&crate::crop::text(region))
}

fn slant(normal_deg: f64) -> f64 {
    let off = normal_deg.rem_euclid(90.0);
    off.min(90.0 - off)
}

/// The response of one colour across a line, from the part of the picture that is meant.
fn response(
    colour: &OneColour<'_>,
    line: &Line,
    (picture, within): (&Area, &Area),
    pitch_um: Option<f64>,
) -> Result<EdgeResponse, String> {
    let wanted = wanted_px(line);
    let line = on_edge(colour, line, within)?;
    // All the room that noise allows: lenses spread some light far out, and the levels are those beyond it.
    let mut half = HALF_WIDTH_PX.1.min(line.room_px);
    if half < 3.0 * line.sigma_px + 2.0 {
        return Err("the sides of the edge are too narrow for its blur: give a larger region".into());
    }
    let core = core_px(line.sigma_px);
    let mut samples = clean(band(colour, &line, half, within)?, core);
    let mut profile = Profile::of(&samples, line.sigma_px, half)?;
    let quiet = profile.quiet_half_px(&samples).max(wanted);
    if quiet < half {
        half = quiet;
        samples.retain(|s| s.0.abs() <= half);
        profile = Profile::of(&samples, line.sigma_px, half)?;
    }
    let (step, noise) = (profile.step(), profile.noise);
    if step <= 0.0 || step < 4.0 * noise / (samples.len() as f64).sqrt().max(1.0) {
        return Err(format!("no step in {}", colour.name()));
    }
    let curve: Vec<[f64; 2]> = (0..CURVE_POINTS).map(|k| k as f64 * CURVE_STEP).map(|f| [f, profile.mtf(f)]).collect();
    if curve.iter().any(|p| !p[1].is_finite()) {
        return Err("the edge has no step".into());
    }
    let normal_deg = line.normal_deg();
    let taken = Taken { profile: &profile, samples: &samples, line: &line, half, wanted };
    let errors = standard_errors(&profile, &samples, &line, half);
    let Checked { standing, reasons, figures, errors } = taken.checked(profile.figures(), errors);
    let curve = if standing == Standing::Undetermined { Vec::new() } else { curve };
    let per_mm = pitch_um.map(|pitch| 1000.0 / pitch);
    Ok(EdgeResponse {
        edge: 0,
        region: region_of(&line, half, picture, within),
        plane: colour.name().to_string(),
        angle_deg: (normal_deg + 90.0).rem_euclid(180.0),
        slant_deg: slant(normal_deg),
        length_px: line.length_px(),
        rise_px: figures.rise_px,
        rise_se_px: errors.rise_px,
        mtf50_cy_px: figures.mtf50_cy_px,
        mtf50_se_cy_px: errors.mtf50_cy_px,
        mtf50_lp_mm: figures.mtf50_cy_px.zip(per_mm).map(|(f, per_mm)| f * per_mm),
        mtf10_cy_px: figures.mtf10_cy_px,
        mtf10_se_cy_px: errors.mtf10_cy_px,
        contrast_to_noise: (noise > 1e-6 * step).then(|| step / noise),
        side_px: half,
        side_wanted_px: wanted,
        other_edges: 0,
        standing,
        reasons,
        curve,
    })
}

/// Where a line was measured, in the picture as stored: what lies round it, as far as it is meant.
fn region_of(line: &Line, half: f64, picture: &Area, within: &Area) -> Area {
    let (nx, ny) = line.normal;
    let half = half + line.sagitta_px();
    let mut left = f64::INFINITY;
    let (mut top, mut right, mut bottom) = (f64::INFINITY, 0.0_f64, 0.0_f64);
    for u in [line.along.0, line.along.1] {
        for t in [-half, half] {
            let (x, y) = (line.at.0 + t * nx - u * ny, line.at.1 + t * ny + u * nx);
            left = left.min(x);
            top = top.min(y);
            right = right.max(x);
            bottom = bottom.max(y);
        }
    }
    let side = |at: f64, from: usize, to: usize, zero: usize| (at.clamp(from as f64, to as f64) as usize) - zero;
    let x = side(left, within.x, within.right(), picture.x);
    let y = side(top, within.y, within.bottom(), picture.y);
    let x1 = side(right.ceil(), within.x, within.right(), picture.x);
    let y1 = side(bottom.ceil(), within.y, within.bottom(), picture.y);
    Area::new(x, y, x1.saturating_sub(x), y1.saturating_sub(y))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An upright edge whose band is wider and longer than the part that is meant.
    #[test]
    fn where_it_was_measured_lies_in_the_part_that_is_meant() {
        let line = Line {
            at: (100.0, 200.0),
            normal: (1.0, 0.0),
            along: (-80.0, 80.0),
            bend: 0.0,
            sigma_px: 0.6,
            room_px: 40.0,
        };
        let (picture, within) = (Area::new(10, 20, 500, 500), Area::new(90, 150, 15, 60));
        assert_eq!(region_of(&line, 20.0, &picture, &within), Area::new(80, 130, 15, 60));
        assert_eq!(region_of(&line, 20.0, &picture, &picture), Area::new(70, 100, 40, 160));
    }

    #[test]
    fn slants_are_good_within_their_own_error() {
        assert!(good_slant(1.9) && good_slant(20.1) && !good_slant(1.5) && !good_slant(21.0));
    }
}
