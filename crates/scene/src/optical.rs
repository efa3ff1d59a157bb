//! From the scene to the light that each photosite receives.
//!
//! The scene is painted with exact area coverage on a grid several times finer than the sensor, tile by tile with a
//! halo. A tile is transformed, multiplied by the closed-form transfer function of the optics and by that of the sum
//! of the cells of a pixel (so the square pixel is integrated exactly), folded to the sensor's grid, and transformed
//! back. What remains is the scene's energy beyond the fine grid's Nyquist frequency (2 cycles/px at 4 cells), which
//! any point spread of 0.3 px or more attenuates below a thousandth.

use rawassay_fourier::{Complex32, Complex64, Fft};
use rayon::prelude::*;
use std::f64::consts::PI;
use std::sync::Arc;

use crate::geometry::{CellShape, Shape};
use crate::{Layer, Motion, Optics, PointSpread, Recipe};

/// Light on the active area: for every sample (row by row, `samples_per_pixel` per pixel) the radiance behind its
/// filter, where 1.0 is a white surface seen through the green filter.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Columns of the active area.
    pub width: usize,
    /// Rows of the active area.
    pub height: usize,
    /// Samples per pixel.
    pub samples_per_pixel: usize,
    /// Radiances.
    pub samples: Vec<f32>,
}

/// The light on the sensor.
#[must_use]
pub fn light(recipe: &Recipe) -> Light {
    let layers = crate::scenes::build(recipe);
    light_of(recipe, &layers)
}

/// The light on the sensor for layers built elsewhere (from the farthest to the nearest).
#[must_use]
pub fn light_of(recipe: &Recipe, layers: &[Layer]) -> Light {
    let spp = recipe.camera.filter.samples_per_pixel();
    let (width, height) = (recipe.width, recipe.height);
    let mut samples = vec![0.0f32; width * height * spp];
    let halo = layers.iter().map(|l| reach(&recipe.optics, l)).fold(0.0, f64::max).ceil().clamp(4.0, 96.0) as usize;
    let plan = Plan::new(width, height, halo, recipe.oversampling.clamp(2, 8));
    let prepared: Vec<Prepared<'_>> = layers.iter().map(|l| Prepared::new(recipe, l, &plan)).collect();
    samples.par_chunks_mut(plan.step * width * spp).enumerate().for_each(|(band, rows)| {
        let mut work = Work::new(&plan);
        for column in 0..plan.columns {
            work.tile(recipe, &plan, &prepared, column, band);
            work.store(recipe, &plan, column, band, rows);
        }
    });
    Light { width, height, samples_per_pixel: spp, samples }
}

fn reach(optics: &Optics, layer: &Layer) -> f64 {
    let field = optics.curvature_px.abs() + optics.tilt_px[0].abs() + optics.tilt_px[1].abs();
    let widest = PointSpread {
        sigma_px: optics.sigma_px.hypot(optics.corner_sigma_px),
        defocus_px: optics.defocus_px.abs() + field + layer.defocus_px,
        motion: optics.motion.clone(),
        diffraction: optics.diffraction,
    };
    let lateral = optics.lateral_px[0].abs().max(optics.lateral_px[1].abs());
    widest.reach_px() + layer.motion.as_ref().map_or(0.0, Motion::reach_px) + lateral + 2.0
}

/// Tiles: `step` px apart, `side` px wide with their halos, `cells` cells wide.
struct Plan {
    halo: usize,
    step: usize,
    side: usize,
    scale: usize,
    cells: usize,
    columns: usize,
    rows: usize,
    forward: Arc<dyn Fft<f32>>,
    backward: Arc<dyn Fft<f32>>,
}

