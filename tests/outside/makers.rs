//! Files in the containers of camera makers of whom no real file is at hand: pixels and filter array by LibRaw (through
//! rawpy), which must read back what `makers.py` wrote; the shot's data as written there. And none of them, cut short, passes
//! for whole.

use std::collections::BTreeMap;

use rawassay_decode::{Frame, Integrity, open};
use serde_json::Value;

use crate::libraw_pixels::{digest, stated};
use crate::python;

/// Folder with the files, and what LibRaw says of each.
fn files() -> Option<(tempfile::TempDir, BTreeMap<String, Value>)> {
    let python = python::interpreter()?;
    let folder = tempfile::tempdir().unwrap();
    let answer = python::run(&python, include_str!("makers.py"), &[folder.path().to_str().unwrap()]);
    let answers: BTreeMap<String, Value> = serde_json::from_str(&answer).unwrap();
    assert_eq!(answers.len(), 13);
    Some((folder, answers))
}

/// Letters of the filter array at the corner of the stored frame, six by six.
fn letters(frame: &Frame) -> String {
    let name = |at: usize| &frame.filter.planes[frame.filter.plane_at(at % 6, at / 6)].name;
    (0..36).map(|at| name(at).chars().next().unwrap()).collect()
}

/// Source: LibRaw through rawpy.
#[test]
fn pixels_and_filters_are_libraws() {
    let Some((folder, answers)) = files() else { return };
    for (name, answer) in &answers {
        let path = folder.path().join(name);
        let frame = open(&path).unwrap_or_else(|error| panic!("{name} {error}"));
        assert_eq!(frame.integrity, Integrity::Whole, "{name}");
        assert_eq!(digest(&path), stated(answer), "{name}");
        assert_eq!(letters(&frame), answer["filters"].as_str().unwrap(), "{name}");
    }
}

/// Source: what was written.
#[test]
fn the_shots_data_are_read() {
    let Some((folder, answers)) = files() else { return };
    let black = |name: &str| match name {
        "g9.rw2" => 128.0,
        "gh5s.rw2" | "a7r2.arw" | "a7r3.arw" => 512.0,
        "d300.nef" | "d610.nef" | "d7000.nef" | "d600.nef" | "k10d.pef" => 0.0,
        "xt2.raf" => 1022.0,
        _ => 400.0,
    };
    for name in answers.keys() {
        let frame = open(&folder.path().join(name)).unwrap();
        assert!(frame.levels.iter().all(|level| level.black_dn == black(name)), "{name} {:?}", frame.levels);
        let shot = &frame.shot;
        let numbers = (shot.iso, shot.shutter_s, shot.f_number, shot.focal_mm, shot.focal35_mm);
        assert_eq!(numbers, (Some(400.0), Some(1.0 / 250.0), Some(8.0), Some(50.0), Some(75.0)), "{name}");
        assert_eq!(shot.taken_at.as_deref(), Some("2024-05-06T07:08:09"), "{name}");
        assert!(shot.make.is_some() && shot.model.is_some(), "{name}");
    }
}

#[test]
fn cut_short_or_filled_up_none_passes_for_whole() {
    let Some((folder, answers)) = files() else { return };
    for name in answers.keys() {
        let path = folder.path().join(name);
        let whole = std::fs::read(&path).unwrap();
        // Zeros that begin with a row may be a black band of the scene: none of these does.
        for share in [30, 60, 85] {
            let kept = whole.len() * share / 100;
            let filled = [&whole[..kept], &vec![0; whole.len() - kept]].concat();
            for (how, bytes) in [("cut", &whole[..kept]), ("filled up", &filled)] {
                std::fs::write(&path, bytes).unwrap();
                let sound = open(&path).is_ok_and(|frame| frame.integrity == Integrity::Whole);
                assert!(!sound, "{name} {how} at {share} %");
            }
        }
    }
}
