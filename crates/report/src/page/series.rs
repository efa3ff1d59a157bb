//! Test series: what the gear does along ISO, aperture, shutter or from camera to camera, held against the brief.

use rawassay_analysis::series::{By, Group, Series, Setting, Step};
use rawassay_analysis::{Camera, explain};

use super::html::{close_page, esc, open_page, put};
use super::overview::{purpose_words, sign, ways};
use super::shoot::{Purpose, Shoot, telling};
use super::units;
use crate::plot;
use crate::plot::series::{Curve, Limits};

/// The page.
#[must_use]
pub fn page(shoot: &Shoot) -> String {
    let mut out = String::with_capacity(64 * 1024);
    open_page(&mut out, "", &format!("Series \u{2013} {}", shoot.title), "series");
    put!(
        out,
        "<header class=\"masthead\"><p class=\"source\">{}</p><h1>What the gear does along a series</h1>\n<p class=\"lede\">Held against \
         the brief <q>{}</q>: {}. Bars are 90 % intervals of the median; where frames of different scenes are mixed, differences may be \
         the scene's.</p>\n",
        esc(&shoot.title),
        esc(&shoot.purpose.name),
        esc(&purpose_words(&shoot.purpose))
    );
    ways(&mut out, "", shoot, "series.html");
    out.push_str("</header>\n<main id=\"main\">\n");
    for series in &shoot.series {
        let telling: Vec<&Group> = series.groups.iter().filter(|g| telling(series.by, g)).collect();
        if telling.is_empty() {
            continue;
        }
        put!(out, "<section><h2>{}</h2>\n", heading(series.by));
        for group in telling {
            one_group(&mut out, series, group, &shoot.purpose);
        }
        for warning in &series.warnings {
            put!(out, "<p class=\"aside\">{}</p>\n", esc(warning));
        }
        out.push_str("</section>\n");
    }
    out.push_str("</main>\n");
    close_page(&mut out, "");
    out
}

fn heading(by: By) -> &'static str {
    match by {
        By::Iso => "By ISO",
        By::Aperture => "By aperture",
        By::Shutter => "By exposure time",
        By::Camera => "From camera to camera",
    }
}

/// A setting as a photographer writes it.
fn setting(by: By, setting: &Setting) -> String {
    match (by, setting) {
        (_, Setting::Text(text)) => text.clone(),
        (_, Setting::Unknown) => "unknown".into(),
        (By::Iso, Setting::Number(v)) => format!("ISO {}", units::number(*v)),
        (By::Aperture, Setting::Number(v)) => units::aperture(*v),
        (By::Shutter, Setting::Number(v)) => units::shutter(*v),
        (By::Camera, Setting::Number(v)) => units::number(*v),
    }
}

/// A step's setting; over all focal lengths a step of exposure times is time x focal length.
fn step_name(by: By, group: &Group, step: &Step) -> String {
    setting_name(by, group, &step.setting)
}

fn setting_name(by: By, group: &Group, of: &Setting) -> String {
    let over_all = group.key.0.iter().any(|k| k.1 == Setting::Text("all".into()));
    match (by, of) {
        (By::Shutter, Setting::Number(v)) if over_all && *v < 1.0 => format!("1/({} f)", units::number(1.0 / v)),
        (By::Shutter, Setting::Number(v)) if over_all => format!("{}/f", units::number(*v)),
        (_, other) => setting(by, other),
    }
}

/// Why the limit and the best stand where they do. A time needs its name beside it: the other reasons name their settings.
fn reasons(by: By, group: &Group) -> Vec<String> {
    let limit = group.limit_for_brief.iter().map(|l| l.reason.clone());
    let best = group.best.iter().map(|b| match by {
        By::Shutter => format!("{}: {}", setting_name(by, group, &b.setting), b.reason),
        _ => b.reason.clone(),
    });
    limit.chain(best).collect()
}

