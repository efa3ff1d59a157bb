//! Judging by hand-made measures: the closed forms, and every rule alone.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::brief::Need;
use crate::judge::fixture::{measures, shot};

#[test]
fn a_clean_frame_has_no_finding() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    for name in ["screen", "album", "portfolio"] {
        let brief = Brief::built_in(name).unwrap();
        let judgement = judge(&subject, &brief, None);
        assert_eq!(judgement.verdict.findings, vec![], "{name}");
        assert_eq!(judgement.verdict.outcome, Outcome::Prints, "{name}");
        assert_eq!(judgement.verdict.brief, name);
    }
}

#[test]
fn unknown_is_never_a_pass() {
    let s = shot();
    let brief = Brief::default();
    for blank in [Need::Sharpness, Need::Noise] {
        let mut m = measures();
        match blank {
            Need::Sharpness => m.sharpness.edge_rise_px = None,
            _ => {
                m.noise.snr_midtone_db = Some(f64::NAN);
                m.channels.clear();
            }
        }
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let judgement = judge(&subject, &brief, None);
        assert_eq!(judgement.verdict.outcome, Outcome::Unmeasured, "{blank:?}");
        assert!(judgement.verdict.not_measured[0].starts_with(blank.word()));
        assert_eq!(judgement.print.largest, None);
    }
}
