//! What stands behind the figures, for drawing: the measured edges, the stacked edge spread and the contrast curve.

use rawassay_decode::Frame;

use super::edge::Edge;
use super::psf::{GAUSSIAN_RISE, PointSpread};
use super::stack::{normal_deg, stack};
use super::{SharpnessReading, measure};
use crate::measures::Channel;

/// Points of the contrast curve: 0 to 1 cycles per pixel.
const CURVE_POINTS: usize = 51;

/// One measured edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredEdge {
    /// Column of the full stored frame.
    pub x_px: f64,
    /// Row of the full stored frame.
    pub y_px: f64,
    /// Direction of its normal, degrees anticlockwise from the horizontal of the frame as stored, 0 <= angle < 180.
    pub normal_deg: f64,
    /// 10-90 % rise, pixel included, px.
    pub rise_px: f64,
    /// Standard error of the rise, px.
    pub error_px: f64,
}

/// The reading of a frame and what it was read from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SharpnessDetail {
    /// The same as [`super::measure_sharpness`] gives.
    pub reading: SharpnessReading,
    /// Every edge that passed the tests.
    pub edges: Vec<MeasuredEdge>,
    /// Edge spread of the sharpest edges laid over each other: distance from the edge (px), level (0 dark to 1 bright),
    /// by distance. Empty where too few edges were found.
    pub edge_spread: Vec<[f64; 2]>,
    /// Contrast left (0..1) by spatial frequency (cycles per pixel, 0 to 1) in the sharpest direction. Empty as above.
    pub contrast: Vec<[f64; 2]>,
}

/// Measures a frame once more and keeps what the figures come from.
///
/// For a page: decode the frame, call `analysis::measure` for its channels, then this with `&measures.channels`; it
/// takes as long as the sharpness part of the measure (about a quarter of a second at 24 megapixels). Draw `edge_spread`
/// as points, `contrast` as a line, `edges` as short strokes along each edge (at right angles to `normal_deg`).
#[must_use]
pub fn sharpness_detail(frame: &Frame, channels: &[Channel]) -> SharpnessDetail {
    let (reading, edges, sharp) = measure(frame, channels);
    let rise_per_sigma = sharp.as_ref().map_or(GAUSSIAN_RISE, |s| s.rise_per_sigma);
    let all: Vec<MeasuredEdge> = edges
        .iter()
        .map(|e| {
            let rise_px = rise_per_sigma * f64::from(e.sigma_px);
            MeasuredEdge {
                x_px: f64::from(e.x_px),
                y_px: f64::from(e.y_px),
                normal_deg: normal_deg(e),
                rise_px,
                error_px: rise_px * f64::from(e.error_ln),
            }
        })
        .collect();
    let mut detail = SharpnessDetail { reading, edges: all, ..SharpnessDetail::default() };
    let Some(sharp) = sharp else { return detail };
    let near: Vec<&Edge> = match detail.reading.blur.motion_deg {
        Some(deg) => edges
            .iter()
            .filter(|e| (normal_deg(e) - deg).to_radians().sin().abs() > super::along::ALONG_MOTION)
            .collect(),
        None => edges.iter().collect(),
    };
    if let Some(stack) = stack(&near) {
        detail.edge_spread = stack.points.iter().map(|p| [p.t_px, p.level]).collect();
    }
    detail.contrast = curve(&sharp.spread);
    detail
}

fn curve(spread: &PointSpread) -> Vec<[f64; 2]> {
    (0..CURVE_POINTS)
        .map(|k| k as f64 / (CURVE_POINTS - 1) as f64)
        .map(|f| [f, spread.transfer(f, 0.0).abs()])
        .collect()
}
