//! Existing XMP sidecars of any bytes: kept or refused, never a panic.
#![no_main]

use rawassay_report::sidecar::{Tags, write};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = write(Some(bytes), &Tags::default());
});
