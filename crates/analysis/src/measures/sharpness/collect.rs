//! The edges of a frame: candidates of every level, shared out over tiles and directions, fitted and tested.

use std::collections::HashMap;

use rawassay_decode::Area;

use super::candidates::{Candidate, DIRECTIONS, direction_bin, find};
use super::edge::Edge;
use super::fit::{Fitter, Reject};
use super::lines;
use super::pyramid::{Level, holds_saturated};
use super::samples::ColourSamples;
use super::window::Source;

/// Levels that are measured: the mosaic, and pictures halved one to four times.
const LEVELS: usize = 5;
/// Tiles along the longer side.
pub(crate) const TILES_LONG: usize = 8;
/// Candidates fitted at most in a tile and direction.
const PER_CELL: usize = 6;
/// Edges in a tile and direction above which a coarser level need not add any.
const ENOUGH_PER_CELL: usize = 3;
/// One over the share of the candidates from which clipped samples hide a frame's edges.
const MANY_CLIPPED: usize = 3;

/// Edges that lie this near a line through another belong to it, px and px per px along it.
const SAME_LINE_PX: f32 = 4.0;
const SAME_LINE_SLOPE: f32 = 0.03;

/// What was found.
pub(crate) struct Collected {
    /// Edges that passed every test.
    pub(crate) edges: Vec<Edge>,
    /// Candidates that were tried.
    pub(crate) tried: usize,
    /// Why the others failed.
    pub(crate) rejected: HashMap<Reject, usize>,
    /// Tiles across and down.
    pub(crate) tiles: (usize, usize),
    /// The picture halved once and twice.
    pub(crate) halved: Vec<Level>,
}

impl Collected {
    /// True where most candidates failed for want of contrast over the noise.
    pub(crate) fn mostly_noise(&self) -> bool {
        2 * self.rejected.get(&Reject::LowContrast).copied().unwrap_or(0) > self.tried
    }

    /// True where many candidates touch clipped samples: another colour may hold what is hidden there.
    pub(crate) fn hidden(&self) -> bool {
        self.tried == 0 || MANY_CLIPPED * self.rejected.get(&Reject::Clipped).copied().unwrap_or(0) > self.tried
    }

    /// Share of the halved picture that holds clipped samples.
    pub(crate) fn clipped_share(&self) -> f64 {
        let Some(picture) = self.halved.first() else { return 1.0 };
        let clipped = picture.dn.iter().filter(|dn| holds_saturated(**dn)).count();
        clipped as f64 / picture.dn.len().max(1) as f64
    }

    /// Why most of the candidates failed, in words.
    pub(crate) fn main_reason(&self) -> &'static str {
        let most = ALL.iter().max_by_key(|why| self.rejected.get(why).copied().unwrap_or(0));
        match most {
            Some(Reject::Clipped) => "most touch clipped samples",
            Some(Reject::Border) => "most lie at the border",
            Some(Reject::LowContrast) => "most do not stand out of the noise",
            Some(Reject::Bent) => "most are bent",
            Some(Reject::Crowded) => "most have other detail beside them",
            _ => "most are no plain steps",
        }
    }
}

/// Reasons in a fixed order, so that equal counts give the same words.
const ALL: [Reject; 7] = [
    Reject::Border,
    Reject::Clipped,
    Reject::NoFit,
    Reject::OtherLevel,
    Reject::LowContrast,
    Reject::Crowded,
    Reject::Bent,
];

/// Tiles across and down for a picture of this size: 8 along the longer side, nearly square ones.
pub(crate) fn tiles(width: usize, height: usize) -> (usize, usize) {
    let (long, short) = (width.max(height).max(1), width.min(height).max(1));
    let other = ((TILES_LONG * short) as f64 / long as f64).round().max(1.0) as usize;
    if width >= height { (TILES_LONG, other) } else { (other, TILES_LONG) }
}

/// Tile of a place of the full frame.
pub(crate) fn tile_of(a: &Area, (cols, rows): (usize, usize), x_px: f32, y_px: f32) -> usize {
    let col = (((x_px - a.x as f32) / a.width as f32) * cols as f32).clamp(0.0, cols as f32 - 1.0) as usize;
    let row = (((y_px - a.y as f32) / a.height as f32) * rows as f32).clamp(0.0, rows as f32 - 1.0) as usize;
    row * cols + col
}

