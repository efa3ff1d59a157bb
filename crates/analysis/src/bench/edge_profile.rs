//! The profile across an edge, and what is read from it: rise, MTF50 and MTF10, each with its standard error.

use std::f64::consts::PI;

use super::slanted_edge::Line;
use crate::known;
use crate::measures::sharpness::psf::sinc;

/// Bins per pixel.
pub(super) const BINS_PER_PX: f64 = 4.0;
/// Pieces along the edge from which the standard errors are told.
const PIECES: usize = 10;
/// Step at which the curve is searched, cycles per pixel.
const SEARCH_STEP: f64 = 0.01;

/// A sample of the band round an edge: distance across, place along, level.
pub(super) type Sample = (f64, f64, f64);

/// The profile of an edge in bins of 1/4 px.
pub(super) struct Profile {
    esf: Vec<f64>,
    half: f64,
    low: f64,
    high: f64,
    /// Spread of single samples on the plain sides.
    pub(super) noise: f64,
    /// Windowed line spread: place, value.
    windowed: Vec<(f64, f64)>,
    dc: f64,
}

/// What is read from a profile; `None` where it cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Figures {
    pub(super) rise_px: Option<f64>,
    pub(super) mtf50_cy_px: Option<f64>,
    pub(super) mtf10_cy_px: Option<f64>,
}

impl Profile {
    /// The profile of the samples within `half` px.
    ///
    /// # Errors
    /// Where parts of it hold no sample.
    pub(super) fn of(samples: &[Sample], sigma_px: f64, half: f64) -> Result<Self, String> {
        let esf = supersample(samples, half)?;
        let (low, high, noise) = sides(samples, sigma_px, half);
        let lsf: Vec<f64> = (1..esf.len() - 1).map(|k| (esf[k + 1] - esf[k - 1]) / 2.0).collect();
        let place = |k: usize| (k as f64 + 1.5) / BINS_PER_PX - half;
        let total: f64 = lsf.iter().sum();
        let centre = lsf.iter().enumerate().map(|(k, v)| v * place(k)).sum::<f64>() / total;
        let centre = centre.clamp(-half / 4.0, half / 4.0);
        let windowed = lsf
            .iter()
            .enumerate()
            .map(|(k, &v)| {
                let t = place(k) - centre;
                let hamming = if t.abs() < half { 0.54 + 0.46 * (PI * t / half).cos() } else { 0.08 };
                (t, v * hamming)
            })
            .collect();
        let mut profile = Self { esf, half, low, high, noise, windowed, dc: 1.0 };
        profile.dc = profile.amplitude(0.0);
        Ok(profile)
    }

    /// Step from the dark side to the bright one.
    pub(super) fn step(&self) -> f64 {
        self.high - self.low
    }

    fn amplitude(&self, f: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for &(t, v) in &self.windowed {
            let (s, c) = (2.0 * PI * f * t).sin_cos();
            re += v * c;
            im += v * s;
        }
        re.hypot(im)
    }

