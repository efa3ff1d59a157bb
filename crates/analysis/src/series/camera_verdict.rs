//! Two cameras at one output: which shows finer detail, which less noise, and whether the larger is worth carrying.

use super::camera::{Carried, same_iso};
use super::{By, Held, Readings, Step, estimate, plural, short, steps_by, telling};
use crate::print::grade_below;

/// Contrast at 15 cycles per degree must differ by this much to show (own rule; the scale is that of the limits 1.5 and
/// 3 eye limits, where it is 0.66 and 0.18).
const SHOWS: f64 = 0.1;
/// Ratio of the mid-tone SNR from which one camera's print is smoother, where noise is visible at all.
const SMOOTHER: f64 = 1.2;
/// Usable range that is worth telling, EV.
const RANGE_EV: f64 = 0.5;

/// Contrast left at 15 cycles per degree of an edge whose 10-90 % rise is `rise` minutes of arc, Gaussian.
fn contrast_at_eye(rise_arcmin: f64) -> f64 {
    let sigma = rise_arcmin / 2.5631;
    (-2.0 * (std::f64::consts::PI * sigma * 15.0 / 60.0).powi(2)).exp()
}

/// Which camera's print is visibly better in one respect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Better {
    /// That of the camera with more pixels.
    Larger,
    /// That of the other one.
    Smaller,
    /// Neither.
    Neither,
    /// Not the larger's; whether the other's is cannot be told.
    NotLarger,
    /// It cannot be told.
    Untold,
}

/// Contrast of fine texture that reaches the eye with the two cameras.
fn contrasts(smaller: &Step, larger: &Step) -> Option<[f64; 2]> {
    let eye = larger.readings.value("eye_limit_mm").filter(|e| *e > 0.0)?;
    let of = |step: &Step| Some(contrast_at_eye(step.readings.value("print_rise_mm")? / eye));
    Some([of(smaller)?, of(larger)?])
}

/// By how much the contrast at the eye is better with `larger`: the ends of the interval.
fn sharper_by(smaller: &Step, larger: &Step) -> Option<[f64; 2]> {
    let eye = larger.readings.value("eye_limit_mm").filter(|e| *e > 0.0)?;
    let rise = |readings: &Readings| readings.get("print_rise_mm");
    let (a, b) = (rise(&smaller.readings), rise(&larger.readings));
    let contrast = |mm: f64| contrast_at_eye(mm / eye);
    let [with_smaller, with_larger] = contrasts(smaller, larger)?;
    let middle = with_larger - with_smaller;
    // No interval with one frame: the whole difference may be chance.
    let (Some(a_low), Some(a_high), Some(b_low), Some(b_high)) = (a.low, a.high, b.low, b.high) else {
        return Some([f64::NEG_INFINITY, f64::INFINITY]);
    };
    // The ends combine as independent errors.
    let end = |b_end: f64, a_end: f64| (contrast(b_end) - with_larger).hypot(contrast(a_end) - with_smaller);
    Some([middle - end(b_high, a_low.max(0.0)), middle + end(b_low.max(0.0), a_high)])
}

/// Which camera shows finer detail.
fn sharper(contrast: Option<[f64; 2]>) -> Better {
    match contrast {
        Some([low, _]) if low >= SHOWS => Better::Larger,
        Some([_, high]) if high <= -SHOWS => Better::Smaller,
        Some([low, high]) if high < SHOWS && low > -SHOWS => Better::Neither,
        Some([_, high]) if high < SHOWS => Better::NotLarger,
        _ => Better::Untold,
    }
}

/// Mid-tone signal-to-noise on the paper at one ISO of both cameras.
struct Both {
    iso: f64,
    smaller: f64,
    larger: f64,
}

