//! Sharpness, motion, focus and diffraction on the paper, and what to do about them.

use super::*;

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
    // Wide all round, with and without the shape of a disc: a soft lens looks like the latter.
    m.blur.kind = BlurKind::Defocus;
    // Few edges tell little of the shape of a large disc, but no lens is so soft.
    for (confidence, radius, lens) in [(0.97, 2.5, false), (0.74, 2.5, true), (0.74, 14.0, false)] {
        (m.blur.confidence, m.blur.defocus_px) = (confidence, Some(radius));
        let found = finding(&judged(&m, &s, "portfolio", None), FindingCode::Soft);
        assert_eq!(found.text.contains("or the lens itself"), lens, "{}", found.text);
        assert_eq!(found.remedy.contains("it is the lens"), lens, "{}", found.remedy);
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
    // The same of a shaken frame holds for the edges along its motion only, and the text does not call the frame sharp.
    m.blur = crate::Blur { kind: BlurKind::Motion, motion_px: Some(5.0), ..m.blur };
    let shaken = judged(&m, &s, "exhibition", Some(Area::new(0, 0, 3000, 2000)));
    let found = finding(&shaken, FindingCode::TooFewPixels);
    let words = "Edges that lie along its motion are sharp pixel by pixel, but so enlarged they are";
    assert!(found.text.contains(words) && !found.text.contains("frame is sharp"), "{}", found.text);
    m.blur = crate::Blur { kind: BlurKind::None, motion_px: None, ..m.blur };
    // Closed f-stop and a pitch that is only inferred: diffraction is named beside focus and lens.
    m.sharpness.edge_rise_px = Some(6.0);
    let inferred = Shot { f_number: Some(22.0), pitch_from: Some(rawassay_decode::PitchFrom::Focal35), ..s };
    for kind in [BlurKind::Defocus, BlurKind::None] {
        m.blur.kind = kind;
        let found = finding(&judged(&m, &inferred, "portfolio", None), FindingCode::Soft);
        assert!(found.text.contains("or diffraction at f/22 (the pixel pitch of 6 um"), "{}", found.text);
    }
}

#[test]
fn opening_up_that_does_not_reach_the_size_names_no_stop_wider_than_f_8() {
    // f/22 at 4 um: 1.33287 x 0.55 x 22 / 4 = 4.03 px of 4.2: all else is 1.18 px, 0.458 of which f/2.9 makes.
    let s = Shot { f_number: Some(22.0), pixel_pitch_um: Some(4.0), ..shot() };
    let mut m = measures();
    m.blur.expected_diffraction_px = None;
    m.sharpness.edge_rise_px = Some(4.2);
    let brief = Brief::parse("[output]\nsize = \"100 x 75 cm\"\ndistance = \"30 cm\"", "near").unwrap();
    let judgement = judge(&Subject { shot: Some(&s), measures: Some(&m), damaged: None }, &brief, None);
    let found = finding(&judgement, FindingCode::Diffracted);
    let words = "Open up to about f/8, focus-stack where depth is needed, and make a smaller print or stitch";
    assert!(found.remedy.starts_with(words), "{}", found.remedy);
}

