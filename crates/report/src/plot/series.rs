//! A measure along the steps of a test series, with its 90 % intervals and the brief's limit.

use rawassay_analysis::series::Estimate;

use super::{Axis, Chart, Role};
use crate::page::units::number;

/// One curve.
pub struct Curve {
    /// What it is called in the legend.
    pub name: String,
    /// One estimate per step.
    pub values: Vec<Estimate>,
}

/// A limit of the brief.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Beyond it a proof print is due.
    pub borderline: f64,
    /// Beyond it the frame fails.
    pub fails: f64,
}

/// The plot. `steps` names the steps along the x axis.
#[must_use]
pub fn svg(
    title: &str,
    x_label: &str,
    y_label: &str,
    steps: &[String],
    curves: &[Curve],
    limits: Option<Limits>,
) -> String {
    let values = || curves.iter().flat_map(|c| c.values.iter()).flat_map(|e| [e.value, e.high]).flatten();
    let limit_values = limits.iter().flat_map(|l| [l.borderline, l.fails]);
    let most = values().chain(limit_values).filter(|v| v.is_finite()).fold(0.0, f64::max) * 1.12;
    let mut said = Vec::new();
    for curve in curves {
        for (step, estimate) in steps.iter().zip(&curve.values) {
            if let Some(value) = estimate.value {
                let interval = match (estimate.low, estimate.high) {
                    (Some(low), Some(high)) => format!(" ({} to {})", number(low), number(high)),
                    _ => String::new(),
                };
                said.push(format!("{} at {step}: {}{interval}", curve.name, number(value)));
            }
        }
    }
    let mut chart = Chart::new(
        title,
        said.join("; "),
        Axis::named(x_label, steps),
        Axis::new(y_label, 0.0..if most > 0.0 { most } else { 1.0 }, 6),
    );
    if let Some(limits) = limits {
        chart.level(Role::Limit, limits.borderline, "the brief: borderline");
        if (limits.fails - limits.borderline).abs() > 0.07 * most {
            chart.level(Role::Limit, limits.fails, "the brief: fails");
        } else {
            chart.level(Role::Limit, limits.fails, "");
        }
    }
    for (curve, role) in curves.iter().zip([Role::Main, Role::Fit, Role::Spread]) {
        let points: Vec<(f64, f64)> =
            curve.values.iter().enumerate().filter_map(|(i, e)| Some((i as f64, e.value?))).collect();
        for (i, estimate) in curve.values.iter().enumerate() {
            if let (Some(low), Some(high)) = (estimate.low, estimate.high) {
                chart.interval(role, i as f64, low, high);
            }
        }
        if points.len() > 1 {
            chart.line(role, points.clone());
        }
        chart.dots(role, points);
    }
    chart.svg()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::plot::reading::{Reading, near};

    #[test]
    fn medians_intervals_and_limit_stand_at_their_values() {
        let estimate =
            |value: f64| Estimate { value: Some(value), low: Some(value - 5.0), high: Some(value + 5.0), frames: 5 };
        let steps: Vec<String> = ["ISO 100", "ISO 400", "ISO 1600"].map(String::from).to_vec();
        let curve =
            Curve { name: "signal-to-noise".into(), values: vec![estimate(60.0), estimate(35.0), estimate(18.0)] };
        let svg = svg("t", "x", "y", &steps, &[curve], Some(Limits { borderline: 20.0, fails: 10.0 }));
        let plot = Reading::named(&svg, &steps);
        let dots = plot.dots("s-main dots");
        assert_eq!(dots.len(), 3);
        for (i, (dot, expected)) in dots.iter().zip([60.0, 35.0, 18.0]).enumerate() {
            near(dot.0, i as f64, 0.01);
            near(dot.1, expected, 0.3);
        }
        near(plot.y_of_level("s-limit"), 20.0, 0.3);
        // The first interval: from 55 to 65.
        let bar = plot.curves("s-main").into_iter().find(|c| c.len() == 2 && (c[0].0 - c[1].0).abs() < 1e-9).unwrap();
        near(bar[0].1.min(bar[1].1), 55.0, 0.3);
        near(bar[0].1.max(bar[1].1), 65.0, 0.3);
        for step in &steps {
            assert!(svg.contains(step.as_str()));
        }
    }
}
