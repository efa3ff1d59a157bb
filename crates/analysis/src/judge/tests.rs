//! Judging by hand-made measures: the closed forms, and every rule alone.
#![allow(clippy::unwrap_used)]

use super::fixture::{measures, shot};
use super::*;
use crate::brief::{Limit, Need};
use crate::measures::{BlurKind, ClippedArea};

fn judged(m: &Measures, s: &Shot, brief: &str, crop: Option<Area>) -> Judgement {
    let subject = Subject { shot: Some(s), measures: Some(m), damaged: None };
    judge(&subject, &Brief::built_in(brief).unwrap(), crop)
}

fn finding(judgement: &Judgement, code: FindingCode) -> Finding {
    let found = judgement.verdict.findings.iter().find(|f| f.code == code);
    found.unwrap_or_else(|| panic!("{code} not in {:?}", judgement.verdict)).clone()
}

/// Width of the largest print, inches.
fn largest(m: &Measures, s: &Shot, crop: Option<Area>) -> f64 {
    judged(m, s, "portfolio", crop).print.largest.unwrap().width_in
}

#[test]
fn a_clean_frame_has_no_finding() {
    for name in ["screen", "album", "portfolio"] {
        let judgement = judged(&measures(), &shot(), name, None);
        assert_eq!(judgement.verdict.findings, vec![], "{name}");
        assert_eq!(judgement.verdict.outcome, Outcome::Prints, "{name}");
        assert_eq!(judgement.verdict.brief, name);
        assert_eq!(judgement.verdict.not_measured, Vec::<String>::new());
    }
}

#[test]
fn unknown_is_never_a_pass() {
    let s = shot();
    for blank in Need::ALL {
        let mut m = measures();
        match blank {
            Need::Sharpness => m.sharpness.edge_rise_px = Some(f64::NAN),
            Need::Noise => {
                m.noise.snr_midtone_db = Some(f64::NAN);
                m.channels.clear();
            }
            Need::Motion => m.blur.kind = BlurKind::Undetermined,
            Need::Shadows => m.exposure.floor_pct = None,
            Need::Banding => (m.noise.row_banding_dn, m.noise.column_banding_dn) = (None, None),
        }
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let brief = Brief { needs: vec![blank], ..Brief::default() };
        let judgement = judge(&subject, &brief, None);
        assert_eq!(judgement.verdict.outcome, Outcome::Unmeasured, "{blank:?}");
        assert_eq!(judgement.verdict.not_measured[0], format!("{}, which this brief needs", blank.word()));
        if matches!(blank, Need::Sharpness | Need::Noise | Need::Motion) {
            assert_eq!(judgement.print.largest, None, "{blank:?}");
        }
        // What the brief does not need is told, and decides nothing.
        let brief = Brief { needs: vec![], ..Brief::default() };
        let judgement = judge(&subject, &brief, None);
        assert_eq!(judgement.verdict.outcome, Outcome::Prints, "{blank:?}");
        assert_eq!(judgement.verdict.not_measured, vec![blank.word().to_string()]);
    }
}

#[test]
fn a_sure_fault_fails_even_where_the_rest_is_unknown() {
    let (mut m, s) = (measures(), shot());
    m.sharpness.edge_rise_px = None;
    let crop = Some(Area::new(0, 0, 600, 400));
    assert_eq!(judged(&m, &s, "exhibition", crop).verdict.outcome, Outcome::Fails);
    assert_eq!(judged(&m, &s, "exhibition", None).verdict.outcome, Outcome::Unmeasured);
}

#[test]
fn nothing_to_judge_is_unmeasured() {
    let brief = Brief::default();
    let nothing = judge(&Subject::default(), &brief, None);
    assert_eq!(nothing.verdict.outcome, Outcome::Unmeasured);
    assert!(nothing.verdict.findings.is_empty() && nothing.print.ppi.is_none() && nothing.usable_ev.is_none());
    let (m, s) = (measures(), shot());
    for outside in [Area::new(5999, 0, 2, 2), Area::new(0, 0, 6001, 4000), Area::new(0, 4000, 1, 1)] {
        let judgement = judged(&m, &s, "portfolio", Some(outside));
        assert_eq!(judgement.verdict.outcome, Outcome::Unmeasured);
        assert!(judgement.verdict.not_measured[0].contains("6000 x 4000"), "{:?}", judgement.verdict);
        assert_eq!(judgement.print.largest, None);
    }
}

