//! Briefs from any text.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    let _ = rawassay_analysis::Brief::parse(text, "fuzz.toml");
});
