//! Clipping, saturation and exposure of simulated frames against their truth.

use rawassay_analysis::{Measures, SaturationFrom, measure};
use rawassay_scene::{Camera, Compression, Filter, Recipe, SceneKind, Truth, render};

pub(crate) fn measured(recipe: &Recipe) -> (Measures, Truth) {
    let raw = render(recipe);
    let frame = rawassay_decode::open_bytes("simulated.dng".as_ref(), raw.to_dng(Compression::None)).unwrap();
    (measure(&frame), raw.truth)
}

/// Saturation below the declared white: all phases, 12 and 14 bit, half of the scene or little of it clipped.
#[test]
fn clipped_shares_are_within_a_twentieth_of_a_point() {
    for (n, phase) in ["RGGB", "GRBG", "GBRG", "BGGR"].into_iter().enumerate() {
        for bits in [12_u32, 14] {
            let top = (1 << bits) - 1;
            let camera = Camera {
                filter: Filter::two_by_two(phase),
                bits,
                black_dn: vec![f64::from(top + 1) / 32.0],
                white_declared_dn: top,
                saturation_dn: top * 19 / 20,
                gain_e_per_dn: 30_000.0 / f64::from(top),
                ..Camera::default()
            };
            let scene = if bits == 12 { SceneKind::Night } else { SceneKind::Ramp };
            let recipe = Recipe::new(scene).size(600, 400).camera(camera).exposure(100.0, 0.8).seeds(n as u64, 7);
            let (m, truth) = measured(&recipe);
            for (c, t) in m.channels.iter().zip(&truth.planes) {
                let off = (c.clipped_pct - t.clipped_sample_pct).abs();
                assert!(off < 0.05, "{phase} {bits} {}: {} for {}", c.name, c.clipped_pct, t.clipped_sample_pct);
                if t.clipped_sample_pct > 0.1 {
                    assert_eq!(c.saturation_from, SaturationFrom::Observed, "{phase} {bits} {}", c.name);
                    assert!((c.saturation_dn - t.saturation_dn).abs() <= 1.0);
                }
            }
        }
    }
}

#[test]
fn a_frame_without_clipping_keeps_the_declared_level() {
    for scene in [SceneKind::Flat, SceneKind::Sky, SceneKind::Wedge] {
        let (m, _) = measured(&Recipe::new(scene).size(600, 400).exposure(100.0, -0.6));
        for c in &m.channels {
            assert_eq!((c.saturation_from, c.clipped_pct), (SaturationFrom::Declared, 0.0), "{}", c.name);
        }
        assert_eq!(m.exposure.clipped_area_count, 0);
        assert!(m.exposure.brighter_by_ev.unwrap() > 0.0);
    }
}
