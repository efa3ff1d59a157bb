//! Spatial frequency response of a slanted edge on a test target, on the mosaic's own samples of one colour.
//!
//! Measures: transfer function, 10-90 % rise, MTF50, MTF10, per filter colour. Unit: cycles per pixel, pixels.
//! Method: edge-based SFR after ISO 12233: a straight line through the edge, samples laid by their distance from it into
//! bins of 1/4 px, differentiated, windowed (Hamming), Fourier transformed; corrected for the central difference
//! (sinc(f/2)) and for the width of the bins (sinc(f/4)). Distances are across the edge, so that its slant does not
//! widen it. Samples of one filter colour only: nothing is demosaiced.
//! Fails when: the region holds no single straight edge, it is clipped, or it lies so that bins stay empty.

use std::f64::consts::PI;

use rawassay_decode::{Area, Frame};
use serde::Serialize;

use crate::measures::Channel;
use crate::measures::histogram::picture_area;
use crate::measures::sharpness::psf::sinc;
use crate::measures::sharpness::target::{OneColour, target_edges};

/// Bins per pixel.
const BINS_PER_PX: f64 = 4.0;
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
    /// Where it was measured: first column, first row, columns, rows of the picture as stored.
    pub region: [usize; 4],
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
    /// Frequency of 50 % contrast, cycles per pixel.
    pub mtf50_cy_px: Option<f64>,
    /// Frequency of 10 % contrast, cycles per pixel.
    pub mtf10_cy_px: Option<f64>,
    /// Step of the edge over the noise of one sample.
    pub contrast_to_noise: f64,
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
    let mut why = String::from("no straight edge stands out");
    let lines = target_edges(frame, channels, full, SHORTEST_PX);
    for line in &lines {
        if region.is_none() && !(GOOD_SLANT_DEG.0..=GOOD_SLANT_DEG.1).contains(&slant(line.normal_deg())) {
            why = format!(
                "its straight edges are not slanted by {} to {} degrees off the rows and columns",
                GOOD_SLANT_DEG.0, GOOD_SLANT_DEG.1
            );
            continue;
        }
        for colour in &colours {
            match response(colour, line, &picture) {
                Ok(response) => found.push(response),
                Err(reason) => why = reason,
            }
        }
    }
    if found.is_empty() { Err(why) } else { Ok(found) }
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
fn response(colour: &OneColour<'_>, line: &Line, picture: &Area) -> Result<EdgeResponse, String> {
    let half = (12.0 * line.sigma_px + 6.0).clamp(HALF_WIDTH_PX.0, HALF_WIDTH_PX.1).min(line.room_px);
    if half < 3.0 * line.sigma_px + 2.0 {
        return Err("the sides of the edge are too narrow for its blur: give a larger region".into());
    }
    let samples = colour.band(line, half)?;
    let line = colour.straighten(line, &samples)?;
    let samples = colour.band(&line, half)?;
    let esf = supersample(&samples, half)?;
    let (low, high, noise) = sides(&samples, line.sigma_px, half);
    let step = high - low;
    if step <= 0.0 || step < 4.0 * noise / (samples.len() as f64).sqrt().max(1.0) {
        return Err(format!("no step in {}", colour.name()));
    }
    let lsf: Vec<f64> = (1..esf.len() - 1).map(|k| (esf[k + 1] - esf[k - 1]) / 2.0).collect();
    let place = |k: usize| (k as f64 + 1.5) / BINS_PER_PX - half;
    let total: f64 = lsf.iter().sum();
    let centre = lsf.iter().enumerate().map(|(k, v)| v * place(k)).sum::<f64>() / total;
    let centre = centre.clamp(-half / 4.0, half / 4.0);
    let windowed: Vec<(f64, f64)> = lsf
        .iter()
        .enumerate()
        .map(|(k, &v)| {
            let t = place(k) - centre;
            let hamming = if t.abs() < half { 0.54 + 0.46 * (PI * t / half).cos() } else { 0.08 };
            (t, v * hamming)
        })
        .collect();
    let amplitude = |f: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for &(t, v) in &windowed {
            let (s, c) = (2.0 * PI * f * t).sin_cos();
            re += v * c;
            im += v * s;
        }
        re.hypot(im)
    };
    let dc = amplitude(0.0);
    let mtf = |f: f64| amplitude(f) / dc / (sinc(f / 2.0) * sinc(f / BINS_PER_PX));
    let curve: Vec<[f64; 2]> = (0..CURVE_POINTS).map(|k| k as f64 * CURVE_STEP).map(|f| [f, mtf(f)]).collect();
    if curve.iter().any(|p| !p[1].is_finite()) {
        return Err("the edge has no step".into());
    }
    let normal_deg = line.normal_deg();
    Ok(EdgeResponse {
        region: region_of(&line, half, picture),
        plane: colour.name().to_string(),
        angle_deg: (normal_deg + 90.0).rem_euclid(180.0),
        slant_deg: slant(normal_deg),
        length_px: line.length_px(),
        rise_px: rise(&esf, low, high, half),
        mtf50_cy_px: first_below(&mtf, 0.5),
        mtf10_cy_px: first_below(&mtf, 0.1),
        contrast_to_noise: step / noise.max(1e-9),
        curve,
    })
}

