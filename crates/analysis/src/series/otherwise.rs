//! What makes every frame of a group fail apart from what its series tests: said before the answer, so that nobody takes
//! "noise low enough" for "prints".

use super::{Held, short};
use crate::brief::length;
use crate::{FindingCode, FrameRow, Outcome, Severity};

/// One sentence, where every frame fails for a reason outside `tested`.
pub(super) fn sentence(frames: &[&FrameRow], tested: &[FindingCode], held: &Held<'_>) -> Option<String> {
    let fails = |frame: &FrameRow, code: FindingCode| frame.worst(&[code]) == Some(Severity::Fails);
    let others = || FindingCode::ALL.into_iter().filter(|code| !tested.contains(code));
    let spoiled = |frame: &&FrameRow| frame.outcome == Outcome::Fails && others().any(|code| fails(frame, code));
    if frames.is_empty() || !frames.iter().all(spoiled) {
        return None;
    }
    // Too few pixels first: nothing in the taking changes them.
    let shared = |code: &FindingCode| frames.iter().all(|f| fails(f, *code));
    let few = Some(FindingCode::TooFewPixels).filter(shared);
    let why = match few.or_else(|| others().find(shared)) {
        Some(FindingCode::TooFewPixels) => few_pixels(frames, held)?,
        Some(code) => format!("every frame fails as {code}"),
        None => "every frame fails for another reason".to_string(),
    };
    Some(format!("No frame of these prints at {}: {why}.", held.name))
}

/// "too few pixels at any setting (64 ppi, 97 wanted; largest 25 x 16 cm)".
fn few_pixels(frames: &[&FrameRow], held: &Held<'_>) -> Option<String> {
    let most = frames.iter().max_by(|a, b| {
        let width = |f: &FrameRow| f.largest_in.map_or(0.0, |l| l.0);
        width(a).total_cmp(&width(b))
    })?;
    let output = &held.brief.output;
    let word = if output.screen.is_some() { "size" } else { "print" };
    let largest = most.largest_in.map_or_else(String::new, |(width_in, height_in)| {
        let mm = |inches: f64| inches * crate::brief::MM_PER_INCH;
        format!("; largest {word} {}", length::most_text(mm(width_in), mm(height_in), output.picture_unit()))
    });
    let ppi = most.ppi()?;
    Some(format!("too few pixels at any setting ({ppi:.0} ppi, {} wanted{largest})", short(output.ppi_wanted.round())))
}
