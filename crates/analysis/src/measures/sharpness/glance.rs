//! A first look at a window, before anything is fitted: most places that look like edges are none, or are measured on
//! another level, and sums over the samples tell so at a hundredth of the cost of a fit.

use super::fit::Reject;
use super::normal_equations::Step;
use super::window::Window;

/// Standard deviation of the outer halves of both sides about their means, in units of the misfit that a fit may leave,
/// above which there is more than one edge. Of 1330 edges that passed every test, 4 were above it.
const CROWDED: f32 = 3.0;
/// Width by the area between the sides and the samples below which a halved picture's edge is too narrow for it, source
/// pixels. The area overstates the width where the edge lies off the centre, and edges that passed began at 1.28.
const NARROW: f32 = 0.8;
/// Step over the expected noise of one sample below which no fit makes an edge of it.
const FAINT: f32 = 2.0;
/// Area between a normal distribution's cumulative curve and its step, standard deviations: 2 / sqrt(2 pi).
const AREA: f32 = 0.797_885;

/// What sums say of a window.
#[derive(Debug, Clone, Copy)]
pub(super) struct Glance {
    /// First values for a fit: both sides from the outer halves of the window.
    pub(super) start: Step,
    /// Standard deviation of these outer halves about their means, DN.
    spread_dn: f32,
    /// Width that the samples between the sides come to, source pixels.
    sigma: f32,
}

impl Glance {
    /// Looks at a window; `sigma` is the width to start a fit with.
    pub(super) fn of(window: &Window, sigma: f32) -> Self {
        let reach = window.t.iter().fold(0.0_f32, |m, t| m.max(t.abs()));
        let outer = 0.5 * reach;
        // Samples, sum, and sum of squares (about one sample) of the dark and the bright outer half.
        let about = window.v.first().copied().unwrap_or(0.0);
        let mut sides = [[0.0_f32; 3]; 2];
        // Samples and sum of the dark and the bright half.
        let mut halves = [[0.0_f32; 2]; 2];
        for (&t, &v) in window.t.iter().zip(&window.v) {
            let v = v - about;
            let half = &mut halves[usize::from(t > 0.0)];
            *half = [half[0] + 1.0, half[1] + v];
            if t.abs() > outer {
                let side = &mut sides[usize::from(t > 0.0)];
                *side = [side[0] + 1.0, side[1] + v, side[2] + v * v];
            }
        }
        let [low, high] = sides.map(|[n, sum, _]| sum / n.max(1.0));
        let left = |[n, sum, squares]: [f32; 3]| (squares - sum * sum / n.max(1.0)).max(0.0);
        let freedom = (sides[0][0] + sides[1][0] - 2.0).max(1.0);
        let area = halves[0][1] - low * halves[0][0] + high * halves[1][0] - halves[1][1];
        let per_px = window.v.len() as f32 / (2.0 * reach.max(0.5));
        Self {
            start: Step { low: low + about, step: high - low, shift: 0.0, slope: 0.0, bend: 0.0, sigma },
            spread_dn: ((left(sides[0]) + left(sides[1])) / freedom).sqrt(),
            sigma: area / (AREA * per_px * (high - low).max(1e-6)),
        }
    }

    /// Why no fit is worth while: `misfit_dn` is what a fit may leave (root mean square), `noise_dn` the expected noise of
    /// a sample.
    pub(super) fn refusal(&self, halved: bool, misfit_dn: f32, noise_dn: f32) -> Option<Reject> {
        if self.start.step < FAINT * noise_dn {
            return Some(Reject::LowContrast);
        }
        if halved && self.sigma < NARROW {
            return Some(Reject::OtherLevel);
        }
        (self.spread_dn > CROWDED * misfit_dn).then_some(Reject::Crowded)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step of 1000 DN with the cumulative normal curve on a grid of whole pixels; `extra` is added by distance.
    fn window(sigma: f64, extra: impl Fn(f64) -> f64) -> Window {
        let mut window = Window::default();
        for y in -5..=5 {
            for x in -26..=26 {
                let t = f64::from(x) / 4.0;
                let z = t / (sigma * std::f64::consts::SQRT_2);
                let v = 500.0 + 500.0 * (1.0 + crate::measures::sharpness::erf::erf(z)) + extra(t);
                window.t.push(t as f32);
                window.u.push(y as f32);
                window.v.push(v as f32);
            }
        }
        window
    }

    #[test]
    fn the_area_gives_the_width_and_the_sides_their_levels() {
        for sigma in [0.4, 0.8, 1.2] {
            let seen = Glance::of(&window(sigma, |_| 0.0), 1.0);
            assert!((f64::from(seen.sigma) / sigma - 1.0).abs() < 0.05, "{} for {sigma}", seen.sigma);
            assert!((seen.start.low - 500.0).abs() < 8.0 && (seen.start.step - 1000.0).abs() < 16.0);
        }
    }

    #[test]
    fn narrow_faint_and_crowded_windows_are_refused_and_plain_ones_are_not() {
        let look = |sigma, halved, noise, extra: &dyn Fn(f64) -> f64| {
            Glance::of(&window(sigma, extra), 1.0).refusal(halved, 45.0, noise)
        };
        let plain = |_: f64| 0.0;
        assert_eq!(look(1.3, true, 10.0, &plain), None);
        assert_eq!(look(2.7, true, 10.0, &plain), None);
        assert_eq!(look(0.5, true, 10.0, &plain), Some(Reject::OtherLevel));
        assert_eq!(look(0.5, false, 10.0, &plain), None);
        assert_eq!(look(1.3, false, 600.0, &plain), Some(Reject::LowContrast));
        let second = |t: f64| if t > 4.0 { -500.0 } else { 0.0 };
        assert_eq!(look(1.3, false, 10.0, &second), Some(Reject::Crowded));
    }
}
