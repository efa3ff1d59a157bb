//! Cameras against each other at the brief's output: does the larger one show on the paper?
//!
//! Sharpness shows where it changes the contrast that reaches the eye at 15 cycles per degree by a tenth or more; noise
//! shows where one camera's mid-tones are clean for the brief and the other's are not. Both with their intervals, so
//! that few frames end in "cannot be told". Method: docs/measures.md, "Series".

use super::{Best, Estimate, Group, Held, Key, Limit, Readings, Setting, Step, estimate, group_by, outcome_of};
use super::{otherwise, plural, scenes, short, steps_by};
use crate::{BlurKind, FindingCode, FrameRow, Outcome};

/// Contrast at 15 cycles per degree must differ by this much to show (own rule; the scale is that of the limits 1.5 and
/// 3 eye limits, where it is 0.66 and 0.18).
const SHOWS: f64 = 0.1;
/// Ratio of the mid-tone SNR from which one camera's print is smoother, where noise is visible at all.
const SMOOTHER: f64 = 1.2;
/// ISO settings nearer than this are one, EV.
const SAME_ISO_EV: f64 = 0.17;
/// Usable range that is worth telling, EV.
const RANGE_EV: f64 = 0.5;

/// What makes a frame good on the paper, apart from how it was exposed.
const CODES: [FindingCode; 4] =
    [FindingCode::TooFewPixels, FindingCode::Soft, FindingCode::Diffracted, FindingCode::Noisy];

/// One camera's frames.
struct Carried<'f> {
    name: String,
    step: Step,
    frames: Vec<&'f FrameRow>,
    pixels: f64,
}

/// One group that holds every camera.
pub(super) fn groups(frames: &[FrameRow], held: &Held<'_>) -> (Vec<Group>, Vec<String>) {
    let brief = held.name;
    let sound: Vec<&FrameRow> = frames.iter().filter(|f| !f.damaged).collect();
    if sound.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut bodies = group_by(sound.iter().copied(), |f| Some(f.camera()));
    let members: Vec<&[&FrameRow]> = bodies.iter().map(|b| b.1.as_slice()).collect();
    let iso = common_iso(&members);
    let mut cameras: Vec<Carried<'_>> = Vec::new();
    while !bodies.is_empty() {
        let (camera, members) = bodies.remove(0);
        let twins = frames.iter().any(|f| {
            let other = f.camera();
            other.model == camera.model && other.make == camera.make && other.serial != camera.serial
        });
        cameras.push(carried(camera.name(twins), members, iso, held));
    }
    cameras.sort_by(|a, b| a.pixels.total_cmp(&b.pixels).then_with(|| a.name.cmp(&b.name)));
    let mut warnings = if cameras.len() < 2 { Vec::new() } else { cautions(&sound, &cameras, iso) };
    warnings.extend(otherwise::sentence(&sound, &CODES, held));
    let (answer, limit) = compare(&cameras, held);
    let best = cameras
        .iter()
        .filter(|c| c.step.readings.value("print_rise_mm").is_some())
        .min_by(|a, b| {
            let rise = |c: &Carried<'_>| c.step.readings.value("print_rise_mm").unwrap_or(f64::MAX);
            rise(a).total_cmp(&rise(b))
        })
        .map(|c| Best {
            setting: Setting::Text(c.name.clone()),
            low: None,
            high: None,
            reason: "Least middle rise at this output; the answer says whether the difference shows.".to_string(),
        });
    let group = Group {
        key: Key(vec![("brief", Setting::Text(brief.to_string()))]),
        frames: sound.len(),
        steps: cameras.into_iter().map(|c| c.step).collect(),
        best,
        limit_for_brief: limit,
        readings: Readings(vec![("compared_at_iso", Estimate::plain(iso, sound.len()))]),
        answer,
        warnings,
    };
    (vec![group], Vec::new())
}

