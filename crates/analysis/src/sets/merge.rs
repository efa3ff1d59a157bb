//! Which frames of a bracket are worth merging: from the one that holds the highlights to the one that holds the shadows, in
//! steps whose usable ranges overlap.

use super::Placed;
use super::brackets::DISTINCT_EV;

/// Ranges of frames to be merged must overlap by this much for a clean join, EV (common practice, no source).
const OVERLAP_EV: f64 = 2.0;

/// The usable range of a frame; of one in which it was not measured that of another at its ISO stands in.
pub(super) fn usable_ev(frames: &[Placed<'_>], i: usize) -> Option<f64> {
    let gain = |p: &Placed<'_>| p.exposed().map(|e| e.gain_ev);
    let alike = |p: &&Placed<'_>| gain(p).zip(gain(&frames[i])).is_some_and(|(a, b)| (a - b).abs() < DISTINCT_EV);
    frames[i].frame.usable_ev().or_else(|| {
        let mut told: Vec<f64> = frames.iter().filter(alike).filter_map(|p| p.frame.usable_ev()).collect();
        told.sort_by(f64::total_cmp);
        told.get(told.len() / 2).copied()
    })
}

/// Why the ends of a scene cannot be joined for certain.
pub(super) enum Unjoined {
    /// A step leaves too little overlap.
    TooWide,
    /// The usable ranges are not known: all frames between the ends.
    Unknown(Vec<usize>),
}

/// The fewest frames from the one that holds the highlights to the one that holds the shadows whose usable ranges
/// overlap; darkest first.
pub(super) fn fewest(
    by_exposure: &[usize],
    brightness: &[f64],
    highlights: usize,
    shadows: usize,
    usable: &dyn Fn(usize) -> Option<f64>,
) -> Result<Vec<usize>, Unjoined> {
    let mut chosen = vec![highlights];
    let mut at = highlights;
    let between =
        |i: &usize| brightness[*i] >= brightness[highlights] - 1e-9 && brightness[*i] <= brightness[shadows] + 1e-9;
    while brightness[at] < brightness[shadows] - 1e-9 {
        let Some(usable) = usable(at) else {
            return Err(Unjoined::Unknown(by_exposure.iter().copied().filter(between).collect()));
        };
        // As far towards the frame for the shadows as the ranges overlap, and no further than it.
        let next = by_exposure.iter().copied().rev().find(|i| {
            between(i)
                && brightness[*i] > brightness[at] + 1e-9
                && brightness[*i] - brightness[at] <= usable - OVERLAP_EV
        });
        at = next.ok_or(Unjoined::TooWide)?;
        chosen.push(at);
    }
    Ok(chosen)
}
