//! A blurred step fitted to the samples of a window.

use super::erf::Normal;
use super::fit::Reject;
use super::glance::Glance;
use super::normal_equations::{Matrix, PARAMETERS, Step, normal_equations};
use super::window::Window;
use crate::linear::{Factors, solve};

/// A fitted step with what the fit says of itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fitted {
    /// The step.
    pub(super) step: Step,
    /// Root mean square of the residuals, DN.
    pub(super) rms: f32,
    /// Normal matrix there.
    ata: Matrix,
}

impl Fitted {
    /// Standard errors for residuals of unit variance: of ln sigma, and of the shift in source pixels per DN. `None` where
    /// the samples leave a parameter open.
    pub(super) fn unit_errors(&self) -> Option<(f32, f32)> {
        let factors = Factors::of(self.ata)?;
        let inverse_diagonal = |k: usize| {
            let mut unit = [0.0; PARAMETERS];
            unit[k] = 1.0;
            factors.solve(unit)[k].max(0.0).sqrt() as f32
        };
        Some((inverse_diagonal(5), inverse_diagonal(2)))
    }
}

/// Standard deviation of a step's spread across the edge, in a window that reaches so far along it both ways. The fit measures
/// along one line; where the edge is turned against that line its spread is wider there, and a bent edge is turned at both ends.
pub(super) fn across(step: &Step, half_length: f32) -> f32 {
    let turn_at_end = 2.0 * step.bend * half_length;
    step.sigma / (1.0 + step.slope * step.slope + turn_at_end * turn_at_end / 3.0).sqrt()
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
    let first = Glance::of(&window, sigma).start;
    let step = fit_step(&window, &Normal::new(), first, 25, |_, _| Ok(())).ok()?.step;
    (step.step > 0.0).then_some(LineFit {
        shift: f64::from(step.shift),
        slope: f64::from(step.slope),
        bend: f64::from(step.bend),
        sigma: f64::from(step.sigma),
    })
}

/// What the next rounds may gain, in units of what the linear model promises of the next one.
const AHEAD: f64 = 3.0;

/// Where a fit is going.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outlook {
    /// Root mean square of the residuals that it may come to at the least, DN.
    pub(super) rms: f32,
    /// Change of ln sigma that the linear model asks for.
    pub(super) widening: f64,
}

/// Least squares by Levenberg and Marquardt. `keep` sees each step that is an improvement and where the fit is going, and may
/// end it.
///
/// # Errors
/// [`Reject::NoFit`] where it does not settle; what `keep` says.
pub(super) fn fit_step(
    window: &Window,
    normal: &Normal,
    start: Step,
    rounds: usize,
    keep: impl Fn(&Step, &Outlook) -> Result<(), Reject>,
) -> Result<Fitted, Reject> {
    let n = window.v.len();
    if n < 4 * PARAMETERS {
        return Err(Reject::NoFit);
    }
    let mut now = start;
    let mut damping = 1e-3_f64;
    let (mut ata, mut atb, mut cost) = normal_equations(window.columns(), normal, &now);
    let freedom = (n - PARAMETERS) as f64;
    let mut improved = false;
    for _ in 0..rounds {
        let mut damped = ata;
        for (k, row) in damped.iter_mut().enumerate() {
            row[k] += damping * row[k].max(1e-12);
        }
        let delta = solve(damped, atb).ok_or(Reject::NoFit)?;
        if std::mem::take(&mut improved) {
            let promised: f64 = delta.iter().zip(&atb).map(|(d, b)| d * b).sum();
            let rms = ((cost - AHEAD * promised).max(0.0) / freedom).sqrt() as f32;
            keep(&now, &Outlook { rms, widening: delta[5] })?;
        }
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
            improved = true;
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
    Ok(Fitted { step: now, rms: (cost / freedom).sqrt() as f32, ata })
}

#[cfg(test)]
mod tests {
    use super::super::erf::erf;
    use super::*;

    #[test]
    fn the_rim_of_a_disc_is_as_wide_as_a_straight_edge() {
        // A rim of radius R whose spread is that of a Gaussian, by the distance from it.
        for (radius, half_length, sigma) in [(14.0_f32, 6.0_f32, 0.8_f32), (25.0, 9.0, 1.2), (40.0, 12.0, 2.0)] {
            let mut window = Window::default();
            for i in -40..=40 {
                for j in -24..=24 {
                    let (t, u) = (i as f32 * 0.05 * (2.6 * sigma + 1.3) / 2.0, j as f32 / 24.0 * half_length);
                    let from_rim = (radius + t).hypot(u) - radius;
                    let z = f64::from(from_rim / sigma) / std::f64::consts::SQRT_2;
                    window.t.push(t);
                    window.u.push(u);
                    window.v.push((300.0 + 250.0 * erf(z)) as f32);
                }
            }
            let start = Glance::of(&window, 1.0).start;
            let found = fit_step(&window, &Normal::new(), start, 25, |_, _| Ok(())).map(|f| f.step);
            let wide = found.map_or(9.0, |step| across(&step, half_length)) / sigma;
            assert!((wide - 1.0).abs() < 0.012, "radius {radius}: {wide} of the true width");
        }
    }
}
