//! The edges that lie along a motion, which it leaves as they were, and those across it.

use super::LEAST_IN_BIN;
use super::edge::Edge;
use super::kind::PIXEL_SIGMA_PX;
use super::psf::PointSpread;
use super::stack::{Stack, normal_deg};
use super::summary::{Reading, sharp_mean_ln};

/// Fewest edges along a motion that show how sharp the frame is there, and that show a width which the spectrum has too.
const LEAST_ALONG: usize = 2 * LEAST_IN_BIN;
const FEW_ALONG: usize = LEAST_IN_BIN;
/// Sine of the least angle between a motion and the normal of an edge that lies along it: within 22.5 degrees.
pub(super) const ALONG_MOTION: f64 = 0.924;
/// Cosine of the greatest angle between a motion and the normal of an edge that lies across it: 22.5 degrees.
const ACROSS_MOTION: f64 = 0.924;

/// Edges are as wide as a motion makes them within this, ln: the Gaussian that fits a box is 11 % wider than it.
const AS_WIDE_LN: f64 = 0.22;

/// The sharp end of the edges that lie along a motion (the quarter of all directions that it smears least): the logarithm of
/// its standard deviation and the error of that.
pub(super) fn sharp(edges: &[&Edge], motion_deg: f64) -> Option<(f64, f64)> {
    let along: Vec<Reading> = edges
        .iter()
        .filter(|e| (normal_deg(e) - motion_deg).to_radians().sin().abs() > ALONG_MOTION)
        .map(|e| e.reading())
        .collect();
    sharp_mean_ln(&along).filter(|_| along.len() >= LEAST_ALONG)
}

/// Standard deviation of the sharp end of the edges that lie along a motion, without what it widens them by: those that do so
/// but for some degrees are smeared too, the more the longer it is.
pub(super) fn left(edges: &[&Edge], motion: &PointSpread) -> Option<f64> {
    let along: Vec<Reading> = edges
        .iter()
        .filter_map(|e| {
            let turn = (normal_deg(e) - motion.motion_deg).to_radians();
            let reading = e.reading();
            let seen_px2 = (2.0 * reading.ln_sigma).exp();
            let left_px2 = seen_px2 - (motion.motion_px * turn.cos()).powi(2) / 12.0;
            let left_px2 = left_px2.max(PIXEL_SIGMA_PX.powi(2));
            let along =
                Reading { ln_sigma: 0.5 * left_px2.ln(), error: reading.error * seen_px2 / left_px2, ..reading };
            (turn.sin().abs() > ALONG_MOTION).then_some(along)
        })
        .collect();
    sharp_mean_ln(&along).filter(|_| along.len() >= FEW_ALONG).map(|(ln, _)| ln.exp())
}

/// Standard deviation of the sharp end of the edges that lie across a motion.
pub(super) fn across(edges: &[&Edge], motion_deg: f64) -> Option<f64> {
    let across: Vec<Reading> = edges
        .iter()
        .filter(|e| (normal_deg(e) - motion_deg).to_radians().cos().abs() > ACROSS_MOTION)
        .map(|e| e.reading())
        .collect();
    sharp_mean_ln(&across).filter(|_| across.len() >= LEAST_ALONG).map(|(ln, _)| ln.exp())
}

/// True where the edges of some direction are as wide as a motion makes them, which is more than a lens leaves.
pub(super) fn smeared(stacks: &[Stack], motion: &PointSpread, allowance_px: f64) -> bool {
    stacks.iter().any(|stack| {
        let made_px = motion.variance(stack.deg).sqrt();
        made_px > allowance_px && (stack.sigma_px / made_px).ln().abs() < AS_WIDE_LN
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_that_lie_along_a_long_motion_but_for_some_degrees_are_sharp_without_what_it_widens_them_by() {
        let motion = PointSpread { sigma_px: 0.6, motion_px: 14.0, motion_deg: 32.0, ..PointSpread::default() };
        // Their lens leaves 0.7 px; at 15 degrees to the motion 14 px of it widen them by 1.05.
        let widened = 0.7_f32.hypot(14.0 * 75.0_f32.to_radians().cos() / 12.0_f32.sqrt());
        let edges: Vec<Edge> = (0..6).map(|_| Edge::facing(107.0, widened)).collect();
        let all: Vec<&Edge> = edges.iter().collect();
        let left_px = left(&all, &motion).unwrap_or(0.0);
        assert!((left_px - 0.7).abs() < 0.02, "{left_px}");
        // Edges that face it do not lie along it.
        let across = Edge::facing(32.0, 4.0);
        assert!(left(&[&across; 6], &motion).is_none());
    }
}
