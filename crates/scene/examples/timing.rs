//! How long the parts of one frame take: `cargo run --release -p rawassay-scene --example timing -- WIDTH HEIGHT`.
#![allow(clippy::print_stdout)]

use std::time::Instant;

use rawassay_scene::{Compression, Optics, Recipe, SceneKind, expose, light};

fn main() {
    let size: Vec<usize> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let (width, height) = (size.first().copied().unwrap_or(3000), size.get(1).copied().unwrap_or(2000));
    for scene in [SceneKind::Buildings, SceneKind::DeadLeaves, SceneKind::Harbour] {
        let mut recipe = Recipe::new(scene.clone()).size(width, height).optics(Optics::gaussian(0.5));
        recipe.oversampling = 3;
        let start = Instant::now();
        let light = light(&recipe);
        let optics_s = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let raw = expose(&recipe, &light);
        let sensor_s = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let file = raw.to_dng(Compression::LosslessJpeg);
        let file_s = start.elapsed().as_secs_f64();
        println!(
            "{scene:?} {width} x {height}: optics {optics_s:.2} s, sensor {sensor_s:.2} s, file {file_s:.2} s, {:.1} MB",
            file.len() as f64 / 1e6
        );
    }
}
