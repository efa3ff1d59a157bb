//! `edge`, `sensor` and `series` as run: what belongs together, what is refused, and the same rules for the answer.

use std::fs;

use rawassay_scene::{Camera, Compression, Filter, Motion, Optics, Recipe, SceneKind, render};
use serde_json::Value;

use super::{Ran, program, run, shoot};

fn target(seed: u64) -> Vec<u8> {
    let recipe = Recipe::new(SceneKind::SlantedSquare { turn_deg: 5.0, dark: 0.15 })
        .size(700, 500)
        .seeds(3, seed)
        .exposure(100.0, -0.7);
    render(&recipe).to_dng(Compression::None)
}

fn flat(seed: u64, ev: f64) -> Vec<u8> {
    render(&Recipe::new(SceneKind::Flat).size(300, 200).seeds(1, seed).exposure(100.0, ev)).to_dng(Compression::None)
}

#[test]
fn edges_of_several_frames_with_all_that_is_needed_to_compare_them() {
    let folder = shoot(0);
    let at = folder.path();
    fs::write(at.join("a.dng"), target(1)).unwrap();
    fs::write(at.join("b.dng"), target(2)).unwrap();
    let one = run(at, &["edge", "a.dng", "--format", "json"]);
    assert_eq!(one.code, Some(0), "{}", one.err);
    let one: Value = serde_json::from_str(&one.out).unwrap();
    for field in
        ["file", "make", "model", "lens", "f_number", "iso", "pixel_pitch_um", "pitch_from", "method", "program"]
    {
        assert!(one.get(field).is_some(), "{field}");
    }
    let edges = one["edges"].as_array().unwrap();
    assert!(edges.len() >= 4, "{}", edges.len());
    for edge in edges {
        let (rise, se) = (edge["rise_px"].as_f64().unwrap(), edge["rise_se_px"].as_f64().unwrap());
        assert!(se > 0.0 && se < 0.2 * rise, "{rise} {se}");
        let pitch = one["pixel_pitch_um"].as_f64().unwrap();
        let (cy, lp) = (edge["mtf50_cy_px"].as_f64().unwrap(), edge["mtf50_lp_mm"].as_f64().unwrap());
        // Both are rounded to seven digits.
        assert!((cy * 1000.0 / pitch - lp).abs() < 2e-6 * lp);
    }
    // From the top down.
    let rows: Vec<u64> = edges.iter().map(|e| e["edge"].as_u64().unwrap()).collect();
    assert!(rows.is_sorted(), "{rows:?}");
    let csv = run(at, &["edge", "a.dng", "b.dng", "--out", "edges.csv"]);
    assert_eq!(csv.code, Some(0), "{}", csv.err);
    let text = fs::read_to_string(at.join("edges.csv")).unwrap();
    let region = edges[0]["region"].as_str().unwrap();
    assert!(text.starts_with("file,make,model,") && text.contains(region) && text.contains("b.dng"), "{region}");
    for _ in 0..2 {
        let drawn = run(at, &["edge", "a.dng", "--plot", "edges.svg", "--format", "csv"]);
        assert_eq!(drawn.code, Some(0), "{}", drawn.err);
    }
    let svg = fs::read_to_string(at.join("edges.svg")).unwrap();
    assert!(svg.starts_with("<svg ") && svg.contains("<style>") && svg.trim_end().ends_with("</svg>"));
    let table = run(at, &["edge", "a.dng"]);
    assert!(table.out.contains("ISO 100") && table.out.contains("+-"), "{}", table.out);
    let folder_given = run(at, &["edge", "shoot"]);
    assert!(folder_given.code == Some(2) && folder_given.err.contains("is a folder"), "{}", folder_given.err);
    // Of a region that holds the whole square the longest edge is meant, and the others are told of.
    let whole = run(at, &["edge", "a.dng", "--region", "690x490+4+4"]);
    assert!(whole.out.contains("straight edges; the longest was measured"), "{}{}", whole.out, whole.err);
}

#[test]
fn a_reader_that_has_seen_enough_is_no_fault() {
    let folder = shoot(0);
    std::fs::write(folder.path().join("a.dng"), target(1)).unwrap();
    for format in ["csv", "json"] {
        // As `rawassay edge ... | head`: the other end closes before the table, longer than what is held back, is out.
        let mut child = program(folder.path(), &["edge", "a.dng", "--format", format]).spawn().unwrap();
        drop(child.stdout.take());
        let ran = Ran::from(child.wait_with_output().unwrap());
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{format}");
    }
}

