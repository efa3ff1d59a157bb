//! Every file of `fixtures/broken`.

use std::path::PathBuf;

use rawassay_decode::{Integrity, open_bytes, preview};

#[test]
fn none_stops_the_reader_and_none_of_x_is_whole() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/broken");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if !path.is_file() || name.ends_with(".md") {
            continue;
        }
        count += 1;
        let bytes = std::fs::read(&path).unwrap();
        let _ = preview(&bytes);
        let outcome = open_bytes(&path, bytes);
        if let Err(error) = &outcome {
            assert_eq!(error.to_string().lines().count(), 1, "{name}");
        }
        if name.starts_with("x_") {
            assert!(!outcome.is_ok_and(|f| f.integrity == Integrity::Whole), "{name}");
        }
    }
    assert!(count > 0, "no fixtures found");
    // No test of this program reads a picture of more than a few megapixels.
    let largest = crate::largest_request::bytes();
    assert!(largest < 1 << 30, "a reader asked for {largest} bytes at once");
}
