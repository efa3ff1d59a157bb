//! `slow-shutter`: slower than the hand holds, 1/(k f35). Common practice, no source.

use super::vibration_band::Effect;
use super::{Case, Finding, FindingCode, Parts, shaken};
use crate::{known, optics};

/// A sharp frame of so many times the hand's own limit (five stops; common practice, no source) was not held by hand alone:
/// whether by a tripod, a stabiliser or flash the file does not tell for sure.
const SURELY_HELD: f64 = 32.0;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let shot = case.shot?;
    let shutter = shot.shutter_s.and_then(known).filter(|s| *s > 0.0)?;
    let focal35 = shot.focal35_mm.and_then(known).filter(|f| *f > 0.0)?;
    let rule = case.brief.handling.shutter_rule;
    let limit = optics::hand_held_s(rule, focal35);
    // The dial's own rounding: 1/160 s is meant by a limit of 1/150 s.
    let (_, dial) = optics::shutter_not_slower(limit).unwrap_or((limit, "the fastest shutter"));
    if shutter <= limit * 1.02 {
        return None;
    }
    // What this frame's own motion asks for goes before the rule of thumb.
    let held = shaken::hand_time_s(case).and_then(optics::shutter_not_slower).map_or(dial, |(_, text)| text);
    let effect = Effect::of(case);
    Some(
        Parts {
            code: FindingCode::SlowShutter,
            severity: effect.severity(),
            measured: shutter,
            limit,
            unit: "s",
            text: format!(
                "{} is slower than the hand holds at {focal35:.0} mm (35 mm equivalent): 1/({rule} x {focal35:.0}), about {dial}; {}.",
                optics::shutter_text(shutter),
                effect.words(),
            ),
            remedy: if shutter > limit * SURELY_HELD && effect.is_sharp() {
                format!(
                    "Sharp all the same, as on a tripod, with a stabiliser or by flash; in the hand without them {held} or faster"
                )
            } else {
                format!("{held} or faster in the hand; else a tripod with its column down and a remote release")
            },
        }
        .into_finding(),
    )
}
