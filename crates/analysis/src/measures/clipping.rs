//! Where the frame is clipped or blocked: pixels with any and all planes clipped, connected areas, a coarse map, and
//! the small picture that tells near-duplicates.
//!
//! Unit: per cent of the active area. Input: the frame, active area only. One pass by rows; memory is that of a few rows
//! and of the areas found.
//! A "pixel" here is the cell that holds every plane: 2x2 samples of a Bayer or other small array, 3x3 of a 6x6 array,
//! one sample of a sensor without filters, one pixel of a linear file.
//! Areas are connected over sides and corners. One or two cells alone are glints, stars or hot pixels: they count as
//! clipped, not as an area.
//! Source: own derivation, docs/measures.md.

use multiversion::multiversion;
use rawassay_decode::{Area, Frame};

use super::areas::{Areas, LEAST_CELLS};
use super::extent::extent;
use super::histogram::{Histogram, picture_area, row_pattern};
use super::likeness::Sums;
use super::{ClippedArea, ClippingMap, Likeness};

/// Tiles of the map along the longer and the shorter side.
const TILES: (usize, usize) = (32, 24);

/// Largest areas that are kept.
const AREAS_KEPT: usize = 16;

/// What one pass over the frame gives, the levels being known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Clipping {
    pub(crate) any_pct: f64,
    pub(crate) all_pct: f64,
    pub(crate) largest_pct: f64,
    pub(crate) area_count: u64,
    pub(crate) map: ClippingMap,
    pub(crate) likeness: Likeness,
}

/// Levels of one plane as the pass needs them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Thresholds {
    /// Samples at or above are clipped.
    pub(crate) clipped_from: u32,
    /// Up to where samples are at the floor; `None` where read noise is unknown.
    pub(crate) floor: Option<Floor>,
    /// Black level, DN.
    pub(crate) black_dn: f64,
    /// Saturation, DN.
    pub(crate) saturation_dn: f64,
    /// True for the planes that the small picture is made of (green, or the only one).
    pub(crate) pictured: bool,
}

/// The level up to which samples are at the floor. A code stands for the interval of half a code on either side, its
/// samples spread evenly: read noise is a few DN, and whole codes would make the share jump by a tenth and more where that
/// is off by a hundredth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Floor {
    /// The code in whose interval the level lies; all codes below are at the floor.
    code: u16,
    /// How much of this code is, 256ths.
    part: u16,
}

/// A whole code, in the unit of [`Floor::part`].
const WHOLE: u16 = 256;

impl Floor {
    /// The floor at that level, DN. Below the lowest code there is nothing, so it counts whole.
    pub(crate) fn at(level_dn: f64) -> Self {
        let code = level_dn.round().clamp(0.0, 65535.0);
        let part = if code > 0.0 { (level_dn - (code - 0.5)).clamp(0.0, 1.0) } else { 1.0 };
        Self { code: code as u16, part: (part * f64::from(WHOLE)).round() as u16 }
    }

    /// Share of the samples that are at the floor.
    pub(crate) fn share(self, hist: &Histogram) -> f64 {
        let code = usize::from(self.code);
        let part = f64::from(self.part) / f64::from(WHOLE);
        let at_floor = hist.between(0, code) as f64 + part * hist.between(code, code + 1) as f64;
        at_floor / hist.total().max(1) as f64
    }
}

/// Side of the cell that holds every plane, samples of the frame.
pub(crate) fn cell_side(frame: &Frame) -> usize {
    let filter = &frame.filter;
    match (filter.is_linear(), filter.columns, filter.rows) {
        (true, ..) | (false, 1, 1) => 1,
        (false, 6, 6) => 3,
        _ => 2,
    }
}

/// Per-sample constants of one row of the filter array, over a whole row of the active area.
struct RowTable {
    planes: Vec<u8>,
    clipped_from: Vec<u16>,
    bit: Vec<u8>,
    floor_to: Vec<u16>,
    floor_part: Vec<u16>,
    pictured: Vec<u16>,
}

fn row_table(frame: &Frame, y: usize, area: &Area, thresholds: &[Thresholds]) -> RowTable {
    let pattern = row_pattern(frame, y);
    let n = area.width * frame.filter.samples_per_pixel;
    let planes: Vec<u8> = (0..n).map(|i| pattern[i % pattern.len()]).collect();
    let of = |p: &u8| thresholds[usize::from(*p)];
    RowTable {
        // A level beyond 16 bits can never be met: its bit is left out.
        clipped_from: planes.iter().map(|p| of(p).clipped_from.min(65535) as u16).collect(),
        bit: planes.iter().map(|p| if of(p).clipped_from > 65535 { 0 } else { 1 << (p & 7) }).collect(),
        floor_to: planes.iter().map(|p| of(p).floor.map_or(0, |f| f.code)).collect(),
        floor_part: planes.iter().map(|p| of(p).floor.map_or(0, |f| f.part)).collect(),
        pictured: planes.iter().map(|p| if of(p).pictured { u16::MAX } else { 0 }).collect(),
        planes,
    }
}

