//! The spectrum over the lines of what the smooth parts of each show, its peak, and how high a wave may hide in it.
//!
//! Gives: frequency of the wave that stands out most; and variances, DN squared, by period. Method: power against the median
//! of the frequencies near by, both divided by what differences of lines so far apart make of a wave.
//! Source: own derivation, docs/measures.md.

use rawassay_fourier::{Complex64, forward64};

use super::line_offsets::middle;
use super::lines_shown::{PARTS, Shown};

/// Periods that are looked for, lines.
pub(super) const SHORTEST: f64 = 2.2;
pub(super) const LONGEST: f64 = 72.0;

/// Periods at which it is asked how high a wave must be to be found, lines.
pub(super) const ASKED: [f64; 10] = [2.6, 3.7, 5.3, 7.4, 10.0, 14.0, 20.0, 30.0, 44.0, 62.0];

/// A value of each.
pub(super) type Asked = [f64; ASKED.len()];

/// Half the step from one of these to the next, as a ratio.
const ASKED_STEP: f64 = 1.2;

/// Most by which chance takes off the height of a wave, in units of the median height of the frequencies near by: one in a
/// hundred times (2.33 standard deviations of a component of a complex normal variable, whose squared median is 1.386 of
/// one's variance).
const HIDES: f64 = 1.98;

/// Points of the spectrum to each independent frequency.
const FINE: usize = 4;

/// Independent frequencies on either side that a peak is held against, and those nearest that are its own.
const NEAR: usize = 40;
const PEAK: usize = 3;

/// Least power over the median of those.
const OVER_NEAR: f64 = 36.0;

/// The least response of the second differences at which a wave is looked for: below it the scene is louder.
const LEAST_RESPONSE: f64 = 1.25;

/// What second differences of lines so far apart make of a wave.
pub(super) fn response(frequency: f64, apart: usize) -> f64 {
    2.0 - 2.0 * (std::f64::consts::TAU * frequency * apart as f64).cos()
}

/// Frequency of the peak of the spectrum and its power over that near by, if it is one; and by period asked for, how high a wave
/// may hide, DN squared.
pub(super) fn stands_out(lines: &[[Shown; PARTS]], apart: usize, shortest: f64) -> (Option<(f64, f64)>, Asked) {
    let length = (FINE * lines.len()).next_power_of_two();
    let all = |line: &[Shown; PARTS]| Complex64::new(line.iter().map(|s| s.own.value).sum(), 0.0);
    let mut spectrum: Vec<Complex64> = lines.iter().map(all).collect();
    spectrum.resize(length, Complex64::default());
    forward64(length).process(&mut spectrum);
    let frequency = |i: usize| i as f64 / length as f64;
    // As offsets of the lines, where the differences show them.
    let power = |(i, value): (usize, &Complex64)| {
        let response = response(frequency(i), apart);
        (response > LEAST_RESPONSE && i as f64 * shortest < length as f64).then(|| value.norm_sqr() / response.powi(2))
    };
    let powers: Vec<Option<f64>> = spectrum[..=length / 2].iter().enumerate().map(power).collect();
    let points = |independent: usize| independent * length / lines.len();
    let near = |i: usize| {
        let side = |from: usize, to: usize| powers[from..to.min(powers.len())].iter().flatten();
        let below = side(i.saturating_sub(points(NEAR)).max(1), i.saturating_sub(points(PEAK)).max(1));
        let near = below.chain(side((i + points(PEAK)).min(powers.len()), i + points(NEAR)));
        middle(near.copied().collect())
    };
    // A peak is higher than its neighbours: only there the median is asked for.
    let (first, last) = ((length as f64 / LONGEST).ceil() as usize, (length as f64 / shortest) as usize);
    let peaks = (first..=last).filter_map(|i| {
        let own = powers[i].filter(|&own| Some(own) > powers[i - 1] && Some(own) >= powers[i + 1])?;
        Some((i, own / near(i)))
    });
    let highest = peaks.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, over)| *over > OVER_NEAR);
    let shown: f64 = lines.iter().flatten().map(|s| s.own.response).sum();
    // Not higher than what stands out, and not higher than the highest that is seen near that period and what chance may have
    // taken off.
    let mut hides = [f64::INFINITY; ASKED.len()];
    for (period, hides) in ASKED.into_iter().zip(&mut hides) {
        let at = |by: f64| (length as f64 / period * by) as usize;
        let i = at(1.0);
        if powers[i].is_some() && period >= shortest {
            let near = near(i);
            let seen = powers[at(1.0 / ASKED_STEP)..=at(ASKED_STEP)].iter().flatten().fold(0.0, |a: f64, b| a.max(*b));
            let most = (OVER_NEAR * near).min((seen.sqrt() + HIDES * near.sqrt()).powi(2));
            *hides = 2.0 * most / shown.powi(2);
        }
    }
    (highest.map(|(i, over)| (frequency(i), over)), hides)
}
