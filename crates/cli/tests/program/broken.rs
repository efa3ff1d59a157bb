//! Files that are no frames: a row each, in words, and nothing else happens.

use std::fs;

use super::{audit, cards, frame, run, shoot};

#[test]
fn empty_text_cut_and_missing_files_get_their_rows() {
    let folder = shoot(1);
    let at = |name: &str| folder.path().join("shoot").join(name);
    let whole = frame(1);
    fs::write(at("empty.dng"), "").unwrap();
    fs::write(at("text.cr2"), "a shopping list\n".repeat(50)).unwrap();
    fs::write(at("zeros.nef"), vec![0u8; 100_000]).unwrap();
    for (name, share) in [("cut1.dng", 0.1), ("cut2.dng", 0.5), ("cut3.dng", 0.97)] {
        fs::write(at(name), &whole[..(whole.len() as f64 * share) as usize]).unwrap();
    }
    let before: Vec<Vec<u8>> = fs::read_dir(at("")).unwrap().map(|e| fs::read(e.unwrap().path()).unwrap()).collect();
    let (ran, cards) = audit(folder.path(), &["shoot/none.dng", "shoot/F_0000.dng", "/dev/null"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert_eq!(cards.len(), 9);
    for card in &cards {
        let name = card["file"].as_str().unwrap();
        if name.ends_with("F_0000.dng") {
            assert_eq!(card["status"], "measured");
            continue;
        }
        assert_ne!(card["status"], "measured", "{name}");
        assert_ne!(card["verdict"]["outcome"], "prints", "{name}");
        let error = card["error"].as_str().unwrap();
        assert!(!error.is_empty() && !error.contains('\n') && error.len() < 400, "{name}: {error}");
    }
    let after: Vec<Vec<u8>> = fs::read_dir(at("")).unwrap().map(|e| fs::read(e.unwrap().path()).unwrap()).collect();
    assert!(before == after, "raw files are only ever read");
}

#[test]
fn absurd_headers_do_not_take_the_run_down() {
    let folder = shoot(2);
    let mut bytes = frame(9);
    // ImageWidth and ImageLength of every directory (entries begin at even places): 60000.
    let mut changed = 0;
    for at in (0..bytes.len() - 12).step_by(2) {
        let tag = u16::from_le_bytes([bytes[at], bytes[at + 1]]);
        let kind = u16::from_le_bytes([bytes[at + 2], bytes[at + 3]]);
        let count = u32::from_le_bytes([bytes[at + 4], bytes[at + 5], bytes[at + 6], bytes[at + 7]]);
        if (tag == 256 || tag == 257) && (kind == 3 || kind == 4) && count == 1 {
            bytes[at + 8..at + 12].copy_from_slice(&60_000u32.to_le_bytes());
            changed += 1;
        }
    }
    assert!(changed >= 2);
    fs::write(folder.path().join("shoot/E.dng"), &bytes).unwrap();
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(3));
    assert_eq!(cards.len(), 3);
    assert_eq!(cards[0]["status"], "unreadable");
    assert_eq!(cards.iter().filter(|c| c["status"] == "measured").count(), 2);
}

#[test]
fn a_folder_without_raws_is_said_so() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("note.txt"), "x").unwrap();
    let ran = run(folder.path(), &["audit", "."]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("no raw file") && ran.err.lines().count() == 1, "{}", ran.err);
    assert!(!folder.path().join("rawassay.ndjson").exists());
    // Named, it gets its row.
    let ran = run(folder.path(), &["audit", "note.txt", "--format", "ndjson"]);
    assert_eq!((ran.code, cards(&ran.out).len()), (Some(3), 1));
}

/// TIFF 6.0, section 15: tiles at the right and lower edge are padded to the full size, however little of the picture
/// is in them.
#[test]
fn padded_edge_tiles_are_no_damage() {
    let folder = shoot(0);
    let recipe = rawassay_scene::Recipe::new(rawassay_scene::SceneKind::DeadLeaves).size(1030, 530);
    let bytes = rawassay_scene::render(&recipe).to_dng(rawassay_scene::Compression::LosslessJpeg);
    fs::write(folder.path().join("shoot/edge.dng"), bytes).unwrap();
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!((ran.code, &cards[0]["status"]), (Some(0), &"measured".into()), "{}", cards[0]["error"]);
}
