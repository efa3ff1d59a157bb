//! The cumulative normal distribution, exact and as a table for the inner loop of the edge fit.

use std::sync::LazyLock;

/// Error function, Abramowitz and Stegun 7.1.26; absolute error below 1.5e-7.
pub(crate) fn erf(x: f64) -> f64 {
    let t = 1.0 / 0.327_591_1_f64.mul_add(x.abs(), 1.0);
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - poly * (-x * x).exp()).copysign(x)
}

/// Half-width of the table, standard deviations.
const REACH: f32 = 6.0;
/// Entries per standard deviation.
const STEPS: f32 = 64.0;

static TABLE: LazyLock<Vec<[f32; 2]>> = LazyLock::new(|| {
    let n = (2.0 * REACH * STEPS) as usize + 2;
    (0..n)
        .map(|i| {
            let z = f64::from(i as f32 / STEPS - REACH);
            let cumulative = 0.5 * (1.0 + erf(z / std::f64::consts::SQRT_2));
            let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
            [cumulative as f32, density as f32]
        })
        .collect()
});

/// Cumulative normal distribution and its density by linear interpolation; error below 4e-5.
pub(crate) struct Normal(&'static [[f32; 2]]);

impl Normal {
    pub(crate) fn new() -> Self {
        Self(&TABLE)
    }

    /// Cumulative value and density at `z`.
    #[inline]
    pub(crate) fn at(&self, z: f32) -> (f32, f32) {
        let place = (z + REACH).clamp(0.0, 2.0 * REACH) * STEPS;
        let index = (place as usize).min(self.0.len() - 2);
        let part = place - index as f32;
        let (a, b) = (self.0[index], self.0[index + 1]);
        (a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_distribution_at_known_places() {
        // Phi(1.281552) = 0.9, Phi(1.959964) = 0.975 (any table of the normal distribution).
        let normal = Normal::new();
        for (z, p) in [(0.0, 0.5), (1.281_552, 0.9), (1.959_964, 0.975), (-1.281_552, 0.1), (-9.0, 0.0), (9.0, 1.0)] {
            assert!((normal.at(z).0 - p).abs() < 5e-5, "Phi({z})");
        }
    }
}
