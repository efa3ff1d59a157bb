//! The built program, run as a user runs it.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod broken;
mod ends;
mod formats;
mod manners;
mod mishaps;
mod names;
mod outputs;
mod page;
mod resume;
mod samples;
mod targets;
mod told;
mod words;
mod workers;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;

use rawassay_scene::{Compression, Recipe, SceneKind, render};
use serde_json::Value;

/// One simulated frame as DNG bytes: 1.5 megapixels, rendered once.
static FRAME: LazyLock<Vec<u8>> = LazyLock::new(|| {
    render(&Recipe::new(SceneKind::Buildings).size(1500, 1000).seeds(7, 7)).to_dng(Compression::LosslessJpeg)
});

/// A frame whose file differs from all others: bytes behind the picture, where no reader looks.
fn frame(number: u32) -> Vec<u8> {
    [&FRAME[..], &number.to_le_bytes()[..]].concat()
}

/// A folder of its own with that many frames under `shoot/`.
fn shoot(frames: u32) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("shoot")).unwrap();
    for number in 0..frames {
        std::fs::write(folder.path().join(format!("shoot/F_{number:04}.dng")), frame(number)).unwrap();
    }
    folder
}

/// The program, to be run in that folder.
fn program(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rawassay"));
    command.args(arguments).current_dir(folder).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command.env("RUST_BACKTRACE", "1");
    // Nothing of the defaults of whoever runs the tests.
    command.env("XDG_CONFIG_HOME", folder).env_remove("RAWASSAY_CONFIG").env_remove("RAWASSAY_BRIEF");
    command
}

/// What a run left.
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

impl From<Output> for Ran {
    fn from(output: Output) -> Self {
        let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
        let ran = Self { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) };
        for word in ["panicked", "stack backtrace", "RUST_BACKTRACE", "memory allocation of"] {
            assert!(!ran.err.contains(word) && !ran.out.contains(word), "{word} reached the user: {}", ran.err);
        }
        ran
    }
}

fn run(folder: &Path, arguments: &[&str]) -> Ran {
    program(folder, arguments).output().unwrap().into()
}

/// An audit of `shoot` with scorecards as NDJSON on stdout.
fn audit(folder: &Path, more: &[&str]) -> (Ran, Vec<Value>) {
    let ran = run(folder, &[&["audit", "shoot", "--format", "ndjson"], more].concat());
    let cards = cards(&ran.out);
    (ran, cards)
}

fn cards(ndjson: &str) -> Vec<Value> {
    ndjson.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn files(cards: &[Value]) -> Vec<String> {
    cards.iter().map(|card| card["file"].as_str().unwrap().to_owned()).collect()
}

/// Sample files of real cameras, where this machine has them.
fn samples_folder() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/samples");
    let folder = std::env::var_os("RAWASSAY_SAMPLES").map_or(beside, PathBuf::from);
    folder.is_dir().then_some(folder)
}
