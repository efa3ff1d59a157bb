//! Writes a varied set of simulated DNG files with their truth beside them:
//! `cargo run --release -p rawassay-scene --example frames -- OUTDIR`.

use std::path::PathBuf;

use rawassay_scene::{
    Banding, Border, Camera, Compression, Diffraction, Filter, Motion, Optics, Recipe, SceneKind, render,
};

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        return Err(std::io::Error::other("usage: frames OUTDIR"));
    };
    std::fs::create_dir_all(&folder)?;
    for (name, recipe, compression) in recipes() {
        let raw = render(&recipe);
        std::fs::write(folder.join(format!("{name}.dng")), raw.to_dng(compression))?;
        std::fs::write(folder.join(format!("{name}.json")), raw.truth.to_json())?;
    }
    Ok(())
}

fn straight(length_px: f64, direction_deg: f64) -> Motion {
    Motion::Straight { length_px, direction_deg }
}

/// Name, recipe and storage of each frame.
fn recipes() -> Vec<(String, Recipe, Compression)> {
    let mut all = Vec::new();
    let mut add = |name: &str, recipe: Recipe, compression| all.push((name.to_owned(), recipe, compression));
    let size = |scene| Recipe::new(scene).size(1500, 1000);
    let scenes = [
        ("leaves", SceneKind::DeadLeaves),
        ("deep-leaves", SceneKind::DeepLeaves),
        ("buildings", SceneKind::Buildings),
        ("fence", SceneKind::Fence),
        ("horizon", SceneKind::Horizon),
        ("sky", SceneKind::Sky),
        ("haze", SceneKind::Haze),
        ("gravel", SceneKind::Gravel),
        ("tiles", SceneKind::Tiles),
        ("cables", SceneKind::Cables),
        ("night", SceneKind::Night),
        ("text", SceneKind::Text),
        ("wedge", SceneKind::Wedge),
        ("ramp", SceneKind::Ramp),
        ("flat", SceneKind::Flat),
        ("dark", SceneKind::Dark),
        ("square", SceneKind::SlantedSquare { turn_deg: 5.0, dark: 0.2 }),
        ("moving-subject", SceneKind::MovingSubject { motion: straight(9.0, 10.0) }),
    ];
    for (name, scene) in scenes {
        add(&format!("scene-{name}"), size(scene), Compression::LosslessJpeg);
    }
    for (name, optics) in [
        ("gaussian-1.2", Optics::gaussian(1.2)),
        ("defocus-3", Optics { defocus_px: 3.0, ..Optics::gaussian(0.4) }),
        ("motion-6-at-30", Optics { motion: straight(6.0, 30.0), ..Optics::gaussian(0.4) }),
        ("motion-14-at-120", Optics { motion: straight(14.0, 120.0), ..Optics::gaussian(0.4) }),
        (
            "arc-10",
            Optics {
                motion: Motion::Arc { length_px: 10.0, direction_deg: 60.0, turn_deg: 70.0 },
                ..Optics::gaussian(0.4)
            },
        ),
        (
            "vibration-5-at-90",
            Optics { motion: Motion::Vibration { length_px: 5.0, direction_deg: 90.0 }, ..Optics::gaussian(0.4) },
        ),
        (
            "f22",
            Optics {
                diffraction: Some(Diffraction { f_number: 22.0, pitch_um: 4.3, wavelength_um: 0.55 }),
                ..Optics::gaussian(0.3)
            },
        ),
        ("tilt", Optics { tilt_px: [4.0, 0.0], ..Optics::gaussian(0.45) }),
        (
            "field",
            Optics { curvature_px: 3.0, corner_sigma_px: 0.8, lateral_px: [1.5, -1.0], ..Optics::gaussian(0.45) },
        ),
        ("mixed", Optics { defocus_px: 1.5, motion: straight(5.0, 45.0), ..Optics::gaussian(0.5) }),
    ] {
        add(&format!("optics-{name}"), size(SceneKind::Buildings).optics(optics.clone()), Compression::LosslessJpeg);
        add(&format!("optics-{name}-leaves"), size(SceneKind::DeadLeaves).optics(optics), Compression::LosslessJpeg);
    }
    for iso in [100.0, 400.0, 1600.0, 6400.0, 25600.0] {
        add(&format!("iso-{iso}"), size(SceneKind::Buildings).exposure(iso, -1.0), Compression::LosslessJpeg);
    }
    for (name, white_ev) in [("over", 1.5), ("under", -6.0)] {
        add(
            &format!("exposure-{name}"),
            size(SceneKind::Buildings).exposure(100.0, white_ev),
            Compression::LosslessJpeg,
        );
    }
    let band = Banding { random_dn: 4.0, ..Banding::default() };
    let banded = Camera { row_banding: band, hot_pixels: 60, ..Camera::default() };
    add("banded-iso-6400", size(SceneKind::Night).camera(banded).exposure(6400.0, -1.0), Compression::LosslessJpeg);
    for (name, filter) in [
        ("rggb", Filter::two_by_two("RGGB")),
        ("grbg", Filter::two_by_two("GRBG")),
        ("gbrg", Filter::two_by_two("GBRG")),
        ("bggr", Filter::two_by_two("BGGR")),
        ("cmyg", Filter::two_by_two("CYGM")),
        ("six", Filter::six_by_six()),
        ("mono", Filter::monochrome()),
        ("linear", Filter::linear_rgb()),
    ] {
        let border = Border { left: 25, top: 11, right: 3, bottom: 5 };
        let twelve = Camera {
            filter: filter.clone(),
            border,
            bits: 12,
            black_dn: vec![128.0],
            white_declared_dn: 4095,
            saturation_dn: 3900,
            gain_e_per_dn: 12.0,
            ..Camera::default()
        };
        add(&format!("filter-{name}-12bit"), size(SceneKind::Buildings).camera(twelve), Compression::Packed);
        let plain = Camera { filter, border, ..Camera::default() };
        add(&format!("filter-{name}-14bit"), size(SceneKind::Buildings).camera(plain), Compression::LosslessJpeg);
    }
    all
}
