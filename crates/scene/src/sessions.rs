//! Simulated test sessions of small frames: ISO, aperture and hand-held shutter series, bursts, brackets.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::{Banding, Camera, Diffraction, Motion, Optics, Recipe, SceneKind};

/// Recipes of a session in the order taken, with what they were made to show.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// The frames.
    pub frames: Vec<Recipe>,
    /// Name of the truth ("slowest k", "sharpest f-number" ...) and its value.
    pub truth: Vec<(String, f64)>,
}

/// Small frames of a 36 x 24 mm camera: the pitch is that of 24 megapixels, the frame a part of it.
fn base(size: (usize, usize), scene_seed: u64) -> Recipe {
    let camera = Camera { pitch_um: 6.0, sensor_seed: 9, ..Camera::default() };
    Recipe::new(SceneKind::Buildings).size(size.0, size.1).camera(camera).seeds(scene_seed, 1)
}

/// Time of day after 10:00 as Exif text and sub-seconds.
fn clock(recipe: &mut Recipe, seconds: f64) {
    let whole = seconds as u32;
    recipe.shot.taken_at = format!("2031:05:15 {:02}:{:02}:{:02}", 10 + whole / 3600, whole / 60 % 60, whole % 60);
    recipe.shot.sub_seconds = format!("{:03}", ((seconds.fract() * 1000.0) as u32).min(999));
    recipe.seed = (seconds * 1000.0) as u64 + 17;
}

/// `each` frames at each ISO from 100 up in whole stops, the same light and print brightness.
#[must_use]
pub fn iso_session(size: (usize, usize), stops: usize, each: usize, seed: u64) -> Session {
    let mut frames = Vec::new();
    for i in 0..stops * each {
        let step = i / each;
        let iso = 100.0 * f64::exp2(step as f64);
        let mut recipe = base(size, seed).exposure(iso, -0.8);
        recipe.camera.row_banding = Banding { random_dn: 0.02 * iso / 100.0, ..Banding::default() };
        recipe.shot.shutter_s = 0.5 / f64::exp2(step as f64);
        recipe.shot.f_number = 8.0;
        clock(&mut recipe, 5.0 * i as f64);
        frames.push(recipe);
    }
    let camera = Camera::default();
    let truth = (0..stops)
        .map(|s| 100.0 * f64::exp2(s as f64))
        .map(|iso| (format!("read_noise_e at ISO {iso}"), camera.read_noise_dn_at(iso) * camera.gain_at(iso)))
        .collect();
    Session { frames, truth }
}

/// `each` frames at each f-number: aberrations that fall with the aperture, diffraction that rises with it.
#[must_use]
pub fn aperture_session(size: (usize, usize), each: usize, seed: u64) -> Session {
    let stops = [1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0];
    let mut frames = Vec::new();
    let mut sharpest = (0.0, 0.0);
    for (i, f_number) in stops.into_iter().enumerate() {
        // Spherical aberration: the blur falls quickly with the f-number, down to the sensor's own.
        let sigma_px = f64::hypot(0.35, 3.2 / (f_number * f_number) + 0.9 / f_number);
        let diffraction = Some(Diffraction { f_number, pitch_um: 6.0, wavelength_um: 0.55 });
        let optics = Optics { diffraction, ..Optics::gaussian(sigma_px) };
        for j in 0..each {
            let mut recipe = base(size, seed).optics(optics.clone());
            recipe.shot.f_number = f_number;
            recipe.shot.shutter_s = (f_number * f_number / 2048.0).max(1.0 / 8000.0);
            clock(&mut recipe, 8.0 * (i * each + j) as f64);
            let mtf50 = recipe.spread_at(0.0, 0.0).edge(0.0).mtf50_cy_px;
            if mtf50 > sharpest.1 {
                sharpest = (f_number, mtf50);
            }
            frames.push(recipe);
        }
    }
    Session { frames, truth: vec![("sharpest f-number".into(), sharpest.0), ("its MTF50".into(), sharpest.1)] }
}

