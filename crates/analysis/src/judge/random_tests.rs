//! Judging by measures made at random: what must hold for all of them.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::fixture::{measures, shot};
use super::*;
use crate::measures::{BlurKind, ClippedArea};

proptest! {
    /// More of a defect, a larger print or a tighter crop never gives a better outcome nor a larger print.
    #[test]
    fn judging_is_monotone(
        rise in 0.5f64..12.0, motion in 0.0f64..20.0, db in 0.0f64..45.0, clipped in 0.0f64..5.0, floor in 0.0f64..60.0,
        worse in 1.0f64..3.0, aspect in 0usize..6,
    ) {
        let frame = |rise: f64, motion: f64, db: f64, clipped: f64, floor: f64| {
            let mut m = measures();
            m.sharpness.edge_rise_px = Some(rise);
            m.sharpness.map.rise_px = vec![Some(rise); 24];
            m.blur.kind = BlurKind::Mixed;
            m.blur.motion_px = Some(motion.max(1e-3));
            m.blur.expected_diffraction_px = None;
            m.noise.snr_midtone_db = Some(db);
            // A crop reads the tiles, single precision: they have to say what the whole frame says, to the last digit.
            m.clipping.floor_pct = vec![floor as f32; 24];
            m.exposure.floor_pct = Some(f64::from(floor as f32));
            m.exposure.clipped_any_pct = clipped;
            m.exposure.clipped_all_pct = clipped;
            m.exposure.clipped_area_count = 1;
            m.clipping.areas = vec![ClippedArea { box_px: [8, 4, 900, 900], area_pct: clipped, ..ClippedArea::default() }];
            for c in &mut m.channels { c.clipped_pct = clipped; }
            m
        };
        let s = shot();
        let one = frame(rise, motion, db, clipped, floor);
        let mut crop = None;
        let mut brief = Brief::default();
        let two = match aspect {
            0 => frame(rise * worse, motion, db, clipped, floor),
            1 => frame(rise, motion * worse, db, clipped, floor),
            2 => frame(rise, motion, db - 6.0 * (worse - 1.0), clipped, floor),
            3 => frame(rise, motion, db, clipped * worse, floor * worse),
            4 => {
                brief.output.width_mm *= worse;
                brief.output.height_mm *= worse;
                one.clone()
            }
            _ => {
                crop = Some(Area::new(0, 0, (6000.0 / worse) as usize, (4000.0 / worse) as usize));
                let mut m = one.clone();
                // The same in every part of the frame, so that the crop changes the size alone.
                m.exposure.clipped_any_pct = 0.0;
                m.clipping.areas.clear();
                m
            }
        };
        let before = judge(&Subject { shot: Some(&s), measures: Some(if aspect > 4 { &two } else { &one }), damaged: None }, &Brief::default(), None);
        let after = judge(&Subject { shot: Some(&s), measures: Some(&two), damaged: None }, &brief, crop);
        let worst = |j: &Judgement| j.verdict.findings.iter().map(|f| f.severity).max();
        prop_assert!(worst(&after) >= worst(&before), "{:?} {:?}", before.verdict, after.verdict);
        if aspect != 4 {
            // None at all where the tones fail at every size.
            let sides = |j: &Judgement| j.print.largest.as_ref().map_or((0.0, 0.0), |l| (l.width_in, l.height_in));
            let (a, b) = (sides(&before), sides(&after));
            prop_assert!(b.0 <= a.0 * (1.0 + 1e-9) && b.1 <= a.1 * (1.0 + 1e-3), "{:?} {:?}", a, b);
        }
    }

    /// No reading, however mad, makes a frame pass that was not measured, or a number that is not one.
    #[test]
    fn mad_readings_never_pass(value in prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(0.0), Just(-1.0)], which in 0usize..3) {
        let (mut m, s) = (measures(), shot());
        match which {
            0 => m.sharpness.edge_rise_px = Some(value),
            1 => { m.noise.snr_midtone_db = Some(value); m.channels.clear(); }
            _ => { m.blur.kind = BlurKind::Motion; m.blur.motion_px = Some(value); }
        }
        let brief = Brief::default();
        let judgement = judge(&Subject { shot: Some(&s), measures: Some(&m), damaged: None }, &brief, None);
        prop_assert!(judgement.verdict.outcome != Outcome::Prints, "{:?}", judgement);
        let text = serde_json::to_string(&judgement).unwrap();
        prop_assert!(!text.contains("NaN") && !text.contains("inf"));
    }
}
