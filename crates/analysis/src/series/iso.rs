//! Noise and range along ISO, per camera body.
//!
//! Answers: the highest tested ISO whose noise the brief accepts; what each stop of ISO costs in range; from which ISO
//! on a higher setting no longer lowers the read noise in electrons, so that raising it only gives away highlights.
//! Method: docs/measures.md, "Series".

use super::iso_cautions as cautions;
use super::iso_settles::stops_paying;
use super::{
    Best, Estimate, Group, Held, Key, Limit, Readings, Step, estimate, group_by, otherwise, outcome_of, scenes,
    steps_by,
};
use super::{BodyNames, plural, short};
use crate::{FindingCode, FrameRow, Outcome};

/// ISO values within this ratio are one setting.
pub(super) const SAME_ISO: f64 = 1.06;

/// What ISO has a hand in.
const CODES: [FindingCode; 2] = [FindingCode::Noisy, FindingCode::Banded];

/// Steps further apart than this leave the limit open, stops.
const CLOSE_STOPS: f64 = 1.2;
/// Share of the steps at which the range must be known before one is called the widest.
const MOST_STEPS: f64 = 0.75;

/// The groups, and cautions.
pub(super) fn groups(frames: &[FrameRow], held: &Held<'_>) -> (Vec<Group>, Vec<String>) {
    let names = BodyNames::of(frames);
    let usable = frames.iter().filter(|f| !f.damaged);
    let groups = group_by(usable, |f| f.iso().map(|_| f.camera()));
    let without = frames.iter().filter(|f| !f.damaged && f.iso().is_none()).count();
    let mut warnings = Vec::new();
    if without > 0 {
        warnings.push(format!("{without} {} without an ISO left out.", plural(without, "frame")));
    }
    let groups = groups
        .into_iter()
        .map(|(camera, members)| {
            let key = Key(vec![
                ("make", camera.make.into()),
                ("model", camera.model.into()),
                ("serial", camera.serial.into()),
            ]);
            group(key, &names.name(&camera), &members, held)
        })
        .collect();
    (groups, warnings)
}

/// Read noise of the green plane, electrons.
fn read_noise_e(frame: &FrameRow) -> Option<f64> {
    Some(frame.read_noise_dn()? * frame.gain_e_per_dn()?)
}

/// Row banding over the read noise: DN of one ISO are not those of another.
fn row_banding_share(frame: &FrameRow) -> Option<f64> {
    crate::known(frame.row_banding_dn()? / frame.read_noise_dn().filter(|r| *r > 0.0)?)
}