#[test]
fn resolution_after_crop_and_fit() {
    let s = shot();
    // Worked example of references, section 5: a crop to 3600 x 2400 px at 60 x 40 cm is 152.4 ppi.
    let brief = Brief::parse("[output]\nsize = \"40 x 60 cm\"\ndistance = \"60 cm\"", "x").unwrap();
    let m = measures();
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let judgement = judge(&subject, &brief, Some(Area::new(1200, 800, 3600, 2400)));
    assert!((judgement.print.ppi.unwrap() - 152.4).abs() < 1e-9);
    // 8 x 10 in: the width (10 in) fills the paper, 600 ppi; the height comes out as 6.67 in.
    let judgement = judged(&m, &s, "album", None);
    assert!((judgement.print.ppi.unwrap() - 600.0).abs() < 1e-9);
    // Upright or lying, the paper is turned and the print is as large.
    let upright = Shot { orientation: rawassay_decode::Orientation::from_exif(6), ..s.clone() };
    let turned = judged(&m, &upright, "album", None);
    assert!((turned.print.ppi.unwrap() - 600.0).abs() < 1e-9);
    let (a, b) = (judgement.print.largest.unwrap(), turned.print.largest.unwrap());
    assert!((a.width_in - b.height_in).abs() < 1e-9 && a.width_in > a.height_in && b.height_in > b.width_in);
    // A screen is not turned: an upright picture fills its height.
    let flat = judged(&m, &s, "screen", None).print.ppi.unwrap();
    let tall = judged(&m, &upright, "screen", None).print.ppi.unwrap();
    assert!((flat - 110.0 * 4000.0 / 1440.0).abs() < 1e-9, "{flat}");
    assert!((tall - 110.0 * 6000.0 / 1440.0).abs() < 1e-9, "{tall}");
}

#[test]
fn blur_and_noise_on_the_paper() {
    let (mut m, s) = (measures(), shot());
    m.blur = crate::Blur { kind: BlurKind::Motion, motion_px: Some(2.0), ..m.blur };
    let judgement = judged(&m, &s, "album", None);
    let print = &judgement.print;
    // 600 ppi: a pixel is 0.042333 mm; one minute of arc at 30 cm is 0.087266 mm (d / 3437.75).
    assert!((print.eye_limit_mm.unwrap() - 300.0 / 3437.75).abs() < 1e-6);
    assert!((print.rise_mm.unwrap() - 1.8 * 25.4 / 600.0).abs() < 1e-12);
    assert!((print.motion_mm.unwrap() - 2.0 * 25.4 / 600.0).abs() < 1e-12);
    // The square that is resolved holds (0.087266 / 0.042333)^2 = 4.2496 pixels: SNR rises by 2.0614.
    let snr_px = 10f64.powf(38.0 / 20.0);
    assert!((print.snr_midtone.unwrap() / snr_px - 2.0614).abs() < 1e-3);
    // Usable range: the tone with SNR 4 over those pixels, from full well 50 000 e- and read noise 3.15 e-.
    let n = (300.0 / 3437.7468 * 600.0 / 25.4f64).powi(2);
    let k = 16.0 / n;
    let least = 0.5 * (k + (k * k + 4.0 * k * 3.15 * 3.15).sqrt());
    assert!((judgement.usable_ev.unwrap() - (50_000.0 / least).log2()).abs() < 1e-6);
    assert!((judgement.snr_limit - 4.0).abs() < 1e-12);
}

