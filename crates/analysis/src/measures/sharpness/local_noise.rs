//! A rough noise model from the frame itself, for frames whose gain or read noise could not be measured.

use super::samples::{ColourSamples, SampleNoise};

/// Tone classes of the estimate.
const TONES: usize = 12;
/// The share of the patches of a tone that is taken as free of structure.
const FLAT_SHARE: f64 = 0.15;

/// Variance against level from second differences of same-colour neighbours along rows, lower envelope by tone.
///
/// Own derivation: v = (a - 2 b + c) / sqrt 6 has the variance of one sample where the scene is straight; the mean of
/// v^2 over 12 neighbours is taken in many places, and the lower 15 % of a tone (times 1.6, its place in the
/// distribution of a flat patch) is taken for noise.
pub(crate) fn estimate(samples: &ColourSamples<'_>) -> SampleNoise {
    let frame = samples.frame;
    let spp = frame.filter.samples_per_pixel;
    let mut patches: Vec<(f32, f32)> = Vec::new();
    let step_y = (samples.area.height / 300).max(1);
    let mut line: Vec<f32> = Vec::with_capacity(samples.area.width);
    for y in (samples.area.y..samples.area.bottom()).step_by(step_y) {
        line.clear();
        let row = frame.row(y);
        for x in samples.area.x..samples.area.right() {
            if let Some(cell) = samples.cell_at(x, y) {
                let dn = row[x * spp + samples.sample];
                line.push(if dn >= cell.clip_dn { f32::NAN } else { (f32::from(dn) - cell.black_dn) * cell.scale });
            }
        }
        for patch in line.chunks_exact(14).step_by(1 + line.len() / 14 / 64) {
            let level = patch.iter().sum::<f32>() / 14.0;
            let spread = patch.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).powi(2)).sum::<f32>() / 12.0 / 6.0;
            if spread.is_finite() {
                patches.push((level, spread));
            }
        }
    }
    let fallback = SampleNoise { slope_dn: 0.0, floor_dn2: 1.0 };
    if patches.len() < 24 {
        return fallback;
    }
    patches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let size = patches.len().div_ceil(TONES).max(12);
    let mut points: Vec<(f64, f64)> = Vec::new();
    for tone in patches.chunks_mut(size) {
        let level = f64::from(tone[tone.len() / 2].0.max(0.0));
        tone.sort_by(|a, b| a.1.total_cmp(&b.1));
        let variance = f64::from(tone[(tone.len() as f64 * FLAT_SHARE) as usize].1) * 1.6;
        points.push((level, variance.max(1.0 / 12.0)));
    }
    // Weighted straight line, weights 1 / variance^2, both terms kept from going negative.
    let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(x, y) in &points {
        let k = 1.0 / (y * y);
        w += k;
        wx += k * x;
        wy += k * y;
        wxx += k * x * x;
        wxy += k * x * y;
    }
    let det = w * wxx - wx * wx;
    let slope = if det > 1e-9 * w * wxx { ((w * wxy - wx * wy) / det).max(0.0) } else { 0.0 };
    let floor = ((wy - slope * wx) / w).max(1.0 / 12.0);
    if slope.is_finite() && floor.is_finite() {
        SampleNoise { slope_dn: slope as f32, floor_dn2: floor as f32 }
    } else {
        fallback
    }
}
