//! `audit` over broken files: cut, half-written, overwritten, with absurd headers. Each gets a row, none that was cut is
//! called measured, nothing of ours keeps running and no raw changes by a byte.

use std::collections::BTreeMap;
use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::run;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn digest(path: &Path) -> (u64, std::time::SystemTime) {
    let mut hasher = DefaultHasher::new();
    fs::read(path).unwrap().hash(&mut hasher);
    (hasher.finish(), fs::metadata(path).unwrap().modified().unwrap())
}

/// Audits a folder: exit status, and the rows by file name. Checks that nothing changed and nothing keeps running.
fn audit(folder: &Path) -> (i32, BTreeMap<String, Value>) {
    let shots = folder.join("shots");
    let files: Vec<PathBuf> = fs::read_dir(&shots).unwrap().map(|e| e.unwrap().path()).collect();
    let before: Vec<_> = files.iter().map(|f| digest(f)).collect();
    let (status, _, stderr) =
        run(folder, &["audit", "shots", "--format", "ndjson", "--out", "cards.ndjson", "--record", "r.ndjson"]);
    for word in ["panicked", "backtrace", "RUST_BACKTRACE", "memory allocation of"] {
        assert!(!stderr.contains(word), "{stderr}");
    }
    let after: Vec<_> = files.iter().map(|f| digest(f)).collect();
    assert!(before == after, "a raw file was changed");
    assert_eq!(left_over(folder), Vec::<String>::new());
    let text = fs::read_to_string(folder.join("cards.ndjson")).unwrap();
    let rows: Vec<Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(rows.len(), files.len(), "a row each: {stderr}");
    let name =
        |row: &Value| Path::new(row["file"].as_str().unwrap()).file_name().unwrap().to_string_lossy().into_owned();
    let rows: BTreeMap<String, Value> = rows.into_iter().map(|r| (name(&r), r)).collect();
    assert_eq!(rows.len(), files.len());
    for (name, row) in &rows {
        match row["status"].as_str().unwrap() {
            "measured" => {}
            "damaged" | "unreadable" => {
                let error = row["error"].as_str().unwrap_or_else(|| panic!("{name}: no reason"));
                assert_eq!(error.lines().count(), 1, "{name}");
            }
            other => panic!("{name}: {other}"),
        }
    }
    (status, rows)
}

/// Processes that still work in a folder.
fn left_over(folder: &Path) -> Vec<String> {
    let Ok(processes) = fs::read_dir("/proc") else { return Vec::new() };
    let here = folder.canonicalize().unwrap();
    let in_folder = processes.flatten().filter(|p| fs::read_link(p.path().join("cwd")).is_ok_and(|cwd| cwd == here));
    in_folder.map(|p| fs::read_to_string(p.path().join("cmdline")).unwrap_or_default()).collect()
}

/// One change of a file. True where data is lost for certain, at the end of the file.
fn mutate(bytes: &mut Vec<u8>, kind: usize, dice: &mut impl FnMut() -> usize) -> bool {
    let n = bytes.len();
    let at = dice() % n;
    match kind {
        0 | 1 => bytes.truncate(at),
        2 => bytes[at..].fill(0),
        3 => {
            let end = (at + [512, 4096, 65_536][dice() % 3]).min(n);
            match dice() % 3 {
                0 => bytes[at..end].fill(0),
                1 => bytes[at..end].fill(0xff),
                _ => bytes[at..end].iter_mut().for_each(|b| *b = dice() as u8),
            }
        }
        _ => {
            for _ in 0..1 + dice() % 8 {
                let at = dice() % n.min(4096);
                bytes[at] = dice() as u8;
            }
        }
    }
    kind < 3
}

/// Source of the counts: issue of the robust audit, 300 mutations of the four readable samples.
#[test]
fn three_hundred_broken_files() {
    let samples = root().join("../shared/samples");
    let mut state = 20_240_309_u64;
    let mut dice = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize
    };
    // Fewer of the large ones: the test has to stay short.
    for (sample, count) in
        [("lossless-gbrg.dng", 100), ("colorchart-14bit.dng", 90), ("canon-g1.crw", 70), ("canon-30d.cr2", 40)]
    {
        let Ok(whole) = fs::read(samples.join(sample)) else {
            eprintln!("skipped: no sample {sample}");
            continue;
        };
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("shots")).unwrap();
        let extension = Path::new(sample).extension().unwrap().to_string_lossy().into_owned();
        let mut cut = Vec::new();
        for i in 0..count {
            let mut bytes = whole.clone();
            let name = format!("b{i:03}.{extension}");
            if mutate(&mut bytes, i % 5, &mut dice) {
                cut.push(name.clone());
            }
            fs::write(folder.path().join("shots").join(name), bytes).unwrap();
        }
        let (status, rows) = audit(folder.path());
        assert_eq!(status, 3, "{sample}");
        for name in cut {
            assert_ne!(rows[&name]["status"], "measured", "{sample} {name}");
        }
    }
}

#[test]
fn every_broken_fixture_has_a_row() {
    let folder = tempfile::tempdir().unwrap();
    let shots = folder.path().join("shots");
    fs::create_dir(&shots).unwrap();
    for entry in fs::read_dir(root().join("fixtures/broken")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "md") {
            // All under a raw's extension: the walk takes them, the content decides.
            let name = format!("{}.dng", path.file_stem().unwrap().to_string_lossy());
            fs::copy(&path, shots.join(name)).unwrap();
        }
    }
    fs::write(shots.join("x_empty.nef"), b"").unwrap();
    fs::write(shots.join("x_text.cr2"), b"These are only words, and not a single picture.").unwrap();
    let (status, rows) = audit(folder.path());
    // 1 is also right: where no file at all can be measured, nothing could be done.
    assert!(status == 3 || status == 1, "{status}");
    for (name, row) in rows.iter().filter(|(n, _)| n.starts_with("x_")) {
        assert_ne!(row["status"], "measured", "{name}");
    }
}
