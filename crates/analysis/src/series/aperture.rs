//! Sharpness along the f-stop, per camera, lens and focal length.
//!
//! Answers: the sharpest f-stop and its interval, in the sharpest part, the centre and the corners; from which f-stop
//! diffraction costs; which f-stops meet the brief. Method: docs/measures.md, "Series".

use super::best_stop::{self, Point};
use super::telling::{self, telling};
use super::{Best, Estimate, Group, Held, Key, Limit, Readings, Setting, Step, estimate, group_by};
use super::{BodyNames, mm_per_px, otherwise, plural, scenes, short, steps_by};
use rawassay_decode::PitchFrom;

use crate::print::grade_above;
use crate::{FindingCode, FrameRow, Outcome, Severity};

/// f-numbers within this ratio are one setting (an eighth of a stop).
const SAME_STOP: f64 = 1.045;
/// Focal lengths within this ratio are one group.
const SAME_FOCAL: f64 = 1.03;

/// Diffraction explains what stopping down costs where it makes this share of what the squared rise has gained.
const EXPLAINS_SHARE: f64 = 0.5;

/// What the f-stop has a hand in.
const CODES: [FindingCode; 2] = [FindingCode::Soft, FindingCode::Diffracted];

/// The groups, and cautions.
pub(super) fn groups(frames: &[FrameRow], held: &Held<'_>) -> (Vec<Group>, Vec<String>) {
    let names = BodyNames::of(frames);
    let with_stop = |f: &&FrameRow| f.f_number().is_some_and(|n| n > 0.0);
    let sound: Vec<&FrameRow> = frames.iter().filter(|f| !f.damaged).collect();
    let without = sound.iter().filter(|f| !with_stop(f)).count();
    let mut warnings = Vec::new();
    if without > 0 {
        warnings.push(format!("{without} {} without an f-number left out.", plural(without, "frame")));
    }
    let mut groups = Vec::new();
    let by_lens =
        group_by(sound.into_iter().filter(with_stop), |f| Some((f.camera(), f.gear.lens.as_deref().map(str::trim))));
    for ((camera, lens), members) in by_lens {
        let mut focal = steps_by(&members, SAME_FOCAL, |f| f.focal_mm());
        let unstated: Vec<&FrameRow> = members.iter().copied().filter(|f| f.focal_mm().is_none()).collect();
        let mut parts: Vec<(Option<f64>, Vec<&FrameRow>)> =
            focal.drain(..).map(|(mm, frames)| (Some(mm), frames)).collect();
        if !unstated.is_empty() {
            parts.push((None, unstated));
        }
        for (focal_mm, part) in parts {
            let key = Key(vec![
                ("make", camera.make.into()),
                ("model", camera.model.into()),
                ("serial", camera.serial.into()),
                ("lens", lens.into()),
                ("focal_mm", focal_mm.into()),
            ]);
            let body = names.name(&camera);
            let name = match (lens, focal_mm) {
                (Some(lens), Some(mm)) => format!("{lens} at {} mm on {body}", short(mm)),
                (Some(lens), None) => format!("{lens} on {body}"),
                (None, Some(mm)) => format!("{body} at {} mm", short(mm)),
                (None, None) => body,
            };
            groups.push(group(key, &name, &part, held));
        }
    }
    (groups, warnings)
}

