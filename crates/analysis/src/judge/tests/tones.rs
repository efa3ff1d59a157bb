//! Highlights, shadows, noise and banding on the paper.

use super::*;

#[test]
fn blown_counts_area_on_the_paper_and_leaves_specular_spots_apart() {
    let (mut m, s) = (measures(), shot());
    let clip = |m: &mut Measures, areas: &[f64], by: [f64; 4]| {
        m.exposure.clipped_any_pct = areas.iter().sum();
        m.exposure.clipped_area_count = areas.len() as u64;
        m.clipping.areas = areas
            .iter()
            .map(|pct| ClippedArea { box_px: [8, 4, 100, 100], area_pct: *pct, ..ClippedArea::default() })
            .collect();
        for (c, pct) in m.channels.iter_mut().zip(by) {
            c.clipped_pct = pct;
        }
        m.exposure.clipped_all_pct = by.into_iter().fold(f64::MAX, f64::min);
    };
    // Portfolio: the picture is 19 x 12.67 in, 1553 cm2; a spot of 3 mm is 0.0707 cm2, 0.00455 %.
    clip(&mut m, &[0.004; 16], [0.064; 4]);
    assert_eq!(judged(&m, &s, "portfolio", None).verdict.findings, vec![]);
    // The same share in one patch of 0.3 % is 4.66 cm2.
    clip(&mut m, &[0.3], [0.3; 4]);
    let judgement = judged(&m, &s, "portfolio", None);
    let found = finding(&judgement, FindingCode::Blown);
    assert_eq!((found.severity, found.measured, found.limit), (Severity::Borderline, Some(0.3), Some(0.2)));
    assert!(found.text.contains("4.66 cm2") && found.text.contains("all colours"), "{}", found.text);
    // The limit stands beside the number that it is held against, and one patch is not told twice.
    assert!(found.text.contains("0.3 % of the picture (limit 0.2 %)"), "{}", found.text);
    assert!(found.text.contains("in one patch") && !found.text.contains("the largest"), "{}", found.text);
    // 1.5 %: fails where every colour clips, borderline where red alone does.
    clip(&mut m, &[1.5], [1.5; 4]);
    assert_eq!(finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown).severity, Severity::Fails);
    clip(&mut m, &[1.5], [1.5, 0.0, 0.0, 0.0]);
    let red = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
    assert_eq!(red.severity, Severity::Borderline);
    assert!(red.text.contains("in red alone"), "{}", red.text);
    // Measured overexposure gives the remedy its number.
    m.exposure.brighter_by_ev = Some(-1.2);
    let red = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
    assert!(red.remedy.contains("1.3 EV less"), "{}", red.remedy);
    // Too few pixels for a large print, and so much blown that there is none of any size: that is said first.
    clip(&mut m, &[30.0], [30.0; 4]);
    m.active_px = [0, 0, 2400, 1600];
    let judgement = judged(&m, &s, "exhibition", None);
    assert_eq!(finding(&judgement, FindingCode::TooFewPixels).severity, Severity::Fails);
    assert!(judgement.print.largest.is_none());
    assert_eq!(judgement.verdict.findings[0].code, FindingCode::Blown);
}

#[test]
fn blocked_noisy_and_banded() {
    let (mut m, s) = (measures(), Shot { iso: Some(12_800.0), ..shot() });
    m.exposure.floor_pct = Some(12.0);
    m.exposure.brighter_by_ev = Some(2.4);
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blocked);
    assert_eq!(found.severity, Severity::Borderline);
    assert!(found.remedy.contains("2.4 EV brighter"), "{}", found.remedy);

    // SNR 5 of a pixel; portfolio averages (0.1309 / 0.08043)^2 pixels: 8.14 on the paper.
    let mut m = measures();
    m.noise.snr_midtone_db = Some(20.0 * 5f64.log10());
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Noisy);
    assert_eq!(found.severity, Severity::Fails);
    assert!((found.measured.unwrap() - 8.137).abs() < 0.01, "{found:?}");
    // 20 wanted: (20 / 8.137)^2 = 6.04, so seven frames. S / sqrt(S + 3.15^2) is 5 at 32.61 electrons and 20 / 1.6275 =
    // 12.289 at 160.36: 4.92 times the light, ISO 12800 / 4.92 = 2603, so 2500 (closed form, read noise as in the frame).
    assert!(found.remedy.contains("merge 7 frames"), "{}", found.remedy);
    assert!(found.remedy.starts_with("About ISO 2500 or lower"), "{}", found.remedy);
    // Without read noise 6.04 times the light: ISO 2119, so 2000.
    m.noise.read_noise_dn = Some(0.0);
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Noisy);
    assert!(found.remedy.starts_with("About ISO 2000 or lower"), "{}", found.remedy);

    // Rows off by 0.6 of the read noise, with dark tones near the floor.
    let mut m = measures();
    m.noise.row_banding_dn = Some(0.6);
    m.exposure.scene_range_ev = Some(13.0);
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Banded);
    assert!(found.text.contains("rows"), "{}", found.text);
    // A scene without dark tones drowns the same bands in photon noise.
    m.exposure.scene_range_ev = Some(3.0);
    assert_eq!(judged(&m, &s, "portfolio", None).verdict.findings, vec![]);
}

