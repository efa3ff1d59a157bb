//! The profile across an edge, and what is read from it: rise, MTF50 and MTF10.

use std::f64::consts::PI;

use super::edge_bins::{BINS_PER_PX, Sample, Supersampled, supersample};
use super::edge_sides::{Sides, noise};
use crate::known;
use crate::measures::sharpness::psf::sinc;

/// Step at which the curve is searched, cycles per pixel.
const SEARCH_STEP: f64 = 0.01;

/// Flat share of the window; the rest falls to 0 as a cosine.
pub(super) const FLAT: f64 = 0.7;
/// Noise of the curve that a wider window may cost, and the frequency where it is told, cycles per pixel.
const QUIET: (f64, f64) = (0.004, 0.1);
/// Tail beyond the window that may go unseen where it cannot be fitted, of the step: this much times sigma over the
/// half-width. The line of a lens limited by diffraction falls as 2 / pi^3 x wavelength x f-number / x^2, and its middle
/// looks like a Gaussian of sigma 0.45 x wavelength x f-number: 4 / pi^3 / 0.45. Most blur is not all diffraction: a third
/// of it is one standard error.
const UNSEEN_TAIL: f64 = 0.1;

/// The profile of an edge in bins of 1/4 px.
#[derive(Clone)]
pub(super) struct Profile {
    /// Levels at the middles of the bins.
    esf: Vec<f64>,
    half: f64,
    low: f64,
    high: f64,
    /// Relative fall of the light across the edge that was taken off the levels, per px.
    fall: f64,
    /// Spread of single samples on the plain sides.
    pub(super) noise: f64,
    /// Line spread: place, value within the narrow window, value between it and the wide one.
    line: Vec<(f64, f64, f64)>,
    /// Half-width of the narrow window, px.
    narrow: f64,
    /// Transform at frequency 0: the step.
    dc: f64,
    /// Width of an evenly filled bin with the spread of distances that the bins really have, px.
    bin_px: f64,
    /// Mean distance between the levels that are joined, px.
    pub(super) knot_px: f64,
    /// Standard error of the tail beyond the window, share of the step.
    tail_error: f64,
}

/// What is read from a profile; `None` where it cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Figures {
    pub(super) rise_px: Option<f64>,
    pub(super) mtf50_cy_px: Option<f64>,
    pub(super) mtf10_cy_px: Option<f64>,
}

/// Half-width that holds the core of a spread, px.
pub(super) fn core_px(sigma_px: f64) -> f64 {
    10.0 * sigma_px + 5.0
}

impl Profile {
    /// The profile of the samples within `half` px.
    ///
    /// # Errors
    /// Where parts of it hold no sample.
    pub(super) fn of(samples: &[Sample], sigma_px: f64, half: f64) -> Result<Self, String> {
        let Supersampled { mut esf, bin_px, knot_px } = supersample(samples, half)?;
        let narrow = core_px(sigma_px).min(half);
        let place = |k: usize| (k as f64 + 0.5) / BINS_PER_PX - half;
        let sides = Sides::of(&esf, half, sigma_px);
        for (k, v) in esf.iter_mut().enumerate() {
            *v /= 1.0 + sides.slope * place(k);
        }
        let lsf: Vec<f64> = (1..esf.len() - 1).map(|k| (esf[k + 1] - esf[k - 1]) / 2.0).collect();
        // The centre of the core alone: far out there is only noise.
        let core = || lsf.iter().enumerate().map(|(k, v)| (place(k + 1), v)).filter(|(t, _)| t.abs() < narrow);
        let centre = core().map(|(t, v)| v * t).sum::<f64>() / core().map(|(_, v)| v).sum::<f64>();
        let centre = centre.clamp(-narrow / 4.0, narrow / 4.0);
        let line: Vec<(f64, f64, f64)> = lsf
            .iter()
            .enumerate()
            .map(|(k, &v)| {
                let t = place(k + 1) - centre;
                let (inner, outer) = (flat_topped(t / narrow), flat_topped(t / half));
                (t, v * inner, v * (outer - inner).max(0.0))
            })
            .collect();
        let within: f64 = line.iter().map(|l| l.1 + l.2).sum();
        let step = sides.high - sides.low;
        Ok(Self {
            esf,
            half,
            low: sides.low,
            high: sides.high,
            fall: sides.slope,
            noise: noise(samples, half),
            line,
            narrow,
            dc: if sides.tail > 0.0 { step } else { within },
            bin_px,
            knot_px,
            tail_error: sides.tail_error.unwrap_or(UNSEEN_TAIL * sigma_px / (half * (1.0 + FLAT) / 2.0)),
        })
    }

