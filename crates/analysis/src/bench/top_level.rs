//! Where a plane is full: the level at which the samples of its brightest flats pile up, or the noise is gone.
//!
//! Measures: saturation, DN above the dark frames. Method: a full photosite gives one level whatever the light, so a flat that
//! is full even in part holds a spike that nothing lies above. A spike is one code (the converter's end) or as wide as dark
//! noise and dark pattern (the photosites' end), far narrower than photon noise. Where the photosites hold different amounts
//! there is no spike, but a full one has no photon noise: the variance collapses. A flat whose variance is merely short of
//! the line is full in part; then saturation lies above it, and where is not known.
//! Unit: DN. Input: counts by code, means and variances of the pairs. Source: own derivation, docs/measures.md; EMVA 1288 takes
//! the level of the greatest variance, which is that of the last flat before.
//! Fails when: no flat is full, and the other planes do not tell.

use super::photon_transfer::TransferPoint;
use crate::measures::histogram::Histogram;

/// Variance below this share of the line is that of a full flat.
const COLLAPSED: f64 = 0.25;
/// Of a collapsed flat, this share of the line's variance says that some of it is not full.
const NOT_WHOLLY: f64 = 0.05;
/// Variance short of the line by this share, and by `STANDARD_ERRORS`, is that of a flat full in part.
const SHORT: f64 = 0.15;
const STANDARD_ERRORS: f64 = 6.0;
/// Share of the samples that makes a spike: fewer may be hot photosites.
pub(super) const PILED: f64 = 0.01;
/// Above a spike lies at most this share of what it holds.
const ABOVE: f64 = 0.25;
/// A spike is narrower than this share of the photon noise at its level.
const NARROW: f64 = 0.3;
/// Planes of one sensor are full at one level: they are asked to agree within this share, and in their slopes within `ALIKE`.
const SAME: f64 = 0.01;
const ALIKE: f64 = 0.05;

/// What the flats of a plane say of its saturation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Top {
    /// Full at this level, DN above dark; `wholly` where the flat that says so is full all over.
    Full { level: f64, wholly: bool },
    /// Full in part: the highest level that is not and the highest one that is, DN above dark.
    Between { last: f64, first: f64 },
    /// Not full anywhere.
    Below,
}

/// A spike at the top of the counts, `width` codes wide: its level, DN, and its share of the samples.
fn pile(counts: &Histogram, width: usize) -> Option<(f64, f64)> {
    let highest = counts.highest()?;
    let total = counts.total() as f64;
    let inside = |end: usize| counts.between(end.saturating_sub(width), end) as f64;
    let start = (1..=highest + width).rev().find(|&end| inside(end) >= PILED * total)?;
    let end = (start.saturating_sub(width).max(1)..=start).max_by(|a, b| inside(*a).total_cmp(&inside(*b)))?;
    let held = inside(end);
    let above = counts.between(end, highest + 1) as f64;
    let codes = end.saturating_sub(width)..end;
    let sum: f64 = codes.map(|code| code as f64 * counts.between(code, code + 1) as f64).sum();
    (above <= ABOVE * held).then(|| (sum / held, held / total))
}

/// Where one plane is full. `points` rise in level; `k` is the slope of the line, `dark_sd` the spread of the dark frames'
/// samples, pattern included.
pub(super) fn top(
    points: &[TransferPoint],
    counts: &[&Histogram],
    k: f64,
    (dark_dn, dark_variance, dark_sd): (f64, f64, f64),
) -> Top {
    let line = |level: f64| k * level + dark_variance;
    let widths = [1, (4.0 * dark_sd).ceil().max(1.0) as usize];
    let spikes = widths.iter().find_map(|&width| {
        let found = counts.iter().filter_map(|c| pile(c, width)).map(|(dn, share)| (dn - dark_dn, share));
        found
            .filter(|&(level, _)| level > 0.0 && (width as f64) < NARROW * line(level).sqrt())
            .max_by(|a, b| a.1.total_cmp(&b.1))
    });
    if let Some((level, _)) = spikes {
        return Top::Full { level, wholly: true };
    }
    if let Some(full) = points.iter().rev().find(|q| q.variance_dn2 < COLLAPSED * line(q.mean_dn)) {
        let left = (full.variance_dn2 - dark_variance) / (k * full.mean_dn);
        return Top::Full { level: full.mean_dn, wholly: left < NOT_WHOLLY };
    }
    let short = |q: &&TransferPoint| {
        let least = SHORT.max(STANDARD_ERRORS * (2.0 / q.pixels.max(1) as f64).sqrt());
        q.variance_dn2 < (1.0 - least) * line(q.mean_dn)
    };
    match points.iter().rev().find(short) {
        Some(first) => {
            let on_line = points.iter().filter(|q| !short(q) && q.mean_dn < first.mean_dn);
            Top::Between { last: on_line.map(|q| q.mean_dn).fold(0.0, f64::max), first: first.mean_dn }
        }
        None => Top::Below,
    }
}

