//! Camera shake along the exposure time, per camera and focal length, and over all focal lengths together.
//!
//! Answers: the slowest exposure time at which the photographer keeps a wanted share of hand-held frames free of shake,
//! as a time per focal length and as k in 1/(k f35); and a band of exposure times in which vibration marks frames on a
//! tripod, where longer ones recover. Method: docs/measures.md, "Series".

use std::collections::HashMap;

use super::shutter_fit::{self, Ending};
use super::shutter_trust;
use super::{Best, Estimate, Group, Held, Key, Limit, Readings, Setting, Step, estimate, group_by, steps_by};
use super::{BodyNames, plural, share_interval, short, shutter_text};
use crate::optics::{is_set, shutter_not_slower};
use crate::{BlurKind, FindingCode, FrameRow, Outcome, Severity};

/// Focal lengths within this ratio are one group.
const SAME_FOCAL: f64 = 1.1;
/// Exposure times within this ratio are one setting (a quarter of a stop).
const SAME_TIME: f64 = 1.19;
/// Motion in fewer tiles than this is a moving subject, not a shaken camera, per cent.
const SUBJECT_TILES_PCT: f64 = 40.0;
/// Straight motion shorter than this is hardly told from the blur of lens and pixel, pixels (simulated frames: found
/// from 1.5 px on, not below).
const TOLD_FROM_PX: f64 = 1.5;
/// Exposure times in which vibration of shutter and mirror marks tripod frames, seconds (common practice, no source,
/// puts it around 1/15 to 1/2 s; the search is wider).
const BAND_S: [f64; 2] = [1.0 / 60.0, 1.5];

/// What decides over shake.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Options {
    /// Share of frames that should be free of shake, 0.5 to 0.99.
    keeper_share: f64,
    /// Motion on the paper from which a frame counts as shaken, mm.
    shake_limit_mm: f64,
}

/// A frame that tells of shake.
struct Told<'f> {
    frame: &'f FrameRow,
    ending: Ending,
    /// log2(exposure time x 35 mm focal length).
    x: Option<f64>,
}

/// The groups, and cautions.
pub(super) fn groups(frames: &[FrameRow], held: &Held<'_>) -> (Vec<Group>, Vec<String>) {
    let names = BodyNames::of(frames);
    let brief = held.name;
    let options = &Options { keeper_share: held.keeper_share, shake_limit_mm: held.shake_limit_mm() };
    let sound = frames.iter().filter(|f| !f.damaged && f.shutter_s().is_some_and(|t| t > 0.0));
    let mut warnings = Vec::new();
    let without = frames.iter().filter(|f| !f.damaged && f.shutter_s().is_none_or(|t| t <= 0.0)).count();
    if without > 0 {
        warnings.push(format!("{without} {} without an exposure time left out.", plural(without, "frame")));
    }
    let mut groups = Vec::new();
    for (camera, members) in group_by(sound, |f| Some(f.camera())) {
        let key = |focal35: Setting| {
            Key(vec![
                ("make", camera.make.into()),
                ("model", camera.model.into()),
                ("serial", camera.serial.into()),
                ("focal35_mm", focal35),
            ])
        };
        let name = names.name(&camera);
        let by_focal = steps_by(&members, SAME_FOCAL, |f| f.focal35_mm());
        if by_focal.len() != 1 {
            groups.push(group(key(Setting::Text("all".into())), &name, None, &members, brief, options));
        }
        for (focal35, part) in by_focal {
            groups.push(group(key(Setting::Number(focal35)), &name, Some(focal35), &part, brief, options));
        }
    }
    (groups, warnings)
}

/// How the frame ended; `None` where it does not tell of the photographer's hand.
fn ending(frame: &FrameRow, options: &Options) -> Option<Ending> {
    let moved = super::telling::moved(frame);
    if moved && frame.motion_tiles_pct().is_some_and(|pct| pct < SUBJECT_TILES_PCT) {
        return None;
    }
    if frame.blur_kind == BlurKind::Undetermined {
        return None;
    }
    let found = frame.worst(&[FindingCode::Shaken]) >= Some(Severity::Borderline);
    let motion_mm = frame.print_motion_mm().filter(|_| moved);
    let ratio = motion_mm.map(|motion| motion / options.shake_limit_mm).filter(|r| r.is_finite());
    Some(match ratio {
        Some(ratio) if ratio > 1.0 => Ending::Shaken(Some(ratio)),
        _ if found => Ending::Shaken(None),
        _ => Ending::Free,
    })
}

