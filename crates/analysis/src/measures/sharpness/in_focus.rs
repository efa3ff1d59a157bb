//! A subject in focus before a background that is not: a few edges as sharp as a lens leaves them among many wide ones.
//!
//! Behind a disc of radius r a plain edge has a standard deviation of r / 2, and the flank of a line half of that at the least
//! (`lines.rs`). Edges narrower than that, in several directions and in places where they are no exception, are not behind it.

use rawassay_decode::Area;

use super::collect::tile_of;
use super::edge::Edge;
use super::kind::{self, CLEARLY_SHARP, Verdict};
use super::stack::stacks;

/// Spread over that of the blur below which an edge is not behind it: less than any flank has.
const NOT_BEHIND: f64 = 0.4;
/// Fewest edges of a subject.
const LEAST_EDGES: usize = 12;
/// Share of the plain edges of a tile that are in focus where a subject lies in it: stray edges are few among the others.
const OF_A_TILE: f64 = 0.4;

/// The edges of a subject in focus, where those of the frame as a whole are `blur_px` wide. Empty where none shows, or where its
/// edges do not tell that it stood still.
pub(super) fn subject<'a>(
    plain: &[&'a Edge],
    area: &Area,
    grid: (usize, usize),
    blur_px: f64,
    diffraction_rise_px: Option<f64>,
) -> Vec<&'a Edge> {
    let least_px = (CLEARLY_SHARP * kind::allowance_px(diffraction_rise_px)).min(NOT_BEHIND * blur_px);
    let in_focus = |e: &Edge| !e.in_texture && f64::from(e.sigma_px) * f64::from(e.error_ln).exp() < least_px;
    let mut tiles: Vec<(Vec<&Edge>, usize)> = vec![(Vec::new(), 0); grid.0 * grid.1];
    for &edge in plain {
        let (found, all) = &mut tiles[tile_of(area, grid, edge.x_px, edge.y_px)];
        *all += 1;
        if in_focus(edge) {
            found.push(edge);
        }
    }
    let holds = |(found, all): &(Vec<&Edge>, usize)| found.len() as f64 >= OF_A_TILE * *all as f64;
    let found: Vec<&Edge> = tiles.into_iter().filter(holds).flat_map(|(found, _)| found).collect();
    if found.len() < LEAST_EDGES {
        return Vec::new();
    }
    let told = kind::read(&stacks(&found), diffraction_rise_px);
    let still = matches!(told.verdict, Verdict::None) && !told.one_way;
    if still { found } else { Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measures::sharpness::edge::{POINTS_PER_PX, PROFILE_POINTS, PROFILE_REACH, Profile};
    use crate::measures::sharpness::erf::erf;

    /// An edge at a place, with the samples of a Gaussian of its width.
    fn edge(x_px: f32, deg: f32, sigma_px: f32) -> Edge {
        let mut profile = Profile { sum: [0.0; PROFILE_POINTS], count: [4; PROFILE_POINTS] };
        for (k, sum) in profile.sum.iter_mut().enumerate() {
            let t = (k as f32 + 0.5) / POINTS_PER_PX - PROFILE_REACH;
            *sum = 2.0 + 2.0 * erf(f64::from(t / sigma_px) / 2.0_f64.sqrt()) as f32;
        }
        Edge { x_px, y_px: 10.0, profile, ..Edge::facing(deg, sigma_px) }
    }

    /// How many of a subject's edges, facing all ways within `spread_deg`, are found among 60 of the background.
    fn found(count: usize, spread_deg: f32, sigma_px: f32, beside: bool) -> usize {
        let of_subject = |k: usize| edge(10.0, spread_deg * k as f32 / count as f32, sigma_px);
        let mut edges: Vec<Edge> = (0..count).map(of_subject).collect();
        let at = if beside { 510.0 } else { 20.0 };
        edges.extend((0..60).map(|k| edge(at, 3.0 * k as f32, 3.0)));
        let all: Vec<&Edge> = edges.iter().collect();
        let area = Area { x: 0, y: 0, width: 1000, height: 800 };
        subject(&all, &area, (5, 4), 3.0, None).len()
    }

    #[test]
    fn edges_of_all_directions_that_no_disc_leaves_so_sharp_are_a_subject_in_focus() {
        assert_eq!(found(24, 180.0, 0.7, true), 24);
        // Too few, of one direction, or hardly narrower than flanks behind the disc.
        assert_eq!(found(8, 180.0, 0.7, true), 0);
        assert_eq!(found(24, 10.0, 0.7, true), 0);
        assert_eq!(found(24, 180.0, 1.3, true), 0);
        // Scattered among more of the wide ones: strays.
        assert_eq!(found(24, 180.0, 0.7, false), 0);
    }
}
