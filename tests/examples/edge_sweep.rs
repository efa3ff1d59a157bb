//! Measures slanted edges on simulated targets and on what is no target, beside the truth, one line of JSON each.
//!
//! `cargo run -p rawassay-tests --example edge_sweep -- SET [FRAMES] [FIRST]`: SET is `targets` (sound ones), `scenes`
//! (ordinary pictures) or `spoiled` (targets too blurred, small, faint, dark or bright).

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a tool for developers")]

use rawassay_analysis::bench::slanted_edge::slanted_edges;
use rawassay_decode::Area;
use rawassay_scene::{Camera, Compression, Diffraction, Filter, Motion, Optics, Recipe, SceneKind, render};
use rawassay_tests::dice::Dice;
use serde_json::json;

fn filter(dice: &mut Dice) -> Filter {
    match dice.pick(&["RGGB", "GRBG", "GBRG", "BGGR", "X", "M", "L"]) {
        "X" => Filter::six_by_six(),
        "M" => Filter::monochrome(),
        "L" => Filter::linear_rgb(),
        letters => Filter::two_by_two(letters),
    }
}

fn straight(dice: &mut Dice, low: f64, high: f64) -> Motion {
    Motion::Straight { length_px: dice.log_between(low, high), direction_deg: dice.between(0.0, 180.0) }
}

/// A square or one edge, slanted by 3 to 19 degrees.
fn target(dice: &mut Dice, dark: f64) -> SceneKind {
    let slant = dice.between(3.0, 19.0) * dice.pick(&[-1.0, 1.0]);
    let turn = dice.pick(&[0.0, 90.0, 180.0, 270.0]) + slant;
    if dice.uniform() < 0.5 {
        SceneKind::SlantedSquare { turn_deg: turn, dark }
    } else {
        SceneKind::SingleEdge { normal_deg: turn, dark }
    }
}

fn sound(dice: &mut Dice) -> Recipe {
    let dark = dice.log_between(0.05, 0.5);
    let scene = target(dice, dark);
    let sigma = dice.log_between(0.35, 2.0);
    let optics = match (dice.uniform() * 4.0) as u32 {
        0 => Optics { defocus_px: dice.between(0.5, 4.0), ..Optics::gaussian(sigma) },
        1 => Optics { motion: straight(dice, 1.0, 6.0), ..Optics::gaussian(sigma) },
        2 => Optics {
            diffraction: Some(Diffraction {
                f_number: dice.pick(&[2.8, 5.6, 8.0, 16.0]),
                pitch_um: 4.3,
                wavelength_um: 0.55,
            }),
            ..Optics::gaussian(sigma)
        },
        _ => Optics::gaussian(sigma),
    };
    let size = dice.pick(&[(500, 400), (900, 600), (1200, 800)]);
    Recipe::new(scene)
        .size(size.0, size.1)
        .optics(optics)
        .exposure(dice.pick(&[100.0, 400.0, 1600.0, 6400.0]), dice.between(-2.0, -0.4))
}

fn scenery(dice: &mut Dice) -> Recipe {
    let scene = match (dice.uniform() * 13.0) as u32 {
        0 => SceneKind::DeadLeaves,
        1 => SceneKind::DeepLeaves,
        2 | 3 => SceneKind::Buildings,
        4 => SceneKind::Fence,
        5 => SceneKind::Horizon,
        6 => SceneKind::Sky,
        7 => SceneKind::Haze,
        8 => SceneKind::Gravel,
        9 => SceneKind::Night,
        10 => SceneKind::Harbour,
        11 => dice.pick(&[SceneKind::Tiles, SceneKind::Cables, SceneKind::Text]),
        _ => SceneKind::MovingSubject { motion: straight(dice, 6.0, 20.0) },
    };
    let sigma = dice.between(0.4, 1.0);
    let optics = match (dice.uniform() * 4.0) as u32 {
        0 => Optics { motion: straight(dice, 2.5, 18.0), ..Optics::gaussian(sigma) },
        1 => Optics { defocus_px: dice.log_between(2.0, 8.0), ..Optics::gaussian(sigma) },
        _ => Optics::gaussian(sigma),
    };
    Recipe { contrast: dice.pick(&[1.0, 1.0, 0.5]), ..Recipe::new(scene) }
        .size(1200, 800)
        .optics(optics)
        .exposure(dice.pick(&[100.0, 400.0, 1600.0, 6400.0]), dice.pick(&[-1.5, -0.5, 0.7]))
}

