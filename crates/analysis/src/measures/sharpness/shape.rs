//! One point spread for all directions: the widths of its parts that explain the stacked edges best.

use std::f64::consts::PI;

use super::psf::{PointSpread, airy, disc, sinc};
use super::stack::Stack;

/// Most terms of the sine sum of a stack.
const MOST_TERMS: usize = 96;
/// Greatest weighted sum of squares that one stack can mostly bring: x becomes x / (1 + x / cap).
const STACK_CAP: f64 = 200.0;
/// Least Gaussian part that is tried, px.
const LEAST_SIGMA_PX: f64 = 0.2;

/// Which parts are fitted beside the Gaussian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Parts {
    pub(crate) motion: bool,
    /// The direction of the motion as well as its length.
    pub(crate) turn: bool,
    pub(crate) disc: bool,
}

/// A fitted point spread.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ShapeFit {
    /// The widths.
    pub(crate) psf: PointSpread,
    /// Weighted sum of the squared residuals.
    pub(crate) chi2: f64,
    /// Points less parameters.
    pub(crate) freedom: f64,
}

impl ShapeFit {
    /// That which leaves less.
    pub(crate) fn or(self, other: Self) -> Self {
        if other.chi2 < self.chi2 { other } else { self }
    }
}

/// A stack made ready: its sines at the frequencies of the sum.
struct Ready {
    frequencies: Vec<f64>,
    /// Fixed part of each term: 2 / (pi k), pixel and extra widening.
    fixed: Vec<f64>,
    /// Sines by point, then term.
    sines: Vec<f32>,
    /// Level and square root of the weight of each point.
    points: Vec<(f64, f64)>,
    double_angle: (f64, f64),
}

/// Stacks ready to be fitted.
pub(crate) struct ShapeFitter {
    ready: Vec<Ready>,
    count: usize,
    /// Greatest weighted sum of squares that one stack can bring.
    cap: f64,
}

impl ShapeFitter {
    pub(crate) fn new(stacks: &[Stack]) -> Self {
        let ready: Vec<Ready> = stacks.iter().map(prepare).collect();
        let count = ready.iter().map(|r| r.points.len()).sum();
        Self { ready, count, cap: STACK_CAP }
    }

    /// With no stack given up, however little it fits.
    pub(crate) fn uncapped(self) -> Self {
        Self { cap: f64::INFINITY, ..self }
    }

    /// Weighted residuals of every point. Both sides of each stack are fitted freely.
    fn residuals(&self, psf: &PointSpread, out: &mut Vec<f64>) {
        out.clear();
        let mut terms: Vec<f32> = Vec::with_capacity(MOST_TERMS);
        let mut model: Vec<f64> = Vec::new();
        let double = 2.0 * psf.motion_deg.to_radians();
        for ready in &self.ready {
            let along2 = 0.5 * (1.0 + ready.double_angle.0 * double.cos() + ready.double_angle.1 * double.sin());
            let length = psf.motion_px * along2.max(0.0).sqrt();
            terms.clear();
            for (&f, &fixed) in ready.frequencies.iter().zip(&ready.fixed) {
                let mut value = fixed * (-2.0 * (PI * psf.sigma_px * f).powi(2)).exp();
                if length > 0.0 {
                    value *= sinc(length * f);
                }
                if psf.defocus_px > 0.0 {
                    value *= disc(psf.defocus_px, f);
                }
                if psf.airy_px > 0.0 {
                    value *= airy(psf.airy_px * f);
                }
                terms.push(value as f32);
            }
            model.clear();
            for sines in ready.sines.chunks_exact(terms.len()) {
                model.push(f64::from(sines.iter().zip(&terms).map(|(a, b)| a * b).sum::<f32>()));
            }
            // Weighted straight line of the levels on the model.
            let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (&x, &(y, root)) in model.iter().zip(&ready.points) {
                let k = root * root;
                w += k;
                wx += k * x;
                wy += k * y;
                wxx += k * x * x;
                wxy += k * x * y;
            }
            let slope = (w * wxy - wx * wy) / (w * wxx - wx * wx).max(1e-30);
            let offset = (wy - slope * wx) / w;
            let first = out.len();
            out.extend(model.iter().zip(&ready.points).map(|(&x, &(y, root))| root * (y - offset - slope * x)));
            // A direction that does not fit at all counts for its cap and no more: what disturbs it is not the blur.
            let sum: f64 = out[first..].iter().map(|r| r * r).sum();
            let share = 1.0 / (1.0 + sum / self.cap).sqrt();
            for residual in &mut out[first..] {
                *residual *= share;
            }
        }
    }

    /// Sum of the squared weighted residuals of each stack.
    pub(crate) fn by_stack(&self, psf: &PointSpread) -> Vec<f64> {
        let mut residuals = Vec::new();
        self.residuals(psf, &mut residuals);
        let mut rest = residuals.as_slice();
        self.ready
            .iter()
            .map(|ready| {
                let (here, after) = rest.split_at(ready.points.len());
                rest = after;
                here.iter().map(|r| r * r).sum()
            })
            .collect()
    }

