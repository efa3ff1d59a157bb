//! The frames that are simulated.

use rawassay_scene::{Banding, Border, Camera, Diffraction, Filter, Motion, Optics, Recipe, SceneKind};

/// What a case tests.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// Rise and MTF50 of Gaussian spreads.
    Sharpness,
    /// Straight and curved movement.
    Motion,
    /// Defocus discs.
    Defocus,
    /// Both at once.
    Mixed,
    /// Exposure: clipping.
    Clipping,
    /// Row and column banding, hot pixels.
    Fixed,
}

/// One frame.
pub(crate) struct Case {
    /// What it tests.
    pub(crate) part: Part,
    /// Recipe in words: enough to make it again.
    pub(crate) name: String,
    /// Name of the scene.
    pub(crate) scene: &'static str,
    /// Recipe.
    pub(crate) recipe: Recipe,
}

const SCENES: [(&str, SceneKind); 8] = [
    ("buildings", SceneKind::Buildings),
    ("leaves", SceneKind::DeadLeaves),
    ("deep leaves", SceneKind::DeepLeaves),
    ("text", SceneKind::Text),
    ("fence", SceneKind::Fence),
    ("harbour", SceneKind::Harbour),
    ("horizon", SceneKind::Horizon),
    ("night", SceneKind::Night),
];

/// Cameras with all Bayer phases, two depths, a 6x6 array and none.
fn camera(i: usize) -> Camera {
    let filters = [
        Filter::two_by_two("RGGB"),
        Filter::two_by_two("GBRG"),
        Filter::two_by_two("BGGR"),
        Filter::two_by_two("GRBG"),
        Filter::six_by_six(),
        Filter::monochrome(),
    ];
    let fourteen = Camera {
        filter: filters[i % filters.len()].clone(),
        border: Border { left: 32 + i % 3, top: 16 + i % 2, right: 0, bottom: 0 },
        ..Camera::default()
    };
    if i % 4 == 3 {
        return Camera {
            bits: 12,
            black_dn: vec![256.0],
            white_declared_dn: 4095,
            saturation_dn: 3_900,
            gain_e_per_dn: 8.0,
            pitch_um: 3.75,
            read_noise_e: 2.4,
            ..fourteen
        };
    }
    fourteen
}

fn base(scene: &SceneKind, i: usize) -> Recipe {
    Recipe::new(scene.clone()).size(1000, 750).camera(camera(i)).seeds(100 + i as u64, 500 + i as u64)
}

fn describe(scene: &str, recipe: &Recipe, what: &str) -> String {
    format!(
        "{scene} seed {}/{}, {} {} bit, ISO {}, white {:+} EV, {what}",
        recipe.scene_seed,
        recipe.seed,
        if recipe.camera.filter.letters.len() > 4 { "6x6" } else { &recipe.camera.filter.letters },
        recipe.camera.bits,
        recipe.exposure.iso,
        recipe.exposure.white_ev
    )
}

/// All cases. The counter varies seed, camera and filter array from case to case.
pub(crate) fn all() -> Vec<Case> {
    let mut cases = Vec::new();
    let mut add = |part, scene: &'static str, recipe: Recipe, what: &str| {
        let name = describe(scene, &recipe, what);
        cases.push(Case { part, name, scene, recipe });
    };
    let mut i = 0;
    for (scene, kind) in &SCENES {
        for sigma_px in [0.35, 0.5, 0.8, 1.2, 1.8] {
            for iso in [100.0, 1600.0, 12_800.0] {
                i += 1;
                let recipe = base(kind, i).optics(Optics::gaussian(sigma_px)).exposure(iso, -0.7);
                add(Part::Sharpness, scene, recipe, &format!("Gaussian {sigma_px} px"));
            }
        }
    }
    let directions = [0.0, 18.0, 45.0, 77.0, 90.0, 134.0, 161.0];
    for (scene, kind) in [&SCENES[0], &SCENES[1], &SCENES[2], &SCENES[3], &SCENES[5]] {
        for length_px in [2.0, 3.5, 6.0, 10.0, 18.0] {
            for iso in [100.0, 1600.0] {
                i += 1;
                let direction_deg = directions[i % directions.len()];
                let motion = if i % 5 == 4 {
                    Motion::Arc { length_px, direction_deg, turn_deg: 35.0 }
                } else {
                    Motion::Straight { length_px, direction_deg }
                };
                let path = if i % 5 == 4 { "arc" } else { "straight" };
                let recipe = base(kind, i).optics(Optics { motion, ..Optics::gaussian(0.45) }).exposure(iso, -0.7);
                add(
                    Part::Motion,
                    scene,
                    recipe,
                    &format!("{path} {length_px} px at {direction_deg} deg, Gaussian 0.45 px"),
                );
            }
        }
        for defocus_px in [1.0, 1.8, 3.0, 5.0] {
            for iso in [100.0, 1600.0] {
                i += 1;
                // In deep scenes the plane of focus is not where the disc says.
                if *scene == "deep leaves" {
                    continue;
                }
                let recipe = base(kind, i).optics(Optics { defocus_px, ..Optics::gaussian(0.4) }).exposure(iso, -0.7);
                add(Part::Defocus, scene, recipe, &format!("disc {defocus_px} px, Gaussian 0.4 px"));
            }
        }
        i += 1;
        let motion = Motion::Straight { length_px: 8.0, direction_deg: directions[i % directions.len()] };
        let optics = Optics { defocus_px: 3.0, motion, ..Optics::gaussian(0.4) };
        add(Part::Mixed, scene, base(kind, i).optics(optics), "straight 8 px and disc 3 px");
    }
    for (scene, kind) in [&SCENES[0], &SCENES[1], &SCENES[5], &SCENES[6], &SCENES[7]] {
        for white_ev in [-1.0, 0.5, 1.0, 2.0, 3.0, -5.0] {
            i += 1;
            add(Part::Clipping, scene, base(kind, i).exposure(100.0, white_ev), "Gaussian 0.5 px");
        }
    }
    for (scene, kind) in [&SCENES[0], &SCENES[6], &SCENES[7], &SCENES[5]] {
        for (rows, columns, hot_pixels) in
            [(0.0, 0.0, 0), (1.0, 0.0, 50), (3.0, 0.0, 0), (0.0, 4.0, 200), (10.0, 2.0, 0)]
        {
            i += 1;
            let mut recipe = base(kind, i).exposure(800.0, -1.5);
            recipe.camera.row_banding = Banding { random_dn: rows, ..Banding::default() };
            recipe.camera.column_banding = Banding { random_dn: columns, ..Banding::default() };
            recipe.camera.hot_pixels = hot_pixels;
            add(Part::Fixed, scene, recipe, &format!("rows {rows} DN, columns {columns} DN, {hot_pixels} hot pixels"));
        }
    }
    for (scene, kind) in &SCENES {
        for (sigma_px, f_number) in [(0.4, 5.6), (0.7, 8.0), (0.5, 13.0)] {
            for iso in [100.0, 1600.0] {
                i += 1;
                let mut recipe = base(kind, i).exposure(iso, -0.7);
                let pitch_um = recipe.camera.pitch_um;
                let aperture = Diffraction { f_number, pitch_um, wavelength_um: 0.55 };
                recipe.optics = Optics { diffraction: Some(aperture), ..Optics::gaussian(sigma_px) };
                recipe.shot.f_number = f_number;
                add(Part::Sharpness, scene, recipe, &format!("Gaussian {sigma_px} px behind f/{f_number}"));
            }
        }
    }
    cases
}