    /// Step from the dark side to the bright one.
    pub(super) fn step(&self) -> f64 {
        self.high - self.low
    }

    /// Levels at the middles of the bins.
    pub(super) fn esf(&self) -> &[f64] {
        &self.esf
    }

    /// Level at a distance from the edge, the fall of the light across it included.
    pub(super) fn level(&self, t: f64) -> f64 {
        let k = ((t + self.half) * BINS_PER_PX - 0.5).clamp(0.0, self.esf.len() as f64 - 1.001);
        let (below, part) = (k as usize, k.fract());
        (self.esf[below] + part * (self.esf[below + 1] - self.esf[below])) * (1.0 + self.fall * t)
    }

    /// Change of the level with the distance, per px.
    pub(super) fn slope_at(&self, t: f64) -> f64 {
        (self.level(t + 0.5 / BINS_PER_PX) - self.level(t - 0.5 / BINS_PER_PX)) * BINS_PER_PX
    }

    /// Half-width up to which noise leaves the curve at low frequencies as good as [`QUIET`], px.
    pub(super) fn quiet_half_px(&self, samples: &[Sample]) -> f64 {
        let per_bin = samples.len() as f64 / (2.0 * self.half * BINS_PER_PX);
        let noise = self.noise / per_bin.sqrt() / self.step();
        // At f, the differences of independent bins of noise s sum up to s sin(2 pi f / 4) sqrt(n), half the variance in
        // phase; 0.81 is the mean square of the window.
        let one = noise * (2.0 * PI * QUIET.1 / BINS_PER_PX).sin() * (0.81 * BINS_PER_PX).sqrt();
        (QUIET.0 / one).powi(2)
    }

    /// Transform of the line spread. Between the narrow and the wide window it is smooth, and holds nothing but noise at
    /// frequencies above one over the fall of the narrow window: left out there.
    fn amplitude(&self, f: f64) -> f64 {
        let fall = f * (1.0 - FLAT) * self.narrow;
        let share = 0.5 + 0.5 * (PI * (2.0 * fall - 1.0).clamp(0.0, 1.0)).cos();
        let (mut re, mut im) = (0.0, 0.0);
        for &(t, inner, outer) in &self.line {
            let v = inner + share * outer;
            let (s, c) = (2.0 * PI * f * t).sin_cos();
            re += v * c;
            im += v * s;
        }
        re.hypot(im)
    }

    /// Contrast at a frequency, cycles per pixel; corrected for the central difference, for the spread of distances in
    /// the bins and for the spline through them.
    pub(super) fn mtf(&self, f: f64) -> f64 {
        if f == 0.0 {
            return 1.0;
        }
        let knots = (f * self.knot_px).min(0.45);
        let spline = 3.0 * sinc(knots).powi(4) / (2.0 + (2.0 * PI * knots).cos());
        self.amplitude(f) / self.dc / (sinc(2.0 * f / BINS_PER_PX) * sinc(f * self.bin_px) * spline)
    }

