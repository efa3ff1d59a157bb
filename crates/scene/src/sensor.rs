//! From light to stored samples: electrons, noise, gain, clipping, rounding.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Poisson, StandardNormal};
use rayon::prelude::*;

use crate::truth::{HotPixel, Truth};
use crate::{Banding, Camera, Light, Raw, Recipe};

/// Renders a recipe: scene, optics, sensor.
#[must_use]
pub fn render(recipe: &Recipe) -> Raw {
    expose(recipe, &crate::light(recipe))
}

/// Exposes a sensor to light that was rendered before (for several exposures of one view). The recipe's scene, optics
/// and size must be those the light was made with; they are only written down.
///
/// # Panics
/// Where the light's size is not the recipe's.
#[must_use]
pub fn expose(recipe: &Recipe, light: &Light) -> Raw {
    assert_eq!((light.width, light.height), (recipe.width, recipe.height), "light and recipe differ in size");
    let camera = &recipe.camera;
    let (width, height) = (recipe.full_width(), recipe.full_height());
    let spp = camera.filter.samples_per_pixel();
    let iso = recipe.exposure.iso;
    let sensor = Sensor {
        camera,
        gain: camera.gain_at(iso),
        noise_dn: camera.read_noise_dn_at(iso),
        electrons_at_white: camera.saturation_e_at(iso) * recipe.exposure.white_ev.exp2(),
        rows: lines(camera.row_banding, height, recipe.seed ^ 0x0052_4f57),
        columns: lines(camera.column_banding, width, recipe.seed ^ 0x0043_4f4c),
        hot: hot_pixels(recipe),
        dark_columns: dark_columns(camera, width),
    };
    let mut values = vec![0.0f32; width * height * spp];
    let clipped: Vec<Vec<bool>> =
        values.par_chunks_mut(width * spp).enumerate().map(|(y, row)| sensor.row(recipe, light, y, row)).collect();
    if camera.smoothing > 0.0 {
        smooth(recipe, &mut values);
    }
    let table = camera.coded_bits.map(|bits| code_table(camera, bits));
    let top = camera.saturation_dn.min((1u32 << camera.bits) - 1) as f32;
    let samples: Vec<u16> = values
        .par_iter()
        .map(|&v| {
            let sample = v.round().clamp(0.0, top) as u16;
            table.as_ref().map_or(sample, |t| t[nearest(t, sample)])
        })
        .collect();
    drop(values);
    let truth = Truth::new(recipe, light, &samples, &clipped, &sensor.rows, &sensor.columns, sensor.hot.clone());
    Raw { samples, width, height, recipe: recipe.clone(), code_table: table, truth }
}

struct Sensor<'a> {
    camera: &'a Camera,
    gain: f64,
    noise_dn: f64,
    electrons_at_white: f64,
    rows: Vec<f64>,
    columns: Vec<f64>,
    hot: Vec<HotPixel>,
    /// Fixed offsets of the columns, electrons.
    dark_columns: Vec<f64>,
}

