//! Where the frame is sharp and where not: rise of each tile, places for pictures at 100 %, share of tiles that moved.

use rawassay_decode::Area;

use super::collect::tile_of;
use super::edge::Edge;
use super::kind::{KindReading, Verdict};
use super::psf::PointSpread;
use super::stack::normal_deg;
use super::summary::{Reading, sharp_mean_ln};
use super::{LEAST_IN_BIN, Sharp, SharpnessReading};
use crate::measures::known;

/// Where motion shows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moved {
    /// Share of the tiles with edges across the motion that show it, per cent.
    tiles_pct: f64,
    /// Share of the frame that the smallest upright box of tiles round them covers, per cent.
    reach_pct: f64,
    /// Tiles with any edges, over those with edges across the motion.
    spread: f64,
    /// Tiles with edges across the motion.
    with_edges: u32,
}

/// Edges show a motion that widens their variance by this factor (at 2 px those within 45 degrees of it).
const WIDENED: f64 = 1.5;
/// Share of the frame up to which tiles are one place, per cent.
const ONE_PLACE_PCT: f64 = 12.0;
/// Tiles with edges over those with edges across a motion from which the frame would show more of it elsewhere.
const SPREAD: f64 = 4.0;
/// Share of the tiles below which motion is that of a subject, per cent.
pub(crate) const SUBJECT_TILES_PCT: f64 = 35.0;
/// Fewest tiles with plain edges that show the frame to stand still.
const LEAST_STILL: u32 = 6;

impl Moved {
    /// True where all of the motion shows in one place of a frame that has edges all over.
    pub(crate) fn in_one_place(&self) -> bool {
        self.reach_pct < ONE_PLACE_PCT && self.spread > SPREAD
    }
}

/// Fills the map, the places and the share of moving tiles. Tells where a motion shows that the edges tell.
pub(crate) fn fill(
    reading: &mut SharpnessReading,
    area: &Area,
    grid: (usize, usize),
    edges: &[&Edge],
    kind: &KindReading,
    sharp: &Sharp,
) -> Option<Moved> {
    let count = grid.0 * grid.1;
    let by_tile = sorted(area, grid, edges);
    let map = &mut reading.sharpness.map;
    for (tile, edges) in by_tile.iter().enumerate() {
        let readings: Vec<Reading> = edges.iter().filter(|e| !e.in_texture).map(|e| e.reading()).collect();
        if readings.len() >= LEAST_IN_BIN {
            map.rise_px[tile] = sharp_mean_ln(&readings).and_then(|(ln, _)| known(sharp.rise_per_sigma * ln.exp()));
        }
    }
    let place = |tile: Option<usize>, sharpest: bool| {
        let edges = &by_tile[tile?];
        let mut sorted: Vec<&&Edge> = edges.iter().collect();
        sorted.sort_by(|a, b| a.sigma_px.total_cmp(&b.sigma_px));
        let edge = if sharpest { sorted.get(sorted.len() / 4) } else { sorted.get(sorted.len() / 2) }?;
        Some((edge.x_px.max(0.0) as u32, edge.y_px.max(0.0) as u32))
    };
    let by_rise = |a: &usize, b: &usize| {
        let value = |k: usize| map.rise_px[k].unwrap_or(f64::NAN);
        value(*a).total_cmp(&value(*b))
    };
    let measured = || (0..count).filter(|&k| map.rise_px[k].is_some());
    reading.sharpness.sharpest_at_px = place(measured().min_by(by_rise), true);
    reading.sharpness.softest_at_px = place(measured().max_by(by_rise), false);
    if !matches!(kind.verdict, Verdict::Motion | Verdict::Mixed) || kind.from_nulls {
        return None;
    }
    let moved = that_moved(&by_tile, grid, kind)?;
    reading.blur.motion_tiles_pct = Some(moved.tiles_pct);
    (!kind.one_way).then_some(moved)
}

