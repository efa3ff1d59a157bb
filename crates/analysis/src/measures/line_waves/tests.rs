//! Waves of lines with known offsets.

#![allow(clippy::unwrap_used)]
use super::*;
use crate::measures::line_offsets::simulated::{self, D, LINES, random};
use crate::measures::line_spectrum::SHORTEST;
use crate::measures::lines_shown::Shown;

fn lines(offsets: &[f64], apart: usize, shortest: f64) -> LinesSeen {
    LinesSeen { lines: simulated::lines(offsets, 0, 0.0, apart), apart, together: 1, shortest }
}

fn sine(amplitude: f64, period: f64) -> Vec<f64> {
    (0..LINES).map(|l| amplitude * (std::f64::consts::TAU * l as f64 / period + 0.4).sin()).collect()
}

#[test]
fn a_wave_is_found_and_sized_and_chance_is_no_wave() {
    for (period, apart) in [(2.9, 2), (7.0, 2), (33.0, 16)] {
        let found = find(&lines(&sine(0.8, period), apart, SHORTEST)).unwrap().found.unwrap();
        assert!((found.period / period - 1.0).abs() < 0.005 && found.sure, "{period}: {found:?}");
        assert!((found.dn2 / 0.32 - 1.0).abs() < 0.1, "{period}: {found:?}");
    }
    for seed in 0..12 {
        assert_eq!(find(&lines(&random(seed, 0.5), D, SHORTEST)).unwrap().found, None, "{seed}");
    }
}

#[test]
fn a_wave_is_found_or_one_as_high_is_said_to_hide() {
    let mut tightest = f64::INFINITY;
    for (apart, shortest, period) in [(D, SHORTEST, 3.7), (D, SHORTEST, 7.4), (16, 16.0, 30.0)] {
        let of = |amplitude: f64| find(&lines(&sine(amplitude, period), apart, shortest)).unwrap();
        let k = ASKED.iter().position(|asked| *asked == period).unwrap();
        let noise = LineSpectrum::of(&lines(&sine(0.0, period), apart, shortest));
        let stands_out = noise.stands_out_dn2(period);
        for share in [0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.5] {
            // A sine's variance is half the square of its amplitude.
            let seen = of((2.0 * share * stands_out).sqrt());
            // One in a hundred times chance takes off a little more than is reckoned with.
            let hides = seen.hides_dn2[k] >= 0.9 * share * stands_out;
            let found = seen.found.is_some_and(|wave| (wave.period / period - 1.0).abs() < 0.01);
            assert!(found || hides || share > 1.0, "{period} {share}: {seen:?}");
            assert!(found || share < 2.5, "{period} {share}: {seen:?}");
            assert!(!found || share > 0.3, "{period} {share}: {seen:?}");
        }
        tightest = tightest.min(of(0.0).hides_dn2[k] / stands_out);
    }
    // Where nothing is seen, less can hide than what would stand out.
    assert!(tightest < 0.75, "{tightest}");
}

#[test]
fn a_wave_whose_parts_differ_by_more_than_a_tenth_is_found_and_not_sized() {
    let of = |amplitude: f64| -> Vec<Wave> {
        let periods = [4.6, 5.2, 5.8, 6.3, 7.0, 7.9, 9.1];
        periods.iter().filter_map(|p| find(&lines(&sine(amplitude, *p), D, SHORTEST)).unwrap().found).collect()
    };
    // The squared height is 2400 times that of the amplitude over chance: 35, of which 50 are asked, and 390.
    let (faint, clear) = (of(0.12), of(0.4));
    let sized = |waves: &[Wave]| waves.iter().filter(|wave| wave.sure).count();
    assert!(faint.len() >= 4 && 2 * sized(&faint) <= faint.len(), "{faint:?}");
    assert_eq!((clear.len(), sized(&clear)), (7, 7), "{clear:?}");
}

