//! The point spread of lens, focus and movement, as an optical transfer function (OTF).
//!
//! Every part is given by its closed form; together they are the product. Frequencies are cycles per sensor pixel,
//! `fx` to the right and `fy` down.

use rawassay_fourier::Complex64;
use serde::Serialize;
use std::f64::consts::PI;

/// Movement of the image during the exposure.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(rename_all = "snake_case", tag = "path")]
pub enum Motion {
    /// None.
    #[default]
    None,
    /// At constant speed along a straight line.
    Straight {
        /// Length of the path, px.
        length_px: f64,
        /// Direction, degrees anticlockwise from the horizontal as seen (y up), 0 <= angle < 180.
        direction_deg: f64,
    },
    /// At constant speed along an arc of a circle.
    Arc {
        /// Length of the path, px.
        length_px: f64,
        /// Direction of the chord, degrees anticlockwise from the horizontal as seen.
        direction_deg: f64,
        /// By how much the direction of travel turns from the first to the last moment, degrees.
        turn_deg: f64,
    },
    /// To and fro along a straight line in a sine (a vibrating camera): it dwells at both ends.
    Vibration {
        /// From end to end, px.
        length_px: f64,
        /// Direction, degrees anticlockwise from the horizontal as seen.
        direction_deg: f64,
    },
    /// Equal times at each of many points (x right, y down, px).
    Path(Vec<[f64; 2]>),
}

impl Motion {
    /// The places of the image over the exposure, equal times apart, mean at the origin (x right, y down, px).
    #[must_use]
    pub fn points(&self) -> Vec<[f64; 2]> {
        const STEPS: usize = 192;
        let unit = |deg: f64| {
            let (sin, cos) = deg.to_radians().sin_cos();
            [cos, -sin]
        };
        let middle = |i: usize| (i as f64 + 0.5) / STEPS as f64;
        let raw: Vec<[f64; 2]> = match self {
            Self::None => vec![[0.0, 0.0]],
            Self::Straight { length_px, direction_deg } => {
                let [ux, uy] = unit(*direction_deg);
                (0..STEPS).map(|i| (middle(i) - 0.5) * length_px).map(|s| [s * ux, s * uy]).collect()
            }
            Self::Vibration { length_px, direction_deg } => {
                let [ux, uy] = unit(*direction_deg);
                (0..STEPS).map(|i| -(PI * middle(i)).cos() * length_px / 2.0).map(|s| [s * ux, s * uy]).collect()
            }
            Self::Arc { length_px, direction_deg, turn_deg } => {
                let mut at = [0.0, 0.0];
                let step = length_px / STEPS as f64;
                (0..STEPS)
                    .map(|i| {
                        let [ux, uy] = unit(direction_deg + turn_deg * (middle(i) - 0.5));
                        let here = [at[0] + ux * step / 2.0, at[1] + uy * step / 2.0];
                        at = [at[0] + ux * step, at[1] + uy * step];
                        here
                    })
                    .collect()
            }
            Self::Path(points) if points.is_empty() => vec![[0.0, 0.0]],
            Self::Path(points) => points.clone(),
        };
        let n = raw.len() as f64;
        let mean = [raw.iter().map(|p| p[0]).sum::<f64>() / n, raw.iter().map(|p| p[1]).sum::<f64>() / n];
        raw.into_iter().map(|p| [p[0] - mean[0], p[1] - mean[1]]).collect()
    }

    /// Its transfer function.
    #[must_use]
    pub fn otf(&self, fx: f64, fy: f64) -> Complex64 {
        match self {
            Self::None => Complex64::new(1.0, 0.0),
            Self::Straight { length_px, direction_deg } => {
                let (sin, cos) = direction_deg.to_radians().sin_cos();
                Complex64::new(sinc(length_px * (fx * cos - fy * sin)), 0.0)
            }
            Self::Vibration { length_px, direction_deg } => {
                let (sin, cos) = direction_deg.to_radians().sin_cos();
                Complex64::new(bessel_j0(PI * length_px * (fx * cos - fy * sin)), 0.0)
            }
            Self::Arc { .. } | Self::Path(_) => {
                let points = self.points();
                let n = points.len() as f64;
                points.iter().map(|p| Complex64::from_polar(1.0 / n, -2.0 * PI * (fx * p[0] + fy * p[1]))).sum()
            }
        }
    }