fn group(key: Key, camera: &str, members: &[&FrameRow], held: &Held<'_>) -> Group {
    let mut steps: Vec<Step> = steps_by(members, SAME_ISO, |f| f.iso())
        .into_iter()
        .map(|(iso, all)| {
            let good: Vec<&FrameRow> = all.iter().copied().filter(|f| f.snr_midtone_db().is_some()).collect();
            let of = |value: &dyn Fn(&FrameRow) -> Option<f64>| estimate(good.iter().map(|f| value(f)));
            Step {
                setting: super::Setting::Number(iso),
                frames: good.len(),
                left_out: all.len() - good.len(),
                readings: Readings(vec![
                    ("print_snr_midtone", of(&|f| f.print_snr_midtone()).not_negative()),
                    ("snr_midtone_db", of(&|f| f.snr_midtone_db())),
                    ("usable_ev", of(&|f| f.usable_ev()).not_negative()),
                    ("engineering_ev", of(&|f| f.engineering_ev()).not_negative()),
                    ("read_noise_dn", of(&|f| f.read_noise_dn()).not_negative()),
                    ("read_noise_e", of(&read_noise_e).not_negative()),
                    ("gain_e_per_dn", of(&|f| f.gain_e_per_dn()).not_negative()),
                    ("full_well_e", of(&|f| f.full_well_e()).not_negative()),
                    ("row_banding_over_read_noise", of(&row_banding_share)),
                    ("row_banding_dn", of(&|f| f.row_banding_dn())),
                    ("column_banding_dn", of(&|f| f.column_banding_dn())),
                ]),
                meets_brief: if good.is_empty() { None } else { outcome_of(&good, &CODES, held.brief) },
            }
        })
        .collect();
    range_lost(&mut steps);
    let mut warnings = scenes::cautions(
        members,
        "noise is read from smooth parts of the picture, so its medians still compare; the banding may not.",
    );
    let left_out: usize = steps.iter().map(|s| s.left_out).sum();
    if left_out > 0 {
        warnings.push(format!(
            "{left_out} {} left out: their noise could not be measured (too few smooth areas).",
            plural(left_out, "frame")
        ));
    }
    if steps.iter().any(|s| s.frames == 1) {
        warnings.push("Steps with a single frame have no interval: take three or more at each ISO.".to_string());
    }
    warnings.extend(cautions::several_bodies(members));
    warnings.extend(cautions::range_unknown(&steps));
    warnings.extend(cautions::size_is_no_help(members));
    let limit = limit(&steps, held, &mut warnings);
    let (pays_to, pays_text) = stops_paying(&steps);
    let other = otherwise::sentence(members, &CODES, held);
    let answer = match (&limit, other) {
        (Some(limit), Some(other)) => {
            format!("{camera}: {other} By noise alone: {} {pays_text}", begin_small(&limit.reason))
        }
        (Some(limit), None) => format!("{camera}: {} {pays_text}", limit.reason),
        (None, other) => {
            let other = other.map_or(String::new(), |o| format!(" {o}"));
            format!("{camera}: no ISO limit could be told: no frame's noise could be measured.{other}")
        }
    };
    Group {
        key,
        frames: members.len(),
        best: best(&steps),
        limit_for_brief: limit,
        readings: Readings(vec![("read_noise_settles_at_iso", Estimate::plain(pays_to, steps.len()))]),
        steps,
        answer: answer.trim_end().to_string(),
        warnings,
    }
}

/// A sentence that goes on after a colon.
fn begin_small(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// Adds the range lost per stop of ISO since the step before, with the interval that both steps' intervals allow.
fn range_lost(steps: &mut [Step]) {
    // One kind of range throughout: that on the paper where it is known at all.
    let on_paper = steps.iter().any(|s| s.readings.value("usable_ev").is_some());
    let reading = if on_paper { "usable_ev" } else { "engineering_ev" };
    let mut before: Option<(f64, Estimate)> = None;
    for step in steps.iter_mut() {
        let Some(iso) = step.setting.number() else { continue };
        let range = step.readings.get(reading);
        let lost = before.and_then(|(iso_before, range_before)| {
            let stops = (iso / iso_before).log2();
            let value = (range_before.value? - range.value?) / stops;
            // Ends of the intervals combine as independent errors.
            let end = |a: Option<f64>, b: Option<f64>| -> Option<f64> {
                Some(((a? - range_before.value?).powi(2) + (b? - range.value?).powi(2)).sqrt() / stops)
            };
            Some(Estimate {
                value: Some(value),
                low: end(range_before.low, range.high).map(|e| value - e),
                high: end(range_before.high, range.low).map(|e| value + e),
                frames: range_before.frames.min(range.frames),
            })
        });
        step.readings.0.push(("range_lost_ev_per_stop", lost.unwrap_or_default()));
        if range.value.is_some() {
            before = Some((iso, range));
        }
    }
}

/// The ISO with the widest range; `None` unless the range is known at most steps and at the lowest one.
fn best(steps: &[Step]) -> Option<Best> {
    let reading = ranged(steps)?;
    let range = |s: &Step| s.readings.value(reading);
    let best = steps.iter().filter(|s| range(s).is_some()).max_by(|a, b| {
        // Equal ranges: the lower ISO.
        range(a).unwrap_or(f64::MIN).total_cmp(&range(b).unwrap_or(f64::MIN)).then(std::cmp::Ordering::Greater)
    })?;
    Some(Best {
        setting: best.setting.clone(),
        low: None,
        high: None,
        reason: format!("Widest range of those tested: {:.1} EV at ISO {:.0}.", range(best)?, best.setting.number()?),
    })
}

/// The range that is known at most steps and at the lowest one: on the paper, else of the sensor.
fn ranged(steps: &[Step]) -> Option<&'static str> {
    ["usable_ev", "engineering_ev"].into_iter().find(|name| {
        let known = steps.iter().filter(|s| s.readings.value(name).is_some()).count();
        let lowest = steps.first().is_some_and(|s| s.readings.value(name).is_some());
        lowest && known as f64 >= MOST_STEPS * steps.len() as f64
    })
}

