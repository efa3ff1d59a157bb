//! Places that may be edges: gradient maxima of one level, the strongest of each block and direction.

use super::pyramid::{Level, holds_saturated};
use super::samples::SampleNoise;

/// Directions kept apart, over 180 degrees.
pub(crate) const DIRECTIONS: usize = 12;
/// Side of the blocks within which one candidate per direction is kept, level pixels.
const BLOCK: usize = 12;
/// Scores of a row that are compared at once.
const STRETCH: usize = 32;
/// Least gradient, in standard deviations of the noise of the gradient.
const LEAST_SIGNIFICANCE: f32 = 5.0;
/// Share of the gradient that must be found again two pixels along the edge, both ways: corners and texture fail.
const COHERENCE: f32 = 0.55;

/// A place that may be an edge.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    /// Column, level coordinates.
    pub(crate) x: f32,
    /// Row, level coordinates.
    pub(crate) y: f32,
    /// Unit normal, from dark to bright, image axes (y down).
    pub(crate) normal: (f32, f32),
    /// Squared gradient over the variance of the noise.
    pub(crate) score: f32,
}

/// Bin of a direction (0..12, 15 degrees each from 0), angle anticlockwise with y up.
pub(crate) fn direction_bin(nx: f32, ny: f32) -> usize {
    let deg = (-ny).atan2(nx).to_degrees().rem_euclid(180.0);
    ((deg / (180.0 / DIRECTIONS as f32)) as usize).min(DIRECTIONS - 1)
}

struct GradientRow {
    gx: Vec<f32>,
    gy: Vec<f32>,
    score: Vec<f32>,
}

impl GradientRow {
    /// Rows end in zeros, so that whole stretches can be read.
    fn new(width: usize) -> Self {
        let width = width + STRETCH + 2;
        Self { gx: vec![0.0; width], gy: vec![0.0; width], score: vec![0.0; width] }
    }

    /// Sobel gradients (DN per level pixel) of row `y` and their squares over the noise variance.
    fn fill(&mut self, level: &Level, y: usize, noise: SampleNoise) {
        let w = level.width;
        let a = &level.dn[(y - 1) * w..y * w];
        let b = &level.dn[y * w..(y + 1) * w];
        let c = &level.dn[(y + 1) * w..(y + 2) * w];
        // Sobel over 8: 12/64 of the variance of a pixel.
        let share = 12.0 / 64.0 / level.samples;
        let slope = noise.slope_dn * share;
        let floor = noise.floor_dn2 * share;
        let n = w - 2;
        let (gx, gy, score) = (&mut self.gx[1..=n], &mut self.gy[1..=n], &mut self.score[1..=n]);
        let (a0, a1, a2) = (&a[..n], &a[1..=n], &a[2..n + 2]);
        let (b0, b1, b2) = (&b[..n], &b[1..=n], &b[2..n + 2]);
        let (c0, c1, c2) = (&c[..n], &c[1..=n], &c[2..n + 2]);
        for i in 0..n {
            let x = 0.125 * ((a2[i] - a0[i]) + 2.0 * (b2[i] - b0[i]) + (c2[i] - c0[i]));
            let y = 0.125 * ((c0[i] - a0[i]) + 2.0 * (c1[i] - a1[i]) + (c2[i] - a2[i]));
            gx[i] = x;
            gy[i] = y;
            score[i] = (x * x + y * y) / (b1[i].max(0.0) * slope + floor);
        }
    }
}

/// Tangent of 22.5 degrees: a gradient nearer than this to an axis points to the neighbour along it.
const DIAGONAL: f32 = 0.414;

/// Unit steps across an edge, to the nearest of eight neighbours on the bright side.
fn step_across(gx: f32, gy: f32) -> (isize, isize) {
    let (ax, ay) = (gx.abs(), gy.abs());
    let sx = if ax > DIAGONAL * ay { gx.signum() as isize } else { 0 };
    let sy = if ay > DIAGONAL * ax { gy.signum() as isize } else { 0 };
    (sx, sy)
}