    /// Length of a straight path of equal spread along the main direction, and that direction (degrees anticlockwise
    /// as seen, 0 <= angle < 180): what a measurement of direction and length should find. `(0, 0)` for none.
    #[must_use]
    pub fn straight_equivalent(&self) -> (f64, f64) {
        match self {
            Self::None => (0.0, 0.0),
            Self::Straight { length_px, direction_deg } => (*length_px, direction_deg.rem_euclid(180.0)),
            _ => {
                let points = self.points();
                let n = points.len() as f64;
                let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
                for [x, y] in points {
                    let y = -y;
                    xx += x * x / n;
                    xy += x * y / n;
                    yy += y * y / n;
                }
                let mean = (xx + yy) / 2.0;
                let spread = ((xx - yy) / 2.0).hypot(xy);
                let angle = (0.5 * (2.0 * xy).atan2(xx - yy)).to_degrees().rem_euclid(180.0);
                ((12.0 * (mean + spread)).sqrt(), angle)
            }
        }
    }

    /// Largest distance of the path from its mean, px.
    #[must_use]
    pub fn reach_px(&self) -> f64 {
        self.points().iter().map(|p| p[0].hypot(p[1])).fold(0.0, f64::max)
    }
}

/// A perfect lens of finite aperture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Diffraction {
    /// f-number.
    pub f_number: f64,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// Wavelength, um, the same for all colours.
    pub wavelength_um: f64,
}

impl Diffraction {
    /// Wavelength times f-number, in pixels: the reciprocal of the frequency above which nothing passes.
    #[must_use]
    pub fn lambda_n_px(&self) -> f64 {
        self.wavelength_um * self.f_number / self.pitch_um
    }

    fn otf(&self, f: f64) -> f64 {
        let v = f * self.lambda_n_px();
        if v >= 1.0 { 0.0 } else { 2.0 / PI * (v.acos() - v * (1.0 - v * v).sqrt()) }
    }
}

/// How lens, focus and movement spread the image of the scene's plane of focus.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Optics {
    /// Standard deviation of a Gaussian spread (aberrations, sensor glass), px.
    pub sigma_px: f64,
    /// More Gaussian spread at the corner, px, in quadrature, growing with the square of the distance from the middle.
    pub corner_sigma_px: f64,
    /// Radius of the defocus disc in the middle, px.
    pub defocus_px: f64,
    /// Curvature of field: defocus that is added (signed) at the corner, px, growing with the square of the distance.
    pub curvature_px: f64,
    /// Tilt: defocus that is added (signed) at the right and bottom border, px; taken away at the left and top.
    pub tilt_px: [f64; 2],
    /// Movement.
    pub motion: Motion,
    /// Diffraction.
    pub diffraction: Option<Diffraction>,
    /// Lateral colour: outward shift of red and blue at the corner, px, growing with the distance from the middle.
    pub lateral_px: [f64; 2],
}

impl Optics {
    /// A Gaussian of `sigma_px` and nothing else.
    #[must_use]
    pub fn gaussian(sigma_px: f64) -> Self {
        Self { sigma_px, ..Self::default() }
    }

    /// True where the spread is not the same all over the frame.
    #[must_use]
    pub fn varies(&self) -> bool {
        self.corner_sigma_px != 0.0
            || self.curvature_px != 0.0
            || self.tilt_px != [0.0, 0.0]
            || self.lateral_px != [0.0, 0.0]
    }

    /// The spread at a place; `u`, `v` run from -1 at the left and top border of the active area to 1.
    #[must_use]
    pub fn at(&self, u: f64, v: f64, aspect: f64) -> PointSpread {
        // Distance from the middle, 1 at the corner; `aspect` is height over width.
        let rho2 = (u * u + v * v * aspect * aspect) / (1.0 + aspect * aspect);
        PointSpread {
            sigma_px: self.sigma_px.hypot(self.corner_sigma_px * rho2),
            defocus_px: (self.defocus_px + self.curvature_px * rho2 + self.tilt_px[0] * u + self.tilt_px[1] * v).abs(),
            motion: self.motion.clone(),
            diffraction: self.diffraction,
        }
    }
}

/// The point spread at one place of the frame.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct PointSpread {
    /// Standard deviation of the Gaussian part, px.
    pub sigma_px: f64,
    /// Radius of the defocus disc, px.
    pub defocus_px: f64,
    /// Movement.
    pub motion: Motion,
    /// Diffraction.
    pub diffraction: Option<Diffraction>,
}

