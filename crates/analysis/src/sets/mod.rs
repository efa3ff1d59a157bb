//! Which frames belong together: bursts of near-duplicates, and brackets of exposures.
//!
//! Frames are put in the order of each camera's own clock and cut into runs of one framing; a run is then read as
//! brackets (exposure changes and the scene does not), bursts (exposure and framing stay) or neither (a test series, in
//! which settings change but not the exposure). Method: docs/measures.md, "Sets".

mod brackets;
mod bursts;
mod clock;
pub mod likeness;
mod merge;
mod order;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde::Serialize;

use crate::FrameRow;
pub(crate) use clock::Clock;

pub use brackets::Bracket;
pub use bursts::{Burst, Ranked};

/// Longest pause within one framing, from the end of an exposure to the start of the next, seconds: brackets set by hand
/// on a tripod take their time.
const RUN_GAP_S: f64 = 30.0;
/// Likeness of two frames of one framing (of the steps between cells, of the levels) within a burst's pause: a
/// hand-held framing moves, and its subject too.
const SAME_FRAMING_AT_ONCE: [f64; 2] = [0.75, 0.9];
/// The same after a longer pause: a tripod stands still, a photographer on foot finds another picture.
const SAME_FRAMING: [f64; 2] = [0.85, 0.93];
/// The same where the files do not tell the time: only the framing and the names are left to go by.
const SAME_FRAMING_UNTIMED: [f64; 2] = [0.9, 0.95];
/// Exposures that differ by this much and whose pictures do too, to within the second figure, speak for one framing, EV: less
/// likeness of the levels is then asked for, as clipped parts lower it.
const TELLING_STEP_EV: f64 = 0.6;
const AGREES_EV: f64 = 0.25;
/// By so much less.
const STEP_TOLD: f64 = 0.05;
/// Runs that can go on at the most.
const OPEN_RUNS: usize = 3;
/// A frame is compared with this many before it in its run: exposures far apart share few cells.
const LOOK_BACK: usize = 5;

/// What belongs together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sets {
    /// Near-duplicates, in the order taken.
    pub bursts: Vec<Burst>,
    /// Exposure brackets, in the order taken.
    pub brackets: Vec<Bracket>,
    /// What could not be placed, and cautions.
    pub warnings: Vec<String>,
}

/// One frame in the order of its camera's clock.
#[derive(Debug, Clone, Copy)]
struct Placed<'f> {
    frame: &'f FrameRow,
    clock: Option<Clock>,
}

/// How a frame was exposed; relative terms only, so that a manual lens without an f-number does no harm.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Exposed {
    /// log2 of time over f-number squared: light on the sensor, EV.
    light_ev: f64,
    /// log2(ISO / 100), EV.
    gain_ev: f64,
    /// log2 of the f-number squared, EV.
    stop_ev: f64,
}

impl Exposed {
    /// How bright the raw is for one scene, EV.
    fn brightness_ev(self) -> f64 {
        self.light_ev + self.gain_ev
    }
}

impl Placed<'_> {
    fn exposed(&self) -> Option<Exposed> {
        let time = self.frame.shutter_s().filter(|t| *t > 0.0)?;
        let stop_ev = self.frame.f_number().filter(|n| *n > 0.0).map_or(0.0, |n| 2.0 * n.log2());
        let gain_ev = self.frame.iso().filter(|i| *i > 0.0).map_or(0.0, |i| (i / 100.0).log2());
        Some(Exposed { light_ev: time.log2() - stop_ev, gain_ev, stop_ev })
    }

    /// Pause between the end of `self` and the start of `next`, seconds, with the clock's coarseness taken off.
    fn pause_s(&self, next: &Self) -> Option<f64> {
        let (from, to) = (self.clock?, next.clock?);
        let coarse = if from.precise && to.precise { 0.0 } else { 1.0 };
        Some(to.seconds - from.seconds - self.frame.shutter_s().unwrap_or(0.0) - coarse)
    }
}