#[test]
fn soft_never_advises_stopping_down_against_the_diffraction_that_is_known() {
    // f/22 at 6.41 um: 1.33287 x 0.55 x 22 / 6.41 = 2.516 px, which is 2.516^2 / (3.71^2 - 0.8^2) = 48 % of what edges of
    // 3.71 px have beyond the pixel: not the larger part, and no reason to stop down.
    let s = Shot { f_number: Some(22.0), pixel_pitch_um: Some(6.41), ..shot() };
    let mut m = measures();
    m.blur.expected_diffraction_px = None;
    m.sharpness.edge_rise_px = Some(3.71);
    for (kind, words) in [
        (BlurKind::None, "the lens is the likeliest cause beside diffraction"),
        (BlurKind::Defocus, "focus missed, and"),
        (BlurKind::Mixed, "focus missed, and"),
        (BlurKind::Undetermined, "the other cause could not be told"),
    ] {
        m.blur.kind = kind;
        let found = finding(&judged(&m, &s, "exhibition", None), FindingCode::Soft);
        assert!(found.text.contains(words), "{}", found.text);
        assert!(found.text.contains("diffraction at f/22 makes 48 % of what widens them"), "{}", found.text);
        assert!(found.remedy.starts_with("Open up by two stops"), "{}", found.remedy);
    }
    // Of edges of 3.3 px 62 %: the note on diffraction does not call the other blur larger.
    (m.blur.kind, m.sharpness.edge_rise_px) = (BlurKind::Defocus, Some(3.3));
    let judgement = judged(&m, &s, "exhibition", None);
    assert!(finding(&judgement, FindingCode::Soft).text.contains("makes 62 % of what widens them"));
    let note = finding(&judgement, FindingCode::Diffracted);
    assert!(note.text.contains("it makes most of what widens the measured edges"), "{}", note.text);
    // At f/11 1.258 px are 5 % of edges of 5.5 px: not named, and no stopping down from there either.
    m.blur.kind = BlurKind::None;
    m.sharpness.edge_rise_px = Some(5.5);
    for (f_number, stop_down) in [(4.0, true), (8.0, true), (11.0, false), (16.0, false)] {
        let s = Shot { f_number: Some(f_number), ..s.clone() };
        let found = finding(&judged(&m, &s, "exhibition", None), FindingCode::Soft);
        assert_eq!(found.remedy.starts_with("Stop down"), stop_down, "f/{f_number}: {}", found.remedy);
        assert!(!found.text.contains("diffraction"), "f/{f_number}: {}", found.text);
    }
    // A small pitch reaches that part before f/11: f/8 at 1.5 um is 3.91 px, 36 % of edges of 6.6 px.
    m.sharpness.edge_rise_px = Some(6.6);
    let s = Shot { f_number: Some(8.0), pixel_pitch_um: Some(1.5), ..s };
    let found = finding(&judged(&m, &s, "exhibition", None), FindingCode::Soft);
    assert!(found.remedy.starts_with("Open up by two stops"), "{}", found.remedy);
    assert!(found.text.contains("makes 36 % of what widens them ("), "{}", found.text);
    // f/1.8 at 1.2 um: 1.1 px, a third of what 2.1 px have beyond the pixel. No lens opens by two stops from there.
    m.sharpness.edge_rise_px = Some(2.1);
    let open = Shot { f_number: Some(1.8), pixel_pitch_um: Some(1.2), ..s.clone() };
    let found = finding(&judged(&m, &open, "exhibition", None), FindingCode::Soft);
    assert!(found.remedy.starts_with("Open up as far as the lens does and"), "{}", found.remedy);
    m.sharpness.edge_rise_px = Some(6.6);
    // The same by a pitch that is only inferred is told as such; from f/11 on no figure is made of it.
    let inferred = Shot { pitch_from: Some(rawassay_decode::PitchFrom::Focal35), ..s };
    let found = finding(&judged(&m, &inferred, "exhibition", None), FindingCode::Soft);
    assert!(found.text.contains("36 % of what widens them, by a pixel pitch that is only inferred"), "{}", found.text);
    let closed = Shot { f_number: Some(11.0), pixel_pitch_um: Some(2.2), ..inferred };
    let found = finding(&judged(&m, &closed, "exhibition", None), FindingCode::Soft);
    assert!(found.text.contains("or diffraction at f/11 (the pixel pitch of 2.2 um"), "{}", found.text);
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
fn no_word_of_diffraction_where_pixels_alone_are_missing() {
    // f/1.8 at 1.4 um: 0.943 px, which is 0.943^2 / (1.8^2 - 0.8^2) = 34 % of what edges of 1.8 px have beyond the pixel.
    let s = Shot { f_number: Some(1.8), pixel_pitch_um: Some(1.4), ..shot() };
    let mut m = measures();
    m.blur.expected_diffraction_px = None;
    // 1000 px over 40 in are 25 ppi: those 0.943 px are 0.96 mm, 4.4 times what is resolved from 75 cm.
    let judgement = judged(&m, &s, "exhibition", Some(Area::new(300, 200, 1000, 700)));
    assert!(finding(&judgement, FindingCode::TooFewPixels).remedy.contains("sharper focus will not help"));
    assert!(judgement.verdict.findings.iter().all(|f| f.code != FindingCode::Diffracted), "{:?}", judgement.verdict);
    // Sharper than the f-number of the file allows: that is told all the same.
    let judgement = judged(&m, &Shot { f_number: Some(8.0), ..s }, "exhibition", Some(Area::new(300, 200, 1000, 700)));
    assert!(finding(&judgement, FindingCode::Diffracted).text.contains("not confirmed"));
}

#[test]
fn diffraction_is_named_in_a_shaken_frame() {
    // f/16 at 6.5 um: 1.33287 x 0.55 x 16 / 6.5 = 1.804 px, which is 1.804^2 / (2.15^2 - 0.8^2) = 82 % of what the edges
    // along the motion have beyond the pixel.
    let s = Shot { f_number: Some(16.0), pixel_pitch_um: Some(6.5), ..shot() };
    let mut m = measures();
    m.blur = crate::Blur { kind: BlurKind::Motion, motion_px: Some(5.0), expected_diffraction_px: None, ..m.blur };
    for rise in [1.97, 2.15] {
        m.sharpness.edge_rise_px = Some(rise);
        let judgement = judged(&m, &s, "exhibition", None);
        let found = finding(&judgement, FindingCode::Diffracted);
        assert!(found.severity > Severity::Note && found.remedy.starts_with("Open up"), "{rise}: {found:?}");
        assert!(found.text.contains("widens the edges along the motion"), "{}", found.text);
        let pixels = finding(&judgement, FindingCode::TooFewPixels);
        assert!(!pixels.text.contains("sharp pixel by pixel") && !pixels.remedy.contains("focus"), "{pixels:?}");
        assert!(judgement.verdict.findings.iter().any(|f| f.code == FindingCode::Shaken));
        assert!(judgement.verdict.findings.iter().all(|f| f.code != FindingCode::Soft));
    }
    // Where the length of the motion is unknown the edges tell of it: they are not put down to diffraction as well.
    m.blur.motion_px = None;
    let judgement = judged(&m, &s, "exhibition", None);
    assert!(judgement.verdict.findings.iter().all(|f| f.code != FindingCode::Diffracted), "{:?}", judgement.verdict);
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
    // A sharp frame of 7.3 stops more than the hand holds was not held by hand alone: no hand's time is advised first, and
    // what held it is not known.
    let kept =
        "Sharp all the same, as on a tripod, with a stabiliser or by flash; in the hand without them 1/640 s or faster";
    assert_eq!(slow.remedy, kept);
    let near = judged(&m, &Shot { shutter_s: Some(1.0 / 60.0), ..s.clone() }, "portfolio", None);
    let slow = finding(&near, FindingCode::SlowShutter);
    assert!(slow.remedy.starts_with("1/640 s or faster in the hand; else a tripod"), "{}", slow.remedy);
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
    // 1/4 to 1/640 s are 7.3 stops: no ISO 16000 is advised for it.
    assert!(remedy.contains("7.3 stops more light") && !remedy.contains("here ISO"), "{remedy}");
    // f-stop and ISO may give them together: that is not denied.
    assert!(remedy.contains("open up from f/5.6") && remedy.contains("ISO from 100 by the rest"), "{remedy}");
    assert!(!remedy.contains("without harm"), "{remedy}");
    assert!(remedy.starts_with("In the hand 1/640 s or faster") && remedy.contains("mirror lock-up"), "{remedy}");
    // A motion that asks for more than the rule of thumb does: both findings name the same time.
    m.blur.motion_px = Some(30.0);
    let fast = judged(&m, &Shot { shutter_s: Some(1.0 / 125.0), ..s.clone() }, "portfolio", None);
    let named = |code| finding(&fast, code).remedy.split(" or faster").next().unwrap().to_owned();
    assert_eq!(named(FindingCode::Shaken), named(FindingCode::SlowShutter));
    assert_ne!(named(FindingCode::Shaken), "1/640 s");
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
