//! The point spread that the measures are read from: a Gaussian (lens), a straight box (motion), a disc (defocus) and
//! the square pixel, by their closed-form transfer functions.
//!
//! Sources: references in docs/measures.md; the Bessel function after Abramowitz and Stegun 9.4.4 and 9.4.6.

use std::f64::consts::PI;

/// 10-90 % rise of a perfect lens over wavelength times f-number.
pub(super) const AIRY_RISE: f64 = 1.33287;
/// 10-90 % rise of a Gaussian edge spread, standard deviations.
pub const GAUSSIAN_RISE: f64 = 2.563_103_131;

/// Widths of the parts of a point spread, sensor pixels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PointSpread {
    /// Standard deviation of the Gaussian part.
    pub sigma_px: f64,
    /// Length of a straight uniform motion.
    pub motion_px: f64,
    /// Direction of the motion, degrees anticlockwise from the x axis (y up).
    pub motion_deg: f64,
    /// Radius of the defocus disc.
    pub defocus_px: f64,
    /// Diffraction: wavelength times f-number over the pixel pitch (cutoff at one over it). 0 where it is left out.
    pub airy_px: f64,
}

/// Variance of the Gaussian whose 10-90 % rise is that of a perfect lens, over the square of wavelength times f-number:
/// (1.33287 / 2.5631)^2. The variance of the Airy pattern itself has no bound.
const AIRY_VARIANCE: f64 = 0.270_42;

/// sin(pi x) / (pi x).
#[must_use]
pub fn sinc(x: f64) -> f64 {
    let y = PI * x;
    if y.abs() < 1e-6 { 1.0 - y * y / 6.0 } else { y.sin() / y }
}

/// Bessel function J1.
fn bessel_j1(x: f64) -> f64 {
    let a = x.abs();
    let value = if a <= 3.0 {
        let q = (a / 3.0).powi(2);
        a * (0.5
            + q * (-0.562_499_85
                + q * (0.210_935_73
                    + q * (-0.039_542_89 + q * (0.004_433_19 + q * (-0.000_317_61 + q * 0.000_011_09))))))
    } else {
        let q = 3.0 / a;
        let amplitude = 0.797_884_56
            + q * (0.000_001_56
                + q * (0.016_596_67
                    + q * (0.000_171_05 + q * (-0.002_495_11 + q * (0.001_136_53 - q * 0.000_200_33)))));
        let phase = a - 2.356_194_49
            + q * (0.124_996_12
                + q * (0.000_056_50
                    + q * (-0.006_378_79 + q * (0.000_743_48 + q * (0.000_798_24 - q * 0.000_291_66)))));
        amplitude * phase.cos() / a.sqrt()
    };
    value * x.signum()
}

/// Transfer function of a uniform disc of radius `r` at `f`: 2 J1(2 pi r f) / (2 pi r f).
#[must_use]
pub fn disc(r: f64, f: f64) -> f64 {
    let x = 2.0 * PI * r * f;
    if x.abs() < 1e-4 { 1.0 - x * x / 8.0 } else { 2.0 * bessel_j1(x) / x }
}

/// Transfer function of a perfect lens at `v` times its cutoff frequency: 2/pi (acos v - v sqrt(1 - v^2)).
#[must_use]
pub fn airy(v: f64) -> f64 {
    let v = v.min(1.0);
    2.0 / PI * (v.acos() - v * (1.0 - v * v).sqrt())
}

impl PointSpread {
    /// Transfer function at `f` cycles per pixel across an edge with its normal at `deg` degrees, pixel included.
    /// Signed: negative between nulls.
    #[must_use]
    pub fn transfer(&self, f: f64, deg: f64) -> f64 {
        let (s, c) = deg.to_radians().sin_cos();
        self.optics(f, deg) * sinc(f * c) * sinc(f * s)
    }