/// Hand-held frames, `each` at every shutter time from 1/1000 s to 1/2 s: the shake grows with the time and with the
/// focal length, Rayleigh-distributed about `hand_px_per_s` (in a frame at 50 mm) times the shutter time.
///
/// The truth holds, for each shutter time, the share of frames whose movement is below one pixel.
#[must_use]
pub fn shutter_session(size: (usize, usize), each: usize, hand_px_per_s: f64, seed: u64) -> Session {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let focal_mm = 50.0;
    let mut frames = Vec::new();
    let mut truth = Vec::new();
    let times = [1000.0, 500.0, 250.0, 125.0, 60.0, 30.0, 15.0, 8.0, 4.0, 2.0];
    for (step, per_s) in times.into_iter().enumerate() {
        let mut steady = 0;
        for j in 0..each {
            let u: f64 = rng.random_range(1e-6..1.0);
            let length_px = hand_px_per_s / per_s * (-2.0 * u.ln()).sqrt() / 1.253;
            steady += usize::from(length_px < 1.0);
            let direction_deg = rng.random_range(0.0..180.0);
            let turn_deg = rng.random_range(-40.0..40.0);
            let motion = Motion::Arc { length_px, direction_deg, turn_deg };
            let mut recipe = base(size, seed + j as u64).optics(Optics { motion, ..Optics::gaussian(0.45) });
            recipe.shot.shutter_s = 1.0 / per_s;
            recipe.shot.focal_mm = focal_mm;
            recipe.exposure.iso = 100.0 * (per_s / 60.0_f64).max(1.0).round();
            clock(&mut recipe, 3.0 * (step * each + j) as f64);
            frames.push(recipe);
        }
        truth.push((format!("share steady at 1/{per_s} s"), steady as f64 / each as f64));
    }
    Session { frames, truth }
}

/// A burst of near-duplicates within two seconds; the truth is the index of the sharpest.
#[must_use]
pub fn burst_session(size: (usize, usize), count: usize, seed: u64) -> Session {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let best = rng.random_range(0..count);
    let frames = (0..count)
        .map(|i| {
            let length_px = if i == best { 0.3 } else { rng.random_range(2.0..8.0) };
            let motion = Motion::Straight { length_px, direction_deg: rng.random_range(0.0..180.0) };
            let mut recipe = base(size, seed).optics(Optics { motion, ..Optics::gaussian(0.45) }).exposure(400.0, -0.8);
            recipe.shot.shutter_s = 1.0 / 60.0;
            clock(&mut recipe, 100.0 + 0.18 * i as f64);
            recipe
        })
        .collect();
    Session { frames, truth: vec![("sharpest".into(), best as f64)] }
}

/// A bracket of exposures `step_ev` apart, darkest first, with the bias in Exif.
#[must_use]
pub fn bracket_session(size: (usize, usize), count: usize, step_ev: f64, seed: u64) -> Session {
    let middle = (count as f64 - 1.0) / 2.0;
    let frames = (0..count)
        .map(|i| {
            let bias = (i as f64 - middle) * step_ev;
            let mut recipe = base(size, seed).exposure(100.0, -0.6 + bias);
            recipe.scene = SceneKind::Night;
            recipe.shot.exposure_bias_ev = bias;
            recipe.shot.shutter_s = f64::exp2(bias) / 30.0;
            clock(&mut recipe, 50.0 + 0.5 * i as f64);
            recipe
        })
        .collect();
    Session { frames, truth: vec![("step_ev".into(), step_ev)] }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sessions_hold_what_they_promise() {
        assert_eq!(iso_session((200, 150), 5, 2, 1).frames.len(), 10);
        let aperture = aperture_session((200, 150), 1, 1);
        assert!((4.0..=11.0).contains(&aperture.truth[0].1), "{:?}", aperture.truth);
        let shutter = shutter_session((200, 150), 12, 60.0, 1);
        assert_eq!(shutter.frames.len(), 120);
        let share: Vec<f64> = shutter.truth.iter().map(|t| t.1).collect();
        assert!(share[0] == 1.0 && share[9] < 0.2, "{share:?}");
        let burst = burst_session((200, 150), 5, 3);
        let best = burst.truth[0].1 as usize;
        assert!(burst.frames[best].optics.motion.reach_px() < 0.2);
        assert_eq!(bracket_session((200, 150), 3, 2.0, 1).frames[0].shot.exposure_bias_ev, -2.0);
    }
}
