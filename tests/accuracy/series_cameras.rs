//! What a photographer would do on the answer about two cameras where more pixels are not what decides: a soft or noisy larger
//! one, frames that were shaken, prints so large that both are soft.

use rawassay_analysis::series::By;
use rawassay_analysis::{BlurKind, Brief};
use rawassay_report::Record;
use rawassay_tests::session::{Body, Dice, Take, record};

use crate::series::answer;
use crate::series_advice::{near, only};

/// 24 and 96 megapixels of one size; lens of the larger one given (60 um^2 is that of the smaller).
pub(crate) fn bodies(aberration_um2: f64) -> [Body; 2] {
    let small = Body { aberration_um2: 60.0, ..Body::common() };
    let large = Body {
        model: "Meridian 96",
        serial: Some("M96-0007"),
        size_px: (12_000, 8000),
        pitch_um: 3.0,
        full_well_e: 14_000.0,
        aberration_um2,
        ..small.clone()
    };
    [small, large]
}

/// `frames` of each body, by turns.
fn by_turns(bodies: &[Body; 2], frames: usize, take: &dyn Fn(usize, usize) -> Take) -> Vec<Record> {
    let mut dice = Dice(77);
    (0..2 * frames)
        .map(|i| {
            let take = Take { file: i.to_string(), ..take(i % 2, i / 2) };
            record(&bodies[i % 2], &take, &mut dice)
        })
        .collect()
}

/// A frame's blur as the measures call it.
pub(crate) fn called(records: &mut [Record], kind: BlurKind, of: impl Fn(usize) -> bool) {
    for (_, record) in records.iter_mut().enumerate().filter(|(i, _)| of(*i)) {
        record.measures.as_mut().unwrap().blur.kind = kind;
    }
}

fn f_5_6(_: usize, _: usize) -> Take {
    Take { f_number: 5.6, ..Take::default() }
}

/// Rises on the paper by the closed form of the session (0.64 + diffraction + aberration, squared pixels): 0.16 mm with the
/// smaller camera; with the larger one behind a lens of 4000 um^2 at f/1 0.26 mm. At 30 cm (0.087 mm to the minute of
/// arc) the contrasts at 15 cycles per degree are 0.53 and 0.18: the smaller one shows more.
#[test]
fn a_larger_camera_behind_a_soft_lens_is_not_worth_carrying() {
    let mut records = by_turns(&bodies(4000.0), 8, &f_5_6);
    let told = |records: &[Record]| only(&answer(By::Camera, records, &near())).answer.clone();
    let soft = told(&records);
    assert!(soft.contains("Meridian 96 is not worth carrying"), "{soft}");
    // So soft a lens looks out of focus: still an answer, and it says under which condition.
    called(&mut records, BlurKind::Defocus, |i| i % 2 == 1);
    let series = answer(By::Camera, &records, &near());
    let group = only(&series);
    assert!(group.answer.starts_with("As focused here: Meridian 96 is not worth carrying"), "{}", group.answer);
    assert!(group.warnings.iter().any(|w| w.contains("8 of 8 frames of Meridian 96 may be out of focus")));
    assert_eq!(group.best.as_ref().map(|b| serde_json::to_value(&b.setting).unwrap()), Some("Meridian 24".into()));
}

/// Prints so large that fine texture (15 cycles per degree) is lost with either camera, looked into closely: rises of 0.81 mm and, behind
/// a lens of 20 000 um^2 at f/1, of 3.2 mm (9.3 and 37 minutes of arc). By exp(-2 (pi R f / (2.563 x 60))^2) neither keeps one per cent at 15 cycles per degree, but
/// 0.52 and 0.00 at 3.
#[test]
fn between_two_soft_prints_the_softer_one_is_named() {
    let wall = "name = \"wall\"\n[output]\nsize = \"450 x 300 cm\"\ndistance = \"30 cm\"\n";
    let wall = Brief::parse(wall, "wall.toml").unwrap();
    let records = by_turns(&bodies(20_000.0), 8, &f_5_6);
    let told = only(&answer(By::Camera, &records, &wall)).answer.clone();
    assert!(told.starts_with("Meridian 96 is not worth carrying for wall"), "{told}");
    assert!(told.contains("finer detail shows with Meridian 24 (coarser texture keeps"), "{told}");
}

/// One lens that limits both: equal rises on the paper are no difference, though the edges look out of focus on either.
#[test]
fn where_one_lens_limits_both_cameras_there_is_no_difference() {
    // 0.64 px^2 of pixel is all that differs: 23 um^2 and 5.8 um^2 beside aberrations of 20 000 / 5.6^2 = 640 um^2.
    let [small, large] = bodies(20_000.0);
    let mut records = by_turns(&[Body { aberration_um2: 20_000.0, ..small }, large], 8, &f_5_6);
    called(&mut records, BlurKind::Defocus, |_| true);
    let told = only(&answer(By::Camera, &records, &near())).answer.clone();
    assert!(told.starts_with("As focused here: No visible difference"), "{told}");
}

