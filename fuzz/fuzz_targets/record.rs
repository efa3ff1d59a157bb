//! Record lines from any text: whatever reads as a record can be written and read again.
#![no_main]

use rawassay_report::Record;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(record) = serde_json::from_str::<Record>(text) {
        let again = serde_json::to_string(&record).expect("a record that was read can be written");
        let _ = serde_json::from_str::<Record>(&again).expect("and read again");
    }
});