/// Splits `n` into `parts` runs of nearly equal length: the first index of each, and `n`.
pub(crate) fn splits(n: usize, parts: usize) -> Vec<usize> {
    (0..=parts).map(|i| n * i / parts.max(1)).collect()
}

/// Which marks of a cell (a bit per plane) stand for two colours or more; every mark where there is but one colour.
fn two_colours(frame: &Frame) -> [bool; 256] {
    let planes = &frame.filter.planes;
    let one_colour = planes.windows(2).all(|w| w[0].colour == w[1].colour);
    std::array::from_fn(|mark| {
        let mut marked = planes.iter().enumerate().filter(|(p, _)| mark >> (p & 7) & 1 == 1).map(|(_, p)| p.colour);
        match marked.next() {
            None => false,
            Some(first) => one_colour || marked.any(|colour| colour != first),
        }
    })
}

/// Areas larger than this share of the picture have no surroundings that tell.
const SURROUNDED_SHARE: f64 = 0.04;
/// Points looked at around an area, along a side.
const AROUND_POINTS: usize = 48;
/// Fewer points than this tell nothing.
const AROUND_LEAST: usize = 12;

/// How far the middle tone about an area lies below saturation, EV: the median of the green (or only) plane in the frame
/// about its box that is half the box's longer side wide, 8 px at the least.
fn around_ev(frame: &Frame, thresholds: &[Thresholds], found: &Area) -> Option<f64> {
    let active = picture_area(frame);
    if found.len() as f64 > SURROUNDED_SHARE * active.len() as f64 {
        return None;
    }
    let margin = (found.width.max(found.height) / 2).max(8);
    let left = found.x.saturating_sub(margin).max(active.x);
    let top = found.y.saturating_sub(margin).max(active.y);
    let right = (found.right() + margin).min(active.right());
    let bottom = (found.bottom() + margin).min(active.bottom());
    let spp = frame.filter.samples_per_pixel;
    let side = cell_side(frame);
    let step = |len: usize| (len / AROUND_POINTS).max(1).next_multiple_of(side);
    let mut levels = Vec::with_capacity((AROUND_POINTS + 1) * (AROUND_POINTS + 1));
    for y in (top..bottom).step_by(step(bottom - top)) {
        for x in (left..right).step_by(step(right - left)) {
            if x + side > found.x && x < found.right() && y + side > found.y && y < found.bottom() {
                continue;
            }
            let (mut sum, mut n) = (0.0, 0.0);
            for v in y..(y + side).min(bottom) {
                let row = frame.row(v);
                for u in x..(x + side).min(right) {
                    for s in 0..spp {
                        let plane = if spp > 1 { s } else { frame.filter.plane_at(u, v) };
                        let t = thresholds[plane];
                        if t.pictured && t.saturation_dn > t.black_dn {
                            sum += (f64::from(row[u * spp + s]) - t.black_dn) / (t.saturation_dn - t.black_dn);
                            n += 1.0;
                        }
                    }
                }
            }
            if n > 0.0 {
                levels.push(sum / n);
            }
        }
    }
    if levels.len() < AROUND_LEAST {
        return None;
    }
    let middle = levels.len() / 2;
    let (_, median, _) = levels.select_nth_unstable_by(middle, f64::total_cmp);
    // Sixteen EV below saturation nothing is told apart.
    super::known(-median.clamp(1.0 / 65_536.0, 1.0).log2())
}

/// Gives each sample that is at or above its level its bit, the others none; all bits that were given.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn mark(samples: &[u16], clipped_from: &[u16], bit: &[u8], marks: &mut [u8]) -> u8 {
    let n = samples.len();
    let (clipped_from, bit, marks) = (&clipped_from[..n], &bit[..n], &mut marks[..n]);
    let mut given = 0;
    for i in 0..n {
        marks[i] = if samples[i] >= clipped_from[i] { bit[i] } else { 0 };
        given |= marks[i];
    }
    given
}

/// Joins the marks of the samples of each cell, so many side by side; the last cell may be cut.
fn join_cells(cells: &mut [u8], marks: &[u8], side_by_side: usize) {
    if side_by_side == 2 {
        let (pairs, cut) = marks.as_chunks::<2>();
        cells.iter_mut().zip(pairs).for_each(|(cell, [a, b])| *cell |= a | b);
        cells.iter_mut().skip(pairs.len()).zip(cut).for_each(|(cell, mark)| *cell |= mark);
        return;
    }
    for (cell, marks) in cells.iter_mut().zip(marks.chunks(side_by_side)) {
        *cell |= marks.iter().fold(0, |all, mark| all | mark);
    }
}

