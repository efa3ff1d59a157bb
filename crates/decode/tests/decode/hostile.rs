//! Whatever the bytes, the answer is a frame or an error: no panic, no allocation by an unchecked count.

use std::path::Path;

use proptest::prelude::*;
use rawassay_decode::{DecodeError, open_bytes, preview};
use rawassay_scene::{Compression, DngOptions, Recipe, SceneKind, render};

fn small(compression: Compression) -> Vec<u8> {
    let options = DngOptions { compression, preview_px: 32, ..DngOptions::default() };
    render(&Recipe::new(SceneKind::Buildings).size(96, 64)).to_dng_with(&options)
}

/// Where the four bytes of a tag's value stand (first directory in file order that has it).
fn value_of(file: &[u8], tag: u16) -> usize {
    let wanted = tag.to_le_bytes();
    let kind = |at: usize| matches!(file[at + 2..at + 4], [3 | 4, 0]);
    let mut found =
        (0..file.len() - 12).filter(|&at| file[at..at + 2] == wanted && kind(at) && file[at + 5..at + 8] == [0; 3]);
    found.next_back().unwrap() + 8
}

#[test]
fn absurd_sizes_are_refused() {
    for (width, height) in [(60_000_u32, 60_000_u32), (u32::MAX, u32::MAX), (65_535, 65_535), (0, 10), (1 << 30, 1)] {
        for compression in [Compression::None, Compression::LosslessJpeg] {
            let mut file = small(compression);
            // The raw image's directory is the one with a filter array.
            let at = value_of(&file, 256);
            file[at..at + 4].copy_from_slice(&width.to_le_bytes());
            let at = value_of(&file, 257);
            file[at..at + 4].copy_from_slice(&height.to_le_bytes());
            let outcome = open_bytes(Path::new("x"), file);
            if let Ok(frame) = outcome {
                assert!(frame.width < 1000 && frame.height < 1000);
            }
        }
    }
}

/// Neighbours that stand between each other's rows are no neighbours for the measures.
#[test]
fn staggered_arrays_are_refused() {
    let mut file = small(Compression::None);
    // PlanarConfiguration, which says nothing here, becomes CFALayout in both directories.
    let planar: Vec<usize> =
        (0..file.len() - 12).filter(|&at| file[at..at + 12] == *b"\x1c\x01\x03\0\x01\0\0\0\x01\0\0\0").collect();
    for &at in &planar {
        file[at..at + 2].copy_from_slice(&50_711_u16.to_le_bytes());
    }
    assert!(open_bytes(Path::new("x"), file.clone()).is_ok());
    planar.iter().for_each(|at| file[at + 8] = 2);
    let refusal = open_bytes(Path::new("x"), file).unwrap_err();
    assert!(matches!(refusal, DecodeError::Unsupported(_)), "{refusal}");
}

/// The directory's place is told by the last four bytes.
#[test]
fn an_x3f_without_its_directory_is_cut() {
    let whole = [b"FOVb".as_slice(), &[1; 60], b"SECd", &[0; 8], &64_u32.to_le_bytes()].concat();
    let refusal = |bytes: &[u8]| open_bytes(Path::new("x"), bytes.to_vec()).unwrap_err();
    assert!(!matches!(refusal(&whole), DecodeError::Corrupt { .. }), "{}", refusal(&whole));
    assert!(matches!(refusal(&whole[..70]), DecodeError::Corrupt { .. }), "{}", refusal(&whole[..70]));
}

#[test]
fn no_raw_file_says_what_it_is() {
    let kind = |bytes: &[u8]| match open_bytes(Path::new("x"), bytes.to_vec()) {
        Err(error @ DecodeError::NotRaw(_)) => error.to_string(),
        other => panic!("{other:?}"),
    };
    assert!(kind(b"").contains("empty"));
    assert!(kind(&b"Dear diary, today I took no pictures at all. ".repeat(5)).contains("text file"));
    assert!(kind(&[[0xff, 0xd8, 0xff, 0xe0].as_slice(), &[7; 400]].concat()).contains("JPEG"));
    assert!(kind(&[0; 5000]).contains("zero"));
    assert!(kind(&[b"\0\0\0\x18ftypheic".as_slice(), &[9; 400]].concat()).contains("HEIF"));
    assert!(kind(&[0x5a; 300]).lines().count() == 1);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2000), start in 0..9_usize) {
        let starts: [&[u8]; 9] = [
            b"", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"IIRO\x08\0\0\0", b"IIU\0\x08\0\0\0",
            b"FUJIFILMCCD-RAW ", b"II\x1a\0\0\0HEAPCCDR\x02\0\x01\0", b"\0\0\0\x18ftypcrx \0\0\0\x01", b"\0MRM\0\0\0\x20\0PRD",
        ];
        let file = [starts[start], &bytes].concat();
        let _ = open_bytes(Path::new("x"), file.clone());
        let _ = preview(&file);
    }

    #[test]
    fn flipped_bytes(changes in prop::collection::vec((any::<u16>(), any::<u8>()), 1..12), lossless: bool) {
        let mut file = small(if lossless { Compression::LosslessJpeg } else { Compression::None });
        let length = file.len();
        for (at, value) in changes {
            file[usize::from(at) % length.min(6000)] = value;
        }
        let _ = open_bytes(Path::new("x"), file.clone());
        let _ = preview(&file);
    }
}
