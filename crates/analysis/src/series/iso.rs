//! Noise and range along ISO, per camera body.
//!
//! Answers: the highest tested ISO whose noise the brief accepts; what each stop of ISO costs in range; from which ISO
//! on a higher setting no longer lowers the read noise in electrons, so that raising it only gives away highlights.
//! Method: docs/measures.md, "Series".

use super::{
    Best, Estimate, Group, Key, Limit, Readings, Series, Step, estimate, group_by, outcome_of, scenes, steps_by,
};
use super::{plural, short};
use crate::{FindingCode, FrameView, Outcome};

/// ISO values within this ratio are one setting.
const SAME_ISO: f64 = 1.06;

/// A higher ISO pays while it lowers the read noise in electrons by more than this share.
const WORTH: f64 = 0.1;

/// What ISO has a hand in.
const CODES: [FindingCode; 2] = [FindingCode::Noisy, FindingCode::Banded];

/// The series.
pub(super) fn series(frames: &[FrameView<'_>], brief: &str) -> Series {
    let usable = frames.iter().filter(|f| !f.damaged);
    let groups = group_by(usable, |f| f.shot.iso.map(|_| f.camera()));
    let without = frames.iter().filter(|f| !f.damaged && f.shot.iso.is_none()).count();
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
            group(key, &camera.name(false), &members, brief)
        })
        .collect();
    Series { by: super::By::Iso, brief: brief.to_string(), groups, warnings }
}

/// Read noise of the green plane, electrons.
fn read_noise_e(frame: &FrameView<'_>) -> Option<f64> {
    Some(frame.measures.noise.read_noise_dn? * frame.measures.noise.gain_e_per_dn?)
}

/// Electrons at saturation, green planes.
fn full_well_e(frame: &FrameView<'_>) -> Option<f64> {
    let channels = &frame.measures.channels;
    let green = channels.iter().find(|c| c.name.starts_with('G')).or(channels.first())?;
    green.full_well_e
}

