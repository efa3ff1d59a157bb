//! Variance against mean: the flat patches of the frame and the fitted Poisson-Gaussian line.

use super::{Axis, Chart, Role};
use crate::page::units::number;

/// The fitted model of the green (or only) plane.
#[derive(Debug, Clone, Copy)]
pub struct Model {
    /// Electrons per DN.
    pub gain_e_per_dn: f64,
    /// Read noise, DN.
    pub read_noise_dn: f64,
    /// Saturation above black, DN.
    pub full_dn: f64,
    /// Coefficient of determination, where known.
    pub r2: Option<f64>,
    /// Square term that the patches show beside the line; zero where there is none.
    pub square: f64,
}

/// The plot. `patches` are (mean above black, variance), DN and DN²; empty where the record keeps none.
#[must_use]
pub fn svg(model: Model, patches: &[(f64, f64)]) -> String {
    // Without patches the line is drawn up to the mid-tone, where it is used.
    let right = patches.iter().map(|p| p.0).fold(0.0, f64::max).max(0.127 * model.full_dn) * 1.05;
    let variance = |mean: f64| mean / model.gain_e_per_dn + model.read_noise_dn.powi(2);
    let top = patches.iter().map(|p| p.1).fold(variance(right), f64::max) * 1.05;
    let mut description = format!(
        "Line: variance = mean / {} + {}², gain {} electrons per DN, read noise {} DN",
        number(model.gain_e_per_dn),
        number(model.read_noise_dn),
        number(model.gain_e_per_dn),
        number(model.read_noise_dn)
    );
    if let Some(r2) = model.r2 {
        description.push_str(&format!(", R² {}", number(r2)));
    }
    description.push_str(&format!("; {} flat patches shown", patches.len()));
    let mut chart = Chart::new(
        "Noise: variance against mean",
        description,
        Axis::new("mean above black, DN", 0.0..right, 6),
        Axis::new("variance, DN\u{b2}", 0.0..top, 5),
    );
    chart.dots(Role::Green, patches.to_vec());
    chart.line(Role::Fit, vec![(0.0, variance(0.0)), (right, variance(right))]);
    if model.square > 0.0 {
        let curve = (0..=40).map(|i| right * f64::from(i) / 40.0).map(|m| (m, variance(m) + model.square * m * m));
        chart.line(Role::Floor, curve.collect());
    }
    chart.svg()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::plot::reading::{Reading, near};

    #[test]
    fn line_and_patches_lie_at_their_values() {
        let model = Model { gain_e_per_dn: 2.5, read_noise_dn: 20.0, full_dn: 16_000.0, r2: Some(0.98), square: 0.0 };
        let patches = [(500.0, 610.0), (1500.0, 980.0)];
        let svg = svg(model, &patches);
        let plot = Reading::of(&svg);
        let line = plot.curve("s-fit");
        near(line[0].1, 400.0, 5.0);
        // Slope is 1 / gain.
        near((line[1].1 - line[0].1) / (line[1].0 - line[0].0), 0.4, 0.005);
        for (dot, patch) in plot.dots("s-green dots").iter().zip(patches) {
            near(dot.0, patch.0, 5.0);
            near(dot.1, patch.1, 5.0);
        }
        assert_eq!(plot.dots("s-green dots").len(), 2);
    }
}
