//! The worked example of docs/scale.md as it stands there: shards over file lists, records joined, judged again, and asked
//! as columns by an existing engine (DuckDB through Python, where the reference interpreter has it).

#[path = "../outside/python.rs"]
mod python;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use rawassay_scene::{Compression, Recipe, SceneKind, render};

use crate::{program, run};

/// The blocks of one language in the document.
fn blocks(language: &str) -> Vec<String> {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/scale.md")).unwrap();
    let mut parts = text.split("```");
    let mut found = Vec::new();
    while let (Some(_), Some(block)) = (parts.next(), parts.next()) {
        found.extend(block.strip_prefix(language).and_then(|b| b.strip_prefix('\n')).map(str::to_owned));
    }
    found
}

/// Runs a script in that folder, with the program under its usual name.
fn shell(folder: &Path, script: &str) {
    let paths = std::env::var("PATH").unwrap_or_default();
    let path = format!("{}:{paths}", program().parent().unwrap().display());
    let done = Command::new("sh").args(["-e", "-c", script]).current_dir(folder).env("PATH", path).output().unwrap();
    // What ends it is `judge`: a frame in the record could not be read.
    assert_eq!(done.status.code(), Some(3), "{}", String::from_utf8_lossy(&done.stderr));
}

fn lines(path: &Path) -> Vec<String> {
    let text = fs::read_to_string(path).unwrap();
    text.lines().map(str::to_owned).collect()
}

const ASK: &str = r#"
import json, os, sys
try:
    import duckdb
except ImportError:
    print("no duckdb")
    sys.exit()
folder, asked, made = sys.argv[1:]
os.chdir(folder)
rows = duckdb.sql(asked)
names = rows.columns
answer = [dict(zip(names, map(lambda v: v if v is None or isinstance(v, str) else float(v), row))) for row in rows.fetchall()]
duckdb.sql(made)
count = duckdb.sql("SELECT count(*), count(DISTINCT file) FROM 'archive.parquet'").fetchall()[0]
print(json.dumps({"answer": answer, "count": count}))
"#;

#[cfg(unix)]
#[test]
fn the_example_of_the_document_runs_as_it_stands() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path().canonicalize().unwrap();
    let shots = folder.join("demo-shoot");
    fs::create_dir(&shots).unwrap();
    // Twenty frames of three ISO settings, and one that was cut: status 3 of its shard is no failure.
    let frames = 20_u32;
    let rendered = [100.0, 400.0, 1600.0].map(|iso| {
        let recipe = Recipe::new(SceneKind::Buildings).size(600, 400).exposure(iso, -0.3);
        render(&recipe).to_dng(Compression::LosslessJpeg)
    });
    for i in 0..frames {
        let mut bytes = rendered[i as usize % 3].clone();
        if i == 11 {
            bytes.truncate(bytes.len() / 2);
        }
        // Each file differs from all others: bytes behind the picture.
        bytes.extend(i.to_le_bytes());
        fs::write(shots.join(format!("F{i:02}.dng")), bytes).unwrap();
    }
    let script = blocks("sh").concat();
    assert!(script.contains("rawassay judge archive.ndjson"), "the document has its example");
    shell(&folder, &script);
    assert_eq!(fs::read_dir(folder.join("shards")).unwrap().count(), 3 * 2, "cards and record of three shards");
    let archive = lines(&folder.join("archive.ndjson"));
    assert_eq!(archive.len(), frames as usize);

    // One audit of everything says the same.
    let all = shots.display().to_string();
    let (status, _, error) = run(&folder, &["audit", &all, "--brief", "exhibition", "--out", "whole.csv"]);
    assert_eq!(status, 3, "{error}");
    assert_eq!(lines(&folder.join("archive.csv")), lines(&folder.join("whole.csv")));

    // Started again, with nothing new: every frame is known, nothing is measured twice.
    shell(&folder, &script);
    assert_eq!(lines(&folder.join("archive.ndjson")), archive);

    ask(&folder);
}

/// The document's questions, held against the scorecards read in the plainest way.
fn ask(folder: &Path) {
    let Some(python) = python::interpreter() else { return };
    let sql: Vec<String> = blocks("sql").concat().split(';').map(|q| q.trim().to_owned()).collect();
    let [asked, made] = [&sql[0], &sql[1]].map(String::as_str);
    let text = python::run(&python, ASK, &[&folder.display().to_string(), asked, made]);
    if text.trim() == "no duckdb" {
        eprintln!("skipped: the interpreter has no duckdb (tests/requirements.txt)");
        return;
    }
    let told: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(told["count"], serde_json::json!([20, 20]));

    let (_, cards, _) = run(folder, &["judge", "archive.ndjson", "--brief", "exhibition", "--format", "ndjson"]);
    // By ISO: frames, those that print.
    let mut groups: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for card in cards.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap()) {
        let iso = card["shot"]["iso"].as_f64().map_or("unknown".into(), |iso| format!("{iso}"));
        let group = groups.entry(iso).or_default();
        group.0 += 1.0;
        group.1 += f64::from(u8::from(card["verdict"]["outcome"] == "prints"));
    }
    let answers = told["answer"].as_array().unwrap();
    assert_eq!(answers.len(), groups.len(), "{answers:?} {groups:?}");
    for answer in answers {
        let iso = answer["shot_iso"].as_f64().map_or("unknown".into(), |iso| format!("{iso}"));
        let (frames, print) = groups[&iso];
        assert_eq!(answer["frames"].as_f64(), Some(frames));
        assert!((answer["keeper_rate"].as_f64().unwrap() - print / frames).abs() < 1e-9, "{answer}");
    }
}
