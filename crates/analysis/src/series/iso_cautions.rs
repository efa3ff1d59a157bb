//! What a series along ISO has to be read with.

use super::iso::SAME_ISO;
use super::{Step, short, steps_by};
use crate::FrameRow;

/// Full wells of one body at one ISO agree within this ratio: a frame's gain is off by 15 % at the worst (docs/measures.md).
const ONE_BODY: f64 = 1.4;

/// Where the frames of one ISO hold electrons as no single body does: two of one name, whose files tell no serial number, or
/// gains that were misread.
pub(super) fn several_bodies(members: &[&FrameRow]) -> Option<String> {
    let ratio = |frames: &[&FrameRow]| {
        let wells = || frames.iter().filter_map(|f| f.full_well_e()).filter(|e| *e > 0.0);
        wells().fold(0.0, f64::max) / wells().fold(f64::INFINITY, f64::min)
    };
    let apart: Vec<(f64, f64)> = steps_by(members, SAME_ISO, |f| f.iso())
        .into_iter()
        .map(|(iso, frames)| (iso, ratio(&frames)))
        .filter(|(_, ratio)| *ratio > ONE_BODY)
        .collect();
    // One frame whose gain was read far off is no second body.
    (apart.len() >= 2).then(|| {
        let most = apart.iter().map(|a| a.1).fold(0.0, f64::max);
        let why = if members.iter().any(|f| f.camera().serial.is_none()) {
            "two bodies of one name? Audit each by itself, as medians over both are those of neither."
        } else {
            "the file names one body, so gain or saturation was misread in some."
        };
        format!(
            "Frames of one ISO differ up to {} times in the electrons that they hold at saturation, as those of one camera do \
             not: {why}",
            short(most)
        )
    })
}

/// Why the range of some frames is blank.
pub(super) fn range_unknown(steps: &[Step]) -> Option<String> {
    let all: usize = steps.iter().map(|s| s.frames).sum();
    let known: usize = steps.iter().map(|s| s.readings.get("engineering_ev").frames).sum();
    (known < all).then(|| {
        format!(
            "Range and read noise were measured in {known} of {all} frames: the others hold no smooth area dark enough, or whole DN hide it. \
             Let a black cloth into the picture, or use `rawassay sensor` with flats and darks."
        )
    })
}

/// Why a larger print shows no more noise, where that is so.
pub(super) fn size_is_no_help(members: &[&FrameRow]) -> Option<String> {
    let pixel = |f: &&FrameRow| Some((super::mm_per_px(f)?, f.finest_mm()?));
    let pixels: Vec<(f64, f64)> = members.iter().filter_map(pixel).collect();
    let (mm, finest) = *pixels.first()?;
    pixels.iter().all(|(mm, finest)| mm >= finest).then(|| {
        let pixel = match differing(mm, finest) {
            Some((mm, finest)) => format!("{mm} mm on this one, more than the {finest} mm that are seen apart"),
            None => format!("{mm:.2} mm on this one, as large as the finest that is seen"),
        };
        format!("A larger print would show the same noise: a pixel is {pixel}, so that nothing is averaged any more.")
    })
}

/// Two lengths with as many places as it takes to tell them apart, two at the least; `None` where six do not.
fn differing(a: f64, b: f64) -> Option<(String, String)> {
    (2..=6).map(|places| (format!("{a:.places$}"), format!("{b:.places$}"))).find(|(a, b)| a != b)
}

#[cfg(test)]
mod tests {
    use super::differing;

    #[test]
    fn what_is_more_is_told_with_digits_that_differ() {
        let told = |a, b| differing(a, b).map(|(a, b)| format!("{a} {b}"));
        assert_eq!(told(0.2203, 0.2182).as_deref(), Some("0.220 0.218"));
        assert_eq!(told(0.34, 0.22).as_deref(), Some("0.34 0.22"));
        assert_eq!(told(0.22, 0.22), None);
    }
}
