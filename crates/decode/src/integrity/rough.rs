//! Rubbish: stretches whose neighbouring samples differ by a large part of the whole range, and that begin and end from
//! one row to the next; values far below black in clusters.

use super::segments::Segments;
use super::{Range, rows};
use crate::backend::Decoded;

/// Mean difference of neighbours of one colour, as a part of the range, that no optics lets through over a stretch.
/// Uniform random samples have 1/3.
const RUBBISH: f64 = 0.2;
/// Stretches over which impossible samples are counted, and how many of them are too many.
const WINDOW: usize = 16;
const TOO_MANY: u32 = 12;
/// Values that are no further below black than so many deviations of the quietest stretches' noise are that noise and its
/// bands: a sensor at its highest ISO.
const NOISE_REACHES: f64 = 5.0;

pub(super) fn look(decoded: &Decoded, segments: &Segments, range: &Range) -> Option<String> {
    rubbish(decoded, segments, range).or_else(|| too_low(segments, range))
}

fn rubbish(decoded: &Decoded, segments: &Segments, range: &Range) -> Option<String> {
    let n = segments.per_row;
    let limit = RUBBISH * range.span();
    let rough = |i: usize| f64::from(segments.all[i].rough_dn) > limit;
    let count = (0..segments.all.len()).filter(|&i| rough(i)).count();
    // A chart of finest lines over the whole frame is no damage, and cannot be told from it.
    if count < 2 || 4 * count > 3 * segments.all.len() {
        return None;
    }
    // A subject so rough would be as rough in the neighbouring rows of the same colour; in a file, what is broken
    // begins at one place and goes on along the row.
    let step = decoded.filter.rows.max(2) * n;
    let mut suspicious = Vec::new();
    let mut i = 0;
    while i < segments.all.len() {
        if !rough(i) {
            i += 1;
            continue;
        }
        let first = i;
        while i < segments.all.len() && rough(i) {
            i += 1;
        }
        if i - first < 2 {
            continue;
        }
        let calm = |j: Option<usize>| match j.and_then(|j| segments.all.get(j)) {
            Some(s) => f64::from(s.rough_dn) < 0.25 * limit,
            None => true,
        };
        let upper = first..i.min(first + n);
        let lower = first.max(i.saturating_sub(n))..i;
        let above = upper.clone().filter(|&j| calm(j.checked_sub(step))).count();
        let below = lower.clone().filter(|&j| calm(Some(j + step))).count();
        if 5 * above >= 4 * upper.len() && 5 * below >= 4 * lower.len() {
            suspicious.push((first, i));
        }
    }
    let long =
        suspicious.iter().find(|(a, b)| b - a >= 4).or_else(|| suspicious.first().filter(|_| suspicious.len() <= 3))?;
    let lines = rows(long.0 / n, (long.1 - 1) / n);
    Some(format!("{lines}: samples without any likeness to the rows around: decoded from broken data"))
}

fn too_low(segments: &Segments, range: &Range) -> Option<String> {
    if range.black_dn - f64::from(range.low_dn) < NOISE_REACHES * quiet_noise_dn(segments) {
        return None;
    }
    let lows: u64 = segments.all.iter().map(|s| u64::from(s.low)).sum();
    // Where many are low, the declared black is wrong and not the data.
    let samples = segments.row_samples() as u64 * segments.rows as u64;
    if lows < u64::from(TOO_MANY) || lows * 50 > samples {
        return None;
    }
    let window: Vec<u32> = segments.all.iter().map(|s| u32::from(s.low.min(32))).collect();
    let touched = |w: &[u32]| w.iter().filter(|&&l| l > 0).count() >= 4;
    let at = window.windows(WINDOW).position(|w| w.iter().sum::<u32>() >= TOO_MANY && touched(w))?;
    // Columns of such values run through the whole frame: a sensor's own.
    let column = at % segments.per_row;
    let rows_hit = (0..segments.rows).filter(|r| segments.all[r * segments.per_row + column].low > 0).count();
    if 2 * rows_hit > segments.rows {
        return None;
    }
    Some(format!("row {}: a cluster of values far below black: decoded from broken data", at / segments.per_row))
}

/// Standard deviation in the quietest twentieth of the stretches, DN: their neighbours differ by 2 / sqrt(pi) of it in the
/// mean. What was decoded from broken data is not quiet.
fn quiet_noise_dn(segments: &Segments) -> f64 {
    let mut roughness: Vec<u16> = segments.all.iter().map(|s| s.rough_dn).collect();
    if roughness.is_empty() {
        return 0.0;
    }
    let at = roughness.len() / 20;
    f64::from(*roughness.select_nth_unstable(at).1) * std::f64::consts::PI.sqrt() / 2.0
}
