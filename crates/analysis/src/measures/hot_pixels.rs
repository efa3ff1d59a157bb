//! Single pixels that stand alone far above their neighbours.
//!
//! Measures: their count. Method: a sample above every like-coloured sample round it by 6.5 times the noise of that tone
//! and by 1.6 times what those differ among themselves, while the next pixels (other colours in a Bayer
//! array) are not moved: a star or a glint passes the lens and spreads over them, a hot pixel does not.
//! Source: own derivation, docs/measures.md.
//! Fails when: the noise of the frame is unknown.

use rawassay_decode::Frame;

use super::histogram::picture_area;

/// Height above the highest neighbour, in standard deviations of the noise there.
const ABOVE_NOISE: f64 = 6.5;

/// Height above the highest neighbour, in differences between the neighbours themselves.
const ABOVE_NEIGHBOURS: f64 = 1.6;

/// Most of the height by which the eight next pixels together may stand out of the pixels of their colours two and three
/// pixels from the spot, noise apart; the sharpest lens leaves a third of it there.
const MOVED_SHARE: f64 = 0.12;

/// What noise alone may make of that, in standard deviations: 0.6 on average.
const MOVED_NOISE: f64 = 2.5;

/// How far those pixels are looked for.
const RING: usize = 3;

/// Samples of a row that are looked at together before one by one: nearly all stretches hold nothing.
const STRETCH: usize = 32;

/// Counts hot pixels. `variance(plane, level)` is the noise of a tone at a level (DN absolute), DN squared.
pub(crate) fn count(frame: &Frame, variance: impl Fn(usize, f64) -> f64) -> Option<u64> {
    if frame.filter.is_linear() {
        return None;
    }
    let area = picture_area(frame);
    let period = frame.filter.columns;
    // How far like-coloured neighbours lie.
    let step = if period == 1 { 1 } else { 2 };
    // Then the samples beside, above and below at that distance are of the same colour.
    let crossed = period == step;
    let margin = RING.max(period);
    if area.width <= 2 * margin || area.height <= 2 * margin {
        return Some(0);
    }
    // The least height by level, 16 codes a step, the least of the planes.
    let planes = frame.filter.planes.len();
    let least: Vec<u16> = (0..4096)
        .map(|i| {
            let v = (0..planes).map(|p| variance(p, 16.0 * f64::from(i))).fold(f64::INFINITY, f64::min);
            (ABOVE_NOISE * v.max(0.0).sqrt()).clamp(1.0, 65535.0) as u16
        })
        .collect();
    // The least of all levels from here on: what no sample of a stretch whose darkest side is here may exceed.
    let mut from_here = least.clone();
    for i in (0..from_here.len() - 1).rev() {
        from_here[i] = from_here[i].min(from_here[i + 1]);
    }
    let mut found = 0;
    for y in area.y + margin..area.bottom() - margin {
        let row = &frame.row(y)[area.x..area.right()];
        let n = row.len() - 2 * margin;
        let (before, here) = (&row[margin - period..][..n], &row[margin..][..n]);
        let after = &row[margin + period..][..n];
        let stretches = before.chunks(STRETCH).zip(here.chunks(STRETCH)).zip(after.chunks(STRETCH));
        for (k, ((a, v), b)) in stretches.enumerate() {
            let (step_dn, darkest) = greatest_step(a, v, b);
            let least_here = from_here[usize::from(darkest >> 4)];
            if step_dn <= least_here
                || (crossed && !stands_alone(frame, (area.x + margin + k * STRETCH, y), v, step, least_here))
            {
                continue;
            }
            for (i, ((&a, &v), &b)) in a.iter().zip(v).zip(b).enumerate() {
                let side = a.max(b);
                if v > side
                    && v - side > least[usize::from(side >> 4)]
                    && is_hot(frame, area.x + margin + k * STRETCH + i, y, step, &variance)
                {
                    found += 1;
                }
            }
        }
    }
    Some(found)
}

/// Greatest rise of a sample above both of its neighbours, and the least of what they rise above, over a stretch.
fn greatest_step(before: &[u16], here: &[u16], after: &[u16]) -> (u16, u16) {
    let (mut step_dn, mut darkest) = (0, u16::MAX);
    for ((&a, &v), &b) in before.iter().zip(here).zip(after) {
        let side = a.max(b);
        step_dn = step_dn.max(v.saturating_sub(side));
        darkest = darkest.min(side);
    }
    (step_dn, darkest)
}