/// Means of the samples in bins of 1/4 px from -half to half. Single empty bins take their neighbours' mean.
fn supersample(samples: &[(f64, f64, f64)], half: f64) -> Result<Vec<f64>, String> {
    let n = (2.0 * half * BINS_PER_PX) as usize;
    let mut sums = vec![(0.0, 0.0); n];
    for &(t, _, v) in samples {
        let k = ((t + half) * BINS_PER_PX).floor();
        if k >= 0.0 && (k as usize) < n {
            sums[k as usize].0 += v;
            sums[k as usize].1 += 1.0;
        }
    }
    let means: Vec<Option<f64>> = sums.iter().map(|&(sum, n)| (n > 0.0).then(|| sum / n)).collect();
    let empty = means.iter().filter(|m| m.is_none()).count();
    let gap = "the edge lies so that parts of its profile hold no sample: turn the target by about 5 degrees";
    if empty * 20 > n {
        return Err(gap.into());
    }
    (0..n)
        .map(|k| {
            means[k].or_else(|| {
                let before = means[..k].iter().rev().flatten().next();
                let after = means[k..].iter().flatten().next();
                match (before, after) {
                    (Some(a), Some(b)) => Some(f64::midpoint(*a, *b)),
                    (a, b) => a.or(b).copied(),
                }
            })
        })
        .collect::<Option<Vec<f64>>>()
        .ok_or_else(|| gap.to_string())
}

/// Levels of both sides, and the spread of single samples on them.
fn sides(samples: &[(f64, f64, f64)], sigma_px: f64, half: f64) -> (f64, f64, f64) {
    let from = (4.0 * sigma_px + 1.0).min(0.6 * half);
    let side = |bright: bool| {
        let values: Vec<f64> =
            samples.iter().filter(|s| if bright { s.0 > from } else { s.0 < -from }).map(|s| s.2).collect();
        let n = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / n;
        (mean, values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n)
    };
    let ((low, a), (high, b)) = (side(false), side(true));
    (low, high, f64::midpoint(a, b).sqrt())
}

/// Distance between the 10 % and 90 % crossings next to the middle, px.
fn rise(esf: &[f64], low: f64, high: f64, half: f64) -> Option<f64> {
    let place = |k: f64| (k + 0.5) / BINS_PER_PX - half;
    let level = |share: f64| low + share * (high - low);
    let middle = (1..esf.len())
        .filter(|&k| esf[k - 1] < level(0.5) && esf[k] >= level(0.5))
        .min_by_key(|&k| k.abs_diff(esf.len() / 2))?;
    let cross = |k: usize, share: f64| {
        let (a, b) = (esf[k - 1], esf[k]);
        place(k as f64 - 1.0 + (level(share) - a) / (b - a))
    };
    let up = (middle..esf.len()).find(|&k| esf[k] >= level(0.9)).map(|k| cross(k, 0.9))?;
    let down = (1..=middle).rev().find(|&k| esf[k - 1] <= level(0.1)).map(|k| cross(k, 0.1))?;
    let bin = 1.0 / BINS_PER_PX;
    // The bins and their straight connection widen a steep edge a little: variance of a bin, in quadrature by rise.
    let wide = up - down;
    (wide.is_finite() && wide > 0.0).then(|| (wide * wide - 6.57 * bin * bin / 12.0).max(0.0).sqrt())
}

/// Lowest frequency where the response falls to `share`, up to 1 cycle per pixel.
fn first_below(mtf: &dyn Fn(f64) -> f64, share: f64) -> Option<f64> {
    let step = 0.005;
    let mut f = 0.0;
    let mut before = mtf(0.0);
    while f < 1.0 {
        let next = mtf(f + step);
        if next < share {
            return Some(f + step * (before - share) / (before - next));
        }
        f += step;
        before = next;
    }
    None
}

fn region_of(line: &Line, half: f64, picture: &Area) -> [usize; 4] {
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
    [x, y, x1.saturating_sub(x), y1.saturating_sub(y)]
}
