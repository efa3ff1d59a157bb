//! The tiles of a picture, and what is worked out once for all of them: which shapes reach into each, and the transfer
//! functions.

use std::f64::consts::PI;
use std::sync::Arc;

use rawassay_fourier::{Complex32, Complex64, Fft};
use rayon::prelude::*;

use crate::{Layer, Motion, PointSpread, Recipe};

/// Tiles: `step` px apart, `side` px wide with their halos, `cells` cells wide.
pub(crate) struct Plan {
    pub(crate) halo: usize,
    pub(crate) step: usize,
    pub(crate) side: usize,
    pub(crate) scale: usize,
    pub(crate) cells: usize,
    pub(crate) columns: usize,
    pub(crate) rows: usize,
    pub(crate) forward: Arc<dyn Fft<f32>>,
    pub(crate) backward: Arc<dyn Fft<f32>>,
}

impl Plan {
    pub(crate) fn new(width: usize, height: usize, halo: usize, scale: usize) -> Self {
        // The side that costs least, from those with quick transforms.
        let sides = [64, 96, 128, 160, 192, 256, 288, 320, 384, 512];
        let cost = |side: usize| {
            let step = side - 2 * halo;
            let tiles = width.div_ceil(step) * height.div_ceil(step);
            let cells = (side * scale) as f64;
            // Larger transforms fall out of the caches.
            tiles as f64 * cells * cells * (cells.log2() + if side * scale > 1100 { 6.0 } else { 0.0 })
        };
        let side = sides
            .into_iter()
            .filter(|&side| side >= 2 * halo + 16)
            .min_by(|&a, &b| cost(a).total_cmp(&cost(b)))
            .unwrap_or(512);
        let step = side - 2 * halo;
        Self {
            halo,
            step,
            side,
            scale,
            cells: side * scale,
            columns: width.div_ceil(step),
            rows: height.div_ceil(step),
            forward: rawassay_fourier::forward(side * scale),
            backward: rawassay_fourier::inverse(side),
        }
    }

    /// Left and top of a tile with its halo, px.
    pub(crate) fn origin(&self, column: usize, row: usize) -> (f64, f64) {
        let at = |i: usize| (i * self.step) as f64 - self.halo as f64;
        (at(column), at(row))
    }

    /// Frequency of index `k` of the fine grid, cycles per pixel.
    pub(crate) fn frequency(&self, k: usize) -> f64 {
        let n = self.cells as isize;
        let k = k as isize;
        let k = if 2 * k > n { k - n } else { k };
        k as f64 / self.side as f64
    }
}

/// A layer with its shapes sorted into tiles and its direction-dependent transfer functions.
pub(crate) struct Prepared<'a> {
    pub(crate) layer: &'a Layer,
    pub(crate) by_tile: Vec<Vec<u32>>,
    /// Movement and pixel by fine frequency, `[kx * cells + ky]`; with a spread that is the same all over, that too.
    pub(crate) path: Vec<Complex32>,
    /// Columns `kx` below this and from `cells` minus this on let something pass.
    pub(crate) live: usize,
}

/// Radial transfer function as a table over the frequency.
pub(crate) struct Radial {
    pub(crate) table: Vec<f32>,
    pub(crate) per_cycle: f32,
}

impl Radial {
    pub(crate) fn new(spread: &PointSpread, top: f64) -> Self {
        const STEPS: usize = 4096;
        let per_cycle = (STEPS - 2) as f64 / top;
        let table = (0..STEPS).map(|i| spread.radial_otf(i as f64 / per_cycle) as f32).collect();
        Self { table, per_cycle: per_cycle as f32 }
    }

    #[inline]
    pub(crate) fn at(&self, f: f32) -> f32 {
        let x = f * self.per_cycle;
        let i = x as usize;
        let t = x - i as f32;
        self.table[i] * (1.0 - t) + self.table[i + 1] * t
    }
}