impl PointSpread {
    /// The part that is the same in all directions, at frequency `f` (cycles/px).
    #[must_use]
    pub fn radial_otf(&self, f: f64) -> f64 {
        let gaussian = (-2.0 * PI * PI * self.sigma_px * self.sigma_px * f * f).exp();
        let x = 2.0 * PI * self.defocus_px * f;
        let disc = if x < 1e-4 { 1.0 } else { 2.0 * bessel_j1(x) / x };
        gaussian * disc * self.diffraction.map_or(1.0, |d| d.otf(f))
    }

    /// The transfer function without the pixel.
    #[must_use]
    pub fn otf(&self, fx: f64, fy: f64) -> Complex64 {
        self.motion.otf(fx, fy) * self.radial_otf(fx.hypot(fy))
    }

    /// How far light is thrown that still matters, px.
    #[must_use]
    pub fn reach_px(&self) -> f64 {
        let airy = self.diffraction.map_or(0.0, |d| 5.0 * d.lambda_n_px());
        4.5 * self.sigma_px + self.defocus_px + self.motion.reach_px() + airy
    }

    /// 10-90 % rise (px) and MTF50 (cycles/px) across an edge whose normal points in `normal_deg` (anticlockwise as
    /// seen), the square pixel (100 % fill) included. From the closed-form transfer function by numeric inversion:
    /// within 0.01 px.
    #[must_use]
    pub fn edge(&self, normal_deg: f64) -> EdgeTruth {
        let (sin, cos) = normal_deg.to_radians().sin_cos();
        let (nx, ny) = (cos, -sin);
        system_edge(|f| self.otf(f * nx, f * ny) * (sinc(f * nx) * sinc(f * ny)), normal_deg)
    }
}

/// What a perfect measurement of an edge would find.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeTruth {
    /// Direction of the edge's normal, degrees anticlockwise as seen.
    pub normal_deg: f64,
    /// 10-90 % rise, px, pixel included.
    pub rise_px: f64,
    /// Frequency at which the contrast falls to half, cycles/px, pixel included.
    pub mtf50_cy_px: f64,
    /// Standard deviation of the line spread, px, pixel included. `None` where it does not exist (diffraction).
    pub spread_px: Option<f64>,
}

/// Edge rise and MTF50 from the one-dimensional transfer function across the edge.
fn system_edge(otf: impl Fn(f64) -> Complex64, normal_deg: f64) -> EdgeTruth {
    // Line spread on a grid of 1/64 px over 256 px by the inverse transform; a Gaussian of 0.02 px tames the ringing
    // of box-shaped spreads.
    const PER_PX: f64 = 64.0;
    const N: usize = 16384;
    let df = PER_PX / N as f64;
    let mut spectrum = vec![Complex64::default(); N];
    for k in 0..N / 2 {
        let f = k as f64 * df;
        let value = otf(f) * (-2.0 * PI * PI * 0.0004 * f * f).exp();
        // Half a turn per step puts the origin in the middle of the grid.
        let value = if k % 2 == 0 { value } else { -value };
        spectrum[k] = value;
        if k > 0 {
            spectrum[N - k] = value.conj();
        }
    }
    rawassay_fourier::inverse64(N).process(&mut spectrum);
    let line: Vec<f64> = spectrum.iter().map(|c| c.re).collect();
    let total: f64 = line.iter().sum();
    let crossing = |level: f64| {
        let mut sum = 0.0;
        for (i, v) in line.iter().enumerate() {
            let next = sum + v / total;
            if next >= level {
                return i as f64 + (level - sum) / (next - sum);
            }
            sum = next;
        }
        N as f64
    };
    let rise_px = (crossing(0.9) - crossing(0.1)) / PER_PX;
    let mut mtf50_cy_px = f64::NAN;
    let (mut last_f, mut last) = (0.0, 1.0);
    for i in 1..40_000 {
        let f = f64::from(i) * 1e-4;
        let value = otf(f).norm();
        if value < 0.5 {
            mtf50_cy_px = last_f + (f - last_f) * (last - 0.5) / (last - value);
            break;
        }
        (last_f, last) = (f, value);
    }
    // Second moment from the curvature of the transfer function at zero.
    let h = 1e-3;
    let curvature = (2.0 - 2.0 * otf(h).norm()) / (h * h);
    let far = (2.0 - 2.0 * otf(2.0 * h).norm()) / (4.0 * h * h);
    let exists = (curvature - far).abs() < 0.02 * curvature.abs();
    EdgeTruth { normal_deg, rise_px, mtf50_cy_px, spread_px: exists.then(|| curvature.sqrt() / (2.0 * PI)) }
}