fn group(key: Key, name: &str, members: &[&FrameRow], held: &Held<'_>) -> Group {
    let mut left_out = 0;
    let mut soft: Vec<(f64, usize)> = Vec::new();
    let steps: Vec<Step> = steps_by(members, SAME_STOP, |f| f.f_number())
        .into_iter()
        .map(|(f_number, all)| {
            let measured: Vec<&FrameRow> = all.iter().copied().filter(|f| f.edge_rise_px().is_some()).collect();
            let good = telling(&measured, |f| f.edge_rise_px());
            left_out += all.len() - good.len();
            soft.extend(Some((f_number, telling::soft(&good))).filter(|(_, frames)| *frames > 0));
            let of = |value: &dyn Fn(&FrameRow) -> Option<f64>| estimate(good.iter().map(|f| value(f))).not_negative();
            Step {
                setting: Setting::Number(f_number),
                frames: good.len(),
                left_out: all.len() - good.len(),
                readings: Readings(vec![
                    ("edge_rise_px", of(&|f| f.edge_rise_px())),
                    ("centre_rise_px", of(&|f| f.centre_rise_px())),
                    ("corners_rise_px", of(&|f| f.corners_rise_px())),
                    ("expected_diffraction_px", of(&|f| f.expected_diffraction_px())),
                    ("mtf50_cy_px", of(&|f| f.mtf50_cy_px())),
                    ("mtf50_lp_mm", of(&|f| f.mtf50_lp_mm())),
                    ("print_rise_mm", of(&|f| f.print_rise_mm())),
                    ("print_corners_rise_mm", of(&|f| Some(f.corners_rise_px()? * mm_per_px(f)?))),
                ]),
                meets_brief: None,
            }
        })
        .collect();
    let steps: Vec<Step> =
        steps.into_iter().map(|step| Step { meets_brief: sharp_enough(&step, held), ..step }).collect();
    let mut warnings = scenes::cautions(
        members,
        "edges of another scene have another sharpness of their own; compare f-stops on one scene, from a tripod.",
    );
    if left_out > 0 {
        warnings.push(format!(
            "{left_out} {} left out: shaken, out of focus, or with too few edges.",
            plural(left_out, "frame")
        ));
    }
    let slipped = telling::slipped(&steps);
    warnings.extend(slipped.iter().map(|n| {
        format!(
            "At f/{} the edges are wider than at f-stops on both sides: focus (or its shift on stopping down), a motion or another \
             scene made them so; repeat it (left out of the sharpest f-stop and of those that are sharp enough).",
            stop(*n)
        )
    }));
    soft.retain(|(n, _)| !slipped.contains(n));
    let told = steps.iter().filter(|s| s.readings.value("edge_rise_px").is_some()).count() - slipped.len();
    // Frames that look out of focus at most f-stops: lens or focus, the answer is of both.
    let as_focused = 2 * soft.len() >= told && !soft.is_empty();
    warnings.extend(telling::perhaps_missed(&soft));
    let fitted = |reading: &str| best_stop::fit(&points(&steps, reading, &slipped), diffraction_px_per_f(&steps));
    let whole = fitted("edge_rise_px");
    let mut best = best(&steps, whole.as_ref());
    if let Some(best) = best.as_mut().filter(|_| as_focused) {
        (best.low, best.high) = (None, None);
    }
    let limit = limit(&steps, &slipped, held);
    let stopping = whole.as_ref().and_then(|fit| stopping_down(&steps, fit, members));
    warnings.extend(enlarged_too_much(&steps));
    warnings.extend(inferred_pitch(members));
    let other = otherwise::sentence(members, &CODES, held);
    // One f-stop whose frames tell of the lens: nothing to be sharpest of.
    let single = steps.iter().filter(|s| s.readings.value("edge_rise_px").is_some()).count() == 1;
    let mut answer = answer(name, single, best.as_ref(), stopping, limit.as_ref(), other);
    if as_focused {
        answer = format!("As focused here: {answer}");
    }
    let estimates = |range: Option<[f64; 3]>| match range {
        Some([_, value, _]) if as_focused => Estimate::plain(Some(value), members.len()),
        Some([low, value, high]) => {
            Estimate { value: Some(value), low: Some(low), high: Some(high), frames: members.len() }
        }
        None => Estimate::default(),
    };
    let optimum = |fit: Option<best_stop::BestStop>| estimates(fit.and_then(|fit| within_tested(&steps, fit.f_number)));
    Group {
        key,
        frames: members.len(),
        readings: Readings(vec![
            ("sharpest_f_number", optimum(whole)),
            ("sharpest_f_number_centre", optimum(fitted("centre_rise_px"))),
            ("sharpest_f_number_corners", optimum(fitted("corners_rise_px"))),
            ("diffraction_costs_from_f_number", estimates(whole.and_then(|b| b.costs_from))),
        ]),
        steps,
        best,
        limit_for_brief: limit,
        answer,
        warnings,
    }
}

