//! One edge measured: the window, the fit of a blurred step, and the tests that it must pass.

use super::candidates::Candidate;
use super::edge::{Edge, PROFILE_REACH, profile};
use super::erf::Normal;
use super::glance::Glance;
use super::normal_equations::Step;
use super::samples::SampleNoise;
use super::step_fit::{Fitted, Outlook, across, fit_step};
use super::window::{Place, Source, Window};

/// Why a candidate is not an edge to measure by. Counted for the notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Reject {
    /// Too near the border of the frame.
    Border,
    /// A clipped sample in the window.
    Clipped,
    /// The fit did not settle or ran away.
    NoFit,
    /// Wider (or narrower) than this level measures; another level does.
    OtherLevel,
    /// The step does not stand out of the noise.
    LowContrast,
    /// Its sides are not plain, or a second edge lies in the window.
    Crowded,
    /// Bent more than its blur allows.
    Bent,
}

/// Widest edge that one level measures, source pixels (standard deviation).
const WIDEST: f32 = 2.7;
/// Narrowest edge that a halved level measures, source pixels: below this the level beneath it does.
const NARROWEST_HALVED: f32 = 1.15;
/// The same for the first fit, whose window is not yet that of the edge.
const FIRST_WIDEST: f32 = 1.25 * WIDEST;
const FIRST_NARROWEST_HALVED: f32 = 0.8 * NARROWEST_HALVED;
/// Change of ln sigma from which a first fit beyond these is on its way back.
const WAY_BACK: f64 = 0.1;
/// Root mean square deviation from the model that is still taken for an edge, share of the step.
const MISFIT: f32 = 0.045;
/// Mean deviation in a quarter of the window, share of the step.
const QUARTER_MISFIT: f32 = 0.04;
/// How far beyond the fitted window the sides are looked at, standard deviations of the spread.
const BEYOND: f32 = 1.2;
/// Change of a side's level there that is borne, share of the step.
const BEYOND_MISFIT: f32 = 0.12;
/// How far from an edge its sides are looked at for a line, standard deviations of the spread: behind a disc of radius r a
/// thin line is 1.7 r wide at half its height (half an ellipse), and each flank reads like an edge of a third of r.
const LINE_REACH: [f32; 2] = [5.5, 7.5];
/// How far the level of a side goes back to the other's there, share of the step.
const LINE_FALL: f32 = 0.33;
/// Spread of an edge, sensor pixels, from which one whose sides change further out is not taken at all.
const SURELY_A_LINE_PX: f32 = 2.0;
/// How much further, standard deviations of the spread, and the change of level that is borne there.
const FURTHER: f32 = 2.0;
const FURTHER_MISFIT: f32 = 0.22;
/// Least step over the noise of one value.
const LEAST_CONTRAST: f32 = 3.5;
/// Greatest standard error of ln sigma.
const LARGEST_ERROR: f32 = 0.25;

/// Misfit of the first fit, in units of what the last may leave, that no narrower window mends.
const HOPELESS: f32 = 3.0;

/// The same of the last fit: taking out samples far off the model may still halve it.
const HOPELESS_AT_LAST: f32 = 2.0;

/// What lies beyond an edge.
enum Sides {
    /// Both sides stay at their level.
    Plain,
    /// One side goes back towards the other's level: perhaps a line.
    FallAgain,
    /// Something else lies close by.
    Crowded,
}

/// What noise and the model's own coarseness may leave of a step.
#[derive(Debug, Clone, Copy)]
struct Allowance {
    /// Noise of one sample.
    noise: SampleNoise,
    /// Samples averaged in each value.
    averaged: f32,
}

impl Allowance {
    /// Noise of a value, mean of both sides, DN.
    fn noise_dn(&self, step: &Step) -> f32 {
        let sum = self.noise.variance(step.low) + self.noise.variance(step.low + step.step);
        (sum / 2.0 / self.averaged).sqrt()
    }

    /// Root mean square deviation that is still taken for an edge, DN.
    fn misfit_dn(&self, step: &Step) -> f32 {
        (1.2 * self.noise_dn(step)).hypot(MISFIT * step.step)
    }
}