/// sin(pi x) / (pi x).
pub(crate) fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

/// Bessel function J0 by its integral (trapezoid rule on a period: exact to rounding).
pub(crate) fn bessel_j0(x: f64) -> f64 {
    let n = 32 + x.abs() as usize;
    (0..n).map(|i| (x * (PI * (i as f64 + 0.5) / n as f64).sin()).cos()).sum::<f64>() / n as f64
}

/// Bessel function J1 by its integral.
pub(crate) fn bessel_j1(x: f64) -> f64 {
    let n = 32 + x.abs() as usize;
    (0..n)
        .map(|i| {
            let t = PI * (i as f64 + 0.5) / n as f64;
            (t - x * t.sin()).cos()
        })
        .sum::<f64>()
        / n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, expected: f64, tolerance: f64) {
        assert!((value - expected).abs() <= tolerance, "{value} is not {expected} within {tolerance}");
    }

    /// Source: Abramowitz and Stegun, table 9.1.
    #[test]
    fn bessel_functions_match_the_handbook() {
        close(bessel_j0(1.0), 0.765_197_686_6, 1e-9);
        close(bessel_j1(1.0), 0.440_050_585_7, 1e-9);
        close(bessel_j1(10.0), 0.043_472_746_2, 1e-9);
        close(bessel_j0(10.0), -0.245_935_764_5, 1e-9);
    }

    /// Source: closed forms of ISO 12233-style edge measures (Gaussian and pixel together, computed).
    #[test]
    fn gaussian_and_pixel_have_their_known_mtf50() {
        for (sigma, mtf50) in [(0.3, 0.44234), (0.5, 0.32309), (0.8, 0.22012), (1.5, 0.12267)] {
            let edge = PointSpread { sigma_px: sigma, ..Default::default() }.edge(0.0);
            close(edge.mtf50_cy_px, mtf50, 2e-5);
            close(edge.spread_px.unwrap_or(0.0), (sigma * sigma + 1.0 / 12.0_f64).sqrt(), 1e-3);
        }
    }

    /// Source: closed forms: pixel alone 0.8 px; wide Gaussian, long motion and wide disc, where the pixel is small.
    #[test]
    fn rises_match_closed_forms() {
        close(PointSpread::default().edge(0.0).rise_px, 0.8, 0.01);
        let wide = PointSpread { sigma_px: 3.0, ..Default::default() }.edge(0.0);
        close(wide.rise_px, 2.5631 * (9.0 + 1.0 / 12.0_f64).sqrt(), 0.01);
        let disc = PointSpread { defocus_px: 12.0, ..Default::default() }.edge(0.0);
        close(disc.rise_px, 1.37410 * 12.0, 0.08);
        close(disc.mtf50_cy_px, 0.35254 / 12.0, 1e-4);
        let motion = Motion::Straight { length_px: 20.0, direction_deg: 30.0 };
        let moved = PointSpread { motion: motion.clone(), ..Default::default() };
        close(moved.edge(30.0).rise_px, 16.0, 0.06);
        close(moved.edge(120.0).rise_px, PointSpread::default().edge(120.0).rise_px, 0.01);
        close(motion.straight_equivalent().1, 30.0, 1e-9);
        let lens = Diffraction { f_number: 32.0, pitch_um: 2.0, wavelength_um: 0.55 };
        let airy = PointSpread { diffraction: Some(lens), ..Default::default() }.edge(0.0);
        close(airy.rise_px, 1.33287 * lens.lambda_n_px(), 0.12);
        close(airy.mtf50_cy_px, 0.40397 / lens.lambda_n_px(), 2e-4);
        assert!(airy.spread_px.is_none(), "the Airy pattern has no second moment");
    }

    #[test]
    fn a_path_has_the_transfer_function_of_its_closed_form() {
        let straight = Motion::Straight { length_px: 7.0, direction_deg: 20.0 };
        let path = Motion::Path(straight.points());
        let arc = Motion::Arc { length_px: 7.0, direction_deg: 20.0, turn_deg: 0.0 };
        for (fx, fy) in [(0.05, 0.02), (0.1, -0.03), (-0.2, 0.1)] {
            close((straight.otf(fx, fy) - path.otf(fx, fy)).norm(), 0.0, 1e-4);
            close((straight.otf(fx, fy) - arc.otf(fx, fy)).norm(), 0.0, 1e-4);
        }
        let (length, angle) = path.straight_equivalent();
        close(length, 7.0, 0.01);
        close(angle, 20.0, 1e-6);
    }
}
