//! Bursts and brackets against sessions with known truth (crate `rawassay_tests::session`).

use rawassay_analysis::sets::{Sets, sets};
use rawassay_analysis::{Brief, Judgement, judge};
use rawassay_report::Record;
use rawassay_tests::session::{Body, Dice, Take, clock, record};

use crate::series::rows;

fn found(records: &[Record]) -> Sets {
    let brief = Brief::built_in("exhibition").unwrap();
    let judgements: Vec<Judgement> = records.iter().map(|r| judge::judge(&r.subject(), &brief, None)).collect();
    sets(&rows(records, &judgements))
}

/// The best of a burst in 95 of 100: five frames whose motion or defocus differs by what can be seen.
#[test]
fn the_best_of_a_burst_is_right_in_95_of_100() {
    let body = Body::common();
    let mut right = 0;
    for seed in 0..100 {
        let mut dice = Dice(seed * 31 + 1);
        let best = (5.0 * dice.uniform()) as usize;
        let records: Vec<Record> = (0..5)
            .map(|i| {
                let (motion_px, defocus_px) = match (i == best, dice.uniform() < 0.5) {
                    (true, _) => (0.4 * dice.uniform(), 0.0),
                    (false, true) => (1.5 + 4.0 * dice.uniform(), 0.0),
                    (false, false) => (0.0, 1.2 + 2.0 * dice.uniform()),
                };
                let take = Take {
                    file: format!("B{i}"),
                    taken_at: Some(clock(0.2 * i as f64)),
                    motion_px,
                    defocus_px,
                    motion_deg: 180.0 * dice.uniform(),
                    scene: seed,
                    range_ev: 5.0,
                    error: 0.03,
                    ..Take::default()
                };
                record(&body, &take, &mut dice)
            })
            .collect();
        let sets = found(&records);
        assert_eq!((sets.bursts.len(), sets.brackets.len()), (1, 0), "seed {seed}");
        let burst = &sets.bursts[0];
        assert_eq!(burst.ranking.len(), 5);
        right += u32::from(burst.best.as_deref() == Some(&format!("B{best}")));
    }
    assert!(right >= 95, "{right} of 100");
}

/// A day with everything in it, two cameras at once: what is what comes out as it went in.
#[test]
fn bursts_brackets_and_test_series_are_told_apart() {
    let one = Body::common();
    let two = Body { model: "Meridian 96", serial: Some("M96-0007"), ..Body::common() };
    let (mut bursts, mut brackets) = (0, 0);
    let mut wrong: Vec<String> = Vec::new();
    let (mut bursts_in, mut brackets_in) = (0, 0);
    for seed in 0..40_u64 {
        let mut dice = Dice(seed * 131 + 5);
        let mut records: Vec<Record> = Vec::new();
        let mut names: Vec<(String, Vec<String>)> = Vec::new();
        let mut seconds = 0.0;
        for chapter in 0..8 {
            let kind = (6.0 * dice.uniform()) as usize;
            let scene = seed * 100 + chapter;
            let base =
                Take { scene, light_ev: 0.0, error: 0.02, range_ev: 4.0 + 4.0 * dice.uniform(), ..Take::default() };
            let (word, takes): (&str, Vec<(Take, f64)>) = match kind {
                // A burst whose automatic exposure drifts by a third.
                0 => (
                    "burst",
                    (0..4)
                        .map(|i| {
                            let drift = if i == 3 { 2.0_f64.powf(1.0 / 3.0) } else { 1.0 };
                            (Take { shutter_s: base.shutter_s * drift, ..base.clone() }, 0.15)
                        })
                        .collect(),
                ),
                // Three frames by the camera's bracketing, in its order.
                1 => (
                    "bracket",
                    [0.0, -2.0, 2.0]
                        .iter()
                        .map(|ev: &f64| {
                            (Take { shutter_s: base.shutter_s * ev.exp2(), bias_ev: Some(*ev), ..base.clone() }, 0.2)
                        })
                        .collect(),
                ),
                // Five by hand on a tripod, from dark to bright.
                2 => (
                    "bracket",
                    (-2..=2)
                        .map(|ev| (Take { shutter_s: base.shutter_s * f64::from(ev).exp2(), ..base.clone() }, 8.0))
                        .collect(),
                ),
                // ISO test with the time made up for it.
                3 => (
                    "test",
                    (0..5)
                        .map(|i| {
                            let stops = f64::from(i).exp2();
                            (Take { iso: 100.0 * stops, shutter_s: base.shutter_s / stops, ..base.clone() }, 4.0)
                        })
                        .collect(),
                ),
                // Aperture test with the time made up for it.
                4 => (
                    "test",
                    [4.0_f64, 5.6, 8.0, 11.0, 16.0]
                        .iter()
                        .map(|n| {
                            (Take { f_number: *n, shutter_s: base.shutter_s * (n / 8.0).powi(2), ..base.clone() }, 4.0)
                        })
                        .collect(),
                ),
                // Single pictures of different things in quick succession.
                _ => ("single", (0..4).map(|i| (Take { scene: scene * 1000 + 17 * i, ..base.clone() }, 1.0)).collect()),
            };
            let mut files = Vec::new();
            for (i, (take, pause)) in takes.into_iter().enumerate() {
                let body = if chapter % 2 == 0 { &one } else { &two };
                let file = format!("c{chapter}-{i}");
                files.push(file.clone());
                let whole_seconds = seed % 3 == 0;
                let at = if whole_seconds { clock(f64::floor(seconds))[..19].to_string() } else { clock(seconds) };
                records.push(record(body, &Take { file, taken_at: Some(at), ..take.clone() }, &mut dice));
                seconds += pause + take.shutter_s;
            }
            names.push((word.to_string(), files));
            // The next chapter soon after, with the other camera; the same camera comes back after a minute.
            seconds += 31.0;
        }
        // The order of the record is not that of the clock.
        records.reverse();
        let sets = found(&records);
        for (word, files) in &names {
            let burst = sets.bursts.iter().any(|b| &b.files == files);
            let bracket = sets.brackets.iter().any(|b| &b.files == files);
            match word.as_str() {
                "burst" => {
                    bursts_in += 1;
                    bursts += usize::from(burst);
                }
                "bracket" => {
                    brackets_in += 1;
                    brackets += usize::from(bracket);
                }
                _ => {
                    let sets_files = sets.bursts.iter().map(|b| &b.files).chain(sets.brackets.iter().map(|b| &b.files));
                    let in_a_set: Vec<&Vec<String>> =
                        sets_files.filter(|set| set.iter().any(|f| files.contains(f))).collect();
                    if !in_a_set.is_empty() {
                        wrong.push(format!("{word} in session {seed}: {in_a_set:?}"));
                    }
                }
            }
        }
    }
    assert!(bursts * 100 >= bursts_in * 97, "{bursts} of {bursts_in} bursts");
    assert!(brackets * 100 >= brackets_in * 97, "{brackets} of {brackets_in} brackets");
    assert!(wrong.len() <= 3, "false sets: {wrong:#?}");
}

