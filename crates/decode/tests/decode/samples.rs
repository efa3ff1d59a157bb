//! The real files, where they are at hand.

use std::path::PathBuf;

use rawassay_decode::{BlackFrom, DecodeError, Integrity, open, preview};

fn sample(name: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared/samples").join(name);
    if !path.exists() {
        eprintln!("skipped: no sample {name}");
        return None;
    }
    Some(path)
}

#[test]
fn shot_data_of_a_cr2() {
    let Some(path) = sample("canon-30d.cr2") else { return };
    let frame = open(&path).unwrap();
    let shot = &frame.shot;
    assert_eq!(
        (shot.iso, shot.shutter_s, shot.f_number, shot.focal_mm),
        (Some(640.0), Some(0.0025), Some(22.0), Some(22.0))
    );
    // 22.5 mm over 3504 columns (from the maker's data sheet, from memory): 6.42 um.
    assert!((shot.pixel_pitch_um.unwrap() - 6.42).abs() < 0.05);
    assert_eq!(shot.cfa, "RGGB");
    assert_eq!(frame.integrity, Integrity::Whole);
    for levels in &frame.levels {
        assert_eq!(levels.black_from, BlackFrom::Masked);
        assert!((levels.black_dn - 128.0).abs() < 1.0);
    }
    assert!(preview(&std::fs::read(path).unwrap()).is_some());
}

#[test]
fn filter_arrays_and_levels() {
    if let Some(path) = sample("canon-g1.crw") {
        let frame = open(&path).unwrap();
        assert_eq!((frame.width, frame.height, frame.filter.word().as_str()), (2144, 1560, "GMYC"));
        assert!(frame.levels.iter().all(|l| (l.black_dn - 32.0).abs() < 1.0));
    }
    if let Some(path) = sample("colorchart-14bit.dng") {
        let frame = open(&path).unwrap();
        assert_eq!((frame.active.x, frame.active.y, frame.shot.cfa.as_str()), (152, 26, "RGGB"));
        // The Exif block is blanked: nothing may be made of its zeros.
        assert_eq!((frame.shot.iso, frame.shot.shutter_s, frame.shot.f_number), (None, None, None));
    }
    if let Some(path) = sample("lossless-gbrg.dng") {
        let frame = open(&path).unwrap();
        assert_eq!(frame.shot.cfa, "GBRG");
        assert!(!frame.dithered && frame.integrity == Integrity::Whole);
    }
    if let Some(path) = sample("vc5-compressed.gpr") {
        assert!(matches!(open(&path), Err(DecodeError::Unsupported(_))));
    }
}