/// At every ISO that both were used at.
fn at_shared_iso(smaller: &Carried<'_>, larger: &Carried<'_>) -> Vec<Both> {
    let by_iso = |c: &Carried<'_>| -> Vec<(f64, f64)> {
        steps_by(&c.frames, 1.06, |f| f.iso())
            .into_iter()
            .filter_map(|(iso, frames)| Some((iso, estimate(frames.iter().map(|f| f.print_snr_midtone())).value?)))
            .filter(|(_, snr)| *snr > 0.0)
            .collect()
    };
    let others = by_iso(larger);
    by_iso(smaller)
        .into_iter()
        .filter_map(|(iso, snr)| {
            let other = others.iter().find(|o| same_iso(o.0, iso))?;
            Some(Both { iso, smaller: snr, larger: other.1 })
        })
        .collect()
}

/// Which camera shows less noise, and in words.
fn smoother(smaller: &Carried<'_>, larger: &Carried<'_>, held: &Held<'_>) -> (Better, String) {
    let noisy = |snr: f64| grade_below(snr, held.brief.limits.snr_midtone).is_some();
    let shared = at_shared_iso(smaller, larger);
    if shared.is_empty() {
        let clean = |c: &Carried<'_>| {
            let mut snr = c.frames.iter().filter_map(|f| f.print_snr_midtone()).peekable();
            snr.peek().is_some() && snr.all(|snr| !noisy(snr))
        };
        return if clean(smaller) && clean(larger) {
            (Better::Neither, "noise is under the brief's limit with both".to_string())
        } else {
            (Better::Untold, "noise could not be compared at the same ISO".to_string())
        };
    }
    // Noise that does not show on this paper makes no camera better.
    let larger_wins: Vec<&Both> =
        shared.iter().filter(|b| noisy(b.smaller) && b.larger >= SMOOTHER * b.smaller).collect();
    let smaller_wins: Vec<&Both> =
        shared.iter().filter(|b| noisy(b.larger) && b.smaller >= SMOOTHER * b.larger).collect();
    let ratio = |of: &[&Both]| super::stats::median_of(of.iter().map(|b| b.larger / b.smaller)).unwrap_or(1.0);
    let from = |of: &[&Both]| {
        let least = of.iter().map(|b| b.iso).fold(f64::INFINITY, f64::min);
        if of.len() == 1 { format!("at ISO {least:.0}") } else { format!("from ISO {least:.0} on") }
    };
    if larger_wins.len() > smaller_wins.len() {
        let times = short(ratio(&larger_wins));
        return (Better::Larger, format!("its mid-tones are {times} times cleaner {}", from(&larger_wins)));
    }
    if !smaller_wins.is_empty() {
        let clean = smaller_wins.iter().all(|b| !noisy(b.smaller));
        let limit = if clean {
            format!(": noise is under the brief's limit with {}, not with {}", smaller.name, larger.name)
        } else {
            String::new()
        };
        let times = short(1.0 / ratio(&smaller_wins));
        let of = &larger.name;
        return (
            Better::Smaller,
            format!("mid-tones of {of} are {times} times noisier {}{limit}", from(&smaller_wins)),
        );
    }
    let shows = shared.iter().any(|b| noisy(b.smaller) || noisy(b.larger));
    let words = if shows {
        let all: Vec<&Both> = shared.iter().collect();
        let settings = plural(shared.len(), "setting");
        format!("noise differs little at the same ISO (ratio {}, {} {settings})", short(ratio(&all)), shared.len())
    } else {
        let settings =
            if shared.len() == 1 { String::new() } else { " at every ISO that both were used at".to_string() };
        format!("noise is under the brief's limit with both{settings}")
    };
    (Better::Neither, words)
}

/// Why a camera's sharpness is not known.
fn nothing_told(camera: &Carried<'_>) -> Option<String> {
    if camera.step.readings.value("print_rise_mm").is_some() {
        return None;
    }
    let all = camera.frames.len() + camera.moved + camera.missed;
    let why = match (camera.moved, camera.missed) {
        (moved, _) if moved == all => "shaken: repeat them from a tripod, or at a shorter time",
        (_, missed) if missed == all => "out of focus: focus anew and repeat them",
        (moved, missed) if moved + missed == all => "shaken or out of focus: repeat them",
        _ => return Some(format!("edges of {} could not be measured", camera.name)),
    };
    let frames = if all == 1 { "the one frame".to_string() } else { format!("all {all} frames") };
    Some(format!("{frames} of {} {} {why}", camera.name, if all == 1 { "is" } else { "are" }))
}