    /// Contrast at a frequency, cycles per pixel; corrected for the central difference and for the width of the bins.
    pub(super) fn mtf(&self, f: f64) -> f64 {
        self.amplitude(f) / self.dc / (sinc(f / 2.0) * sinc(f / BINS_PER_PX))
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

    /// Distance between the 10 % and 90 % crossings next to the middle, px.
    fn rise(&self) -> Option<f64> {
        let esf = &self.esf;
        let place = |k: f64| (k + 0.5) / BINS_PER_PX - self.half;
        let level = |share: f64| self.low + share * (self.high - self.low);
        let middle = (1..esf.len())
            .filter(|&k| esf[k - 1] < level(0.5) && esf[k] >= level(0.5))
            .min_by_key(|&k| k.abs_diff(esf.len() / 2))?;
        let cross = |k: usize, share: f64| {
            let (a, b) = (esf[k - 1], esf[k]);
            place(k as f64 - 1.0 + (level(share) - a) / (b - a))
        };
        let up = (middle..esf.len()).find(|&k| esf[k] >= level(0.9)).map(|k| cross(k, 0.9))?;
        let down = (1..=middle).rev().find(|&k| esf[k - 1] <= level(0.1)).map(|k| cross(k, 0.1))?;
        let bin = 1.0 / BINS_PER_PX;
        // The bins and their straight connection widen a steep edge a little: variance of a bin, in quadrature by rise.
        let wide = up - down;
        (wide.is_finite() && wide > 0.0).then(|| (wide * wide - 6.57 * bin * bin / 12.0).max(0.0).sqrt())
    }
}

/// Standard errors of the figures: the edge is cut into pieces along its length, each is left out in turn, and the spread
/// of what the others give is scaled to the whole (delete-a-group jackknife: Efron and Tibshirani, An Introduction to the
/// Bootstrap, chapter 11; from memory). `None` where a figure cannot be read without one of the pieces.
pub(super) fn standard_errors(samples: &[Sample], line: &Line, half: f64) -> Figures {
    let length = line.length_px();
    let piece = |u: f64| (((u - line.along.0) / length * PIECES as f64) as usize).min(PIECES - 1);
    let without: Vec<Option<Figures>> = (0..PIECES)
        .map(|left_out| {
            let kept: Vec<Sample> = samples.iter().filter(|s| piece(s.1) != left_out).copied().collect();
            Profile::of(&kept, line.sigma_px, half).ok().map(|profile| profile.figures())
        })
        .collect();
    let error = |read: fn(&Figures) -> Option<f64>| {
        let values = without.iter().map(|f| f.as_ref().and_then(read)).collect::<Option<Vec<f64>>>()?;
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        known(((n - 1.0) / n * squares).sqrt())
    };
    Figures {
        rise_px: error(|f| f.rise_px),
        mtf50_cy_px: error(|f| f.mtf50_cy_px),
        mtf10_cy_px: error(|f| f.mtf10_cy_px),
    }
}

/// Means of the samples in bins of 1/4 px from -half to half. Single empty bins take their neighbours' mean.
fn supersample(samples: &[(f64, f64, f64)], half: f64) -> Result<Vec<f64>, String> {
    let n = (2.0 * half * BINS_PER_PX) as usize;
    let mut sums = vec![(0.0, 0.0); n];
    for &(t, _, v) in samples {
        let k = ((t + half) * BINS_PER_PX).floor();
        if k >= 0.0 && (k as usize) < n {
            sums[k as usize].0 += v;
            sums[k as usize].1 += 1.0;
        }
    }
    let means: Vec<Option<f64>> = sums.iter().map(|&(sum, n)| (n > 0.0).then(|| sum / n)).collect();
    let empty = means.iter().filter(|m| m.is_none()).count();
    let gap = "the edge lies so that parts of its profile hold no sample: turn the target by about 5 degrees";
    if empty * 20 > n {
        return Err(gap.into());
    }
    (0..n)
        .map(|k| {
            means[k].or_else(|| {
                let before = means[..k].iter().rev().flatten().next();
                let after = means[k..].iter().flatten().next();
                match (before, after) {
                    (Some(a), Some(b)) => Some(f64::midpoint(*a, *b)),
                    (a, b) => a.or(b).copied(),
                }
            })
        })
        .collect::<Option<Vec<f64>>>()
        .ok_or_else(|| gap.to_string())
}

/// Levels of both sides, and the spread of single samples on them.
fn sides(samples: &[(f64, f64, f64)], sigma_px: f64, half: f64) -> (f64, f64, f64) {
    let from = (4.0 * sigma_px + 1.0).min(0.6 * half);
    let side = |bright: bool| {
        let values: Vec<f64> =
            samples.iter().filter(|s| if bright { s.0 > from } else { s.0 < -from }).map(|s| s.2).collect();
        let n = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / n;
        (mean, values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n)
    };
    let ((low, a), (high, b)) = (side(false), side(true));
    (low, high, f64::midpoint(a, b).sqrt())
}