/// Finds and measures the edges of one colour.
pub(crate) fn collect(samples: &ColourSamples<'_>) -> Collected {
    let grid = tiles(samples.area.width, samples.area.height);
    let mut fitter = Fitter::new(samples.near);
    let mut all = Collected { edges: Vec::new(), tried: 0, rejected: HashMap::new(), tiles: grid, halved: Vec::new() };
    let mut per_cell = vec![0_usize; grid.0 * grid.1 * DIRECTIONS];
    let mut levels: Vec<Level> = vec![Level::first(samples)];
    for k in 0..LEVELS {
        // Candidates for level k come from the picture one halving coarser.
        let margin = 4;
        let coarse = &levels[k];
        let (columns, rows) = tiles_of_places(&samples.area, grid, coarse);
        let tile_of = |x: usize, y: usize| rows[y] * grid.0 + columns[x];
        let found = find::<PER_CELL>(coarse, samples.noise, margin, grid.0 * grid.1, tile_of);
        let source = if k == 0 { Source::Mosaic(samples) } else { Source::Level(&levels[k - 1]) };
        let before = per_cell.clone();
        for (candidate, cell) in chosen(&samples.area, grid, coarse, found) {
            if before[cell] >= ENOUGH_PER_CELL {
                continue;
            }
            let (x, y) = coarse.to_frame(candidate.x, candidate.y);
            let at = if k == 0 { (x, y) } else { levels[k - 1].place_of(x, y) };
            all.tried += 1;
            match fitter.measure(&source, samples.noise, &candidate, at) {
                Ok(edge) => {
                    per_cell[cell] += 1;
                    all.edges.push(edge);
                }
                Err(why) => *all.rejected.entry(why).or_default() += 1,
            }
        }
        if k + 1 < LEVELS {
            let next = levels[k].next();
            if next.width < 32 || next.height < 32 {
                break;
            }
            levels.push(next);
        }
    }
    lines::take_out(&mut all.edges);
    count_lines(&mut all.edges);
    levels.truncate(2);
    all.halved = levels;
    all
}

/// Column of tiles of each column of a level, and row of tiles of each of its rows.
fn tiles_of_places(area: &Area, grid: (usize, usize), level: &Level) -> (Vec<usize>, Vec<usize>) {
    let tile = |x: usize, y: usize| {
        let (x_px, y_px) = level.to_frame(x as f32, y as f32);
        tile_of(area, grid, x_px, y_px)
    };
    let columns = (0..level.width).map(|x| tile(x, 0) % grid.0).collect();
    (columns, (0..level.height).map(|y| tile(0, y) / grid.0).collect())
}

/// Weighs edges down that lie on the same line of the scene: one odd beam measured in many places is one witness.
fn count_lines(edges: &mut [Edge]) {
    let mut by_direction: Vec<Vec<usize>> = vec![Vec::new(); DIRECTIONS];
    for (k, edge) in edges.iter().enumerate() {
        by_direction[direction_bin(edge.normal.0, edge.normal.1)].push(k);
    }
    for members in &by_direction {
        for &k in members {
            let (x, y, (nx, ny)) = (edges[k].x_px, edges[k].y_px, edges[k].normal);
            let same = members
                .iter()
                .filter(|&&j| {
                    let other = &edges[j];
                    let (dx, dy) = (other.x_px - x, other.y_px - y);
                    let (across, along) = (dx * nx + dy * ny, dy * nx - dx * ny);
                    across.abs() < SAME_LINE_PX + SAME_LINE_SLOPE * along.abs()
                        && other.normal.0 * nx + other.normal.1 * ny > 0.99
                })
                .count();
            edges[k].weight = 1.0 / (same.max(1) as f32).sqrt();
        }
    }
}

/// The strongest candidates of each tile and direction, with the index of their cell.
fn chosen(area: &Area, grid: (usize, usize), level: &Level, mut found: Vec<Candidate>) -> Vec<(Candidate, usize)> {
    found.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.y.total_cmp(&b.y)).then(a.x.total_cmp(&b.x)));
    let mut taken = vec![0_usize; grid.0 * grid.1 * DIRECTIONS];
    let mut chosen = Vec::new();
    for candidate in found {
        let (x, y) = level.to_frame(candidate.x, candidate.y);
        let cell = tile_of(area, grid, x, y) * DIRECTIONS + direction_bin(candidate.normal.0, candidate.normal.1);
        if taken[cell] < PER_CELL {
            taken[cell] += 1;
            chosen.push((candidate, cell));
        }
    }
    chosen
}
