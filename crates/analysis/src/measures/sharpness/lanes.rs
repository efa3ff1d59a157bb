//! Functions in single precision that the compiler turns into loops over many numbers at once.
//!
//! Each is one straight line of arithmetic, without a branch or a call. Good to about 3e-7 (sines: absolute, exp and ln:
//! relative or absolute, whichever is larger), over the range that is named.

use std::f32::consts::{LN_2, LOG2_E, PI};

/// Adding 1.5 * 2^23 leaves the nearest whole number in the low bits of a single-precision number.
const WHOLE: f32 = 12_582_912.0;

/// The nearest whole number, for |x| < 2^21.
#[inline(always)]
pub(super) fn nearest(x: f32) -> f32 {
    (x + WHOLE) - WHOLE
}

/// e^x for x from -80 to 80.
#[inline(always)]
pub(super) fn exp(x: f32) -> f32 {
    let shifted = x * LOG2_E + WHOLE;
    let rest = (x * LOG2_E - (shifted - WHOLE)) * LN_2;
    let series = 1.0
        + rest
            * (1.0
                + rest
                    * (0.5 + rest * (1.0 / 6.0 + rest * (1.0 / 24.0 + rest * (1.0 / 120.0 + rest * (1.0 / 720.0))))));
    let power = shifted.to_bits().wrapping_sub(WHOLE.to_bits()).wrapping_add(127) << 23;
    series * f32::from_bits(power)
}

/// ln x for normal positive numbers: 2 artanh((m - 1) / (m + 1)) of the mantissa m, from sqrt(1/2) to sqrt(2).
#[inline(always)]
pub(super) fn ln(x: f32) -> f32 {
    const HALF_ROOT: u32 = std::f32::consts::FRAC_1_SQRT_2.to_bits();
    let power = (x.to_bits().wrapping_sub(HALF_ROOT) as i32) >> 23;
    let m = f32::from_bits(x.to_bits().wrapping_sub((power as u32) << 23));
    let s = (m - 1.0) / (m + 1.0);
    let s2 = s * s;
    let series = 2.0 * s * (1.0 + s2 * (1.0 / 3.0 + s2 * (1.0 / 5.0 + s2 * (1.0 / 7.0 + s2 * (1.0 / 9.0)))));
    power as f32 * LN_2 + series
}

/// sin(pi x) up to its sign, for |x| < 2^21.
#[inline(always)]
pub(super) fn sin_pi_unsigned(x: f32) -> f32 {
    let y = PI * (x - nearest(x));
    let y2 = y * y;
    let series = 1.0
        + y2 * (-1.0 / 6.0
            + y2 * (1.0 / 120.0 + y2 * (-1.0 / 5040.0 + y2 * (1.0 / 362_880.0 + y2 * (-1.0 / 39_916_800.0)))));
    y * series
}

/// (sin(pi x) / (pi x))^2.
#[inline(always)]
pub(super) fn sinc_squared(x: f32) -> f32 {
    let y2 = (PI * x) * (PI * x);
    let s = sin_pi_unsigned(x);
    if y2 < 1e-6 { 1.0 - y2 / 3.0 } else { s * s / y2 }
}

/// (2 J1(x) / x)^2, the power of a disc's transfer function; the same approximations as in [`super::psf`].
#[allow(clippy::excessive_precision, reason = "the coefficients as they are printed")]
#[inline(always)]
pub(super) fn disc_squared(x: f32) -> f32 {
    let a = x.abs();
    let q = a * a / 9.0;
    let near = 0.5
        + q * (-0.562_499_85
            + q * (0.210_935_73 + q * (-0.039_542_89 + q * (0.004_433_19 + q * (-0.000_317_61 + q * 0.000_011_09)))));
    let far = a.max(3.0);
    let q = 3.0 / far;
    let amplitude = 0.797_884_56
        + q * (0.000_001_56
            + q * (0.016_596_67 + q * (0.000_171_05 + q * (-0.002_495_11 + q * (0.001_136_53 - q * 0.000_200_33)))));
    let phase = far - 2.356_194_5
        + q * (0.124_996_12
            + q * (0.000_056_5 + q * (-0.006_378_79 + q * (0.000_743_48 + q * (0.000_798_24 - q * 0.000_291_66)))));
    let cos = sin_pi_unsigned(phase / PI + 0.5);
    let beyond = amplitude * amplitude * cos * cos / (far * far * far);
    4.0 * if a <= 3.0 { near * near } else { beyond }
}

#[cfg(test)]
mod tests {
    use super::super::psf;
    use super::*;

    #[test]
    fn as_the_functions_in_double_precision() {
        for i in -40_000..=40_000_i32 {
            let x = i as f32 * 0.001_7;
            let wide = f64::from(x);
            assert!((f64::from(exp(x)) / wide.exp() - 1.0).abs() < 4e-6, "exp {x}: {}", exp(x));
            let sine = (std::f64::consts::PI * wide).sin();
            assert!((f64::from(sin_pi_unsigned(x)).abs() - sine.abs()).abs() < 1e-5, "sine {x}");
            assert!((f64::from(sinc_squared(x)) - psf::sinc(wide).powi(2)).abs() < 1e-6, "sinc {x}");
            let disc = psf::disc(1.0, wide / std::f64::consts::TAU).powi(2);
            assert!((f64::from(disc_squared(x)) - disc).abs() < 1e-6, "disc {x}: {} {disc}", disc_squared(x));
            let positive = wide.exp() as f32;
            let error = (f64::from(ln(positive)) - f64::from(positive).ln()).abs();
            assert!(error < 1e-6 * f64::from(positive).ln().abs().max(1.0), "ln {positive}");
        }
    }
}