/// Whether the edges of a step are narrow enough on the paper, whatever made them wide: lens, diffraction or enlargement.
fn sharp_enough(step: &Step, held: &Held<'_>) -> Option<Outcome> {
    let rise = step.readings.value("print_rise_mm")?;
    let finest_mm = crate::print::seen(&held.brief.output).finest_mm;
    Some(match grade_above(rise / finest_mm, held.brief.limits.rise_eye_limits) {
        None => Outcome::Prints,
        Some(Severity::Fails) => Outcome::Fails,
        Some(_) => Outcome::Borderline,
    })
}

/// Where the sharpest f-stop is sharp pixel by pixel and does not do all the same, no f-stop will.
fn enlarged_too_much(steps: &[Step]) -> Option<String> {
    let least = steps.iter().filter_map(|s| s.readings.value("edge_rise_px")).min_by(f64::total_cmp)?;
    let none = steps.iter().all(|s| s.meets_brief != Some(Outcome::Prints));
    (none && least <= crate::judge::PIXEL_SHARP_PX).then(|| {
        format!(
            "At this size even edges that are sharp pixel by pixel ({least:.1} px) are too wide: more pixels or a smaller print \
             would help, another f-stop would not."
        )
    })
}

/// The steps as points of the fit, those left out that something else than the lens spoiled.
fn points(steps: &[Step], reading: &str, slipped: &[f64]) -> Vec<Point> {
    steps
        .iter()
        .filter(|step| step.setting.number().is_none_or(|n| !slipped.contains(&n)))
        .filter_map(|step| {
            let rise = step.readings.get(reading);
            Some(Point { f_number: step.setting.number()?, rise_px: rise.value?, frames: rise.frames })
        })
        .collect()
}

/// Rise that diffraction gives per unit of the f-number, pixels, where the pixel pitch is known.
fn diffraction_px_per_f(steps: &[Step]) -> Option<f64> {
    let ratios = steps.iter().filter_map(|s| Some(s.readings.value("expected_diffraction_px")? / s.setting.number()?));
    super::stats::median_of(ratios)
}

/// An f-stop with its interval, so far as it lies among the tested ones.
fn within_tested(steps: &[Step], [low, f_number, high]: [f64; 3]) -> Option<[f64; 3]> {
    let numbers = || steps.iter().filter_map(|s| s.setting.number());
    let (least, most) = (numbers().fold(f64::INFINITY, f64::min), numbers().fold(0.0, f64::max));
    let among = f_number <= most * SAME_STOP && f_number >= least / SAME_STOP;
    among.then(|| [low.max(least).min(f_number), f_number, high.min(most).max(f_number)])
}

/// The optimum of the fit; without a fit the sharpest of the tested f-stops.
fn best(steps: &[Step], fitted: Option<&best_stop::BestStop>) -> Option<Best> {
    let rise = |s: &Step| s.readings.value("edge_rise_px");
    let sharpest = steps
        .iter()
        .filter(|s| rise(s).is_some())
        .min_by(|a, b| rise(a).unwrap_or(f64::MAX).total_cmp(&rise(b).unwrap_or(f64::MAX)))?;
    Some(match fitted.and_then(|fit| Some((fit, within_tested(steps, fit.f_number)?))) {
        Some((fit, [low, f_number, high])) => Best {
            setting: Setting::Number(f_number),
            low: Some(low),
            high: Some(high),
            reason: format!(
                "Least of the curve of aberration and diffraction through the tested f-stops: {:.2} px.",
                fit.rise_px
            ),
        },
        _ => Best {
            setting: sharpest.setting.clone(),
            low: None,
            high: None,
            reason: format!(
                "Sharpest of the tested f-stops ({:.2} px); the frames do not place the optimum between them.",
                rise(sharpest)?
            ),
        },
    })
}

