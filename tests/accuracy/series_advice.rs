//! What a photographer would do on the answer of a series, in sessions where the gear is not what limits: a soft or noisy
//! larger camera, frames that the hand or the focus spoiled, noise that cuts a scene's range short.

use rawassay_analysis::series::{By, Group, Series};
use rawassay_analysis::{BlurKind, Brief};
use rawassay_report::Record;
use rawassay_tests::session::{Body, Dice, Take, record};

use crate::series::answer;

/// A print that is looked into closely.
fn near() -> Brief {
    Brief::parse("name = \"near\"\n[output]\nsize = \"75 x 50 cm\"\ndistance = \"30 cm\"\n", "near.toml").unwrap()
}

fn only(series: &Series) -> &Group {
    assert_eq!(series.groups.len(), 1);
    &series.groups[0]
}

/// 24 and 96 megapixels of one size; lens of the larger one given.
fn bodies(aberration_um2: f64) -> [Body; 2] {
    let small = Body { aberration_um2: 60.0, ..Body::common() };
    let large = Body {
        model: "Meridian 96",
        serial: Some("M96-0007"),
        size_px: (12_000, 8000),
        pitch_um: 3.0,
        full_well_e: 14_000.0,
        aberration_um2,
        ..small.clone()
    };
    [small, large]
}

/// `frames` of each body, by turns.
fn by_turns(bodies: &[Body; 2], frames: usize, take: &dyn Fn(usize, usize) -> Take) -> Vec<Record> {
    let mut dice = Dice(77);
    (0..2 * frames)
        .map(|i| {
            let take = Take { file: i.to_string(), ..take(i % 2, i / 2) };
            record(&bodies[i % 2], &take, &mut dice)
        })
        .collect()
}

/// A frame's blur as the measures call it.
fn called(records: &mut [Record], kind: BlurKind, of: impl Fn(usize) -> bool) {
    for (_, record) in records.iter_mut().enumerate().filter(|(i, _)| of(*i)) {
        record.measures.as_mut().unwrap().blur.kind = kind;
    }
}

fn f_5_6(_: usize, _: usize) -> Take {
    Take { f_number: 5.6, ..Take::default() }
}

/// Rises on the paper by the closed form of the session (0.64 + diffraction + aberration, squared pixels): 0.16 mm with the
/// smaller camera; with the larger one behind a lens of 4000 um^2 at f/1 0.26 mm. At 30 cm (0.087 mm to the minute of
/// arc) the contrasts at 15 cycles per degree are 0.53 and 0.18: the smaller one shows more.
#[test]
fn a_larger_camera_behind_a_soft_lens_is_not_worth_carrying() {
    let mut records = by_turns(&bodies(4000.0), 8, &f_5_6);
    let told = |records: &[Record]| only(&answer(By::Camera, records, &near())).answer.clone();
    let soft = told(&records);
    assert!(soft.contains("Meridian 96 is not worth carrying"), "{soft}");
    // So soft a lens looks out of focus: still an answer, and it says under which condition.
    called(&mut records, BlurKind::Defocus, |i| i % 2 == 1);
    let series = answer(By::Camera, &records, &near());
    let group = only(&series);
    assert!(group.answer.starts_with("As focused here: Meridian 96 is not worth carrying"), "{}", group.answer);
    assert!(group.warnings.iter().any(|w| w.contains("8 of 8 frames of Meridian 96 may be out of focus")));
    assert_eq!(group.best.as_ref().map(|b| serde_json::to_value(&b.setting).unwrap()), Some("Meridian 24".into()));
}

/// One lens that limits both: equal rises on the paper are no difference, though the edges look out of focus on either.
#[test]
fn where_one_lens_limits_both_cameras_there_is_no_difference() {
    // 0.64 px^2 of pixel is all that differs: 23 um^2 and 5.8 um^2 beside aberrations of 20 000 / 5.6^2 = 640 um^2.
    let [small, large] = bodies(20_000.0);
    let mut records = by_turns(&[Body { aberration_um2: 20_000.0, ..small }, large], 8, &f_5_6);
    called(&mut records, BlurKind::Defocus, |_| true);
    let told = only(&answer(By::Camera, &records, &near())).answer.clone();
    assert!(told.starts_with("As focused here: No visible difference"), "{told}");
}

/// Noise that is worse with the larger camera is not "the same". Full wells of 50 000 and 3000 electrons at ISO 100: at ISO
/// 1600 396 and 24 electrons of mid-tone, 20 and 5 to one (read noise apart), on a print that averages over neither.
#[test]
fn a_noisier_larger_camera_is_called_noisier() {
    let [small, large] = bodies(60.0);
    let bodies = [small, Body { full_well_e: 3000.0, ..large }];
    let isos = [100.0, 1600.0];
    let records = by_turns(&bodies, 8, &|_, i| Take { f_number: 5.6, iso: isos[i % 2], ..Take::default() });
    let told = only(&answer(By::Camera, &records, &near())).answer.clone();
    assert!(told.contains("mid-tones of Meridian 96 are") && told.contains("times noisier"), "{told}");
    assert!(!told.contains("noise is the same"), "{told}");
    assert!(told.starts_with("Meridian 96 shows finer detail for near, Meridian 24 less noise"), "{told}");
}

/// Less noise with the larger camera at one ISO and more at another decides nothing: both are told. Mid-tones are set, not
/// drawn: the smaller camera's 12 dB worse at ISO 1600, the larger one's at ISO 3200.
#[test]
fn noise_that_is_less_at_one_iso_and_more_at_another_is_told_of_both() {
    let isos = [100.0, 1600.0, 3200.0];
    let told = |worse_at: [f64; 2]| {
        let mut records =
            by_turns(&bodies(60.0), 9, &|_, i| Take { f_number: 5.6, iso: isos[i % 3], ..Take::default() });
        for (i, record) in records.iter_mut().enumerate() {
            let iso = isos[i / 2 % 3];
            let noise = &mut record.measures.as_mut().unwrap().noise;
            // On the paper the larger camera gains 2.9 dB, two of its pixels to the finest that is seen.
            let worse = if iso == worse_at[i % 2] { 12.0 } else { 0.0 };
            noise.snr_midtone_db = Some([28.0, 25.0][i % 2] - worse);
        }
        only(&answer(By::Camera, &records, &near())).answer.clone()
    };
    let both = told([1600.0, 3200.0]);
    assert!(both.contains("times cleaner at ISO 1600 and") && both.contains("times noisier at ISO 3200"), "{both}");
    assert!(!both.contains("less noise"), "{both}");
    // One camera alone, at the middle setting only.
    let larger = told([1600.0, 0.0]);
    assert!(larger.contains("times cleaner than those of Meridian 24 at ISO 1600"), "{larger}");
    let smaller = told([0.0, 1600.0]);
    assert!(
        smaller.starts_with("Meridian 96 shows finer detail for near, Meridian 24 less noise at ISO 1600"),
        "{smaller}"
    );
}

/// Frames that were all shaken leave the question open, but do not turn the cameras round.
#[test]
fn shaken_frames_of_the_larger_camera_are_named_as_the_reason() {
    let shake = |larger: usize, i: usize| Take {
        f_number: 5.6,
        motion_px: if larger == 1 { 9.0 } else { 0.0 },
        motion_deg: 20.0 * i as f64,
        ..Take::default()
    };
    let told = only(&answer(By::Camera, &by_turns(&bodies(60.0), 4, &shake), &near())).answer.clone();
    assert!(told.starts_with("Whether Meridian 96 shows over Meridian 24"), "{told}");
    assert!(told.contains("all 4 frames of Meridian 96 are shaken"), "{told}");
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
