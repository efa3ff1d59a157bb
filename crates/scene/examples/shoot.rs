//! Writes the demonstration shoot with its truth: `cargo run --release -p rawassay-scene --example shoot -- OUTDIR`.

use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        return Err(std::io::Error::other("usage: shoot OUTDIR"));
    };
    std::fs::create_dir_all(&folder)?;
    let mut problem = None;
    rawassay_scene::write_shoot(&rawassay_scene::shoot(), &folder, |_, path, raw| {
        problem = std::fs::write(path.with_extension("json"), raw.truth.to_json()).err().or(problem.take());
    })?;
    problem.map_or(Ok(()), Err)
}