/// A scene wider than the sensor: its ends are held by different frames, and not by those that clip or block them.
#[test]
fn a_bracket_tells_which_frames_hold_the_ends() {
    let (body, mut dice) = (Body::common(), Dice(77));
    let records: Vec<Record> = [-3.0, 0.0, 3.0]
        .iter()
        .enumerate()
        .map(|(i, ev): (usize, &f64)| {
            let take = Take {
                file: format!("H{i}"),
                taken_at: Some(clock(i as f64)),
                shutter_s: ev.exp2() / 250.0,
                iso: 400.0,
                light_ev: -2.0,
                range_ev: 19.0,
                ..Take::default()
            };
            record(&body, &take, &mut dice)
        })
        .collect();
    let sets = found(&records);
    assert_eq!(sets.brackets.len(), 1, "{sets:?}");
    let bracket = &sets.brackets[0];
    assert_eq!(bracket.ev_steps, [-3.0, 0.0, 3.0]);
    for (measured, step) in bracket.measured_ev_steps.iter().zip(&bracket.ev_steps) {
        assert!((measured.unwrap() - step).abs() < 0.1);
    }
    let clipped: Vec<f64> = records.iter().map(|r| r.measures.as_ref().unwrap().exposure.clipped_any_pct).collect();
    let floor: Vec<f64> = records.iter().map(|r| r.measures.as_ref().unwrap().exposure.floor_pct.unwrap()).collect();
    assert!(clipped[2] > 5.0 && floor[0] > 5.0, "{clipped:?} {floor:?}");
    assert_ne!(bracket.highlights_held_by.as_deref(), Some("H2"));
    assert_ne!(bracket.shadows_held_by.as_deref(), Some("H0"));
}

#[test]
fn frames_without_a_time_are_held_together_by_name_and_framing() {
    let (body, mut dice) = (Body::common(), Dice(8));
    let mut records: Vec<Record> = (0..3)
        .map(|i| record(&body, &Take { file: format!("N{i}"), scene: 5, ..Take::default() }, &mut dice))
        .collect();
    records.extend(
        (3..6).map(|i| record(&body, &Take { file: format!("N{i}"), scene: 50 + i, ..Take::default() }, &mut dice)),
    );
    let sets = found(&records);
    assert_eq!(sets.bursts.len(), 1);
    assert_eq!(sets.bursts[0].files, ["N0", "N1", "N2"]);
    assert!(sets.warnings.iter().any(|w| w.contains("without a time")));
}