fn group(key: Key, name: &str, focal35: Option<f64>, members: &[&FrameRow], brief: &str, options: &Options) -> Group {
    let told: Vec<Told<'_>> = members
        .iter()
        .filter_map(|frame| {
            let x = frame.shutter_s().zip(frame.focal35_mm()).map(|(t, f)| (t * f).log2());
            Some(Told { frame, ending: ending(frame, options)?, x: x.filter(|x| x.is_finite()) })
        })
        .collect();
    let mut warnings = Vec::new();
    if told.len() < members.len() {
        let left = members.len() - told.len();
        warnings.push(format!(
            "{left} {} left out: the cause of the blur could not be told, or only the subject moved.",
            plural(left, "frame")
        ));
    }
    let limit_px = |t: &Told<'_>| t.frame.ppi().map(|ppi| options.shake_limit_mm * ppi / 25.4);
    let finest = told.iter().filter_map(limit_px).fold(f64::INFINITY, f64::min);
    if finest < TOLD_FROM_PX {
        warnings.push(format!(
            "On this print shake counts from {finest:.1} px on, but motion below about {TOLD_FROM_PX} px cannot be told from \
             the blur of lens and pixel: the true limit lies at a shorter time."
        ));
    }
    if focal35.is_none() && told.iter().any(|t| t.x.is_none()) {
        warnings.push("Frames without a 35 mm equivalent focal length count by their exposure time only.".to_string());
    }
    let band = vibration_band(&told);
    let hand_held: Vec<(f64, Ending)> = told
        .iter()
        .filter(|t| band.is_none_or(|b| t.frame.shutter_s().is_some_and(|s| s < b[0] / 1.1)))
        .filter_map(|t| Some((t.x?, t.ending)))
        .collect();
    if let Some([from, to]) = band {
        warnings.push(format!(
            "Vibration band: fewer frames are free of shake from {} to {} than at longer times, as on a tripod with a \
             moving mirror or shutter; these and longer times were left out of the hand-held fit. Use an electronic or \
             leaf shutter, lock the mirror up, or stay clear of these times.",
            shutter_text(from),
            shutter_text(to)
        ));
    }
    let steps = steps(&told, members, focal35, options);
    let free = hand_held.iter().filter(|f| f.1 == Ending::Free).count();
    let fit = shutter_fit::fit(&hand_held, options.keeper_share);
    let refusal = shutter_trust::refusal(fit.as_ref(), &hand_held, options.keeper_share);
    let fit = fit.filter(|_| refusal.is_none());
    let limit = fit.as_ref().map(|f| f.limit_x);
    let k = limit.map_or(Estimate::default(), |x| Estimate {
        value: Some((-x[1]).exp2()),
        low: Some((-x[2]).exp2()),
        high: Some((-x[0]).exp2()),
        frames: hand_held.len(),
    });
    let slowest = match (limit, focal35) {
        (Some(x), Some(f)) => {
            let [low, value, high] = x.map(|x| x.exp2() / f);
            Estimate { value: Some(value), low: Some(low), high: Some(high), frames: hand_held.len() }
        }
        _ => Estimate::default(),
    };
    let answer = answer(name, focal35, &hand_held, free, k, slowest, refusal.as_deref(), options, brief);
    let [band_from, band_to] = band.map_or([None, None], |b| b.map(Some));
    // Counts of a few frames, or of frames from a tripod, are no limit of the hand where the answer refuses to tell one.
    let told_at_all = fit.is_some();
    Group {
        key,
        frames: members.len(),
        best: best(&steps).filter(|_| told_at_all),
        limit_for_brief: limit_for_brief(&steps, options).filter(|_| told_at_all),
        readings: Readings(vec![
            ("k", k),
            ("slowest_hand_held_s", slowest),
            ("keeper_share_pct", Estimate::plain(Some(100.0 * options.keeper_share), hand_held.len())),
            ("vibration_band_from_s", Estimate::plain(band_from, told.len())),
            ("vibration_band_to_s", Estimate::plain(band_to, told.len())),
        ]),
        steps: with_fit(steps, fit.as_ref(), focal35),
        answer,
        warnings,
    }
}

