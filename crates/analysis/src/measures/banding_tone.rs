//! Offsets of lines as a function of the tone: banding is added to every tone alike, lines of the scene go with its light.
//!
//! Measures: variance of the offsets where the tone is zero, DN squared. Method: for each line a straight line of residual
//! over level is fitted through what the blocks and colours show, twice, from every other block; the mean product of
//! both values at zero is the variance, as their noise is independent.
//! Source: own derivation, docs/measures.md.

/// Weight, and sums of level, level squared, residual, level times residual, weighted.
type Moments = [f64; 5];

/// The least spread of levels within a line, squared, over the mean of the squares.
const LEAST_SPREAD: f64 = 1e-3;

/// Fewest lines.
const FEWEST_LINES: usize = 64;

/// Moments by line and half of the blocks.
#[derive(Debug, Clone)]
pub(super) struct ByTone(Vec<[Moments; 2]>);

impl ByTone {
    pub(super) fn new(lines: usize) -> Self {
        Self(vec![[[0.0; 5]; 2]; lines])
    }

    /// Adds a mean residual (DN) at a level above black.
    pub(super) fn add(&mut self, line: usize, half: usize, level: f64, residual: f64, weight: f64) {
        if let Some(lines) = self.0.get_mut(line).filter(|_| weight.is_finite()) {
            let add = [1.0, level, level * level, residual, level * residual];
            lines[half].iter_mut().zip(add).for_each(|(to, v)| *to += weight * v);
        }
    }

    /// Variance of the offsets at zero tone and its standard error; `None` where the tones are too alike.
    pub(super) fn at_black(&self) -> Option<(f64, f64)> {
        let products: Vec<(f64, f64)> = self
            .0
            .iter()
            .filter_map(|[a, b]| {
                let ((a, a_variance), (b, b_variance)) = (zero(a)?, zero(b)?);
                Some((a * b, 1.0 / (a_variance * b_variance)))
            })
            .collect();
        if products.len() < FEWEST_LINES {
            return None;
        }
        let total: f64 = products.iter().map(|p| p.1).sum();
        let mean = products.iter().map(|p| p.0 * p.1).sum::<f64>() / total;
        let error = products.iter().map(|p| (p.1 * (p.0 - mean)).powi(2)).sum::<f64>().sqrt() / total;
        (mean.is_finite() && error.is_finite()).then_some((mean, error))
    }
}

/// Value at zero and its variance.
fn zero(&[w, x, xx, y, xy]: &Moments) -> Option<(f64, f64)> {
    let det = w * xx - x * x;
    (w > 0.0 && det > LEAST_SPREAD * w * xx).then(|| ((xx * y - x * xy) / det, xx / det))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Noise;

    #[test]
    fn what_is_added_stays_and_what_goes_with_the_tone_does_not() {
        for (added, with_tone) in [(2.0, 0.0), (0.0, 0.05), (1.0, 0.05)] {
            let mut rng = Noise::new(4);
            let mut lines = ByTone::new(3_000);
            for line in 0..3_000 {
                let (offset, share) = (added * rng.normal(), with_tone * rng.normal());
                for block in 0..12 {
                    let level = 20.0 + 30.0 * f64::from(block % 5);
                    lines.add(line, block as usize % 2, level, offset + share * level + rng.normal(), 1.0);
                }
            }
            let (variance, error) = lines.at_black().unwrap();
            assert!((variance - added * added).abs() < 4.0 * error && error < 0.25, "{variance} {error} for {added}");
        }
        assert!(ByTone::new(500).at_black().is_none());
    }
}
