//! What stands in a frame's sidecar, and writing it.

use std::path::Path;

use rawassay_analysis::{Judgement, Outcome};
use rawassay_report::Record;
use rawassay_report::sidecar::{self, Tags};

use super::chosen::Chosen;
use super::transfer;
use super::undo::{Step, UndoList};
use crate::messages::Failure;
use crate::output::cause;

/// Sidecars larger than this are none.
const MOST_BYTES: u64 = 64 << 20;

/// Which standard properties are wanted besides our own.
pub struct Wish {
    /// xmp:Rating by the outcome.
    pub rating: bool,
    /// xmp:Label with the outcome.
    pub label: bool,
    /// xmp:Rating -1 for frames that fail.
    pub reject: bool,
}

/// The rating: 5 is left to the photographer's eye, 0 would mean unrated.
fn rating(outcome: Outcome, wish: &Wish) -> Option<i8> {
    match outcome {
        Outcome::Fails if wish.reject => Some(-1),
        Outcome::Prints if wish.rating => Some(4),
        Outcome::Borderline if wish.rating => Some(2),
        Outcome::Fails if wish.rating => Some(1),
        _ => None,
    }
}

/// The measures that a sidecar holds; unknown ones are left out.
pub fn measures(record: &Record, judgement: &Judgement) -> Vec<(&'static str, f64)> {
    let print = &judgement.print;
    let measures = record.measures.as_ref();
    let of = |value: Option<f64>, name| value.map(|v| (name, v));
    [
        of(print.ppi, "print_ppi"),
        of(print.rise_mm, "print_rise_mm"),
        of(print.motion_mm, "print_motion_mm"),
        of(print.snr_midtone, "print_snr_midtone"),
        of(print.eye_limit_mm, "print_eye_limit_mm"),
        of(print.largest.as_ref().map(|l| l.width_in), "print_largest_width_in"),
        of(print.largest.as_ref().map(|l| l.height_in), "print_largest_height_in"),
        of(judgement.usable_ev, "range_usable_ev"),
        of(measures.and_then(|m| m.sharpness.edge_rise_px), "sharpness_edge_rise_px"),
        of(measures.and_then(|m| m.blur.motion_px), "blur_motion_px"),
        of(measures.and_then(|m| m.blur.defocus_px), "blur_defocus_px"),
        of(measures.map(|m| m.exposure.clipped_any_pct), "exposure_clipped_any_pct"),
        of(measures.and_then(|m| m.exposure.floor_pct), "exposure_floor_pct"),
        of(measures.and_then(|m| m.exposure.headroom_ev), "exposure_headroom_ev"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn tags(frame: &Chosen, brief: &str, wish: &Wish) -> Tags {
    let outcome = frame.deed.outcome;
    Tags {
        brief: brief.to_string(),
        outcome: outcome.to_string(),
        findings: frame.deed.findings.iter().map(|code| code.to_string()).collect(),
        findings_noted: frame.deed.findings_noted.iter().map(|code| code.to_string()).collect(),
        measures: frame.measures.to_vec(),
        rating: rating(outcome, wish),
        label: wish.label.then(|| outcome.to_string()),
    }
}

/// Writes the sidecar of one frame; without an undo list nothing is written. The inner result is a note, or why the
/// sidecar was left alone; the outer error ends the command.
pub fn write(
    path: &Path,
    frame: &Chosen,
    brief: &str,
    wish: &Wish,
    list: Option<&mut UndoList>,
) -> Result<Result<Option<String>, String>, Failure> {
    let existing = match std::fs::metadata(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
        Err(e) => return Ok(Err(format!("its sidecar {} cannot be read ({})", path.display(), cause(&e)))),
        Ok(facts) if !facts.is_file() || facts.len() > MOST_BYTES => {
            return Ok(Err(format!("{} is no sidecar; left alone", path.display())));
        }
        Ok(_) => match std::fs::read(path) {
            Ok(bytes) => Some(bytes),
            Err(e) => return Ok(Err(format!("its sidecar {} cannot be read ({})", path.display(), cause(&e)))),
        },
    };
    let written = match sidecar::write(existing.as_deref(), &tags(frame, brief, wish)) {
        Ok(written) => written,
        Err(what) => return Ok(Err(format!("its sidecar {} is left alone: {what}", path.display()))),
    };
    let kept = match (written.rating_kept, written.label_kept) {
        (true, true) => Some("your rating and label stay".to_string()),
        (true, false) => Some("your rating stays".to_string()),
        (false, true) => Some("your label stays".to_string()),
        (false, false) => None,
    };
    let Some(list) = list else { return Ok(Ok(kept)) };
    if existing.as_deref() == Some(written.bytes.as_slice()) {
        return Ok(Ok(Some(kept.unwrap_or_else(|| "as it was already".to_string()))));
    }
    // A sidecar that could be edited is UTF-8.
    let before = existing.as_deref().map(|bytes| String::from_utf8_lossy(bytes).into_owned());
    let step = Step::Sidecar {
        file: std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf()),
        before,
        written: blake3::hash(&written.bytes).to_hex().to_string(),
    };
    list.push(&step).map_err(Failure::nothing)?;
    Ok(match transfer::replace(path, &written.bytes, existing.is_none()) {
        Ok(()) => Ok(kept),
        Err(what) => Err(format!("its sidecar {} {what}", path.display())),
    })
}
