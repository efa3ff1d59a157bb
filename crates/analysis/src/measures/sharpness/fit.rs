//! One edge: its samples along the normal, the fit of a blurred step, and the tests that it must pass.

use super::candidates::Candidate;
use super::erf::Normal;
use super::normal_equations::{Matrix, PARAMETERS, Step, normal_equations};
use super::pyramid::{Level, holds_saturated};
use super::samples::{ColourSamples, SampleNoise};
use super::summary::Reading;

/// Where samples of an edge come from: the mosaic itself, or a halved picture.
pub(crate) enum Source<'a, 'b> {
    /// Samples of one colour at their own places.
    Mosaic(&'b ColourSamples<'a>),
    /// A level of the pyramid.
    Level(&'b Level),
}

impl Source<'_, '_> {
    /// Samples averaged in each value.
    fn averaged(&self) -> f32 {
        match self {
            Self::Mosaic(_) => 1.0,
            Self::Level(level) => level.samples,
        }
    }

    /// Values per source pixel.
    fn density(&self) -> f32 {
        match self {
            Self::Mosaic(samples) => samples.density(),
            Self::Level(_) => 1.0,
        }
    }
}

/// Samples of a window, in coordinates of the edge.
#[derive(Default)]
pub(crate) struct Window {
    /// Distance from the edge along the normal, source pixels.
    t: Vec<f32>,
    /// Place along the edge, source pixels.
    u: Vec<f32>,
    /// Level above black, DN.
    v: Vec<f32>,
    /// A clipped sample lay inside.
    pub(crate) clipped: bool,
    /// The window reaches over the border.
    pub(crate) outside: bool,
}

/// Place and normal of a window, source pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub(crate) x: f32,
    pub(crate) y: f32,
    pub(crate) nx: f32,
    pub(crate) ny: f32,
}

impl Window {
    /// Takes the samples within `half_width` across and `half_length` along the edge.
    pub(crate) fn gather(&mut self, source: &Source<'_, '_>, at: Place, half_width: f32, half_length: f32) {
        self.t.clear();
        self.u.clear();
        self.v.clear();
        self.clipped = false;
        self.outside = false;
        let reach_x = half_width * at.nx.abs() + half_length * at.ny.abs();
        let reach_y = half_width * at.ny.abs() + half_length * at.nx.abs();
        let (left, top, right, bottom) = match source {
            Source::Mosaic(samples) => {
                let a = &samples.area;
                (a.x as f32, a.y as f32, a.right() as f32 - 1.0, a.bottom() as f32 - 1.0)
            }
            Source::Level(level) => (0.0, 0.0, level.width as f32 - 1.0, level.height as f32 - 1.0),
        };
        if at.x - reach_x < left || at.y - reach_y < top || at.x + reach_x > right || at.y + reach_y > bottom {
            self.outside = true;
            return;
        }
        let first_row = (at.y - reach_y).ceil() as usize;
        let last_row = (at.y + reach_y).floor() as usize;
        for y in first_row..=last_row {
            let dy = y as f32 - at.y;
            // Columns where |t| <= half_width and |u| <= half_length on this row.
            let (a, b) = crossing(at.nx, at.ny * dy, half_width);
            let (c, d) = crossing(-at.ny, at.nx * dy, half_length);
            let first = (at.x + a.max(c).max(-reach_x)).ceil();
            let last = (at.x + b.min(d).min(reach_x)).floor();
            if first > last {
                continue;
            }
            let (first, last) = (first as usize, last as usize);
            match source {
                Source::Mosaic(samples) => {
                    let spp = samples.frame.filter.samples_per_pixel;
                    let row = samples.frame.row(y);
                    let cells = &samples.cells[(y % samples.period.1) * samples.period.0..][..samples.period.0];
                    let mut phase = first % samples.period.0;
                    for x in first..=last {
                        if let Some(cell) = cells[phase] {
                            let dn = row[x * spp + samples.sample];
                            self.clipped |= dn >= cell.clip_dn;
                            self.push(at, x as f32 - at.x, dy, (f32::from(dn) - cell.black_dn) * cell.scale);
                        }
                        phase += 1;
                        if phase == cells.len() {
                            phase = 0;
                        }
                    }
                }
                Source::Level(level) => {
                    let row = &level.dn[y * level.width..(y + 1) * level.width];
                    for x in first..=last {
                        self.clipped |= holds_saturated(row[x]);
                        self.push(at, x as f32 - at.x, dy, row[x]);
                    }
                }
            }
        }
    }

