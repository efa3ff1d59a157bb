//! Writes simulated frames of 24 megapixels for speed measurements, each stored in three ways:
//! `cargo run --release -p rawassay-scene --example large -- OUTDIR`.
//!
//! `SCENE-plain.dng` is uncompressed (16 bits a sample), `SCENE-packed.dng` uncompressed at 14 bits, `SCENE-lossless.dng`
//! lossless JPEG in tiles.

use std::path::PathBuf;

use rawassay_scene::{Compression, Recipe, SceneKind, render};

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        return Err(std::io::Error::other("usage: large OUTDIR"));
    };
    std::fs::create_dir_all(&folder)?;
    for (name, scene) in [("harbour", SceneKind::Harbour), ("leaves", SceneKind::DeadLeaves)] {
        let raw = render(&Recipe::new(scene).size(6000, 4000).exposure(400.0, -0.2));
        for (storage, compression) in
            [("plain", Compression::None), ("packed", Compression::Packed), ("lossless", Compression::LosslessJpeg)]
        {
            std::fs::write(folder.join(format!("{name}-{storage}.dng")), raw.to_dng(compression))?;
        }
    }
    Ok(())
}
