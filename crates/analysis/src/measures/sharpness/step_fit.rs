//! A blurred step fitted to the samples of a window.

use super::erf::Normal;
use super::normal_equations::{PARAMETERS, Step, normal_equations};
use super::window::Window;
use crate::linear::{Factors, solve};

/// A fitted step with what the fit says of itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fitted {
    /// The step.
    pub(super) step: Step,
    /// Root mean square of the residuals, DN.
    pub(super) rms: f32,
    /// Standard error of ln sigma for residuals of unit variance.
    pub(super) unit_error_ln_sigma: f32,
    /// Standard error of the shift for residuals of unit variance, source pixels per DN.
    pub(super) unit_error_shift: f32,
}

/// A straight blurred step fitted to many samples.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LineFit {
    /// Distance of the edge from the line, px.
    pub(crate) shift: f64,
    /// Turn of the edge against the line, px per px.
    pub(crate) slope: f64,
    /// Bend, px per px^2.
    pub(crate) bend: f64,
    /// Standard deviation of the spread, px.
    pub(crate) sigma: f64,
}

/// Fits a blurred step to the samples (across, along, level) of a long edge. `None` where it does not settle.
pub(crate) fn fit_line(samples: &[(f64, f64, f64)], sigma: f32) -> Option<LineFit> {
    let mut window = Window::default();
    for &(t, u, v) in samples {
        window.t.push(t as f32);
        window.u.push(u as f32);
        window.v.push(v as f32);
    }
    let first = start(&window, sigma);
    let step = fit_step(&window, &Normal::new(), first, 25)?.step;
    (step.step > 0.0).then_some(LineFit {
        shift: f64::from(step.shift),
        slope: f64::from(step.slope),
        bend: f64::from(step.bend),
        sigma: f64::from(step.sigma),
    })
}

/// Least squares by Levenberg and Marquardt. `None` where it does not settle.
pub(super) fn fit_step(window: &Window, normal: &Normal, start: Step, rounds: usize) -> Option<Fitted> {
    let n = window.v.len();
    if n < 4 * PARAMETERS {
        return None;
    }
    let mut now = start;
    let mut damping = 1e-3_f64;
    let (mut ata, mut atb, mut cost) = normal_equations(window.columns(), normal, &now);
    for _ in 0..rounds {
        let mut damped = ata;
        for (k, row) in damped.iter_mut().enumerate() {
            row[k] += damping * row[k].max(1e-12);
        }
        let delta = solve(damped, atb)?;
        let next = Step {
            low: now.low + delta[0] as f32,
            step: now.step + delta[1] as f32,
            shift: now.shift + delta[2] as f32,
            slope: now.slope + delta[3] as f32,
            bend: now.bend + delta[4] as f32,
            sigma: now.sigma * (delta[5].clamp(-0.7, 0.7) as f32).exp(),
        };
        let sane = next.sigma > 0.02 && next.sigma < 60.0 && next.shift.abs() < 8.0 && next.slope.abs() < 1.0;
        let (ata_next, atb_next, cost_next) =
            if sane { normal_equations(window.columns(), normal, &next) } else { (ata, atb, f64::INFINITY) };
        if cost_next <= cost {
            let settled = cost - cost_next < 1e-4 * cost && delta[5].abs() < 3e-3 && delta[2].abs() < 3e-3;
            now = next;
            (ata, atb, cost) = (ata_next, atb_next, cost_next);
            damping = (damping * 0.2).max(1e-9);
            if settled {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    let factors = Factors::of(ata)?;
    let inverse_diagonal = |k: usize| {
        let mut unit = [0.0; PARAMETERS];
        unit[k] = 1.0;
        factors.solve(unit)[k]
    };
    let rms = (cost / (n - PARAMETERS) as f64).sqrt() as f32;
    Some(Fitted {
        step: now,
        rms,
        unit_error_ln_sigma: inverse_diagonal(5).max(0.0).sqrt() as f32,
        unit_error_shift: inverse_diagonal(2).max(0.0).sqrt() as f32,
    })
}

/// First values: both sides from the outer thirds of the window.
pub(super) fn start(window: &Window, sigma: f32) -> Step {
    let edge = window.t.iter().fold(0.0_f32, |m, t| m.max(t.abs())) * 0.5;
    let (mut low, mut high, mut n_low, mut n_high) = (0.0, 0.0, 0.0_f32, 0.0_f32);
    for (&t, &v) in window.t.iter().zip(&window.v) {
        if t < -edge {
            low += v;
            n_low += 1.0;
        } else if t > edge {
            high += v;
            n_high += 1.0;
        }
    }
    let low = low / n_low.max(1.0);
    let high = high / n_high.max(1.0);
    Step { low, step: high - low, shift: 0.0, slope: 0.0, bend: 0.0, sigma }
}
