//! Judging by hand-made measures: the closed forms, and every rule alone.
#![allow(clippy::unwrap_used)]

mod blur;
mod size;
mod tones;

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
    // Under "not measured": all of it was not.
    assert!(nothing.verdict.not_measured[0].starts_with("everything"), "{:?}", nothing.verdict);
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
