//! What directions make of a kind, on hand-made readings.

use super::*;

fn reading(verdict: Verdict, sigma_px: f64) -> KindReading {
    KindReading {
        verdict,
        psf: PointSpread { sigma_px, ..PointSpread::default() },
        defocus_px: None,
        confidence: 0.7,
        one_way: false,
        mirrored: None,
        from_nulls: false,
        whole_frame: false,
    }
}

fn open(reading: &KindReading) -> bool {
    matches!(reading.verdict, Verdict::Undetermined(_))
}

#[test]
fn few_edges_near_the_allowance_tell_neither_a_sharp_frame_nor_missed_focus() {
    let allowance = allowance_px(None);
    let few = |verdict, sigma_px| reading(verdict, sigma_px).doubted_among_few(&[], 38, allowance);
    assert!(open(&few(Verdict::None, 1.02)));
    assert!(!open(&few(Verdict::None, 0.8)));
    assert!(open(&few(Verdict::Defocus, 1.2)));
    assert!(!open(&few(Verdict::Defocus, 1.5)));
    let many = |verdict, sigma_px| reading(verdict, sigma_px).doubted_among_few(&[], 60, allowance);
    assert!(!open(&many(Verdict::None, 1.02)) && !open(&many(Verdict::Defocus, 1.2)));
}

#[test]
fn directions_that_hardly_differ_need_a_motion_that_explains_much() {
    let stack = |deg: f64| {
        let (sin, cos) = (2.0 * deg.to_radians()).sin_cos();
        Stack { points: Vec::new(), double_angle: (cos, sin), deg, extra_px2: 0.0, sigma_px: 1.7, trust: 1.0 }
    };
    let stacks = [stack(6.0), stack(96.0)];
    let told = |motion_deg, round, moved| {
        let psf = PointSpread { sigma_px: 0.9, motion_px: 6.5, motion_deg, ..PointSpread::default() };
        RoundOrMoved { round, moved }.little_told(&stacks, &psf)
    };
    // Half way between two directions a motion widens both alike, as a disc does.
    assert!(told(143.0, 90.0, 80.0) && !told(143.0, 90.0, 40.0));
    // Along one of them it does not.
    assert!(!told(10.0, 90.0, 80.0));
}

#[test]
fn only_plain_edges_put_a_subject_in_focus_before_a_soft_background() {
    let allowance = allowance_px(None);
    let held = |plain_px| {
        reading(Verdict::Defocus, 1.6).held_against(SharpEnds { all_px: 0.73, plain_px }, |_| (None, None), allowance)
    };
    assert!(matches!(held(Some(0.73)).verdict, Verdict::None));
    // The sharp edges are flanks of thin lines: the disc stands.
    assert!(matches!(held(None).verdict, Verdict::Defocus));
    assert!(matches!(held(Some(1.5)).verdict, Verdict::Defocus));
}