    /// Fits the Gaussian and the parts asked for, from `start`.
    pub(crate) fn fit(&self, parts: Parts, start: PointSpread) -> ShapeFit {
        let mut free = vec![0_usize];
        if parts.motion {
            free.push(1);
        }
        if parts.turn {
            free.push(2);
        }
        if parts.disc {
            free.push(3);
        }
        let mut now = PointSpread {
            motion_px: if parts.motion { start.motion_px.max(0.5) } else { 0.0 },
            defocus_px: if parts.disc { start.defocus_px.max(0.5) } else { 0.0 },
            sigma_px: start.sigma_px.max(LEAST_SIGMA_PX),
            ..start
        };
        let sum = |r: &[f64]| r.iter().map(|x| x * x).sum::<f64>();
        let (mut residuals, mut trial) = (Vec::new(), Vec::new());
        self.residuals(&now, &mut residuals);
        let mut cost = sum(&residuals);
        let mut damping = 1e-2;
        let steps = [0.01, 0.01, 0.01, 0.01];
        for _ in 0..25 {
            let columns: Vec<Vec<f64>> = free
                .iter()
                .map(|&k| {
                    self.residuals(&moved(&now, k, steps[k]), &mut trial);
                    trial.iter().zip(&residuals).map(|(a, b)| (a - b) / steps[k]).collect()
                })
                .collect();
            let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
            let ata: Vec<Vec<f64>> = columns.iter().map(|a| columns.iter().map(|b| dot(a, b)).collect()).collect();
            let atb: Vec<f64> = columns.iter().map(|a| -dot(a, &residuals)).collect();
            let mut better = false;
            for _ in 0..5 {
                let Some(delta) = solve(&ata, &atb, damping) else { break };
                let mut next = now;
                for (&k, &d) in free.iter().zip(&delta) {
                    next = moved(&next, k, d.clamp(-0.6, 0.6));
                }
                self.residuals(&next, &mut trial);
                let cost_next = sum(&trial);
                if cost_next < cost {
                    better = cost - cost_next > 1e-4 * cost;
                    now = next;
                    cost = cost_next;
                    std::mem::swap(&mut residuals, &mut trial);
                    damping = f64::max(damping * 0.2, 1e-6);
                    break;
                }
                damping *= 6.0;
            }
            if !better {
                break;
            }
        }
        now.motion_deg = now.motion_deg.rem_euclid(180.0);
        let parameters = free.len() + 2 * self.ready.len();
        ShapeFit { psf: now, chi2: cost, freedom: self.count.saturating_sub(parameters).max(1) as f64 }
    }
}

/// `psf` with parameter `k` changed: logarithms of the widths, radians of the direction.
fn moved(psf: &PointSpread, k: usize, by: f64) -> PointSpread {
    let mut next = *psf;
    match k {
        0 => next.sigma_px = (next.sigma_px * by.exp()).clamp(LEAST_SIGMA_PX, 60.0),
        1 => next.motion_px = (next.motion_px * by.exp()).clamp(0.3, 150.0),
        2 => next.motion_deg += by.to_degrees(),
        _ => next.defocus_px = (next.defocus_px * by.exp()).clamp(0.3, 80.0),
    }
    next
}

fn prepare(stack: &Stack) -> Ready {
    let half_period = 10.0 * stack.sigma_px;
    let narrow = (LEAST_SIGMA_PX.powi(2) + stack.extra_px2).sqrt();
    let (s, c) = stack.deg.to_radians().sin_cos();
    let (mut frequencies, mut fixed) = (Vec::new(), Vec::new());
    for k in 0..MOST_TERMS {
        let order = (2 * k + 1) as f64;
        let f = order / (2.0 * half_period);
        let gauss = (-2.0 * PI * PI * stack.extra_px2 * f * f).exp();
        frequencies.push(f);
        fixed.push(2.0 / PI / order * gauss * sinc(f * c) * sinc(f * s));
        if (-2.0 * (PI * narrow * f).powi(2)).exp() < 1e-4 {
            break;
        }
    }
    let sines =
        stack.points.iter().flat_map(|p| frequencies.iter().map(|f| (2.0 * PI * f * p.t_px).sin() as f32)).collect();
    let points = stack.points.iter().map(|p| (p.level, p.weight.sqrt())).collect();
    Ready { frequencies, fixed, sines, points, double_angle: stack.double_angle }
}

/// Solves (A + damping diag A) x = b by elimination with pivoting. `None` where it is singular.
fn solve(a: &[Vec<f64>], b: &[f64], damping: f64) -> Option<Vec<f64>> {
    let n = b.len();
    let mut m: Vec<Vec<f64>> = a
        .iter()
        .zip(b)
        .enumerate()
        .map(|(i, (row, &b))| {
            let mut row = row.clone();
            row[i] += damping * row[i] + 1e-9;
            row.push(b);
            row
        })
        .collect();
    for i in 0..n {
        let pivot = (i..n).max_by(|&p, &q| m[p][i].abs().total_cmp(&m[q][i].abs()))?;
        m.swap(i, pivot);
        if m[i][i].abs() < 1e-14 {
            return None;
        }
        for k in i + 1..n {
            let factor = m[k][i] / m[i][i];
            for j in i..=n {
                let above = m[i][j];
                m[k][j] -= factor * above;
            }
        }
    }
    for i in (0..n).rev() {
        let rest: f64 = (i + 1..n).map(|j| m[i][j] * m[j][n]).sum();
        m[i][n] = (m[i][n] - rest) / m[i][i];
    }
    let x: Vec<f64> = m.iter().map(|row| row[n]).collect();
    x.iter().all(|v| v.is_finite()).then_some(x)
}