impl Sensor<'_> {
    /// Fills one row of the full frame with values before rounding; returns which samples' mean signal is at or above
    /// saturation. Every row has its own stream of random numbers, so the order of the rows does not matter.
    fn row(&self, recipe: &Recipe, light: &Light, y: usize, row: &mut [f32]) -> Vec<bool> {
        let camera = self.camera;
        let spp = light.samples_per_pixel;
        let border = camera.border;
        let mut rng = stream(recipe.seed, y as u64);
        let mut pattern = stream(camera.sensor_seed ^ 0x5052_4e55, y as u64);
        let mut dark = stream(camera.sensor_seed ^ 0x4453_4e55, y as u64);
        let inside_row = y >= border.top && y < border.top + recipe.height;
        let glow_reach = 0.2 * recipe.full_width() as f64;
        let corner_y = (recipe.full_height() - 1 - y) as f64;
        let mut clipped = vec![false; row.len()];
        let mut hot = self.hot.iter().filter(|h| h.y == y).peekable();
        for x in 0..row.len() / spp {
            let inside = inside_row && x >= border.left && x < border.left + recipe.width;
            let glow = if camera.glow_e > 0.0 {
                let corner_x = (recipe.full_width() - 1 - x) as f64;
                camera.glow_e * (-corner_x.hypot(corner_y) / glow_reach).exp()
            } else {
                0.0
            };
            let extra = match hot.peek() {
                Some(h) if h.x == x => {
                    let added = h.added_e;
                    hot.next();
                    added
                }
                _ => 0.0,
            };
            for s in 0..spp {
                let i = x * spp + s;
                let mut mean_e = glow + extra;
                if inside {
                    let at = ((y - border.top) * light.width + x - border.left) * spp + s;
                    mean_e += f64::from(light.samples[at]) * self.electrons_at_white * self.sensitivity(&mut pattern);
                }
                let black = camera.black_at(x, y, s);
                let ceiling_e = (f64::from(camera.saturation_dn) - black) * self.gain;
                clipped[i] = inside && mean_e >= ceiling_e.min(camera.full_well_e);
                let electrons = poisson(mean_e, &mut rng).min(camera.full_well_e);
                let noise: f64 = StandardNormal.sample(&mut rng);
                let value = black + electrons / self.gain + noise * self.noise_dn + self.rows[y] + self.columns[x];
                let still_e = self.dark_columns[x] + spread(camera.dark_spread_e, &mut dark);
                row[i] = (value + still_e / self.gain) as f32;
            }
        }
        clipped
    }

    fn sensitivity(&self, pattern: &mut ChaCha8Rng) -> f64 {
        if self.camera.prnu_pct == 0.0 {
            return 1.0;
        }
        let z: f64 = StandardNormal.sample(pattern);
        1.0 + z * self.camera.prnu_pct / 100.0
    }
}

/// A normal number of that spread; none is drawn for none.
fn spread(deviation: f64, rng: &mut ChaCha8Rng) -> f64 {
    if deviation == 0.0 {
        return 0.0;
    }
    let z: f64 = StandardNormal.sample(rng);
    deviation * z
}

/// Offsets of the columns that stand still, electrons: the same in every frame of one camera.
fn dark_columns(camera: &Camera, width: usize) -> Vec<f64> {
    let mut rng = stream(camera.sensor_seed ^ 0x0044_434f, 0);
    (0..width).map(|_| spread(camera.dark_columns_e, &mut rng)).collect()
}

fn stream(seed: u64, index: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(index);
    rng
}

/// Poisson numbers. From 300 on by the Cornish-Fisher expansion of a normal number, whose mean, variance (1e-4) and
/// skewness are those of the Poisson law.
fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> f64 {
    if mean <= 0.0 {
        0.0
    } else if mean >= 300.0 {
        let z: f64 = StandardNormal.sample(rng);
        (mean + mean.sqrt() * z + (z * z - 1.0) / 6.0).round()
    } else {
        Poisson::new(mean).map_or(mean, |p| p.sample(rng))
    }
}

/// Offsets of the rows or columns.
fn lines(banding: Banding, count: usize, seed: u64) -> Vec<f64> {
    let mut rng = stream(seed, 0);
    let phase: f64 = rng.random_range(0.0..std::f64::consts::TAU);
    (0..count)
        .map(|i| {
            let z: f64 = StandardNormal.sample(&mut rng);
            let wave = if banding.periodic_dn != 0.0 && banding.period_px > 0.0 {
                (std::f64::consts::TAU * i as f64 / banding.period_px + phase).sin()
            } else {
                0.0
            };
            let has_one = banding.one_in <= 1 || rng.random_ratio(1, banding.one_in);
            f64::from(u8::from(has_one)) * banding.random_dn * z + banding.periodic_dn * wave
        })
        .collect()
}

