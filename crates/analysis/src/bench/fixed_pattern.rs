//! What stands still in pairs of frames: the spread of the photosites' dark level and of their sensitivity.
//!
//! Measures: DSNU (electrons, with its parts by rows and columns) from pairs of dark frames, PRNU (per cent) from the pair of
//! flats nearest to half of saturation. Method: EMVA 1288 asks for the spatial variance without its temporal part and without
//! slow shading. The covariance of two frames of one exposure is just that: the noise of the one knows nothing of the other's.
//! Slow shading drops out of the differences of neighbours of one colour, whose covariance is twice that of the pattern:
//! DSNU = s_dark / K, PRNU = sqrt(s_50^2 - s_dark^2) / (mean_50 - mean_dark).
//! Fails when: the pattern does not stand out of three standard errors; no flat between a fifth and four fifths of saturation.
//! Source: EMVA 1288 release 4.0, spatial nonuniformity (from memory); covariance for it: own derivation.

use rawassay_decode::{Area, Frame};

use crate::pair_sums::PairSums;

/// A pattern is told from this many standard errors on.
const TOLD: f64 = 3.0;

/// A variance with its standard error, DN squared.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Known {
    pub(super) dn2: f64,
    pub(super) se_dn2: f64,
}

impl Known {
    /// Mean of independent measurements of one thing.
    fn mean(all: &[Self]) -> Self {
        let n = all.len().max(1) as f64;
        let dn2 = all.iter().map(|k| k.dn2).sum::<f64>() / n;
        Self { dn2, se_dn2: all.iter().map(|k| k.se_dn2 * k.se_dn2).sum::<f64>().sqrt() / n }
    }

    /// Sum, or difference, with another.
    fn plus(self, sign: f64, other: Self) -> Self {
        Self { dn2: self.dn2 + sign * other.dn2, se_dn2: self.se_dn2.hypot(other.se_dn2) }
    }

    /// Standard deviation and its standard error, DN; `None` where it does not stand out.
    pub(super) fn deviation(self) -> Option<(f64, f64)> {
        let told = self.dn2 > TOLD * self.se_dn2 && self.dn2 > 0.0;
        told.then(|| (self.dn2.sqrt(), self.se_dn2 / (2.0 * self.dn2.sqrt())))
    }
}

/// What stands still in a pair, one plane.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Standing {
    /// Photosites, the offsets of their columns included.
    pixels: Known,
    rows: Known,
    columns: Known,
}

impl Standing {
    /// All of it: photosites, columns and rows.
    pub(super) fn all(&self) -> Known {
        self.pixels.plus(1.0, self.rows)
    }

    pub(super) fn rows(&self) -> Known {
        self.rows
    }

    pub(super) fn columns(&self) -> Known {
        self.columns
    }

    /// Mean of several pairs.
    pub(super) fn mean(pairs: &[Self]) -> Self {
        let of = |part: fn(&Self) -> Known| Known::mean(&pairs.iter().map(part).collect::<Vec<_>>());
        Self { pixels: of(|s| s.pixels), rows: of(|s| s.rows), columns: of(|s| s.columns) }
    }

    /// Spread of the sensitivity as a share of the mean, with its standard error: this flat less the dark pattern.
    pub(super) fn response(&self, dark: &Self, mean_dn: f64) -> Option<(f64, f64)> {
        let (dn, se) = self.all().plus(-1.0, dark.all()).deviation()?;
        Some((dn / mean_dn, se / mean_dn))
    }
}

/// Half of the covariance of differences of neighbours in two frames: the variance of what stands still, of independent
/// neighbours.
fn half_covariance(differences: &PairSums) -> Known {
    let n = differences.n.max(1.0);
    let [first, second, covariance] = differences.about_means().map(|sum| sum / n);
    // Differences that share a sample are correlated by a half, their products by a quarter: 1.5 for n.
    let se = ((first * second + covariance * covariance) * 1.5 / n).sqrt();
    Known { dn2: 0.5 * covariance, se_dn2: 0.5 * se }
}

