//! From the scene to the light that each photosite receives.
//!
//! The scene is painted with exact area coverage on a grid several times finer than the sensor, tile by tile with a
//! halo. A tile is transformed, multiplied by the closed-form transfer function of the optics and by that of the sum
//! of the cells of a pixel (so the square pixel is integrated exactly), folded to the sensor's grid, and transformed
//! back. What remains is the scene's energy beyond the fine grid's Nyquist frequency (2 cycles/px at 4 cells), which
//! any point spread of 0.3 px or more attenuates below a thousandth.

use rawassay_fourier::Complex32;
use rayon::prelude::*;

use crate::fold::{fold, fold_shifted, transpose};
use crate::geometry::{CellShape, Shape};
use crate::tiling::{Plan, Prepared, Radial, layer_spread, top_frequency};
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