fn one_group(out: &mut String, series: &Series, group: &Group, purpose: &Purpose) {
    let by = series.by;
    let text_of = |wanted: &str| {
        group.key.0.iter().find(|(name, _)| *name == wanted).and_then(|(_, value)| match value {
            Setting::Text(text) => Some(text.as_str()),
            _ => None,
        })
    };
    let twice = Camera { make: text_of("make"), model: text_of("model"), serial: None }.model_names_maker();
    let key: Vec<String> = group
        .key
        .0
        .iter()
        .filter(|(name, _)| *name != "brief" && *name != "serial" && !(twice && *name == "make"))
        .filter_map(|(name, value)| match value {
            Setting::Text(text) if *name == "focal35_mm" && text == "all" => Some("all focal lengths".into()),
            Setting::Text(text) => Some(text.clone()),
            Setting::Number(v) => Some(format!("{} {}", units::number(*v), name.rsplit('_').next().unwrap_or(""))),
            Setting::Unknown => None,
        })
        .collect();
    put!(out, "<article><h3>{}</h3>\n<p class=\"answer\">{}</p>\n", esc(&key.join(", ")), esc(&group.answer));
    if by == By::Shutter && group.key.0.iter().any(|k| k.1 == Setting::Text("all".into())) {
        out.push_str(
            "<p class=\"aside\">f is the focal length at 36 \u{d7} 24 mm: a time of 1/(2 f) is 1/100 s at 50 mm, 1/400 s at 200 \
             mm.</p>\n",
        );
    }
    out.push_str("<div class=\"grid\">\n");
    let steps: Vec<String> = group.steps.iter().map(|s| step_name(by, group, s)).collect();
    for drawing in drawings(by, purpose) {
        let curves: Vec<Curve> = drawing
            .readings
            .iter()
            .map(|&(reading, name)| Curve {
                name: purpose.says(name),
                values: group.steps.iter().map(|s| s.readings.get(reading)).collect(),
            })
            .filter(|c| c.values.iter().filter(|v| v.value.is_some()).count() >= LEAST_POINTS)
            .collect();
        if curves.is_empty() {
            continue;
        }
        let title = purpose.says(drawing.title);
        let svg = plot::series::svg(&title, heading(by), drawing.label, &steps, &curves, drawing.limits);
        put!(
            out,
            "<figure><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Plot\">{svg}</div><figcaption>{}",
            title
        );
        if curves.len() > 1 {
            for (curve, role) in curves.iter().zip(["main", "fit", "spread"]) {
                put!(
                    out,
                    " <span class=\"key\"><svg class=\"dash\" viewBox=\"0 0 30 8\" aria-hidden=\"true\"><path class=\"s-{role}\" d=\"M0 \
                     4H30\"/></svg>{}</span>",
                    curve.name
                );
            }
        }
        out.push_str("</figcaption></figure>\n");
    }
    out.push_str("</div>\n");
    table(out, by, group, purpose);
    // The answer says it already where it holds the same sentence.
    for reason in reasons(by, group).into_iter().filter(|r| !group.answer.contains(r.as_str())) {
        put!(out, "<p>{}</p>\n", esc(&reason));
    }
    if !group.warnings.is_empty() {
        out.push_str("<ul>");
        for warning in &group.warnings {
            put!(out, "<li>{}</li>", esc(warning));
        }
        out.push_str("</ul>");
    }
    out.push_str("</article>\n");
}

/// A curve of fewer points is no curve; the table has them.
const LEAST_POINTS: usize = 3;

/// One plot of a kind of series.
struct Drawing {
    title: &'static str,
    label: &'static str,
    readings: &'static [(&'static str, &'static str)],
    limits: Option<Limits>,
}

fn drawings(by: By, purpose: &Purpose) -> Vec<Drawing> {
    let rise = Some(Limits { borderline: purpose.rise_limit_mm.0, fails: purpose.rise_limit_mm.1 });
    let snr = Some(Limits { borderline: purpose.snr_limit.0, fails: purpose.snr_limit.1 });
    let noise = Drawing {
        title: "Mid-tone signal-to-noise on the paper",
        label: "signal-to-noise, ratio",
        readings: &[("print_snr_midtone", "signal-to-noise")],
        limits: snr,
    };
    match by {
        By::Iso => vec![
            noise,
            Drawing {
                title: "Range",
                label: "range, EV",
                readings: &[("usable_ev", "usable on the paper"), ("engineering_ev", "saturation over read noise")],
                limits: None,
            },
        ],
        By::Aperture => vec![
            Drawing {
                title: "Edge rise on the paper",
                label: "edge rise, mm",
                readings: &[("print_rise_mm", "whole frame"), ("print_corners_rise_mm", "corners")],
                limits: rise,
            },
            Drawing {
                title: "Edge rise on the sensor",
                label: "edge rise, pixels",
                readings: &[
                    ("centre_rise_px", "centre"),
                    ("corners_rise_px", "corners"),
                    ("expected_diffraction_px", "diffraction alone"),
                ],
                limits: None,
            },
        ],
        By::Shutter => vec![
            Drawing {
                title: "Frames free of shake",
                label: "share of frames, %",
                readings: &[("free_of_shake_pct", "counted"), ("fitted_free_pct", "fitted")],
                limits: None,
            },
            Drawing {
                title: "Motion on the paper",
                label: "motion, mm",
                readings: &[("print_motion_mm", "motion")],
                limits: None,
            },
        ],
        By::Camera => vec![
            Drawing {
                title: "Edge rise on the paper",
                label: "edge rise, mm",
                readings: &[("print_rise_mm", "edge rise")],
                limits: rise,
            },
            noise,
        ],
    }
}