/// What stands still in a pair of frames, plane by plane.
pub(super) fn standing(a: &Frame, b: &Frame, area: &Area) -> Vec<Standing> {
    let filter = &a.filter;
    let (period_x, period_y) = (filter.columns.max(1), filter.rows.max(1));
    let planes = filter.planes.len();
    let mut pixels = vec![PairSums::default(); planes];
    // Samples and sums of both frames, of each column and row of the area.
    let mut columns = vec![vec![[0.0_f64; 3]; area.width]; planes];
    let mut rows = vec![vec![[0.0_f64; 3]; area.height]; planes];
    for y in area.y..area.bottom() {
        let (ra, rb) = (&a.row(y)[area.x..area.right()], &b.row(y)[area.x..area.right()]);
        let pattern: Vec<usize> = (0..period_x).map(|x| filter.plane_at(area.x + x, y)).collect();
        let mut line = vec![PairSums::default(); planes];
        for (x, (&va, &vb)) in ra.iter().zip(rb).enumerate() {
            let plane = pattern[x % period_x];
            let (va, vb) = (f64::from(va), f64::from(vb));
            if x >= period_x {
                line[plane].add(va - f64::from(ra[x - period_x]), vb - f64::from(rb[x - period_x]));
            }
            for sums in [&mut columns[plane][x], &mut rows[plane][y - area.y]] {
                *sums = [sums[0] + 1.0, sums[1] + va, sums[2] + vb];
            }
        }
        pixels.iter_mut().zip(&line).for_each(|(all, line)| all.join(line));
    }
    let lines = |sums: &[[f64; 3]], period: usize, pixels: Known| {
        let mut all = PairSums::default();
        let mut in_line = 0.0;
        for (one, next) in sums.iter().zip(sums.iter().skip(period)).filter(|(a, b)| a[0] > 0.0 && b[0] > 0.0) {
            all.add(next[1] / next[0] - one[1] / one[0], next[2] / next[0] - one[2] / one[0]);
            in_line = one[0];
        }
        // The photosites' own pattern, averaged over a line, is in it.
        let own = half_covariance(&all);
        Known { dn2: own.dn2 - pixels.dn2 / f64::max(in_line, 1.0), ..own }
    };
    (0..planes)
        .map(|p| {
            let own = half_covariance(&pixels[p]);
            let (rows, columns) = (lines(&rows[p], period_y, own), lines(&columns[p], period_x, own));
            Standing { pixels: own, rows: Known { dn2: rows.dn2.max(0.0), ..rows }, columns }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::{Noise, Sensor};

    /// Offsets of photosites, columns and rows (DN), sensitivity, and a slope of light over the frame.
    #[test]
    fn the_pattern_is_told_from_noise_and_shading() {
        let sensor = Sensor { width: 600, height: 400, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
        let area = Area::new(0, 0, 600, 400);
        let mut fixed = Noise::new(77);
        let offsets: Vec<f64> = (0..600 * 400).map(|_| fixed.normal()).collect();
        let response: Vec<f64> = (0..600 * 400).map(|_| fixed.normal()).collect();
        let columns: Vec<f64> = (0..600).map(|_| fixed.normal()).collect();
        let rows: Vec<f64> = (0..400).map(|_| fixed.normal()).collect();
        let shot = |seed: u64, level: f64, (dark, column, row, share): (f64, f64, f64, f64)| {
            let mut rng = Noise::new(seed);
            Sensor { seed, ..sensor.clone() }.draw(|x, y, _, s| {
                let at = y * 600 + x;
                let light = level * (1.0 - 5e-4 * x as f64) * (1.0 + share * response[at]);
                let still = dark * offsets[at] + column * columns[x] + row * rows[y];
                (s.black + light + still + (light + 9.0).sqrt() * rng.normal()).round()
            })
        };
        let pair = |seed, level, pattern| standing(&shot(seed, level, pattern), &shot(seed + 1, level, pattern), &area);
        for pattern in [(0.8, 0.0, 0.0, 0.0), (0.6, 0.7, 0.0, 0.006), (0.6, 0.0, 0.5, 0.01)] {
            let dark = pair(1, 0.0, pattern);
            let flat = pair(11, 6_000.0, pattern);
            for (dark, flat) in dark.iter().zip(&flat) {
                let all = (pattern.0 * pattern.0 + pattern.1 * pattern.1 + pattern.2 * pattern.2).sqrt();
                let (found, se) = dark.all().deviation().unwrap();
                // The draw's own spread beside the error: a few hundred lines are known within some per cent.
                assert!((found - all).abs() < 0.06 * all + 3.0 * se, "{found} +- {se} of {all}, {pattern:?}");
                for (part, truth) in [(dark.columns(), pattern.1), (dark.rows(), pattern.2)] {
                    match part.deviation() {
                        Some((found, _)) => assert!((found / truth - 1.0).abs() < 0.15, "{found} of {truth}"),
                        None => assert_eq!(truth, 0.0),
                    }
                }
                // 6000 DN at the left, 30 % less at the right: the mean is 5100.
                let found = flat.response(dark, 5_100.0).map(|r| r.0);
                match found {
                    Some(found) => assert!((found / pattern.3 - 1.0).abs() < 0.08, "{found} of {}", pattern.3),
                    None => assert_eq!(pattern.3, 0.0),
                }
            }
        }
        let clean = pair(21, 0.0, (0.0, 0.0, 0.0, 0.0));
        assert!(clean.iter().all(|s| s.all().deviation().is_none()), "{clean:?}");
    }
}