/// A frame whose mid-tones have, in one pixel, 40:1 as metered and photon noise alone: lifted by some EV.
fn dark(lift_ev: f64) -> Measures {
    let mut m = measures();
    let db = |ratio: f64| Some(20.0 * ratio.log10());
    m.exposure.brighter_by_ev = Some(lift_ev + 0.5);
    m.exposure.lift_ev = Some(lift_ev);
    m.noise.snr_midtone_db = db(40.0);
    m.noise.snr_lifted_db = db(40.0 * (-0.5 * lift_ev).exp2());
    m
}

#[test]
fn a_dark_frame_has_the_noise_of_the_tone_that_it_is_lifted_from() {
    let s = shot();
    // Portfolio averages to 1.6275 times the ratio of a pixel.
    let paper = |snr: f64| snr * 1.6275;
    for (lift, severity, pixel) in [
        (0.0, None, 40.0),
        (0.8, None, 40.0 * 0.7579),
        // Clean enough, but the photographer hears of it.
        (1.5, Some(Severity::Note), 40.0 * 0.5946),
        // 20 wanted: 40 x 1.6275 / 2^(lift / 2) falls below it from 3.41 EV on.
        (3.3, Some(Severity::Note), 40.0 * 0.3186),
        (3.5, Some(Severity::Borderline), 40.0 * 0.2973),
        // 10 at the least, 2 EV of the lift left out: 5.41 + 2 EV.
        (7.3, Some(Severity::Borderline), 40.0 * 0.0797),
        (7.5, Some(Severity::Fails), 40.0 * 0.1487),
    ] {
        let judgement = judged(&dark(lift), &s, "portfolio", None);
        let found = judgement.verdict.findings.iter().find(|f| f.code == FindingCode::Noisy);
        assert_eq!(found.map(|f| f.severity), severity, "{lift}: {found:?}");
        assert!((judgement.print.snr_midtone.unwrap() / paper(40.0) - 1.0).abs() < 1e-3);
        assert!((judgement.print.snr_lifted.unwrap() / paper(40.0 * (-0.5 * lift).exp2()) - 1.0).abs() < 1e-3);
        if let Some(found) = found {
            assert!((found.measured.unwrap() / paper(pixel) - 1.0).abs() < 1e-3, "{lift}: {found:?}");
            assert!(found.text.contains(&format!("{lift:.1} EV under")), "{}", found.text);
            assert!(found.remedy.contains(&format!("{:.1} EV brighter", lift + 0.5)), "{}", found.remedy);
            assert_eq!(found.text.contains("meant dark"), found.severity == Severity::Borderline, "{}", found.text);
            // The outcome follows from the sentence: what is held against 10 stands beside it.
            let kept = paper(40.0 * (-0.5 * (lift - 2.0)).exp2());
            let words = format!("10 at the least in a picture that is kept 2.0 EV darker, where it is {kept:.1}");
            assert_eq!(found.text.contains(&words), found.severity > Severity::Note, "{words}: {}", found.text);
        }
        // What is said of this size holds on the ladder of sizes.
        let size = judgement.print.largest.unwrap();
        let prints = severity.is_none_or(|s| s == Severity::Note);
        assert_eq!(size.width_in > 18.9, prints, "{lift}: {size:?}");
    }
}

/// Lifted by less than 2 EV, what may be meant dark is the picture as it is.
#[test]
fn a_noisy_frame_that_is_a_little_dark_is_held_to_the_least_as_it_is() {
    let mut m = dark(0.8);
    m.noise.snr_midtone_db = Some(20.0 * 5f64.log10());
    m.noise.snr_lifted_db = Some(20.0 * (5.0 * (-0.4_f64).exp2()).log10());
    let found = finding(&judged(&m, &shot(), "portfolio", None), FindingCode::Noisy);
    assert_eq!(found.severity, Severity::Fails);
    // 5 x 1.6275.
    assert!(
        found.text.contains("10 at the least in a picture that is left as dark as it is, where it is 8.1"),
        "{}",
        found.text
    );
}