/// The smallest opening that meets the brief, and the widest.
fn limit(steps: &[Step], slipped: &[f64], held: &Held<'_>) -> Option<Limit> {
    let brief = held.name;
    let tested: Vec<(f64, Outcome)> = steps
        .iter()
        .filter_map(|s| Some((s.setting.number()?, s.meets_brief?)))
        .filter(|(n, _)| !slipped.contains(n))
        .collect();
    let last = tested.last()?.0;
    let within = |worst: Outcome| -> Vec<f64> { tested.iter().filter(|t| t.1 <= worst).map(|t| t.0).collect() };
    let (clean, passable) = (within(Outcome::Prints), within(Outcome::Borderline));
    let beyond = |n: f64| tested.iter().map(|t| t.0).find(|m| *m > n);
    let passes = match passable.as_slice() {
        [one] => format!("f/{} is borderline: make a proof print", short(*one)),
        [from, .., to] => format!("f/{} to f/{} are borderline: make a proof print", short(*from), short(*to)),
        [] => String::new(),
    };
    let passes = held.brief.output.picture_unit().says(&passes);
    let reason = match (clean.first(), clean.last()) {
        (Some(only), _) if tested.len() == 1 => {
            format!("f/{}, the only f-stop tested, is sharp enough for {brief}.", short(*only))
        }
        (Some(from), Some(to)) if clean.len() == tested.len() => {
            format!("Every tested f-stop from f/{} to f/{} is sharp enough for {brief}.", short(*from), short(*to))
        }
        (Some(from), Some(to)) if from == to => format!("Only f/{} is sharp enough for {brief}.", short(*to)),
        (Some(from), Some(to)) => format!("Sharp enough for {brief} from f/{} to f/{}.", short(*from), short(*to)),
        _ if !passable.is_empty() => format!("No tested f-stop is clearly sharp enough for {brief}; {passes}."),
        _ => format!("No tested f-stop is sharp enough for {brief}."),
    };
    let reason = match slipped {
        [] => reason,
        some => {
            let stops: Vec<String> = some.iter().map(|n| format!("f/{}", stop(*n))).collect();
            let are = if some.len() == 1 { "is" } else { "are" };
            format!("{reason} {} {are} left out, as the edges are wider there than on both sides.", stops.join(", "))
        }
    };
    let furthest = clean.last().copied();
    Some(Limit {
        setting: furthest.into(),
        borderline_to: passable.last().copied().into(),
        by_curve: None,
        between: furthest.filter(|n| *n < last).and_then(|n| Some([n, beyond(n)?])),
        reason,
    })
}

/// What stopping down costs, and whether diffraction explains it.
fn stopping_down(steps: &[Step], fit: &best_stop::BestStop, members: &[&FrameRow]) -> Option<String> {
    let Some(costs) = fit.costs_from else {
        return Some("Diffraction costs little at the f-stops tested.".to_string());
    };
    let percent = (best_stop::COST - 1.0) * 100.0;
    let from = stop(costs[1]);
    let last = steps.iter().rev().find(|s| s.readings.value("edge_rise_px").is_some())?;
    let (rise, n) = (last.readings.value("edge_rise_px")?, last.setting.number()?);
    // Widths add as squares: what came on top of the least rise is to be diffraction's.
    let added = (rise * rise - fit.rise_px * fit.rise_px).max(0.0);
    let pitch = super::stats::median_of(members.iter().filter_map(|f| f.pixel_pitch_um()));
    Some(match (last.readings.value("expected_diffraction_px"), pitch) {
        (Some(alone), Some(pitch)) if alone * alone < EXPLAINS_SHARE * added => format!(
            "Stopping down costs more than {percent:.0} % from f/{from} on, and more than diffraction explains at a pixel \
             pitch of {} um ({} px of the {} px at f/{}): is the pitch right?",
            short(pitch),
            short(alone),
            short(rise),
            stop(n)
        ),
        (Some(_), _) => format!("Diffraction costs more than {percent:.0} % from f/{from} on."),
        (None, _) => format!(
            "Stopping down costs more than {percent:.0} % from f/{from} on; whether it is diffraction cannot be told, as the \
             pixel pitch is not known."
        ),
    })
}