/// What to be careful of.
fn cautions(frames: &[&FrameRow], cameras: &[Carried<'_>], iso: Option<f64>) -> Vec<String> {
    let mut warnings = scenes::cautions(frames, "compare cameras on one scene, in one light, from one place.");
    if cameras.iter().any(|c| c.step.frames < 3) {
        warnings.push("Fewer than three telling frames of a camera: take more for an interval to rely on.".to_string());
    }
    warnings.push(match iso {
        Some(iso) => format!("Noise and range are those at ISO {iso:.0}, the lowest that all cameras were used at."),
        None => "Noise and range are left open: the cameras were not used at one ISO.".to_string(),
    });
    warnings.push(
        "Not measured: colour, depth of field, lenses other than those used, focus speed, and how you hold each \
         camera. Print the same picture from both before you decide."
            .to_string(),
    );
    warnings
}

/// The lowest ISO at which every camera was used.
fn common_iso(bodies: &[&[&FrameRow]]) -> Option<f64> {
    let (first, others) = bodies.split_first()?;
    let mut isos: Vec<f64> = first.iter().filter_map(|f| f.iso()).collect();
    isos.sort_by(f64::total_cmp);
    isos.into_iter()
        .find(|iso| others.iter().all(|body| body.iter().any(|f| f.iso().is_some_and(|i| same_iso(i, *iso)))))
}

fn same_iso(a: f64, b: f64) -> bool {
    (a / b).log2().abs() < SAME_ISO_EV
}

fn carried<'f>(name: String, all: Vec<&'f FrameRow>, iso: Option<f64>, held: &Held<'_>) -> Carried<'f> {
    // What the hand or the focus spoiled tells nothing of the camera.
    let good: Vec<&FrameRow> = all
        .iter()
        .copied()
        .filter(|f| !matches!(f.blur_kind, BlurKind::Motion | BlurKind::Mixed | BlurKind::Defocus))
        .collect();
    // Scenes have soft edges of their own, and not every frame is in focus: the sharper half shows the camera.
    let mut rises: Vec<f64> = good.iter().filter_map(|f| f.print_rise_mm()).collect();
    rises.sort_by(f64::total_cmp);
    let middle = super::stats::median(&rises);
    let sharper = good.iter().filter(|f| f.print_rise_mm().zip(middle).is_some_and(|(r, m)| r <= m));
    let of = |value: &dyn Fn(&FrameRow) -> Option<f64>| estimate(good.iter().map(|f| value(f)));
    // Noise and range of mixed ISO compare nothing.
    let at_iso = |f: &FrameRow| iso.zip(f.iso()).is_some_and(|(a, b)| same_iso(a, b));
    let pixels = of(&|f| Some(f.width_px as f64 * f.height_px as f64 / 1e6));
    let largest = |side: fn((f64, f64)) -> f64| estimate(good.iter().map(|f| f.largest_in.map(side))).not_negative();
    let step = Step {
        setting: Setting::Text(name.clone()),
        frames: good.len(),
        left_out: all.len() - good.len(),
        readings: Readings(vec![
            ("megapixels", Estimate::plain(pixels.value, pixels.frames)),
            ("pixel_pitch_um", Estimate::plain(of(&|f| f.pixel_pitch_um()).value, good.len())),
            ("ppi", of(&|f| f.ppi())),
            ("print_rise_mm", estimate(sharper.map(|f| f.print_rise_mm())).not_negative()),
            ("eye_limit_mm", Estimate::plain(of(&|f| f.eye_limit_mm()).value, good.len())),
            ("print_snr_midtone", of(&|f| f.print_snr_midtone().filter(|_| at_iso(f)))),
            ("usable_ev", of(&|f| f.usable_ev().filter(|_| at_iso(f)))),
            ("largest_long_side_in", largest(|(w, h)| w.max(h))),
            ("largest_short_side_in", largest(|(w, h)| w.min(h))),
        ]),
        meets_brief: if good.is_empty() { None } else { outcome_of(&good, &CODES, held.brief) },
    };
    Carried { name, pixels: pixels.value.unwrap_or(0.0), step, frames: good }
}

/// Contrast left at 15 cycles per degree of an edge whose 10-90 % rise is `rise` minutes of arc, Gaussian.
fn contrast_at_eye(rise_arcmin: f64) -> f64 {
    let sigma = rise_arcmin / 2.5631;
    (-2.0 * (std::f64::consts::PI * sigma * 15.0 / 60.0).powi(2)).exp()
}

/// What one criterion says of the larger camera.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shows {
    Yes,
    No,
    Untold,
}

