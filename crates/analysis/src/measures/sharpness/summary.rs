//! The sharp end of many noisy readings, without taking the luckiest noise for sharpness.

/// Readings nearer than this belong together: what a plain edge's fit differs by beyond its noise, in ln sigma.
const WIDTH: f64 = 0.06;
/// Step and ends of the grid on which the readings are counted, ln px.
const STEP: f64 = 0.02;
const FIRST: f64 = -2.5;
const LAST: f64 = 4.6;
/// A group counts as one when it is at least this dense, share of the densest.
const LEAST_DENSITY: f64 = 0.4;
/// ... and holds at least this share of all readings.
const LEAST_SHARE: f64 = 0.06;
/// Where more than this share of the readings lie sharper than the group by [`CLEAR`] or more, it is not the sharp end:
/// noise flattens a peak, so a lower one, of [`LEAST_DENSITY_AMONG_MANY`], is looked for among them.
const SHARPER_SHARE: f64 = 0.25;
const CLEAR: f64 = 0.3;
const LEAST_DENSITY_AMONG_MANY: f64 = 0.15;

/// One edge for the summaries.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    /// ln of the spread's standard deviation in px.
    pub(crate) ln_sigma: f64,
    /// Its standard error.
    pub(crate) error: f64,
    /// What it counts for.
    pub(crate) weight: f64,
}

/// Mean of ln sigma over the sharpest group of readings (ln sigma, standard error), and its standard error. `None`
/// without readings.
///
/// Own derivation: edges that the lens alone limits lie close together in ln sigma, at the sharp end; edges that the
/// scene itself makes soft, and those that something near by disturbs, lie spread out. So the readings' density (each
/// a bell as wide as its own error) is searched from the sharp end for the first peak of 40 % of the highest density
/// or more. Noise widens a peak but does not move it: a plain lowest quarter would take the luckiest noise.
pub(crate) fn sharp_mean_ln(readings: &[Reading]) -> Option<(f64, f64)> {
    let mut density = vec![0.0_f64; ((LAST - FIRST) / STEP) as usize + 1];
    let width = |e: f64| WIDTH.hypot(e);
    for &Reading { ln_sigma: value, error, weight } in
        readings.iter().filter(|r| r.ln_sigma.is_finite() && r.error.is_finite())
    {
        let w = width(error);
        let first = (((value - 3.0 * w - FIRST) / STEP).ceil().max(0.0)) as usize;
        let last = ((value + 3.0 * w - FIRST) / STEP).floor();
        if last < 0.0 {
            continue;
        }
        let last = (last as usize).min(density.len() - 1);
        for (k, slot) in density.iter_mut().enumerate().take(last + 1).skip(first) {
            let z = (FIRST + k as f64 * STEP - value) / w;
            *slot += weight * (-0.5 * z * z).exp() / w;
        }
    }
    let highest = density.iter().copied().fold(0.0, f64::max);
    if highest <= 0.0 {
        return None;
    }
    let total: f64 = density.iter().sum();
    let near = (0.12 / STEP) as usize;
    let first_peak = |least_density: f64| {
        (1..density.len() - 1)
            .filter(|&k| density[k] >= density[k - 1] && density[k] > density[k + 1])
            .filter(|&k| density[k] >= least_density * highest)
            .find(|&k| {
                let here: f64 = density[k.saturating_sub(near)..(k + near + 1).min(density.len())].iter().sum();
                here >= LEAST_SHARE * total
            })
    };
    let mut peak = first_peak(LEAST_DENSITY)?;
    let sharper: f64 = density[..peak.saturating_sub((CLEAR / STEP) as usize)].iter().sum();
    if sharper > SHARPER_SHARE * total {
        peak = first_peak(LEAST_DENSITY_AMONG_MANY)?;
    }
    let mut centre = FIRST + peak as f64 * STEP;
    let (mut weight, mut weight2, mut spread) = (1.0, 1.0, 0.0);
    for _ in 0..4 {
        let (mut sum, mut w1, mut w2, mut s2) = (0.0, 0.0, 0.0, 0.0);
        for &Reading { ln_sigma: value, error, weight: counts } in readings {
            let w = width(error);
            let z = (value - centre) / w;
            if z.abs() < 3.0 {
                let k = counts * (-0.25 * z * z).exp() / (w * w);
                sum += k * value;
                w1 += k;
                w2 += k * k;
                s2 += k * (value - centre).powi(2);
            }
        }
        if w1 > 0.0 {
            centre = sum / w1;
            (weight, weight2, spread) = (w1, w2, s2 / w1);
        }
    }
    let effective = weight * weight / f64::max(weight2, 1e-30);
    centre.is_finite().then(|| (centre, (1.5 * spread.max(1e-4) / effective).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(ln_sigma: f64, error: f64) -> Reading {
        Reading { ln_sigma, error, weight: 1.0 }
    }

    #[test]
    fn equal_edges_in_noise_give_their_own_value() {
        // A fixed bell-shaped set of readings round ln 1 with spread 0.1, all of it error.
        let readings: Vec<Reading> = (0..200)
            .map(|k| {
                let u = (f64::from(k) + 0.5) / 200.0;
                one(0.1 * (u / (1.0 - u)).ln() / 1.702, 0.1)
            })
            .collect();
        let (mean, error) = sharp_mean_ln(&readings).unwrap_or((9.0, 9.0));
        assert!(mean.abs() < 0.03, "{mean}");
        assert!(error < 0.02, "{error}");
    }

    #[test]
    fn stray_readings_on_both_sides_do_not_count() {
        let mut readings: Vec<Reading> = (0..60).map(|k| one(1.0 + 0.0005 * f64::from(k), 0.02)).collect();
        readings.extend((0..20).map(|k| one(0.04 * f64::from(k), 0.05)));
        readings.extend((0..20).map(|k| one(1.2 + 0.04 * f64::from(k), 0.05)));
        let (mean, _) = sharp_mean_ln(&readings).unwrap_or((9.0, 9.0));
        assert!((mean - 1.015).abs() < 0.02, "{mean}");
    }

    #[test]
    fn a_sharp_quarter_among_soft_edges_stands() {
        let mut readings = vec![one(0.0, 0.02); 30];
        readings.extend(vec![one(1.0, 0.02); 70]);
        let (mean, _) = sharp_mean_ln(&readings).unwrap_or((9.0, 9.0));
        assert!(mean.abs() < 0.03, "{mean}");
    }
}
