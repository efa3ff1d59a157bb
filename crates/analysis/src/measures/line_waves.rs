//! A wave that runs over the rows (or columns) of the whole frame, however long or short.
//!
//! Measures: its period, lines, and its variance, DN squared. Method: the spectrum over the lines of what the smooth
//! parts of each show ([`super::line_steps`]). A wave counts where it stands alone in the spectrum, runs alike through the
//! eight parts of the lines, and adds the same DN to dark and bright and to even and uneven places: what the scene itself
//! repeats (blinds, shelves, a wall, pales) goes with the light or with its structure. In second differences of lines d
//! apart a wave of period P is 2 - 2 cos(2 pi d / P) times as high.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than 288 lines, or too few even places: then no wave is found.

use rawassay_fourier::Complex64;

use super::line_offsets::TELLS;
use super::line_spectrum::{ASKED, ASKED_STEP, LONGEST, LineSpectrum, response};
use super::line_weights::OF_NOISE;
use super::lines_seen::LinesSeen;
use super::lines_shown::{PARTS, Weighed};

/// Least squared amplitude over what the parts differ by.
const OVER_PARTS: f64 = 16.0;

/// The same from which on a wave is sized to a tenth (one standard error is one over the root of twice that).
const SIZED: f64 = 50.0;

/// Most that the halves of a wave may add to each other, as a share.
const MIXED: f64 = 0.2;

/// How nearly a wave of the sensor is alike for all weights, and that as a share of what one of the scene would differ: one as
/// large as the noise reads a tenth short in dark tones.
const ALIKE: f64 = 0.05;
const ALIKE_SHARE: f64 = 0.15;

/// Most chi-squared that a wave of the sensor leaves, of both tests: what is not alike in all places is not sized well.
const FITS: f64 = 4.0;

/// Most chi-squared of the eight parts' waves about their mean (14 degrees of freedom) where they differ by so small a share of it
/// besides: of 158 waves of the sensor in simulated frames the greatest was 66, of a roof beside a sky 154.
const ALIKE_IN_PARTS: f64 = 90.0;
const PARTS_SHARE: f64 = 0.1;

/// Fewest parts that show a wave, those that show little counted as less: whether they agree cannot be told of one. Of 149 waves
/// that were stated in simulated frames all but one are shown by two.
const FEWEST_PARTS: f64 = 1.5;

/// Mean unevenness below which a picture has little structure that could make a wave all over.
const NEARLY_EVEN: f64 = 0.1;

/// Squared error of a wave's height, in units of chance, and share of it by which differences of other lines may be off.
const DISAGREES: f64 = 12.0;
const OFF_SHARE: f64 = 0.35;

/// Least response of differences that tell whether a wave is there.
const LEAST_TOLD: f64 = 0.5;

/// A wave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wave {
    pub(super) period: f64,
    /// Variance that it adds to the lines, DN squared.
    pub(super) dn2: f64,
    /// Power over that of the frequencies near by.
    pub(super) over: f64,
    /// False where the tones do not tell whether it is added to all of them.
    pub(super) sure: bool,
    /// Its height and phase: line l is offset by twice the real part of this turned by l over the period, DN.
    pub(super) height: Complex64,
}

/// What lines show of waves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Waves {
    /// The one that stands out most, if it may be the sensor's.
    pub(super) found: Option<Wave>,
    /// Variance up to which a wave may hide at each of the [`ASKED`] periods, DN squared; infinite where these lines do not
    /// show it.
    hides_dn2: [f64; ASKED.len()],
}

impl Waves {
    /// The same without a wave that is not to be kept; one as high may hide at its period all the same.
    pub(super) fn only(self, keep: impl FnOnce(&Wave) -> bool) -> Self {
        let Some(dropped) = self.found.filter(|wave| !keep(wave)) else { return self };
        let mut hides_dn2 = self.hides_dn2;
        let near = ASKED.iter().zip(&mut hides_dn2).filter(|(period, _)| near(**period, dropped.period));
        near.for_each(|(_, hides)| *hides = hides.max(dropped.dn2));
        Self { found: None, hides_dn2 }
    }

