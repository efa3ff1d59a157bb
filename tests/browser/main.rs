//! The pages in a real browser: headless Chromium, driven by playwright-core (npm) from `pages.test.mjs`.
//!
//! Needs `node`, Chromium (env RAWASSAY_CHROMIUM, else `chromium` and its usual names) and `npm ci` in this folder; skips
//! with the reason where one is missing.

#![allow(clippy::unwrap_used, clippy::print_stderr)]

use std::path::{Path, PathBuf};
use std::process::Command;

/// Issue: pictures under 40 kB each.
const PICTURE_BYTES: u64 = 40_000;
/// Issue: a folder of 2000 frames under 120 MB.
const FOLDER_BYTES: u64 = 120_000_000;

fn in_path(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    names.iter().find_map(|name| std::env::split_paths(&path).map(|p| p.join(name)).find(|p| p.is_file()))
}

fn folder(name: &str, frames: usize) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    rawassay_tests::invented_shoot::write(&folder, frames);
    folder
}

/// Bytes of all files below.
fn weigh(folder: &Path, heaviest_picture: &mut u64) -> u64 {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let entry = entry.unwrap();
            if entry.file_type().unwrap().is_dir() {
                return weigh(&entry.path(), heaviest_picture);
            }
            let bytes = entry.metadata().unwrap().len();
            if entry.path().extension().is_some_and(|e| e == "jpg" || e == "png") {
                *heaviest_picture = bytes.max(*heaviest_picture);
            }
            bytes
        })
        .sum()
}

#[test]
fn pages_in_a_browser() {
    let small = folder("pages-60", 60);
    let large = folder("pages-2000", 2000);
    let mut heaviest = 0;
    let bytes = weigh(&large, &mut heaviest);
    eprintln!("2000 frames: {:.1} MB, heaviest picture {:.1} kB", bytes as f64 / 1e6, heaviest as f64 / 1e3);
    assert!(heaviest < PICTURE_BYTES, "{heaviest}");
    assert!(bytes < FOLDER_BYTES, "{bytes}");

    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser");
    let Some(node) = in_path(&["node", "nodejs"]) else {
        eprintln!("skipped: no node; install Node 20 or later");
        return;
    };
    let chromium = std::env::var_os("RAWASSAY_CHROMIUM")
        .map(PathBuf::from)
        .or_else(|| in_path(&["chromium", "chromium-browser", "google-chrome"]));
    let Some(chromium) = chromium else {
        eprintln!("skipped: no Chromium; install it, or name it in RAWASSAY_CHROMIUM");
        return;
    };
    if !here.join("node_modules/playwright-core").is_dir() {
        eprintln!("skipped: playwright-core is not installed; run `npm ci --prefix tests/browser`");
        return;
    }
    let output = Command::new(node)
        .args(["--test", "--test-reporter", "spec"])
        .arg(here.join("pages.test.mjs"))
        .current_dir(&here)
        .env("CHROMIUM", chromium)
        .env("PAGES_SMALL", &small)
        .env("PAGES_LARGE", &large)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    eprintln!("{said}");
}
