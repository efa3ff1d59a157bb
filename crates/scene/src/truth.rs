//! What a perfect measurement of a frame would find.

use serde::Serialize;

use crate::{EdgeTruth, Light, PointSpread, Recipe};

/// A hot pixel, in columns and rows of the full frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HotPixel {
    /// Column.
    pub x: usize,
    /// Row.
    pub y: usize,
    /// Electrons it adds.
    pub added_e: f64,
}

/// Truth of one plane (as a reader names them: "R" "G1" "G2" "B" ...).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaneTruth {
    /// Name.
    pub name: String,
    /// Black, DN absolute.
    pub black_dn: f64,
    /// Level at which samples pile up, DN absolute: the converter's end or the full well.
    pub saturation_dn: f64,
    /// Electrons per DN.
    pub gain_e_per_dn: f64,
    /// Read noise, DN, without banding; rounding to whole DN adds 1/12 to its square.
    pub read_noise_dn: f64,
    /// Read noise, electrons.
    pub read_noise_e: f64,
    /// Electrons at saturation.
    pub full_well_e: f64,
    /// Share of the plane's samples in the active area whose mean signal is at or above saturation, percent.
    pub clipped_signal_pct: f64,
    /// Share of the plane's stored samples at the converter's end, percent (0 where the full well limits).
    pub clipped_sample_pct: f64,
    /// Share of stored samples at or below black + one read noise, percent.
    pub floor_pct: f64,
    /// Mean of the stored samples, DN absolute.
    pub mean_dn: f64,
}

/// Truth of a frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// What it was made from.
    pub recipe: Recipe,
    /// Point spread in the middle of the frame.
    pub spread: PointSpread,
    /// Rise and MTF50 across edges whose normals lie 15 degrees apart (0, 15 ... 165), in the middle, pixel included.
    pub edges: Vec<EdgeTruth>,
    /// Length of a straight path of equal spread, px (0 without movement).
    pub motion_px: f64,
    /// Its direction, degrees anticlockwise as seen, 0 <= angle < 180.
    pub motion_deg: f64,
    /// Radius of the defocus disc in the middle, px.
    pub defocus_px: f64,
    /// Planes.
    pub planes: Vec<PlaneTruth>,
    /// Share of the filter array's whole cells (aligned to the active area) with any sample at or above saturation, by
    /// the mean signal, percent.
    pub clipped_any_pct: f64,
    /// The same for all samples of the cell.
    pub clipped_all_pct: f64,
    /// Standard deviation of the rows' offsets as drawn, DN.
    pub row_banding_dn: f64,
    /// Standard deviation of the columns' offsets as drawn, DN.
    pub column_banding_dn: f64,
    /// Hot pixels, full frame.
    pub hot_pixels: Vec<HotPixel>,
    /// Standard deviation of the samples of a plane that stands for full scale after the gain is known: true shot and
    /// read noise in DN at 12.7 % of saturation, and the signal-to-noise ratio there, dB (fixed pattern left out).
    pub snr_midtone_db: f64,
    /// 0.5 to 99.5 percentile of the radiance behind the filters, EV (planes scaled to white), noise left out.
    pub scene_range_ev: f64,
    /// Mean signal at or above saturation, by sample of the full frame.
    #[serde(skip)]
    pub clipped: Vec<bool>,
}

impl Truth {
    pub(crate) fn new(
        recipe: &Recipe,
        light: &Light,
        samples: &[u16],
        clipped_rows: &[Vec<bool>],
        rows: &[f64],
        columns: &[f64],
        hot_pixels: Vec<HotPixel>,
    ) -> Self {
        let spread = recipe.spread_at(recipe.width as f64 / 2.0, recipe.height as f64 / 2.0);
        let (motion_px, motion_deg) = spread.motion.straight_equivalent();
        let clipped: Vec<bool> = clipped_rows.concat();
        let (any, all) = cells(recipe, &clipped);
        let planes = planes(recipe, samples, &clipped);
        let midtone = planes.first().map_or(0.0, |p| {
            let signal_e = 0.127 * p.full_well_e;
            20.0 * (signal_e / (signal_e + p.read_noise_e * p.read_noise_e).sqrt()).log10()
        });
        Self {
            recipe: recipe.clone(),
            edges: (0..12).map(|i| spread.edge(f64::from(i) * 15.0)).collect(),
            motion_px,
            motion_deg,
            defocus_px: spread.defocus_px,
            spread,
            planes,
            clipped_any_pct: any,
            clipped_all_pct: all,
            row_banding_dn: deviation(rows),
            column_banding_dn: deviation(columns),
            hot_pixels,
            snr_midtone_db: midtone,
            scene_range_ev: range_ev(recipe, light),
            clipped,
        }
    }

    /// The least rise over the directions, px.
    #[must_use]
    pub fn least_rise_px(&self) -> f64 {
        self.edges.iter().map(|e| e.rise_px).fold(f64::INFINITY, f64::min)
    }

