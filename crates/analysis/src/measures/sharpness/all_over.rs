//! Edges that are sharp all over the frame in two directions across each other: no motion of the camera leaves them so.

use rawassay_decode::Area;

use super::candidates::{DIRECTIONS, direction_bin};
use super::collect::tile_of;
use super::edge::Edge;
use super::kind::CLEARLY_SHARP;
use super::stack::normal_deg;
use super::summary::{Reading, sharp_mean_ln};

/// Fewest edges of a direction that show it sharp.
const LEAST_EDGES: usize = 12;
/// Share of the tiles with edges in which those of a direction must be sharp.
const ALL_OVER: f64 = 0.35;
/// Spread of a sharp edge over that of its direction's sharp end.
const AS_SHARP: f64 = 1.25;
/// Sine of the least angle between two directions: a motion of five standard deviations of the edges would widen one of them.
const ACROSS: f64 = 0.7;
/// Spread of the widest direction over that of the sharp ones: one that leaves these so widens no edge by more than the root of
/// three.
const WIDER: f64 = 2.0;
/// Fewest edges of a direction that are wide.
const LEAST_WIDE: usize = 3;

/// True where the edges of two directions across each other are as sharp as a good lens leaves them, over much of the frame.
pub(super) fn sharp(edges: &[&Edge], area: &Area, grid: (usize, usize), allowance_px: f64) -> bool {
    let tile = |e: &&Edge| tile_of(area, grid, e.x_px, e.y_px);
    let tiles = |edges: &mut dyn Iterator<Item = &&Edge>| {
        let mut holds = vec![false; grid.0 * grid.1];
        edges.for_each(|e| holds[tile(e)] = true);
        holds.iter().filter(|h| **h).count() as f64
    };
    let least_tiles = ALL_OVER * tiles(&mut edges.iter());
    let mut widest_px: f64 = 0.0;
    let mut sharp: Vec<(f64, f64)> = Vec::new();
    for bin in 0..DIRECTIONS {
        let here: Vec<&Edge> = edges.iter().copied().filter(|e| direction_bin(e.normal.0, e.normal.1) == bin).collect();
        let readings: Vec<Reading> = here.iter().map(|e| e.reading()).collect();
        let Some((ln, _)) = sharp_mean_ln(&readings).filter(|_| here.len() >= LEAST_WIDE) else { continue };
        let sigma_px = ln.exp();
        widest_px = widest_px.max(sigma_px);
        let as_sharp = |e: &&&Edge| f64::from(e.sigma_px) < AS_SHARP * sigma_px;
        if here.len() >= LEAST_EDGES
            && sigma_px < CLEARLY_SHARP * allowance_px
            && tiles(&mut here.iter().filter(as_sharp)) >= least_tiles
        {
            sharp.push((normal_deg(here[0]), sigma_px));
        }
    }
    sharp.retain(|(_, sigma_px)| WIDER * sigma_px < widest_px);
    sharp.iter().any(|a| sharp.iter().any(|b| (a.0 - b.0).to_radians().sin().abs() > ACROSS))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twenty edges at `deg`, each in a tile of its own of a grid of five by four, or all in one.
    fn edges(deg: f32, sigma_px: f32, all_over: bool) -> Vec<Edge> {
        let place = |k: usize| if all_over { ((k % 5) as f32 * 200.0, (k / 5) as f32 * 200.0) } else { (10.0, 10.0) };
        (0..20)
            .map(|k| {
                let (x_px, y_px) = place(k);
                Edge { x_px, y_px, ..Edge::facing(deg, sigma_px) }
            })
            .collect()
    }

    #[test]
    fn two_directions_across_each_other_must_be_sharp_all_over() {
        let area = Area { x: 0, y: 0, width: 1000, height: 800 };
        let sharp = |groups: &[Vec<Edge>]| {
            let all: Vec<&Edge> = groups.iter().flatten().collect();
            sharp(&all, &area, (5, 4), 1.1)
        };
        let subject = edges(45.0, 3.0, false);
        assert!(sharp(&[edges(0.0, 0.6, true), edges(90.0, 0.6, true), subject.clone()]));
        // So little wider that a motion may have left the others sharp.
        assert!(!sharp(&[edges(0.0, 0.6, true), edges(90.0, 0.6, true), edges(45.0, 1.1, false)]));
        // Soft, in one place, or alike in direction.
        assert!(!sharp(&[edges(0.0, 0.6, true), edges(90.0, 1.2, true), subject.clone()]));
        assert!(!sharp(&[edges(0.0, 0.6, true), edges(90.0, 0.6, false), subject.clone()]));
        assert!(!sharp(&[edges(0.0, 0.6, true), edges(20.0, 0.6, true), subject]));
    }
}
