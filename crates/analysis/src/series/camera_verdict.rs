//! Two cameras at one output: which shows finer detail, which less noise, and whether the larger is worth carrying.

use super::camera::{Carried, same_iso};
use super::camera_texture::{Better, Detail, sharper};
use super::{By, Estimate, Held, estimate, plural, short, steps_by, telling};
use crate::print::grade_below;

/// Ratio of the mid-tone SNR from which one camera's print is smoother, where noise is visible at all.
const SMOOTHER: f64 = 1.2;
/// Usable range that is worth telling, EV.
const RANGE_EV: f64 = 0.5;

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

/// Which camera shows less noise.
struct Smoother {
    better: Better,
    words: String,
    /// Where it does, as in "at ISO 3200"; empty where it does at every ISO that both were used at.
    at: String,
}

impl Smoother {
    fn everywhere(better: Better, words: String) -> Self {
        Self { better, words, at: String::new() }
    }
}

/// At which of the shared ISO settings, ascending: those of `of`, "from ... on" where they are the highest ones.
fn at_iso(of: &[&Both], shared: &[Both]) -> String {
    let top = &shared[shared.len() - of.len()..];
    if of.len() > 1 && top.iter().zip(of).all(|(a, b)| a.iso == b.iso) {
        return format!("from ISO {:.0} on", of[0].iso);
    }
    let list: Vec<String> = of.iter().map(|b| format!("{:.0}", b.iso)).collect();
    format!("at ISO {}", list.join(", "))
}

