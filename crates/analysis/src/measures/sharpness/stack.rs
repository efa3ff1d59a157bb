//! Edge spreads of one direction laid over each other: the shape of the blur, far above the noise of one edge.

use super::edge::{Edge, POINTS_PER_PX, PROFILE_POINTS, PROFILE_REACH};
use super::summary::{Reading, sharp_mean_ln};

/// Directions that are stacked apart, over 180 degrees.
const STACKS: usize = 24;
/// The same for frames with few edges.
const STACKS_FEW: usize = 12;
/// The same for those with hardly any: a motion changes the spread within 30 degrees by a sixteenth.
const STACKS_HARDLY_ANY: usize = 6;
/// Edges from which the finer directions are used.
const MANY_EDGES: usize = 250;
/// Edges up to which the coarsest are.
pub(crate) const HARDLY_ANY_EDGES: usize = 40;
/// Least edges in a stack, and in one of hardly any.
const LEAST_EDGES: usize = 3;
const LEAST_OF_HARDLY_ANY: usize = 2;
/// Half-width of a stack, in its own standard deviations.
const REACH: f32 = 3.0;
/// Points in a stack.
const POINTS: usize = 36;
/// Error of a point that is not noise (texture, other edges near by), share of the step.
const SYSTEMATIC: f64 = 0.008;

/// Separate edges in a stack at which it counts half.
const FEW_LINES: f64 = 3.0;

/// One point of a stack.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    /// Distance from the edge, sensor pixels.
    pub(crate) t_px: f64,
    /// Mean normalised level.
    pub(crate) level: f64,
    /// Weight: one over its variance.
    pub(crate) weight: f64,
}

/// The stacked edge spread of one direction.
#[derive(Debug, Clone)]
pub(crate) struct Stack {
    /// Points by distance.
    pub(crate) points: Vec<Point>,
    /// Means of cos 2 theta and sin 2 theta over the edges, theta the angle of the normal (y up).
    pub(crate) double_angle: (f64, f64),
    /// Mean direction of the normals, degrees (y up).
    pub(crate) deg: f64,
    /// Widening that is not in the frame: halved pictures' pixels, quarter-pixel bins, errors of place; px^2.
    pub(crate) extra_px2: f64,
    /// Standard deviation of the spread as the sharper edges have it, px.
    pub(crate) sigma_px: f64,
    /// What it counts for, 0..1.
    pub(crate) trust: f64,
}

/// Angle of an edge's normal, degrees anticlockwise with y up, 0..180.
pub(crate) fn normal_deg(edge: &Edge) -> f64 {
    f64::from((-edge.normal.1).atan2(edge.normal.0).to_degrees().rem_euclid(180.0))
}

/// Stacks the sharper edges of each direction.
pub(crate) fn stacks(edges: &[&Edge]) -> Vec<Stack> {
    stacks_reaching(edges, REACH)
}

/// The same out to so many of their own standard deviations.
pub(crate) fn stacks_reaching(edges: &[&Edge], reach: f32) -> Vec<Stack> {
    let (count, least) = match edges.len() {
        0..=HARDLY_ANY_EDGES => (STACKS_HARDLY_ANY, LEAST_OF_HARDLY_ANY),
        n if n < MANY_EDGES => (STACKS_FEW, LEAST_EDGES),
        _ => (STACKS, LEAST_EDGES),
    };
    let mut by_direction: Vec<Vec<&Edge>> = vec![Vec::new(); count];
    for &edge in edges {
        let bin = (normal_deg(edge) / (180.0 / count as f64)) as usize;
        by_direction[bin.min(count - 1)].push(edge);
    }
    by_direction.iter().filter_map(|edges| stack_of(edges, least, reach)).collect()
}

/// Lays edges of one direction over each other: those near the sharp end of the direction. `None` with too few.
pub(crate) fn stack(edges: &[&Edge]) -> Option<Stack> {
    stack_of(edges, LEAST_EDGES, REACH)
}

fn stack_of(edges: &[&Edge], least: usize, widths: f32) -> Option<Stack> {
    let readings: Vec<Reading> = edges.iter().map(|e| e.reading()).collect();
    let (ln_sigma, _) = sharp_mean_ln(&readings)?;
    let near: Vec<&&Edge> = edges
        .iter()
        .filter(|e| (f64::from(e.sigma_px).ln() - ln_sigma).abs() < 0.15 + 1.5 * f64::from(e.error_ln))
        .collect();
    if near.len() < least {
        return None;
    }
    let sigma = ln_sigma.exp() as f32;
    let reach = widths * sigma;
    let mut sums = [(0.0_f64, 0.0_f64, 0.0_f64); POINTS];
    let (mut c2, mut s2, mut extra, mut total) = (0.0, 0.0, 0.0, 0.0);
    for edge in &near {
        let snr2 = f64::from(edge.contrast_to_noise.min(60.0)).powi(2) * f64::from(edge.weight);
        let angle = 2.0 * normal_deg(edge).to_radians();
        let bin_px = edge.step_px / POINTS_PER_PX;
        c2 += snr2 * angle.cos();
        s2 += snr2 * angle.sin();
        extra += snr2 * f64::from(edge.extra_px2 + edge.error_place_px.powi(2) + bin_px * bin_px / 12.0);
        total += snr2;
        for k in 0..PROFILE_POINTS {
            let count = edge.profile.count[k];
            if count == 0 {
                continue;
            }
            let t = ((k as f32 + 0.5) / POINTS_PER_PX - PROFILE_REACH) * edge.step_px;
            let place = (t + reach) / (2.0 * reach) * POINTS as f32;
            if place < 0.0 || place >= POINTS as f32 {
                continue;
            }
            let weight = snr2 * f64::from(count);
            let slot = &mut sums[place as usize];
            slot.0 += weight;
            slot.1 += weight * f64::from(t);
            slot.2 += snr2 * f64::from(edge.profile.sum[k]);
        }
    }
    // What disturbs a single edge moves all its points together: few edges count for less than their points.
    let lines: f64 = near.iter().map(|e| f64::from(e.weight)).sum();
    let trust = lines / (lines + FEW_LINES);
    let points: Vec<Point> = sums
        .iter()
        .filter(|s| s.0 > 0.0)
        .map(|&(w, wt, wv)| Point { t_px: wt / w, level: wv / w, weight: trust / (1.0 / w + SYSTEMATIC * SYSTEMATIC) })
        .collect();
    if points.len() < 10 {
        return None;
    }
    let deg = (0.5 * f64::atan2(s2, c2)).to_degrees().rem_euclid(180.0);
    Some(Stack {
        points,
        double_angle: (c2 / total, s2 / total),
        deg,
        extra_px2: extra / total,
        sigma_px: f64::from(sigma),
        trust,
    })
}