impl Plan {
    fn new(width: usize, height: usize, halo: usize, scale: usize) -> Self {
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
    fn origin(&self, column: usize, row: usize) -> (f64, f64) {
        let at = |i: usize| (i * self.step) as f64 - self.halo as f64;
        (at(column), at(row))
    }

    /// Frequency of index `k` of the fine grid, cycles per pixel.
    fn frequency(&self, k: usize) -> f64 {
        let n = self.cells as isize;
        let k = k as isize;
        let k = if 2 * k > n { k - n } else { k };
        k as f64 / self.side as f64
    }
}

/// A layer with its shapes sorted into tiles and its direction-dependent transfer functions.
struct Prepared<'a> {
    layer: &'a Layer,
    by_tile: Vec<Vec<u32>>,
    /// Movement and pixel by fine frequency, `[kx * cells + ky]`; with a spread that is the same all over, that too.
    path: Vec<Complex32>,
    /// Columns `kx` below this and from `cells` minus this on let something pass.
    live: usize,
}

/// Radial transfer function as a table over the frequency.
struct Radial {
    table: Vec<f32>,
    per_cycle: f32,
}

impl Radial {
    fn new(spread: &PointSpread, top: f64) -> Self {
        const STEPS: usize = 4096;
        let per_cycle = (STEPS - 2) as f64 / top;
        let table = (0..STEPS).map(|i| spread.radial_otf(i as f64 / per_cycle) as f32).collect();
        Self { table, per_cycle: per_cycle as f32 }
    }

    #[inline]
    fn at(&self, f: f32) -> f32 {
        let x = f * self.per_cycle;
        let i = x as usize;
        let t = x - i as f32;
        self.table[i] * (1.0 - t) + self.table[i + 1] * t
    }
}

