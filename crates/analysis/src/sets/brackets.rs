//! Brackets: one framing at several exposures, which frames hold the ends, and how few are worth merging.

use serde::Serialize;

use super::merge::{Unjoined, fewest, usable_ev};
use super::{Exposed, Placed, likeness};
use crate::view::file_name;
use crate::{FindingCode, FrameRow, Severity};

/// Exposures nearer than this are one exposure, EV.
pub(super) const DISTINCT_EV: f64 = 0.25;
/// Least spread of a bracket, EV: less is the drift of automatic exposure, unless the exposure bias says otherwise.
const LEAST_SPREAD_EV: f64 = 0.9;
/// The same where the camera wrote differing exposure bias.
const LEAST_BIASED_SPREAD_EV: f64 = 0.55;
/// Frames of a bracket at the most.
const MOST: usize = 15;
/// From this many frames on, steps of ISO alone, or of the f-stop alone, are a test series and no bracket.
const TEST_SERIES: usize = 4;
/// A difference of exposures this near to a step of cameras is that step, EV.
const STEP_ROUNDING_EV: f64 = 0.12;
/// Clipped share up to which a frame shows the scene's range, per cent.
const CLEAN_PCT: f64 = 0.5;
/// The darkest half per cent may lie below the usable range by this much, EV: what it is measured to.
const SHADOW_SLACK_EV: f64 = 0.25;
/// Unused room above the highlights that is worth telling, EV.
const ROOM_EV: f64 = 1.0;
/// The raws should differ by what the settings say to within this, EV.
const AGREES_EV: f64 = 0.7;

/// One framing at several exposures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bracket {
    /// Files in the order taken.
    pub files: Vec<String>,
    /// Exposure of each against the metered one (without exposure bias where the camera wrote differing bias, else the
    /// middle one), in the steps of cameras, EV; above zero is brighter.
    pub ev_steps: Vec<f64>,
    /// By how much each raw is really brighter than that one, EV; `None` where too little tone is shared.
    pub measured_ev_steps: Vec<Option<f64>>,
    /// Which of them hold the highlights: the brief finds none blown.
    pub holds_highlights: Vec<bool>,
    /// Which of them hold the shadows: the brief finds none blocked, and the darkest tones lie above the noise; `None` where
    /// the noise there was not measured.
    pub holds_shadows: Vec<Option<bool>>,
    /// The frame with most exposure that holds the highlights; `None` where none does.
    pub highlights_held_by: Option<String>,
    /// The frame with least exposure that holds the shadows; `None` where none does.
    pub shadows_held_by: Option<String>,
    /// Whether both ends are held.
    pub covered: bool,
    /// The fewest frames that hold the whole scene when merged, darkest first; empty where none do.
    pub fewest_to_merge: Vec<String>,
    /// Range of the scene itself as far as the frames show it, EV: the widest that a frame holds without clipping.
    pub scene_range_ev: Option<f64>,
    /// From saturation in the darkest of the merged frames to the usable floor of the brightest, EV.
    pub merged_range_ev: Option<f64>,
    /// One plain sentence.
    pub answer: String,
    /// Cautions.
    pub warnings: Vec<String>,
}

/// Brightness of a frame by its settings; the exposure bias where the settings are not told.
fn brightness_ev(placed: &Placed<'_>) -> Option<f64> {
    placed.exposed().map(Exposed::brightness_ev).or(placed.frame.exposure_bias_ev())
}

/// Cuts a run into brackets and what lies between them: (start, length) of each bracket, in order. Of all ways to cut
/// it, the one that puts most frames into brackets, those of the camera's own bracketing before those set by hand.
pub(super) fn cut(run: &[Placed<'_>]) -> Vec<(usize, usize)> {
    // Best worth from each place to the end, with the length of the bracket that starts there (0: none).
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0); run.len() + 1];
    for start in (0..run.len()).rev() {
        best[start] = (best[start + 1].0, 0);
        let steps = distinct_steps(&run[start..]);
        for length in 2..=steps.len() {
            let Some(each) = worth(&run[start..start + length], &steps[..length]) else { continue };
            // A little more for length: one bracket of five is not one of two and one of three.
            let worth = length as f64 * (each + 0.02 * length as f64) + best[start + length].0;
            if worth > best[start].0 {
                best[start] = (worth, length);
            }
        }
    }
    let mut found = Vec::new();
    let mut at = 0;
    while at < run.len() {
        let length = best[at].1;
        if length > 0 {
            found.push((at, length));
        }
        at += length.max(1);
    }
    found
}

