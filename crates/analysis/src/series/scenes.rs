//! Cautions where the frames of a series do not show the same scene.

use super::{plural, stats};
use crate::FrameRow;
use crate::range::MIDTONE_SHARE;
use crate::sets::likeness;
use crate::view::file_name;

/// Frames compared at the most: enough to tell, and quick for large records.
const COMPARED: usize = 400;

/// Likeness of the small pictures from which two frames count as the same scene: a hand and a refocused lens move it.
const SAME_SCENE: f64 = 0.7;

/// Spread of the scene range between frames from which it is worth a caution, EV.
const RANGE_SPREAD_EV: f64 = 2.0;

/// Electrons that the darkest tones must hold for a range to be that of the scene, and how far they must lie above the read
/// noise, EV: below, noise spreads them, and a higher ISO would seem to change the light.
const CLEAR_E: f64 = 100.0;
const CLEAR_EV: f64 = 3.0;
/// Clipped share up to which the lightest tones are those of the scene, per cent.
const CLIPPED_PCT: f64 = 0.5;

/// Cautions, none where the frames show one scene. `matters` says what differing scenes do to this series.
pub(super) fn cautions(frames: &[&FrameRow], matters: &str) -> Vec<String> {
    let mut cautions = Vec::new();
    if frames.len() < 2 {
        return cautions;
    }
    let stride = frames.len().div_ceil(COMPARED);
    let sample: Vec<&&FrameRow> = frames.iter().step_by(stride).collect();
    let reference = sample[sample.len() / 2];
    let compared: Vec<bool> = sample
        .iter()
        .filter_map(|frame| likeness::compare(&reference.likeness, &frame.likeness))
        .map(|alike| alike.correlation >= SAME_SCENE)
        .collect();
    let others = compared.iter().filter(|same| !**same).count();
    if others > 0 {
        cautions.push(format!(
            "{others} of {} frames {} another scene or framing than {}: {matters}",
            compared.len(),
            if others == 1 { "shows" } else { "show" },
            file_name(&reference.file)
        ));
    } else if compared.len() < 2 {
        cautions.push(format!("Whether the {} show one scene could not be told.", plural(frames.len(), "frame")));
    }
    let told: Vec<SceneRange> = frames.iter().filter_map(|f| scene_range(f)).collect();
    let sorted = |of: &dyn Fn(&&SceneRange) -> bool| {
        let mut ranges: Vec<f64> = told.iter().filter(of).map(|r| r.ev).collect();
        ranges.sort_by(f64::total_cmp);
        ranges
    };
    let (ranges, least) = (sorted(&|r| r.whole), sorted(&|_| true));
    // Narrow is what is known in full; wide is also what is at least so wide.
    let spread = ranges.get(ranges.len() / 10).zip(least.get(least.len().wrapping_sub(1 + least.len() / 10)));
    let spread = spread.map_or(0.0, |(low, high)| high - low);
    if let Some(middle) = stats::median(&ranges).filter(|_| others == 0 && spread > RANGE_SPREAD_EV) {
        cautions.push(format!(
            "The scene's range differs by {spread:.1} EV between frames (median {middle:.1} EV): was the light the same?"
        ));
    }
    cautions
}

/// A scene's range as far as the frame shows it.
struct SceneRange {
    /// EV; at least so much where it is not whole.
    ev: f64,
    /// Neither noise nor clipping cuts it short.
    whole: bool,
}

fn scene_range(frame: &FrameRow) -> Option<SceneRange> {
    let darkest_ev = frame.darkest_ev()?;
    // Light alone: the electrons of a tone are the square of its signal-to-noise ratio, and go with its level.
    let mid_tone_e = 10f64.powf(frame.snr_midtone_db()? / 10.0);
    let light_ev = (mid_tone_e / MIDTONE_SHARE / CLEAR_E).log2();
    let noise_ev = frame.engineering_ev().map_or(f64::INFINITY, |floor_ev| floor_ev - CLEAR_EV);
    // Below the frame's own limit noise spreads the tones: what lies above it counts.
    let hidden_ev = (darkest_ev - light_ev.min(noise_ev)).max(0.0);
    let whole = hidden_ev <= 0.0 && frame.clipped_any_pct <= CLIPPED_PCT;
    crate::known(frame.scene_range_ev()? - hidden_ev).map(|ev| SceneRange { ev, whole })
}