    /// The greatest rise over the directions, px.
    #[must_use]
    pub fn greatest_rise_px(&self) -> f64 {
        self.edges.iter().map(|e| e.rise_px).fold(0.0, f64::max)
    }

    /// Mean rise over the directions, px.
    #[must_use]
    pub fn mean_rise_px(&self) -> f64 {
        self.edges.iter().map(|e| e.rise_px).sum::<f64>() / self.edges.len() as f64
    }

    /// As a JSON text.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap_or_default()
    }
}

fn deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt()
}

fn planes(recipe: &Recipe, samples: &[u16], clipped: &[bool]) -> Vec<PlaneTruth> {
    let camera = &recipe.camera;
    let filter = &camera.filter;
    let (names, cells) = filter.planes();
    let spp = filter.samples_per_pixel();
    let iso = recipe.exposure.iso;
    let gain = camera.gain_at(iso);
    let read_noise_dn = camera.read_noise_dn_at(iso);
    let width = recipe.full_width();
    let b = camera.border;
    let mut sums = vec![(0u64, 0u64, 0u64, 0u64, 0u64); names.len()]; // count, signal, at end, floor, sum
    let end = camera.saturation_dn.min((1 << camera.bits) - 1) as u16;
    for y in b.top..b.top + recipe.height {
        for x in b.left..b.left + recipe.width {
            for s in 0..spp {
                let cell = if filter.linear { s } else { (y % filter.rows) * filter.columns + x % filter.columns };
                let i = (y * width + x) * spp + s;
                let sum = &mut sums[cells[cell]];
                sum.0 += 1;
                sum.1 += u64::from(clipped[i]);
                sum.2 += u64::from(samples[i] >= end);
                sum.3 += u64::from(f64::from(samples[i]) <= camera.black_at(x, y, s) + read_noise_dn);
                sum.4 += u64::from(samples[i]);
            }
        }
    }
    let black_of = |plane: usize| {
        let of: Vec<f64> = cells
            .iter()
            .enumerate()
            .filter(|(_, p)| **p == plane)
            .map(|(i, _)| if camera.black_dn.len() == 1 { camera.black_dn[0] } else { camera.black_dn[i] })
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    names
        .into_iter()
        .enumerate()
        .map(|(i, name)| {
            let black_dn = black_of(i);
            let full_well_e = ((f64::from(end) - black_dn) * gain).min(camera.full_well_e);
            let (count, signal, at_end, floor, sum) = sums[i];
            let pct = |n: u64| 100.0 * n as f64 / count.max(1) as f64;
            PlaneTruth {
                name,
                black_dn,
                saturation_dn: black_dn + full_well_e / gain,
                gain_e_per_dn: gain,
                read_noise_dn,
                read_noise_e: read_noise_dn * gain,
                full_well_e,
                clipped_signal_pct: pct(signal),
                clipped_sample_pct: pct(at_end),
                floor_pct: pct(floor),
                mean_dn: sum as f64 / count.max(1) as f64,
            }
        })
        .collect()
}

/// Shares of the array's whole cells with any and with all samples clipped, percent.
fn cells(recipe: &Recipe, clipped: &[bool]) -> (f64, f64) {
    let filter = &recipe.camera.filter;
    let spp = filter.samples_per_pixel();
    let width = recipe.full_width();
    let b = recipe.camera.border;
    let (mut any, mut all, mut count) = (0u64, 0u64, 0u64);
    for y in (0..recipe.height / filter.rows).map(|j| b.top + j * filter.rows) {
        for x in (0..recipe.width / filter.columns).map(|i| b.left + i * filter.columns) {
            let mut hits = 0;
            for dy in 0..filter.rows {
                let row = (y + dy) * width + x;
                hits += clipped[row * spp..(row + filter.columns) * spp].iter().filter(|c| **c).count();
            }
            count += 1;
            any += u64::from(hits > 0);
            all += u64::from(hits == filter.rows * filter.columns * spp);
        }
    }
    let pct = |n: u64| 100.0 * n as f64 / count.max(1) as f64;
    (pct(any), pct(all))
}

fn range_ev(recipe: &Recipe, light: &Light) -> f64 {
    let filter = &recipe.camera.filter;
    let b = recipe.camera.border;
    let mut ev: Vec<f32> = Vec::with_capacity(light.samples.len() / 7 + 1);
    for (i, value) in light.samples.iter().enumerate().step_by(7) {
        let pixel = i / light.samples_per_pixel;
        let (x, y) = (pixel % light.width + b.left, pixel / light.width + b.top);
        let white: f64 = recipe.camera.sensitivity(filter.letter_at(x, y, i % light.samples_per_pixel)).iter().sum();
        ev.push((f64::from(*value) / white).max(1e-9).log2() as f32);
    }
    ev.sort_by(f32::total_cmp);
    let at = |q: f64| f64::from(ev[((ev.len() - 1) as f64 * q) as usize]);
    at(0.995) - at(0.005)
}