#[test]
fn a_wave_that_is_dropped_hides_at_its_own_period() {
    let wave = Wave { period: 40.0, dn2: 6.6, over: 90.0, sure: true, height: Complex64::default() };
    let waves = Waves { found: Some(wave), hides_dn2: [0.2; ASKED.len()] };
    assert_eq!(Waves::unseen_dn2(&[waves.only(|_| true)]), 0.2);
    let dropped = waves.only(|_| false);
    assert_eq!((dropped.found, Waves::unseen_dn2(&[dropped])), (None, 6.6));
}

#[test]
fn a_wave_hides_where_none_of_the_differences_shows_it() {
    let of = |hides_dn2| Waves { found: None, hides_dn2 };
    let (mut near, mut far) = ([1.0; ASKED.len()], [f64::INFINITY; ASKED.len()]);
    (near[8], near[9], far[8]) = (f64::INFINITY, f64::INFINITY, 4.0);
    assert_eq!(Waves::unseen_dn2(&[of(near), of(far)]), 4.0);
    assert_eq!(Waves::unseen_dn2(&[]), 0.0);
}

#[test]
fn a_wave_that_other_differences_do_not_show_is_not_the_sensors() {
    let near = lines(&sine(0.8, 24.0), 6, 6.0);
    let wave = find(&near).unwrap().found.unwrap();
    assert!(agrees(&wave, &near));
    assert!(agrees(&wave, &lines(&sine(0.8, 24.0), 18, 18.0)));
    assert!(!agrees(&wave, &lines(&sine(0.0, 24.0), 18, 18.0)));
    // Twelve lines apart the differences are four times as high, twenty-four apart there is nothing of it to see.
    assert!(agrees(&wave, &lines(&sine(0.0, 24.0), 24, 24.0)));
}

#[test]
fn a_wave_as_long_as_an_array_of_which_half_is_not_seen_may_be_of_any_height() {
    let of = |period: f64| find(&lines(&sine(0.8, period), 3, SHORTEST)).unwrap();
    let (own, beside) = (of(6.0), of(6.1));
    assert_eq!((own.found, Waves::unseen_dn2(&[own])), (None, f64::MAX));
    assert!(beside.found.is_some_and(|wave| wave.sure) && Waves::unseen_dn2(&[beside]) < 1.0, "{beside:?}");
}

#[test]
fn a_wave_that_goes_with_the_light_is_not_the_sensors() {
    let lit = LinesSeen { lines: simulated::lines(&sine(0.8, 7.0), 1, 0.0, D), ..lines(&[0.0; LINES], D, SHORTEST) };
    let found = find(&lit).unwrap().found;
    assert!(found.is_none_or(|wave| !wave.sure), "{found:?}");
}

#[test]
fn a_wave_that_a_part_of_the_lines_does_not_have_is_not_the_sensors() {
    // Little is seen of the first part, as of a sky beside a roof: the mean is that of the others.
    let of = |share: f64, first: f64| {
        let (mut seen, without) = (lines(&sine(1.6, 7.0), D, SHORTEST), lines(&[0.0; LINES], D, SHORTEST));
        for (line, without) in seen.lines.iter_mut().zip(&without.lines) {
            line[0].own.value = first * line[0].own.value + (1.0 - first) * without[0].own.value;
            line[0].scale(share);
        }
        find(&seen).unwrap().found
    };
    for share in [0.2, 0.5, 1.0] {
        assert!(of(share, 1.0).is_some_and(|wave| wave.sure), "{share}");
        assert_eq!(of(share, 0.0), None, "{share}");
    }
    // A tenth less is as good as alike.
    assert!(of(1.0, 0.9).is_some_and(|wave| wave.sure));
}

#[test]
fn a_wave_that_one_part_alone_shows_is_not_sized() {
    // All parts have it, but the others show so little that they could not tell.
    let sure = |share: f64| {
        let mut seen = lines(&sine(0.8, 7.0), D, SHORTEST);
        seen.lines.iter_mut().flat_map(|line| &mut line[1..]).for_each(|part| part.scale(share));
        find(&seen).unwrap().found.unwrap().sure
    };
    assert!(sure(0.1) && !sure(0.02));
}