/// Marks the places of a stretch from column `from` whose score is at least `least`, not below that of the neighbour on
/// the bright side and above that on the dark side: [`step_across`], written without a branch so that it runs on many
/// places at once.
fn maxima(rows: [&GradientRow; 3], from: usize, least: f32) -> [u32; STRETCH] {
    let wide = |values: &'_ [f32]| values.get(from - 1..).and_then(|v| v.first_chunk::<{ STRETCH + 2 }>()).copied();
    let narrow = |values: &'_ [f32]| values.get(from..).and_then(|v| v.first_chunk::<STRETCH>()).copied();
    let [Some(above), Some(here), Some(below)] = rows.map(|row| wide(&row.score)) else { return [0; STRETCH] };
    let (Some(gx), Some(gy)) = (narrow(&rows[1].gx), narrow(&rows[1].gy)) else { return [0; STRETCH] };
    std::array::from_fn(|i| {
        let score = here[i + 1];
        let (ax, ay) = (gx[i].abs(), gy[i].abs());
        let (across, upright) = (ax > DIAGONAL * ay, ay > DIAGONAL * ax);
        let falling = gx[i] * gy[i] > 0.0;
        // The two neighbours on the line of the gradient, first the one further right (or down).
        let corner = if falling { below[i + 2] } else { above[i + 2] };
        let far_corner = if falling { above[i] } else { below[i] };
        let right = if upright { corner } else { here[i + 2] };
        let left = if upright { far_corner } else { here[i] };
        let first = if across { right } else { below[i + 1] };
        let second = if across { left } else { above[i + 1] };
        let forward = if across { gx[i] } else { gy[i] } > 0.0;
        let bright = if forward { first } else { second };
        let dark = if forward { second } else { first };
        u32::from(score >= least) & u32::from(bright <= score) & u32::from(dark < score)
    })
}

/// The strongest candidate of each direction in each block, within a border of `margin` level pixels.
pub(crate) fn find(level: &Level, noise: SampleNoise, margin: usize) -> Vec<Candidate> {
    let (w, h) = (level.width, level.height);
    let margin = margin.max(3);
    let mut found = Vec::new();
    if w < 2 * margin + BLOCK || h < 2 * margin + BLOCK {
        return found;
    }
    let blocks = w.div_ceil(BLOCK);
    let mut best: Vec<Option<Candidate>> = vec![None; blocks * DIRECTIONS];
    let mut rows: Vec<GradientRow> = (0..5).map(|_| GradientRow::new(w)).collect();
    let least = LEAST_SIGNIFICANCE * LEAST_SIGNIFICANCE;
    for y in margin - 2..=margin + 1 {
        rows[y % 5].fill(level, y, noise);
    }
    for y in margin..h - margin {
        rows[(y + 2) % 5].fill(level, y + 2, noise);
        let near: [&GradientRow; 5] = std::array::from_fn(|k| &rows[(y + k + 3) % 5]);
        let here = near[2];
        for from in (margin..w - margin).step_by(STRETCH) {
            let to = (from + STRETCH).min(w - margin);
            // Most stretches hold no edge: all their scores are compared at once.
            if !here.score[from..to].iter().fold(false, |any, &score| any | (score >= least)) {
                continue;
            }
            let is_maximum = maxima([near[1], here, near[3]], from, least);
            for x in (from..to).filter(|x| is_maximum[x - from] != 0) {
                let score = here.score[x];
                let (gx, gy) = (here.gx[x], here.gy[x]);
                let (sx, sy) = step_across(gx, gy);
                let strength = gx * gx + gy * gy;
                let along = |k: isize| {
                    let row = near[(2 + k * sx) as usize];
                    let at = (x as isize - k * sy) as usize;
                    row.gx[at] * gx + row.gy[at] * gy
                };
                if along(2) < COHERENCE * strength || along(-2) < COHERENCE * strength {
                    continue;
                }
                if holds_saturated(strength.max(level.dn[y * w + x])) {
                    continue;
                }
                let norm = strength.sqrt();
                let normal = (gx / norm, gy / norm);
                let slot = &mut best[(x / BLOCK) * DIRECTIONS + direction_bin(normal.0, normal.1)];
                if slot.is_none_or(|c| c.score < score) {
                    *slot = Some(Candidate { x: x as f32, y: y as f32, normal, score });
                }
            }
        }
        if y % BLOCK == BLOCK - 1 || y + 1 == h - margin {
            found.extend(best.iter_mut().filter_map(Option::take));
        }
    }
    found
}
