//! An edge that passed every test, with its samples.

use super::normal_equations::Step;
use super::summary::Reading;
use super::window::Window;

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
    /// One side falls again near by: perhaps the flank of a line, narrower than the blur.
    pub(crate) line: bool,
    /// The fit leaves more than noise and the model's coarseness do: the edge lies in texture that passes for noise.
    pub(crate) in_texture: bool,
    /// Samples.
    pub(crate) profile: Profile,
}

impl Edge {
    /// An edge in the corner of the frame whose normal lies at `deg` degrees, y up.
    #[cfg(test)]
    pub(super) fn facing(deg: f32, sigma_px: f32) -> Self {
        let (sin, cos) = deg.to_radians().sin_cos();
        Self {
            x_px: 0.0,
            y_px: 0.0,
            normal: (cos, -sin),
            sigma_px,
            error_ln: 0.05,
            contrast_to_noise: 30.0,
            step_px: 1.0,
            extra_px2: 0.0,
            error_place_px: 0.05,
            weight: 1.0,
            line: false,
            in_texture: false,
            profile: Profile { sum: [0.0; PROFILE_POINTS], count: [0; PROFILE_POINTS] },
        }
    }

    /// What the summaries take of it.
    pub(crate) fn reading(&self) -> Reading {
        Reading {
            ln_sigma: f64::from(self.sigma_px).ln(),
            error: f64::from(self.error_ln),
            weight: f64::from(self.weight),
        }
    }
}

/// The samples of a window, gathered by distance from the fitted step.
pub(super) fn profile(window: &Window, step: &Step) -> Profile {
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
