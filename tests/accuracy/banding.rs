//! Row and column banding of half a read noise, random and periodic, on frames without a masked border; and none where
//! there is none, whatever lines the scene has.

use rawassay_analysis::Noise;
use rawassay_scene::{Banding, Border, Camera, Filter, Recipe, SceneKind};

use super::levels::measured;

fn camera(n: usize, full_well: f64) -> Camera {
    let filter = match n % 6 {
        4 => Filter::monochrome(),
        5 => Filter::six_by_six(),
        k => Filter::two_by_two(["RGGB", "GRBG", "GBRG", "BGGR"][k]),
    };
    Camera {
        filter,
        gain_e_per_dn: full_well / 15_000.0,
        read_noise_e: 3.0,
        converter_noise_dn: 0.0,
        border: Border::default(),
        prnu_pct: 0.2,
        ..Camera::default()
    }
}

/// Noise of a frame with that banding in rows or columns, what was planted and read noise, DN.
fn shot(scene: &SceneKind, n: usize, columns: bool, banding: impl Fn(f64) -> Banding) -> (Noise, f64, f64) {
    let mut camera = camera(n, [9_000.0, 30_000.0, 3_000.0][n % 3]);
    let read_dn = camera.read_noise_dn_at(100.0);
    *(if columns { &mut camera.column_banding } else { &mut camera.row_banding }) = banding(read_dn);
    let (m, truth) = measured(
        &Recipe::new(scene.clone()).size(900, 700).camera(camera).exposure(100.0, -1.0).seeds(3 + n as u64, n as u64),
    );
    (m.noise, if columns { truth.column_banding_dn } else { truth.row_banding_dn }, read_dn)
}

/// What was asked for, and across it.
fn both(noise: &Noise, columns: bool) -> (Option<f64>, Option<f64>) {
    let (rows, cols) = (noise.row_banding_dn, noise.column_banding_dn);
    if columns { (cols, rows) } else { (rows, cols) }
}

#[test]
fn waves_of_every_period_are_found_and_sized() {
    for (n, period_px) in [3.0, 5.0, 11.0, 16.0, 24.0, 43.0, 64.0].into_iter().enumerate() {
        let scene = [SceneKind::Wedge, SceneKind::Ramp][n % 2].clone();
        for columns in [false, true] {
            // A ramp runs down the frame: its rows are one tone, its columns all of them.
            let (noise, planted, read_dn) = shot(&scene, n, columns, |read| Banding {
                periodic_dn: 0.5 * std::f64::consts::SQRT_2 * read,
                period_px,
                ..Banding::default()
            });
            let (found, across) = both(&noise, columns);
            let found = found.unwrap_or(0.0);
            assert!((found / planted - 1.0).abs() < 0.2, "{scene:?} {period_px} {columns}: {found} of {planted}");
            assert!(across.is_none_or(|a| a < 0.2 * read_dn), "{scene:?} {period_px} {columns}: {across:?} of none");
        }
    }
}

#[test]
fn random_offsets_are_found_and_sized() {
    let scenes =
        [SceneKind::Wedge, SceneKind::Ramp, SceneKind::Night, SceneKind::Wedge, SceneKind::Ramp, SceneKind::Night];
    for (n, scene) in scenes.into_iter().enumerate() {
        for columns in [false, true] {
            let (noise, planted, read_dn) =
                shot(&scene, n, columns, |read| Banding { random_dn: 0.5 * read, ..Banding::default() });
            let (found, across) = both(&noise, columns);
            let found = found.unwrap_or(0.0);
            assert!((found / planted - 1.0).abs() < 0.2, "{scene:?} {n} {columns}: {found} of {planted}");
            assert!(across.is_none_or(|a| a < 0.2 * read_dn), "{scene:?} {n} {columns}: {across:?} of none");
        }
    }
}

#[test]
fn scenes_with_lines_of_their_own_are_not_banded() {
    let scenes =
        [SceneKind::Fence, SceneKind::Horizon, SceneKind::Buildings, SceneKind::Text, SceneKind::Sky, SceneKind::Haze];
    for (n, scene) in scenes.into_iter().enumerate() {
        for shift in [0, 1] {
            let (noise, _, read_dn) = shot(&scene, n + 4 * shift, false, |_| Banding::default());
            for found in [noise.row_banding_dn, noise.column_banding_dn].into_iter().flatten() {
                assert!(found < 0.3 * read_dn, "{scene:?}: {found} of none, read noise {read_dn}");
            }
        }
    }
}

