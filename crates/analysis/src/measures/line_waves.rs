//! A wave that runs over the rows (or columns) of the whole frame, however long or short.
//!
//! Measures: its period, lines, and its variance, DN squared. Method: the spectrum over the lines of what the smooth
//! parts of each show ([`super::line_steps`]). A wave counts where it stands alone in the spectrum, runs alike through the
//! eight parts of the lines, and adds the same DN to dark and bright and to even and uneven places: what the scene itself
//! repeats (blinds, shelves, a wall, pales) goes with the light or with its structure. In second differences of lines d
//! apart a wave of period P is 2 - 2 cos(2 pi d / P) times as high.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than 288 lines, or too few even places: then no wave is found.

use rawassay_fourier::{Complex64, forward64};

use super::line_offsets::{TELLS, middle};
use super::line_steps::{PARTS, Shown, Weighed};

/// Periods that are looked for, lines.
pub(super) const SHORTEST: f64 = 2.2;
const LONGEST: f64 = 72.0;

/// Periods at which it is asked how high a wave must be to be found, lines.
const ASKED: [f64; 10] = [2.6, 3.7, 5.3, 7.4, 10.0, 14.0, 20.0, 30.0, 44.0, 62.0];

/// Points of the spectrum to each independent frequency.
const FINE: usize = 4;

/// Independent frequencies on either side that a peak is held against, and those nearest that are its own.
const NEAR: usize = 40;
const PEAK: usize = 3;

/// Least power over the median of those, and least squared amplitude over what the parts differ by.
const OVER_NEAR: f64 = 36.0;
const OVER_PARTS: f64 = 16.0;

/// The least response of the second differences at which a wave is looked for: below it the scene is louder.
const LEAST_RESPONSE: f64 = 1.25;

/// Most that the halves of a wave may add to each other, as a share.
const MIXED: f64 = 0.2;

/// How nearly a wave of the sensor is alike for all weights, and that as a share of what one of the scene would differ: one as
/// large as the noise reads a tenth short in dark tones.
const ALIKE: f64 = 0.05;
const ALIKE_SHARE: f64 = 0.15;

/// Most chi-squared that a wave of the sensor leaves, of both tests: what is not alike in all places is not sized well.
const FITS: f64 = 4.0;

/// Mean unevenness below which a picture has little structure that could make a wave all over.
const NEARLY_EVEN: f64 = 0.1;

/// Share by which the period of one wave may differ between differences.
const SAME_PERIOD: f64 = 0.1;

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

impl Wave {
    /// True if it is the same wave, seen in other differences.
    pub(super) fn same_as(&self, other: &Self) -> bool {
        (self.period / other.period - 1.0).abs() < SAME_PERIOD
    }
}

/// What lines show of waves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Waves {
    /// The one that stands out most, if it may be the sensor's.
    pub(super) found: Option<Wave>,
    /// Variance of the least wave that would stand out at each of the [`ASKED`] periods, DN squared; infinite where these
    /// lines do not show it.
    least_dn2: [f64; ASKED.len()],
}