/// Metered 15:1 on the paper and 5 EV under (photon noise: 2.65:1 lifted): what is missing is light. A lower ISO or the two frames
/// that would bring 15 to 20 leave it as dark; from 2.65 it takes 57 frames, which nobody merges.
#[test]
fn a_dark_and_noisy_frame_is_told_to_expose_brighter_first() {
    let mut m = dark(5.0);
    let db = |on_paper: f64| Some(20.0 * (on_paper / 1.6275).log10());
    (m.noise.snr_midtone_db, m.noise.snr_lifted_db) = (db(15.0), db(15.0 * (-2.5f64).exp2()));
    m.noise.read_noise_dn = Some(0.0);
    let s = Shot { iso: Some(1600.0), ..shot() };
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Noisy);
    assert!(found.remedy.starts_with("Expose up to 5.5 EV brighter"), "{}", found.remedy);
    // (20 / 15)^2 = 1.78 times the light for the mid-tones as metered: ISO 900, so 800.
    assert!(found.remedy.contains("go down to about ISO 800 or lower as well, with still"), "{}", found.remedy);
    assert!(!found.remedy.contains("merge"), "{}", found.remedy);
}

#[test]
fn a_lifted_tone_that_alone_is_known_is_judged() {
    let mut m = dark(4.0);
    m.noise.snr_midtone_db = None;
    m.channels.iter_mut().for_each(|c| c.snr_midtone_db = None);
    let judgement = judged(&m, &shot(), "portfolio", None);
    assert_eq!(judgement.verdict.outcome, Outcome::Borderline);
    assert_eq!(judgement.print.snr_midtone, None);
    // A record from before the lifted tone was measured is judged as metered.
    let mut m = dark(4.0);
    m.noise.snr_lifted_db = None;
    assert_eq!(judged(&m, &shot(), "portfolio", None).verdict.outcome, Outcome::Prints);
}

fn one_patch(m: &mut Measures, pct: f64, lost_pct: f64, around_ev: f64, size: [usize; 2]) {
    m.exposure.clipped_any_pct = pct;
    m.exposure.clipped_all_pct = lost_pct;
    m.exposure.clipped_area_count = 1;
    m.exposure.largest_clipped_area_pct = pct;
    m.clipping.areas = vec![ClippedArea {
        box_px: [3000, 2000, size[0], size[1]],
        area_pct: pct,
        tone_lost_pct: Some(lost_pct),
        around_ev: Some(around_ev),
    }];
    for (c, pct) in m.channels.iter_mut().zip([lost_pct, pct, pct, lost_pct]) {
        c.clipped_pct = pct;
    }
}

#[test]
fn the_sun_is_a_note_and_a_blown_surface_is_not() {
    let (mut m, s) = (measures(), shot());
    let judged = |m: &Measures| {
        let judgement = judged(m, &s, "portfolio", None);
        let blown = judgement.verdict.findings.iter().find(|f| f.code == FindingCode::Blown).cloned();
        (judgement.verdict.outcome, blown)
    };
    // 280 x 280 px of 24 megapixels filled to pi/4: 0.257 %, green alone but for the core, sky 1 EV below.
    one_patch(&mut m, 0.257, 0.05, 1.0, [280, 280]);
    let (outcome, note) = judged(&m);
    assert_eq!(outcome, Outcome::Prints);
    let note = note.unwrap();
    assert_eq!(note.severity, Severity::Note);
    assert!(!note.text.contains("the largest"), "{}", note.text);
    assert!(note.text.contains("light source"), "{}", note.text);
    // 0.05 of 0.257: the patch's own, whatever else is clipped in the frame.
    assert!(note.text.contains("clipped over 0.257 % of the picture"), "{}", note.text);
    assert!(note.text.contains("a second colour in 19 % of that"), "{}", note.text);
    // The half disc on a horizon, too: 400 x 200 px.
    one_patch(&mut m, 0.257, 0.05, 1.0, [400, 200]);
    assert_eq!(judged(&m).0, Outcome::Prints);
    for (why, pct, lost, around, size) in [
        ("tone is lost in more than half of it", 0.257, 0.2, 1.0, [280, 280]),
        ("its surroundings run up to it", 0.257, 0.05, 0.4, [280, 280]),
        ("too large for a disc", 1.5, 0.1, 1.0, [680, 680]),
        ("no disc: a band", 0.257, 0.05, 1.0, [1600, 50]),
        ("no disc: ragged", 0.257, 0.05, 1.0, [500, 400]),
    ] {
        one_patch(&mut m, pct, lost, around, size);
        let (outcome, blown) = judged(&m);
        assert_ne!(outcome, Outcome::Prints, "{why}");
        assert!(blown.unwrap().severity >= Severity::Borderline, "{why}");
    }
    // Glitter has any shape and is small.
    one_patch(&mut m, 0.04, 0.0, 0.8, [1000, 12]);
    m.exposure.clipped_any_pct = 0.25;
    assert_eq!(judged(&m).0, Outcome::Prints);
}

