//! Writes the demonstration shoot with its truth: `cargo run --release -p rawassay-scene --example shoot -- OUTDIR`.

use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        return Err(std::io::Error::other("usage: shoot OUTDIR"));
    };
    std::fs::create_dir_all(&folder)?;
    let takes = rawassay_scene::shoot();
    let (report, problems) = std::sync::mpsc::channel();
    rawassay_scene::write_shoot(&takes, &folder, |_, path, raw| {
        if let Err(problem) = std::fs::write(path.with_extension("json"), raw.truth.to_json()) {
            report.send(problem).ok();
        }
    })?;
    drop(report);
    problems.into_iter().next().map_or(Ok(()), Err)
}