/// Places and strengths of the hot pixels, in row order: from 5 to 80 % of the range at this ISO.
fn hot_pixels(recipe: &Recipe) -> Vec<HotPixel> {
    let camera = &recipe.camera;
    let mut rng = stream(camera.sensor_seed ^ 0x0048_4f54, 0);
    let saturation_e = camera.saturation_e_at(recipe.exposure.iso);
    let mut hot: Vec<HotPixel> = Vec::new();
    while hot.len() < camera.hot_pixels.min(recipe.width * recipe.height / 4) {
        let x = rng.random_range(0..recipe.width) + camera.border.left;
        let y = rng.random_range(0..recipe.height) + camera.border.top;
        let share: f64 = rng.random_range(0.05..0.8);
        if !hot.iter().any(|h| (h.x, h.y) == (x, y)) {
            hot.push(HotPixel { x, y, added_e: share * saturation_e });
        }
    }
    hot.sort_by_key(|h| (h.y, h.x));
    hot
}

/// Blurs every plane of the active area by a Gaussian over the plane's own samples.
fn smooth(recipe: &Recipe, values: &mut [f32]) {
    let camera = &recipe.camera;
    let spp = camera.filter.samples_per_pixel();
    let (width, height) = (recipe.full_width(), recipe.full_height());
    let (dx, dy) = (camera.filter.columns, camera.filter.rows);
    let sigma = camera.smoothing;
    let reach = (3.0 * sigma).ceil() as i64;
    let weights: Vec<f32> = (-reach..=reach).map(|i| (-(i * i) as f64 / (2.0 * sigma * sigma)).exp() as f32).collect();
    let b = camera.border;
    let (x1, y1) = ((b.left + recipe.width) as i64, (b.top + recipe.height) as i64);
    let pass = |from: &[f32], to: &mut [f32], step_x: i64, step_y: i64| {
        to.par_chunks_mut(width * spp).enumerate().for_each(|(y, row)| {
            for i in 0..row.len() {
                let x = (i / spp) as i64;
                let inside = y >= b.top && (y as i64) < y1 && x >= b.left as i64 && x < x1;
                let own = from[y * width * spp + i];
                if !inside {
                    row[i] = own;
                    continue;
                }
                let (mut sum, mut total) = (0.0, 0.0);
                for (k, weight) in (-reach..=reach).zip(&weights) {
                    let (sx, sy) = (x + k * step_x, y as i64 + k * step_y);
                    if sx >= b.left as i64 && sx < x1 && sy >= b.top as i64 && sy < y1 {
                        sum += weight * from[(sy as usize * width + sx as usize) * spp + i % spp];
                        total += weight;
                    }
                }
                row[i] = sum / total;
            }
        });
    };
    let mut between = vec![0.0; width * height * spp];
    pass(values, &mut between, dx as i64, 0);
    pass(&between, values, 0, dy as i64);
}

/// A linearisation table: code to linear DN, square root above black.
fn code_table(camera: &Camera, bits: u32) -> Vec<u16> {
    let codes = 1usize << bits;
    let top = f64::from(camera.white_declared_dn);
    // Linear below a knee, then quadratic, as compressing cameras do.
    let knee = codes / 8;
    (0..codes)
        .map(|c| {
            if c <= knee {
                return c as u16;
            }
            let t = (c - knee) as f64;
            let span = (codes - 1 - knee) as f64;
            let curve = (top - knee as f64 - span) / (span * span);
            (knee as f64 + t + curve * t * t).round() as u16
        })
        .collect()
}

/// Index of the entry nearest to a sample; the table rises.
pub(crate) fn nearest(table: &[u16], sample: u16) -> usize {
    let i = table.partition_point(|&t| t < sample).min(table.len() - 1);
    if i > 0 && sample.abs_diff(table[i - 1]) < sample.abs_diff(table[i]) { i - 1 } else { i }
}