/// Finds bursts and brackets.
#[must_use]
pub fn sets(frames: &[FrameRow]) -> Sets {
    let mut sets = Sets { bursts: Vec::new(), brackets: Vec::new(), warnings: Vec::new() };
    let mut bodies: BTreeMap<_, Vec<Placed<'_>>> = BTreeMap::new();
    let (mut untimed, mut damaged, mut faceless) = (0, 0, 0);
    for frame in frames {
        if frame.damaged {
            damaged += 1;
            continue;
        }
        let clock = frame.clock;
        untimed += usize::from(clock.is_none());
        faceless += usize::from(frame.likeness.below_saturation.is_empty());
        bodies.entry((frame.camera(), clock.is_none())).or_default().push(Placed { frame, clock });
    }
    for ((_, timeless), mut body) in bodies {
        body.sort_by(|a, b| {
            let seconds = |p: &Placed<'_>| p.clock.map_or(0.0, |c| c.seconds);
            seconds(a).total_cmp(&seconds(b)).then_with(|| clock::name_order(&a.frame.file, &b.frame.file))
        });
        for run in runs(&body, timeless) {
            read_run(&run, &mut sets);
        }
    }
    if untimed > 0 {
        sets.warnings.push(format!(
            "{untimed} {} without a time: taken in the order of the names, and held together by framing alone.",
            frames_word(untimed)
        ));
    }
    if faceless > 0 {
        sets.warnings.push(format!(
            "{faceless} {} without a small picture in the record: measure again.",
            frames_word(faceless)
        ));
    }
    if damaged > 0 {
        sets.warnings.push(format!("{damaged} damaged {} left out.", frames_word(damaged)));
    }
    sets
}

/// "frame" or "frames".
fn frames_word(count: usize) -> &'static str {
    if count == 1 { "frame" } else { "frames" }
}

/// Cuts a camera's frames into runs of one framing. Within a burst's pause a run also goes on behind a frame or two of
/// another, where the pictures agree well: two bodies of one model without serial numbers take turns, or one frame missed its
/// subject.
fn runs<'f>(body: &[Placed<'f>], timeless: bool) -> Vec<Vec<Placed<'f>>> {
    let mut runs: Vec<Vec<Placed<'f>>> = Vec::new();
    for placed in body {
        let soon = |run: &[Placed<'f>]| {
            let pause = run.last().and_then(|last| last.pause_s(placed));
            !timeless && pause.is_some_and(|pause| pause <= bursts::GAP_S)
        };
        let goes_on = (0..runs.len()).rev().take(OPEN_RUNS).enumerate().find(|&(back, at)| match back {
            0 => joins(&runs[at], placed, timeless, None),
            _ => soon(&runs[at]) && joins(&runs[at], placed, timeless, Some(SAME_FRAMING_UNTIMED)),
        });
        match goes_on {
            Some((_, at)) => runs[at].push(*placed),
            None => runs.push(vec![*placed]),
        }
    }
    runs
}

/// Whether a frame goes on with a run.
fn joins(run: &[Placed<'_>], next: &Placed<'_>, timeless: bool, wanted: Option<[f64; 2]>) -> bool {
    let Some(last) = run.last() else { return false };
    let (a, b) = (last.frame, next.frame);
    let near = |x: Option<f64>, y: Option<f64>| match (x, y) {
        (Some(x), Some(y)) => (x / y - 1.0).abs() < 0.02 || (x == 0.0 && y == 0.0),
        (None, None) => true,
        _ => false,
    };
    let one_setup = a.gear.lens == b.gear.lens
        && near(a.focal_mm(), b.focal_mm())
        && (a.width_px, a.height_px, a.orientation) == (b.width_px, b.height_px, b.orientation);
    if !one_setup || (!timeless && last.pause_s(next).is_none_or(|pause| pause > RUN_GAP_S)) {
        return false;
    }
    run.iter().rev().take(LOOK_BACK).any(|before| same_framing(before, next, wanted))
}

/// Whether two frames show one framing; the likeness that is wanted depends on the pause where it is not given.
fn same_framing(before: &Placed<'_>, next: &Placed<'_>, wanted: Option<[f64; 2]>) -> bool {
    let wanted = wanted.unwrap_or_else(|| match before.pause_s(next) {
        None => SAME_FRAMING_UNTIMED,
        Some(pause) if pause <= bursts::GAP_S => SAME_FRAMING_AT_ONCE,
        Some(_) => SAME_FRAMING,
    });
    let step = before.exposed().zip(next.exposed()).map(|(a, b)| b.brightness_ev() - a.brightness_ev());
    let alike = likeness::compare_exposed(&before.frame.likeness, &next.frame.likeness, step.unwrap_or(0.0));
    alike.is_some_and(|alike| {
        // Two other pictures seldom differ by just what the settings say.
        let agrees =
            step.is_some_and(|step| step.abs() >= TELLING_STEP_EV && (alike.brighter_ev - step).abs() <= AGREES_EV);
        let levels = if agrees { wanted[1] - STEP_TOLD } else { wanted[1] };
        alike.correlation >= wanted[0] && alike.levels >= levels
    })
}

/// Reads a run: brackets first, then what is left between them as bursts.
fn read_run<'f>(run: &[Placed<'f>], sets: &mut Sets) {
    let mut at = 0;
    for (start, length) in brackets::cut(run) {
        bursts::find(&run[at..start], &mut sets.bursts);
        sets.brackets.push(brackets::read(&run[start..start + length]));
        at = start + length;
    }
    bursts::find(&run[at..], &mut sets.bursts);
}