impl<'a> Prepared<'a> {
    pub(crate) fn new(recipe: &Recipe, layer: &'a Layer, plan: &Plan) -> Self {
        let mut by_tile = vec![Vec::new(); plan.columns * plan.rows];
        for (i, shape) in layer.shapes.iter().enumerate() {
            let (mut x, mut y) = ((0, plan.columns), (0, plan.rows));
            if let Some([left, top, right, bottom]) = shape.bounds() {
                let first = |lo: f64| {
                    // The first tile whose right border with halo lies right of `lo`.
                    let edge = lo - 1.0 - (plan.side - plan.halo) as f64;
                    (edge / plan.step as f64).ceil().max(0.0) as usize
                };
                let end = |hi: f64, n: usize| {
                    let edge = hi + 1.0 + plan.halo as f64;
                    ((edge / plan.step as f64).floor() + 1.0).clamp(0.0, n as f64) as usize
                };
                x = (first(left), end(right, plan.columns));
                y = (first(top), end(bottom, plan.rows));
            }
            for row in y.0..y.1 {
                for column in x.0..x.1 {
                    by_tile[row * plan.columns + column].push(i as u32);
                }
            }
        }
        let motions: Vec<&Motion> = std::iter::once(&recipe.optics.motion)
            .chain(layer.motion.as_ref())
            .filter(|m| **m != Motion::None)
            .collect();
        let mut path = path_table(plan, &motions);
        let n = plan.cells;
        let mut live = n / 2;
        if !recipe.optics.varies() {
            let radial = Radial::new(&layer_spread(recipe, layer, 0.0, 0.0), top_frequency(plan));
            path.par_chunks_mut(n).enumerate().for_each(|(kx, column)| {
                let fx = plan.frequency(kx) as f32;
                for (ky, value) in column.iter_mut().enumerate() {
                    *value *= radial.at(fx.hypot(plan.frequency(ky) as f32));
                }
            });
            // What passes less than 1e-5 of the contrast is left out.
            let passes = |kx: usize| path[kx * n..(kx + 1) * n].iter().any(|v| v.norm_sqr() > 1e-10);
            live = (1..n / 2).rev().find(|&k| passes(k) || passes(n - k)).unwrap_or(0) + 1;
        }
        Self { layer, by_tile, path, live: live.min(n / 2) }
    }
}

/// The highest radial frequency of the fine grid, with a margin.
pub(crate) fn top_frequency(plan: &Plan) -> f64 {
    plan.scale as f64 / 2.0 * 1.4143
}

/// The point spread of a layer at a place (`u`, `v` from -1 to 1), without movement.
pub(crate) fn layer_spread(recipe: &Recipe, layer: &Layer, u: f64, v: f64) -> PointSpread {
    let aspect = recipe.height as f64 / recipe.width as f64;
    let mut spread = recipe.optics.at(u, v, aspect);
    if layer.defocus_px != 0.0 {
        let signed = recipe.optics.defocus_px + layer.defocus_px;
        let field = recipe.optics.at(u, v, aspect).defocus_px - recipe.optics.defocus_px.abs();
        spread.defocus_px = (signed + field).abs();
    }
    spread.motion = Motion::None;
    spread
}

/// Movement and the sum over the cells of a pixel, at every frequency of the fine grid, `[kx * cells + ky]`.
pub(crate) fn path_table(plan: &Plan, motions: &[&Motion]) -> Vec<Complex32> {
    let n = plan.cells;
    // Mean of the `scale` cells that follow each cell.
    let pixel: Vec<Complex64> = (0..n)
        .map(|k| {
            let turn = 2.0 * PI * k as f64 / n as f64;
            (0..plan.scale).map(|j| Complex64::from_polar(1.0 / plan.scale as f64, turn * j as f64)).sum()
        })
        .collect();
    let mut table: Vec<Complex64> = vec![Complex64::default(); n * n];
    for (kx, column) in table.chunks_mut(n).enumerate() {
        for (ky, value) in column.iter_mut().enumerate() {
            *value = pixel[kx] * pixel[ky];
        }
    }
    for motion in motions {
        match motion {
            Motion::None => {}
            Motion::Arc { .. } | Motion::Path(_) => {
                // One separable wave per moment.
                let points = motion.points();
                let wave = |p: f64| -> Vec<Complex64> {
                    (0..n).map(|k| Complex64::from_polar(1.0, -2.0 * PI * plan.frequency(k) * p)).collect()
                };
                let waves: Vec<(Vec<Complex64>, Vec<Complex64>)> =
                    points.iter().map(|p| (wave(p[0]), wave(p[1]))).collect();
                let share = 1.0 / points.len() as f64;
                table.par_chunks_mut(n).enumerate().for_each(|(kx, column)| {
                    let mut sum = vec![Complex64::default(); n];
                    for (wx, wy) in &waves {
                        let at = wx[kx];
                        for (s, w) in sum.iter_mut().zip(wy) {
                            *s += at * w;
                        }
                    }
                    for (value, s) in column.iter_mut().zip(sum) {
                        *value *= s * share;
                    }
                });
            }
            _ => table.par_chunks_mut(n).enumerate().for_each(|(kx, column)| {
                let fx = plan.frequency(kx);
                for (ky, value) in column.iter_mut().enumerate() {
                    *value *= motion.otf(fx, plan.frequency(ky));
                }
            }),
        }
    }
    // The Nyquist row and column have no partner of opposite sign: leave them out.
    for k in 0..n {
        table[n / 2 * n + k] = Complex64::default();
        table[k * n + n / 2] = Complex64::default();
    }
    table.into_iter().map(|c| Complex32::new(c.re as f32, c.im as f32)).collect()
}
