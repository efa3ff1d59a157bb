//! What the codes of the masked border say of what was done to the samples: how far apart they lie, and whether they were smoothed.
//!
//! Source: greatest common divisor and correlation are textbook; docs/measures.md.

use rawassay_decode::{Area, Frame, common_divisor};

/// Mean correlation of like-coloured neighbours in the border from which on its samples were smoothed: a Gaussian of 0.5 samples
/// on each colour plane leaves 0.25 of it, converters leave a twentieth (common practice, no source).
const MOST_ALIKE: f64 = 0.15;

/// Samples that are looked at, about.
const LOOKED_AT: usize = 60_000;

/// Samples that a correlation needs.
const FEWEST: f64 = 2000.0;

/// Standard deviations that count: what stands further off is no noise.
const WIDTH: f64 = 4.0;

pub(super) const SMOOTHED: &str = "read noise: not measurable from the masked pixels, noise reduction was applied to this file before \
                                   it was saved; what the picture shows may be too small";

/// Greatest distance, in whole DN, of which all codes of these areas are multiples apart.
pub(super) fn codes_apart(frame: &Frame, areas: &[Area]) -> u16 {
    let (mut divisor, mut first) = (0_u16, None);
    for area in areas {
        for y in area.y..area.bottom() {
            let Some(row) = frame.row(y).get(area.x..area.right()) else { continue };
            for &code in row {
                let first = *first.get_or_insert(code);
                divisor = common_divisor(divisor, code.abs_diff(first));
                if divisor == 1 {
                    return 1;
                }
            }
        }
    }
    divisor.max(1)
}

/// True where like-coloured neighbours are correlated along the lines of the borders, the levels of lines across taken out.
pub(super) fn smoothed(frame: &Frame, areas: &[Area]) -> bool {
    let (mut products, mut squares, mut pairs) = (0.0, 0.0, 0.0);
    let all: usize = areas.iter().map(Area::len).sum();
    let every = all.div_ceil(LOOKED_AT).max(1);
    for area in areas {
        let upright = area.height >= area.width;
        let [along, across] = if upright { [area.height, area.width] } else { [area.width, area.height] };
        let (apart, period) =
            if upright { (frame.filter.columns, frame.filter.rows) } else { (frame.filter.rows, frame.filter.columns) };
        if across <= 2 * apart || along < 64 {
            continue;
        }
        let sample = |line: usize, i: usize| {
            let (x, y) = if upright { (area.x + i, area.y + line) } else { (area.x + line, area.y + i) };
            frame.row(y).get(x).map_or(0.0, |&v| f64::from(v))
        };
        // Whole periods of the array, so that every plane is looked at.
        let lines: Vec<usize> = (0..along).filter(|line| (line / period).is_multiple_of(every)).collect();
        // Levels by phase of the array: of the places across.
        let mut means = vec![vec![0.0; across]; period];
        let mut counts = vec![0.0; period];
        for &line in &lines {
            counts[line % period] += 1.0;
            means[line % period].iter_mut().enumerate().for_each(|(i, mean)| *mean += sample(line, i));
        }
        means.iter_mut().zip(&counts).for_each(|(means, n)| means.iter_mut().for_each(|m| *m /= f64::max(*n, 1.0)));
        let mut own = vec![0.0; across];
        for &line in &lines {
            own.iter_mut().enumerate().for_each(|(i, v)| *v = sample(line, i) - means[line % period][i]);
            // The line's own level, by phase along it.
            for phase in 0..apart {
                let places = || (phase..across).step_by(apart);
                let n = places().count() as f64;
                let mut values: Vec<f64> = places().map(|i| own[i]).collect();
                let middle = values.len() / 2;
                let centre = *values.select_nth_unstable_by(middle, f64::total_cmp).1;
                let spread = (places().map(|i| (own[i] - centre).abs().min(1e4)).sum::<f64>() / n).max(0.3) * 1.25;
                let kept = |v: f64| (v - centre).abs() < WIDTH * spread;
                let (sum, m) = places().filter(|&i| kept(own[i])).fold((0.0, 0.0), |s, i| (s.0 + own[i], s.1 + 1.0));
                let mean = sum / f64::max(m, 1.0);
                for i in places().filter(|i| i + apart < across) {
                    let (a, b) = (own[i], own[i + apart]);
                    if kept(a) && kept(b) {
                        products += (a - mean) * (b - mean);
                        squares += 0.5 * ((a - mean).powi(2) + (b - mean).powi(2));
                        pairs += 1.0;
                        // The line's mean, taken off, anticorrelates its samples.
                        products += squares_share((a - mean).powi(2), m);
                    }
                }
            }
        }
    }
    pairs > FEWEST && squares > 0.0 && products > MOST_ALIKE * squares
}

/// What taking off a mean of n takes from the product of two samples.
fn squares_share(square: f64, n: f64) -> f64 {
    if n > 1.0 { square / (n - 1.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_frames::{Noise, Sensor};

    fn frame(weight: f64, apart: f64) -> Frame {
        let sensor = Sensor { width: 400, height: 600, ..Sensor::default() };
        let mut rng = Noise::new(4);
        let rows: Vec<f64> = (0..600).map(|_| 6.0 * rng.normal()).collect();
        let noise: Vec<f64> = (0..400 * 600).map(|_| 5.0 * rng.normal()).collect();
        let mut frame = sensor.draw(|x, y, _, s| {
            let at = |x: usize| noise[y * 400 + x.min(399)];
            let smoothed = at(x) + weight * (at(x.saturating_sub(2)) + at(x + 2));
            ((s.black + rows[y] + 4.0 * (x % 7) as f64 + smoothed) / apart).round() * apart
        });
        frame.active = Area::new(40, 0, 360, 600);
        frame.masked = vec![Area::new(0, 0, 40, 600)];
        frame
    }

    #[test]
    fn a_smoothed_border_is_told_whatever_the_levels_of_its_lines() {
        for (weight, told) in [(0.0, false), (0.03, false), (0.135, true), (1.0, true)] {
            assert_eq!(smoothed(&frame(weight, 1.0), &[Area::new(2, 0, 36, 600)]), told, "{weight}");
        }
    }

    #[test]
    fn codes_lie_as_far_apart_as_all_of_them_do() {
        for apart in [1, 2, 8] {
            assert_eq!(codes_apart(&frame(0.0, f64::from(apart)), &[Area::new(2, 0, 36, 600)]), apart);
        }
    }
}
