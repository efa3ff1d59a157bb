//! The whole way to a frame, for files of at most 64 KiB, held either way: both give the same. The readers' own panics are
//! caught inside.
#![no_main]

use std::path::Path;

use rawassay_decode::{Content, DecodeError, open_bytes};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if bytes.len() <= 1 << 16 {
        let found = open_bytes(Path::new("fuzz"), bytes.to_vec());
        let in_place = open_bytes(Path::new("fuzz"), Content::in_words(bytes));
        match (found, in_place) {
            (Ok(frame), Ok(same)) => {
                assert_eq!(frame.samples.len(), frame.width * frame.height * frame.filter.samples_per_pixel);
                assert_eq!(frame.samples, same.samples);
            }
            (Err(error), Err(same)) => {
                assert_eq!(error.to_string().lines().count(), 1);
                // rawler keeps directories in a map that is hashed anew each time: of two faults of one broken file it may
                // name either.
                let by_rawler = |e: &DecodeError| e.to_string().contains("(rawler");
                assert!(error.to_string() == same.to_string() || by_rawler(&error) && by_rawler(&same), "{error}, {same}");
            }
            (found, same) => panic!("{:?} and {:?}", found.map(|f| f.width), same.map(|f| f.width)),
        }
    }
});