#[test]
fn offsets_are_sized_among_walls_leaves_print_and_in_haze() {
    let scenes = [
        SceneKind::Buildings,
        SceneKind::DeepLeaves,
        SceneKind::Harbour,
        SceneKind::Haze,
        SceneKind::Text,
        SceneKind::Horizon,
        SceneKind::Fence,
    ];
    let mut sized = 0;
    for (n, scene) in scenes.into_iter().enumerate() {
        let mut camera = camera(n, 2_400.0);
        let read_dn = camera.read_noise_dn_at(100.0);
        camera.row_banding.random_dn = 0.5 * read_dn;
        let recipe = Recipe::new(scene.clone()).size(1_500, 1_100).camera(camera).exposure(100.0, -1.0);
        let (m, truth) = measured(&recipe.seeds(40 + n as u64, n as u64));
        let (row, column) = (m.noise.row_banding_dn, m.noise.column_banding_dn);
        if let Some(row) = row {
            assert!((row / truth.row_banding_dn - 1.0).abs() < 0.25, "{scene:?}: {row} of {}", truth.row_banding_dn);
            sized += 1;
        }
        assert!(column.is_none_or(|c| c < 0.25 * read_dn), "{scene:?}: {column:?} of none");
    }
    assert!(sized >= 5, "{sized} of 7");
}

#[test]
fn offsets_of_few_lines_are_sized_whole_or_left_open() {
    let scenes = [SceneKind::Ramp, SceneKind::Wedge, SceneKind::Haze, SceneKind::Sky, SceneKind::Horizon];
    let mut sized = Vec::new();
    for (n, scene) in scenes.into_iter().enumerate() {
        // Rows that have one tone each are not asked for: among dark ones alone far lines are cut short, by a quarter in all.
        let one_tone = matches!(scene, SceneKind::Ramp | SceneKind::Wedge);
        for columns in [false, true].into_iter().filter(|columns| *columns || !one_tone) {
            let mut camera = camera(n, 6_000.0);
            // Five read noises in one line in twenty, which is less than the noise of light tones: one and a half in all.
            let read_dn = camera.read_noise_dn_at(100.0);
            let few = Banding { random_dn: 5.0 * read_dn, one_in: 20, ..Banding::default() };
            *(if columns { &mut camera.column_banding } else { &mut camera.row_banding }) = few;
            let recipe = Recipe::new(scene.clone()).size(1_500, 1_100).camera(camera).exposure(100.0, -0.5);
            let (m, truth) = measured(&recipe.seeds(120 + n as u64, n as u64));
            let planted = if columns { truth.column_banding_dn } else { truth.row_banding_dn };
            let (found, across) = both(&m.noise, columns);
            assert!(across.is_none_or(|a| a < 0.3 * read_dn), "{scene:?} {columns}: {across:?} of none");
            sized.extend(found.map(|found| (format!("{scene:?} {columns}"), found / planted)));
        }
    }
    assert!(sized.len() >= 5 && sized.iter().all(|(_, share)| (share - 1.0).abs() < 0.2), "{sized:?}");
}

#[test]
fn structure_does_not_make_offsets_short() {
    let mut ratios = Vec::new();
    for n in 0..9 {
        let scene = [SceneKind::DeepLeaves, SceneKind::DeadLeaves, SceneKind::Fence][n % 3].clone();
        let mut camera = camera([0, 1, 4, 3, 2][n % 5], 1_500.0);
        camera.row_banding.random_dn = 0.8 * camera.read_noise_dn_at(100.0);
        let recipe = Recipe::new(scene).size(1_500, 1_100).camera(camera).exposure(100.0, -1.0);
        let (m, truth) = measured(&recipe.seeds(80 + n as u64, n as u64));
        ratios.extend(m.noise.row_banding_dn.map(|row| row / truth.row_banding_dn));
    }
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    assert!(ratios.len() >= 7 && (mean - 1.0).abs() < 0.04, "{mean}: {ratios:?}");
}

#[test]
fn waves_are_found_over_land_walls_and_water_in_a_6x6_array() {
    let shots = [(SceneKind::Horizon, 13.6, true), (SceneKind::Buildings, 2.6, false), (SceneKind::Harbour, 2.5, true)];
    for (n, (scene, period_px, columns)) in shots.into_iter().enumerate() {
        let mut camera = camera(5, 2_400.0);
        let read_dn = camera.read_noise_dn_at(100.0);
        let banding =
            Banding { periodic_dn: 0.5 * std::f64::consts::SQRT_2 * read_dn, period_px, ..Banding::default() };
        *(if columns { &mut camera.column_banding } else { &mut camera.row_banding }) = banding;
        let recipe = Recipe::new(scene.clone()).size(1_500, 1_100).camera(camera).exposure(100.0, -1.0);
        let (m, truth) = measured(&recipe.seeds(60 + n as u64, n as u64));
        let planted = if columns { truth.column_banding_dn } else { truth.row_banding_dn };
        let (found, across) = both(&m.noise, columns);
        let found = found.unwrap_or(0.0);
        assert!((found / planted - 1.0).abs() < 0.2, "{scene:?}: {found} of {planted}");
        assert!(across.is_none_or(|a| a < 0.3 * read_dn), "{scene:?}: {across:?} of none");
    }
}