/// Edges by the tile they lie in.
fn sorted<'a>(area: &Area, grid: (usize, usize), edges: &[&'a Edge]) -> Vec<Vec<&'a Edge>> {
    let mut by_tile = vec![Vec::new(); grid.0 * grid.1];
    for &edge in edges {
        by_tile[tile_of(area, grid, edge.x_px, edge.y_px)].push(edge);
    }
    by_tile
}

/// True where the frame stands still by its plain edges: the spectrum of tiles that a subject fills shows its motion, as it shows
/// that of thin lines, whose smear has sharp sides; but no motion of the camera leaves plain edges across it sharp.
pub(crate) fn still(area: &Area, grid: (usize, usize), plain: &[&Edge], kind: &KindReading) -> bool {
    that_moved(&sorted(area, grid, plain), grid, kind)
        .is_some_and(|m| m.with_edges >= LEAST_STILL && m.tiles_pct < SUBJECT_TILES_PCT)
}

/// Variance of an edge over what it would be without the motion.
fn widened(psf: &PointSpread, deg: f64) -> f64 {
    psf.variance(deg) / PointSpread { motion_px: 0.0, ..*psf }.variance(deg)
}

/// The tiles whose edges across the motion are smeared, of the tiles that have such edges.
fn that_moved(by_tile: &[Vec<&Edge>], grid: (usize, usize), kind: &KindReading) -> Option<Moved> {
    let (mut with_edges, mut moved) = (0_u32, 0_u32);
    let (mut left, mut top, mut right, mut bottom) = (grid.0, grid.1, 0, 0);
    for (tile, edges) in by_tile.iter().enumerate() {
        let across: Vec<&&Edge> = edges.iter().filter(|e| widened(&kind.psf, normal_deg(e)) > WIDENED).collect();
        if across.is_empty() {
            continue;
        }
        let smeared = across
            .iter()
            .filter(|e| {
                let deg = normal_deg(e);
                f64::from(e.sigma_px).powi(2) > kind.psf.variance(deg) / widened(&kind.psf, deg).sqrt()
            })
            .count();
        let two = u32::from(across.len() >= 2);
        with_edges += two;
        if 2 * smeared > across.len() {
            moved += two;
            let (col, row) = (tile % grid.0, tile / grid.0);
            (left, top, right, bottom) = (left.min(col), top.min(row), right.max(col + 1), bottom.max(row + 1));
        }
    }
    let box_tiles = right.saturating_sub(left) * bottom.saturating_sub(top);
    (with_edges > 0).then(|| Moved {
        tiles_pct: 100.0 * f64::from(moved) / f64::from(with_edges),
        reach_pct: 100.0 * box_tiles as f64 / (grid.0 * grid.1) as f64,
        spread: by_tile.iter().filter(|edges| edges.len() >= 2).count() as f64 / f64::from(with_edges),
        with_edges,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_edges_that_are_sharp_across_a_motion_show_that_the_frame_stands_still() {
        let psf = PointSpread { sigma_px: 0.65, motion_px: 5.6, motion_deg: 125.0, ..PointSpread::default() };
        let kind = KindReading::of(Verdict::Motion, psf, 0.9);
        let area = Area { x: 0, y: 0, width: 1000, height: 800 };
        // Four edges in each tile of a grid of five by four, those of the first so many tiles smeared.
        let edges = |smeared: usize, deg: f32| -> Vec<Edge> {
            (0..80)
                .map(|k| {
                    let tile = k / 4;
                    let (x_px, y_px) = ((tile % 5) as f32 * 200.0 + 9.0, (tile / 5) as f32 * 200.0 + 9.0);
                    Edge { x_px, y_px, ..Edge::facing(deg, if tile < smeared { 1.9 } else { 0.75 }) }
                })
                .collect()
        };
        let still = |edges: &[Edge]| still(&area, (5, 4), &edges.iter().collect::<Vec<_>>(), &kind);
        assert!(still(&edges(4, 126.0)) && still(&edges(0, 160.0)));
        assert!(!still(&edges(14, 126.0)));
        // Edges along the motion are sharp in any case, and a few tiles show nothing of the frame.
        assert!(!still(&edges(0, 35.0)) && !still(&edges(0, 126.0)[..20]));
    }
}