#[test]
fn the_largest_print_is_where_prints_ends() {
    let s = shot();
    for (rise, kind, motion, db) in [
        (1.8, BlurKind::None, None, 38.0),
        (3.5, BlurKind::Defocus, None, 38.0),
        (2.5, BlurKind::Motion, Some(9.0), 38.0),
        (1.8, BlurKind::None, None, 22.0),
    ] {
        let mut m = measures();
        m.sharpness.edge_rise_px = Some(rise);
        m.blur.kind = kind;
        m.blur.motion_px = motion;
        m.noise.snr_midtone_db = Some(db);
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let brief = Brief::default();
        let print = judge(&subject, &brief, None).print;
        for (found, inside, outside) in [
            (print.largest.unwrap(), Outcome::Prints, Outcome::Borderline),
            (print.largest_with_proof.unwrap(), Outcome::Borderline, Outcome::Fails),
        ] {
            let at = |scale: f64| {
                let mut brief = brief.clone();
                brief.output.width_mm = found.width_in * 25.4 * scale;
                brief.output.height_mm = found.height_in * 25.4 * scale;
                judge(&subject, &brief, None).verdict.outcome
            };
            assert_eq!(at(0.999), inside, "{found:?}");
            assert_eq!(at(1.001), outside, "{found:?}");
            assert!((found.ppi * found.width_in - 6000.0).abs() < 1e-6);
        }
    }
}

#[test]
fn the_same_frame_prints_small_and_fails_large() {
    // 10 megapixels, 3872 x 2592 px: 387 ppi at 10 in, 97 ppi at 40 in; exhibition refuses below 120.
    let (mut m, mut s) = (measures(), shot());
    m.active_px = [0, 0, 3872, 2592];
    (s.width_px, s.height_px) = (3872, 2592);
    assert_eq!(judged(&m, &s, "album", None).verdict.outcome, Outcome::Prints);
    let large = judged(&m, &s, "exhibition", None);
    assert_eq!(large.verdict.outcome, Outcome::Fails);
    let reason = finding(&large, FindingCode::TooFewPixels);
    assert_eq!(large.verdict.findings[0], reason);
    assert_eq!((reason.severity, reason.limit, reason.unit.as_str()), (Severity::Fails, Some(120.0), "ppi"));
    assert!((reason.measured.unwrap() - 96.8).abs() < 1e-9);
    assert!(reason.text.contains("97 ppi") && reason.remedy.contains("Stitch"), "{reason:?}");
}

#[test]
fn a_shake_halves_the_largest_print_or_worse() {
    let (clean, mut m, s) = (measures(), measures(), shot());
    m.blur.kind = BlurKind::Motion;
    m.blur.motion_px = Some(12.0);
    m.sharpness.edge_rise_px = Some(2.4);
    assert!(largest(&m, &s, None) <= 0.5 * largest(&clean, &s, None));
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Shaken);
    assert_eq!(found.severity, Severity::Fails);
    // 12 px at 315.8 ppi are 0.965 mm, 7.37 of the eye's 0.1309 mm at 45 cm; 1.9 would do, so the shutter must be
    // 3.88 times faster than 1/250 s: 1/970 s, on the dial 1/1000 s.
    assert!((found.measured.unwrap() - 7.37).abs() < 0.01, "{found:?}");
    assert!(found.remedy.starts_with("1/1000 s or faster"), "{}", found.remedy);
    assert!(found.remedy.contains("tripod with its column down"));
    // One moving subject is not the camera: borderline, and no tripod is advised.
    m.blur.motion_tiles_pct = Some(10.0);
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Shaken);
    assert_eq!(found.severity, Severity::Borderline);
    assert!(found.remedy.contains("a tripod would not help"), "{}", found.remedy);
}

#[test]
fn a_crop_lowers_the_largest_print_in_proportion() {
    let (m, s) = (measures(), shot());
    let crop = Area::new(1500, 1000, 3000, 2000);
    assert!((largest(&m, &s, Some(crop)) / largest(&m, &s, None) - 0.5).abs() < 1e-9);
    // The whole picture as a crop changes nothing.
    assert_eq!(judged(&m, &s, "album", Some(Area::new(0, 0, 6000, 4000))), judged(&m, &s, "album", None));
}