/// One step per exposure time; over all focal lengths one per stop of exposure time x focal length.
fn steps(told: &[Told<'_>], members: &[&FrameRow], focal35: Option<f64>, options: &Options) -> Vec<Step> {
    let value = |f: &FrameRow| match focal35 {
        Some(_) => f.shutter_s(),
        None => {
            let x = (f.shutter_s()? * f.focal35_mm()?).log2();
            Some(x.round().exp2())
        }
    };
    let by_frame: HashMap<*const FrameRow, &Told<'_>> = told.iter().map(|t| (std::ptr::from_ref(t.frame), t)).collect();
    steps_by(members, SAME_TIME, value)
        .into_iter()
        .map(|(setting, all)| {
            let here: Vec<&Told<'_>> =
                all.iter().filter_map(|f| by_frame.get(&std::ptr::from_ref(*f)).copied()).collect();
            let free = here.iter().filter(|t| t.ending == Ending::Free).count();
            let share = (!here.is_empty()).then(|| 100.0 * free as f64 / here.len() as f64);
            let (low, high) = share_interval(free, here.len());
            let enough = share.map(|s| {
                if s >= 100.0 * options.keeper_share {
                    Outcome::Prints
                } else if 100.0 * high >= 100.0 * options.keeper_share {
                    Outcome::Borderline
                } else {
                    Outcome::Fails
                }
            });
            let free_share = Estimate {
                value: share,
                low: share.map(|_| 100.0 * low),
                high: share.map(|_| 100.0 * high),
                frames: here.len(),
            };
            let motion = here.iter().filter(|t| t.ending != Ending::Free);
            Step {
                setting: Setting::Number(setting),
                frames: here.len(),
                left_out: all.len() - here.len(),
                readings: Readings(vec![
                    ("free_of_shake_pct", free_share),
                    ("motion_px", estimate(motion.clone().map(|t| t.frame.motion_px())).not_negative()),
                    ("print_motion_mm", estimate(motion.map(|t| t.frame.print_motion_mm())).not_negative()),
                ]),
                meets_brief: enough,
            }
        })
        .collect()
}

/// Adds the fitted share to each step.
fn with_fit(mut steps: Vec<Step>, fit: Option<&shutter_fit::Fit>, focal35: Option<f64>) -> Vec<Step> {
    for step in &mut steps {
        let x = step.setting.number().map(|s| (s * focal35.unwrap_or(1.0)).log2());
        let share = fit.zip(x).and_then(|(fit, x)| {
            let near = fit.curve.iter().min_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()))?;
            ((near.0 - x).abs() < 0.2).then_some(100.0 * near.1)
        });
        step.readings.0.insert(1, ("fitted_free_pct", Estimate::plain(share, step.frames)));
    }
    steps
}

/// The longest time at which every frame was free of shake, all shorter ones too.
fn best(steps: &[Step]) -> Option<Best> {
    let free = |s: &&Step| s.readings.value("free_of_shake_pct").is_none_or(|p| p >= 100.0);
    let step = steps.iter().take_while(free).filter(|s| s.frames > 0).last()?;
    Some(Best {
        setting: step.setting.clone(),
        low: None,
        high: None,
        reason: format!("every frame was free of shake up to this time, {} of them at it.", step.frames),
    })
}

/// The longest tested time up to which the wanted share was kept.
fn limit_for_brief(steps: &[Step], options: &Options) -> Option<Limit> {
    let tested: Vec<(f64, Outcome)> =
        steps.iter().filter_map(|s| Some((s.setting.number()?, s.meets_brief?))).collect();
    tested.first()?;
    let kept = tested.iter().take_while(|t| t.1 == Outcome::Prints).count();
    let passable = tested.iter().take_while(|t| t.1 <= Outcome::Borderline).count();
    let setting = |count: usize| count.checked_sub(1).map(|i| tested[i].0);
    Some(Limit {
        setting: setting(kept).into(),
        borderline_to: setting(passable).into(),
        by_curve: None,
        between: (kept > 0 && kept < tested.len()).then(|| [tested[kept - 1].0, tested[kept].0]),
        reason: format!("Share of {:.0} % free of shake, as counted at each step.", 100.0 * options.keeper_share),
    })
}

/// The limit, and where no camera sets it the slowest time within it that they do.
fn hand_held(limit_s: f64) -> String {
    let limit = shutter_text(limit_s);
    match shutter_not_slower(limit_s) {
        Some((_, set)) if !is_set(&limit) => format!("{limit} hand-held, on the camera {set}"),
        _ => format!("{limit} hand-held"),
    }
}