/// Ends the first fit where it runs to what would be refused at its end: from far beyond the limits there, or from beyond
/// them and not on the way back.
fn on_the_way(step: &Step, outlook: &Outlook, halved: bool) -> Result<(), Reject> {
    if step.step < 0.0 || step.shift.abs() > 4.5 {
        return Err(Reject::NoFit);
    }
    if step.sigma > 3.0 * WIDEST || (halved && step.sigma < 0.5 * NARROWEST_HALVED) {
        return Err(Reject::OtherLevel);
    }
    let too_wide = step.sigma > FIRST_WIDEST && outlook.widening > -WAY_BACK;
    let too_narrow = halved && step.sigma < FIRST_NARROWEST_HALVED && outlook.widening < WAY_BACK;
    if too_wide || too_narrow { Err(Reject::OtherLevel) } else { Ok(()) }
}

/// Fits edges; keeps its buffers between them.
pub(crate) struct Fitter {
    window: Window,
    normal: Normal,
    /// Noise of one sample without texture.
    near: SampleNoise,
}

impl Fitter {
    /// `near` is the noise of one sample without texture.
    pub(crate) fn new(near: SampleNoise) -> Self {
        Self { window: Window::default(), normal: Normal::new(), near }
    }

    /// Measures the edge at a candidate's place (`x`, `y`: source coordinates).
    pub(crate) fn measure(
        &mut self,
        source: &Source<'_, '_>,
        noise: SampleNoise,
        candidate: &Candidate,
        (x, y): (f32, f32),
    ) -> Result<Edge, Reject> {
        let mut at = Place { x, y, nx: candidate.normal.0, ny: candidate.normal.1 };
        let halved = matches!(source, Source::Level(_));
        let (half_width, half_length) = if halved { (6.5, 5.0) } else { (5.0, 5.5) };
        let window = &mut self.window;
        window.gather(source, at, half_width, half_length);
        if window.outside {
            return Err(Reject::Border);
        }
        if window.clipped {
            return Err(Reject::Clipped);
        }
        let allowance = Allowance { noise, averaged: source.averaged() };
        let seen = Glance::of(window, if halved { 1.6 } else { 0.8 });
        if let Some(why) = seen.refusal(halved, allowance.misfit_dn(&seen.start), allowance.noise_dn(&seen.start)) {
            return Err(why);
        }
        let first = fit_step(window, &self.normal, seen.start, 12, |step, outlook| {
            let hopeless = outlook.rms > HOPELESS * allowance.misfit_dn(step);
            if hopeless { Err(Reject::Crowded) } else { on_the_way(step, outlook, halved) }
        })?;
        if first.step.shift.abs() > 3.0 || first.step.step <= 0.0 {
            return Err(Reject::NoFit);
        }
        if first.step.sigma > FIRST_WIDEST || (halved && first.step.sigma < FIRST_NARROWEST_HALVED) {
            return Err(Reject::OtherLevel);
        }
        if first.rms > HOPELESS * allowance.misfit_dn(&first.step) {
            return Err(Reject::Crowded);
        }
        at = moved(at, &first.step);
        // The window: as narrow as the blur allows, for the scene is crowded; long where noise asks for it.
        let half_width = (2.6 * first.step.sigma + 1.3).clamp(3.0, PROFILE_REACH - 0.5);
        let contrast = first.step.step / first.rms.max(1e-6);
        let half_length = (120.0 / (contrast * source.density())).clamp(6.0, 12.0);
        window.gather(source, at, half_width, half_length);
        if window.outside {
            return Err(Reject::Border);
        }
        if window.clipped {
            return Err(Reject::Clipped);
        }
        let start = Step { shift: 0.0, slope: 0.0, ..first.step };
        let fitted = fit_step(window, &self.normal, start, 12, |step, outlook| {
            let hopeless = outlook.rms > HOPELESS_AT_LAST * allowance.misfit_dn(step);
            if hopeless { Err(Reject::Crowded) } else { Ok(()) }
        })?;
        let fitted = drop_outliers(window, &self.normal, fitted)?;
        let edge = self.judge(source, allowance, at, fitted, half_width, half_length)?;
        let sides = self.beyond(source, at, &fitted, half_width, half_length.min(7.0));
        match sides {
            Sides::Plain => Ok(edge),
            Sides::FallAgain => Ok(Edge { line: true, ..edge }),
            Sides::Crowded => Err(Reject::Crowded),
        }
    }

