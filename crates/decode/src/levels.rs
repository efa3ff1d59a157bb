//! Black from the masked border, where there is one that is really black; else as declared.

use crate::backend::Decoded;
use crate::frame::{Area, BlackFrom, PlaneLevels};

/// Fewest masked samples of a plane from which a black level is taken.
const FEWEST: usize = 256;

/// Levels of each plane.
pub(crate) fn levels(decoded: &Decoded) -> Vec<PlaneLevels> {
    let planes = decoded.filter.planes.len();
    (0..planes)
        .map(|plane| {
            let white = decoded.white.get(plane).copied().unwrap_or(65_535.0);
            let declared = decoded.black.get(plane).copied().unwrap_or(0.0);
            let values = masked_samples(decoded, plane);
            let masked = (values.len() >= FEWEST).then(|| robust(values));
            match masked {
                Some((level, noise)) if level < 0.25 * white => PlaneLevels {
                    black_dn: level,
                    black_from: BlackFrom::Masked,
                    white_declared_dn: white,
                    masked_noise_dn: Some(noise),
                },
                _ => PlaneLevels {
                    black_dn: declared,
                    black_from: BlackFrom::Declared,
                    white_declared_dn: white,
                    masked_noise_dn: None,
                },
            }
        })
        .collect()
}

fn masked_samples(decoded: &Decoded, plane: usize) -> Vec<u16> {
    if decoded.filter.is_linear() {
        return Vec::new();
    }
    let mut values = Vec::new();
    for area in &decoded.masked {
        let Area { x, y, .. } = *area;
        for row in y..area.bottom() {
            let line = &decoded.samples[row * decoded.width..(row + 1) * decoded.width];
            let cells = line.iter().enumerate().take(area.right()).skip(x);
            values.extend(cells.filter(|(column, _)| decoded.filter.plane_at(*column, row) == plane).map(|(_, v)| v));
        }
    }
    values
}

/// Mean and standard deviation of what lies within four robust deviations of the median.
fn robust(mut values: Vec<u16>) -> (f64, f64) {
    values.sort_unstable();
    let median = f64::from(values[values.len() / 2]);
    let quartile = |q: usize| f64::from(values[values.len() * q / 4]);
    let spread = ((quartile(3) - quartile(1)) / 1.349).max(0.75);
    let kept: Vec<f64> = values.iter().map(|&v| f64::from(v)).filter(|v| (v - median).abs() <= 4.0 * spread).collect();
    let mean = kept.iter().sum::<f64>() / kept.len() as f64;
    let variance = kept.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / kept.len() as f64;
    (mean, variance.sqrt())
}
