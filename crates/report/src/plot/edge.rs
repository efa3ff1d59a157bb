//! Edge spread and contrast against fineness (MTF).

use rawassay_analysis::measures::sharpness::psf::PointSpread;
use rawassay_analysis::{Blur, Sharpness};

use super::{Axis, Chart, Role};
use crate::page::folder::STYLESHEET;
use crate::page::units::number;

/// Curves of the point spread that a record tells of.
pub struct Curves {
    /// (distance from the edge, pixels; level 0..1).
    pub spread: Vec<(f64, f64)>,
    /// (cycles per pixel; contrast 0..1).
    pub mtf: Vec<(f64, f64)>,
}

/// The point spread with the recorded edge rise: a Gaussian, with the recorded disc where the focus was missed. The
/// sharpest edges lie along a motion, so it has no part here, as in the measure itself.
#[must_use]
pub fn model(sharpness: &Sharpness, blur: &Blur) -> Option<Curves> {
    let rise = sharpness.edge_rise_px.filter(|r| r.is_finite() && *r > 0.0)?;
    let at =
        |sigma_px: f64| PointSpread { sigma_px, defocus_px: blur.defocus_px.unwrap_or(0.0), ..PointSpread::default() };
    let (mut low, mut high) = (0.02, rise.max(1.0));
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if at(middle).rise_px(0.0) < rise { low = middle } else { high = middle }
    }
    let spread = at(f64::midpoint(low, high));
    let edge = spread.edge_spread(0.0);
    let reach = (1.6 * rise).max(2.0);
    Some(Curves {
        spread: (-40..=40).map(|i| reach * f64::from(i) / 40.0).map(|t| (t, edge.at(t))).collect(),
        mtf: (0..=50).map(|i| f64::from(i) / 100.0).map(|f| (f, spread.transfer(f, 0.0).abs())).collect(),
    })
}

/// Edge profile: (distance from the edge, pixels; level, 0 dark side to 1 bright side).
#[must_use]
pub fn spread(profile: &[(f64, f64)], rise_px: Option<f64>) -> String {
    let reach = profile.iter().map(|p| p.0.abs()).fold(1.0, f64::max);
    let description = match rise_px {
        Some(rise) => format!("Profile across the sharpest edges; 10 to 90 per cent in {} pixels", number(rise)),
        None => "Profile across the sharpest edges".to_owned(),
    };
    let mut chart = Chart::new(
        "Edge spread",
        description,
        Axis::new("distance across the edge, pixels", -reach..reach, 7),
        Axis::new("level, dark side 0 to bright side 1", -0.2..1.2, 6),
    );
    chart.level(Role::Faint, 0.1, "10 %").level(Role::Faint, 0.9, "90 %");
    chart.line(Role::Main, profile.to_vec());
    if let Some(rise) = rise_px {
        let half = rise / 2.0;
        chart.band(Role::Usable, -half, half);
    }
    chart.svg()
}

/// Responses of a test target's edges: filter colour, and (cycles per pixel, contrast 0..1). A drawing that stands by itself,
/// its colours in it.
#[must_use]
pub fn target(curves: &[(String, Vec<(f64, f64)>)], description: String) -> String {
    let mut chart = Chart::new(
        "Contrast against fineness (MTF)",
        description,
        Axis::new("spatial frequency, cycles per pixel", 0.0..0.6, 7),
        Axis::new("contrast left", 0.0..1.1, 6),
    );
    chart.upright(Role::Limit, 0.5, "pixel limit");
    for (plane, curve) in curves {
        let role = match plane.as_str() {
            "R" => Role::Red,
            "G" => Role::Green,
            "B" => Role::Blue,
            _ => Role::Main,
        };
        chart.line(role, curve.iter().copied().filter(|p| p.0 <= 0.6).collect());
    }
    by_itself(&chart.svg())
}

/// A drawing of the pages as a file of its own.
fn by_itself(svg: &str) -> String {
    let at = svg.find('>').map_or(0, |at| at + 1);
    format!("{}<!-- rawassay --><style>{}</style>{}\n", &svg[..at], STYLESHEET, &svg[at..])
}