#[test]
fn a_pair_is_two_different_frames() {
    let folder = shoot(0);
    let at = folder.path();
    let write = |name: &str, bytes: Vec<u8>| fs::write(at.join(name), bytes).unwrap();
    for (k, ev) in [-5.0, -4.0, -3.3, -2.0].into_iter().enumerate() {
        for i in 0..2 {
            write(&format!("flat{k}{i}.dng"), flat(10 * k as u64 + i + 1, ev));
        }
    }
    for i in 0..3 {
        write(&format!("dark{i}.dng"), flat(100 + i, -30.0));
    }
    fs::copy(at.join("dark0.dng"), at.join("copy.dng")).unwrap();
    let longer = [&fs::read(at.join("dark0.dng")).unwrap()[..], b"more"].concat();
    write("longer.dng", longer);
    let flats = [
        "flat00.dng",
        "flat01.dng",
        "flat10.dng",
        "flat11.dng",
        "flat20.dng",
        "flat21.dng",
        "flat30.dng",
        "flat31.dng",
    ];
    let sensor = |flats: &[&str], darks: &[&str], more: &[&str]| {
        run(at, &[&["sensor", "--flat"], flats, &["--dark"], darks, more].concat())
    };
    for (darks, words) in [
        (["dark0.dng", "dark0.dng"], "given twice"),
        (["dark0.dng", "copy.dng"], "dark0.dng and copy.dng are the same frame"),
        (["dark0.dng", "longer.dng"], "are the same frame"),
    ] {
        let ran = sensor(&flats, &darks, &[]);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{darks:?}: {}", ran.err);
        assert!(ran.err.contains(words) && ran.err.lines().count() == 1, "{}", ran.err);
    }
    let ran = sensor(&["flat00.dng", "flat00.dng"], &["dark0.dng", "dark1.dng"], &[]);
    assert!(ran.err.contains("given twice"), "{}", ran.err);
    let ran = sensor(&["dark0.dng", "dark1.dng"], &["flat30.dng", "flat31.dng"], &[]);
    assert!(ran.code == Some(1) && ran.err.contains("--flat"), "{}", ran.err);
    let ran = sensor(&flats, &["dark0.dng", "dark1.dng"], &["--format", "json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let answer: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((answer["flats"].as_array().unwrap().len(), answer["darks"].as_array().unwrap().len()), (8, 2));
    for channel in answer["channels"].as_array().unwrap() {
        let (gain, se) = (channel["gain_e_per_dn"].as_f64().unwrap(), channel["gain_se_e_per_dn"].as_f64().unwrap());
        assert!(se > 0.0 && se < 0.1 * gain, "{gain} {se}");
    }
    // One note for all planes, not one each.
    let notes = answer["notes"].as_array().unwrap();
    assert!(notes.iter().filter(|n| n.as_str().unwrap().contains("no flat is saturated")).count() <= 1, "{notes:?}");
    let ran = sensor(&flats, &["dark0.dng", "dark1.dng"], &["--out", "sensor.csv"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(fs::read_to_string(at.join("sensor.csv")).unwrap().starts_with("name,gain_e_per_dn,gain_se_e_per_dn,"));
}

/// An edge that winds: a target's rows moved to and fro by 1 px.
fn winding() -> Vec<u8> {
    let mut raw = render(
        &Recipe::new(SceneKind::SingleEdge { normal_deg: 5.0, dark: 0.15 })
            .size(600, 400)
            .camera(Camera { filter: Filter::monochrome(), ..Camera::default() })
            .exposure(100.0, -0.7),
    );
    let [x, y, width, height] = raw.active();
    for row in y..y + height {
        let by = (1.0 + (row as f64 / 12.0).sin()).round() as usize;
        let at = row * raw.width + x;
        raw.samples[at..at + width].rotate_right(by);
    }
    raw.to_dng(Compression::None)
}

/// What is no edge, or not a straight one, gives no figures: null, the reason, and exit status 1; beside a sound target, 3.
#[test]
fn what_is_no_target_is_undetermined_and_not_a_figure() {
    let folder = shoot(0);
    let at = folder.path();
    fs::write(at.join("winding.dng"), winding()).unwrap();
    fs::write(at.join("flat.dng"), flat(1, -1.0)).unwrap();
    fs::write(at.join("sound.dng"), target(1)).unwrap();
    let ran = run(at, &["edge", "winding.dng", "--format", "json"]);
    assert_eq!(ran.code, Some(1), "{}{}", ran.err, ran.out);
    assert!(ran.err.contains("winding.dng: no slanted edge measured") && ran.err.contains("straight"), "{}", ran.err);
    let answer: Value = serde_json::from_str(&ran.out).unwrap();
    let edge = &answer["edges"][0];
    assert_eq!(edge["standing"], "undetermined");
    assert!(edge["rise_px"].is_null() && edge["mtf50_cy_px"].is_null() && edge["mtf10_cy_px"].is_null());
    assert!(edge["curve"].as_array().unwrap().is_empty() && answer["error"].as_str().unwrap().contains("straight"));
    let ran = run(at, &["edge", "winding.dng"]);
    assert!(ran.code == Some(1) && ran.out.contains("undetermined"), "{}{}", ran.out, ran.err);
    let ran = run(at, &["edge", "winding.dng", "--format", "csv"]);
    let row = ran.out.lines().nth(1).unwrap();
    assert!(ran.out.lines().count() == 2 && row.contains(",,") && row.contains("undetermined"), "{}", ran.out);
    let ran = run(at, &["edge", "flat.dng", "--format", "json"]);
    let answer: Value = serde_json::from_str(&ran.out).unwrap();
    assert!(ran.code == Some(1) && answer["edges"].as_array().unwrap().is_empty(), "{}", ran.err);
    assert!(answer["error"].as_str().unwrap().contains("no straight edge"), "{answer}");
    let ran = run(at, &["edge", "sound.dng", "flat.dng", "winding.dng", "--format", "json"]);
    let answers: Value = serde_json::from_str(&ran.out).unwrap();
    assert!(ran.code == Some(3) && answers.as_array().unwrap().len() == 3, "{}", ran.err);
    assert!(answers[0]["edges"].as_array().unwrap().iter().all(|e| e["standing"] == "measured"), "{}", answers[0]);
    // A region outside the picture is wrong usage, of one frame and of all; the others are measured.
    for frames in [&["sound.dng"][..], &["sound.dng", "flat.dng"]] {
        let ran = run(at, &[&["edge", "--region", "100x100+5000+0"], frames].concat());
        assert!(ran.code == Some(2) && ran.err.contains("does not lie inside"), "{frames:?} {}", ran.err);
    }
}

/// Every frame that was named has its place in the answer, read or not.
#[test]
fn frames_without_an_edge_are_in_the_answer_with_the_reason() {
    let folder = shoot(0);
    let at = folder.path();
    fs::write(at.join("flat.dng"), flat(1, -1.0)).unwrap();
    fs::write(at.join("sound.dng"), target(1)).unwrap();
    fs::write(at.join("broken.dng"), b"II*\0no more of it").unwrap();
    let frames = ["edge", "flat.dng", "sound.dng", "broken.dng"];
    let ran = run(at, &[&frames[..], &["--format", "csv"]].concat());
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert_eq!(ran.err.matches("broken.dng").count(), 1, "{}", ran.err);
    let mut reader = csv::Reader::from_reader(ran.out.as_bytes());
    assert_eq!(reader.headers().unwrap().iter().next_back(), Some("error"));
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    for (name, words) in [("flat.dng", "no straight edge"), ("broken.dng", "")] {
        let of: Vec<_> = rows.iter().filter(|row| &row[0] == name).collect();
        assert_eq!(of.len(), 1, "{name}");
        let error = of[0].iter().next_back().unwrap();
        assert!(!error.is_empty() && error.contains(words) && !error.contains("dng"), "{name}: {error}");
    }
    assert!(rows.iter().filter(|row| &row[0] == "sound.dng").all(|row| row[row.len() - 1].is_empty()));
    let ran = run(at, &[&frames[..], &["--format", "json"]].concat());
    let answers: Value = serde_json::from_str(&ran.out).unwrap();
    let answers = answers.as_array().unwrap();
    assert!(ran.code == Some(3) && answers.len() == 3, "{}", ran.err);
    for (answer, name) in answers.iter().zip(&frames[1..]) {
        assert_eq!(answer["file"], *name);
        let sound = *name == "sound.dng";
        assert_eq!((answer["error"].is_string(), answer["edges"].as_array().unwrap().is_empty()), (!sound, !sound));
    }
    let ran = run(at, &frames);
    assert!(ran.code == Some(3) && !ran.out.contains("broken"), "{}{}", ran.out, ran.err);
}

/// The drawing and the answer are two files.
#[test]
fn the_answer_is_not_written_over_the_drawing() {
    let folder = shoot(0);
    let at = folder.path();
    fs::write(at.join("sound.dng"), target(1)).unwrap();
    for out in ["p.svg", "./p.svg"] {
        let ran = run(at, &["edge", "sound.dng", "--plot", "p.svg", "--out", out]);
        assert!(ran.code == Some(2) && ran.err.contains("--plot p.svg"), "{}", ran.err);
        assert!(!at.join("p.svg").exists());
    }
}

/// Frames that all moved have edges and a camera's name: that they moved is what is wanting.
#[test]
fn a_series_by_camera_of_moved_frames_says_what_is_wanting() {
    let folder = shoot(0);
    let motion = Motion::Straight { length_px: 9.0, direction_deg: 20.0 };
    let recipe = Recipe::new(SceneKind::Buildings).optics(Optics { motion, ..Optics::gaussian(0.5) });
    fs::write(folder.path().join("shoot/moved.dng"), render(&recipe).to_dng(Compression::None)).unwrap();
    let rows = super::audit(folder.path(), &[]).1;
    assert_eq!(rows[0]["blur"]["kind"], "motion", "{}", rows[0]["blur"]);
    let ran = run(folder.path(), &["series", "rawassay.ndjson", "--by", "camera"]);
    assert!(ran.code == Some(1) && ran.err.contains("neither motion nor missed focus"), "{}{}", ran.out, ran.err);
}
