//! Level and noise of the masked samples of one plane.

use super::cut_off;
use crate::backend::Decoded;
use crate::frame::Area;

/// Fewest masked samples of a plane from which a level is taken.
const FEWEST: usize = 256;
/// Most samples of one area that are looked at.
const MOST: usize = 1 << 20;

/// Level and noise of one plane's masked samples.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    pub(super) level_dn: f64,
    pub(super) noise_dn: f64,
}

/// Level and noise of one plane in these areas; `None` where they hold fewer than 256 of its samples.
pub(super) fn measure(decoded: &Decoded, areas: &[Area], plane: usize) -> Option<Measured> {
    let (mut sum, mut squares, mut weight, mut count) = (0.0, 0.0, 0.0, 0_usize);
    for area in areas {
        let Some(part) = measure_area(decoded, area, plane) else { continue };
        sum += part.level_dn * part.samples as f64;
        squares += part.noise_dn * part.noise_dn * part.samples as f64;
        weight += part.samples as f64;
        count += part.samples;
    }
    (count >= FEWEST)
        .then(|| Measured { level_dn: sum / weight, noise_dn: (squares / weight).sqrt() })
        .filter(|m| m.level_dn.is_finite() && m.noise_dn.is_finite())
}

struct Part {
    level_dn: f64,
    noise_dn: f64,
    samples: usize,
}

/// Level (mean of what lies within four deviations) and noise (deviation of the same, after taking out the offsets of
/// rows and columns) of one area.
fn measure_area(decoded: &Decoded, area: &Area, plane: usize) -> Option<Part> {
    let step = (area.len() / MOST).max(1);
    // Whole periods of the filter array are left out, so that every plane keeps rows.
    let mut values: Vec<(u32, u32, f64)> = Vec::new();
    let rows = decoded.filter.rows;
    for y in area.y..area.bottom() {
        if !((y - area.y) / rows).is_multiple_of(step) {
            continue;
        }
        let row = &decoded.samples[y * decoded.width..(y + 1) * decoded.width];
        let period = decoded.filter.columns.max(1);
        for first in area.x..area.right().min(area.x + period) {
            if decoded.filter.plane_at(first, y) == plane {
                let own = (first..area.right()).step_by(period);
                values.extend(own.map(|x| ((x - area.x) as u32, (y - area.y) as u32, f64::from(row[x]))));
            }
        }
    }
    if values.len() < 64 {
        return None;
    }
    let mut stored: Vec<u16> = values.iter().map(|v| v.2 as u16).collect();
    if cut_off::is_cut_off(&stored) {
        // Offsets of rows and columns are noise there.
        let samples = stored.len();
        return cut_off::level_and_noise(stored).map(|(level_dn, noise_dn)| Part { level_dn, noise_dn, samples });
    }
    let last = stored.len() - 1;
    let mut at = |q: f64| f64::from(*stored.select_nth_unstable((last as f64 * q) as usize).1);
    let (middle, spread) = (at(0.5), ((at(0.8413) - at(0.1587)) / 2.0).max(0.5));
    values.retain(|v| (v.2 - middle).abs() <= 4.0 * spread + 1.0);
    let level_dn = values.iter().map(|v| v.2).sum::<f64>() / values.len() as f64;
    let columns_used = offsets(&mut values, area.width, |v| v.0 as usize);
    let rows_used = offsets(&mut values, area.height, |v| v.1 as usize);
    let freedom = values.len() as f64 - columns_used as f64 - rows_used as f64 + 1.0;
    let squares: f64 = values.iter().map(|v| v.2 * v.2).sum();
    let noise_dn = if freedom >= 32.0 { (squares / freedom).sqrt() } else { spread };
    Some(Part { level_dn, noise_dn, samples: values.len() })
}

/// Takes the mean of each line out of the values; how many lines there were.
fn offsets(values: &mut [(u32, u32, f64)], lines: usize, line: impl Fn(&(u32, u32, f64)) -> usize) -> usize {
    let mut sums = vec![(0.0, 0_u32); lines];
    for v in values.iter() {
        let s = &mut sums[line(v)];
        *s = (s.0 + v.2, s.1 + 1);
    }
    for v in values.iter_mut() {
        let (sum, count) = sums[line(v)];
        v.2 -= sum / f64::from(count);
    }
    sums.iter().filter(|s| s.1 > 0).count()
}
