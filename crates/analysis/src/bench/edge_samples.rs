//! Samples round an edge made fit for a profile: without defective pixels, in even light along the edge.

use super::edge_bins::{BINS_PER_PX, Sample};

/// Distance from the median of its bin at which a sample is a defective pixel, robust standard deviations.
const DEFECT: f64 = 5.0;
/// Samples that a bin needs to tell.
const LEAST_IN_BIN: usize = 6;
/// Robust standard deviation over the median deviation of a normal distribution.
const MAD_TO_SIGMA: f64 = 1.4826;
/// A fall of light counts from here on, standard errors.
const SIGNIFICANT: f64 = 3.0;

/// Takes defective pixels out, and a fall of light along the edge off. `core_px` is how far the spread reaches.
pub(super) fn clean(mut samples: Vec<Sample>, core_px: f64) -> Vec<Sample> {
    drop_defects(&mut samples);
    if let Some(fall) = fall_along(&samples, core_px) {
        for sample in &mut samples {
            sample.2 /= 1.0 + fall * sample.1;
        }
        // Its spread hid the smaller ones.
        drop_defects(&mut samples);
    }
    samples
}

/// Drops what lies far from the other samples of its bin.
fn drop_defects(samples: &mut Vec<Sample>) {
    let reach = samples.iter().fold(0.0_f64, |m, s| m.max(s.0.abs()));
    let bin = |t: f64| ((t + reach) * BINS_PER_PX) as usize;
    let mut bins: Vec<Vec<f64>> = vec![Vec::new(); bin(reach) + 1];
    for s in samples.iter() {
        bins[bin(s.0)].push(s.2);
    }
    let told: Vec<Option<(f64, f64)>> = bins
        .into_iter()
        .map(|mut values| {
            if values.len() < LEAST_IN_BIN {
                return None;
            }
            let middle = median(&mut values);
            values.iter_mut().for_each(|v| *v = (*v - middle).abs());
            Some((middle, MAD_TO_SIGMA * median(&mut values)))
        })
        .collect();
    let mut spreads: Vec<f64> = told.iter().flatten().map(|t| t.1).collect();
    if spreads.is_empty() {
        return;
    }
    // A bin of few samples may show too small a spread.
    let usual = median(&mut spreads).max(f64::MIN_POSITIVE);
    samples.retain(|s| told[bin(s.0)].is_none_or(|(middle, sigma)| (s.2 - middle).abs() <= DEFECT * sigma.max(usual)));
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Relative fall of the light along the edge, per px, from its bright side; `None` where it is not seen.
fn fall_along(samples: &[Sample], core_px: f64) -> Option<f64> {
    let bright = || samples.iter().filter(|s| s.0 > core_px.min(8.0));
    let n = bright().count() as f64;
    if n < 50.0 {
        return None;
    }
    let (u0, v0) = (bright().map(|s| s.1).sum::<f64>() / n, bright().map(|s| s.2).sum::<f64>() / n);
    let (uu, uv) = bright().fold((0.0, 0.0), |(uu, uv), s| (uu + (s.1 - u0).powi(2), uv + (s.1 - u0) * (s.2 - v0)));
    let slope = uv / uu;
    let left: f64 = bright().map(|s| (s.2 - v0 - slope * (s.1 - u0)).powi(2)).sum();
    let error = (left / (n - 2.0) / uu).sqrt();
    let fall = slope / (v0 - slope * u0);
    (slope.abs() > SIGNIFICANT * error && fall.is_finite()).then_some(fall)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step of 100 to 1000 with a little noise, in light that falls by `fall` over 200 px.
    fn step(fall: f64) -> Vec<Sample> {
        let mut noise = 7_u32;
        (0..200 * 40)
            .map(|k| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let (u, t) = (f64::from(k / 40) - 100.0, f64::from(k % 40) - 19.7 + f64::from(k / 40 % 20) * 0.05);
                let level = if t > 0.0 { 1000.0 } else { 100.0 };
                (t, u, level * (1.0 + fall * u / 200.0) + f64::from(noise >> 24) / 25.0)
            })
            .collect()
    }

    #[test]
    fn a_defective_pixel_goes_and_all_else_stays() {
        let mut samples = step(0.0);
        let n = samples.len();
        samples[4015].2 = 16000.0;
        samples[2011].2 = 300.0;
        samples[2031].2 = 0.0;
        let clean = clean(samples, 5.0);
        assert_eq!(clean.len(), n - 3);
    }

    #[test]
    fn a_fall_of_light_along_the_edge_is_taken_off() {
        let spread = |samples: &[Sample]| {
            let bright: Vec<f64> = samples.iter().filter(|s| s.0 > 5.0).map(|s| s.2).collect();
            let mean = bright.iter().sum::<f64>() / bright.len() as f64;
            (bright.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / bright.len() as f64).sqrt()
        };
        let fallen = step(0.2);
        assert!(spread(&fallen) > 50.0);
        assert!(spread(&clean(fallen, 5.0)) < 5.0);
    }
}