#[test]
fn a_crop_takes_its_sharpness_and_clipping_from_its_own_part() {
    let (mut m, s) = (measures(), shot());
    // Left half sharp, right half soft and with a blown patch of 500 x 500 px at 4000, 1000 of the picture.
    for (i, rise) in m.sharpness.map.rise_px.iter_mut().enumerate() {
        *rise = Some(if i % 6 < 3 { 1.8 } else { 9.0 });
    }
    m.clipping.any_pct[6 + 4] = 25.0;
    m.exposure.clipped_any_pct = 25.0 / 24.0;
    m.exposure.clipped_all_pct = 25.0 / 24.0;
    m.exposure.clipped_area_count = 1;
    m.exposure.largest_clipped_area_pct = 25.0 / 24.0;
    for c in &mut m.channels {
        c.clipped_pct = 25.0 / 24.0;
    }
    m.clipping.areas =
        vec![ClippedArea { box_px: [4008, 1004, 500, 500], area_pct: 25.0 / 24.0, ..ClippedArea::default() }];
    let left = judged(&m, &s, "album", Some(Area::new(0, 0, 3000, 4000)));
    assert_eq!(left.verdict.outcome, Outcome::Prints, "{:?}", left.verdict);
    let right = judged(&m, &s, "album", Some(Area::new(3000, 0, 3000, 4000)));
    let blown = finding(&right, FindingCode::Blown);
    assert!((blown.measured.unwrap() - 25.0 / 12.0).abs() < 1e-3, "{blown:?}");
    assert!((right.print.rise_mm.unwrap() - 9.0 * 25.4 / right.print.ppi.unwrap()).abs() < 1e-9);
    finding(&right, FindingCode::Soft);
}

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
    // 20 wanted: (20 / 8.137)^2 = 6.04 times the light: ISO 12800 / 6.04 = 2119, so 1600; or seven frames.
    assert!(found.remedy.contains("ISO 1600 or lower") && found.remedy.contains("merge 7 frames"), "{}", found.remedy);

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

#[test]
fn soft_says_why() {
    let (mut m, s) = (measures(), shot());
    m.sharpness.edge_rise_px = Some(6.0);
    let sayings =
        [(BlurKind::Defocus, "focus missed"), (BlurKind::None, "lens"), (BlurKind::Undetermined, "could not be told")];
    for (kind, words) in sayings {
        m.blur.kind = kind;
        let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Soft);
        assert_eq!(found.severity, Severity::Fails);
        assert!(found.text.contains(words), "{}", found.text);
    }
    // A frame that is sharp pixel by pixel, enlarged too much: more pixels, not sharper focus.
    m.sharpness.edge_rise_px = Some(1.9);
    m.blur.kind = BlurKind::None;
    let judgement = judged(&m, &s, "exhibition", Some(Area::new(0, 0, 3000, 2000)));
    let found = finding(&judgement, FindingCode::TooFewPixels);
    assert!(found.remedy.contains("sharper focus will not help"), "{}", found.remedy);
    assert!(found.text.contains("sharp pixel by pixel"), "{}", found.text);
    assert!(judgement.verdict.findings.iter().all(|f| f.code != FindingCode::Soft), "{:?}", judgement.verdict);
    assert_eq!(judgement.print.largest.unwrap().limited_by, "pixels");
    // Closed f-stop and a pitch that is only inferred: diffraction is named beside focus and lens.
    m.sharpness.edge_rise_px = Some(6.0);
    let inferred = Shot { f_number: Some(22.0), pitch_from: Some(rawassay_decode::PitchFrom::Focal35), ..s };
    for kind in [BlurKind::Defocus, BlurKind::None] {
        m.blur.kind = kind;
        let found = finding(&judged(&m, &inferred, "portfolio", None), FindingCode::Soft);
        assert!(found.text.contains("or diffraction at f/22 (the pixel pitch of 6 um"), "{}", found.text);
    }
}