#[test]
fn a_wave_that_goes_with_the_structure_is_not_the_sensors() {
    // Every part holds dark or bright places, half of them even and half furrowed.
    let of = |sensor: f64, furrows: f64| {
        let mut seen = lines(&sine(sensor, 7.0), D, SHORTEST);
        let wave = sine(furrows, 7.0);
        for l in D..LINES - D {
            let furrow = 2.0 * wave[l] - wave[l - D] - wave[l + D];
            for s in &mut seen.lines[l] {
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
        find(&seen).unwrap().found
    };
    assert!(of(0.8, 0.0).is_some_and(|wave| wave.sure));
    assert!(of(0.0, 1.6).is_none_or(|wave| !wave.sure));
}

#[test]
fn a_wave_in_places_all_alike_is_the_sensors_where_these_are_nearly_even() {
    // Nothing tells whether it goes with the unevenness, which is the same in all places.
    let of = |uneven: f64| {
        let mut seen = lines(&sine(0.8, 7.0), D, SHORTEST);
        for s in seen.lines.iter_mut().flatten() {
            let own = s.own;
            s.by_unevenness = Weighed {
                value: uneven * own.value,
                response: uneven * own.response,
                again: uneven * uneven * own.response,
            };
        }
        find(&seen).unwrap().found.unwrap()
    };
    assert!(of(0.0).sure && of(0.08).sure);
    assert!(!of(0.13).sure && !of(0.3).sure);
}

#[test]
fn a_wave_that_goes_with_the_light_in_part_is_not_sized() {
    // Levels of 1 to 4: bright places show 1.05 and 1.08 times what all show; of the light alone it would be 1.2.
    let of = |lit: f64| {
        let [sensor, light] = [(0, 4.0), (1, 4.0 * lit)].map(|(power, height)| {
            let none = simulated::lines(&[0.0; LINES], 0, 0.0, D);
            let with = simulated::lines(&sine(height, 7.0), power, 0.0, D);
            (none, with)
        });
        let mut seen = LinesSeen { lines: sensor.1, ..lines(&[0.0; LINES], D, SHORTEST) };
        for ((to, none), with) in
            seen.lines.iter_mut().flatten().zip(light.0.iter().flatten()).zip(light.1.iter().flatten())
        {
            to.own.value += with.own.value - none.own.value;
            to.by_level.value += with.by_level.value - none.by_level.value;
        }
        find(&seen).unwrap().found.unwrap()
    };
    assert!(of(0.0).sure && of(0.12).sure && of(0.2).sure);
    assert!(!of(0.28).sure);
}

#[test]
fn short_waves_pass_a_block_and_long_ones_do_not() {
    // Averaged over all periods two of eight degrees of freedom are lost; of a long wave nothing is left.
    let periods: Vec<f64> = (1..400).map(|i| 800.0 / (f64::from(i) * 0.5 + 200.0)).collect();
    let mean = periods.iter().map(|&p| left_by_block(p, 8, 2.0)).sum::<f64>() / periods.len() as f64;
    assert!((0.7..=1.0).contains(&mean), "{mean}");
    assert!(left_by_block(64.0, 8, 2.0) < 0.01, "{}", left_by_block(64.0, 8, 2.0));
    assert!(left_by_block(16.0, 8, 2.0) > left_by_block(24.0, 8, 2.0));
    // The mean of a wave over its own length is nothing, over a very long one its height, and over half of it 2 / pi (many lines).
    let over = |period: f64| mean_over_block(period, 400, 1.0);
    assert!(over(400.0).abs() < 1e-12 && (over(1e6) - 1.0).abs() < 1e-5);
    assert!((over(800.0) - std::f64::consts::FRAC_2_PI).abs() < 1e-4);
}