impl Waves {
    /// Variance up to which a wave may go unseen in all of these, DN squared.
    pub(super) fn unseen_dn2(seen: &[Self]) -> f64 {
        let least = |k: usize| seen.iter().map(|s| s.least_dn2[k]).fold(f64::INFINITY, f64::min);
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
fn parts(lines: &[[Shown; PARTS]], frequency: f64) -> [Part; PARTS] {
    let mut parts = [Part::default(); PARTS];
    for (l, line) in lines.iter().enumerate() {
        let turn = Complex64::cis(-std::f64::consts::TAU * frequency * l as f64);
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
fn halves_mixed(lines: &[[Shown; PARTS]], frequency: f64) -> f64 {
    let own = lines.iter().map(|line| line.iter().map(|s| s.own.response).sum::<f64>());
    let turned = |l: usize| Complex64::cis(-2.0 * std::f64::consts::TAU * frequency * l as f64);
    let (twice, all) =
        own.enumerate().fold((Complex64::default(), 0.0), |(t, all), (l, r)| (t + turned(l) * r, all + r));
    twice.norm() / all
}

/// What second differences of lines so far apart make of a wave.
pub(super) fn response(frequency: f64, apart: usize) -> f64 {
    2.0 - 2.0 * (std::f64::consts::TAU * frequency * apart as f64).cos()
}

/// The waves of these lines that are not shorter than so many lines; `None` where the lines are too few.
pub(super) fn find(lines: &[[Shown; PARTS]], apart: usize, shortest: f64) -> Option<Waves> {
    if (lines.len() as f64) < 4.0 * LONGEST {
        return None;
    }
    let (peak, least_dn2) = stands_out(lines, apart, shortest);
    Some(Waves { found: peak.and_then(|(frequency, over)| wave(lines, apart, frequency, over)), least_dn2 })
}

/// The wave of that frequency. `None` where its parts disagree, and where it surely is the scene's.
fn wave(lines: &[[Shown; PARTS]], apart: usize, frequency: f64, over: f64) -> Option<Wave> {
    if halves_mixed(lines, frequency) > MIXED {
        return None;
    }
    let parts = parts(lines, frequency);
    let own = mean(&parts, |p| p.own)?;
    let height2 = own.height.norm_sqr();
    if height2 < OVER_PARTS * own.chance2 {
        return None;
    }
    let (by_level, of_light) = how_unlike(&own, &mean(&parts, |p| p.by_level)?);
    let uneven = mean(&parts, |p| p.by_unevenness);
    let (by_unevenness, of_structure) = uneven.as_ref().map_or((0.0, f64::INFINITY), |uneven| how_unlike(&own, uneven));
    let nearly_even = uneven.is_none_or(|uneven| uneven.response < NEARLY_EVEN * own.response);
    // A cosine has half its height at the frequency and half at its negative.
    let of_wave = response(frequency, apart);
    let dn2 = 2.0 * (height2 - own.chance2) / of_wave.powi(2);
    let (not_light, not_structure) = (of_light - by_level, of_structure - by_unevenness);
    // Where places differ too little in unevenness to tell, a picture that is nearly even has no structure to make the wave.
    let sure = not_light > TELLS && (not_structure > TELLS || nearly_even) && by_level + by_unevenness < FITS;
    let wave = Wave { period: 1.0 / frequency, dn2, over, sure, height: own.height / of_wave };
    (not_light.min(not_structure) > -TELLS).then_some(wave)
}

/// Takes a wave out of what lines so far apart show.
pub(super) fn take_out(lines: &mut [[Shown; PARTS]], apart: usize, wave: &Wave) {
    let of_wave = 2.0 * response(1.0 / wave.period, apart);
    for (l, line) in lines.iter_mut().enumerate() {
        let difference = of_wave * (wave.height * Complex64::cis(std::f64::consts::TAU * l as f64 / wave.period)).re;
        for shown in line.iter_mut().flat_map(|s| [&mut s.own, &mut s.by_level, &mut s.by_unevenness]) {
            shown.value -= difference * shown.response;
        }
    }
}

/// Frequency of the peak of the spectrum and its power over that near by, if it is one; and what a wave must be to stand out.
fn stands_out(lines: &[[Shown; PARTS]], apart: usize, shortest: f64) -> (Option<(f64, f64)>, [f64; ASKED.len()]) {
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
    let least_dn2 = ASKED.map(|period| {
        let i = (length as f64 / period) as usize;
        let seen = powers[i].is_some() && period >= shortest;
        if seen { 2.0 * OVER_NEAR * near(i) / shown.powi(2) } else { f64::INFINITY }
    });
    (highest.map(|(i, over)| (frequency(i), over)), least_dn2)
}

/// Chi-squared of what places of more weight show if the wave is the sensor's, alike whatever the weight, and if it goes with
/// the weight.
fn how_unlike(own: &Mean, weighed: &Mean) -> (f64, f64) {
    // Along the wave's own phase, its height 1.
    let seen = (weighed.height / own.height).re;
    let with_weight = weighed.again * own.response / weighed.response.powi(2);
    let chance2 = 0.5 * weighed.chance2 / own.height.norm_sqr();
    let error2 = chance2 + ALIKE.powi(2) + (ALIKE_SHARE * (with_weight - 1.0)).powi(2);
    ((seen - 1.0).powi(2) / error2, (with_weight - seen).powi(2) / error2)
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::line_offsets::simulated::{D, LINES, lines, random};
    use super::*;

    fn sine(amplitude: f64, period: f64) -> Vec<f64> {
        (0..LINES).map(|l| amplitude * (std::f64::consts::TAU * l as f64 / period + 0.4).sin()).collect()
    }

    #[test]
    fn a_wave_is_found_and_sized_and_chance_is_no_wave() {
        for (period, apart) in [(2.9, 2), (7.0, 2), (33.0, 16)] {
            let found = find(&lines(&sine(0.8, period), 0, 0.0, apart), apart, SHORTEST).unwrap().found.unwrap();
            assert!((found.period / period - 1.0).abs() < 0.005 && found.sure, "{period}: {found:?}");
            assert!((found.dn2 / 0.32 - 1.0).abs() < 0.1, "{period}: {found:?}");
        }
        for seed in 0..12 {
            assert_eq!(find(&lines(&random(seed, 0.5), 0, 0.0, D), D, SHORTEST).unwrap().found, None, "{seed}");
        }
    }

    #[test]
    fn waves_above_the_least_that_stands_out_are_found_and_those_below_are_not() {
        for (apart, shortest, period) in [(D, SHORTEST, 3.7), (D, SHORTEST, 7.4), (16, 16.0, 30.0)] {
            let of = |amplitude: f64| find(&lines(&sine(amplitude, period), 0, 0.0, apart), apart, shortest).unwrap();
            let k = ASKED.iter().position(|asked| *asked == period).unwrap();
            let least = of(0.0).least_dn2[k];
            // A sine's variance is half the square of its amplitude; noise of the same frequency adds to it or takes from it.
            let above = of((2.0 * 2.5 * least).sqrt()).found;
            assert!(above.is_some_and(|wave| (wave.period / period - 1.0).abs() < 0.01), "{period} {least}: {above:?}");
            assert_eq!(of((2.0 * 0.4 * least).sqrt()).found, None, "{period} {least}");
        }
    }

    #[test]
    fn a_wave_hides_where_none_of_the_differences_shows_it() {
        let of = |least_dn2| Waves { found: None, least_dn2 };
        let (mut near, mut far) = ([1.0; ASKED.len()], [f64::INFINITY; ASKED.len()]);
        (near[8], near[9], far[8]) = (f64::INFINITY, f64::INFINITY, 4.0);
        assert_eq!(Waves::unseen_dn2(&[of(near), of(far)]), 4.0);
        assert_eq!(Waves::unseen_dn2(&[]), 0.0);
    }

    #[test]
    fn a_wave_that_goes_with_the_light_is_not_the_sensors() {
        let found = find(&lines(&sine(0.8, 7.0), 1, 0.0, D), D, SHORTEST).unwrap().found;
        assert!(found.is_none_or(|wave| !wave.sure), "{found:?}");
    }

    #[test]
    fn a_wave_that_goes_with_the_structure_is_not_the_sensors() {
        // Every part holds dark or bright places, half of them even and half furrowed.
        let of = |sensor: f64, furrows: f64| {
            let mut lines = lines(&sine(sensor, 7.0), 0, 0.0, D);
            let wave = sine(furrows, 7.0);
            for l in D..LINES - D {
                let furrow = 2.0 * wave[l] - wave[l - D] - wave[l + D];
                for s in &mut lines[l] {
                    let (value, level) = (s.own.value, s.by_level.response);
                    *s = Shown::default();
                    for (uneven, structure) in [(0.0, 0.0), (0.2, furrow)] {
                        let half = 0.5 * (value + structure);
                        s.own.add(1.0, half, 0.5);
                        s.by_level.add(level, half, 0.5);
                        s.by_unevenness.add(uneven, half, 0.5);
                    }
                }
            }
            find(&lines, D, SHORTEST).unwrap().found
        };
        assert!(of(0.8, 0.0).is_some_and(|wave| wave.sure));
        assert!(of(0.0, 1.6).is_none_or(|wave| !wave.sure));
    }

    #[test]
    fn short_waves_pass_a_block_and_long_ones_do_not() {
        // Averaged over all periods two of eight degrees of freedom are lost; of a long wave nothing is left.
        let periods: Vec<f64> = (1..400).map(|i| 800.0 / (f64::from(i) * 0.5 + 200.0)).collect();
        let mean = periods.iter().map(|&p| left_by_block(p, 8, 2.0)).sum::<f64>() / periods.len() as f64;
        assert!((0.7..=1.0).contains(&mean), "{mean}");
        assert!(left_by_block(64.0, 8, 2.0) < 0.01, "{}", left_by_block(64.0, 8, 2.0));
        assert!(left_by_block(16.0, 8, 2.0) > left_by_block(24.0, 8, 2.0));
    }
}