/// False where every sample of a stretch that begins at (x, y) is told from a hot pixel by the four next samples of its
/// colour alone: it does not stand above all of them by more than `least_dn` and by what they differ.
fn stands_alone(frame: &Frame, (x, y): (usize, usize), here: &[u16], step: usize, least_dn: u16) -> bool {
    let n = here.len();
    let (row, over, under) = (frame.row(y), frame.row(y - step), frame.row(y + step));
    let (left, right) = (&row[x - step..][..n], &row[x + step..][..n]);
    let (over, under) = (&over[x..][..n], &under[x..][..n]);
    let mut any = false;
    for i in 0..n {
        let most = left[i].max(right[i]).max(over[i].max(under[i]));
        let least = left[i].min(right[i]).min(over[i].min(under[i]));
        let above = here[i].saturating_sub(most);
        any |= (above > least_dn) & (most - least <= above);
    }
    any
}

fn is_hot(frame: &Frame, x: usize, y: usize, step: usize, variance: &impl Fn(usize, f64) -> f64) -> bool {
    let at = |x: usize, y: usize| frame.samples[y * frame.width + x];
    let v = f64::from(at(x, y));
    let plane = frame.filter.plane_at(x, y);
    let (mut least, mut most, mut sum, mut count) = (u16::MAX, 0_u16, 0.0, 0.0);
    for ny in y - step..=y + step {
        for nx in x - step..=x + step {
            if (nx, ny) != (x, y) && frame.filter.plane_at(nx, ny) == plane {
                let n = at(nx, ny);
                least = least.min(n);
                most = most.max(n);
                sum += f64::from(n);
                count += 1.0;
            }
        }
    }
    if count < 2.0 {
        return false;
    }
    let noise = variance(plane, sum / count).max(0.0).sqrt();
    let above = v - f64::from(most);
    if above < ABOVE_NOISE * noise || above < ABOVE_NEIGHBOURS * f64::from(most - least) {
        return false;
    }
    // A spot that the lens made, whatever its colour, moves the next pixels out of what surrounds them, up or down; a hot
    // pixel moves none.
    let mut ring = [(u16::MAX, 0_u16); 8];
    for ny in y - RING..=y + RING {
        for nx in x - RING..=x + RING {
            if nx.abs_diff(x).max(ny.abs_diff(y)) > 1 {
                let (least, most) = &mut ring[frame.filter.plane_at(nx, ny) % 8];
                let n = at(nx, ny);
                (*least, *most) = ((*least).min(n), (*most).max(n));
            }
        }
    }
    let mut moved = 0.0;
    for ny in y - 1..=y + 1 {
        for nx in x - 1..=x + 1 {
            if (nx, ny) != (x, y) {
                let (least, most) = ring[frame.filter.plane_at(nx, ny) % 8];
                let n = at(nx, ny);
                moved += f64::from(n.saturating_sub(most).max(least.saturating_sub(n)));
            }
        }
    }
    moved < MOVED_SHARE * (v - sum / count) + MOVED_NOISE * noise
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    fn scene(x: usize, y: usize) -> f64 {
        let i = (x / 90 * 7 + y / 70 * 13) % 11;
        8_000.0 * 2_f64.powf(-0.6 * i as f64)
    }

    #[test]
    fn planted_hot_pixels_are_counted_and_stars_are_not() {
        let sensor = Sensor { width: 800, height: 600, ..Sensor::default() };
        let mut rng = Noise::new(8);
        let mut frame = sensor.shoot(|x, y, _| scene(x, y));
        for k in 0..120_usize {
            let (x, y) = (20 + (k * 331) % 760, 20 + (k * 173) % 560);
            let i = y * 800 + x;
            frame.samples[i] = (f64::from(frame.samples[i]) + 1_500.0 + 9_000.0 * rng.uniform()).min(16_383.0) as u16;
        }
        let found = measure(&frame).noise.hot_pixels.unwrap();
        assert!((114..=126).contains(&found), "{found} of 120");

        // Stars: Gaussian spots of 0.6 px with the pixel's own width, at places between the pixels.
        let mut stars = vec![0.0; 800 * 600];
        for k in 0..300_usize {
            let (cx, cy) = (20.0 + 760.0 * rng.uniform(), 20.0 + 560.0 * rng.uniform());
            let light = 20_000.0 * rng.uniform();
            for y in cy as usize - 4..cy as usize + 5 {
                for x in cx as usize - 4..cx as usize + 5 {
                    let r2 = (x as f64 - cx).powi(2) + (y as f64 - cy).powi(2);
                    stars[y * 800 + x] += light * (-r2 / (2.0 * 0.36)).exp() / (std::f64::consts::TAU * 0.36);
                }
            }
            let _ = k;
        }
        let sky = sensor.shoot(|x, y, p| (200.0 + stars[y * 800 + x]) * [0.6, 1.0, 1.0, 0.7][p]);
        let found = measure(&sky).noise.hot_pixels.unwrap_or(0);
        assert!(found <= 6, "{found} stars taken for hot pixels");
        let clean = measure(&sensor.shoot(|x, y, _| scene(x, y)));
        assert_eq!(clean.noise.hot_pixels, Some(0));
    }
}
