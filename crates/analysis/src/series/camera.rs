//! Cameras against each other at the brief's output: does the larger one show on the paper?
//!
//! Sharpness shows where it changes the contrast of fine or coarser texture that reaches the eye by a tenth or more; noise
//! shows where one camera's mid-tones are clean for the brief and the other's are not. Both with their intervals, so
//! that few frames end in "cannot be told". Method: docs/measures.md, "Series".

use super::camera_verdict::verdict;
use super::telling::{self, telling};
use super::{Best, Estimate, Group, Held, Key, Limit, Readings, Setting, Step, estimate, group_by, outcome_of};
use super::{otherwise, plural, scenes};
use crate::{FindingCode, FrameRow, Outcome};

/// ISO settings nearer than this are one, EV.
const SAME_ISO_EV: f64 = 0.17;
/// What makes a frame good on the paper, apart from how it was exposed.
const CODES: [FindingCode; 4] =
    [FindingCode::TooFewPixels, FindingCode::Soft, FindingCode::Diffracted, FindingCode::Noisy];

/// One camera's frames.
pub(super) struct Carried<'f> {
    pub(super) name: String,
    pub(super) step: Step,
    /// Those that tell of the camera.
    pub(super) frames: Vec<&'f FrameRow>,
    /// Left out as shaken.
    pub(super) moved: usize,
    /// Left out as out of focus.
    pub(super) missed: usize,
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
    for camera in cameras {
        let soft = telling::soft(&camera.frames);
        if soft > 0 {
            warnings.push(format!(
                "{soft} of {} {} of {} may be out of focus rather than limited by the lens: focus anew and repeat to be sure.",
                camera.frames.len(),
                plural(camera.frames.len(), "frame"),
                camera.name
            ));
        }
    }
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

pub(super) fn same_iso(a: f64, b: f64) -> bool {
    (a / b).log2().abs() < SAME_ISO_EV
}

fn carried<'f>(name: String, all: Vec<&'f FrameRow>, iso: Option<f64>, held: &Held<'_>) -> Carried<'f> {
    // What the hand or the focus spoiled tells nothing of the camera.
    let good = telling(&all, |f| f.print_rise_mm());
    let moved = all.iter().filter(|f| telling::moved(f)).count();
    // Scenes have soft edges of their own, and not every frame is in focus: the sharper half shows the camera.
    let mut rises: Vec<f64> = good.iter().filter_map(|f| f.print_rise_mm()).collect();
    rises.sort_by(f64::total_cmp);
    let middle = super::stats::median(&rises);
    let sharper = good.iter().filter(|f| f.print_rise_mm().zip(middle).is_some_and(|(r, m)| r <= m));
    let of = |value: &dyn Fn(&FrameRow) -> Option<f64>| estimate(good.iter().map(|f| value(f)));
    // Noise and range of mixed ISO compare nothing.
    let at_iso = |f: &FrameRow| iso.zip(f.iso()).is_some_and(|(a, b)| same_iso(a, b));
    // Known of frames that tell nothing else, too.
    let pixels = estimate(all.iter().map(|f| Some(f.width_px as f64 * f.height_px as f64 / 1e6)));
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
    Carried {
        name,
        pixels: pixels.value.unwrap_or(0.0),
        step,
        moved,
        missed: all.len() - good.len() - moved,
        frames: good,
    }
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
