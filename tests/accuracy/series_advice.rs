//! What a photographer would do on the answer of a series, in sessions where the gear is not what limits: frames that the hand
//! or the focus spoiled, noise that cuts a scene's range short.

use rawassay_analysis::series::{By, Group, Series};
use rawassay_analysis::{BlurKind, Brief};
use rawassay_report::Record;
use rawassay_tests::session::{Body, Dice, Take, record};

use crate::series::answer;
use crate::series_cameras::called;

/// A print that is looked into closely.
pub(crate) fn near() -> Brief {
    Brief::parse("name = \"near\"\n[output]\nsize = \"75 x 50 cm\"\ndistance = \"30 cm\"\n", "near.toml").unwrap()
}

pub(crate) fn only(series: &Series) -> &Group {
    assert_eq!(series.groups.len(), 1);
    &series.groups[0]
}

/// A lens has one sharpest f-stop: where the edges at f/5.6 are wider than at f/4 and at f/8, the focus slipped.
#[test]
fn an_f_stop_at_which_the_focus_slipped_is_named_and_left_out() {
    let body = Body::common();
    let stops = [2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
    let mut dice = Dice(9);
    // One f-stop, and two beside each other.
    for spoiled in [vec![5.6], vec![5.6, 8.0]] {
        let records: Vec<Record> = stops
            .iter()
            .map(|&f_number| {
                let defocus_px = if spoiled.contains(&f_number) { 2.5 } else { 0.0 };
                let take = Take { file: f_number.to_string(), f_number, defocus_px, error: 0.01, ..Take::default() };
                record(&body, &take, &mut dice)
            })
            .collect();
        let series = answer(By::Aperture, &records, &Brief::built_in("album").unwrap());
        let group = only(&series);
        for n in &spoiled {
            let named = |w: &String| w.starts_with(&format!("At f/{n} the edges are wider"));
            assert!(group.warnings.iter().any(named), "{n}: {:?}", group.warnings);
        }
        assert_eq!(group.warnings.iter().filter(|w| w.contains("the edges are wider")).count(), spoiled.len());
        // What the answer says of those that are sharp enough names it.
        let left_out = spoiled.iter().map(|n| format!("f/{n}")).collect::<Vec<String>>().join(", ");
        assert!(
            group.answer.contains(&format!("{left_out} {} left out", if spoiled.len() == 1 { "is" } else { "are" }))
        );
        let found = group.readings.value("sharpest_f_number").unwrap();
        assert!((found / body.sharpest_f_number()).log2().abs() < 1.0 / 6.0, "{found} {}", body.sharpest_f_number());
    }
    // Without the slip nothing is said of one.
    let sound: Vec<Record> = stops
        .iter()
        .map(|&f| record(&body, &Take { file: f.to_string(), f_number: f, ..Take::default() }, &mut dice))
        .collect();
    let sound = answer(By::Aperture, &sound, &Brief::built_in("album").unwrap());
    assert!(!only(&sound).warnings.iter().any(|w| w.contains("the edges are wider")), "{:?}", only(&sound).warnings);
}

/// Frames that look out of focus at most f-stops: the answer is one of lens and focus, without an interval of the lens's.
#[test]
fn f_stops_that_all_look_out_of_focus_are_told_as_focused_here() {
    let stops = [2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
    let mut dice = Dice(9);
    let takes = stops.map(|f| Take { file: f.to_string(), f_number: f, error: 0.01, ..Take::default() });
    let mut records: Vec<Record> = takes.iter().map(|take| record(&Body::common(), take, &mut dice)).collect();
    let told = |records: &[Record]| {
        let series = answer(By::Aperture, records, &Brief::built_in("album").unwrap());
        let group = only(&series);
        let sharpest = group.readings.get("sharpest_f_number");
        (group.answer.starts_with("As focused here: "), sharpest.value.is_some(), sharpest.low.is_some())
    };
    assert_eq!(told(&records), (false, true, true));
    called(&mut records, BlurKind::Defocus, |i| i < 3);
    assert_eq!(told(&records), (false, true, true));
    called(&mut records, BlurKind::Defocus, |i| i < 4);
    assert_eq!(told(&records), (true, true, false));
}

/// Frames up the ISO scale of one scene whose black cloth lies 10.5 EV below saturation: from ISO 800 on noise hides the
/// cloth (log2 of 50 000 electrons x 100 / ISO over 1.7), and what is left of the range is not the light's change. A
/// light that does change in bright tones is told.
#[test]
fn noise_that_hides_the_darkest_tones_is_no_change_of_light() {
    let warned = |darkest_ev: &dyn Fn(usize) -> f64| {
        let mut dice = Dice(21);
        let records: Vec<Record> = (0..16)
            .map(|i| {
                let iso = 100.0 * f64::from(1 << (i / 2));
                let take = Take { file: i.to_string(), iso, shutter_s: 0.4 / iso, ..Take::default() };
                let mut frame = record(&Body::common(), &take, &mut dice);
                let measures = frame.measures.as_mut().unwrap();
                let darkest = darkest_ev(i).min(measures.engineering_ev.unwrap());
                measures.exposure.darkest_ev = Some(darkest);
                measures.exposure.scene_range_ev = Some(darkest - 0.5);
                frame
            })
            .collect();
        let series = answer(By::Iso, &records, &Brief::built_in("portfolio").unwrap());
        only(&series).warnings.iter().any(|w| w.contains("was the light the same"))
    };
    assert!(!warned(&|_| 10.5));
    assert!(warned(&|i| if i % 2 == 0 { 2.0 } else { 4.5 }));
    // At ISO 1600 and above the cloth is hidden, but 5 EV show above a hundred electrons: more than the 1.5 EV below.
    assert!(warned(&|i| if i < 8 { 2.0 } else { 10.5 }));
}

/// Read noise of 2.5 electrons at every ISO, once read low at the highest one: one frame may be off by 5 %, so that 4 % low is no
/// fall of a tenth, 12 % low may be one or not, and half is one.
#[test]
fn one_low_reading_of_read_noise_is_no_fall() {
    let body = Body { early_e: 2.5, late_e: 0.0, ..Body::common() };
    let settles = |lowest: f64| {
        let mut dice = Dice(3);
        let records: Vec<Record> = [100.0, 1600.0, 6400.0]
            .into_iter()
            .map(|iso| {
                let take = Take { file: iso.to_string(), iso, error: 0.0, ..Take::default() };
                let mut frame = record(&body, &take, &mut dice);
                let noise = &mut frame.measures.as_mut().unwrap().noise;
                if iso > 6000.0 {
                    noise.read_noise_dn = noise.read_noise_dn.map(|r| r * lowest);
                }
                frame
            })
            .collect();
        let series = answer(By::Iso, &records, &Brief::built_in("portfolio").unwrap());
        let group = only(&series);
        (group.readings.value("read_noise_settles_at_iso"), group.answer.contains("cannot be told from so few frames"))
    };
    assert_eq!(settles(0.96), (Some(100.0), false));
    assert_eq!(settles(0.88), (None, true));
    assert_eq!(settles(0.5), (None, false));
}

/// Two bodies of one model whose files tell no serial number, full wells of 60 000 and 14 000 electrons: the medians are those of
/// neither, which is said; and no interval of a ratio reaches below nothing. One body gives no such caution.
#[test]
fn two_bodies_under_one_name_are_warned_of() {
    let warned = |wells: [f64; 2], serial: Option<&'static str>| {
        let mut dice = Dice(8);
        let records: Vec<Record> = (0..8)
            .map(|i| {
                let body = Body { serial, full_well_e: wells[i % 2], ..Body::common() };
                let iso = 100.0 * f64::from(4_u32.pow(i as u32 / 2));
                record(&body, &Take { file: i.to_string(), iso, ..Take::default() }, &mut dice)
            })
            .collect();
        let series = answer(By::Iso, &records, &Brief::built_in("portfolio").unwrap());
        let group = only(&series);
        for step in &group.steps {
            assert!(step.readings.get("print_snr_midtone").low.unwrap() >= 0.0, "{step:?}");
        }
        ["two bodies of one name", "was misread in some"].map(|said| group.warnings.iter().any(|w| w.contains(said)))
    };
    assert_eq!(warned([60_000.0, 14_000.0], None), [true, false]);
    assert_eq!(warned([60_000.0, 60_000.0], None), [false, false]);
    // Files that name one body leave no second one to look for.
    assert_eq!(warned([60_000.0, 14_000.0], Some("M24-0042")), [false, true]);
}

/// Exposure times that were all too long, or nearly all short enough: the answer says in which direction to go on.
#[test]
fn a_hand_held_series_of_too_long_times_asks_for_shorter_ones() {
    let told = |shaken: &dyn Fn(usize) -> bool| {
        let mut dice = Dice(44);
        let records: Vec<Record> = (0..15)
            .map(|i| {
                let shutter_s = 1.0 / [250.0, 125.0, 60.0][i / 5];
                let motion_px = if shaken(i) { 12.0 } else { 0.0 };
                let take =
                    Take { file: i.to_string(), shutter_s, motion_px, motion_deg: 11.0 * i as f64, ..Take::default() };
                record(&Body::common(), &take, &mut dice)
            })
            .collect();
        only(&answer(By::Shutter, &records, &near())).answer.clone()
    };
    let long = told(&|i| i != 11);
    assert!(long.contains("take shorter times"), "{long}");
    let short = told(&|i| i == 14);
    assert!(short.contains("only 1 is shaken") && short.contains("longer times too"), "{short}");
}
