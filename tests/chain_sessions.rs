//! Simulated sessions with known truth, as recipes for the whole chain (`crate::chain`): ISO, aperture and hand-held
//! tests, bursts, and a day in which everything occurs. Frames are small; pitch, levels and optics are those of real ones.

use rawassay_scene::{Banding, Camera, Diffraction, Filter, Motion, Optics, Recipe, SceneKind};

use crate::session::Dice;

/// Frame size of most sessions.
pub const SIZE: (usize, usize) = (660, 460);

/// The mosaics take turns, so that nothing rests on one.
const MOSAICS: [&str; 4] = ["RGGB", "GBRG", "BGGR", "GRBG"];

/// A frame of `size` by a camera of the invented maker, at `seconds` after ten o'clock.
#[must_use]
pub fn frame(size: (usize, usize), scene: SceneKind, scene_seed: u64, mosaic: u64, seconds: f64) -> Recipe {
    let camera = Camera {
        make: "Haldane".into(),
        model: format!("Meridian {}", 24 + mosaic % 4),
        serial: format!("M-{mosaic:04}"),
        pitch_um: 5.9,
        filter: Filter::two_by_two(MOSAICS[mosaic as usize % 4]),
        sensor_seed: mosaic + 5,
        ..Camera::default()
    };
    let noise_seed = (seconds * 1000.0) as u64 + 7919 * scene_seed;
    let mut recipe = Recipe::new(scene).size(size.0, size.1).camera(camera).seeds(scene_seed, noise_seed);
    recipe.exposure.white_ev = -0.8;
    recipe.oversampling = 3;
    let whole = seconds as u32;
    recipe.shot.taken_at = format!("2031:05:15 {:02}:{:02}:{:02}", 10 + whole / 3600, whole / 60 % 60, whole % 60);
    recipe.shot.sub_seconds = format!("{:03}", ((seconds.fract() * 1000.0) as u32).min(999));
    recipe.shot.f_number = 8.0;
    recipe.shot.shutter_s = 1.0 / 125.0;
    recipe
}

/// 35 mm equivalent over focal length for a frame of that size (diagonal of 36 x 24 mm over its own).
#[must_use]
pub fn crop_factor(recipe: &Recipe) -> f64 {
    36.0_f64.hypot(24.0) / ((recipe.width as f64).hypot(recipe.height as f64) * recipe.camera.pitch_um / 1000.0)
}

/// An ISO test in whole stops from 100 on, `each` frames a stop. With the recipes: the SNR of one pixel at 12.7 % of
/// saturation at each ISO, from the camera's electrons (fixed pattern included, as it is in a single frame).
#[must_use]
pub fn iso_test(stops: u32, each: usize, read_noise_e: f64, seed: u64) -> (Vec<Recipe>, Vec<(f64, f64)>) {
    let (mut recipes, mut truth) = (Vec::new(), Vec::new());
    for step in 0..stops {
        let iso = 100.0 * f64::from(1_u32 << step);
        for i in 0..each {
            let seconds = 5.0 * (f64::from(step) * each as f64 + i as f64);
            let mut recipe = frame(SIZE, SceneKind::Buildings, seed, seed, seconds);
            recipe.camera.read_noise_e = read_noise_e;
            recipe.camera.row_banding = Banding { random_dn: 0.01 * iso / 100.0, ..Banding::default() };
            recipe.exposure.iso = iso;
            recipe.shot.shutter_s = 0.5 * 100.0 / iso;
            if i == 0 {
                let camera = &recipe.camera;
                let signal_e = 0.127 * camera.saturation_e_at(iso);
                let read_e = camera.read_noise_dn_at(iso) * camera.gain_at(iso);
                truth.push((iso, signal_e / (signal_e + read_e * read_e).sqrt()));
            }
            recipes.push(recipe);
        }
    }
    (recipes, truth)
}