/// Brightness of the frames from the start of a run on, EV, as far as no two are alike.
fn distinct_steps(run: &[Placed<'_>]) -> Vec<f64> {
    // All by their settings, or all by their bias: the two do not share a zero.
    let by_settings = run.first().is_some_and(|p| p.exposed().is_some());
    let mut steps: Vec<f64> = Vec::new();
    for placed in run.iter().take(MOST) {
        if placed.exposed().is_some() != by_settings {
            break;
        }
        let Some(ev) = brightness_ev(placed) else { break };
        if steps.iter().any(|s| (s - ev).abs() < DISTINCT_EV) {
            break;
        }
        steps.push(ev);
    }
    steps
}

/// What a frame of this bracket counts for; `None` where the frames are no bracket.
fn worth(frames: &[Placed<'_>], steps: &[f64]) -> Option<f64> {
    let mut sorted = steps.to_vec();
    sorted.sort_by(f64::total_cmp);
    let spread = sorted[sorted.len() - 1] - sorted[0];
    let bias: Vec<Option<f64>> = frames.iter().map(|p| p.frame.exposure_bias_ev()).collect();
    let biased = bias.iter().all(Option::is_some)
        && bias.iter().enumerate().all(|(i, b)| bias[..i].iter().all(|other| other != b));
    if spread < if biased { LEAST_BIASED_SPREAD_EV } else { LEAST_SPREAD_EV } {
        return None;
    }
    if frames.len() >= TEST_SERIES && (changes_only_iso(frames) || changes_only_stop(frames)) {
        return None;
    }
    // Exposures set as a bracket are evenly spaced; changing light is not. A clear step between any two also counts.
    let gaps: Vec<f64> = sorted.windows(2).map(|w| w[1] - w[0]).collect();
    let least = gaps.iter().copied().fold(f64::INFINITY, f64::min);
    let most = gaps.iter().copied().fold(0.0, f64::max);
    if most - least >= 0.2 + 0.1 * most && least < 0.6 {
        return None;
    }
    let quick = frames.windows(2).all(|w| w[0].pause_s(&w[1]).is_some_and(|pause| pause <= super::bursts::GAP_S));
    Some(match (biased, quick) {
        (true, true) => 3.0,
        (true, false) | (false, true) => 2.0,
        (false, false) => 1.0,
    })
}

/// Spread of one part of the exposure over the frames, EV.
fn spread(frames: &[Placed<'_>], part: impl Fn(Exposed) -> f64) -> Option<f64> {
    let mut values = Vec::with_capacity(frames.len());
    for placed in frames {
        values.push(part(placed.exposed()?));
    }
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(most - values.iter().copied().fold(f64::INFINITY, f64::min))
}

fn changes_only_iso(frames: &[Placed<'_>]) -> bool {
    spread(frames, |e| e.light_ev).is_some_and(|s| s < DISTINCT_EV)
}

fn changes_only_stop(frames: &[Placed<'_>]) -> bool {
    spread(frames, |e| e.light_ev + e.stop_ev).is_some_and(|s| s < DISTINCT_EV)
        && spread(frames, |e| e.gain_ev).is_some_and(|s| s < DISTINCT_EV)
}

/// Whether the frame is free of a finding at the brief's limits.
fn holds(placed: &Placed<'_>, code: FindingCode) -> bool {
    placed.frame.worst(&[code]) < Some(Severity::Borderline)
}

/// Reads a bracket.
pub(super) fn read(frames: &[Placed<'_>]) -> Bracket {
    let brightness: Vec<f64> = frames.iter().map(|p| brightness_ev(p).unwrap_or(0.0)).collect();
    let mut by_exposure: Vec<usize> = (0..frames.len()).collect();
    by_exposure.sort_by(|&a, &b| brightness[a].total_cmp(&brightness[b]));
    let middle = metered(frames).unwrap_or(by_exposure[(frames.len() - 1) / 2]);
    let step = |i: usize| camera_step(brightness[i] - brightness[middle]);
    let measured: Vec<Option<f64>> = (0..frames.len())
        .map(|i| {
            let of = |i: usize| &frames[i].frame.likeness;
            let step = brightness[i] - brightness[middle];
            likeness::compare_exposed(of(middle), of(i), step).map(|alike| alike.brighter_ev)
        })
        .collect();
    let bright = |i: usize| holds(&frames[i], FindingCode::Blown);
    let highlights = by_exposure.iter().rev().copied().find(|&i| bright(i));
    let usable = |i: usize| usable_ev(frames, i);
    let in_noise = |i: usize| {
        let darkest = frames[i].frame.darkest_ev().zip(usable(i));
        darkest.is_some_and(|(darkest, usable)| darkest > usable + SHADOW_SLACK_EV)
    };
    let open = |i: usize| holds(&frames[i], FindingCode::Blocked);
    let dark = |i: usize| open(i) && !in_noise(i);
    let shadows = by_exposure.iter().copied().find(|&i| dark(i));
    let told_dark = |i: usize| {
        let known = !open(i) || frames[i].frame.darkest_ev().is_some() && usable(i).is_some();
        known.then(|| dark(i))
    };
    let only_iso = changes_only_iso(frames);
    let mut warnings = cautions(frames, &brightness, middle, &measured);
    let merged = match highlights.zip(shadows).map(|(h, s)| fewest(&by_exposure, &brightness, h, s, &usable)) {
        Some(Ok(chosen)) => Some(chosen),
        Some(Err(Unjoined::TooWide)) => {
            warnings
                .push("The steps are too wide for the frames' usable ranges to overlap; add frames between.".into());
            None
        }
        Some(Err(Unjoined::Unknown(all))) => {
            warnings.push(
                "How far the frames' usable ranges overlap is not known, as their noise in dark tones was not measured: every \
                 frame from one end to the other is named."
                    .into(),
            );
            Some(all)
        }
        None => None,
    };
    let ends = match &merged {
        Some(chosen) => (chosen[0], chosen[chosen.len() - 1]),
        None => (by_exposure[0], by_exposure[by_exposure.len() - 1]),
    };
    let merged_range_ev =
        if only_iso { None } else { usable(ends.1).map(|range| range + brightness[ends.1] - brightness[ends.0]) };
    let name = |i: usize| frames[i].frame.file.to_string();
    let chosen: Vec<String> = merged.iter().flatten().map(|&i| name(i)).collect();
    let short: Vec<&str> = chosen.iter().map(|file| file_name(file)).collect();
    let scene_range_ev = scene_range(frames);
    let mut answer = match (highlights, shadows) {
        (Some(_), None) if by_exposure.last().is_some_and(|&i| open(i)) => {
            "The darkest tones lie in the noise even in the brightest frame: add brighter ones.".to_string()
        }
        _ => answer(highlights.is_some(), shadows.is_some(), &short, scene_range_ev, merged_range_ev),
    };
    if let Some(&[only]) = merged.as_deref() {
        if usable(only).is_none() {
            answer.push_str(" The noise in its darkest tones was not measured: look at them.");
        }
        answer.push_str(&room(&frames[only]));
    }
    Bracket {
        files: frames.iter().map(|p| p.frame.file.to_string()).collect(),
        ev_steps: (0..frames.len()).map(step).collect(),
        measured_ev_steps: measured,
        holds_highlights: (0..frames.len()).map(bright).collect(),
        holds_shadows: (0..frames.len()).map(told_dark).collect(),
        highlights_held_by: highlights.map(name),
        shadows_held_by: shadows.map(name),
        covered: highlights.is_some() && shadows.is_some(),
        fewest_to_merge: chosen,
        scene_range_ev,
        merged_range_ev,
        answer,
        warnings,
    }
}

/// The frame without exposure bias, where the camera wrote differing bias.
fn metered(frames: &[Placed<'_>]) -> Option<usize> {
    let bias: Vec<f64> = frames.iter().map(|p| p.frame.exposure_bias_ev()).collect::<Option<_>>()?;
    let least = |i: &usize| bias[*i].abs();
    let at = (0..bias.len()).min_by(|a, b| least(a).total_cmp(&least(b)))?;
    (bias[at].abs() < 0.1 && bias.iter().any(|b| b.abs() > 0.1)).then_some(at)
}

/// Files round exposure times (1/15 s is 1/16, 1/250 s is 1/256): a difference near a third or half of a stop is that.
fn camera_step(ev: f64) -> f64 {
    let near = [(ev * 3.0).round() / 3.0, (ev * 2.0).round() / 2.0];
    let step = near.into_iter().min_by(|a, b| (a - ev).abs().total_cmp(&(b - ev).abs())).unwrap_or(ev);
    let step = if (step - ev).abs() <= STEP_ROUNDING_EV { step } else { ev };
    (step * 100.0).round() / 100.0
}

/// The scene's own range: the widest of the frames in which next to nothing clips, else of all (it is wider then).
fn scene_range(frames: &[Placed<'_>]) -> Option<f64> {
    let widest = |clean: bool| {
        let ranges = frames.iter().map(|p| p.frame).filter(|f| !clean || f.clipped_any_pct <= CLEAN_PCT);
        ranges.filter_map(FrameRow::scene_range_ev).max_by(f64::total_cmp)
    };
    widest(true).or_else(|| widest(false))
}

/// Where the one frame that holds the scene is darker than its highlights ask for: its shadows are noisier for it.
fn room(placed: &Placed<'_>) -> String {
    match placed.frame.brighter_by_ev() {
        Some(ev) if ev >= ROOM_EV => format!(
            " It lies {ev:.1} EV below what its highlights allow, so its shadows are noisier than they need be: take one \
             nearer to that next time."
        ),
        _ => String::new(),
    }
}

fn cautions(frames: &[Placed<'_>], brightness: &[f64], middle: usize, measured: &[Option<f64>]) -> Vec<String> {
    let mut warnings = Vec::new();
    if changes_only_iso(frames) {
        warnings.push(
            "Only the ISO changes: the sensor got the same light in each frame, so merging gains little in the raw."
                .to_string(),
        );
    } else if spread(frames, |e| e.stop_ev).is_some_and(|s| s > DISTINCT_EV) {
        warnings.push("The f-stop changes between frames: depth of field and sharpness differ.".to_string());
    }
    let worst = (0..frames.len())
        .filter_map(|i| measured[i].map(|m| (i, m, m - (brightness[i] - brightness[middle]))))
        .max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()));
    if let Some((i, found, _)) = worst.filter(|w| w.2.abs() > AGREES_EV) {
        warnings.push(format!(
            "{} is {found:+.1} EV against the middle frame where its settings say {:+.1} EV: did the light change?",
            file_name(&frames[i].frame.file),
            brightness[i] - brightness[middle]
        ));
    }
    warnings
}

pub(super) fn answer(
    highlights: bool,
    shadows: bool,
    chosen: &[&str],
    scene: Option<f64>,
    merged: Option<f64>,
) -> String {
    let of_scene = scene.map_or(String::new(), |r| format!(" (scene range {r:.1} EV)"));
    let usable = |what: &str| merged.map_or(String::new(), |r| format!("; {what} {r:.1} EV"));
    match (highlights, shadows, chosen) {
        (true, true, [one]) => {
            // Less than the scene's range only by what counts as none: told, or the two numbers contradict the sentence.
            let short = merged.zip(scene).is_some_and(|(usable, range)| usable + 0.05 < range);
            let short = if short { ", as much as the scene within what can be measured" } else { "" };
            format!(
                "One frame holds the whole scene{of_scene}: {one}{}{short}; no merging is needed.",
                usable("it can use")
            )
        }
        (true, true, [_, _, ..]) => format!(
            "The bracket covers the scene{of_scene}: merge {} frames ({}){}.",
            chosen.len(),
            chosen.join(", "),
            usable("merged they can use")
        ),
        (true, true, []) => "Both ends are held, but not by frames that can be joined.".to_string(),
        (false, true, _) => "The highlights are clipped even in the darkest frame: add darker ones.".to_string(),
        (true, false, _) => "The shadows are blocked even in the brightest frame: add brighter ones.".to_string(),
        (false, false, _) => "Neither end of the scene is held: bracket wider on both sides.".to_string(),
    }
}
