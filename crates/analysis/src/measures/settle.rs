//! Read noise and banding of the picture brought together with what its masked border and the file itself say.

use rawassay_decode::{Colour, Frame};

use super::banding::Spread;
use super::masked::{Masked, Unsized};
use super::noise::FrameNoise;

/// Masked pixels and picture agree in read noise within this share; from the larger one on the picture is believed.
const AGREES: f64 = 0.15;
const FAR_APART: f64 = 0.4;

/// A stated gain that is off by more is noted.
const PROFILE_DIFFERS: f64 = 0.2;

/// Brings the read noise of the picture and that of the masked pixels together: the masked pixels see nothing else, so
/// theirs is taken, unless both are known and far apart. Agreement, and the file's own statement, are noted.
pub(crate) fn settle_read_noise(frame: &Frame, found: &mut FrameNoise, masked: &Masked) {
    if frame.dithered || frame.filter.is_linear() {
        return;
    }
    found.notes.extend(masked.why.map(String::from));
    for (far, which) in masked.unsized_lines.into_iter().zip(["row", "column"]) {
        let why = match far {
            None => continue,
            Some(Unsized::Few(count)) => {
                format!("single lines ({count}) stand so far off all others that they may be defective")
            }
            Some(Unsized::CutOff(count)) => format!("lines ({count}) far below all others are cut off at zero"),
        };
        found.notes.push(format!("{which} banding: not taken from the masked border, where {why}"));
    }
    let (row_border, column_border) = (masked.row_banding_dn, masked.column_banding_dn);
    let (border, masked) = (masked.unsized_lines, &masked.read_noise_dn);
    let (mut scene_sum, mut masked_sum, mut both) = (0.0, 0.0, 0.0);
    for (plane, masked) in found.planes.iter_mut().zip(masked) {
        if let (Some(s), Some(m)) = (plane.read_noise_dn, masked) {
            scene_sum += s;
            masked_sum += m;
            both += 1.0;
        }
    }
    let far = both > 0.0 && (scene_sum / masked_sum - 1.0).abs() > FAR_APART;
    if both > 0.0 && (scene_sum / masked_sum - 1.0).abs() > AGREES {
        found.notes.push(format!(
            "read noise: {:.2} DN by the masked pixels, {:.2} DN by the dark tones of the picture; {} is taken",
            masked_sum / both,
            scene_sum / both,
            if far { "the picture's" } else { "that of the masked pixels" }
        ));
    }
    for (plane, masked) in found.planes.iter_mut().zip(masked) {
        if !(far && plane.read_noise_dn.is_some()) {
            plane.read_noise_dn = masked.or(plane.read_noise_dn);
        }
    }
    if masked.iter().any(Option::is_some) {
        found.notes.retain(|n| !n.starts_with("read noise: not measurable"));
    }
    let known: Vec<f64> = found.planes.iter().filter_map(|p| p.read_noise_dn).collect();
    let read = (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64);
    // The border shows the lines' offsets without a scene on them.
    // Where single lines stand far off in it, nothing is not what the picture may say.
    let shown = |seen: &Option<Spread>, border: Option<Unsized>, which: &str, notes: &mut Vec<String>| {
        told(seen.as_ref(), read, which, notes).filter(|dn| border.is_none() || *dn > 0.0)
    };
    found.row_banding_dn = row_border.or_else(|| shown(&found.rows, border[0], "row", &mut found.notes));
    found.column_banding_dn = column_border.or_else(|| shown(&found.columns, border[1], "column", &mut found.notes));
    compare_with_profile(frame, found);
}

