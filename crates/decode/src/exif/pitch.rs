//! Pixel pitch and the 35 mm equivalent.

use super::Fields;
use crate::shot::{PitchFrom, Shot};

/// Diagonal of 36 x 24 mm, mm.
const DIAGONAL_35_MM: f64 = 43.266_615;
/// Plausible pitches, micrometres: phones reach 0.5, no picture-taking sensor exceeds 30.
const PLAUSIBLE_UM: std::ops::RangeInclusive<f64> = 0.5..=30.0;

/// Fills pitch and, where the file does not state it, the 35 mm equivalent.
pub(super) fn fill(shot: &mut Shot, fields: &Fields, notes: &mut Vec<String>) {
    let (width, height) = (shot.width_px as f64, shot.height_px as f64);
    let diagonal_px = width.hypot(height);
    let mut refused = |what: &str, pitch: f64| {
        notes.push(format!("{what} would mean a pixel pitch of {pitch:.2} um: not believed"));
    };
    let from_resolution = fields.focal_plane_px_per_mm.map(|per_mm| {
        // The resolution counts pixels of the Exif picture. A picture much smaller or larger than the frame was resized.
        let scale = fields.pixel_x_dimension.map_or(1.0, |x| x / width);
        let scale = if (0.8..1.25).contains(&scale) { 1.0 } else { scale };
        1000.0 / per_mm * scale
    });
    let from_focal = match (shot.focal_mm, shot.focal35_mm) {
        (Some(focal), Some(focal35)) if diagonal_px > 0.0 => {
            Some(DIAGONAL_35_MM * focal / focal35 / diagonal_px * 1000.0)
        }
        _ => None,
    };
    for (pitch, from, what) in [
        (from_resolution, PitchFrom::FocalPlaneResolution, "FocalPlaneXResolution"),
        (from_focal, PitchFrom::Focal35, "FocalLengthIn35mmFilm"),
    ] {
        match pitch {
            Some(pitch) if PLAUSIBLE_UM.contains(&pitch) => {
                shot.pixel_pitch_um = Some(pitch);
                shot.pitch_from = Some(from);
                break;
            }
            Some(pitch) => refused(what, pitch),
            None => {}
        }
    }
    if let (None, Some(focal), Some(pitch)) = (shot.focal35_mm, shot.focal_mm, shot.pixel_pitch_um)
        && diagonal_px > 0.0
    {
        shot.focal35_mm = Some(focal * DIAGONAL_35_MM / (diagonal_px * pitch / 1000.0));
    }
}
