//! The sharpest quarter of many noisy readings, without taking the luckiest noise for sharpness.

/// Mean of ln sigma over the sharpest quarter of the readings (ln sigma, standard error), and its standard error.
/// `None` without readings.
///
/// Each reading is drawn towards the median by its own error: with t^2 the spread of the readings that their errors
/// do not explain, a reading of error e keeps t^2 / (t^2 + e^2) of its distance (empirical Bayes). Equally sharp edges
/// in noise then give the median, and edges that do differ give the plain quarter.
pub(crate) fn sharp_mean_ln(readings: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = readings.len();
    if n == 0 {
        return None;
    }
    let mut sorted = readings.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |share: f64| {
        let place = share * (n - 1) as f64;
        let k = place as usize;
        let next = sorted[(k + 1).min(n - 1)].0;
        sorted[k].0 + (place - k as f64) * (next - sorted[k].0)
    };
    let median = at(0.5);
    let mut errors: Vec<f64> = readings.iter().map(|r| r.1).collect();
    errors.sort_by(f64::total_cmp);
    let error = errors[n / 2];
    // Lower half of the distribution: the upper one is long, for the scene has soft edges of its own.
    let spread = (median - at(0.15)) / 1.036;
    let true_spread2 = (spread * spread - error * error).max(0.0);
    let mut drawn: Vec<f64> = sorted
        .iter()
        .map(|&(value, e)| median + (value - median) * true_spread2 / (true_spread2 + e * e).max(1e-12))
        .collect();
    drawn.sort_by(f64::total_cmp);
    let quarter = n.div_ceil(4);
    let mean = drawn[..quarter].iter().sum::<f64>() / quarter as f64;
    let error_of_mean = (error * error / n as f64 * 1.57 + true_spread2 / quarter as f64).sqrt();
    mean.is_finite().then_some((mean, error_of_mean))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_edges_in_noise_give_their_own_value() {
        // A fixed bell-shaped set of readings round ln 1 with spread 0.1, all of it error.
        let readings: Vec<(f64, f64)> = (0..200)
            .map(|k| {
                let u = (f64::from(k) + 0.5) / 200.0;
                (0.1 * (u / (1.0 - u)).ln() / 1.702, 0.1)
            })
            .collect();
        let (mean, error) = sharp_mean_ln(&readings).unwrap_or((9.0, 9.0));
        assert!(mean.abs() < 0.03, "{mean}");
        assert!(error < 0.02, "{error}");
    }

    #[test]
    fn a_sharp_quarter_among_soft_edges_stands() {
        let mut readings = vec![(0.0, 0.02); 30];
        readings.extend(vec![(1.0, 0.02); 70]);
        let (mean, _) = sharp_mean_ln(&readings).unwrap_or((9.0, 9.0));
        assert!(mean.abs() < 0.03, "{mean}");
    }
}
