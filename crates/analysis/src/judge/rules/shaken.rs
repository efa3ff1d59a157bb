//! `shaken`: camera or subject moved by more on the paper than the eye forgives.

use super::{
    Case, Finding, FindingCode, Parts, Severity, apart, finest_words, or_print_smaller, passed, surface, vibration_band,
};
use crate::brief::length::short;
use crate::measures::BlurKind;
use crate::optics;
use crate::print::Aspect;

/// Below this share of the tiles with edges, the motion is that of a part of the scene, not of the camera.
const SUBJECT_TILES_PCT: f64 = 40.0;

/// Beyond so many stops ISO alone is not named: the frame would be lost to noise instead. How much of it the f-stop can give
/// is not known: it depends on where the lens is still good. Common practice, no source.
const MOST_STOPS: f64 = 4.0;

/// Severity of the motion in this frame: by its length or, where that is unknown, by the edges that motion alone blurred.
pub(super) fn severity(case: &Case<'_>) -> Option<Severity> {
    let worst = case.grade(aspect(case))?;
    Some(if part_of_scene(case) { worst.min(Severity::Borderline) } else { worst })
}

/// What tells of the motion. Edges along a motion stay sharp, so that the rise of the sharpest edges tells little of it.
fn aspect(case: &Case<'_>) -> Aspect {
    let by_edges = case.blur_kind() == BlurKind::Motion && case.paper.brings.motion_px.is_none();
    if by_edges { Aspect::Sharpness } else { Aspect::Motion }
}

/// True where only a part of the scene moved.
fn part_of_scene(case: &Case<'_>) -> bool {
    let share = case.measures.and_then(|m| m.blur.motion_tiles_pct);
    share.is_some_and(|pct| pct < SUBJECT_TILES_PCT)
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let severity = severity(case)?;
    let aspect = aspect(case);
    let by_rise = aspect == Aspect::Sharpness;
    let px = if by_rise { case.paper.brings.rise_px? } else { case.paper.brings.motion_px? };
    let (mm, eyes) = (case.mm(px)?, case.value(aspect)?);
    let limits = case.paper.limit(aspect);
    let limit = passed(limits, severity);
    let what = if by_rise { "Motion leaves edges" } else { "Motion smears the picture by" };
    let wide = if by_rise { " wide" } else { "" };
    let part = if part_of_scene(case) { "; only a part of the scene moved, see whether it matters" } else { "" };
    Some(
        Parts {
            code: FindingCode::Shaken,
            severity,
            measured: eyes,
            limit,
            unit: "eye limits",
            text: format!(
                "{what} {} mm{wide} on {}, {} times {}, limit {}{part} ({px:.1} px in the frame).",
                short(mm),
                surface(case),
                apart(format!("{eyes:.1}"), eyes, limit),
                finest_words(case),
                short(limit),
            ),
            remedy: format!("{}{}", remedy(case, eyes / limits.borderline), or_print_smaller(case)),
        }
        .into_finding(),
    )
}

/// Longest time in the hand for this motion, `over` times too long at `shutter` seconds: what 1/(k f35) asks for, too,
/// where that is shorter.
fn in_the_hand_s(case: &Case<'_>, shutter: f64, over: f64) -> f64 {
    let needed = shutter / over.max(1.0);
    let focal35 = case.shot.and_then(|s| s.focal35_mm).filter(|f| *f > 0.0);
    focal35.map_or(needed, |f| needed.min(optics::hand_held_s(case.brief.handling.shutter_rule, f)))
}

/// The same, from the motion of this frame; `None` where the camera did not shake by more than the brief allows.
pub(super) fn hand_time_s(case: &Case<'_>) -> Option<f64> {
    severity(case)?;
    let shutter = case.shot?.shutter_s.filter(|s| s.is_finite() && *s > 0.0 && !part_of_scene(case))?;
    let aspect = aspect(case);
    Some(in_the_hand_s(case, shutter, case.value(aspect)? / case.paper.limit(aspect).borderline))
}

/// What would have kept the motion within the limit: it is `over` times too long, and grows with the time open.
fn remedy(case: &Case<'_>, over: f64) -> String {
    let over = over.max(1.0);
    let subject = part_of_scene(case);
    let stops = over.log2().ceil().max(1.0);
    let Some(shutter) = case.shot.and_then(|s| s.shutter_s).filter(|s| s.is_finite() && *s > 0.0) else {
        return if subject {
            format!("A shutter {stops:.0} stops faster for a subject that moves so; a tripod would not help")
        } else {
            format!("A shutter {stops:.0} stops faster, or a tripod with its column down and a remote release")
        };
    };
    let target = if subject { shutter / over } else { in_the_hand_s(case, shutter, over) };
    let band = !subject && vibration_band::applies(case);
    let Some((seconds, text)) = optics::shutter_not_slower(target) else {
        return "A tripod with its column down, or flash: no shutter is fast enough for this motion".into();
    };
    let iso = case.shot.and_then(|s| s.iso).filter(|i| *i > 0.0).map_or(String::new(), |iso| {
        let stops = (shutter / seconds).log2();
        if stops > MOST_STOPS {
            let from = case.shot.and_then(|s| s.f_number).filter(|n| n.is_finite() && *n > 0.0);
            let from = from.map_or(String::new(), |n| format!(" from f/{n}"));
            format!(
                " (for the same exposure {stops:.1} stops more light, more than ISO alone should give: open up{from} as far as \
                 the lens is still good, and raise ISO from {iso:.0} by the rest, as far as its noise allows)"
            )
        } else {
            let there = optics::iso_nearest(iso * shutter / seconds);
            format!(" (for the same exposure {stops:.1} stops more light or ISO, here ISO {there:.0})")
        }
    });
    if band {
        // Whether it was held or stood on a tripod is not known: the hand first, as it needs the more.
        format!(
            "In the hand {text} or faster at this focal length{iso}; on a tripod {} falls where mirror and shutter shake \
             it: {}",
            optics::shutter_text(shutter),
            vibration_band::WAYS_OUT
        )
    } else if subject {
        format!("{text} or faster for a subject that moves so{iso}; a tripod would not help")
    } else {
        format!("{text} or faster at this focal length{iso}, or a tripod with its column down and a remote release")
    }
}