    /// Distances across, places along, levels.
    fn columns(&self) -> (&[f32], &[f32], &[f32]) {
        (&self.t, &self.u, &self.v)
    }

    /// Distance across, place along, level of each sample.
    pub(crate) fn samples(&self) -> Vec<(f64, f64, f64)> {
        let one = |i: usize| (f64::from(self.t[i]), f64::from(self.u[i]), f64::from(self.v[i]));
        (0..self.v.len()).map(one).collect()
    }

    #[inline]
    fn push(&mut self, at: Place, dx: f32, dy: f32, v: f32) {
        self.t.push(at.nx * dx + at.ny * dy);
        self.u.push(at.nx * dy - at.ny * dx);
        self.v.push(v);
    }
}

/// Interval of x where |a x + b| <= reach.
fn crossing(a: f32, b: f32, reach: f32) -> (f32, f32) {
    if a.abs() < 1e-6 {
        return if b.abs() <= reach { (f32::NEG_INFINITY, f32::INFINITY) } else { (1.0, 0.0) };
    }
    let p = (-reach - b) / a;
    let q = (reach - b) / a;
    (p.min(q), p.max(q))
}

/// A fitted step with what the fit says of itself.
#[derive(Debug, Clone, Copy)]
struct Fitted {
    step: Step,
    /// Root mean square of the residuals, DN.
    rms: f32,
    /// Standard error of ln sigma for residuals of unit variance.
    unit_error_ln_sigma: f32,
    /// Standard error of the shift for residuals of unit variance, source pixels per DN.
    unit_error_shift: f32,
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
fn fit_step(window: &Window, normal: &Normal, start: Step, rounds: usize) -> Option<Fitted> {
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

/// Solves a symmetric positive definite system. `None` where it is singular.
fn solve(a: Matrix, b: [f64; PARAMETERS]) -> Option<[f64; PARAMETERS]> {
    Some(Factors::of(a)?.solve(b))
}

/// Cholesky factors of a matrix that was scaled to a unit diagonal: the parameters have very different units.
struct Factors {
    scale: [f64; PARAMETERS],
    /// Lower triangle, its diagonal as reciprocals.
    lower: Matrix,
}

impl Factors {
    /// `None` where the matrix is not positive definite.
    fn of(mut a: Matrix) -> Option<Self> {
        let mut scale = [0.0; PARAMETERS];
        for k in 0..PARAMETERS {
            if a[k][k] <= 0.0 || !a[k][k].is_finite() {
                return None;
            }
            scale[k] = 1.0 / a[k][k].sqrt();
        }
        for i in 0..PARAMETERS {
            for j in 0..=i {
                let mut sum = a[i][j] * (scale[i] * scale[j]);
                for k in 0..j {
                    sum -= a[i][k] * a[j][k];
                }
                if i == j {
                    if sum < 1e-10 {
                        return None;
                    }
                    a[i][i] = 1.0 / sum.sqrt();
                } else {
                    a[i][j] = sum * a[j][j];
                }
            }
        }
        Some(Self { scale, lower: a })
    }

    fn solve(&self, mut b: [f64; PARAMETERS]) -> [f64; PARAMETERS] {
        let a = &self.lower;
        for i in 0..PARAMETERS {
            b[i] *= self.scale[i];
            for k in 0..i {
                b[i] -= a[i][k] * b[k];
            }
            b[i] *= a[i][i];
        }
        for i in (0..PARAMETERS).rev() {
            for k in i + 1..PARAMETERS {
                b[i] -= a[k][i] * b[k];
            }
            b[i] *= a[i][i];
        }
        std::array::from_fn(|i| b[i] * self.scale[i])
    }
}

/// Points of a stored profile per source pixel.
pub(crate) const POINTS_PER_PX: f32 = 4.0;
/// Half-width of a stored profile, source pixels.
pub(crate) const PROFILE_REACH: f32 = 9.0;
/// Points of a stored profile.
pub(crate) const PROFILE_POINTS: usize = (2.0 * PROFILE_REACH * POINTS_PER_PX) as usize;

/// The normalised samples of an edge, gathered by distance from it: 0 on the dark side, 1 on the bright.
#[derive(Debug, Clone)]
pub(crate) struct Profile {
    /// Sum of the normalised levels in each quarter pixel from -[`PROFILE_REACH`].
    pub(crate) sum: [f32; PROFILE_POINTS],
    /// Samples in each.
    pub(crate) count: [u8; PROFILE_POINTS],
}

/// An edge that passed every test.
#[derive(Debug, Clone)]
pub(crate) struct Edge {
    /// Column of the full frame.
    pub(crate) x_px: f32,
    /// Row of the full frame.
    pub(crate) y_px: f32,
    /// Unit normal from dark to bright, image axes (y down).
    pub(crate) normal: (f32, f32),
    /// Standard deviation of the edge spread, pixel included, sensor pixels (of the normal distribution that fits
    /// best): the rise is 2.5631 times this.
    pub(crate) sigma_px: f32,
    /// Standard error of ln sigma.
    pub(crate) error_ln: f32,
    /// Step over the standard deviation of the residuals.
    pub(crate) contrast_to_noise: f32,
    /// Width of a source pixel, sensor pixels: 1 on the mosaic, 2, 4, ... on halved pictures.
    pub(crate) step_px: f32,
    /// Widening by the halved picture's pixel beyond the sensor's pixel, px^2; 0 on the mosaic.
    pub(crate) extra_px2: f32,
    /// Standard error of the edge's place, sensor pixels.
    pub(crate) error_place_px: f32,
    /// What it counts for: one over the root of the places measured on the same line of the scene.
    pub(crate) weight: f32,
    /// Samples.
    pub(crate) profile: Profile,
}

impl Edge {
    /// What the summaries take of it.
    pub(crate) fn reading(&self) -> Reading {
        Reading {
            ln_sigma: f64::from(self.sigma_px).ln(),
            error: f64::from(self.error_ln),
            weight: f64::from(self.weight),
        }
    }
}

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
/// Root mean square deviation from the model that is still taken for an edge, share of the step.
const MISFIT: f32 = 0.045;
/// Mean deviation in a quarter of the window, share of the step.
const QUARTER_MISFIT: f32 = 0.04;
/// How far beyond the fitted window the sides are looked at, standard deviations of the spread.
const BEYOND: f32 = 1.2;
/// Change of a side's level there that is borne, share of the step.
const BEYOND_MISFIT: f32 = 0.12;
/// Least step over the noise of one value.
const LEAST_CONTRAST: f32 = 3.5;
/// Greatest standard error of ln sigma.
const LARGEST_ERROR: f32 = 0.25;

/// Fits edges; keeps its buffers between them.
pub(crate) struct Fitter {
    window: Window,
    normal: Normal,
}

impl Fitter {
    pub(crate) fn new() -> Self {
        Self { window: Window::default(), normal: Normal::new() }
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
        let start = start(window, if halved { 1.6 } else { 0.8 });
        let first = fit_step(window, &self.normal, start, 12).ok_or(Reject::NoFit)?;
        if first.step.shift.abs() > 3.0 || first.step.step <= 0.0 {
            return Err(Reject::NoFit);
        }
        if first.step.sigma > WIDEST * 1.25 || (halved && first.step.sigma < NARROWEST_HALVED * 0.8) {
            return Err(Reject::OtherLevel);
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
        let fitted = fit_step(window, &self.normal, start, 12).ok_or(Reject::NoFit)?;
        let fitted = drop_outliers(window, &self.normal, fitted)?;
        let edge = self.judge(source, noise, at, fitted, half_width, half_length)?;
        let plain = self.plain_beyond(source, at, &fitted, half_width, half_length.min(7.0));
        if plain { Ok(edge) } else { Err(Reject::Crowded) }
    }

    /// True where both sides stay at their level beyond the window that was fitted: the flank of a line, or an edge
    /// with another near by, would be fitted too narrow.
    fn plain_beyond(
        &mut self,
        source: &Source<'_, '_>,
        at: Place,
        fitted: &Fitted,
        half_width: f32,
        half_length: f32,
    ) -> bool {
        let step = fitted.step;
        let far = half_width + (BEYOND * step.sigma).max(1.5);
        self.window.gather(source, at, far, half_length);
        if self.window.outside {
            return true;
        }
        let mut sums = [(0.0_f32, 0.0_f32); 2];
        for ((&t, &u), &v) in self.window.t.iter().zip(&self.window.u).zip(&self.window.v) {
            let from_edge = t - step.shift - u * (step.slope + step.bend * u);
            if from_edge.abs() > half_width {
                let side = &mut sums[usize::from(from_edge > 0.0)];
                side.0 += v;
                side.1 += 1.0;
            }
        }
        [(sums[0], step.low), (sums[1], step.low + step.step)].iter().all(|&((sum, n), level)| {
            n < 3.0 || (sum / n - level).abs() < BEYOND_MISFIT * step.step + 2.5 * fitted.rms / n.sqrt()
        })
    }

    fn judge(
        &self,
        source: &Source<'_, '_>,
        noise: SampleNoise,
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
        let expected =
            ((noise.variance(step.low) + noise.variance(step.low + step.step)) / 2.0 / source.averaged()).sqrt();
        let sigma_noise = fitted.rms.max(0.7 * expected);
        let contrast_to_noise = step.step / sigma_noise;
        let error_ln = fitted.unit_error_ln_sigma * sigma_noise;
        if contrast_to_noise < LEAST_CONTRAST || error_ln > LARGEST_ERROR {
            return Err(Reject::LowContrast);
        }
        if fitted.rms > (1.2 * expected).hypot(MISFIT * step.step)
            || !plain_quarters(window, &self.normal, &step, sigma_noise)
        {
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
        let wide = step.sigma * step_px / (1.0 + step.slope * step.slope).sqrt();
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
            error_place_px: fitted.unit_error_shift * sigma_noise * step_px,
            weight: 1.0,
            profile: profile(window, &step),
        })
    }
}

/// First values: both sides from the outer thirds of the window.
fn start(window: &Window, sigma: f32) -> Step {
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
    fit_step(window, normal, step, 8).ok_or(Reject::NoFit)
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

fn profile(window: &Window, step: &Step) -> Profile {
    let mut profile = Profile { sum: [0.0; PROFILE_POINTS], count: [0; PROFILE_POINTS] };
    let turn = 1.0 / (1.0 + step.slope * step.slope).sqrt();
    for ((&t, &u), &v) in window.t.iter().zip(&window.u).zip(&window.v) {
        let from_edge = (t - step.shift - u * (step.slope + step.bend * u)) * turn;
        let place = (from_edge + PROFILE_REACH) * POINTS_PER_PX;
        if place >= 0.0 && (place as usize) < PROFILE_POINTS {
            let place = place as usize;
            profile.sum[place] += (v - step.low) / step.step;
            profile.count[place] = profile.count[place].saturating_add(1);
        }
    }
    profile
}