#[test]
fn advice_on_blown_follows_the_room_that_there_was() {
    let (mut m, s) = (measures(), shot());
    one_patch(&mut m, 3.0, 3.0, 0.3, [900, 900]);
    for (room, words, not) in [
        (Some(-3.0), "at least 3 EV less", "3.0 EV"),
        (Some(-0.5), "0.7 EV less", "at least"),
        (Some(1.87), "had room for 1.9 EV", "less"),
        (None, "cannot be told", " less"),
    ] {
        m.exposure.brighter_by_ev = room;
        let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
        assert!(found.remedy.contains(words) && !found.remedy.contains(not), "{}", found.remedy);
    }
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
    assert!(found.text.contains("red 3 %, green 3 %, blue 3 %"), "{}", found.text);
}

#[test]
fn blown_says_which_share_is_of_any_colour_and_which_of_all() {
    let (mut m, s) = (measures(), shot());
    one_patch(&mut m, 42.0, 29.0, 0.3, [4000, 3000]);
    m.clipping.any_pct = vec![42.0; 24];
    m.exposure.clipped_all_pct = 16.2;
    for (c, pct) in m.channels.iter_mut().zip([17.0, 41.0, 40.0, 29.0]) {
        c.clipped_pct = pct;
    }
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
    assert!(!found.text.contains("in all colours"), "{}", found.text);
    let words = "clipped in one colour or more (green 41 %, blue 29 %, red 17 %, all at once 16 %)";
    assert!(found.text.contains(words) && found.text.contains("over 42 % of the picture"), "{}", found.text);
    assert!(found.text.contains("in the larger part of it"), "{}", found.text);
    // In a crop the shares of the colours are not known; those of the frame are told as such.
    let found = finding(&judged(&m, &s, "portfolio", Some(Area::new(3000, 2000, 2000, 1000))), FindingCode::Blown);
    assert!(found.text.contains("; clipped (of the whole frame: green 41 %, blue 29 %"), "{}", found.text);
    // Nearly one colour alone is not one alone.
    for (c, pct) in m.channels.iter_mut().zip([4.0, 41.0, 40.0, 5.0]) {
        c.clipped_pct = pct;
    }
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Blown);
    assert!(found.text.contains("clipped mostly in green (green 41 %"), "{}", found.text);
}

#[test]
fn no_largest_print_is_promised_where_the_tones_fail() {
    let (mut m, s) = (measures(), shot());
    // 3 % in all colours fails at every size.
    one_patch(&mut m, 3.0, 3.0, 0.3, [900, 900]);
    let print = judged(&m, &s, "portfolio", None).print;
    assert_eq!((print.largest, print.largest_with_proof), (None, None));
    let accepted = print.if_accepted.unwrap();
    // 6000 px over 240 ppi.
    assert!((accepted.width_in - 25.0).abs() < 1e-9 && accepted.what == "highlights", "{accepted:?}");
    // 0.5 % in one patch passes the share (borderline), and 25 cm2 of patch fails the exhibition brief: 0.5 % of the picture
    // is 25 cm2 at 5000 cm2, 86.6 x 57.7 cm.
    one_patch(&mut m, 0.5, 0.5, 0.3, [350, 350]);
    let print = judged(&m, &s, "exhibition", None).print;
    let proof = print.largest_with_proof.unwrap();
    assert_eq!(proof.limited_by, "highlights");
    assert!((proof.width_in * 2.54 - 86.6).abs() < 0.1, "{proof:?}");
    // Shadows that fail do so at every size; a clean frame has nothing to accept.
    let mut m = measures();
    m.exposure.floor_pct = Some(60.0);
    let print = judged(&m, &s, "portfolio", None).print;
    assert_eq!((print.largest, print.if_accepted.unwrap().what.as_str()), (None, "shadows"));
    assert_eq!(judged(&measures(), &s, "portfolio", None).print.if_accepted, None);
}
