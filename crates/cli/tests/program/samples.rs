//! Real files of real cameras: five rows, the right shot data, one clear refusal.

use super::{cards, run, samples_folder};

#[test]
fn five_rows_with_the_cameras_own_data() {
    let Some(samples) = samples_folder() else {
        println!("skipped: no folder of sample files (RAWASSAY_SAMPLES)");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let ran = run(folder.path(), &["audit", samples.to_str().unwrap(), "--format", "ndjson"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    let cards = cards(&ran.out);
    assert_eq!(cards.len(), 5);
    let of = |name: &str| cards.iter().find(|c| c["file"].as_str().unwrap().ends_with(name)).unwrap();
    // Exif of the file as exifread shows it: ISO 640, 1/400 s, f/22, 22 mm; 3504 px on 22.5 mm make 6.42 um.
    let cr2 = &of("canon-30d.cr2")["shot"];
    assert_eq!((cr2["iso"].as_f64(), cr2["shutter_s"].as_f64()), (Some(640.0), Some(0.0025)));
    assert_eq!((cr2["f_number"].as_f64(), cr2["focal_mm"].as_f64()), (Some(22.0), Some(22.0)));
    assert!((cr2["pixel_pitch_um"].as_f64().unwrap() - 6.4).abs() < 0.1);
    let refused = of("vc5-compressed.gpr");
    assert_eq!(refused["status"], "unreadable");
    assert!(refused["error"].as_str().unwrap().contains("VC-5"), "{refused}");
    assert_eq!(cards.iter().filter(|c| c["status"] == "measured").count(), 4);
    assert!(ran.err.contains("5 frames") && ran.err.contains("1 file unreadable"), "{}", ran.err);
}
