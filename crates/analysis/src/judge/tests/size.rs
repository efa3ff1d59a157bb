//! How large a frame prints, whole and cropped.

use super::*;

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
    // 6000 px over 19 in are 316 ppi, more than the 300 wanted: the text must not read as if they were fewer.
    assert!(found.text.contains("316 ppi") && found.text.contains("no less than the 300 ppi"), "{}", found.text);
    assert!((judgement.print.largest.unwrap().ppi - found.limit.unwrap()).abs() < 1e-9);
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

/// Frames side by side with a third of overlap show 1 + (n - 1) 2/3 of one frame's width; a lens f times as long shows 1/f of
/// what was there, at f times the resolution.
#[test]
fn stitching_as_advised_gives_the_resolution_and_the_view() {
    let s = shot();
    for inches in [26, 30, 40, 45, 60, 76, 80, 101] {
        let text = format!(
            "[output]\nsize = \"{inches} x {inches} in\"\ndistance = \"18 in\"\nppi_wanted = 240\nppi_least = 60\n"
        );
        let judged = judge(
            &Subject { shot: Some(&s), measures: Some(&measures()), damaged: None },
            &Brief::parse(&text, "test").unwrap(),
            None,
        );
        let finding = finding(&judged, FindingCode::TooFewPixels);
        let after = |word: &str| -> f64 {
            let rest = finding.remedy.split_once(word).unwrap().1;
            rest.split_whitespace().next().unwrap().parse().unwrap()
        };
        let (frames, longer) = (after("Stitch "), after("a lens "));
        let ppi = 6000.0 / f64::from(inches);
        assert!(ppi * longer >= 240.0 - 1e-6 && ppi * (longer - 0.1) < 240.0, "{inches}: {}", finding.remedy);
        let view = |n: f64| 1.0 + (n - 1.0) * 2.0 / 3.0;
        assert!(
            view(frames) >= longer - 1e-6 && (frames == 2.0 || view(frames - 1.0) < longer),
            "{inches}: {}",
            finding.remedy
        );
    }
}

#[test]
fn a_figure_past_its_limit_does_not_read_like_it() {
    let (mut m, s) = (measures(), shot());
    // 2.45 px at 315.8 ppi are 1.5053 times 0.1309 mm: past 1.5.
    m.sharpness.edge_rise_px = Some(2.45);
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Soft);
    assert!(found.text.contains("1.51 times") && found.text.contains("limit 1.5;"), "{}", found.text);
    // 9.98 on the paper, 6.132 of a pixel.
    let mut m = measures();
    m.noise.snr_midtone_db = Some(20.0 * 6.132f64.log10());
    let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Noisy);
    assert!(found.severity == Severity::Fails && found.text.contains("ratio of 9.98 on"), "{}", found.text);
}

#[test]
fn a_screen_is_not_called_a_print() {
    let mut m = measures();
    m.noise.row_banding_dn = Some(0.6);
    m.exposure.scene_range_ev = Some(13.0);
    m.blur.expected_diffraction_px = None;
    // On 2560 px 6000 px are shown at 257.8 ppi: a screen's pixel is 2.34 of the frame's, and f/32 at 1 um 23.5.
    let s = Shot { f_number: Some(32.0), pixel_pitch_um: Some(1.0), shutter_s: Some(0.25), ..shot() };
    for rise in [None, Some(3.0), Some(24.0), Some(60.0)] {
        m.sharpness.edge_rise_px = rise;
        let said = |brief: &str| -> String {
            let findings = judged(&m, &s, brief, None).verdict.findings;
            assert!(findings.iter().any(|f| f.code == FindingCode::Diffracted), "{findings:?}");
            findings.iter().map(|f| format!("{} {} ", f.text, f.remedy)).collect()
        };
        let screen = said("screen");
        assert!(!screen.contains("print") && !screen.contains("proof") && !screen.contains("paper"), "{screen}");
        assert!(said("exhibition").contains("paper"));
    }
    let banded = finding(&judged(&m, &s, "screen", None), FindingCode::Banded);
    assert!(banded.remedy.contains("look at the shadows at full size"), "{}", banded.remedy);
}
