//! Whether what single lines differ by goes with the light, as what the scene draws does and an offset of the sensor does not.
//!
//! Gives: along each line the places of like photosites brought in order of their light; by how much the line is off in the
//! brightest third and in the darkest, against what a share of the light would differ by.
//! Source: own derivation, docs/measures.md.
//! Fails when: light is added everywhere alike, like the lines of a screen before an even wall.

use rawassay_decode::Frame;

use super::flat_blocks::Usable;
use super::histogram::picture_area;
use super::line_singles::place;

/// Places of a line that are looked at, and the fewest that tell.
const PLACES: usize = 480;
const FEWEST: usize = 48;

/// Share of what the light would make of them from which on they go with it, half way, and standard errors beyond that.
const HALF: f64 = 0.5;
const ERRORS: f64 = 3.0;

/// True where those lines' offsets, DN, surely go with the light; like samples so far apart.
pub(super) fn go_with_light(
    frame: &Frame,
    usable: &[Usable],
    rows: bool,
    apart: usize,
    offsets: &[(usize, f64)],
) -> bool {
    let (mut differ, mut would, mut error2) = (0.0, 0.0, 0.0);
    for &(line, offset) in offsets {
        for mut places in seen(frame, usable, rows, apart, line) {
            if places.len() < FEWEST {
                continue;
            }
            places.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
            let third = places.len() / 3;
            let (dark, bright) = (Third::of(&places[..third]), Third::of(&places[places.len() - third..]));
            let light = 0.5 * (dark.light + bright.light);
            // By the light they differ in, in parts of what is known.
            let share = (bright.light - dark.light) / light.max(f64::MIN_POSITIVE);
            let noise2 = dark.error2 + bright.error2;
            let weight = share / noise2;
            differ += weight * offset * (bright.off - dark.off);
            would += weight * offset * offset * share;
            error2 += weight * weight * offset * offset * noise2;
        }
    }
    differ - HALF * would > ERRORS * error2.sqrt()
}

/// Mean light of places, and mean of the middle half of what the line is off by there, with its variance.
struct Third {
    light: f64,
    off: f64,
    error2: f64,
}

impl Third {
    fn of(places: &[(f64, f64)]) -> Self {
        let n = places.len();
        let light = places.iter().map(|p| p.0).sum::<f64>() / n as f64;
        let mut off: Vec<f64> = places.iter().map(|p| p.1).collect();
        off.sort_unstable_by(f64::total_cmp);
        let half = &off[n / 4..n - n / 4];
        // Of normal noise the quartiles lie 1.349 standard deviations apart, and the mean of the middle half has 1.2 times
        // the variance of the mean of all.
        let sigma = (half[half.len() - 1] - half[0]) / 1.349;
        let mean = half.iter().sum::<f64>() / half.len() as f64;
        Self { light, off: mean, error2: (1.2 * sigma * sigma / n as f64).max(f64::MIN_POSITIVE) }
    }
}

/// Light, DN above black, and what the line is off by at its places, plane by plane.
fn seen(frame: &Frame, usable: &[Usable], rows: bool, apart: usize, line: usize) -> Vec<Vec<(f64, f64)>> {
    let area = picture_area(frame);
    let (count, length) = if rows { (area.height, area.width) } else { (area.width, area.height) };
    let mut of = vec![Vec::new(); usable.len()];
    if line < 2 * apart || line + 2 * apart >= count {
        return of;
    }
    for k in 0..PLACES.min(length) {
        let i = (2 * k + 1) * length / (2 * PLACES.min(length));
        let (x, y) = place(&area, rows, line, i);
        let plane = frame.filter.plane_at(x, y);
        let v: [f64; 5] = std::array::from_fn(|n| {
            let (x, y) = place(&area, rows, line + n * apart - 2 * apart, i);
            f64::from(frame.samples[y * frame.width + x])
        });
        let low = usable[plane].floor_dn.unwrap_or(-1.0);
        if v.iter().all(|v| *v < usable[plane].clipped_from && *v > low) {
            let light = 0.25 * (v[0] + v[1] + v[3] + v[4]) - usable[plane].black_dn;
            of[plane].push((light, v[2] - (4.0 * (v[1] + v[3]) - v[0] - v[4]) / 6.0));
        }
    }
    of
}

#[cfg(test)]
mod tests {
    use super::super::flat_blocks::Usable;
    use super::go_with_light;
    use crate::test_frames::{Noise, Sensor};

    #[test]
    fn a_share_of_the_light_goes_with_it_and_an_offset_does_not() {
        let lines: Vec<usize> = (0..10).map(|k| 40 + 37 * k).collect();
        for (seed, share, offset) in [(1, 0.2, 0.0), (2, 0.0, 250.0), (3, -0.3, 0.0), (4, 0.0, -250.0)] {
            let mut rng = Noise::new(seed);
            // Light that rises to the right by a half of its mean.
            let drawn = Sensor::default().draw(|x, y, _, s| {
                let light = 4_000.0 * (0.75 + 0.5 * x as f64 / s.width as f64);
                let on = f64::from(u8::from(lines.contains(&y)));
                let e = light * (1.0 + share * on);
                (s.black + (e + e.sqrt() * rng.normal()) / s.gain + offset * on).round()
            });
            let off = offset + 4_000.0 / Sensor::default().gain * share;
            let offsets: Vec<(usize, f64)> = lines.iter().map(|&l| (l, off)).collect();
            let plane = Usable { black_dn: 512.0, floor_dn: None, clipped_from: 16_000.0 };
            let usable = vec![plane; drawn.levels.len()];
            assert_eq!(go_with_light(&drawn, &usable, true, 2, &offsets), share != 0.0, "{share} {offset}");
        }
    }
}
