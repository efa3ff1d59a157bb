//! Series and sets against simulated sessions through the whole chain: scene, optics, sensor, DNG, decoder, measures,
//! brief. `tests/examples/sessions.rs` does the same with more frames.

use rawassay_analysis::series::{By, Group};
use rawassay_analysis::sets::sets;
use rawassay_analysis::{Brief, Judgement, judge, print};
use rawassay_report::Record;
use rawassay_tests::chain::records;
use rawassay_tests::chain_sessions::{Chapter, SIZE, aperture_test, burst, day, hand_held_test, iso_test};

use crate::series::{answer, rows};

/// A print that suits frames of 0.3 megapixels: 10 x 15 cm from 90 cm, some 110 ppi.
fn small_print(limits: &str) -> Brief {
    let text = format!(
        "name = \"small\"\n[output]\nkind = \"print\"\nsize = \"10 x 15 cm\"\ndistance = \"90 cm\"\nppi_wanted = 80\n\
         ppi_least = 40\n[limits]\n{limits}"
    );
    Brief::parse(&text, "small.toml").unwrap()
}

fn only(mut groups: Vec<Group>) -> Group {
    assert_eq!(groups.len(), 1);
    groups.remove(0)
}

/// ISO limit at the stated SNR. The paper's SNR is that of a pixel times the root of the pixels in the square that the
/// eye resolves (one minute of arc, docs/briefs.md), written out anew.
#[test]
fn the_iso_limit_is_right_at_the_stated_snr() {
    for (seed, read_noise_e) in [(3, 2.0), (6, 7.0)] {
        let (recipes, truth) = iso_test(7, 2, read_noise_e, seed);
        let records = records(&recipes);
        for wanted in [20.0, 35.0, 60.0] {
            let brief = small_print(&format!("snr_midtone = {{ borderline = {wanted}, fails = {} }}\n", wanted / 2.0));
            let group = only(answer(By::Iso, &records, &brief).groups);
            let eye_mm = 900.0 * (1.0_f64 / 60.0).to_radians().tan();
            let px_per_mm = f64::max(recipes[0].width as f64 / 150.0, recipes[0].height as f64 / 100.0);
            let on_paper = |snr: f64| snr * (eye_mm * px_per_mm).max(1.0);
            for (step, (iso, snr)) in group.steps.iter().zip(&truth) {
                let found = step.readings.value("print_snr_midtone").unwrap();
                assert!((found / on_paper(*snr) - 1.0).abs() < 0.05, "ISO {iso}: {found} for {}", on_paper(*snr));
            }
            // A step whose truth is within the measure's error of the limit may fall on either side.
            let meets = |slack: f64| truth.iter().filter(|t| on_paper(t.1) >= wanted * slack).count();
            let limit = group.limit_for_brief.unwrap().setting.number().unwrap_or(0.0);
            let steps = truth.iter().filter(|t| t.0 <= limit * 1.01).count();
            assert!((meets(1.05)..=meets(0.95)).contains(&steps), "SNR {wanted}, seed {seed}: ISO {limit}");
        }
    }
}

#[test]
fn the_sharpest_f_stop_is_within_a_third_of_a_stop() {
    let brief = small_print("");
    for (seed, wide_px, falls, pitch_um) in [(2, 2.2, 1.0, 5.9), (5, 4.5, 1.5, 3.8)] {
        let (recipes, truth) = aperture_test(2, wide_px, falls, pitch_um, seed);
        let group = only(answer(By::Aperture, &records(&recipes), &brief).groups);
        let best = group.best.unwrap();
        let off_stops = 2.0 * (best.setting.number().unwrap() / truth).log2();
        assert!(off_stops.abs() <= 1.0 / 3.0, "f/{truth:.2}: {best:?}");
    }
}

/// k within a fifth from 120 frames, and its interval holds it.
#[test]
fn k_is_within_a_fifth_of_the_hands() {
    let brief = small_print("");
    let (seed, k) = (4, 2.5);
    // The limit in pixels of these frames.
    let limit_mm = brief.limits.motion_eye_limits.borderline * print::seen(&brief.output).finest_mm;
    let limit_px = limit_mm * f64::max(SIZE.0 as f64 / 150.0, SIZE.1 as f64 / 100.0);
    let recipes = hand_held_test(120, k, limit_px, seed);
    let groups = answer(By::Shutter, &records(&recipes), &brief).groups;
    let found = groups[0].readings.get("k");
    let value = found.value.unwrap_or_else(|| panic!("{}", groups[0].answer));
    assert!((value / k - 1.0).abs() <= 0.2, "{found:?}");
    assert!(found.low.unwrap() <= k && k <= found.high.unwrap(), "{found:?}");
}

fn judged(records: &[Record], brief: &Brief) -> Vec<Judgement> {
    records.iter().map(|r| judge::judge(&r.subject(), brief, None)).collect()
}

/// Of 20 bursts 19 at the least; the example does 100.
#[test]
fn the_best_of_a_burst_is_found() {
    let brief = small_print("");
    let mut right = 0;
    for seed in 0..20 {
        let (recipes, good) = burst(4, seed, 100.0);
        let records = records(&recipes);
        let judgements = judged(&records, &brief);
        let found = sets(&rows(&records, &judgements));
        assert_eq!((found.bursts.len(), found.brackets.len()), (1, 0), "seed {seed}");
        right += u32::from(found.bursts[0].best.as_deref() == Some(records[good].file.as_str()));
    }
    assert!(right >= 19, "{right} of 20");
}

#[test]
fn bursts_brackets_tests_and_single_pictures_are_told_apart() {
    let brief = small_print("");
    let (recipes, truth) = day(12, 1);
    let records = records(&recipes);
    let judgements = judged(&records, &brief);
    let found = sets(&rows(&records, &judgements));
    for (kind, range) in truth {
        let files: Vec<String> = records[range].iter().map(|r| r.file.clone()).collect();
        let touched = |set: &[String]| set.iter().any(|f| files.contains(f));
        let bursts: Vec<_> = found.bursts.iter().map(|b| &b.files).filter(|f| touched(f)).collect();
        let brackets: Vec<_> = found.brackets.iter().map(|b| &b.files).filter(|f| touched(f)).collect();
        match kind {
            Chapter::Burst => assert!(bursts == [&files] && brackets.is_empty(), "{files:?}: {bursts:?} {brackets:?}"),
            Chapter::Bracket => {
                assert!(brackets == [&files] && bursts.is_empty(), "{files:?}: {bursts:?} {brackets:?}");
            }
            Chapter::Test | Chapter::Singles => {
                assert!(bursts.is_empty() && brackets.is_empty(), "{kind:?} {files:?}: {bursts:?} {brackets:?}");
            }
        }
    }
    // The raws of a bracket differ by what its settings say.
    for bracket in &found.brackets {
        for (measured, step) in bracket.measured_ev_steps.iter().zip(&bracket.ev_steps) {
            let measured = measured.unwrap_or(*step);
            assert!((measured - step).abs() < 0.15, "{:?} {:?}", bracket.measured_ev_steps, bracket.ev_steps);
        }
    }
}
