//! The sharp end of a frame in numbers: rise, MTF, and the rise of each direction.

use rawassay_decode::Frame;

use super::LEAST_IN_BIN;
use super::edge::Edge;
use super::psf::{self, PointSpread};
use super::stack::normal_deg;
use super::summary::{Reading, sharp_mean_ln};
use crate::measures::{Sharpness, known};

/// Standard error of the rise, share of it, above which noise decides what can be told.
const NOISE_LIMIT: f64 = 0.08;
/// What the edges of a frame err by together, share of what one of them is known to by its noise: what hides in the noise beside
/// an edge hides beside many. And what their model's shape errs by in any frame.
const SHARED: f64 = 0.35;
const SHAPE: f64 = 0.005;
/// Least Gaussian part of a lens beside diffraction, px.
const LEAST_LENS_PX: f64 = 0.1;

/// The sharp end of a frame: its point spread, and what the edges' standard deviations say of their rise.
pub(super) struct Sharp {
    pub(super) spread: PointSpread,
    pub(super) rise_per_sigma: f64,
}

impl Sharp {
    pub(super) fn of(psf: &PointSpread, sigma_px: f64) -> Self {
        let spread = sharp_spread(psf, sigma_px);
        // What diffraction hides of the sharpest edges it hides of all.
        let rise_per_sigma = if spread.airy_px > 0.0 { spread.rise_px(0.0) / sigma_px } else { psf::GAUSSIAN_RISE };
        Self { spread, rise_per_sigma }
    }
}

/// Widths that have the edge spread `sigma_px` (of the best fitting Gaussian, pixel included) and the shape of `psf`
/// without its motion: the edges of the sharpest quarter lie along the motion.
fn sharp_spread(psf: &PointSpread, sigma_px: f64) -> PointSpread {
    if psf.defocus_px > 0.0 {
        return PointSpread { motion_px: 0.0, ..*psf };
    }
    let within = (sigma_px * sigma_px - 1.0 / 12.0).max(0.01);
    let plain = PointSpread { sigma_px: within.sqrt(), ..PointSpread::default() };
    if psf.airy_px <= 0.0 {
        return plain;
    }
    // With diffraction's long tails a single edge reads narrower than it is: the lens that would read so.
    let lens = |sigma_px: f64| PointSpread { sigma_px, airy_px: psf.airy_px, ..PointSpread::default() };
    if lens(LEAST_LENS_PX).fitted_sigma_px() > 1.03 * sigma_px {
        return plain;
    }
    let (mut low, mut high) = (LEAST_LENS_PX, sigma_px);
    for _ in 0..20 {
        let middle = f64::midpoint(low, high);
        if lens(middle).fitted_sigma_px() > sigma_px { high = middle } else { low = middle }
    }
    lens(low)
}

/// Fills in rise and MTF of the sharp end, and the rise by direction.
pub(super) fn fill_sharpness(sharpness: &mut Sharpness, frame: &Frame, edges: &[&Edge], error_ln: f64, sharp: &Sharp) {
    let spread = &sharp.spread;
    let rise = spread.rise_px(0.0);
    let error_ln = error_ln.hypot(SHAPE).hypot(SHARED * one_edge_ln(edges));
    sharpness.edge_rise_px = known(rise);
    sharpness.edge_rise_spread_px = known(rise * error_ln);
    sharpness.mtf50_cy_px = spread.frequency_at(0.5, 0.0);
    sharpness.mtf10_cy_px = spread.frequency_at(0.1, 0.0);
    sharpness.mtf50_lp_mm =
        frame.shot.pixel_pitch_um.filter(|p| *p > 0.0).and_then(|p| known(sharpness.mtf50_cy_px? * 1000.0 / p));
    sharpness.noise_limited = error_ln > NOISE_LIMIT;
    for bin in 0..12 {
        let here: Vec<Reading> =
            edges.iter().filter(|e| (normal_deg(e) / 15.0) as usize == bin).map(|e| e.reading()).collect();
        if here.len() >= LEAST_IN_BIN {
            sharpness.rise_by_direction_px[bin] =
                sharp_mean_ln(&here).and_then(|(ln, _)| known(sharp.rise_per_sigma * ln.exp()));
        }
    }
}

/// Standard error of ln sigma of the middle one of the edges.
fn one_edge_ln(edges: &[&Edge]) -> f64 {
    let mut errors: Vec<f64> = edges.iter().map(|e| f64::from(e.error_ln)).collect();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).copied().unwrap_or(0.0)
}

/// Logarithm of the standard deviation of the sharp end of edges, and its error. `None` where they are too few.
pub(super) fn of(edges: &[&Edge], least: usize) -> Option<(f64, f64)> {
    let readings: Vec<Reading> = edges.iter().map(|e| e.reading()).collect();
    sharp_mean_ln(&readings).filter(|_| edges.len() >= least)
}