    fn optics(&self, f: f64, deg: f64) -> f64 {
        let along = (deg - self.motion_deg).to_radians().cos();
        let gauss = (-2.0 * (PI * self.sigma_px * f).powi(2)).exp();
        gauss * sinc(self.motion_px * along * f) * disc(self.defocus_px, f) * airy(self.airy_px * f)
    }

    /// Variance of the line spread across an edge with its normal at `deg`, pixel included, px^2 (of diffraction: that
    /// of the Gaussian with the same rise).
    #[must_use]
    pub fn variance(&self, deg: f64) -> f64 {
        let along = (deg - self.motion_deg).to_radians().cos();
        let round = self.sigma_px.powi(2) + self.defocus_px.powi(2) / 4.0 + AIRY_VARIANCE * self.airy_px.powi(2);
        round + (self.motion_px * along).powi(2) / 12.0 + 1.0 / 12.0
    }

    /// Edge spread (0..1) at distance `t` px from the edge.
    #[must_use]
    pub fn edge_spread(&self, deg: f64) -> EdgeSpread {
        let spread = self.variance(deg).sqrt();
        // A square wave so long that neighbouring edges do not meet: diffraction has long tails.
        let half_period = if self.airy_px > 0.0 { 40.0 } else { 10.0 } * spread;
        let mut terms = Vec::new();
        for k in (1..400).step_by(2) {
            let f = f64::from(k) / (2.0 * half_period);
            terms.push(2.0 / PI / f64::from(k) * self.transfer(f, deg));
            if (-2.0 * (PI * self.sigma_px.max(0.05) * f).powi(2)).exp() < 1e-7 {
                break;
            }
        }
        EdgeSpread { half_period, terms, spread }
    }

    /// 10-90 % rise of an edge with its normal at `deg`, pixel included, px.
    #[must_use]
    pub fn rise_px(&self, deg: f64) -> f64 {
        let edge = self.edge_spread(deg);
        // The spread is symmetric: from the middle up to 90 %, twice.
        let (mut low, mut high) = (0.0, 4.0 * edge.spread);
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if edge.at(middle) < 0.9 { low = middle } else { high = middle }
        }
        low + high
    }

    /// Standard deviation of the blurred step that fits the edge spread best within the reach of an edge's window: what
    /// the measure of a single edge reads.
    #[must_use]
    pub fn fitted_sigma_px(&self) -> f64 {
        let edge = self.edge_spread(0.0);
        let reach = (2.6 * edge.spread + 1.3).clamp(3.0, 8.5);
        let levels: Vec<(f64, f64)> =
            (-40..=40).map(|k| reach * f64::from(k) / 40.0).map(|t| (t, edge.at(t))).collect();
        // Odd about one half: one factor is free, the step's height.
        let misfit = |sigma: f64| {
            let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
            for &(t, level) in &levels {
                let x = 0.5 * super::erf::erf(t / sigma / std::f64::consts::SQRT_2);
                let y = level - 0.5;
                xx += x * x;
                xy += x * y;
                yy += y * y;
            }
            yy - xy * xy / xx
        };
        let (mut low, mut high) = (0.2 * edge.spread, 3.0 * edge.spread);
        for _ in 0..40 {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if misfit(a) < misfit(b) { high = b } else { low = a }
        }
        f64::midpoint(low, high)
    }

    /// Lowest frequency at which the motion or the disc leaves nothing, cycles per pixel: 1 / L and 0.60983 / r.
    #[must_use]
    pub fn first_null_cy_px(&self) -> f64 {
        (1.0 / self.motion_px).min(DISC_NULL / self.defocus_px)
    }

    /// Lowest frequency at which the transfer falls to `share`, cycles per pixel; looked for up to 2 cycles per pixel.
    #[must_use]
    pub fn frequency_at(&self, share: f64, deg: f64) -> Option<f64> {
        let step = 0.002_f64.min(0.02 / self.variance(deg).sqrt());
        let mut f = 0.0;
        while f < 2.0 {
            if self.transfer(f + step, deg) < share {
                let (mut low, mut high) = (f, f + step);
                for _ in 0..40 {
                    let middle = f64::midpoint(low, high);
                    if self.transfer(middle, deg) > share { low = middle } else { high = middle }
                }
                return Some(f64::midpoint(low, high));
            }
            f += step;
        }
        None
    }
}

