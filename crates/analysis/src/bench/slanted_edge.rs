//! Spatial frequency response of a slanted edge on a test target, on the mosaic's own samples of one colour.
//!
//! Measures: transfer function, 10-90 % rise, MTF50, MTF10, per filter colour. Unit: cycles per pixel, pixels.
//! Method: edge-based SFR after ISO 12233: a straight line through the edge, samples laid by their distance from it into
//! bins of 1/4 px, differentiated, windowed (Hamming), Fourier transformed; corrected for the central difference
//! (sinc(f/2)) and for the width of the bins (sinc(f/4)). Distances are across the edge, so that its slant does not
//! widen it. Samples of one filter colour only: nothing is demosaiced.
//! Fails when: the region holds no single straight edge, it is clipped, or it lies so that bins stay empty.

use rawassay_decode::{Area, Frame};
use serde::Serialize;

use super::edge_profile::{Profile, standard_errors};
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
pub const SHORTEST_PX: f64 = 24.0;
/// Slants that sample every phase of the grid, degrees off the rows or columns.
pub const GOOD_SLANT_DEG: (f64, f64) = (2.0, 20.0);

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
    /// Step of the edge over the noise of one sample.
    pub contrast_to_noise: f64,
    /// How far the plain sides that were used reach from the edge, px.
    pub side_px: f64,
    /// How far they would reach where there is room, px.
    pub side_wanted_px: f64,
    /// Further straight edges in the region that were left alone.
    pub other_edges: usize,
    /// Frequency (cycles per pixel) and contrast, from 0 to 1 cycle per pixel.
    pub curve: Vec<[f64; 2]>,
}

/// Measures the slanted edges of a frame: in `region` (picture pixels as stored), or those that it finds itself.
///
/// # Errors
/// One line that says why there is nothing to measure.
pub fn slanted_edges(frame: &Frame, channels: &[Channel], region: Option<Area>) -> Result<Vec<EdgeResponse>, String> {
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
    let colours = OneColour::all(frame, channels);
    let mut found = Vec::new();
    let mut why = match region {
        Some(_) => format!(
            "no straight edge of at least {SHORTEST_PX} px stands out in it, clear of its border; give it more room"
        ),
        None => "no straight edge stands out".to_string(),
    };
    let mut lines = target_edges(frame, channels, full, SHORTEST_PX);
    // Of a named region the longest edge is meant.
    let other_edges = if region.is_some() { lines.len().saturating_sub(1) } else { 0 };
    if region.is_some() {
        lines.truncate(1);
    }
    lines.sort_by(|a, b| a.at.1.total_cmp(&b.at.1).then(a.at.0.total_cmp(&b.at.0)));
    let pitch_um = frame.shot.pixel_pitch_um.filter(|p| *p > 0.0);
    let mut number = 0;
    for line in &lines {
        if region.is_none() && !(GOOD_SLANT_DEG.0..=GOOD_SLANT_DEG.1).contains(&slant(line.normal_deg())) {
            why = format!(
                "its straight edges are not slanted by {} to {} degrees off the rows and columns",
                GOOD_SLANT_DEG.0, GOOD_SLANT_DEG.1
            );
            continue;
        }
        let before = found.len();
        for colour in &colours {
            match response(colour, line, &picture, pitch_um) {
                Ok(response) => found.push(EdgeResponse { edge: number + 1, other_edges, ..response }),
                Err(reason) => why = reason,
            }
        }
        number += usize::from(found.len() > before);
    }
    if found.is_empty() { Err(why) } else { Ok(found) }
}

/// A region as `--region` takes it.
fn as_written<S: serde::Serializer>(region: &Area, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&crate::crop::text(region))
}

/// A straight edge on the full frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// A place on it: column, row.
    pub at: (f64, f64),
    /// Unit normal from dark to bright, y down.
    pub normal: (f64, f64),
    /// From where to where along it, px from `at`.
    pub along: (f64, f64),
    /// Standard deviation of the spread, first guess, px.
    pub sigma_px: f64,
    /// Room across: how far the plain sides reach at least, px.
    pub room_px: f64,
}

impl Line {
    /// Angle of the normal, degrees anticlockwise (y up), 0..180.
    #[must_use]
    pub fn normal_deg(&self) -> f64 {
        (-self.normal.1).atan2(self.normal.0).to_degrees().rem_euclid(180.0)
    }

    /// Length, px.
    #[must_use]
    pub fn length_px(&self) -> f64 {
        self.along.1 - self.along.0
    }
}

fn slant(normal_deg: f64) -> f64 {
    let off = normal_deg.rem_euclid(90.0);
    off.min(90.0 - off)
}

/// The response of one colour across a line.
fn response(
    colour: &OneColour<'_>,
    line: &Line,
    picture: &Area,
    pitch_um: Option<f64>,
) -> Result<EdgeResponse, String> {
    let wanted = (12.0 * line.sigma_px + 6.0).clamp(HALF_WIDTH_PX.0, HALF_WIDTH_PX.1);
    let half = wanted.min(line.room_px);
    if half < 3.0 * line.sigma_px + 2.0 {
        return Err("the sides of the edge are too narrow for its blur: give a larger region".into());
    }
    let samples = colour.band(line, half)?;
    let line = colour.straighten(line, &samples)?;
    let samples = colour.band(&line, half)?;
    let profile = Profile::of(&samples, line.sigma_px, half)?;
    let (step, noise) = (profile.step(), profile.noise);
    if step <= 0.0 || step < 4.0 * noise / (samples.len() as f64).sqrt().max(1.0) {
        return Err(format!("no step in {}", colour.name()));
    }
    let curve: Vec<[f64; 2]> = (0..CURVE_POINTS).map(|k| k as f64 * CURVE_STEP).map(|f| [f, profile.mtf(f)]).collect();
    if curve.iter().any(|p| !p[1].is_finite()) {
        return Err("the edge has no step".into());
    }
    let normal_deg = line.normal_deg();
    let figures = profile.figures();
    let errors = standard_errors(&samples, &line, half);
    let per_mm = pitch_um.map(|pitch| 1000.0 / pitch);
    Ok(EdgeResponse {
        edge: 0,
        region: region_of(&line, half, picture),
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
        contrast_to_noise: step / noise.max(1e-9),
        side_px: half,
        side_wanted_px: wanted,
        other_edges: 0,
        curve,
    })
}

fn region_of(line: &Line, half: f64, picture: &Area) -> Area {
    let (nx, ny) = line.normal;
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
    let x = (left - picture.x as f64).clamp(0.0, picture.width as f64) as usize;
    let y = (top - picture.y as f64).clamp(0.0, picture.height as f64) as usize;
    let x1 = (right - picture.x as f64).ceil().clamp(0.0, picture.width as f64) as usize;
    let y1 = (bottom - picture.y as f64).ceil().clamp(0.0, picture.height as f64) as usize;
    Area::new(x, y, x1.saturating_sub(x), y1.saturating_sub(y))
}