    /// Variance up to which a wave may go unseen in all of these, DN squared.
    pub(super) fn unseen_dn2(seen: &[Self]) -> f64 {
        let least = |k: usize| seen.iter().map(|s| s.hides_dn2[k]).fold(f64::INFINITY, f64::min);
        // Some periods none can show: those of large arrays.
        (0..ASKED.len()).map(least).filter(|dn2| dn2.is_finite()).fold(0.0, f64::max)
    }
}

/// The wave in one part of the lines, turned by its phase in each.
#[derive(Debug, Clone, Copy, Default)]
struct Part {
    own: Weighed<Complex64>,
    by_level: Weighed<Complex64>,
    by_unevenness: Weighed<Complex64>,
}

/// Each part's wave at a frequency (cycles per line).
fn parts(seen: &LinesSeen, frequency: f64) -> [Part; PARTS] {
    let mut parts = [Part::default(); PARTS];
    for (l, line) in seen.lines.iter().enumerate() {
        let turn = seen.turn(l, -frequency);
        let add = |to: &mut Weighed<Complex64>, s: &Weighed<f64>| {
            to.value += turn * s.value;
            to.response += s.response;
            to.again += s.again;
        };
        for (to, s) in parts.iter_mut().zip(line) {
            add(&mut to.own, &s.own);
            add(&mut to.by_level, &s.by_level);
            add(&mut to.by_unevenness, &s.by_unevenness);
        }
    }
    parts
}

/// The mean wave of the parts, with its squared error from how far they agree.
struct Mean {
    height: Complex64,
    chance2: f64,
    response: f64,
    again: f64,
}

/// `None` where there is nothing.
fn mean(parts: &[Part; PARTS], of: impl Fn(&Part) -> Weighed<Complex64>) -> Option<Mean> {
    let each = parts.each_ref().map(of);
    let response: f64 = each.iter().map(|p| p.response).sum();
    let height = each.iter().map(|p| p.value).sum::<Complex64>() / response;
    let off = each.iter().map(|p| (p.value - height * p.response).norm_sqr()).sum::<f64>();
    let chance2 = off / response.powi(2) * PARTS as f64 / (PARTS - 1) as f64;
    let again = each.iter().map(|p| p.again).sum();
    (response > 0.0).then_some(Mean { height, chance2, response, again })
}

/// What the two halves of a wave, which run opposite ways, add to each other as a share, because the lines that show it repeat
/// themselves with half its period: then its phase decides what is seen of it.
fn halves_mixed(seen: &LinesSeen, frequency: f64) -> f64 {
    let own = seen.lines.iter().map(|line| line.iter().map(|s| s.own.response).sum::<f64>());
    let turned = |l: usize| seen.turn(l, -2.0 * frequency);
    let (twice, all) =
        own.enumerate().fold((Complex64::default(), 0.0), |(t, all), (l, r)| (t + turned(l) * r, all + r));
    twice.norm() / all
}

/// True of a wave as long as an array whose differences over half of it are looked at: a pattern that repeats itself with the array
/// has it too, and the wave of half its length, which these differences do not show.
fn of_the_array(seen: &LinesSeen, frequency: f64) -> bool {
    seen.apart % 2 == 1 && (frequency - 0.5 / seen.apart as f64).abs() * (seen.count() as f64) < 1.0
}

/// True if one of [`ASKED`] stands for a period.
fn near(asked: f64, period: f64) -> bool {
    (asked / period).max(period / asked) < ASKED_STEP
}