/// Readings that are not shown on the page: they follow from others, or are for makers of sensors.
const UNSHOWN: [&str; 11] = [
    "row_banding_dn",
    "snr_midtone_db",
    "read_noise_dn",
    "gain_e_per_dn",
    "full_well_e",
    "column_banding_dn",
    "mtf50_lp_mm",
    "print_corners_rise_mm",
    "print_rise_mm",
    "motion_px",
    "ppi",
];

/// The readings of every step, where any step has them.
fn table(out: &mut String, by: By, group: &Group, purpose: &Purpose) {
    let Some(first) = group.steps.first() else { return };
    let known = |name: &&'static str| group.steps.iter().any(|s| s.readings.value(name).is_some());
    let names = first.readings.0.iter().map(|r| r.0).filter(|name| !UNSHOWN.contains(name));
    let names: Vec<&'static str> = names.filter(known).collect();
    out.push_str("<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Values of the steps\"><table class=\"steps\"><thead><tr><th scope=\"col\">step</th><th scope=\"col\">frames</th>");
    for name in &names {
        put!(out, "<th scope=\"col\">{}</th>", esc(&purpose.says(&explain::heading(&format!("series.{name}")))));
    }
    put!(out, "<th scope=\"col\">{}</th></tr></thead><tbody>", by.tests());
    for step in &group.steps {
        put!(out, "<tr><th scope=\"row\">{}</th><td>{}</td>", esc(&step_name(by, group, step)), frames(step));
        for name in &names {
            let estimate = step.readings.get(name);
            out.push_str("<td>");
            // A median and its interval have as many places.
            let shown = |v: f64| format!("{v:.0$}", units::places(estimate.value.unwrap_or(v)));
            match (estimate.value, estimate.low.map(shown), estimate.high.map(shown)) {
                (Some(value), Some(low), Some(high)) if low != high => {
                    put!(out, "{} <small>{low} to {high}</small>", shown(value));
                }
                (Some(value), ..) => put!(out, "{}", units::number(value)),
                _ => out.push_str("<span class=\"unknown\">\u{2013}</span>"),
            }
            out.push_str("</td>");
        }
        match step.meets_brief {
            Some(outcome) => {
                let said = by.said(Some(outcome));
                put!(out, "<td><span class=\"o {outcome}\">{}{said}</span></td></tr>", sign(outcome));
            }
            None => out.push_str("<td><span class=\"unknown\">unknown</span></td></tr>"),
        }
    }
    out.push_str("</tbody></table></div>\n");
}

fn frames(step: &Step) -> String {
    if step.left_out > 0 {
        format!("{} <small>({} left out)</small>", step.frames, step.left_out)
    } else {
        step.frames.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rawassay_analysis::series::{Best, Key};

    #[test]
    fn the_longest_time_free_of_shake_is_named() {
        let reason = "every frame was free of shake up to this time.".to_owned();
        let group = |key: &str, seconds| Group {
            key: Key(vec![("focal35_mm", Setting::Text(key.into()))]),
            frames: 2,
            steps: Vec::new(),
            best: Some(Best { setting: Setting::Number(seconds), low: None, high: None, reason: reason.clone() }),
            limit_for_brief: None,
            readings: Default::default(),
            answer: String::new(),
            warnings: Vec::new(),
        };
        assert_eq!(reasons(By::Shutter, &group("50", 1.0 / 15.0)), [format!("1/15 s: {reason}")]);
        // Over all focal lengths it is a time times the focal length.
        assert_eq!(reasons(By::Shutter, &group("all", 4.0)), [format!("4/f: {reason}")]);
        assert_eq!(reasons(By::Iso, &group("all", 4.0)), std::slice::from_ref(&reason));
    }
}
