//! Which frames and f-stops tell of the lens, and which of the hand or the focus.

use super::aperture::stop;
use super::{Step, plural};
use crate::{BlurKind, FrameRow};

/// A frame of missed focus is left out where it is this much softer than the sharpest of its fellows: a soft lens blurs all
/// of them alike and looks like missed focus by itself.
const MISSED: f64 = 1.25;

/// An f-stop whose edges are this much wider than at one on either side was taken out of focus or shaken: aberration falls and
/// diffraction rises with the f-number, so that a lens has one sharpest f-stop and gets softer away from it.
const SLIPPED: f64 = 1.1;

/// True where the frame moved, or its subject did.
pub(super) fn moved(frame: &FrameRow) -> bool {
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

/// The f-stops at which something else than the lens made the edges wide.
pub(super) fn slipped(steps: &[Step]) -> Vec<f64> {
    let rises: Vec<(f64, f64)> =
        steps.iter().filter_map(|s| Some((s.setting.number()?, s.readings.value("edge_rise_px")?))).collect();
    let least = |of: &[(f64, f64)]| of.iter().map(|r| r.1).fold(f64::INFINITY, f64::min);
    let wider = |i: usize| rises[i].1 > SLIPPED * least(&rises[..i]).max(least(&rises[i + 1..]));
    (0..rises.len()).filter(|i| wider(*i)).map(|i| rises[i].0).collect()
}

/// Which f-stops may have been out of focus; `soft` are f-numbers with the frames that look so.
pub(super) fn perhaps_missed(soft: &[(f64, usize)]) -> Option<String> {
    let frames: usize = soft.iter().map(|s| s.1).sum();
    let at = match soft {
        [] => return None,
        [(one, _)] => format!("at f/{}", stop(*one)),
        several => {
            let stops: Vec<String> = several.iter().map(|s| format!("f/{}", stop(s.0))).collect();
            format!("at {}", stops.join(", "))
        }
    };
    Some(format!(
        "{frames} {} {at} may be out of focus rather than limited by the lens: focus anew and repeat. If the focus missed, a \
         wider opening may be the sharpest.",
        plural(frames, "frame")
    ))
}