/// The waves of these lines; `None` where the lines are too few.
pub(super) fn find(seen: &LinesSeen) -> Option<Waves> {
    if (seen.count() as f64) < 4.0 * LONGEST {
        return None;
    }
    let spectrum = LineSpectrum::of(seen);
    let (mixed, peak) = match spectrum.peak() {
        Some((frequency, _)) if halves_mixed(seen, frequency) > MIXED || of_the_array(seen, frequency) => {
            (Some(1.0 / frequency), None)
        }
        peak => (None, peak),
    };
    let found = peak.and_then(|(frequency, over)| wave(seen, frequency, over));
    // A wave that stands out but cannot be sized may be of any height.
    let hides = |period: f64| match mixed {
        Some(own) if near(period, own) => f64::MAX,
        _ => spectrum.hides_dn2(period),
    };
    Some(Waves { found, hides_dn2: ASKED.map(hides) })
}

/// The wave of that frequency. `None` where its parts disagree, and where it surely is the scene's.
fn wave(seen: &LinesSeen, frequency: f64, over: f64) -> Option<Wave> {
    let parts = parts(seen, frequency);
    let own = mean(&parts, |p| p.own)?;
    let height2 = own.height.norm_sqr();
    if height2 < OVER_PARTS * own.chance2 {
        return None;
    }
    // A cosine has half its height at the frequency and half at its negative.
    let of_wave = seen.response(frequency);
    if unlike_in_parts(&parts, &own, of_wave) > ALIKE_IN_PARTS {
        return None;
    }
    let (by_level, of_light) = how_unlike(&parts, &own, |p| p.by_level)?;
    let uneven = mean(&parts, |p| p.by_unevenness);
    let (by_unevenness, of_structure) = how_unlike(&parts, &own, |p| p.by_unevenness).unwrap_or((0.0, f64::INFINITY));
    let nearly_even = uneven.is_none_or(|uneven| uneven.response < NEARLY_EVEN * own.response);
    let dn2 = 2.0 * (height2 - own.chance2) / of_wave.powi(2);
    let (not_light, not_structure) = (of_light - by_level, of_structure - by_unevenness);
    // Where places differ too little in unevenness to tell, a picture that is nearly even has no structure to make the wave.
    let sure = height2 > SIZED * own.chance2
        && not_light > TELLS
        && (not_structure > TELLS || nearly_even)
        && by_level + by_unevenness < FITS
        && parts_that_show(&parts) > FEWEST_PARTS;
    let wave = Wave { period: 1.0 / frequency, dn2, over, sure, height: own.height / of_wave };
    (not_light.min(not_structure) > -TELLS).then_some(wave)
}

/// So many parts alike would show as much: (sum of weights)^2 over the sum of their squares.
fn parts_that_show(parts: &[Part; PARTS]) -> f64 {
    let (sum, squares) = parts.iter().fold((0.0, 0.0), |t, p| (t.0 + p.own.response, t.1 + p.own.response.powi(2)));
    sum * sum / squares
}

/// Chi-squared of the waves of the parts about their mean: a wave of the sensor is as high in all of them, to chance and to
/// [`PARTS_SHARE`], while one of a roof is not in the sky beside it. Chance is that of noise, by which the parts are weighed.
fn unlike_in_parts(parts: &[Part; PARTS], own: &Mean, of_wave: f64) -> f64 {
    let share2 = PARTS_SHARE.powi(2) * own.height.norm_sqr();
    let unlike = |p: &Part| {
        let chance2 = OF_NOISE / 6.0 * of_wave.powi(2) / p.own.response;
        (p.own.value / p.own.response - own.height).norm_sqr() / (0.5 * (chance2 + share2))
    };
    parts.iter().filter(|p| p.own.response > 0.0).map(unlike).sum()
}