    /// Looks at both sides beyond the window that was fitted: the flank of a line, or an edge with another near by, would
    /// be fitted too narrow.
    fn beyond(
        &mut self,
        source: &Source<'_, '_>,
        at: Place,
        fitted: &Fitted,
        half_width: f32,
        half_length: f32,
    ) -> Sides {
        let step = fitted.step;
        let far = half_width + (BEYOND * step.sigma).max(1.5);
        let step_px = if let Source::Level(level) = source { level.step_px } else { 1.0 };
        let sure = step.sigma * step_px > SURELY_A_LINE_PX;
        let further = if sure { far + FURTHER * step.sigma } else { far.max(LINE_REACH[1] * step.sigma) };
        let outer = if sure { far } else { far.max(LINE_REACH[0] * step.sigma) };
        self.window.gather(source, at, further, half_length);
        if self.window.outside {
            self.window.gather(source, at, far, half_length);
        }
        if self.window.outside {
            return Sides::Plain;
        }
        // By band (beyond, further out), then side.
        let mut sums = [(0.0_f32, 0.0_f32); 4];
        for ((&t, &u), &v) in self.window.t.iter().zip(&self.window.u).zip(&self.window.v) {
            let from_edge = t - step.shift - u * (step.slope + step.bend * u);
            let away = from_edge.abs();
            if away > half_width && (away <= far || away > outer) {
                let side = &mut sums[2 * usize::from(away > far) + usize::from(from_edge > 0.0)];
                side.0 += v;
                side.1 += 1.0;
            }
        }
        let levels = [step.low, step.low + step.step];
        let outside = if sure { FURTHER_MISFIT } else { LINE_FALL };
        // How far beyond what is borne a band's level lies, off the side's own and towards the other side's.
        let off = |k: usize| {
            let (sum, n) = sums[k];
            let change = sum / n.max(1.0) - levels[k % 2];
            let toward = if k.is_multiple_of(2) { change } else { -change };
            let borne =
                (if k < 2 { BEYOND_MISFIT } else { outside }) * step.step + 2.5 * fitted.rms / n.max(1.0).sqrt();
            if n < 3.0 { (false, false) } else { (change.abs() >= borne, toward >= borne) }
        };
        if (0..if sure { 4 } else { 2 }).any(|k| off(k).0) {
            Sides::Crowded
        } else if off(2).1 || off(3).1 {
            Sides::FallAgain
        } else {
            Sides::Plain
        }
    }