/// An aperture test of a lens whose aberrations blur by a Gaussian of `wide_px` at f/1, falling with the f-number to
/// the power `falls`, under diffraction. Returns the recipes and the f-number of the highest MTF50 by the closed form
/// of the point spread, found to 1/48 stop.
#[must_use]
pub fn aperture_test(each: usize, wide_px: f64, falls: f64, pitch_um: f64, seed: u64) -> (Vec<Recipe>, f64) {
    let optics = |f_number: f64| Optics {
        sigma_px: f64::hypot(0.30, wide_px * f_number.powf(-falls)),
        diffraction: Some(Diffraction { f_number, pitch_um, wavelength_um: 0.55 }),
        ..Optics::default()
    };
    let stops: [f64; 9] = [1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
    let mut recipes = Vec::new();
    for (step, f_number) in stops.into_iter().enumerate() {
        for i in 0..each {
            let seconds = 8.0 * (step * each + i) as f64;
            let mut recipe = frame(SIZE, SceneKind::Buildings, seed, seed, seconds).optics(optics(f_number));
            recipe.camera.pitch_um = pitch_um;
            recipe.shot.f_number = f_number;
            recipe.shot.shutter_s = f_number * f_number / 2000.0;
            recipes.push(recipe);
        }
    }
    let mtf50 = |f_number: f64| optics(f_number).at(0.0, 0.0, 0.7).edge(0.0).mtf50_cy_px;
    let fine = (0..=48 * 8).map(|i| 1.4 * (f64::from(i) / 96.0).exp2()).map(|n| (n, mtf50(n)));
    let sharpest = fine.max_by(|a, b| a.1.total_cmp(&b.1)).map_or(f64::NAN, |best| best.0);
    (recipes, sharpest)
}

/// Hand-held frames whose motion grows with exposure time and focal length: length = limit_px x k x time x focal length
/// (35 mm equivalent) x a Rayleigh number that is below 1 in nine of ten. So 90 % of the frames at 1/(k f35) move by
/// less than `limit_px`.
#[must_use]
pub fn hand_held_test(frames: usize, k: f64, limit_px: f64, seed: u64) -> Vec<Recipe> {
    let mut dice = Dice(seed * 977 + 13);
    let size = SIZE;
    (0..frames)
        .map(|i| {
            let mut recipe =
                frame(size, SceneKind::Buildings, seed * 1000 + i as u64 % 12, seed, 3.0 * (i as f64 + 1.0));
            let focal35 = [35.0, 50.0, 85.0][i % 3];
            // From an eighth of the limit to eight times it, in whole stops, each focal length the same times.
            let shutter_s = f64::exp2((i / 3 % 7) as f64 - 3.0) / (k * 50.0);
            let rayleigh = (-2.0 * dice.uniform().ln()).sqrt() / (2.0 * 10.0_f64.ln()).sqrt();
            let length_px = (limit_px * k * shutter_s * focal35 * rayleigh).min(24.0);
            let direction_deg = 180.0 * dice.uniform();
            let motion = Motion::Straight { length_px, direction_deg };
            recipe.optics = Optics { motion, ..Optics::gaussian(0.42) };
            recipe.shot.focal_mm = focal35 / crop_factor(&recipe);
            recipe.shot.shutter_s = shutter_s;
            recipe
        })
        .collect()
}

/// A burst of `count`; one frame is steady and in focus, the others moved by 1.5 to 7 px or out of focus by 1 to 3 px.
/// With the recipes: the index of the good one.
#[must_use]
pub fn burst(count: usize, seed: u64, seconds: f64) -> (Vec<Recipe>, usize) {
    let mut dice = Dice(seed * 31 + 1);
    let scene = [SceneKind::Buildings, SceneKind::DeadLeaves, SceneKind::DeepLeaves, SceneKind::Fence]
        [seed as usize % 4]
        .clone();
    let good = (count as f64 * dice.uniform()) as usize;
    let iso = [100.0, 400.0, 1600.0][(3.0 * dice.uniform()) as usize];
    let recipes = (0..count)
        .map(|i| {
            let mut recipe = frame((560, 420), scene.clone(), seed, seed, seconds + 0.19 * i as f64);
            let steady = Optics::gaussian(0.45);
            let straight = |length_px, direction_deg| Motion::Straight { length_px, direction_deg };
            recipe.optics = match (i == good, dice.uniform() < 0.6) {
                (true, _) => Optics { motion: straight(0.5 * dice.uniform(), 180.0 * dice.uniform()), ..steady },
                (_, true) => Optics { motion: straight(1.5 + 5.5 * dice.uniform(), 180.0 * dice.uniform()), ..steady },
                (_, false) => Optics { defocus_px: 1.0 + 2.0 * dice.uniform(), ..steady },
            };
            recipe.exposure.iso = iso;
            recipe.shot.shutter_s = 1.0 / 60.0;
            recipe
        })
        .collect();
    (recipes, good)
}

/// What a chapter of [`day`] holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chapter {
    /// Near-duplicates.
    Burst,
    /// One framing at several exposures.
    Bracket,
    /// Settings change, the exposure does not.
    Test,
    /// Different pictures.
    Singles,
}