/// The offsets that the picture shows; unknown where half a read noise of them would not be told from its noise, and where
/// they may be lines of the scene.
fn told(seen: Option<&Spread>, read: Option<f64>, which: &str, notes: &mut Vec<String>) -> Option<f64> {
    let seen = seen?;
    // Where read noise is unknown, so is how little of it would still have been seen.
    let unseen = seen.dn == 0.0 && read.is_none_or(|r| seen.least_dn2 > 0.25 * r * r);
    // A wave higher than what is seen, and than half a read noise.
    let wave_unseen = seen.unseen_wave_dn2 > f64::max(seen.dn.powi(2), read.map_or(0.0, |r| 0.25 * r * r));
    let hidden = !seen.scene && (unseen || wave_unseen || seen.unsure_size);
    let scene = seen.scene || seen.dn > 0.0 && !seen.sure;
    if hidden {
        notes.push(format!(
            "{which} banding: not measurable, the picture's own noise or structure {} hide half a read noise of it",
            if read.is_some() { "would" } else { "may" }
        ));
    } else if seen.single > 0 {
        notes.push(format!(
            "{which} banding: not measurable, single lines ({}) stand so far off all others that they may be defective, or \
             the scene's",
            seen.single
        ));
    } else if scene {
        notes.push(format!("{which} banding: not measurable, the scene may have such lines itself"));
    }
    (!hidden && !scene && seen.single == 0).then_some(seen.dn)
}

/// The file's NoiseProfile gives the variance of a value x (0 black, 1 white) as S x + O: S times the range is the slope.
fn compare_with_profile(frame: &Frame, found: &mut FrameNoise) {
    let green = frame.filter.planes.iter().position(|p| p.colour == Colour::Green).unwrap_or(0);
    let profile = &frame.noise_profile;
    // One statement for all planes, or one per colour in the order red, green, blue.
    let Some(stated) = (if profile.len() == 3 { profile.get(1) } else { profile.first() }) else { return };
    let (Some(gain), Some(levels)) = (found.planes[green].gain_e_per_dn, frame.levels.get(green)) else { return };
    let slope = stated.scale * (levels.white_declared_dn - levels.black_dn);
    if slope > 0.0 && (1.0 / (gain * slope) - 1.0).abs() > PROFILE_DIFFERS {
        found.notes.push(format!(
            "noise: the file states {:.3} electrons per DN (NoiseProfile), the picture shows {gain:.3}",
            1.0 / slope
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_seen_is_no_zero_where_read_noise_is_unknown() {
        let seen = Spread { least_dn2: 0.04, sure: true, ..Spread::default() };
        let mut notes = Vec::new();
        assert_eq!(told(Some(&seen), Some(1.0), "row", &mut notes), Some(0.0));
        assert!(notes.is_empty());
        for read in [None, Some(0.3)] {
            notes.clear();
            assert_eq!(told(Some(&seen), read, "row", &mut notes), None);
            assert!(notes[0].contains("hide half a read noise"), "{notes:?}");
        }
    }

    #[test]
    fn what_is_seen_is_no_statement_where_a_higher_wave_may_hide() {
        let seen = |dn, unseen_wave_dn2| Spread { dn, unseen_wave_dn2, sure: true, ..Spread::default() };
        let told = |seen| told(Some(&seen), Some(4.0), "row", &mut Vec::new());
        assert_eq!(told(seen(0.4, 5.0)), None);
        // Less than half a read noise, or than what is seen.
        assert_eq!(told(seen(0.4, 3.9)), Some(0.4));
        assert_eq!(told(seen(3.0, 5.0)), Some(3.0));
    }

    #[test]
    fn offsets_whose_size_is_unsure_are_no_statement() {
        let seen = |unsure_size| Spread { dn: 2.0, sure: true, unsure_size, ..Spread::default() };
        let told = |seen| told(Some(&seen), Some(4.0), "row", &mut Vec::new());
        assert_eq!((told(seen(false)), told(seen(true))), (Some(2.0), None));
    }

    #[test]
    fn offsets_that_may_be_the_scenes_are_no_statement() {
        let seen = |sure, scene| Spread { dn: 1.0, sure, scene, ..Spread::default() };
        let mut notes = Vec::new();
        let mut told = |seen| told(Some(&seen), Some(4.0), "row", &mut notes);
        assert_eq!(
            [told(seen(true, false)), told(seen(false, false)), told(seen(true, true))],
            [Some(1.0), None, None]
        );
        assert!(notes.iter().all(|note| note.ends_with("the scene may have such lines itself")) && notes.len() == 2);
    }
}