    fn judge(
        &self,
        source: &Source<'_, '_>,
        allowance: Allowance,
        at: Place,
        fitted: Fitted,
        half_width: f32,
        half_length: f32,
    ) -> Result<Edge, Reject> {
        let window = &self.window;
        let step = fitted.step;
        let halved = matches!(source, Source::Level(_));
        if step.shift.abs() > 1.0 || step.step <= 0.0 || step.slope.abs() > 0.3 {
            return Err(Reject::NoFit);
        }
        if step.sigma > WIDEST || (halved && step.sigma < NARROWEST_HALVED) {
            return Err(Reject::OtherLevel);
        }
        let (error_ln_sigma, error_shift) = fitted.unit_errors().ok_or(Reject::NoFit)?;
        let sigma_noise = fitted.rms.max(0.7 * allowance.noise_dn(&step));
        let contrast_to_noise = step.step / sigma_noise;
        let error_ln = error_ln_sigma * sigma_noise;
        if contrast_to_noise < LEAST_CONTRAST || error_ln > LARGEST_ERROR {
            return Err(Reject::LowContrast);
        }
        if fitted.rms > allowance.misfit_dn(&step) || !plain_quarters(window, &self.normal, &step, sigma_noise) {
            return Err(Reject::Crowded);
        }
        // A bend of radius R widens the profile by itself only at second order; beyond a fifth of R the sides no
        // longer look alike.
        let radius = 0.5 / step.bend.abs().max(1e-9);
        if half_width > 0.35 * radius || step.bend.abs() * half_length * half_length > 2.5 {
            return Err(Reject::Bent);
        }
        let at = moved(at, &step);
        let (step_px, extra_px2, (x_px, y_px)) = match source {
            Source::Mosaic(_) => (1.0, 0.0, (at.x, at.y)),
            Source::Level(level) => {
                (level.step_px, level.aperture(at.nx, at.ny) - 1.0 / 12.0, level.to_frame(at.x, at.y))
            }
        };
        let wide = across(&step, half_length) * step_px;
        let sigma_px = (wide * wide - extra_px2).max(0.04 * wide * wide).sqrt();
        Ok(Edge {
            x_px,
            y_px,
            normal: (at.nx, at.ny),
            sigma_px,
            error_ln: error_ln * (wide / sigma_px).powi(2),
            contrast_to_noise,
            step_px,
            extra_px2,
            error_place_px: error_shift * sigma_noise * step_px,
            weight: 1.0,
            line: false,
            in_texture: fitted.rms > Allowance { noise: self.near, ..allowance }.misfit_dn(&step),
            profile: profile(window, &step),
        })
    }
}

/// The place moved onto the fitted edge and turned along it.
fn moved(at: Place, step: &Step) -> Place {
    let turn = step.slope.atan();
    let (s, c) = turn.sin_cos();
    // t = shift + slope u: the normal turns against the slope.
    let (nx, ny) = (at.nx * c + at.ny * s, at.ny * c - at.nx * s);
    Place { x: at.x + step.shift * at.nx, y: at.y + step.shift * at.ny, nx, ny }
}

/// Takes out samples far off the model (hot and dead pixels) and fits again; too many of them is no edge.
fn drop_outliers(window: &mut Window, normal: &Normal, fitted: Fitted) -> Result<Fitted, Reject> {
    let step = fitted.step;
    let limit = 5.0 * fitted.rms;
    let before = window.v.len();
    let mut kept = 0;
    for i in 0..before {
        let (t, u, v) = (window.t[i], window.u[i], window.v[i]);
        let z = (t - step.shift - u * (step.slope + step.bend * u)) / step.sigma;
        if (v - step.low - step.step * normal.at(z).0).abs() <= limit {
            window.t[kept] = t;
            window.u[kept] = u;
            window.v[kept] = v;
            kept += 1;
        }
    }
    if kept == before {
        return Ok(fitted);
    }
    if before - kept > before / 40 + 1 {
        return Err(Reject::Crowded);
    }
    window.t.truncate(kept);
    window.u.truncate(kept);
    window.v.truncate(kept);
    fit_step(window, normal, step, 8, |_, _| Ok(()))
}

/// True where the residuals' means in the four quarters of the window (dark and bright side, both ends) are small: a
/// second edge, a corner or a shade would pull one of them.
fn plain_quarters(window: &Window, normal: &Normal, step: &Step, noise: f32) -> bool {
    let mut sums = [(0.0_f32, 0.0_f32); 4];
    for ((&t, &u), &v) in window.t.iter().zip(&window.u).zip(&window.v) {
        let from_edge = t - step.shift - u * (step.slope + step.bend * u);
        let residual = v - step.low - step.step * normal.at(from_edge / step.sigma).0;
        let quarter = usize::from(from_edge > 0.0) * 2 + usize::from(u > 0.0);
        sums[quarter].0 += residual;
        sums[quarter].1 += 1.0;
    }
    sums.iter().all(|&(sum, n)| n > 3.0 && (sum / n).abs() < QUARTER_MISFIT * step.step + 2.5 * noise / n.sqrt())
}
