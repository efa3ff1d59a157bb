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

/// Entries, a power of two: those beyond the last step repeat the end.
const ENTRIES: usize = 1024;

/// Cumulative value, its rise to the next entry, density and its rise.
type Entry = [f32; 4];

static TABLE: LazyLock<Box<[Entry; ENTRIES]>> = LazyLock::new(|| {
    let value = |i: usize| {
        let z = f64::from((i as f32).min(2.0 * REACH * STEPS + 1.0) / STEPS - REACH);
        let cumulative = 0.5 * (1.0 + erf(z / std::f64::consts::SQRT_2));
        let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        [cumulative as f32, density as f32]
    };
    Box::new(std::array::from_fn(|i| {
        let (a, b) = (value(i), value(i + 1));
        [a[0], b[0] - a[0], a[1], b[1] - a[1]]
    }))
});

/// Cumulative normal distribution and its density by linear interpolation; error below 4e-5.
pub(crate) struct Normal(&'static [Entry; ENTRIES]);

impl Normal {
    pub(crate) fn new() -> Self {
        Self(&TABLE)
    }

    /// Cumulative value and density at `z`.
    #[inline]
    pub(crate) fn at(&self, z: f32) -> (f32, f32) {
        let place = (z + REACH).clamp(0.0, 2.0 * REACH) * STEPS;
        let index = place as usize % ENTRIES;
        let part = place - index as f32;
        let [c, c_rise, d, d_rise] = self.0[index];
        (c + part * c_rise, d + part * d_rise)
    }

    /// [`at`](Self::at) for several places at once.
    #[inline(always)]
    pub(crate) fn at_each<const N: usize>(&self, z: &[f32; N]) -> ([f32; N], [f32; N]) {
        // Adding 2^23 leaves the whole number in the low bits of a single-precision number: no conversion one by one.
        const WHOLE: f32 = 8_388_608.0;
        let place: [f32; N] = std::array::from_fn(|i| (z[i] + REACH).clamp(0.0, 2.0 * REACH) * STEPS);
        let shifted: [f32; N] = std::array::from_fn(|i| (place[i] - 0.5).max(0.0) + WHOLE);
        let part: [f32; N] = std::array::from_fn(|i| place[i] - (shifted[i] - WHOLE));
        let entries: [&Entry; N] = std::array::from_fn(|i| &self.0[shifted[i].to_bits() as usize % ENTRIES]);
        (
            std::array::from_fn(|i| entries[i][0] + part[i] * entries[i][1]),
            std::array::from_fn(|i| entries[i][2] + part[i] * entries[i][3]),
        )
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
        for i in -1000..1000 {
            let z: [f32; 3] = std::array::from_fn(|k| (i as f32 + k as f32 / 3.0) / 130.0);
            let (c, d) = normal.at_each(&z);
            for k in 0..3 {
                let (one, density) = normal.at(z[k]);
                assert!((c[k] - one).abs() < 1e-6 && (d[k] - density).abs() < 1e-6, "Phi({})", z[k]);
            }
        }
    }
}
