//! `blocked`: shadows at the floor of the sensor, without detail.

use super::{Case, Finding, FindingCode, Parts, Severity, apart, passed, surface};
use crate::brief::length::short;
use crate::known;
use crate::print::grade_above;

/// Samples at the floor, per cent of the picture (of the crop); `None` where unknown.
pub(in crate::judge) fn floor_pct(case: &Case<'_>) -> Option<f64> {
    let m = case.measures?;
    let whole = m.exposure.floor_pct.and_then(known)?;
    let Some(crop) = case.crop else {
        return Some(whole);
    };
    let map = &m.clipping;
    super::blown::tiles_pct(&map.floor_pct, (map.cols, map.rows), (m.active_px[2], m.active_px[3]), &crop)
}

/// How bad the shadows are; the same at every size.
pub(in crate::judge) fn grade(case: &Case<'_>) -> Option<Severity> {
    grade_above(floor_pct(case)?, case.brief.limits.blocked_area_pct)
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let pct = floor_pct(case)?;
    let limits = case.brief.limits.blocked_area_pct;
    let severity = grade(case)?;
    let cm2 = case.paper_cm2()? * pct / 100.0;
    let limit = passed(limits, severity);
    let brighter = case.measures.and_then(|m| m.exposure.brighter_by_ev).filter(|ev| *ev >= 0.3);
    let remedy = match brighter {
        Some(ev) => format!("Expose {ev:.1} EV brighter: the highlights have room for it"),
        None => {
            "Bracket: the highlights leave no room for a longer exposure, so add a frame 2 to 3 EV brighter for the \
                 shadows, or fill them with light"
                .into()
        }
    };
    Some(
        Parts {
            code: FindingCode::Blocked,
            severity,
            measured: pct,
            limit,
            unit: "%",
            text: format!(
                "{} % of the picture ({} cm2 of {}) is at the sensor's floor without shadow detail, limit {} %; no fault where deep black is meant.",
                apart(short(pct), pct, limit),
                short(cm2),
                surface(case),
                short(limit)
            ),
            remedy,
        }
        .into_finding(),
    )
}
