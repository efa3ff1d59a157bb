//! Container scan, Exif and preview of any bytes: no panic, no allocation by an unchecked count.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = rawassay_decode::scan_only(bytes);
});
