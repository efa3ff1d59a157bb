//! The flat patches that the noise model stands on, few enough for the plot of variance against mean.

use rawassay_decode::Frame;

use super::Channel;
use super::patches::{BlockShape, PlaneStat};

/// Most blocks looked at; they lie evenly over the frame.
const MOST_BLOCKS: usize = 6000;

/// Flat patches of one plane, those of like tone together: (mean above black in DN, variance in DN²), at most `most`.
///
/// Patches touched by clipping, and those in which neighbouring samples are correlated (structure of the scene), are left
/// out, as for the noise model itself. Empty where the filter array has no patches, and for a plane that is not there.
#[must_use]
pub fn flat_patches(frame: &Frame, channels: &[Channel], plane: usize, most: usize) -> Vec<(f64, f64)> {
    let (Some(shape), Some(channel)) = (BlockShape::of(frame), channels.get(plane)) else { return Vec::new() };
    if plane >= shape.planes || most == 0 {
        return Vec::new();
    }
    let corners = shape.corners(frame);
    let step = corners.len().div_ceil(MOST_BLOCKS).max(1);
    let mut left = vec![0.0_f32; shape.side * shape.side];
    let mut stats = vec![PlaneStat::default(); shape.planes];
    let mut patches: Vec<(f64, f64)> = Vec::new();
    for &corner in corners.iter().step_by(step) {
        shape.measure(frame, corner, &mut stats);
        let touched = |s: &PlaneStat, c: &Channel| f64::from(s.greatest) >= c.saturation_dn || s.least == 0;
        if stats.iter().zip(channels).any(|(s, c)| touched(s, c)) || !shape.residuals(frame, corner, &stats, &mut left)
        {
            continue;
        }
        // The noise model's own tests of structure.
        let c = shape.correlations(&left);
        let structure = c.iter().any(|c| c.abs() > 3.3) || c.iter().sum::<f64>() > 1.2;
        if !structure && left.iter().all(|z| z.abs() <= 5.0) {
            patches.push((f64::from(stats[plane].mean) - channel.black_dn, f64::from(stats[plane].variance)));
        }
    }
    groups(patches, most)
}

/// Least share of the variance at the brightest patch that a square term must make to be worth telling.
const WORTH: f64 = 0.05;

/// Square term of variance = read^2 + mean / gain + k mean^2 over such patches, for a plot beside the fitted line: pixels that
/// respond unevenly, or fine texture. Least squares of what the line leaves, each patch weighted by the inverse of its own
/// variance squared. Zero where it makes less than a twentieth of the variance anywhere.
#[must_use]
pub fn unevenness(patches: &[(f64, f64)], gain_e_per_dn: f64, read_noise_dn: f64) -> f64 {
    let line = |mean: f64| read_noise_dn * read_noise_dn + mean / gain_e_per_dn;
    let (mut sum, mut weight) = (0.0, 0.0);
    for &(mean, variance) in patches.iter().filter(|p| p.1 > 0.0) {
        let w = 1.0 / (variance * variance);
        sum += w * (variance - line(mean)) * mean * mean;
        weight += w * mean.powi(4);
    }
    let k = if weight > 0.0 { (sum / weight).max(0.0) } else { 0.0 };
    let brightest = patches.iter().map(|p| p.0).fold(0.0, f64::max);
    if k * brightest * brightest >= WORTH * line(brightest) { k } else { 0.0 }
}

/// Fewest patches of a group: one alone scatters by a fifth.
const FEWEST: usize = 3;

/// Level and variance of patches of like tone: groups of equal width in EV, at most `most`, at least a sixth of an EV. The
/// middle patch stands for its group, as texture that passed the tests can only add variance.
fn groups(mut patches: Vec<(f64, f64)>, most: usize) -> Vec<(f64, f64)> {
    patches.retain(|p| p.0 > 0.0);
    let tone = |p: &(f64, f64)| p.0.log2();
    let first = patches.iter().map(tone).fold(f64::INFINITY, f64::min);
    let last = patches.iter().map(tone).fold(f64::NEG_INFINITY, f64::max);
    let width = ((last - first) / (most as f64 - 0.5)).max(1.0 / 6.0);
    let mut groups: Vec<Vec<(f64, f64)>> = vec![Vec::new(); most];
    for patch in patches {
        groups[(((tone(&patch) - first) / width) as usize).min(most - 1)].push(patch);
    }
    groups.retain(|g| g.len() >= FEWEST);
    let middle = |mut group: Vec<(f64, f64)>| {
        // Compared at one tone: the variance over the mean.
        group.sort_by(|a, b| (a.1 / a.0).total_cmp(&(b.1 / b.0)));
        let (mean, variance) = group[group.len() / 2];
        // Median of chi-squared over its mean, about (1 - 2 / 9n)^3, n = 61 samples less three fitted.
        (mean, variance / 0.989)
    };
    groups.into_iter().map(middle).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_square_term_of_a_closed_form_is_found_and_a_straight_line_has_none() {
        let with = |k: f64| -> Vec<(f64, f64)> {
            (1..40).map(|i| f64::from(i) * 100.0).map(|m| (m, 9.0 + m / 2.0 + k * m * m)).collect()
        };
        assert!((unevenness(&with(1e-4), 2.0, 3.0) / 1e-4 - 1.0).abs() < 1e-9);
        assert!(unevenness(&with(0.0), 2.0, 3.0) == 0.0 && unevenness(&[], 2.0, 3.0) == 0.0);
    }

    use crate::test_frames::Sensor;

    #[test]
    fn patches_lie_on_the_line_of_the_injected_noise() {
        // A slow ramp on a sensor of 2 e-/DN and 3 e- read noise: variance = mean / 2 + 2.25 + 1/12 DN² (closed form).
        let sensor = Sensor::default();
        let frame = sensor.shoot(|x, _, _| 80.0 + 4.0 * x as f64);
        let channels = crate::measure(&frame).channels;
        let patches = flat_patches(&frame, &channels, 1, 60);
        assert!(patches.len() > 12 && patches.len() <= 60, "{}", patches.len());
        let expected = |mean: f64| mean / sensor.gain + (sensor.read_noise / sensor.gain).powi(2) + 1.0 / 12.0;
        let ratio: f64 = patches.iter().map(|p| p.1 / expected(p.0)).sum::<f64>() / patches.len() as f64;
        // 61 degrees of freedom a patch, at least 3 patches a group: standard error of a group's median about 12 %, of all under 4 %.
        assert!((ratio - 1.0).abs() < 0.08, "{ratio}");
        assert!(flat_patches(&frame, &channels, 9, 100).is_empty());
    }
}