/// Where the pitch is not what the file states but follows from focal lengths, which cameras round.
fn inferred_pitch(members: &[&FrameRow]) -> Option<String> {
    let inferred = members.iter().filter(|f| f.pitch_from == Some(PitchFrom::Focal35));
    let pitch = super::stats::median_of(inferred.filter_map(|f| f.pixel_pitch_um()))?;
    Some(format!(
        "The pixel pitch of {} um is inferred from the focal length and its 35 mm equivalent: diffraction and lines per mm \
         are as good as those.",
        short(pitch)
    ))
}

fn answer(
    name: &str,
    single: bool,
    best: Option<&Best>,
    stopping: Option<String>,
    limit: Option<&Limit>,
    other: Option<String>,
) -> String {
    let Some(best) = best else {
        return format!("{name}: no frame tells its sharpness: all are shaken, out of focus, or hold too few edges.");
    };
    let other = other.map_or(String::new(), |o| format!(" {o} By sharpness alone:"));
    let mut text = match (best.setting.number(), best.low, best.high) {
        (Some(n), Some(low), Some(high)) => {
            format!("{name}:{other} sharpest at f/{} (f/{} to f/{}).", stop(n), stop(low), stop(high))
        }
        (Some(_), ..) if single => format!("{name}:{other}"),
        (Some(n), ..) => format!("{name}:{other} sharpest of the tested f-stops f/{}.", stop(n)),
        _ => format!("{name}:{other}"),
    };
    for more in [stopping, limit.map(|l| l.reason.clone())].into_iter().flatten() {
        text.push(' ');
        text.push_str(&more);
    }
    text
}

/// An f-number with one decimal below 10.
pub(super) fn stop(n: f64) -> String {
    if n < 9.95 { short((n * 10.0).round() / 10.0) } else { format!("{n:.0}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::fixture::{measures, shot};
    use crate::judge::{Subject, judge};
    use crate::{BlurKind, Brief, RowMaker};

    #[test]
    fn one_f_stop_that_tells_is_not_the_sharpest_of_several() {
        let brief = Brief::default();
        let mut maker = RowMaker::default();
        let frames: Vec<FrameRow> = [(5.6, BlurKind::None), (16.0, BlurKind::Motion)]
            .into_iter()
            .map(|(f_number, kind)| {
                let (mut shot, mut measures) = (shot(), measures());
                (shot.f_number, shot.lens) = (Some(f_number), Some("Tele 300 mm".into()));
                (measures.blur.kind, measures.blur.motion_px) = (kind, (kind == BlurKind::Motion).then_some(6.0));
                let subject = Subject { shot: Some(&shot), measures: Some(&measures), damaged: None };
                maker.row(&f_number.to_string(), &shot, &measures, &judge(&subject, &brief, None), false)
            })
            .collect();
        let name = brief.title();
        let (groups, _) = groups(&frames, &Held { brief: &brief, name: &name, keeper_share: 0.9 });
        assert_eq!(groups[0].steps.len(), 2);
        assert!(groups[0].answer.contains("f/5.6"), "{}", groups[0].answer);
        assert!(!groups[0].answer.contains("sharpest of the tested"), "{}", groups[0].answer);
    }

    #[test]
    fn nothing_is_said_beyond_the_tested_f_stops() {
        let step = |f_number| Step {
            setting: Setting::Number(f_number),
            frames: 3,
            left_out: 0,
            readings: Readings(Vec::new()),
            meets_brief: None,
        };
        let steps = [2.8, 4.0, 5.6, 8.0].map(step);
        assert_eq!(within_tested(&steps, [4.4, 5.0, 5.8]), Some([4.4, 5.0, 5.8]));
        // A lens of f/2.8 has no f/2.4.
        assert_eq!(within_tested(&steps, [2.4, 3.0, 3.4]), Some([2.8, 3.0, 3.4]));
        assert_eq!(within_tested(&steps, [8.2, 9.1, 9.9]), None);
    }
}
