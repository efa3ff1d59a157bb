//! Read noise, and offsets of rows and columns, from the masked (optically black) pixels of the frame.
//!
//! Measures: standard deviation of each plane's masked samples about the mean of their line, DN, outliers beyond four
//! standard deviations left out, the rounding's 1/12 DN^2 taken off: read noise by definition, no light reaches these
//! pixels. And the standard deviation of the lines' means beyond what that noise explains (analysis of variance): rows
//! in borders at the sides, columns in those above and below.
//! Fails when: fewer than 256 masked samples of the plane; for lines, fewer than 64 of 8 samples each.
//! Source: Janesick, "Photon Transfer" (noise in the dark); analysis of variance is textbook.

use rawassay_decode::{Area, Frame};

use super::noise::ROUNDING;

/// Fewest samples.
const FEWEST: f64 = 256.0;

/// Fewest lines of a border, and fewest samples in each, for the offsets of lines.
const FEWEST_LINES: f64 = 64.0;
const FEWEST_IN_LINE: usize = 8;

/// Offsets of lines are stated from this many standard errors on; below it they are zero.
const SIGNIFICANT: f64 = 3.0;

/// What the masked pixels say.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Masked {
    /// Read noise of each plane, DN.
    pub(crate) read_noise_dn: Vec<Option<f64>>,
    /// Offsets of rows and of columns, standard deviation, DN.
    pub(crate) row_banding_dn: Option<f64>,
    pub(crate) column_banding_dn: Option<f64>,
}

/// Sums over the lines of one direction.
#[derive(Debug, Clone, Copy, Default)]
struct Between {
    /// Lines, their means' sum and sum of squares, and what noise adds to the latter.
    lines: f64,
    sum: f64,
    squares: f64,
    noise: f64,
}

impl Between {
    fn add(&mut self, mean: f64, noise: f64) {
        self.lines += 1.0;
        self.sum += mean;
        self.squares += mean * mean;
        self.noise += noise;
    }

    /// Standard deviation of the lines' offsets, DN.
    fn spread_dn(&self) -> Option<f64> {
        if self.lines < FEWEST_LINES {
            return None;
        }
        let n = self.lines;
        let all = (self.squares - self.sum * self.sum / n) / (n - 1.0);
        let offsets = all - self.noise / n;
        Some(if offsets > SIGNIFICANT * all * (2.0 / n).sqrt() { offsets.sqrt() } else { 0.0 })
    }
}

/// Measures the masked pixels.
pub(crate) fn measure(frame: &Frame) -> Masked {
    let planes = frame.filter.planes.len();
    let stated = || frame.levels.iter().map(|l| l.masked_noise_dn).collect();
    if frame.masked.is_empty() || frame.filter.is_linear() {
        return Masked { read_noise_dn: stated(), ..Masked::default() };
    }
    let whole = Area::new(0, 0, frame.width, frame.height);
    let areas: Vec<Area> = frame.masked.iter().map(|a| inner(a).intersect(&whole)).filter(|a| !a.is_empty()).collect();
    let mut limits = vec![(f64::NEG_INFINITY, f64::INFINITY); planes];
    let mut centres: Vec<f64> = frame.levels.iter().map(|l| l.black_dn).collect();
    let mut variances: Vec<Option<f64>> = vec![None; planes];
    let (mut rows, mut columns) = (Between::default(), Between::default());
    for round in 0..4 {
        // Per plane: samples, lines, sum, squares, squares about the lines' means.
        let mut sums = vec![[0.0_f64; 5]; planes];
        (rows, columns) = (Between::default(), Between::default());
        for area in &areas {
            let upright = area.height >= area.width;
            let lines = if upright { area.height } else { area.width };
            for line in 0..lines {
                let mut own = vec![[0.0_f64; 3]; planes];
                let length = if upright { area.width } else { area.height };
                for i in 0..length {
                    let (x, y) = if upright { (area.x + i, area.y + line) } else { (area.x + line, area.y + i) };
                    let plane = frame.filter.plane_at(x, y);
                    let Some(&v) = frame.row(y).get(x) else { continue };
                    let v = f64::from(v);
                    if v >= limits[plane].0 && v <= limits[plane].1 {
                        let d = v - centres[plane];
                        own[plane] = [own[plane][0] + 1.0, own[plane][1] + d, own[plane][2] + d * d];
                    }
                }
                let (mut n, mut sum, mut noise) = (0.0, 0.0, 0.0);
                for (plane, own) in own.iter().enumerate().filter(|(_, o)| o[0] > 0.0) {
                    let about = own[2] - own[1] * own[1] / own[0];
                    let add = [own[0], 1.0, own[1], own[2], about];
                    sums[plane].iter_mut().zip(add).for_each(|(s, a)| *s += a);
                    (n, sum) = (n + own[0], sum + own[1]);
                    noise += own[0] * variances[plane].unwrap_or(0.0);
                }
                if n as usize >= FEWEST_IN_LINE {
                    if upright { &mut rows } else { &mut columns }.add(sum / n, noise / (n * n));
                }
            }
        }
        for (p, &[n, lines, sum, squares, about]) in sums.iter().enumerate() {
            variances[p] = None;
            if n < FEWEST || n <= lines {
                continue;
            }
            let mean = sum / n;
            let spread = (squares / n - mean * mean).max(0.0).sqrt().max(0.5);
            // The centre is settled with the limits: the last round takes its differences from it.
            if round < 3 {
                centres[p] += mean;
                limits[p] = (centres[p] - 4.0 * spread - 0.5, centres[p] + 4.0 * spread + 0.5);
            }
            variances[p] = Some(about / (n - lines));
        }
    }
    let read = |v: Option<f64>| v.filter(|v| *v > 1.1 * ROUNDING).map(|v| (v - ROUNDING).sqrt());
    Masked {
        read_noise_dn: variances.into_iter().map(read).collect(),
        row_banding_dn: rows.spread_dn(),
        column_banding_dn: columns.spread_dn(),
    }
}

/// The area without the two pixels at its rim that light of the picture may reach, where it is wide enough.
fn inner(area: &Area) -> Area {
    let (dx, dy) = (if area.width > 8 { 2 } else { 0 }, if area.height > 8 { 2 } else { 0 });
    Area::new(area.x + dx, area.y + dy, area.width - 2 * dx, area.height - 2 * dy)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Sensor;

    #[test]
    fn the_border_gives_the_read_noise() {
        let sensor = Sensor { width: 600, height: 400, gain: 2.0, read_noise: 3.0, ..Sensor::default() };
        let mut frame = sensor.shoot(|x, _, _| if x < 40 { 0.0 } else { 5_000.0 });
        frame.active = Area::new(40, 0, 560, 400);
        frame.masked = vec![Area::new(0, 0, 40, 400)];
        for found in measure(&frame).read_noise_dn {
            assert!((found.unwrap() / 1.5 - 1.0).abs() < 0.05, "{found:?}");
        }
        frame.masked = vec![Area::new(0, 0, 4, 20)];
        assert!(measure(&frame).read_noise_dn.iter().all(Option::is_none));
    }
}