/// Noise that is worse with the larger camera is not "the same". Full wells of 50 000 and 3000 electrons at ISO 100: at ISO
/// 1600 396 and 24 electrons of mid-tone, 20 and 5 to one (read noise apart), on a print that averages over neither.
#[test]
fn a_noisier_larger_camera_is_called_noisier() {
    let [small, large] = bodies(60.0);
    let bodies = [small, Body { full_well_e: 3000.0, ..large }];
    let isos = [100.0, 1600.0];
    let records = by_turns(&bodies, 8, &|_, i| Take { f_number: 5.6, iso: isos[i % 2], ..Take::default() });
    let told = only(&answer(By::Camera, &records, &near())).answer.clone();
    assert!(told.contains("mid-tones of Meridian 96 are") && told.contains("times noisier"), "{told}");
    assert!(!told.contains("noise is the same"), "{told}");
    assert!(told.starts_with("Meridian 96 shows finer detail for near, Meridian 24 less noise"), "{told}");
}

/// Less noise with the larger camera at one ISO and more at another decides nothing: both are told. Mid-tones are set, not
/// drawn: the smaller camera's 12 dB worse at ISO 1600, the larger one's at ISO 3200.
#[test]
fn noise_that_is_less_at_one_iso_and_more_at_another_is_told_of_both() {
    let isos = [100.0, 1600.0, 3200.0];
    let told = |worse_at: [f64; 2]| {
        let mut records =
            by_turns(&bodies(60.0), 9, &|_, i| Take { f_number: 5.6, iso: isos[i % 3], ..Take::default() });
        for (i, record) in records.iter_mut().enumerate() {
            let iso = isos[i / 2 % 3];
            let noise = &mut record.measures.as_mut().unwrap().noise;
            // On the paper the larger camera gains 2.9 dB, two of its pixels to the finest that is seen.
            let worse = if iso == worse_at[i % 2] { 12.0 } else { 0.0 };
            noise.snr_midtone_db = Some([28.0, 25.0][i % 2] - worse);
        }
        only(&answer(By::Camera, &records, &near())).answer.clone()
    };
    let both = told([1600.0, 3200.0]);
    assert!(both.contains("times cleaner at ISO 1600 and") && both.contains("times noisier at ISO 3200"), "{both}");
    assert!(!both.contains("less noise"), "{both}");
    // One camera alone, at the middle setting only.
    let larger = told([1600.0, 0.0]);
    assert!(larger.contains("times cleaner than those of Meridian 24 at ISO 1600"), "{larger}");
    let smaller = told([0.0, 1600.0]);
    assert!(
        smaller.starts_with("Meridian 96 shows finer detail for near, Meridian 24 less noise at ISO 1600"),
        "{smaller}"
    );
}

/// One frame of each camera gives the sharpness no interval; that the larger one's noise is less is still told, and no more.
#[test]
fn less_noise_is_told_where_sharpness_is_not() {
    let mut records = by_turns(&bodies(60.0), 1, &|_, _| Take { f_number: 5.6, iso: 1600.0, ..Take::default() });
    records[0].measures.as_mut().unwrap().noise.snr_midtone_db = Some(15.0);
    let told = only(&answer(By::Camera, &records, &near())).answer.clone();
    assert!(
        told.starts_with("Meridian 96 shows less noise than Meridian 24 for near, sharpness cannot be told"),
        "{told}"
    );
    assert!(
        told.contains("mid-tones of Meridian 96 are") && told.contains("cleaner than those of Meridian 24"),
        "{told}"
    );
    assert!(told.contains("usable range of Meridian 96 is"), "{told}");
}

/// Frames that were all shaken leave the question open, but do not turn the cameras round.
#[test]
fn shaken_frames_of_the_larger_camera_are_named_as_the_reason() {
    let shake = |larger: usize, i: usize| Take {
        f_number: 5.6,
        motion_px: if larger == 1 { 9.0 } else { 0.0 },
        motion_deg: 20.0 * i as f64,
        ..Take::default()
    };
    let told = only(&answer(By::Camera, &by_turns(&bodies(60.0), 4, &shake), &near())).answer.clone();
    assert!(told.starts_with("Whether Meridian 96 shows over Meridian 24"), "{told}");
    assert!(told.contains("all 4 frames of Meridian 96 are shaken"), "{told}");
}
