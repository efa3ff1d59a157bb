//! The spectrum over the lines of what the smooth parts of each show, its peak, and how high a wave may hide in it.
//!
//! Gives: frequency of the wave that stands out most; and variances, DN squared, by period. Method: power against the median
//! of the frequencies near by, both divided by what differences of lines so far apart make of a wave.
//! Source: own derivation, docs/measures.md.

use rawassay_fourier::{Complex64, forward64};

use super::line_offsets::middle;
use super::lines_seen::LinesSeen;
use super::lines_shown::{PARTS, Shown};

/// Periods that are looked for, lines.
pub(super) const SHORTEST: f64 = 2.2;
pub(super) const LONGEST: f64 = 72.0;

/// Periods at which it is asked how high a wave must be to be found, lines.
pub(super) const ASKED: [f64; 10] = [2.6, 3.7, 5.3, 7.4, 10.0, 14.0, 20.0, 30.0, 44.0, 62.0];

/// Half the step from one of these to the next, as a ratio.
pub(super) const ASKED_STEP: f64 = 1.2;

/// Most by which chance takes off the height of a wave, in units of the median height of the frequencies near by: one in a
/// hundred times (2.33 standard deviations of a component of a complex normal variable, whose squared median is 1.386 of
/// one's variance).
const HIDES: f64 = 1.98;

/// Points of the spectrum to each independent frequency.
const FINE: usize = 4;

/// Independent frequencies on either side that a peak is held against, and those nearest that are its own.
const NEAR: usize = 40;
const PEAK: usize = 3;

/// Independent frequencies of a short stretch.
const STRETCH: usize = 8;

/// Least power over the median of those.
const OVER_NEAR: f64 = 36.0;

/// The least response of the second differences at which a wave is looked for: below it the scene is louder.
const LEAST_RESPONSE: f64 = 1.25;

/// The same for waves of fewer lines than twice those between the lines that are held against each other: a lens draws little so
/// fine, so the scene is not loud there.
const LEAST_OF_SHORT: f64 = 0.5;

/// What second differences of lines so far apart make of a wave.
pub(super) fn response(frequency: f64, apart: usize) -> f64 {
    2.0 - 2.0 * (std::f64::consts::TAU * frequency * apart as f64).cos()
}

/// Power of the lines' offsets, where their differences show them, by frequency.
pub(super) struct LineSpectrum {
    powers: Vec<Option<f64>>,
    apart: usize,
    /// Groups of lines, points of the whole spectrum, and lines that these stand for.
    groups: usize,
    length: usize,
    whole: f64,
    shortest: f64,
    /// What an offset of one in all lines would show.
    shown: f64,
}

impl LineSpectrum {
    pub(super) fn of(seen: &LinesSeen) -> Self {
        let (lines, shortest) = (&seen.lines, seen.shortest);
        let length = (FINE * lines.len()).next_power_of_two();
        let whole = (length * seen.together) as f64;
        let all = |line: &[Shown; PARTS]| Complex64::new(line.iter().map(|s| s.own.value).sum(), 0.0);
        let mut spectrum: Vec<Complex64> = lines.iter().map(all).collect();
        spectrum.resize(length, Complex64::default());
        forward64(length).process(&mut spectrum);
        let power = |(i, value): (usize, &Complex64)| {
            let frequency = i as f64 / whole;
            let short = seen.apart == 2 && 2.0 * frequency * seen.apart as f64 > 1.0;
            let least = if short { LEAST_OF_SHORT } else { LEAST_RESPONSE };
            (response(frequency, seen.apart) > least && frequency * shortest < 1.0)
                .then(|| value.norm_sqr() / seen.response(frequency).powi(2))
        };
        let powers = spectrum[..=length / 2].iter().enumerate().map(power).collect();
        let shown = lines.iter().flatten().map(|s| s.own.response).sum();
        Self { powers, apart: seen.apart, groups: lines.len(), length, whole, shortest, shown }
    }

    /// Median power of the frequencies near one.
    fn near(&self, i: usize) -> f64 {
        let points = |independent: usize| independent * self.length / self.groups;
        let side = |from: usize, to: usize| self.powers[from..to.min(self.powers.len())].iter().flatten();
        let below = side(i.saturating_sub(points(NEAR)).max(1), i.saturating_sub(points(PEAK)).max(1));
        let near = below.chain(side((i + points(PEAK)).min(self.powers.len()), i + points(NEAR)));
        middle(near.copied().collect())
    }

    /// What the median near a frequency is not below: half of the least median of the short stretches around, which cost little.
    fn least_near(&self) -> impl Fn(usize) -> f64 + use<> {
        let points = |independent: usize| (independent * self.length / self.groups).max(1);
        let (stretch, reach) = (points(STRETCH), points(NEAR));
        let median = |stretch: &[Option<f64>]| {
            let known: Vec<f64> = stretch.iter().flatten().copied().collect();
            if known.is_empty() { f64::INFINITY } else { middle(known) }
        };
        let medians: Vec<f64> = self.powers.chunks(stretch).map(median).collect();
        move |i| {
            let around = i.saturating_sub(reach) / stretch..=((i + reach) / stretch).min(medians.len() - 1);
            0.5 * medians[around].iter().copied().fold(f64::INFINITY, f64::min)
        }
    }

    /// Frequency of the wave that stands out most and its power over that near by, if one does.
    pub(super) fn peak(&self) -> Option<(f64, f64)> {
        let (first, last) = ((self.whole / LONGEST).ceil() as usize, (self.whole / self.shortest) as usize);
        // A peak is higher than its neighbours: only there the median is asked for.
        let least_near = self.least_near();
        let peaks = (first..=last).filter_map(|i| {
            let own =
                self.powers[i].filter(|&own| Some(own) > self.powers[i - 1] && Some(own) >= self.powers[i + 1])?;
            (own > OVER_NEAR * least_near(i)).then(|| (i, own / self.near(i)))
        });
        let highest = peaks.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, over)| *over > OVER_NEAR);
        highest.map(|(i, over)| (i as f64 / self.whole, over))
    }

    /// Variance from which a wave of that period stands out, DN squared; infinite where these lines do not show it.
    pub(super) fn stands_out_dn2(&self, period: f64) -> f64 {
        let i = (self.whole / period) as usize;
        let shows = period >= self.shortest && self.powers[i].is_some();
        if shows { 2.0 * OVER_NEAR * self.near(i) / self.shown.powi(2) } else { f64::INFINITY }
    }

    /// Variance up to which a wave of that period may hide, DN squared; infinite where these lines do not show it. It is not
    /// higher than what stands out, nor than the highest that is seen near that period and what chance may have taken off.
    pub(super) fn hides_dn2(&self, period: f64) -> f64 {
        let stands_out = self.stands_out_dn2(period);
        if stands_out.is_infinite() {
            return stands_out;
        }
        let at = |by: f64| (self.whole / period * by) as usize;
        let shown = |i: &usize| response(*i as f64 / self.whole, self.apart) > LEAST_RESPONSE;
        let near = (at(1.0 / ASKED_STEP)..=at(ASKED_STEP)).filter(shown).filter_map(|i| self.powers[i]);
        let seen = near.fold(0.0, f64::max);
        stands_out.min(2.0 * (seen.sqrt() + HIDES * self.near(at(1.0)).sqrt()).powi(2) / self.shown.powi(2))
    }
}