/// Which camera shows less noise, and in words.
fn smoother(smaller: &Carried<'_>, larger: &Carried<'_>, held: &Held<'_>) -> Smoother {
    let noisy = |snr: f64| grade_below(snr, held.brief.limits.snr_midtone).is_some();
    let shared = at_shared_iso(smaller, larger);
    if shared.is_empty() {
        let clean = |c: &Carried<'_>| {
            let mut snr = c.frames.iter().filter_map(|f| f.print_snr_midtone()).peekable();
            snr.peek().is_some() && snr.all(|snr| !noisy(snr))
        };
        return if clean(smaller) && clean(larger) {
            Smoother::everywhere(Better::Neither, "noise is under the brief's limit with both".to_string())
        } else {
            Smoother::everywhere(Better::Untold, "noise could not be compared at the same ISO".to_string())
        };
    }
    // Noise that does not show on this paper makes no camera better.
    let larger_wins: Vec<&Both> =
        shared.iter().filter(|b| noisy(b.smaller) && b.larger >= SMOOTHER * b.smaller).collect();
    let smaller_wins: Vec<&Both> =
        shared.iter().filter(|b| noisy(b.larger) && b.smaller >= SMOOTHER * b.larger).collect();
    let ratio = |of: &[&Both]| super::stats::median_of(of.iter().map(|b| b.larger / b.smaller)).unwrap_or(1.0);
    let (small, large) = (&smaller.name, &larger.name);
    let at = |of: &[&Both]| at_iso(of, &shared);
    let decided = |better: Better, of: &[&Both], words: String| {
        let at = if of.len() == shared.len() { String::new() } else { at(of) };
        Smoother { better, words, at }
    };
    let times_larger = short(ratio(&larger_wins));
    let times_smaller = short(1.0 / ratio(&smaller_wins));
    match (larger_wins.as_slice(), smaller_wins.as_slice()) {
        ([], []) => {}
        (wins, []) => {
            let words =
                format!("mid-tones of {large} are {times_larger} times cleaner than those of {small} {}", at(wins));
            return decided(Better::Larger, wins, words);
        }
        ([], wins) => {
            let clean = wins.iter().all(|b| !noisy(b.smaller));
            let limit = if clean {
                format!(": noise is under the brief's limit with {small}, not with {large}")
            } else {
                String::new()
            };
            let words = format!(
                "mid-tones of {large} are {times_smaller} times noisier than those of {small} {}{limit}",
                at(wins)
            );
            return decided(Better::Smaller, wins, words);
        }
        (of_larger, of_smaller) => {
            let words = format!(
                "mid-tones of {large} are {times_larger} times cleaner {} and {times_smaller} times noisier {}",
                at(of_larger),
                at(of_smaller)
            );
            return Smoother::everywhere(Better::Untold, words);
        }
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
    Smoother::everywhere(Better::Neither, words)
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

/// What the edges of the two say of their prints; `rises` are on the paper, mm, the camera with fewer pixels first.
fn in_words(detail: Option<&Detail>, rises: [Estimate; 2], cameras: [&Carried<'_>; 2], held: &Held<'_>) -> String {
    let [small, large] = cameras.map(|camera| &camera.name);
    let fine = detail.and_then(|d| d.texture).map_or_else(String::new, |t| {
        let which = if t.is_fine() { "fine" } else { "coarser" };
        let (with_smaller, with_larger) = (100.0 * t.with_smaller, 100.0 * t.with_larger);
        format!(
            " ({which} texture keeps {with_larger:.0} % of its contrast at the eye, {with_smaller:.0} % with {small})"
        )
    });
    match (detail.map_or(Better::Untold, |d| d.better), fine.is_empty()) {
        (Better::Larger, _) => format!("finer detail shows{fine}"),
        (Better::Smaller, _) => format!("finer detail shows with {small}{fine}"),
        (Better::Neither, _) => format!("the difference in sharpness is below what the eye sees there{fine}"),
        (Better::NotLarger, _) => format!("no finer detail shows{fine}"),
        (Better::Untold, _) if detail.is_some_and(|d| d.too_soft) => {
            let mm = |rise: Estimate| short(rise.value.unwrap_or(f64::NAN));
            format!(
                "both are too soft for this size to compare (edges {} mm wide with {small}, {} mm with {large})",
                mm(rises[0]),
                mm(rises[1])
            )
        }
        (Better::Untold, false) => format!("whether the difference in sharpness shows needs more frames{fine}"),
        (Better::Untold, true) => {
            let reasons: Vec<String> = cameras.into_iter().filter_map(nothing_told).collect();
            if reasons.is_empty() {
                held.brief.output.picture_unit().says("sharpness on the paper could not be compared")
            } else {
                reasons.join("; ")
            }
        }
    }
}

/// What to carry, for the brief. What only noise decides holds where it was seen.
fn opening(better: (Better, Better), at: &str, [small, large]: [&str; 2], brief: &str) -> String {
    let (end, start) = match at.split_once(' ') {
        Some(("from", isos)) => (format!(" {at}"), format!("From {isos} ")),
        Some((_, isos)) => (format!(" {at}"), format!("At {isos} ")),
        None => (String::new(), String::new()),
    };
    match better {
        (Better::Larger, Better::Smaller) => format!("{large} shows finer detail for {brief}, {small} less noise{end}"),
        (Better::Smaller, Better::Larger) => format!("{small} shows finer detail for {brief}, {large} less noise{end}"),
        (Better::Untold, Better::Larger) => {
            format!("{start}{large} shows less noise than {small} for {brief}, sharpness cannot be told")
        }
        (Better::Untold, Better::Smaller) => {
            format!("{start}{small} shows less noise than {large} for {brief}, sharpness cannot be told")
        }
        (Better::Larger, _) => format!("{large} is worth carrying for {brief} rather than {small}"),
        (Better::Neither | Better::NotLarger, Better::Larger) => {
            format!("{start}{large} is worth carrying for {brief} rather than {small}")
        }
        (Better::Smaller, _) => format!("{large} is not worth carrying for {brief}: {small} does better"),
        (Better::Neither | Better::NotLarger, Better::Smaller) => {
            format!("{start}{large} is not worth carrying for {brief}: {small} does better")
        }
        (Better::Neither, Better::Neither) => {
            format!("No visible difference for {brief} between {large} and {small}")
        }
        (Better::NotLarger, Better::Neither) => format!("{large} shows no gain over {small} for {brief}"),
        _ => format!("Whether {large} shows over {small} for {brief} cannot be told from these frames"),
    }
}

/// The answer on two cameras.
pub(super) fn verdict(smaller: &Carried<'_>, larger: &Carried<'_>, held: &Held<'_>) -> String {
    let brief = held.name;
    let (small, large) = (&smaller.name, &larger.name);
    let (a, b) = (&smaller.step, &larger.step);
    let eye_mm = b.readings.value("eye_limit_mm").filter(|e| *e > 0.0);
    let rises = [a.readings.get("print_rise_mm"), b.readings.get("print_rise_mm")];
    let detail = eye_mm.map(|eye| sharper(rises, eye));
    let sharper = detail.as_ref().map_or(Better::Untold, |d| d.better);
    let Smoother { better: smoother, words: noise, at } = smoother(smaller, larger, held);
    let detail = in_words(detail.as_ref(), rises, [smaller, larger], held);
    let mut reasons = vec![detail, noise];
    let range = b.readings.value("usable_ev").zip(a.readings.value("usable_ev")).map(|(b, a)| b - a);
    if let Some(more) = range.filter(|r| r.abs() >= RANGE_EV) {
        let (ev, word) = (more.abs(), if more > 0.0 { "wider" } else { "narrower" });
        reasons.push(format!("usable range of {large} is {ev:.1} EV {word} than that of {small} at the same ISO"));
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
    let opening = opening((sharper, smoother), &at, [small, large], brief);
    // Missed focus in every frame looks like a soft lens.
    let perhaps_missed = |c: &Carried<'_>| !c.frames.is_empty() && telling::soft(&c.frames) == c.frames.len();
    let told = sharper != Better::Untold;
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

    #[test]
    fn iso_settings_are_listed_unless_they_are_the_highest_ones() {
        let shared: Vec<Both> =
            [100.0, 400.0, 1600.0, 6400.0].map(|iso| Both { iso, smaller: 1.0, larger: 1.0 }).into();
        assert_eq!(at_iso(&[&shared[1], &shared[3]], &shared), "at ISO 400, 6400");
        assert_eq!(at_iso(&[&shared[2], &shared[3]], &shared), "from ISO 1600 on");
        assert_eq!(at_iso(&[&shared[3]], &shared), "at ISO 6400");
    }
}
