//! Which frames and f-stops tell of the lens, and which of the hand or the focus.

use super::aperture::stop;
use super::{Estimate, Step, plural};
use crate::{BlurKind, FrameRow};

/// A frame of missed focus is left out where it is this much softer than the sharpest of its fellows: a soft lens blurs all
/// of them alike and looks like missed focus by itself.
const MISSED: f64 = 1.25;

/// An f-stop whose edges are this much wider than at those on both sides is out of line (own choice; it also holds where one
/// frame gives no interval): aberration falls and diffraction rises with the f-number, so that a lens has one sharpest f-stop
/// and gets softer away from it. Spherical aberration can shift the focus on stopping down, so the lens may have a hand in it.
const SLIPPED: f64 = 1.1;
/// Narrower f-stops that it takes on each side, where there are as many: one alone may be the one that is off.
const NARROWER: usize = 2;

/// True where the frame moved, or its subject did.
pub(crate) fn moved(frame: &FrameRow) -> bool {
    matches!(frame.blur_kind, BlurKind::Motion | BlurKind::Mixed)
}

/// Frames that tell of the lens: neither shaken nor out of focus, as far as their fellows show it. `rise` is what they are
/// compared by; where it is not known the frame stays unless its focus missed.
pub(super) fn telling<'f>(all: &[&'f FrameRow], rise: fn(&FrameRow) -> Option<f64>) -> Vec<&'f FrameRow> {
    let still: Vec<&FrameRow> = all.iter().copied().filter(|f| !moved(f)).collect();
    let sharpest = still.iter().filter_map(|f| rise(f)).fold(f64::INFINITY, f64::min);
    let in_focus = |f: &&FrameRow| f.blur_kind != BlurKind::Defocus || rise(f).is_some_and(|r| r <= MISSED * sharpest);
    still.into_iter().filter(in_focus).collect()
}

/// How many of them look out of focus all the same.
pub(super) fn soft(frames: &[&FrameRow]) -> usize {
    frames.iter().filter(|f| f.blur_kind == BlurKind::Defocus).count()
}

/// The f-stops at which something else than aberration and diffraction made the edges wide.
pub(super) fn slipped(steps: &[Step]) -> Vec<f64> {
    let rises: Vec<(f64, Estimate)> =
        steps.iter().filter_map(|s| Some((s.setting.number()?, s.readings.get("edge_rise_px")))).collect();
    let rises: Vec<(f64, Estimate)> = rises.into_iter().filter(|r| r.1.value.is_some()).collect();
    let wider = |i: usize, j: usize| {
        let (here, there) = (rises[i].1, rises[j].1);
        let apart = here.value.zip(there.value).is_some_and(|(a, b)| a > SLIPPED * b);
        apart && here.low_or_value().zip(there.high_or_value()).is_none_or(|(low, high)| low > high)
    };
    let on = |i: usize, side: std::ops::Range<usize>| {
        let wanted = NARROWER.min(side.len());
        wanted > 0 && side.filter(|j| wider(i, *j)).count() >= wanted
    };
    (0..rises.len()).filter(|&i| on(i, 0..i) && on(i, i + 1..rises.len())).map(|i| rises[i].0).collect()
}

/// Which f-stops may have been out of focus; `soft` are f-numbers with the frames that look so.
pub(super) fn perhaps_missed(soft: &[(f64, usize)]) -> Option<String> {
    let frames: usize = soft.iter().map(|s| s.1).sum();
    if soft.is_empty() {
        return None;
    }
    let stops: Vec<String> = soft.iter().map(|s| format!("f/{}", stop(s.0))).collect();
    Some(format!(
        "{frames} {} at {} may be out of focus rather than limited by the lens: focus anew and repeat. If the focus missed, a \
         wider opening may be the sharpest.",
        plural(frames, "frame"),
        stops.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use super::super::{Readings, Setting};
    use super::*;

    /// f-stops with rises and the half width of their intervals, none where it is zero.
    fn found(rises: &[(f64, f64, f64)]) -> Vec<f64> {
        let step = |&(n, rise, half): &(f64, f64, f64)| {
            let end = |by: f64| (half > 0.0).then_some(rise + by);
            let estimate = Estimate { value: Some(rise), low: end(-half), high: end(half), frames: 3 };
            Step {
                setting: Setting::Number(n),
                frames: 3,
                left_out: 0,
                readings: Readings(vec![("edge_rise_px", estimate)]),
                meets_brief: None,
            }
        };
        slipped(&rises.iter().map(step).collect::<Vec<Step>>())
    }

    /// A lens of 2.9 px at f/2, 2.1 px at f/5.6 and 2.6 px at f/16, with one f-stop off.
    #[test]
    fn only_an_f_stop_that_is_clearly_out_of_line_is_named() {
        let lens = |at_4: f64, at_5_6: f64, half: f64| {
            [(2.0, 2.9), (2.8, 2.4), (4.0, at_4), (5.6, at_5_6), (8.0, 2.1), (11.0, 2.2), (16.0, 2.6)]
                .map(|(n, rise)| (n, rise, half))
        };
        assert_eq!(found(&lens(2.1, 2.7, 0.0)), [5.6]);
        assert_eq!(found(&lens(2.1, 2.7, 0.1)), [5.6]);
        // Intervals that overlap the neighbours' tell of nothing.
        assert_eq!(found(&lens(2.1, 2.7, 0.4)), [0.0; 0]);
        // f/4 alone is too narrow: f/5.6, on the lens's own curve, is not to blame.
        assert_eq!(found(&lens(1.5, 2.35, 0.0)), [0.0; 0]);
    }
}