#[allow(clippy::too_many_arguments, reason = "one sentence from all that is known of a group")]
fn answer(
    name: &str,
    focal35: Option<f64>,
    frames: &[(f64, Ending)],
    free: usize,
    k: Estimate,
    slowest: Estimate,
    refusal: Option<&str>,
    options: &Options,
    brief: &str,
) -> String {
    let at = focal35.map_or_else(|| "over all focal lengths".to_string(), |f| format!("at {} mm", short(f)));
    let total = frames.len();
    let share = 100.0 * options.keeper_share;
    let range = |e: Estimate| format!("{} to {}", short(e.low.unwrap_or(f64::NAN)), short(e.high.unwrap_or(f64::NAN)));
    match (k.value, slowest.value) {
        (Some(value), Some(time)) => format!(
            "{name} {at}: {share:.0} % free of shake for {brief} down to {} (k {}, 90 % interval {}; {total} frames).",
            hand_held(time),
            short(value),
            range(k)
        ),
        (Some(value), None) => format!(
            "{name} {at}: {share:.0} % free of shake for {brief} down to 1/({} f) hand-held (k, 90 % interval {}; {total} frames).",
            short(value),
            range(k)
        ),
        _ if total == 0 => format!("{name} {at}: no frame tells of shake (focal length or cause of blur unknown)."),
        _ if free == total => format!(
            "{name} {at}: no slowest time can be told: {free} of {total} {} free of shake. Go on to longer hand-held \
             times until some are shaken; frames from a tripod say nothing of the hand.",
            plural(total, "frame"),
        ),
        _ => format!(
            "{name} {at}: no slowest time can be told: {free} of {total} {} free of shake; {}.",
            plural(total, "frame"),
            refusal.unwrap_or("it takes shaken and unshaken frames near the limit")
        ),
    }
}

/// A run of exposure times, shortest and longest, in which fewer frames are free than at both shorter and longer times.
fn vibration_band(told: &[Told<'_>]) -> Option<[f64; 2]> {
    let stop = |t: &Told<'_>| t.frame.shutter_s().map(|s| s.log2().round() as i32);
    let (first, last) = (BAND_S[0].log2().round() as i32, BAND_S[1].log2().round() as i32);
    let counts = |wanted: &dyn Fn(&Told<'_>) -> bool| {
        let chosen: Vec<&Told<'_>> = told.iter().filter(|t| wanted(t)).collect();
        let free = chosen.iter().filter(|t| t.ending == Ending::Free).count();
        (free as f64, chosen.len() as f64)
    };
    let mut best: Option<(f64, [i32; 2])> = None;
    for from in first..=last {
        for to in from..=last {
            let inside = |t: &Told<'_>| stop(t).is_some_and(|s| s >= from && s <= to);
            let focal = super::stats::median_of(told.iter().filter(|t| inside(t)).filter_map(|t| t.x));
            // Longer frames count only where the focal length makes them no easier to hold.
            let longer = |t: &Told<'_>| {
                stop(t).is_some_and(|s| s > to) && t.x.zip(focal).is_none_or(|(x, middle)| x >= middle - 0.5)
            };
            let shorter = |t: &Told<'_>| stop(t).is_some_and(|s| s < from);
            let (free_in, all_in) = counts(&inside);
            let (free_longer, all_longer) = counts(&longer);
            let (free_shorter, all_shorter) = counts(&shorter);
            if all_in < 4.0 || all_longer < 4.0 || all_shorter < 4.0 {
                continue;
            }
            let (p_in, p_longer, p_shorter) = (free_in / all_in, free_longer / all_longer, free_shorter / all_shorter);
            let pooled = (free_in + free_longer) / (all_in + all_longer);
            let error = (pooled * (1.0 - pooled) * (1.0 / all_in + 1.0 / all_longer)).sqrt();
            let z = (p_longer - p_in) / error.max(1e-9);
            // 2.6 rather than 1.64: several windows are tried.
            if p_longer - p_in > 0.25 && p_shorter - p_in > 0.25 && z > 2.6 && best.is_none_or(|b| z > b.0) {
                best = Some((z, [from, to]));
            }
        }
    }
    let [from, to] = best?.1;
    let times = told.iter().filter(|t| stop(t).is_some_and(|s| s >= from && s <= to));
    let times: Vec<f64> = times.filter_map(|t| t.frame.shutter_s()).collect();
    Some([times.iter().copied().fold(f64::INFINITY, f64::min), times.iter().copied().fold(0.0, f64::max)])
}

#[cfg(test)]
mod tests {
    use super::hand_held;

    #[test]
    fn a_limit_between_two_times_of_the_dial_names_the_faster_one() {
        assert_eq!(hand_held(1.0 / 263.0), "1/263 s hand-held, on the camera 1/320 s");
        assert_eq!(hand_held(1.0 / 258.0), "1/250 s hand-held");
        // Faster than any shutter.
        assert_eq!(hand_held(1.0 / 20_000.0), "1/20000 s hand-held");
    }
}