    /// Rise, MTF50 and MTF10.
    pub(super) fn figures(&self) -> Figures {
        let mut figures = Figures { rise_px: self.rise(), ..Figures::default() };
        let mut before = self.mtf(0.0);
        let mut f = 0.0;
        // Up to 1 cycle per pixel: the lowest frequency at which the response falls to a share.
        while f < 1.0 && figures.mtf10_cy_px.is_none() {
            let next = self.mtf(f + SEARCH_STEP);
            let cross = |share: f64| f + SEARCH_STEP * (before - share) / (before - next);
            if figures.mtf50_cy_px.is_none() && next < 0.5 {
                figures.mtf50_cy_px = known(cross(0.5));
            }
            if next < 0.1 {
                figures.mtf10_cy_px = known(cross(0.1));
            }
            f += SEARCH_STEP;
            before = next;
        }
        figures
    }

    /// Mean fall of the contrast round a share of it, from 1.5 to 0.5 times as much, per cycle per pixel.
    pub(super) fn falls_by(&self, share: f64) -> Option<f64> {
        let below = |level: f64| (1..=100).map(|k| f64::from(k) * SEARCH_STEP).find(|&f| self.mtf(f) < level);
        let (from, to) = (below(1.5 * share)?, below(0.5 * share)?);
        known(share / (to - from).max(SEARCH_STEP))
    }

    /// The figures if the tail beyond the window were greater by its standard error.
    pub(super) fn with_more_tail(&self) -> Figures {
        let (step, mut other) = (self.step(), self.clone());
        other.dc *= 1.0 + self.tail_error;
        other.low -= 0.5 * self.tail_error * step;
        other.high += 0.5 * self.tail_error * step;
        other.figures()
    }

    /// Distance between the 10 % and 90 % crossings next to the middle, px.
    fn rise(&self) -> Option<f64> {
        let esf = &self.esf;
        let place = |k: f64| (k + 0.5) / BINS_PER_PX - self.half;
        let level = |share: f64| self.low + share * (self.high - self.low);
        let middle = (1..esf.len())
            .filter(|&k| esf[k - 1] < level(0.5) && esf[k] >= level(0.5))
            .min_by_key(|&k| k.abs_diff(esf.len() / 2))?;
        let cross = |k: usize, share: f64| place(k as f64 - 1.0 + monotone_crossing(esf, k, level(share)));
        let up = (middle..esf.len()).find(|&k| esf[k] >= level(0.9)).map(|k| cross(k, 0.9))?;
        let down = (1..=middle).rev().find(|&k| esf[k - 1] <= level(0.1)).map(|k| cross(k, 0.1))?;
        // The bins widen a steep edge a little: variance of a bin, in quadrature by rise.
        let wide = up - down;
        let rise = (wide * wide - 6.57 * self.bin_px * self.bin_px / 12.0).max(0.0).sqrt();
        (wide.is_finite() && wide > 0.0).then_some(rise)
    }
}

/// Where between the values `k - 1` and `k` a monotone cubic (Fritsch and Carlson 1980, harmonic mean of the slopes) takes
/// a level that lies between them, 0 to 1.
fn monotone_crossing(y: &[f64], k: usize, level: f64) -> f64 {
    let slope = |i: usize| if i >= 1 && i < y.len() { y[i] - y[i - 1] } else { 0.0 };
    let at = |i: usize| {
        let (a, b) = (slope(i), slope(i + 1));
        if a * b > 0.0 { 2.0 * a * b / (a + b) } else { 0.0 }
    };
    let (d, m0, m1) = (slope(k), at(k - 1), at(k));
    let value = |s: f64| {
        let c = 3.0 * d - 2.0 * m0 - m1;
        let e = m0 + m1 - 2.0 * d;
        y[k - 1] + s * (m0 + s * (c + s * e))
    };
    let (mut below, mut above) = (0.0, 1.0);
    for _ in 0..40 {
        let s = f64::midpoint(below, above);
        if value(s) < level {
            below = s;
        } else {
            above = s;
        }
    }
    f64::midpoint(below, above)
}

/// 1 in the middle, falling to 0 at 1 as a cosine.
fn flat_topped(x: f64) -> f64 {
    let past = ((x.abs() - FLAT) / (1.0 - FLAT)).clamp(0.0, 1.0);
    0.5 + 0.5 * (PI * past).cos()
}