fn spoiled(dice: &mut Dice) -> (&'static str, Recipe) {
    let dark = dice.log_between(0.05, 0.4);
    let scene = target(dice, dark);
    let base = Recipe::new(scene).size(900, 600).exposure(dice.pick(&[100.0, 1600.0]), dice.between(-1.5, -0.4));
    match (dice.uniform() * 7.0) as u32 {
        0 => ("blurred", base.optics(Optics::gaussian(dice.log_between(3.0, 40.0)))),
        1 => ("defocused", base.optics(Optics { defocus_px: dice.log_between(6.0, 60.0), ..Optics::gaussian(0.5) })),
        2 => ("shaken", base.optics(Optics { motion: straight(dice, 10.0, 80.0), ..Optics::gaussian(0.5) })),
        3 => ("dark", base.exposure(6400.0, dice.between(-8.0, -3.0))),
        4 => ("clipped", base.exposure(100.0, dice.between(-0.1, 2.0))),
        5 => {
            let dark = 1.0 - dice.log_between(0.005, 0.3);
            let scene = target(dice, dark);
            ("faint", Recipe { scene, ..base })
        }
        _ => ("small", base.size((dice.log_between(60.0, 250.0)) as usize, (dice.log_between(60.0, 250.0)) as usize)),
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let set = arguments.next().unwrap_or_else(|| "targets".into());
    let frames: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(40);
    let first: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(0);
    for index in first..first + frames {
        let mut dice = Dice(index.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0xed9e);
        for _ in 0..4 {
            dice.uniform();
        }
        let (class, recipe) = match set.as_str() {
            "scenes" => ("scene", scenery(&mut dice)),
            "spoiled" => spoiled(&mut dice),
            _ => ("target", sound(&mut dice)),
        };
        let prnu_pct = dice.pick(&[0.0, 0.3, 0.6]);
        let camera = Camera { filter: filter(&mut dice), prnu_pct, ..Camera::default() };
        let recipe = recipe.camera(camera).seeds(index + 1, index + 77);
        // Of scenery, what a person might point at as well: any quarter of the frame, or a part of it.
        let region = (class == "scene" && dice.uniform() < 0.5).then(|| {
            let (w, h) = (dice.between(60.0, 500.0) as usize, dice.between(60.0, 400.0) as usize);
            let (x, y) = (dice.uniform() * (recipe.width - w) as f64, dice.uniform() * (recipe.height - h) as f64);
            Area::new(x as usize, y as usize, w, h)
        });
        let bytes = render(&recipe).to_dng(Compression::None);
        let frame = rawassay_decode::open_bytes(std::path::Path::new("frame.dng"), bytes).unwrap();
        let channels = rawassay_analysis::measure(&frame).channels;
        let scene = format!("{:?}", recipe.scene);
        let head = json!({
            "index": index, "class": class, "scene": scene, "iso": recipe.exposure.iso, "white_ev": recipe.exposure.white_ev,
            "optics": recipe.optics, "cfa": frame.shot.cfa, "region": region.is_some(),
        });
        match slanted_edges(&frame, &channels, region) {
            Err(why) => println!("{}", json!({"head": head, "why": why})),
            Ok(found) => {
                for e in &found.edges {
                    let middle = ((e.region.x + e.region.width / 2) as f64, (e.region.y + e.region.height / 2) as f64);
                    let spread = recipe.spread_at(middle.0, middle.1);
                    let truth = spread.edge(e.angle_deg - 90.0);
                    println!("{}", json!({"head": head, "edge": e, "truth": truth, "notes": found.notes}));
                }
            }
        }
    }
}