/// The level at which other planes are full all over, where they agree, this plane has their slope and no flat of it is
/// brighter.
pub(super) fn of_others(own: usize, tops: &[Top], slopes: &[f64], greatest: f64) -> Option<f64> {
    let full: Vec<(f64, f64)> = tops
        .iter()
        .zip(slopes)
        .enumerate()
        .filter_map(|(p, (top, &k))| match top {
            Top::Full { level, wholly: true } if p != own => Some((*level, k)),
            _ => None,
        })
        .collect();
    let mean = full.iter().map(|f| f.0).sum::<f64>() / full.len().max(1) as f64;
    let agree =
        full.iter().all(|&(level, k)| (level / mean - 1.0).abs() < SAME && (k / slopes[own] - 1.0).abs() < ALIKE);
    (!full.is_empty() && agree && greatest < (1.0 + SAME) * mean).then_some(mean)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Noise;

    fn counted(values: impl Iterator<Item = f64>) -> Histogram {
        let mut counts = vec![0_u32; 1 << 16];
        values.for_each(|v| counts[v.round() as usize] += 1);
        Histogram::new(counts)
    }

    /// Samples of a tone with noise, cut at `end`, then noise behind it.
    fn tone(level: f64, noise: f64, end: f64, behind: f64) -> Histogram {
        let mut rng = Noise::new(level as u64);
        counted((0..60_000).map(|_| (level + noise * rng.normal()).min(end) + behind * rng.normal()))
    }

    #[test]
    fn a_spike_is_told_from_a_slope_of_noise() {
        for level in [9_800.0, 9_900.0, 10_000.0, 10_100.0, 10_300.0] {
            let (end, share) = pile(&tone(level, 100.0, 10_000.0, 0.0), 1).unwrap();
            assert_eq!(end, 10_000.0);
            assert!((0.01..=1.0).contains(&share));
            let (end, _) = pile(&tone(level, 100.0, 10_000.0, 3.0), 12).unwrap();
            assert!((end - 10_000.0).abs() < 4.0, "{end}");
            for width in [1, 12, 30] {
                assert_eq!(pile(&tone(level, 100.0, f64::INFINITY, 0.0), width), None, "{level}, {width}");
            }
        }
        // A few hot photosites at the end are none.
        assert_eq!(pile(&counted((0..1_000).map(|i| if i < 9 { 16_383.0 } else { 4_000.0 + f64::from(i) })), 1), None);
    }

    #[test]
    fn other_planes_tell_only_where_they_agree() {
        let full = |level| Top::Full { level, wholly: true };
        let of = |tops: &[Top], slopes: &[f64], greatest| of_others(0, tops, slopes, greatest);
        assert_eq!(of(&[Top::Below, full(9_990.0), full(10_010.0)], &[0.5, 0.51, 0.49], 9_000.0), Some(10_000.0));
        assert_eq!(of(&[Top::Below, full(9_000.0), full(10_000.0)], &[0.5; 3], 9_000.0), None);
        assert_eq!(of(&[Top::Below, full(10_000.0)], &[0.5, 0.6], 9_000.0), None);
        assert_eq!(of(&[Top::Below, full(10_000.0)], &[0.5; 2], 11_000.0), None);
        assert_eq!(of(&[Top::Below, Top::Below], &[0.5; 2], 9_000.0), None);
        let half_full = Top::Full { level: 9_700.0, wholly: false };
        assert_eq!(of(&[Top::Below, half_full, full(10_000.0)], &[0.5; 3], 9_000.0), Some(10_000.0));
    }
}