/// An edge spread as a sum of sines.
pub struct EdgeSpread {
    half_period: f64,
    terms: Vec<f64>,
    spread: f64,
}

impl EdgeSpread {
    /// Value (0..1) at `t` px from the edge.
    #[must_use]
    pub fn at(&self, t: f64) -> f64 {
        let x = PI * t / self.half_period;
        let mut sum = 0.5;
        for (k, term) in self.terms.iter().enumerate() {
            sum += term * ((2 * k + 1) as f64 * x).sin();
        }
        sum
    }
}

/// First zero of a disc's transfer function: frequency times radius (that of J1, 3.83171, over 2 pi).
pub const DISC_NULL: f64 = 0.609_835;

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, tolerance: f64, what: &str) {
        assert!((value / expected - 1.0).abs() < tolerance, "{what}: {value} against {expected}");
    }

    #[test]
    fn rises_of_the_plain_shapes() {
        // 2.5631 sigma, 0.8 L and 1.37410 r, wide enough for the pixel and the least Gaussian not to matter.
        let gauss = PointSpread { sigma_px: 20.0, ..PointSpread::default() };
        near(gauss.rise_px(0.0), 2.5631 * 20.0, 1e-3, "Gaussian");
        let motion = PointSpread { sigma_px: 0.3, motion_px: 60.0, ..PointSpread::default() };
        near(motion.rise_px(0.0), 0.8 * 60.0, 2e-3, "motion");
        let disc = PointSpread { sigma_px: 0.3, defocus_px: 40.0, ..PointSpread::default() };
        near(disc.rise_px(30.0), 1.37410 * 40.0, 2e-3, "disc");
        let pixel = PointSpread { sigma_px: 0.05, ..PointSpread::default() };
        near(pixel.rise_px(0.0), 0.8, 0.02, "pixel");
    }

    #[test]
    fn a_perfect_lens_has_its_known_rise_and_half() {
        // 1.33287 w N / pitch, and half the contrast at 0.40397 / (w N / pitch) (closed forms of the incoherent transfer).
        let lens = PointSpread { airy_px: 20.0, ..PointSpread::default() };
        near(lens.rise_px(0.0), 1.33287 * 20.0, 0.01, "rise");
        near(airy(0.40397), 0.5, 1e-4, "half");
        // A blurred step fitted within a window misses the long tails.
        let share = GAUSSIAN_RISE * lens.fitted_sigma_px() / lens.rise_px(0.0);
        assert!((0.75..0.97).contains(&share), "{share}");
        let gauss = PointSpread { sigma_px: 2.0, ..PointSpread::default() };
        near(gauss.fitted_sigma_px(), (4.0_f64 + 1.0 / 12.0).sqrt(), 2e-3, "of a Gaussian its own");
    }

    #[test]
    fn nulls_and_halves() {
        let motion = PointSpread { motion_px: 10.0, ..PointSpread::default() };
        assert!(motion.transfer(0.1, 0.0).abs() < 1e-9, "first null at 1/L");
        assert!(disc(5.0, 0.60983 / 5.0).abs() < 1e-4, "first null at 0.60983/r");
        near(disc(5.0, 0.35254 / 5.0), 0.5, 1e-3, "half at 0.35254/r");
        near(sinc(0.60335), 0.5, 1e-4, "half of a pixel");
        // Across the motion nothing is smeared.
        near(motion.variance(90.0), 1.0 / 12.0, 1e-9, "variance across");
        near(motion.variance(0.0), 100.0 / 12.0 + 1.0 / 12.0, 1e-9, "variance along");
    }
}
