//! Whether every part of the lines shows the offsets that all show together.
//!
//! Gives: how far the part that differs most is from all, chi-squared of one degree of freedom. Each part counts in the whole by
//! how much it shows, so that one in which nothing of the scene's lines is, a sky beside ribbed walls, does not weigh; an offset of
//! the sensor is in all of them.
//! Source: own derivation, docs/measures.md.

use super::line_offsets::{SHAPE, ends};
use super::lines_shown::{PARTS, Shown};

/// Share of the variance by which a part may differ besides chance.
const SHARE: f64 = 0.1;

/// Most chi-squared of the part that differs most: of 134 offsets that were stated in simulated frames the greatest was 23, of
/// ribbed walls beside a sky 94.
const MOST: f64 = 46.0;

/// True where a part of the lines surely does not have the offsets of that variance, DN squared, that all show.
pub(super) fn lacks(lines: &[[Shown; PARTS]], apart: usize, variance_dn2: f64) -> bool {
    let ends = ends(lines);
    let unlike = |part: usize| {
        let starts = std::iter::once(0).chain(ends.iter().copied());
        let groups: Vec<(f64, f64)> =
            starts.zip(&ends).map(|(from, &to)| shared(lines, apart, from..to, part)).collect();
        let (value, response) = groups.iter().fold((0.0, 0.0), |t, g| (t.0 + g.0, t.1 + g.1));
        let own = value / response;
        let chance2 = groups.iter().map(|g| (g.0 - own * g.1).powi(2)).sum::<f64>() / response.powi(2);
        let unlike = (own - variance_dn2).powi(2) / (chance2 + (SHARE * variance_dn2).powi(2));
        if response > 0.0 { unlike } else { 0.0 }
    };
    (0..PARTS).map(unlike).fold(0.0, f64::max) > MOST
}

/// Covariance of a part with all others over some lines, by the shape of independent offsets, and what offsets of variance 1 would
/// give.
fn shared(lines: &[[Shown; PARTS]], apart: usize, of: std::ops::Range<usize>, part: usize) -> (f64, f64) {
    let with_others = |a: &[Shown; PARTS], b: &[Shown; PARTS], value: fn(&Shown) -> f64| {
        value(&a[part]) * (b.iter().map(value).sum::<f64>() - value(&b[part]))
    };
    let mut sums = (0.0, 0.0);
    for l in of {
        for (k, covariance) in SHAPE.into_iter().enumerate() {
            let Some(b) = lines.get(l + k * apart) else { continue };
            let weight = if k == 0 { covariance } else { 2.0 * covariance };
            let both = |value| 0.5 * (with_others(&lines[l], b, value) + with_others(b, &lines[l], value));
            sums.0 += weight * both(|s| s.own.value);
            sums.1 += weight * covariance * both(|s| s.own.response);
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::super::line_offsets::simulated::{D, lines, random};
    use super::*;

    #[test]
    fn offsets_that_a_part_does_not_have_are_told_however_little_it_shows() {
        for seed in 1..=3 {
            // The first part has a share of the offsets, and counts a twentieth of the others.
            let of = |share: f64| {
                let mut seen = lines(&random(seed, 1.5), 0, 0.0, D);
                let without = lines(&random(seed, 0.0), 0, 0.0, D);
                for (line, without) in seen.iter_mut().zip(&without) {
                    line[0].own.value = share * line[0].own.value + (1.0 - share) * without[0].own.value;
                    line[0].scale(0.05);
                }
                lacks(&seen, D, 2.25)
            };
            assert!(!of(1.0) && !of(0.85), "{seed}");
            assert!(of(0.0), "{seed}");
        }
    }
}