/// Samples below their code, and of those at it the part that counts, 256ths.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn at_floor(samples: &[u16], code: &[u16], part: &[u16]) -> u32 {
    let n = samples.len();
    let (code, part) = (&code[..n], &part[..n]);
    let mut count = 0;
    for i in 0..n {
        let at_code = if samples[i] == code[i] { part[i] } else { 0 };
        count += u32::from(if samples[i] < code[i] { WHOLE } else { at_code });
    }
    count
}

/// Makes the map, the areas and the small picture.
pub(crate) fn clipping(frame: &Frame, thresholds: &[Thresholds]) -> Clipping {
    let area = picture_area(frame);
    let spp = frame.filter.samples_per_pixel;
    let side = cell_side(frame);
    let (cells_x, cells_y) = (area.width.div_ceil(side), area.height.div_ceil(side));
    let (longer, shorter) = TILES;
    let (want_x, want_y) = if area.width >= area.height { (longer, shorter) } else { (shorter, longer) };
    let (tiles_x, tiles_y) = (want_x.min(cells_x), want_y.min(cells_y));
    let mut likeness = Sums::new(&area);
    let mut map = ClippingMap { cols: tiles_x, rows: tiles_y, ..ClippingMap::default() };
    if area.is_empty() {
        let (largest_pct, area_count) = (0.0, 0);
        return Clipping { any_pct: 0.0, all_pct: 0.0, largest_pct, area_count, map, likeness: Likeness::default() };
    }
    let floor_known = thresholds.iter().all(|t| t.floor.is_some());
    // The lowest clipped and the highest floor of all planes.
    let clipped_from = thresholds.iter().map(|t| t.clipped_from).min().unwrap_or(u32::MAX);
    let floor_to = thresholds.iter().filter_map(|t| Some(t.floor?.code)).max().unwrap_or(0);
    let period = if frame.filter.is_linear() { 1 } else { frame.filter.rows };
    let tables: Vec<RowTable> = (0..period).map(|r| row_table(frame, area.y + r, &area, thresholds)).collect();
    let all_bits = thresholds.iter().enumerate().fold(0_u8, |bits, (p, _)| bits | 1 << (p & 7));
    let columns = splits(cells_x, tiles_x);
    let rows = splits(cells_y, tiles_y);
    // The planes of each cell of a row of cells.
    let present = |cell_y: usize, height: usize| -> Vec<u8> {
        let mut present = vec![0; cells_x];
        for r in 0..height {
            let table = &tables[(cell_y * side + r) % period];
            for (p, planes) in present.iter_mut().zip(table.planes.chunks(side * spp)) {
                *p |= planes.iter().fold(0, |a, &plane| a | 1 << (plane & 7));
            }
        }
        present
    };
    let whole_rows: Vec<Vec<u8>> = (0..period).map(|cell_y| present(cell_y, side)).collect();
    let tile_of_column: Vec<usize> = (0..tiles_x).flat_map(|t| vec![t; columns[t + 1] - columns[t]]).collect();

    let mut bits = vec![0_u8; area.width * spp];
    let mut cells = vec![0_u8; cells_x];
    let mut areas = Areas::new(cells_x, two_colours(frame));
    let mut any_px = vec![0_u64; tiles_x * tiles_y];
    let mut floor = vec![0_u64; tiles_x * tiles_y];
    let mut all_px = 0_u64;
    let mut tile_y = 0;
    for cell_y in 0..cells_y {
        if cell_y >= rows[tile_y + 1] {
            tile_y += 1;
        }
        let height = side.min(area.height - cell_y * side);
        cells.fill(0);
        let mut clipped_here = false;
        for r in 0..height {
            let y_in = cell_y * side + r;
            let table = &tables[y_in % period];
            let row = &frame.row(area.y + y_in)[area.x * spp..area.right() * spp];
            for tile in 0..tiles_x {
                let (first, end) = (columns[tile], columns[tile + 1]);
                let (from, to) = (first * side * spp, (end * side * spp).min(row.len()));
                let part = &row[from..to];
                // Nearly all stretches hold neither clipped samples nor the floor.
                let (least, most) = extent(part);
                if u32::from(most) >= clipped_from {
                    let bits = &mut bits[from..to];
                    let hit = mark(part, &table.clipped_from[from..to], &table.bit[from..to], bits);
                    if hit != 0 {
                        clipped_here = true;
                        join_cells(&mut cells[first..end], bits, side * spp);
                    }
                }
                if floor_known && least <= floor_to {
                    let (code, of_code) = (&table.floor_to[from..to], &table.floor_part[from..to]);
                    floor[tile_y * tiles_x + tile] += u64::from(at_floor(part, code, of_code));
                }
            }
            likeness.add(y_in, row, &table.pictured, spp);
        }
        if clipped_here {
            let cut;
            let present = if height == side {
                &whole_rows[cell_y % period]
            } else {
                cut = present(cell_y, height);
                &cut
            };
            for (x, (&c, &p)) in cells.iter().zip(present).enumerate() {
                if c != 0 {
                    let px = (height * side.min(area.width - x * side)) as u64;
                    any_px[tile_y * tiles_x + tile_of_column[x]] += px;
                    if c == p & all_bits {
                        all_px += px;
                    }
                }
            }
        }
        if clipped_here { areas.add_row(&cells) } else { areas.add_empty_row() }
    }

    let whole = area.len() as f64;
    let pct = |px: f64| 100.0 * px / whole;
    let found = areas.finish();
    // Cells at the right and lower edge may be cut: their size is taken as whole, and the share kept at 100 at most.
    let cell_px = (side * side) as f64;
    map.areas = found
        .iter()
        .take(AREAS_KEPT)
        .map(|a| {
            let (x, y) = (a.left as usize * side, a.top as usize * side);
            let right = ((a.right as usize + 1) * side).min(area.width);
            let bottom = ((a.bottom as usize + 1) * side).min(area.height);
            let most = ((right - x) * (bottom - y)) as f64;
            let found = Area::new(area.x + x, area.y + y, right - x, bottom - y);
            ClippedArea {
                box_px: [found.x, found.y, found.width, found.height],
                area_pct: pct((a.cells as f64 * cell_px).min(most)),
                tone_lost_pct: Some(pct((a.lost as f64 * cell_px).min(most))),
                around_ev: around_ev(frame, thresholds, &found),
            }
        })
        .collect();
    debug_assert!(found.iter().all(|a| a.cells >= LEAST_CELLS));
    let tile_size = |tile: usize| {
        let (x, y) = (tile % tiles_x, tile / tiles_x);
        let w = (columns[x + 1] * side).min(area.width) - columns[x] * side;
        let h = (rows[y + 1] * side).min(area.height) - rows[y] * side;
        (w * h) as f64
    };
    map.any_pct = any_px.iter().enumerate().map(|(t, &px)| (100.0 * px as f64 / tile_size(t)) as f32).collect();
    if floor_known {
        let samples = |t| tile_size(t) * spp as f64 * f64::from(WHOLE);
        map.floor_pct = floor.iter().enumerate().map(|(t, &n)| (100.0 * n as f64 / samples(t)) as f32).collect();
    }
    Clipping {
        any_pct: pct(any_px.iter().sum::<u64>() as f64),
        all_pct: pct(all_px as f64),
        largest_pct: map.areas.first().map_or(0.0, |a| a.area_pct),
        area_count: found.len() as u64,
        likeness: likeness.finish(thresholds),
        map,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_floor_does_not_jump_between_codes() {
        // Darkness with a read noise of 1 to 3 DN: 84 of 100 samples lie at or below black + one read noise.
        let normal = |x: f64| 0.5 * (1.0 + error_function(x / std::f64::consts::SQRT_2));
        for tenths in 10..30 {
            let sigma = f64::from(tenths) / 10.0;
            let codes = (0..64).map(|c| {
                let x = f64::from(c) - 20.0;
                (1e6 * (normal((x + 0.5) / sigma) - normal((x - 0.5) / sigma))).round() as u32
            });
            let hist = Histogram::new(codes.collect());
            let share = |read: f64| Floor::at(20.0 + read).share(&hist);
            assert!((share(sigma) - 0.841).abs() < 0.035, "{sigma}: {}", share(sigma));
            // Read noise that is a hundredth off moves it by as much as the normal law has there, and a little more.
            assert!((share(sigma * 1.01) - share(sigma * 0.99)).abs() < 0.012, "{sigma}");
        }
        // What is clipped at the lowest code lies below it.
        let mut counts = vec![0; 8];
        counts[0] = 70;
        counts[2] = 30;
        assert!((Floor::at(0.2).share(&Histogram::new(counts)) - 0.7).abs() < 1e-12);
    }

    /// The error function by its series, for arguments up to 5.
    fn error_function(x: f64) -> f64 {
        let x = x.clamp(-5.0, 5.0);
        let (mut term, mut sum) = (x, x);
        for n in 1..120 {
            term *= -x * x / f64::from(n);
            sum += term / f64::from(2 * n + 1);
        }
        2.0 / std::f64::consts::PI.sqrt() * sum
    }
}