/// Edges that the brief's own resolution does not keep narrow enough ask for more pixels, and the finding's limit says how
/// many: 2.0 px at 1.5 x 0.0727 mm (25 cm / 3437.75) are 466 ppi.
#[test]
fn a_pixel_sharp_frame_is_told_the_pixels_it_lacks() {
    let (mut m, s) = (measures(), shot());
    m.sharpness.edge_rise_px = Some(2.0);
    let near = "[output]\nsize = \"13 x 19 in\"\ndistance = \"25 cm\"\nppi_wanted = 300\nppi_least = 150";
    let brief = Brief::parse(near, "near").unwrap();
    let judgement = judge(&Subject { shot: Some(&s), measures: Some(&m), damaged: None }, &brief, None);
    let found = &judgement.verdict.findings[0];
    assert_eq!((found.code, found.severity), (FindingCode::TooFewPixels, Severity::Borderline));
    assert!((found.limit.unwrap() - 2.0 * 25.4 / (1.5 * 250.0 / 3437.7468)).abs() < 0.01, "{found:?}");
    assert!((judgement.print.largest.unwrap().ppi - found.limit.unwrap()).abs() < 1e-9);
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
    assert!(note.text.contains("light source") && note.text.contains("green alone"), "{}", note.text);
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
        (Some(-3.0), "at least 2 EV less", "3.0 EV"),
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

#[test]
fn diffraction_is_the_cause_only_where_the_edges_agree() {
    // f/32 at 4 um: 1.33287 x 0.55 x 32 / 4 = 5.865 px.
    let s = Shot { f_number: Some(32.0), pixel_pitch_um: Some(4.0), ..shot() };
    let mut m = measures();
    m.blur.expected_diffraction_px = None;
    m.sharpness.edge_rise_px = Some(6.1);
    let judgement = judged(&m, &s, "portfolio", None);
    let found = finding(&judgement, FindingCode::Diffracted);
    assert_eq!(found.severity, Severity::Fails);
    assert!(!judgement.verdict.findings.iter().any(|f| f.code == FindingCode::Soft));
    // Edges of 6.1 px may be 2.44 px at the limit (1.5 x 0.1309 mm at 315.8 ppi). The rest is 1.68 px, which leaves
    // 1.775 px for diffraction: f/32 x 1.775 / 5.865 = f/9.7, on the ring f/9.
    assert!(found.remedy.starts_with("Open up to f/9 or wider"), "{}", found.remedy);
    // Sharper edges than that f-number allows: the f-number is in doubt, and it is a note.
    m.sharpness.edge_rise_px = Some(1.8);
    let judgement = judged(&m, &s, "portfolio", None);
    let found = finding(&judgement, FindingCode::Diffracted);
    assert_eq!(found.severity, Severity::Note);
    assert!(found.text.contains("not confirmed"), "{}", found.text);
    assert_eq!(judgement.verdict.outcome, Outcome::Prints);
    // Not measured: said so, and a proof print advised.
    m.sharpness.edge_rise_px = None;
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Diffracted);
    assert!(found.text.contains("proof print"), "{}", found.text);
    // Far softer than diffraction: the focus is the fault.
    m.sharpness.edge_rise_px = Some(14.0);
    m.blur.kind = BlurKind::Defocus;
    let judgement = judged(&m, &s, "portfolio", None);
    assert_eq!(finding(&judgement, FindingCode::Soft).severity, Severity::Fails);
    assert_eq!(finding(&judgement, FindingCode::Diffracted).severity, Severity::Note);
    // A small print hides it: no word.
    m.sharpness.edge_rise_px = Some(2.6);
    let s = Shot { f_number: Some(11.0), ..s };
    assert_eq!(judged(&m, &s, "album", None).verdict.findings, vec![]);
}

