//! Level and noise of masked samples that are cut off at code zero, as in files whose black was taken off.
//!
//! Source: quantiles of the normal distribution are textbook (Abramowitz and Stegun 26.2).

/// Zeros that noise about a black above zero leaves, at the most; and most that leave three quarters of the noise's quantiles.
const FEW_ZEROS: f64 = 0.01;
const MOST_ZEROS: f64 = 0.72;
/// Standard deviations below the median from which on zeros are no noise but dead photosites: so many as [`FEW_ZEROS`] lie nearer.
const REACH: f64 = 3.0;
/// Share of a normal distribution below one standard deviation.
const BELOW_ONE: f64 = 0.841_34;
/// Quantiles of a normal distribution at 75 and 95 %.
const UPPER: [(f64, f64); 2] = [(0.75, 0.674_49), (0.95, 1.644_85)];

/// True where so many codes are zeros, so near to the others, that their noise must have been cut off there. The upper half of the
/// noise, which is not cut off, tells how far it reaches.
#[must_use]
pub fn is_cut_off(codes: &[u16]) -> bool {
    if codes.iter().filter(|code| **code == 0).count() as f64 <= FEW_ZEROS * codes.len() as f64 {
        return false;
    }
    let mut sorted = codes.to_vec();
    let mut quantile = |share: f64| {
        let place = (share * sorted.len() as f64) as usize;
        f64::from(*sorted.select_nth_unstable(place).1)
    };
    let (median, upper) = (quantile(0.5), quantile(BELOW_ONE));
    median <= REACH * (upper - median) + 0.5
}

/// Greatest common divisor, of which zero has any.
#[must_use]
pub fn common_divisor(mut a: u16, mut b: u16) -> u16 {
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Level and noise of samples whose noise is cut off at zero, as where black was taken off: their mean lies too high. Two upper
/// quantiles of a normal distribution tell both; `None` where zeros leave too little.
pub(super) fn level_and_noise(mut stored: Vec<u16>) -> Option<(f64, f64)> {
    // Codes that are multiples of some number are steps of it.
    let apart = stored.iter().copied().fold(0, common_divisor).max(1);
    stored.iter_mut().for_each(|code| *code /= apart);
    stored.sort_unstable();
    let samples = stored.len();
    let below = |code: u16| stored.partition_point(|v| *v < code) as f64;
    // A code stands for the interval of half a code on either side.
    let quantile = |share: f64| {
        let place = share * samples as f64;
        let code = stored[(place as usize).min(samples - 1)];
        let (from, to) = (below(code), stored.partition_point(|v| *v <= code) as f64);
        f64::from(code) - 0.5 + (place - from) / (to - from).max(1.0)
    };
    if below(1) > MOST_ZEROS * samples as f64 {
        return None;
    }
    let [(low, high), (low_z, high_z)] = [(quantile(UPPER[0].0), quantile(UPPER[1].0)), (UPPER[0].1, UPPER[1].1)];
    let noise = (high - low) / (high_z - low_z);
    Some(((low - low_z * noise) * f64::from(apart), noise * f64::from(apart)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_was_cut_off_has_the_level_and_the_noise_it_had() {
        // A sum of twelve evenly spread numbers is nearly normal.
        let mut state = 1_u64;
        let mut normal = move || {
            let mut even = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 11) as f64 / (1_u64 << 53) as f64
            };
            (0..12).map(|_| even()).sum::<f64>() - 6.0
        };
        for (black, noise, known) in
            [(0.0, 6.0, true), (5.0, 6.0, true), (-1.0, 4.0, true), (0.0, 90.0, true), (-9.0, 6.0, false)]
        {
            let stored: Vec<u16> = (0..40_000).map(|_| (black + noise * normal()).round().max(0.0) as u16).collect();
            assert!(is_cut_off(&stored));
            let found = level_and_noise(stored);
            assert_eq!(found.is_some(), known, "{black} {noise}");
            if let Some((level, deviation)) = found {
                assert!((level - black).abs() < 0.04 * noise, "{black} {noise}: {level}");
                assert!((deviation / noise - 1.0).abs() < 0.04, "{black} {noise}: {deviation}");
            }
        }
        // Codes eight apart.
        let stored = (0..40_000).map(|_| 8 * (0.5 + 3.0 * normal()).round().max(0.0) as u16).collect();
        let (level, deviation) = level_and_noise(stored).unwrap();
        assert!((level - 4.0).abs() < 1.0 && (deviation / 24.0 - 1.0).abs() < 0.04, "{level} {deviation}");
        // Without zeros, and with those of dead photosites.
        for dead in [0, 30] {
            let above = |i: u32| if i % 1000 < dead { 0 } else { (30.0 + 6.0 * normal()) as u16 };
            let above: Vec<u16> = (0..40_000).map(above).collect();
            assert!(!is_cut_off(&above), "{dead}");
        }
    }
}