/// Contrast of fine texture that reaches the eye with the two cameras.
fn contrasts(smaller: &Step, larger: &Step) -> Option<[f64; 2]> {
    let eye = larger.readings.value("eye_limit_mm").filter(|e| *e > 0.0)?;
    let of = |step: &Step| Some(contrast_at_eye(step.readings.value("print_rise_mm")? / eye));
    Some([of(smaller)?, of(larger)?])
}

/// By how much the contrast at the eye is better with `larger`: value and interval.
fn sharper_by(smaller: &Step, larger: &Step) -> Option<[f64; 3]> {
    let eye = larger.readings.value("eye_limit_mm").filter(|e| *e > 0.0)?;
    let (a, b) = (smaller.readings.get("print_rise_mm"), larger.readings.get("print_rise_mm"));
    let contrast = |mm: f64| contrast_at_eye(mm / eye);
    let [with_smaller, with_larger] = contrasts(smaller, larger)?;
    let middle = with_larger - with_smaller;
    // No interval with one frame: the whole difference may be chance.
    let (Some(a_low), Some(a_high), Some(b_low), Some(b_high)) = (a.low, a.high, b.low, b.high) else {
        return Some([f64::NEG_INFINITY, middle, f64::INFINITY]);
    };
    // The ends combine as independent errors.
    let end = |b_end: f64, a_end: f64| {
        (contrast(b_end) - contrast(b.value.unwrap_or(0.0))).hypot(contrast(a_end) - contrast(a.value.unwrap_or(0.0)))
    };
    Some([middle - end(b_high, a_low.max(0.0)), middle, middle + end(b_low.max(0.0), a_high)])
}

fn shows(value: Option<[f64; 3]>, threshold: f64) -> Shows {
    match value {
        Some([low, _, _]) if low >= threshold => Shows::Yes,
        Some([_, _, high]) if high < threshold => Shows::No,
        _ => Shows::Untold,
    }
}

/// Ratio of the mid-tone SNR on the paper, larger over smaller, over the ISO settings that both have: (ratio, ISO
/// settings compared).
fn snr_ratio(smaller: &Carried<'_>, larger: &Carried<'_>) -> Option<(f64, usize)> {
    let by_iso = |c: &Carried<'_>| -> Vec<(f64, f64)> {
        steps_by(&c.frames, 1.06, |f| f.iso())
            .into_iter()
            .filter_map(|(iso, frames)| Some((iso, estimate(frames.iter().map(|f| f.print_snr_midtone())).value?)))
            .collect()
    };
    let (a, b) = (by_iso(smaller), by_iso(larger));
    let ratios: Vec<f64> = a
        .iter()
        .filter_map(|(iso, snr)| {
            let other = b.iter().find(|o| same_iso(o.0, *iso))?;
            (*snr > 0.0).then_some(other.1 / snr)
        })
        .collect();
    Some((super::stats::median_of(ratios.iter().copied())?, ratios.len()))
}

