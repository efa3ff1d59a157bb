//! Which frames tell of the lens, and which of the hand or the focus.

use crate::{BlurKind, FrameRow};

/// A frame of missed focus is left out where it is this much softer than the sharpest of its fellows: a soft lens blurs all
/// of them alike and looks like missed focus by itself.
const MISSED: f64 = 1.25;

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