#[test]
fn handling_is_a_note_on_a_sharp_frame_and_a_cause_of_a_shaken_one() {
    // Common practice, no source: 1/(3 x 200) s in the hand; 1/2 to 1/4 s shakes on a tripod.
    let s = Shot { shutter_s: Some(0.25), focal35_mm: Some(200.0), focal_mm: Some(200.0), ..shot() };
    let mut m = measures();
    let judgement = judged(&m, &s, "portfolio", None);
    for code in [FindingCode::SlowShutter, FindingCode::VibrationBand] {
        let found = finding(&judgement, code);
        assert_eq!(found.severity, Severity::Note);
        assert!(found.text.contains("sharp enough"), "{}", found.text);
    }
    assert_eq!(judgement.verdict.outcome, Outcome::Prints);
    let slow = finding(&judgement, FindingCode::SlowShutter);
    assert_eq!(slow.limit, Some(1.0 / 600.0));
    assert!(slow.remedy.starts_with("1/640 s or faster"), "{}", slow.remedy);
    m.blur.kind = BlurKind::Motion;
    m.blur.motion_px = Some(8.0);
    m.sharpness.edge_rise_px = Some(2.2);
    let judgement = judged(&m, &s, "portfolio", None);
    assert_eq!(judgement.verdict.findings[0].code, FindingCode::Shaken);
    for code in [FindingCode::Shaken, FindingCode::SlowShutter, FindingCode::VibrationBand] {
        assert_eq!(finding(&judgement, code).severity, Severity::Fails, "{code}");
    }
    // In the hand 1/640 s; on a tripod the mirror: whichever it was, the hand's speed is named first.
    let remedy = finding(&judgement, FindingCode::Shaken).remedy;
    assert!(remedy.starts_with("In the hand 1/640 s or faster") && remedy.contains("mirror lock-up"), "{remedy}");
    let codes: Vec<FindingCode> = judgement.verdict.findings.iter().map(|f| f.code).collect();
    assert_eq!(codes[1..3], [FindingCode::SlowShutter, FindingCode::VibrationBand]);
    // A wide lens does not shake there; fast enough has no word.
    let wide = Shot { focal35_mm: Some(24.0), ..s.clone() };
    assert!(judged(&m, &wide, "portfolio", None).verdict.findings.iter().all(|f| f.code != FindingCode::VibrationBand));
    let fast = Shot { shutter_s: Some(1.0 / 640.0), ..s };
    assert_eq!(judged(&measures(), &fast, "portfolio", None).verdict.findings, vec![]);
}

#[test]
fn sharp_edges_along_an_unknown_motion_do_not_pass() {
    // A shake leaves the edges along it sharp; where only those are left its kind cannot be told.
    let (mut m, s) = (measures(), shot());
    m.blur.kind = BlurKind::Undetermined;
    let judgement = judged(&m, &s, "portfolio", None);
    assert_eq!(judgement.verdict.outcome, Outcome::Unmeasured);
    assert_eq!(judgement.print.largest, None);
}

#[test]
fn of_equal_findings_the_one_that_limits_the_print_stands_first() {
    // 24 megapixels at 30 x 40 in: 150 ppi and a mid-tone SNR of 8 x 1.29 = 10.3 are both borderline; noise asks for
    // 20 / 8 x 116 = 291 ppi, pixels for 180.
    let (mut m, s) = (measures(), shot());
    m.noise.snr_midtone_db = Some(20.0 * 8f64.log10());
    let judgement = judged(&m, &s, "exhibition", None);
    assert_eq!(judgement.print.largest.as_ref().unwrap().limited_by, "noise");
    let codes: Vec<FindingCode> = judgement.verdict.findings.iter().map(|f| f.code).collect();
    assert!(codes.contains(&FindingCode::TooFewPixels), "{codes:?}");
    assert_eq!(codes[0], FindingCode::Noisy);
}

#[test]
fn damaged_fails_and_advises_a_copy() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: Some("rows 3000 to 3999 are constant") };
    let judgement = judge(&subject, &Brief::default(), None);
    assert_eq!(judgement.verdict.outcome, Outcome::Fails);
    let found = &judgement.verdict.findings[0];
    assert_eq!(found.code, FindingCode::Damaged);
    assert!(found.text.contains("rows 3000") && found.remedy.contains("Copy the file again"));
}

#[test]
fn limits_forgive_rounding_only() {
    use crate::print::{grade_above, grade_below};
    let limit = Limit::new(1.5, 3.0);
    assert_eq!(grade_above(1.5, limit), None);
    assert_eq!(grade_above(1.501, limit), Some(Severity::Borderline));
    assert_eq!(grade_above(3.001, limit), Some(Severity::Fails));
    let limit = Limit::new(20.0, 10.0);
    assert_eq!(grade_below(20.0, limit), None);
    assert_eq!(grade_below(19.99, limit), Some(Severity::Borderline));
    assert_eq!(grade_below(9.99, limit), Some(Severity::Fails));
}