/// A day of bursts, brackets, test series and single pictures, by two cameras in turn. Gives the recipes and, for each
/// chapter, what it is and which frames it holds.
#[must_use]
pub fn day(chapters: u64, seed: u64) -> (Vec<Recipe>, Vec<(Chapter, std::ops::Range<usize>)>) {
    let (mut recipes, mut truth) = (Vec::new(), Vec::new());
    let mut seconds = 0.0;
    for chapter in 0..chapters {
        let view = seed * 100 + chapter;
        let scenes = [SceneKind::Harbour, SceneKind::Buildings, SceneKind::DeadLeaves, SceneKind::Night];
        let scene = scenes[(view % 4) as usize].clone();
        let start = recipes.len();
        let mut take = |scene_seed: u64, ev: f64, pause: f64, change: &dyn Fn(&mut Recipe)| {
            let mut recipe = frame((480, 360), scene.clone(), scene_seed, chapter % 2, seconds);
            recipe.shot.shutter_s = 1.0 / 125.0;
            change(&mut recipe);
            recipe.exposure.white_ev += ev;
            seconds += pause + recipe.shot.shutter_s;
            recipes.push(recipe);
        };
        let kind = match chapter % 6 {
            0 => {
                // Automatic exposure drifts by a third at the end.
                for ev in [0.0, 0.0, 0.0, 1.0 / 3.0] {
                    take(view, ev, 0.15, &|r| r.shot.shutter_s *= ev.exp2());
                }
                Chapter::Burst
            }
            1 => {
                // The camera's own bracketing, in its order.
                for ev in [0.0, -2.0, 2.0] {
                    take(view, ev, 0.2, &|r| {
                        r.shot.shutter_s *= ev.exp2();
                        r.shot.exposure_bias_ev = ev;
                    });
                }
                Chapter::Bracket
            }
            2 => {
                for i in 0..4 {
                    take(view * 1000 + i, 0.0, 0.9, &|_| {});
                }
                Chapter::Singles
            }
            3 => {
                // By hand on a tripod, from dark to bright.
                for ev in [-3.0, -1.5, 0.0, 1.5, 3.0] {
                    take(view, ev, 8.0, &|r| r.shot.shutter_s *= f64::exp2(ev));
                }
                Chapter::Bracket
            }
            4 => {
                for i in 0..4 {
                    let stops = f64::exp2(f64::from(i));
                    take(view, 0.0, 4.0, &|r| {
                        r.exposure.iso *= stops;
                        r.shot.shutter_s /= stops;
                    });
                }
                Chapter::Test
            }
            _ => {
                for n in [4.0, 5.6, 8.0, 11.0] {
                    take(view, 0.0, 4.0, &|r| {
                        r.shot.f_number = n;
                        r.shot.shutter_s *= (n / 8.0) * (n / 8.0);
                    });
                }
                Chapter::Test
            }
        };
        truth.push((kind, start..recipes.len()));
        seconds += 31.0;
    }
    (recipes, truth)
}
