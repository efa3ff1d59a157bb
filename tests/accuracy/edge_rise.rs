//! Rise and MTF50 behind an aperture, and of texture that is no edge, from simulated frames with known truth.

use std::path::Path;

use rawassay_analysis::Measures;
use rawassay_scene::{Camera, Compression, Diffraction, Filter, Optics, Recipe, SceneKind, render};

/// ISO at which the default camera saturates at about 2400 electrons.
const SMALL_WELL_ISO: f64 = 2060.0;

fn measured(recipe: &Recipe) -> Measures {
    let file = render(recipe).to_dng(Compression::None);
    let frame = rawassay_decode::open_bytes(Path::new("frame.dng"), file).unwrap();
    rawassay_analysis::measure(&frame)
}

fn recipe(scene: SceneKind, k: usize, iso: f64, optics: Optics) -> Recipe {
    let filter = Filter::two_by_two(["RGGB", "GRBG", "GBRG", "BGGR"][k % 4]);
    Recipe::new(scene)
        .size(1000, 700)
        .optics(optics)
        .camera(Camera { filter, ..Camera::default() })
        .exposure(iso, -0.5)
        .seeds(k as u64, 40 + k as u64)
}

#[test]
fn rise_and_mtf50_behind_an_aperture() {
    // A Gaussian, diffraction (0.55 um, 4.3 um pitch) and the square pixel: their transfer functions multiplied and integrated with
    // numpy, the mean of edges at 0, 22.5 and 45 degrees. Without diffraction the rises would be 1.38 and 1.71 px.
    let [first, second] = [(0.45, 5.6, 1.8810, 0.26976), (0.6, 8.0, 2.4566, 0.20810)];
    let frames = [
        (SceneKind::Buildings, 1, 100.0, first),
        (SceneKind::DeadLeaves, 6, SMALL_WELL_ISO, first),
        (SceneKind::DeadLeaves, 8, SMALL_WELL_ISO, second),
        (SceneKind::Text, 10, SMALL_WELL_ISO, first),
        (SceneKind::Horizon, 17, 100.0, first),
        (SceneKind::Horizon, 19, 100.0, second),
    ];
    for (scene, k, iso, (sigma_px, f_number, rise_px, mtf50)) in frames {
        let aperture = Diffraction { f_number, pitch_um: 4.3, wavelength_um: 0.55 };
        let optics = Optics { diffraction: Some(aperture), ..Optics::gaussian(sigma_px) };
        let mut recipe = recipe(scene.clone(), k, iso, optics);
        recipe.shot.f_number = f_number;
        let found = measured(&recipe).sharpness;
        let near = |found: Option<f64>, truth: f64, what: &str| {
            let off = found.map_or(f64::NAN, |v| v / truth - 1.0);
            assert!(off.abs() < 0.05, "{what} of {scene:?} at f/{f_number}: off by {off}");
        };
        near(found.edge_rise_px, rise_px, "rise");
        near(found.mtf50_cy_px, mtf50, "MTF50");
    }
}

#[test]
fn texture_all_over_has_no_edges_to_measure() {
    for (k, sigma_px, iso) in
        [(21, 0.45, 100.0), (22, 0.45, SMALL_WELL_ISO), (23, 0.6, 100.0), (24, 0.6, SMALL_WELL_ISO)]
    {
        let mut recipe = recipe(SceneKind::Gravel, k, iso, Optics::gaussian(sigma_px));
        // The file states no aperture.
        recipe.shot.f_number = 0.0;
        let found = measured(&recipe);
        let truth = 2.5631 * (sigma_px * sigma_px + 1.0_f64 / 12.0).sqrt();
        // Its grains are round and pass for edges a half wider or more: undetermined, or right.
        let off = found.sharpness.edge_rise_px.map_or(0.0, |v| v / truth - 1.0);
        assert!(off.abs() < 0.05, "sigma {sigma_px} at ISO {iso}: off by {off}; {:?}", found.notes);
    }
}
