//! The whole way to a frame, for files of at most 64 KiB. The readers' own panics are caught inside.
#![no_main]

use std::path::Path;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if bytes.len() <= 1 << 16 {
        match rawassay_decode::open_bytes(Path::new("fuzz"), bytes.to_vec()) {
            Ok(frame) => assert_eq!(
                frame.samples.len(),
                frame.width * frame.height * frame.filter.samples_per_pixel
            ),
            Err(error) => assert_eq!(error.to_string().lines().count(), 1),
        }
    }
});