/// The answer, and the smallest camera that meets the brief.
fn compare(cameras: &[Carried<'_>], held: &Held<'_>) -> (String, Option<Limit>) {
    let brief = held.name;
    let enough = cameras.iter().find(|c| c.step.meets_brief == Some(Outcome::Prints));
    let passable = cameras.iter().find(|c| c.step.meets_brief.is_some_and(|o| o <= Outcome::Borderline));
    let limit = Limit {
        setting: enough.map(|c| c.name.as_str()).into(),
        borderline_to: passable.map(|c| c.name.as_str()).into(),
        between: None,
        by_curve: None,
        reason: match enough {
            Some(c) => format!("The camera with the fewest pixels whose frames meet {brief}: {}.", c.name),
            None => format!("No camera's frames clearly meet {brief}."),
        },
    };
    if cameras.len() < 2 {
        let only = cameras.first().map_or("no camera", |c| c.name.as_str());
        return (format!("Only one camera in the record ({only}): nothing to compare."), Some(limit));
    }
    let largest = &cameras[cameras.len() - 1];
    let sentences: Vec<String> =
        cameras[..cameras.len() - 1].iter().map(|smaller| verdict(smaller, largest, held)).collect();
    (sentences.join(" "), Some(limit))
}

fn verdict(smaller: &Carried<'_>, larger: &Carried<'_>, held: &Held<'_>) -> String {
    let brief = held.name;
    let (a, b) = (&smaller.step, &larger.step);
    let contrast = sharper_by(a, b);
    let sharper = shows(contrast, SHOWS);
    let noisy =
        |c: &Carried<'_>| outcome_of(&c.frames, &[FindingCode::Noisy], held.brief).is_some_and(|o| o > Outcome::Prints);
    let ratio = snr_ratio(smaller, larger);
    let smoother = match ratio {
        _ if a.readings.value("print_snr_midtone").is_none() => Shows::Untold,
        // Noise of the smaller one does not show on this paper at all.
        _ if !noisy(smaller) => Shows::No,
        Some((ratio, _)) if ratio >= SMOOTHER => Shows::Yes,
        Some(_) => Shows::No,
        None => Shows::Untold,
    };
    let mut reasons = Vec::new();
    let fine = contrasts(a, b).map_or_else(String::new, |[a, b]| {
        format!(
            " (fine texture keeps {:.0} % of its contrast at the eye, {:.0} % with {})",
            100.0 * b,
            100.0 * a,
            smaller.name
        )
    });
    reasons.push(match (sharper, contrast) {
        (Shows::Yes, Some(_)) => format!("finer detail shows{fine}"),
        (Shows::No, Some(_)) => format!("the difference in sharpness is below what the eye sees there{fine}"),
        (_, Some(_)) => format!("whether the difference in sharpness shows needs more frames{fine}"),
        (_, None) => held.brief.output.picture_unit().says("sharpness on the paper could not be compared"),
    });
    match (smoother, ratio) {
        (Shows::Yes, Some((r, n))) => reasons.push(format!(
            "its mid-tones are {} times cleaner at the same ISO ({n} {} compared)",
            short(r),
            plural(n, "setting")
        )),
        // Smaller pixels may have more noise than the brief bears.
        (Shows::No, _) if !noisy(smaller) && noisy(larger) => {
            reasons.push(format!("noise is under the brief's limit with {}, not with {}", smaller.name, larger.name));
        }
        (Shows::No, _) if !noisy(smaller) => reasons.push("noise is under the brief's limit with both".to_string()),
        (Shows::No, Some((r, _))) => reasons.push(format!("noise is the same at the same ISO (ratio {})", short(r))),
        _ => reasons.push("noise could not be compared at the same ISO".to_string()),
    }
    let range = b.readings.value("usable_ev").zip(a.readings.value("usable_ev")).map(|(b, a)| b - a);
    if let Some(more) = range.filter(|r| r.abs() >= RANGE_EV) {
        reasons.push(format!("usable range {more:+.1} EV at the same ISO"));
    }
    let opening = match (sharper, smoother) {
        (Shows::Yes, _) | (_, Shows::Yes) => format!("{} is worth carrying for {brief}", larger.name),
        (Shows::No, Shows::No) => {
            format!("No visible difference for {brief} between {} and {}", larger.name, smaller.name)
        }
        _ => {
            format!("Whether {} shows over {} for {brief} cannot be told from these frames", larger.name, smaller.name)
        }
    };
    let carried = match (sharper, smoother) {
        (Shows::Yes, _) | (_, Shows::Yes) => format!("{opening} rather than {}", smaller.name),
        _ => opening,
    };
    format!("{carried}: {}.", reasons.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The contrasts that the page on briefs gives for 1.5 and 3 eye limits.
    #[test]
    fn contrast_at_the_eye_is_that_of_a_gaussian_edge() {
        assert!((contrast_at_eye(1.5) - 0.66).abs() < 0.01);
        assert!((contrast_at_eye(3.0) - 0.18).abs() < 0.01);
    }
}