/// MTF: (cycles per pixel, contrast 0..1). The frequencies at 50 and 10 per cent are the record's.
#[must_use]
pub fn mtf(curve: &[(f64, f64)], mtf50_cy_px: Option<f64>, mtf10_cy_px: Option<f64>) -> String {
    let mut said = Vec::new();
    if let Some(f) = mtf50_cy_px {
        said.push(format!("half the contrast is left at {} cycles per pixel", number(f)));
    }
    if let Some(f) = mtf10_cy_px {
        said.push(format!("a tenth at {} cycles per pixel", number(f)));
    }
    let mut chart = Chart::new(
        "Contrast against fineness (MTF)",
        said.join("; "),
        Axis::new("spatial frequency, cycles per pixel", 0.0..0.6, 7),
        Axis::new("contrast left", 0.0..1.1, 6),
    );
    chart.upright(Role::Limit, 0.5, "pixel limit");
    if !curve.is_empty() {
        chart.line(Role::Main, curve.to_vec());
    }
    let mut known: Vec<(f64, f64)> = Vec::new();
    known.extend(mtf50_cy_px.map(|f| (f, 0.5)));
    known.extend(mtf10_cy_px.map(|f| (f, 0.1)));
    // Beyond half a cycle per pixel the raw holds no detail, only its false image.
    known.retain(|dot| dot.0 <= 0.5);
    chart.dots(Role::Fit, known);
    chart.svg()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::plot::reading::{Reading, near};

    #[test]
    fn marked_frequencies_stand_at_half_and_a_tenth() {
        let curve: Vec<(f64, f64)> = (0..=50)
            .map(|i| f64::from(i) / 100.0)
            .map(|f| (f, (-2.0 * std::f64::consts::PI.powi(2) * 0.49 * f * f).exp()))
            .collect();
        // Gaussian, sigma 0.7 px: MTF50 = 0.18739 / 0.7 (closed form).
        let plot = Reading::of(&mtf(&curve, Some(0.267_7), Some(0.488)));
        let dots = plot.dots("s-fit dots");
        near(dots[0].0, 0.267_7, 0.002);
        near(dots[0].1, 0.5, 0.005);
        near(dots[1].1, 0.1, 0.005);
        let line = plot.curve("s-main");
        let nearest =
            line.iter().copied().min_by(|a, b| (a.0 - 0.267_7).abs().total_cmp(&(b.0 - 0.267_7).abs())).unwrap();
        near(nearest.1, 0.5, 0.03);
    }

    #[test]
    fn the_model_has_the_recorded_rise_and_contrast() {
        // references: Gaussian and pixel together, sigma 0.7 px: MTF50 = 0.24711 cycles/px; the rise follows from the
        // variances, 2.563 sqrt(0.49 + 1/12) within a per cent.
        let rise = 2.5631 * (0.49_f64 + 1.0 / 12.0).sqrt();
        let sharpness = Sharpness { edge_rise_px: Some(rise), ..Sharpness::default() };
        let curves = model(&sharpness, &Blur::default()).unwrap();
        let cross = |curve: &[(f64, f64)], level: f64| {
            let w = curve.windows(2).find(|w| (w[0].1 - level) * (w[1].1 - level) <= 0.0).unwrap();
            w[0].0 + (w[1].0 - w[0].0) * (level - w[0].1) / (w[1].1 - w[0].1)
        };
        near(cross(&curves.mtf, 0.5), 0.247_11, 0.004);
        near(cross(&curves.spread, 0.9) - cross(&curves.spread, 0.1), rise, 0.02);
        assert!(model(&Sharpness::default(), &Blur::default()).is_none());
    }

    #[test]
    fn profile_is_drawn_at_its_places() {
        let profile: Vec<(f64, f64)> =
            (-16..=16).map(|i| (f64::from(i) / 4.0, if i < 0 { 0.0 } else { 1.0 })).collect();
        let plot = Reading::of(&spread(&profile, Some(1.5)));
        let line = plot.curve("s-main");
        // The level stretches on both sides are drawn by their ends.
        near(line[0].0, -4.0, 0.02);
        near(line[0].1, 0.0, 0.005);
        let step = line.windows(2).find(|w| w[1].1 > w[0].1 + 0.5).unwrap();
        near(step[0].0, -0.25, 0.02);
        near(step[1].0, 0.0, 0.02);
        let last = line.last().unwrap();
        near(last.0, 4.0, 0.02);
        near(last.1, 1.0, 0.005);
    }
}