/// An outcome as a verb.
fn is(said: &str) -> String {
    if said == "borderline" { format!("is {said}") } else { said.to_string() }
}

/// The answer on two cameras.
pub(super) fn verdict(smaller: &Carried<'_>, larger: &Carried<'_>, held: &Held<'_>) -> String {
    let brief = held.name;
    let (small, large) = (&smaller.name, &larger.name);
    let (a, b) = (&smaller.step, &larger.step);
    let sharper = sharper(sharper_by(a, b));
    let (smoother, noise) = smoother(smaller, larger, held);
    let fine = contrasts(a, b).map_or_else(String::new, |[a, b]| {
        format!(" (fine texture keeps {:.0} % of its contrast at the eye, {:.0} % with {small})", 100.0 * b, 100.0 * a)
    });
    let detail = match (sharper, fine.is_empty()) {
        (Better::Larger, _) => format!("finer detail shows{fine}"),
        (Better::Smaller, _) => format!("finer detail shows with {small}{fine}"),
        (Better::Neither, _) => format!("the difference in sharpness is below what the eye sees there{fine}"),
        (Better::NotLarger, _) => format!("no finer detail shows{fine}"),
        (Better::Untold, false) => format!("whether the difference in sharpness shows needs more frames{fine}"),
        (Better::Untold, true) => {
            let reasons: Vec<String> = [smaller, larger].into_iter().filter_map(nothing_told).collect();
            if reasons.is_empty() {
                held.brief.output.picture_unit().says("sharpness on the paper could not be compared")
            } else {
                reasons.join("; ")
            }
        }
    };
    let mut reasons = vec![detail, noise];
    let range = b.readings.value("usable_ev").zip(a.readings.value("usable_ev")).map(|(b, a)| b - a);
    if let Some(more) = range.filter(|r| r.abs() >= RANGE_EV) {
        reasons.push(format!("usable range {more:+.1} EV at the same ISO"));
    }
    // Pixels that the brief asks for and the eye does not miss.
    if let (Some(with_smaller), Some(with_larger)) = (a.meets_brief, b.meets_brief)
        && with_smaller != with_larger
    {
        let said = |outcome| By::Camera.said(Some(outcome));
        reasons.push(format!(
            "by the brief's limits {small} {}, {large} {}",
            is(said(with_smaller)),
            is(said(with_larger))
        ));
    }
    let opening = match (sharper, smoother) {
        (Better::Larger, Better::Smaller) => format!("{large} shows finer detail for {brief}, {small} less noise"),
        (Better::Smaller, Better::Larger) => format!("{small} shows finer detail for {brief}, {large} less noise"),
        (Better::Larger, _) | (Better::Neither | Better::NotLarger | Better::Untold, Better::Larger) => {
            format!("{large} is worth carrying for {brief} rather than {small}")
        }
        (Better::Smaller, _) | (Better::Neither | Better::NotLarger, Better::Smaller) => {
            format!("{large} is not worth carrying for {brief}: {small} does better")
        }
        (Better::Neither, Better::Neither) => {
            format!("No visible difference for {brief} between {large} and {small}")
        }
        (Better::NotLarger, Better::Neither) => format!("{large} shows no gain over {small} for {brief}"),
        _ => format!("Whether {large} shows over {small} for {brief} cannot be told from these frames"),
    };
    // Missed focus in every frame looks like a soft lens.
    let perhaps_missed = |c: &Carried<'_>| !c.frames.is_empty() && telling::soft(&c.frames) == c.frames.len();
    let told = !matches!(sharper, Better::Untold | Better::NotLarger);
    let opening = if told && (perhaps_missed(smaller) || perhaps_missed(larger)) {
        format!("As focused here: {opening}")
    } else {
        opening
    };
    let joint = if opening.contains(": ") { "; " } else { ": " };
    format!("{opening}{joint}{}.", reasons.join("; "))
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
