//! `noisy`: mid-tones carry more noise on the paper than the brief allows.

use super::{Case, Finding, FindingCode, Parts, or_print_smaller, passed, surface};
use crate::optics;
use crate::print::Aspect;

/// Room to expose brighter that is worth telling, EV.
const WORTH_EV: f64 = 0.5;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let severity = case.grade(Aspect::Noise)?;
    let snr = case.value(Aspect::Noise)?;
    let limits = case.paper.limit(Aspect::Noise);
    let over = limits.borderline / snr;
    let shot = case.shot;
    let iso = shot.and_then(|s| s.iso).filter(|i| i.is_finite() && *i > 0.0);
    // Photon noise: the signal-to-noise ratio goes with the root of the light, and so of 1/ISO.
    let lower = iso.and_then(|iso| optics::iso_not_above(iso / (over * over)).filter(|n| *n < iso));
    let frames = (over * over).ceil().max(2.0);
    let way = match lower {
        Some(lower) => format!("ISO {lower:.0} or lower with a longer exposure or a wider f-stop"),
        None => "More light, a wider f-stop or a larger sensor".into(),
    };
    let merge =
        if frames <= 16.0 { format!(", or merge {frames:.0} frames of a still subject") } else { String::new() };
    let brighter = case.measures.and_then(|m| m.exposure.brighter_by_ev).filter(|ev| *ev >= WORTH_EV);
    let room = brighter
        .map_or(String::new(), |ev| format!("; there was room to expose {ev:.1} EV brighter before highlights clip"));
    let at = iso.map_or(String::new(), |iso| format!(" at ISO {iso:.0}"));
    Some(
        Parts {
            code: FindingCode::Noisy,
            severity,
            measured: snr,
            limit: passed(limits, severity),
            unit: "ratio",
            text: format!(
                "Mid-tones{at} have a signal-to-noise ratio of {snr:.1} on {}; this brief wants {:.0} and {:.0} at the least.",
                surface(case),
                limits.borderline,
                limits.fails
            ),
            remedy: format!("{way}{merge}{room}{}", or_print_smaller(case)),
        }
        .into_finding(),
    )
}
