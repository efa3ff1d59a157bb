//! A thinned set of the flat patches that the noise model stands on, for the plot of variance against mean.

use rawassay_decode::Frame;

use super::Channel;
use super::patches::{BlockShape, PlaneStat};

/// Most blocks looked at; they lie evenly over the frame.
const MOST_BLOCKS: usize = 6000;

/// Flat patches of one plane: (mean above black in DN, variance in DN²), at most `most`, spread evenly over the tones.
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
        if stats.iter().zip(channels).any(|(s, c)| touched(s, c)) || !shape.residuals(frame, corner, &mut left) {
            continue;
        }
        let correlated = shape.correlations(&left).iter().any(|c| c.abs() > 3.3);
        if !correlated && left.iter().all(|z| z.abs() <= 5.0) {
            patches.push((f64::from(stats[plane].mean) - channel.black_dn, f64::from(stats[plane].variance)));
        }
    }
    patches.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Evenly over the tones, not over the patches: a wide sky would hide the rest.
    let (Some(first), Some(last)) = (patches.first().map(|p| p.0), patches.last().map(|p| p.0)) else { return patches };
    let width = ((last - first) / most as f64).max(f64::MIN_POSITIVE);
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for patch in patches {
        if taken.last().is_none_or(|t| patch.0 - t.0 >= width) {
            taken.push(patch);
        }
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_frames::Sensor;

    #[test]
    fn patches_lie_on_the_line_of_the_injected_noise() {
        // A slow ramp on a sensor of 2 e-/DN and 3 e- read noise: variance = mean / 2 + 2.25 + 1/12 DN² (closed form).
        let sensor = Sensor::default();
        let frame = sensor.shoot(|x, _, _| 80.0 + 4.0 * x as f64);
        let channels = crate::measure(&frame).channels;
        let patches = flat_patches(&frame, &channels, 1, 100);
        assert!(patches.len() > 30 && patches.len() <= 101, "{}", patches.len());
        let expected = |mean: f64| mean / sensor.gain + (sensor.read_noise / sensor.gain).powi(2) + 1.0 / 12.0;
        let ratio: f64 = patches.iter().map(|p| p.1 / expected(p.0)).sum::<f64>() / patches.len() as f64;
        // 61 degrees of freedom a patch: standard error of the mean of 60 about 2.3 %.
        assert!((ratio - 1.0).abs() < 0.08, "{ratio}");
        assert!(flat_patches(&frame, &channels, 9, 100).is_empty());
    }
}