/// True unless these lines, which would show the wave too, show something else: a wave of the sensor is the same in all
/// differences, while of a scene each shows what its own neighbours hold.
pub(super) fn agrees(wave: &Wave, seen: &LinesSeen) -> bool {
    let frequency = 1.0 / wave.period;
    // Several lines together do not show short waves.
    if response(frequency, seen.apart) < LEAST_TOLD || seen.together > 1 && wave.period < seen.shortest {
        return true;
    }
    let expected = wave.height * seen.response(frequency);
    mean(&parts(seen, frequency), |p| p.own).is_none_or(|seen| {
        (seen.height - expected).norm_sqr() < DISAGREES * seen.chance2 + (OFF_SHARE * expected.norm()).powi(2)
    })
}

/// Takes a wave out of what lines show.
pub(super) fn take_out(seen: &mut LinesSeen, wave: &Wave) {
    let frequency = 1.0 / wave.period;
    let of_wave = 2.0 * seen.response(frequency);
    for l in 0..seen.lines.len() {
        let difference = of_wave * (wave.height * seen.turn(l, frequency)).re;
        let line = &mut seen.lines[l];
        for shown in line.iter_mut().flat_map(|s| [&mut s.own, &mut s.by_level, &mut s.by_unevenness]) {
            shown.value -= difference * shown.response;
        }
    }
}

/// Chi-squared of what places of more weight show if the wave is the sensor's, alike whatever the weight, and if it goes with
/// the weight. Both means hold the same noise: what it does to their difference tells from how the parts differ in that.
fn how_unlike(parts: &[Part; PARTS], own: &Mean, of: impl Fn(&Part) -> Weighed<Complex64>) -> Option<(f64, f64)> {
    let weighed = mean(parts, &of)?;
    let height2 = own.height.norm_sqr();
    let off = |p: &Part| {
        let (o, w) = (p.own, of(p));
        let expected = own.height * (w.response / weighed.response - o.response / own.response);
        (w.value / weighed.response - o.value / own.response - expected).norm_sqr()
    };
    let chance2 = 0.5 * parts.iter().map(off).sum::<f64>() * PARTS as f64 / (PARTS - 1) as f64 / height2;
    // Along the wave's own phase, its height 1.
    let seen = (weighed.height / own.height).re;
    let with_weight = weighed.again * own.response / weighed.response.powi(2);
    // The weights' own squared deviation, as a share: what differs from place to place by a share shows times their deviation.
    let spread2 = with_weight - 1.0;
    let error2 = chance2 + ALIKE.powi(2) * spread2 + (ALIKE_SHARE * spread2).powi(2);
    Some(((seen - 1.0).powi(2) / error2, (with_weight - seen).powi(2) / error2))
}

/// Share of a wave's variance that fitting level and slope to `lines` equally spaced lines, `apart` apart, leaves.
pub(super) fn left_by_block(period: f64, lines: usize, apart: f64) -> f64 {
    let n = lines as f64;
    let x = |i: usize| (i as f64 - 0.5 * (n - 1.0)) * apart;
    let sxx: f64 = (0..lines).map(|i| x(i).powi(2)).sum();
    // Cosine and sine together stand for all phases.
    let part = |wave: &dyn Fn(f64) -> f64| {
        let v: Vec<f64> = (0..lines).map(|i| wave(std::f64::consts::TAU * x(i) / period)).collect();
        let mean = v.iter().sum::<f64>() / n;
        let slope = (0..lines).map(|i| x(i) * v[i]).sum::<f64>() / sxx;
        (0..lines).map(|i| (v[i] - mean - slope * x(i)).powi(2)).sum::<f64>() / n
    };
    part(&f64::cos) + part(&f64::sin)
}

/// Mean of a wave over so many equally spaced lines, over its height at their middle.
pub(super) fn mean_over_block(period: f64, lines: usize, apart: f64) -> f64 {
    let x = |i: usize| (i as f64 - 0.5 * (lines as f64 - 1.0)) * apart;
    (0..lines).map(|i| (std::f64::consts::TAU * x(i) / period).cos()).sum::<f64>() / lines as f64
}

#[cfg(test)]
mod tests;