fn group(key: Key, camera: &str, members: &[&FrameView<'_>], brief: &str) -> Group {
    let mut steps: Vec<Step> = steps_by(members, SAME_ISO, |f| f.shot.iso)
        .into_iter()
        .map(|(iso, all)| {
            let good: Vec<&FrameView<'_>> =
                all.iter().copied().filter(|f| f.measures.noise.snr_midtone_db.is_some()).collect();
            let of = |value: &dyn Fn(&FrameView<'_>) -> Option<f64>| estimate(good.iter().map(|f| value(f)));
            Step {
                setting: super::Setting::Number(iso),
                frames: good.len(),
                left_out: all.len() - good.len(),
                readings: Readings(vec![
                    ("print_snr_midtone", of(&|f| f.judgement.print.snr_midtone)),
                    ("snr_midtone_db", of(&|f| f.measures.noise.snr_midtone_db)),
                    ("usable_ev", of(&|f| f.judgement.usable_ev)),
                    ("engineering_ev", of(&|f| f.measures.engineering_ev)),
                    ("read_noise_dn", of(&|f| f.measures.noise.read_noise_dn)),
                    ("read_noise_e", of(&read_noise_e)),
                    ("gain_e_per_dn", of(&|f| f.measures.noise.gain_e_per_dn)),
                    ("full_well_e", of(&full_well_e)),
                    ("row_banding_dn", of(&|f| f.measures.noise.row_banding_dn)),
                    ("column_banding_dn", of(&|f| f.measures.noise.column_banding_dn)),
                ]),
                meets_brief: if good.is_empty() { None } else { outcome_of(&good, &CODES) },
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
    let limit = limit(&steps, brief, &mut warnings);
    let (pays_to, pays_text) = stops_paying(&steps);
    let answer = match (&limit, steps.is_empty()) {
        (Some(limit), _) => format!("{camera}: {} {pays_text}", limit.reason),
        (None, _) => format!("{camera}: no ISO limit could be told: no frame's noise could be measured."),
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

/// Adds the range lost per stop of ISO since the step before, with the interval that both steps' intervals allow.
fn range_lost(steps: &mut [Step]) {
    let mut before: Option<(f64, Estimate)> = None;
    for step in steps.iter_mut() {
        let Some(iso) = step.setting.number() else { continue };
        let usable = step.readings.get("usable_ev");
        let range = if usable.value.is_some() { usable } else { step.readings.get("engineering_ev") };
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

/// The ISO with the widest range.
fn best(steps: &[Step]) -> Option<Best> {
    let range = |s: &Step| s.readings.value("usable_ev").or(s.readings.value("engineering_ev"));
    let best = steps.iter().filter(|s| range(s).is_some()).max_by(|a, b| {
        // Equal ranges: the lower ISO.
        range(a).unwrap_or(f64::MIN).total_cmp(&range(b).unwrap_or(f64::MIN)).then(std::cmp::Ordering::Greater)
    })?;
    Some(Best {
        setting: best.setting.clone(),
        low: None,
        high: None,
        reason: format!("Widest range of those tested: {:.1} EV.", range(best)?),
    })
}

/// The highest tested ISO up to which every tested ISO meets the brief.
fn limit(steps: &[Step], brief: &str, warnings: &mut Vec<String>) -> Option<Limit> {
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
    let snr = |index: usize| {
        let step = tested[index].2;
        match step.readings.value("print_snr_midtone") {
            Some(snr) => format!(" (mid-tone SNR on the paper {snr:.0})"),
            None => String::new(),
        }
    };
    let mut reason = match clean {
        0 => format!("No tested ISO meets {brief} in noise; the lowest tested is {first:.0}{}.", snr(0)),
        1 if tested.len() == 1 => {
            format!("ISO {first:.0}, the only one tested, meets {brief}{}; the limit lies above.", snr(0))
        }
        n if n == tested.len() => {
            format!("Every tested ISO meets {brief}, up to {last:.0}{}; the limit lies above.", snr(n - 1))
        }
        n => format!("Highest ISO for {brief}: {:.0}{}; {:.0} no longer meets it.", iso(n - 1), snr(n - 1), iso(n)),
    };
    if passable > clean {
        let from = if clean + 1 == passable { "At" } else { "Up to" };
        reason.push_str(&format!(" {from} {:.0} it is borderline: make a proof print.", iso(passable - 1)));
    }
    Some(Limit {
        setting: clean.checked_sub(1).map(iso).into(),
        borderline_to: passable.checked_sub(1).map(iso).into(),
        between: (clean > 0 && clean < tested.len()).then(|| [iso(clean - 1), iso(clean)]),
        reason,
    })
}

/// The lowest tested ISO from which no higher one lowers the read noise in electrons by more than [`WORTH`].
fn stops_paying(steps: &[Step]) -> (Option<f64>, String) {
    let noise: Vec<(f64, f64)> =
        steps.iter().filter_map(|s| Some((s.setting.number()?, s.readings.value("read_noise_e")?))).collect();
    if noise.len() < 3 {
        return (None, String::new());
    }
    // The highest ISO is not one from which anything could be seen to stop.
    let settles = (0..noise.len() - 1).find(|&i| noise[i + 1..].iter().all(|n| n.1 >= noise[i].1 * (1.0 - WORTH)));
    match settles {
        Some(0) => (
            Some(noise[0].0),
            format!(
                "Read noise stays near {} electrons from {:.0} on: a higher ISO gains nothing in the shadows of the raw and gives away highlights.",
                short(noise[0].1),
                noise[0].0
            ),
        ),
        Some(i) => (
            Some(noise[i].0),
            format!(
                "Read noise falls from {} to {} electrons up to ISO {:.0}; above it a higher ISO only gives away highlights.",
                short(noise[0].1),
                short(noise[i].1),
                noise[i].0
            ),
        ),
        None => (None, format!("Read noise still falls at ISO {:.0}, the highest tested.", noise[noise.len() - 1].0)),
    }
}
