//! Samples near a pixel that stand alone as a hot one does: what the structure of the scene there makes by itself.
//!
//! They are looked for in blocks; three by three of them make the vicinity of a pixel.

use multiversion::multiversion;
use rawassay_decode::Frame;

use super::histogram::picture_area;
use super::hot_cells::Cells;
use super::marks::marks_above;

/// Side of a block, samples.
const BLOCK: usize = 16;

/// Heights that are kept of a block: the pixel itself and three others may be hot.
pub(super) const KEPT: usize = 5;

/// Least variance that is reckoned with, DN squared.
const LEAST: f64 = 1e-6;

/// Levels in a step of the table of least noise, and its steps.
const STEP: usize = 16;
const STEPS: usize = 65_536 / STEP;

/// Least noise of any plane and of all levels from each step on, DN. Within a step the noise of a tone goes one way.
pub(super) fn least_noise(planes: usize, variance: &dyn Fn(usize, f64) -> f64) -> Vec<f64> {
    let at = |step: usize| (0..planes).map(|p| variance(p, (step * STEP) as f64).max(LEAST)).fold(f64::MAX, f64::min);
    let mut least = vec![0.0; STEPS];
    let mut from_here = at(STEPS);
    for (step, least) in least.iter_mut().enumerate().rev() {
        from_here = at(step).min(from_here);
        // The margin is for rounding.
        *least = (1.0 - 1e-6) * from_here.sqrt();
    }
    least
}

/// What is known of the blocks of a frame so far.
pub(super) struct Vicinity {
    across: usize,
    down: usize,
    /// Heights of the samples that stand alone in each block, largest first, in standard deviations.
    blocks: Vec<Option<[f32; KEPT]>>,
}

/// The frame as a vicinity is read from it.
pub(super) struct Ground<'a> {
    pub(super) frame: &'a Frame,
    /// Columns and rows at the rim that are left out.
    pub(super) margins: (usize, usize),
    pub(super) cells: &'a Cells,
    /// Variance of the noise of a plane at a level, DN squared.
    pub(super) variance: &'a dyn Fn(usize, f64) -> f64,
    /// [`least_noise`] of it.
    pub(super) least_noise: &'a [f64],
}

impl Vicinity {
    pub(super) fn of(frame: &Frame) -> Self {
        let area = picture_area(frame);
        let (across, down) = (area.width.div_ceil(BLOCK), area.height.div_ceil(BLOCK));
        Self { across, down, blocks: vec![None; across * down] }
    }

    /// Heights of the samples that stand alone most in the vicinity of a place, largest first, in standard deviations.
    pub(super) fn largest(&mut self, ground: &Ground<'_>, x: usize, y: usize) -> [f32; KEPT] {
        let area = picture_area(ground.frame);
        let (bx, by) = ((x - area.x) / BLOCK, (y - area.y) / BLOCK);
        let mut largest = [0.0; KEPT];
        for row in by.saturating_sub(1)..(by + 2).min(self.down) {
            for column in bx.saturating_sub(1)..(bx + 2).min(self.across) {
                let block = self.blocks[row * self.across + column].get_or_insert_with(|| ground.block(column, row));
                block.iter().for_each(|&v| keep(&mut largest, v));
            }
        }
        largest
    }
}

impl Ground<'_> {
    fn block(&self, column: usize, row: usize) -> [f32; KEPT] {
        let area = picture_area(self.frame);
        let (margin_x, margin_y) = self.margins;
        let mut largest = [0.0; KEPT];
        let (x, y) = (area.x + column * BLOCK, area.y + row * BLOCK);
        let (first, end) = (x.max(area.x + margin_x), (x + BLOCK).min(area.right() - margin_x));
        let width = end.saturating_sub(first);
        let mut row = Row { low: [u16::MAX; BLOCK], high: [0; BLOCK], out: [0; BLOCK], darkest: 0 };
        let mask = ((1_u32 << width) - 1) as u16;
        for y in y.max(area.y + margin_y)..(y + BLOCK).min(area.bottom() - margin_y) {
            let start = y * self.frame.width + first;
            if !self.cells.like().is_some_and(|like| whole_row(&self.frame.samples, start, like, width, &mut row)) {
                self.part_of_row(start, (first, y), width, &mut row);
            }
            // What is no larger than those that are kept by the least noise of any tone here is not looked at.
            let least_dn = f64::from(largest[KEPT - 1]) * self.least_noise[usize::from(row.darkest) / STEP];
            let mut left = marks_above(&row.out, least_dn.min(65_535.0) as u16) & mask;
            while left != 0 {
                let i = left.trailing_zeros() as usize;
                left &= left - 1;
                let level = 0.5 * (f64::from(row.low[i]) + f64::from(row.high[i]));
                let variance = (self.variance)(self.cells.at(first + i, y).plane, level).max(LEAST);
                keep(&mut largest, (f64::from(row.out[i]) / variance.sqrt()) as f32);
            }
        }
        largest
    }

    /// Any part of a row, sample by sample.
    fn part_of_row(&self, start: usize, (x, y): (usize, usize), width: usize, row: &mut Row) {
        let at = |i: usize| self.frame.samples.get(i).copied().unwrap_or(0);
        row.darkest = 0;
        for i in 0..width {
            let (mut low, mut high) = (u16::MAX, 0);
            for &o in &self.cells.at(x + i, y).like {
                let v = at((start + i).wrapping_add_signed(o));
                (low, high) = (low.min(v), high.max(v));
            }
            (row.low[i], row.high[i]) = (low, high);
            row.out[i] = beyond(at(start + i), low, high);
        }
    }
}

/// A row of a block: lowest and highest of the next samples of each, how far it lies outside of them, and the lowest of all.
struct Row {
    low: [u16; BLOCK],
    high: [u16; BLOCK],
    out: [u16; BLOCK],
    darkest: u16,
}

#[inline(always)]
fn beyond(v: u16, low: u16, high: u16) -> u16 {
    v.saturating_sub(high).max(low.saturating_sub(v))
}

/// A row as wide as a block, which nearly all are; false where it is not.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn whole_row(samples: &[u16], start: usize, like: &[isize], width: usize, row: &mut Row) -> bool {
    let stretch = |from: usize| samples.get(from..).and_then(|s| s.first_chunk::<BLOCK>());
    let Some(here) = stretch(start).filter(|_| width == BLOCK) else { return false };
    let (mut low, mut high) = ([u16::MAX; BLOCK], [0; BLOCK]);
    for &o in like {
        let Some(next) = stretch(start.wrapping_add_signed(o)) else { return false };
        for i in 0..BLOCK {
            (low[i], high[i]) = (low[i].min(next[i]), high[i].max(next[i]));
        }
    }
    let mut darkest = u16::MAX;
    for i in 0..BLOCK {
        row.out[i] = beyond(here[i], low[i], high[i]);
        darkest = darkest.min(low[i]);
    }
    (row.low, row.high, row.darkest) = (low, high, darkest);
    true
}

/// Puts a value into its place among the largest.
fn keep(largest: &mut [f32; KEPT], mut value: f32) {
    for kept in largest {
        if value > *kept {
            std::mem::swap(kept, &mut value);
        }
    }
}
