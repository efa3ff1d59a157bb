//! The chi-square distribution: what leaving out its upper tail takes from a mean.
//!
//! Source: textbook (Abramowitz & Stegun 26.4), by the incomplete gamma functions.

/// Mean of a chi-square variable of `f` degrees over `f`, given that it is below `u`; and the share that is below.
/// Regularised incomplete gamma functions: P(f/2 + 1, fu/2) / P(f/2, fu/2).
fn truncated_mean(f: f64, u: f64) -> (f64, f64) {
    let below = gamma_p(0.5 * f, 0.5 * f * u);
    if below < 1e-12 { (u, 0.0) } else { (gamma_p(0.5 * f + 1.0, 0.5 * f * u) / below, below) }
}

/// Regularised lower incomplete gamma function, by series or continued fraction (Abramowitz & Stegun 6.5.29, 6.5.31).
pub(super) fn gamma_p(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let scale = (a * x.ln() - x - ln_gamma(a)).exp();
    if x < a + 1.0 {
        let (mut term, mut sum, mut n) = (1.0 / a, 1.0 / a, a);
        for _ in 0..2000 {
            n += 1.0;
            term *= x / n;
            sum += term;
            if term < sum * 1e-15 {
                break;
            }
        }
        return (sum * scale).min(1.0);
    }
    let mut b = x + 1.0 - a;
    let (mut c, mut d) = (1e300, 1.0 / b);
    let mut h = d;
    for i in 1..2000 {
        let an = -f64::from(i) * (f64::from(i) - a);
        b += 2.0;
        d = 1.0 / (an * d + b);
        c = b + an / c;
        h *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    (1.0 - scale * h).max(0.0)
}

/// Logarithm of the gamma function for positive arguments (Stirling's series, Abramowitz & Stegun 6.1.41).
fn ln_gamma(mut x: f64) -> f64 {
    let mut shift = 0.0;
    while x < 12.0 {
        shift -= x.ln();
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    let series = (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r / 1680.0))) / x;
    shift + (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series
}

/// The truncation's correction depends on the degrees of freedom alone: it is worked out once for each.
#[derive(Debug, Default)]
pub(super) struct Corrections(Vec<(f64, f64)>);

impl Corrections {
    /// Mean of such variables that are below `limit`.
    pub(super) fn of(&mut self, freedom: f64, limit: f64) -> f64 {
        if let Some(&(_, c)) = self.0.iter().find(|(f, _)| *f == freedom) {
            return c;
        }
        let (mean, _) = truncated_mean(freedom, limit);
        self.0.push((freedom, mean));
        mean
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_frames::Noise;

    fn chi_square(rng: &mut Noise, f: usize) -> f64 {
        (0..f).map(|_| rng.normal().powi(2)).sum::<f64>() / f as f64
    }

    #[test]
    fn incomplete_gamma_has_its_closed_forms() {
        // P(1, x) = 1 - exp(-x); P(1/2, x) = erf(sqrt x); chi-square of 10 degrees has its median at 9.34182.
        assert!((gamma_p(1.0, 2.0) - (1.0 - f64::exp(-2.0))).abs() < 1e-13);
        assert!((gamma_p(0.5, 1.0) - 0.842_700_792_949_715).abs() < 1e-12);
        assert!((gamma_p(5.0, 9.341_818 / 2.0) - 0.5).abs() < 1e-6);
        assert_eq!(gamma_p(3.0, 0.0), 0.0);
    }

    #[test]
    fn the_truncated_mean_is_that_of_drawn_variables() {
        let mut rng = Noise::new(1);
        for (f, u) in [(61_usize, 1.0), (61, 1.3), (141, 1.1)] {
            let drawn: Vec<f64> = (0..20_000).map(|_| chi_square(&mut rng, f)).filter(|&x| x < u).collect();
            let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
            let (expected, share) = truncated_mean(f as f64, u);
            assert!((mean / expected - 1.0).abs() < 0.004, "{mean} {expected}");
            assert!((drawn.len() as f64 / 20_000.0 - share).abs() < 0.012);
        }
    }
}