/// The ISO at which the curve of signal-to-noise through two tested steps crosses the brief's limit, to two digits.
fn crossing(low: &Step, high: &Step, wanted: f64) -> Option<f64> {
    let point =
        |s: &Step| Some((s.setting.number()?.ln(), s.readings.value("print_snr_midtone").filter(|v| *v > 0.0)?.ln()));
    let ((x0, y0), (x1, y1)) = (point(low)?, point(high)?);
    let share = (y0 - wanted.ln()) / (y0 - y1);
    if !(y0 > y1 && (0.0..=1.0).contains(&share)) {
        return None;
    }
    let iso = (x0 + share * (x1 - x0)).exp();
    let unit = 10f64.powf(iso.log10().floor() - 1.0);
    Some((iso / unit).floor() * unit)
}

/// The highest tested ISO up to which every tested ISO meets the brief.
fn limit(steps: &[Step], held: &Held<'_>, warnings: &mut Vec<String>) -> Option<Limit> {
    let brief = held.name;
    let tested: Vec<(f64, Outcome, &Step)> =
        steps.iter().filter_map(|s| Some((s.setting.number()?, s.meets_brief?, s))).collect();
    let (first, last) = (tested.first()?.0, tested.last()?.0);
    let up_to = |worst: Outcome| tested.iter().take_while(|t| t.1 <= worst).count();
    let (clean, passable) = (up_to(Outcome::Prints), up_to(Outcome::Borderline));
    if tested[clean..].iter().any(|t| t.1 == Outcome::Prints) {
        warnings.push(
            "A higher ISO meets the brief although a lower one does not: light, exposure time or scene differed; \
             the limit is the lower one."
                .to_string(),
        );
    }
    let iso = |index: usize| tested[index].0;
    let unit = held.brief.output.picture_unit();
    let snr = |index: usize| match tested[index].2.readings.value("print_snr_midtone") {
        Some(snr) => unit.says(&format!(" (mid-tone SNR on the paper {})", short(snr))),
        None => String::new(),
    };
    let mut by_curve = None;
    let mut reason = match clean {
        0 => format!("No tested ISO is low enough in noise for {brief}; the lowest tested is {first:.0}{}.", snr(0)),
        1 if tested.len() == 1 => {
            format!(
                "Noise is low enough for {brief} at ISO {first:.0}, the only one tested{}; the limit lies above.",
                snr(0)
            )
        }
        n if n == tested.len() => {
            format!(
                "Noise is low enough for {brief} at every tested ISO, up to {last:.0}{}; the limit lies above.",
                snr(n - 1)
            )
        }
        n => {
            by_curve = crossing(tested[n - 1].2, tested[n].2, held.brief.limits.snr_midtone.borderline);
            if (iso(n) / iso(n - 1)).log2() <= CLOSE_STOPS {
                format!(
                    "Noise is low enough for {brief} up to ISO {:.0}{}; at {:.0} it is not.",
                    iso(n - 1),
                    snr(n - 1),
                    iso(n)
                )
            } else {
                let near = by_curve.map_or(String::new(), |iso| format!(", by the curve near ISO {iso:.0}"));
                format!(
                    "Noise is low enough for {brief} at ISO {:.0}{} and no longer at {:.0}: the limit lies between them{near}; \
                     test the ISO between.",
                    iso(n - 1),
                    snr(n - 1),
                    iso(n)
                )
            }
        }
    };
    if passable > clean {
        let from = if clean + 1 == passable { "At" } else { "Up to" };
        let words = format!(" {from} {:.0} it is borderline: make a proof print.", iso(passable - 1));
        reason.push_str(&unit.says(&words));
    }
    Some(Limit {
        setting: clean.checked_sub(1).map(iso).into(),
        borderline_to: passable.checked_sub(1).map(iso).into(),
        between: (clean > 0 && clean < tested.len()).then(|| [iso(clean - 1), iso(clean)]),
        by_curve,
        reason,
    })
}