impl<'a> Prepared<'a> {
    fn new(recipe: &Recipe, layer: &'a Layer, plan: &Plan) -> Self {
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
fn top_frequency(plan: &Plan) -> f64 {
    plan.scale as f64 / 2.0 * 1.4143
}

/// The point spread of a layer at a place (`u`, `v` from -1 to 1), without movement.
fn layer_spread(recipe: &Recipe, layer: &Layer, u: f64, v: f64) -> PointSpread {
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
fn path_table(plan: &Plan, motions: &[&Motion]) -> Vec<Complex32> {
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

/// Buffers of one thread.
struct Work {
    /// Red and green, blue and cover, as real and imaginary parts on the fine grid.
    fine: [Vec<Complex32>; 2],
    turned: Vec<Complex32>,
    line: Vec<[f32; 3]>,
    scratch: Vec<Complex32>,
    coarse: [Vec<Complex32>; 2],
    coarse_turned: Vec<Complex32>,
    corners: Vec<[Vec<Complex32>; 2]>,
    /// Composed red, green, blue of the tile with its halo.
    tile: Vec<[f32; 3]>,
}

impl Work {
    fn new(plan: &Plan) -> Self {
        let zero = Complex32::default();
        let fine = plan.cells * plan.cells;
        let coarse = plan.side * plan.side;
        let scratch = plan.forward.get_inplace_scratch_len().max(plan.backward.get_inplace_scratch_len());
        Self {
            fine: [vec![zero; fine], vec![zero; fine]],
            turned: vec![zero; fine],
            line: vec![[0.0; 3]; plan.cells],
            scratch: vec![zero; scratch],
            coarse: [vec![zero; coarse], vec![zero; coarse]],
            coarse_turned: vec![zero; coarse],
            corners: Vec::new(),
            tile: vec![[0.0; 3]; coarse],
        }
    }

    /// Paints, blurs and composes one tile into `self.tile`.
    fn tile(&mut self, recipe: &Recipe, plan: &Plan, layers: &[Prepared<'_>], column: usize, row: usize) {
        let index = row * plan.columns + column;
        for (depth, prepared) in layers.iter().enumerate() {
            let shapes = visible(prepared, index, plan, column, row);
            if shapes.is_empty() {
                if depth == 0 {
                    self.tile.fill([0.0; 3]);
                }
                continue;
            }
            if let [only] = shapes[..]
                && covers(only, plan, column, row)
                && only.paint.is_smooth()
            {
                self.smooth(plan, only, column, row);
                continue;
            }
            self.paint(plan, &shapes, column, row);
            for k in 0..2 {
                self.transform(plan, k, prepared.live);
            }
            if recipe.optics.varies() {
                self.fold_varying(recipe, plan, prepared, column, row);
            } else {
                for (fine, coarse) in self.fine.iter().zip(&mut self.coarse) {
                    fold(plan, fine, &prepared.path, prepared.live, coarse);
                }
                self.backward(plan);
            }
            let [red_green, blue_cover] = &self.coarse;
            for ((out, rg), bc) in self.tile.iter_mut().zip(red_green).zip(blue_cover) {
                let behind = if depth == 0 { 0.0 } else { 1.0 - bc.im.clamp(0.0, 1.0) };
                *out = [out[0] * behind + rg.re, out[1] * behind + rg.im, out[2] * behind + bc.re];
            }
        }
    }

    /// A tile that one smooth surface fills: blur changes nothing.
    fn smooth(&mut self, plan: &Plan, shape: &Shape, column: usize, row: usize) {
        let (x0, y0) = plan.origin(column, row);
        for (y, line) in self.tile.chunks_mut(plan.side).enumerate() {
            for (x, out) in line.iter_mut().enumerate() {
                *out = shape.paint.at((x0 + x as f64 + 0.5) as f32, (y0 + y as f64 + 0.5) as f32);
            }
        }
    }

    fn paint(&mut self, plan: &Plan, shapes: &[&Shape], column: usize, row: usize) {
        let n = plan.cells;
        let [red_green, blue_cover] = &mut self.fine;
        red_green.fill(Complex32::default());
        blue_cover.fill(Complex32::default());
        let (x0, y0) = plan.origin(column, row);
        let scale = plan.scale as f64;
        for shape in shapes {
            let cell = CellShape::new(&shape.outline, x0, y0, scale);
            let (top, bottom) = cell.rows(n);
            for y in top..bottom {
                let span = cell.span(y, n);
                let rg = &mut red_green[y * n..(y + 1) * n];
                let bc = &mut blue_cover[y * n..(y + 1) * n];
                let py = (y0 + (y as f64 + 0.5) / scale) as f32;
                let px = |x: usize| (x0 + (x as f64 + 0.5) / scale) as f32;
                let flat = shape.paint.of_row(py);
                let (left, right) = (span.whole.0, span.whole.1.max(span.whole.0));
                for x in (span.touched.0..left).chain(right..span.touched.1) {
                    let [r, g, b] = flat.unwrap_or_else(|| shape.paint.at(px(x), py));
                    let share = cell.coverage(x, y) as f32;
                    rg[x] = rg[x] * (1.0 - share) + Complex32::new(r, g) * share;
                    bc[x] = bc[x] * (1.0 - share) + Complex32::new(b, 1.0) * share;
                }
                if let Some([r, g, b]) = flat {
                    rg[left..right].fill(Complex32::new(r, g));
                    bc[left..right].fill(Complex32::new(b, 1.0));
                } else {
                    let line = &mut self.line[left..right];
                    shape.paint.fill_row(px(left), py, 1.0 / plan.scale as f32, line);
                    for (([r, g, b], rg), bc) in line.iter().zip(&mut rg[left..right]).zip(&mut bc[left..right]) {
                        *rg = Complex32::new(*r, *g);
                        *bc = Complex32::new(*b, 1.0);
                    }
                }
            }
        }
    }

    /// Transforms a fine buffer; the result is `[kx * cells + ky]`, in the columns that let something pass.
    fn transform(&mut self, plan: &Plan, k: usize, live: usize) {
        let n = plan.cells;
        plan.forward.process_with_scratch(&mut self.fine[k], &mut self.scratch);
        for columns in [0..live, n - live..n] {
            transpose(&self.fine[k], &mut self.turned, n, columns.clone());
            let part = &mut self.turned[columns.start * n..columns.end * n];
            plan.forward.process_with_scratch(part, &mut self.scratch);
        }
        std::mem::swap(&mut self.fine[k], &mut self.turned);
    }

    /// Transforms the folded spectra back to the sensor's grid, by row.
    fn backward(&mut self, plan: &Plan) {
        let scale = 1.0 / (plan.cells * plan.cells) as f32;
        for k in 0..2 {
            plan.backward.process_with_scratch(&mut self.coarse[k], &mut self.scratch);
            transpose(&self.coarse[k], &mut self.coarse_turned, plan.side, 0..plan.side);
            plan.backward.process_with_scratch(&mut self.coarse_turned, &mut self.scratch);
            for value in &mut self.coarse_turned {
                *value *= scale;
            }
            std::mem::swap(&mut self.coarse[k], &mut self.coarse_turned);
        }
    }

    /// With a point spread that varies: the tile blurred as at each of its four corners, blended between them.
    fn fold_varying(&mut self, recipe: &Recipe, plan: &Plan, prepared: &Prepared<'_>, column: usize, row: usize) {
        let (w, h) = (recipe.width as f64, recipe.height as f64);
        let mut corners = std::mem::take(&mut self.corners);
        corners.clear();
        for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let (x, y) = (((column + dx) * plan.step) as f64, ((row + dy) * plan.step) as f64);
            let (u, v) = (2.0 * x / w - 1.0, 2.0 * y / h - 1.0);
            let radial = Radial::new(&layer_spread(recipe, prepared.layer, u, v), top_frequency(plan));
            // Outward shift grows with the distance from the middle, full at the corner.
            let half = w.hypot(h) / 2.0;
            let outward = |px: f64| [px * (x - w / 2.0) / half, px * (y - h / 2.0) / half];
            let [red, blue] = recipe.optics.lateral_px;
            let shift = [outward(red), [0.0; 2], outward(blue)];
            for k in 0..2 {
                fold_shifted(plan, &self.fine[k], &prepared.path, &radial, shift, k, &mut self.coarse[k]);
            }
            self.backward(plan);
            corners.push(self.coarse.clone());
        }
        for y in 0..plan.side {
            let v = ((y as f32 + 0.5 - plan.halo as f32) / plan.step as f32).clamp(0.0, 1.0);
            for x in 0..plan.side {
                let u = ((x as f32 + 0.5 - plan.halo as f32) / plan.step as f32).clamp(0.0, 1.0);
                let i = y * plan.side + x;
                for (k, coarse) in self.coarse.iter_mut().enumerate() {
                    coarse[i] = (corners[0][k][i] * (1.0 - u) + corners[1][k][i] * u) * (1.0 - v)
                        + (corners[2][k][i] * (1.0 - u) + corners[3][k][i] * u) * v;
                }
            }
        }
        self.corners = corners;
    }

    /// Writes the inner part of the tile behind the filters.
    fn store(&self, recipe: &Recipe, plan: &Plan, column: usize, row: usize, out: &mut [f32]) {
        let spp = recipe.camera.filter.samples_per_pixel();
        let border = recipe.camera.border;
        let first = column * plan.step;
        let columns = plan.step.min(recipe.width - first);
        for (y, line) in out.chunks_mut(recipe.width * spp).enumerate() {
            let from = &self.tile[(y + plan.halo) * plan.side + plan.halo..];
            for x in 0..columns {
                for s in 0..spp {
                    let letter =
                        recipe.camera.filter.letter_at(first + x + border.left, row * plan.step + y + border.top, s);
                    let weights = recipe.camera.sensitivity(letter);
                    let value: f64 = (0..3).map(|c| weights[c] * f64::from(from[x][c])).sum();
                    line[(first + x) * spp + s] = value.max(0.0) as f32;
                }
            }
        }
    }
}

/// Shapes that can be seen in a tile: those behind one that covers the whole tile are left out.
fn visible<'a>(prepared: &Prepared<'a>, index: usize, plan: &Plan, column: usize, row: usize) -> Vec<&'a Shape> {
    let all = &prepared.by_tile[index];
    let shapes = &prepared.layer.shapes;
    let first = all.iter().rposition(|&i| covers(&shapes[i as usize], plan, column, row)).unwrap_or(0);
    all[first..].iter().map(|&i| &shapes[i as usize]).collect()
}

fn covers(shape: &Shape, plan: &Plan, column: usize, row: usize) -> bool {
    let (x0, y0) = plan.origin(column, row);
    let cell = CellShape::new(&shape.outline, x0, y0, 1.0);
    if matches!(cell, CellShape::All) {
        return true;
    }
    // Outlines are convex: the first and last row tell.
    [0, plan.side - 1].into_iter().all(|y| {
        let (top, bottom) = cell.rows(plan.side);
        y >= top && y < bottom && cell.span(y, plan.side).whole == (0, plan.side)
    })
}

/// Multiplies a spectrum by a transfer function and folds it to the sensor's grid.
fn fold(plan: &Plan, fine: &[Complex32], otf: &[Complex32], live: usize, out: &mut [Complex32]) {
    let (n, m) = (plan.cells, plan.side);
    out.fill(Complex32::default());
    for kx in (0..live).chain(n - live..n) {
        let into = &mut out[(kx % m) * m..(kx % m + 1) * m];
        let columns = fine[kx * n..(kx + 1) * n].chunks_exact(m).zip(otf[kx * n..(kx + 1) * n].chunks_exact(m));
        for (spectrum, otf) in columns {
            for ((sum, value), factor) in into.iter_mut().zip(spectrum).zip(otf) {
                *sum += value * factor;
            }
        }
    }
}

/// The same with a radial transfer function beside `path` and a shift of each colour. `pair` 0 holds red and green,
/// 1 blue and cover; the symmetry of real signals' spectra separates the two.
fn fold_shifted(
    plan: &Plan,
    fine: &[Complex32],
    path: &[Complex32],
    radial: &Radial,
    shift: [[f64; 2]; 3],
    pair: usize,
    out: &mut [Complex32],
) {
    let (n, m) = (plan.cells, plan.side);
    out.fill(Complex32::default());
    let (first, second) = if pair == 0 { (shift[0], shift[1]) } else { (shift[2], shift[1]) };
    let wave = |p: f64| -> Vec<Complex32> {
        let at = |k| Complex64::from_polar(1.0, -2.0 * PI * plan.frequency(k) * p);
        (0..n).map(at).map(|c| Complex32::new(c.re as f32, c.im as f32)).collect()
    };
    let [ax, ay, bx, by] = [wave(first[0]), wave(first[1]), wave(second[0]), wave(second[1])];
    let frequencies: Vec<f32> = (0..n).map(|k| plan.frequency(k) as f32).collect();
    // The Nyquist column does not pass.
    for kx in (0..n / 2).chain(n / 2 + 1..n) {
        let fx2 = frequencies[kx] * frequencies[kx];
        let into = &mut out[(kx % m) * m..(kx % m + 1) * m];
        let opposite = &fine[((n - kx) % n) * n..((n - kx) % n + 1) * n];
        for ky in 0..n {
            let f = (fx2 + frequencies[ky] * frequencies[ky]).sqrt();
            let here = fine[kx * n + ky];
            let there = opposite[(n - ky) % n].conj();
            let a = (here + there) * 0.5;
            // i times the second signal's spectrum.
            let b = (here - there) * 0.5;
            into[ky % m] += (a * ax[kx] * ay[ky] + b * bx[kx] * by[ky]) * path[kx * n + ky] * radial.at(f);
        }
    }
}

/// Transposes some columns of a square, in blocks that fit the cache.
fn transpose(from: &[Complex32], to: &mut [Complex32], n: usize, columns: std::ops::Range<usize>) {
    const BLOCK: usize = 16;
    for by in (0..n).step_by(BLOCK) {
        for bx in columns.clone().step_by(BLOCK) {
            for x in bx..(bx + BLOCK).min(columns.end) {
                for y in by..(by + BLOCK).min(n) {
                    to[x * n + y] = from[y * n + x];
                }
            }
        }
    }
}
