//! Read noise from the masked (optically black) pixels of the frame.
//!
//! Measures: standard deviation of each plane's masked samples, DN, outliers beyond four standard deviations left out,
//! the rounding's 1/12 DN^2 taken off. It is read noise by definition: no light reaches these pixels.
//! Fails when: fewer than 256 masked samples of the plane. Source: Janesick, "Photon Transfer" (noise in the dark).

use rawassay_decode::{Area, Frame};

use super::noise::ROUNDING;

/// Fewest samples.
const FEWEST: f64 = 256.0;

/// Read noise of each plane, DN.
pub(crate) fn read_noise_dn(frame: &Frame) -> Vec<Option<f64>> {
    let planes = frame.filter.planes.len();
    if frame.masked.is_empty() || frame.filter.is_linear() {
        return frame.levels.iter().map(|l| l.masked_noise_dn).collect();
    }
    let whole = Area::new(0, 0, frame.width, frame.height);
    let areas: Vec<Area> = frame.masked.iter().map(|a| inner(a).intersect(&whole)).filter(|a| !a.is_empty()).collect();
    let mut limits = vec![(f64::NEG_INFINITY, f64::INFINITY); planes];
    let mut found = vec![None; planes];
    for _ in 0..4 {
        let mut sums = vec![(0.0, 0.0, 0.0); planes];
        for area in &areas {
            for y in area.y..area.bottom() {
                let row = frame.row(y);
                for (x, &v) in row.iter().enumerate().take(area.right()).skip(area.x) {
                    let plane = frame.filter.plane_at(x, y);
                    let v = f64::from(v);
                    if v >= limits[plane].0 && v <= limits[plane].1 {
                        let d = v - frame.levels[plane].black_dn;
                        let s = &mut sums[plane];
                        *s = (s.0 + 1.0, s.1 + d, s.2 + d * d);
                    }
                }
            }
        }
        for (p, &(n, sum, squares)) in sums.iter().enumerate() {
            if n < FEWEST {
                found[p] = None;
                continue;
            }
            let mean = sum / n;
            let variance = (squares / n - mean * mean) * n / (n - 1.0);
            let spread = variance.max(0.0).sqrt().max(0.5);
            let centre = mean + frame.levels[p].black_dn;
            limits[p] = (centre - 4.0 * spread - 0.5, centre + 4.0 * spread + 0.5);
            found[p] = (variance > 1.1 * ROUNDING).then(|| (variance - ROUNDING).sqrt());
        }
    }
    found
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
        for found in read_noise_dn(&frame) {
            assert!((found.unwrap() / 1.5 - 1.0).abs() < 0.05, "{found:?}");
        }
        frame.masked = vec![Area::new(0, 0, 4, 20)];
        assert!(read_noise_dn(&frame).iter().all(Option::is_none));
    }
}
