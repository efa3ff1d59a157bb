//! Gain, read noise and range of ordinary frames against the simulator's sensor; `examples/noise_sweep.rs` does the same
//! over several hundred.

use rawassay_scene::{Border, Camera, Filter, Recipe, SceneKind};

use super::levels::measured;

/// Full wells of 1200 to 60 000 electrons, read noise of 1.6 to 3, on scenes with flat areas from dark to bright.
#[test]
fn gain_and_read_noise_of_scenes_with_flat_areas() {
    let (mut gains, mut reads) = (Vec::new(), Vec::new());
    for (n, scene) in [SceneKind::Wedge, SceneKind::Ramp, SceneKind::Night].into_iter().enumerate() {
        for (full_well, read_noise_e) in [(1_200.0, 1.6), (9_000.0, 3.0), (40_000.0, 2.5)] {
            let camera = Camera {
                filter: Filter::two_by_two(["RGGB", "GBRG", "GRBG"][n]),
                gain_e_per_dn: full_well / 15_000.0,
                read_noise_e,
                border: Border::default(),
                converter_noise_dn: 0.0,
                prnu_pct: 0.2,
                ..Camera::default()
            };
            let (m, truth) = measured(&Recipe::new(scene.clone()).size(900, 600).camera(camera).seeds(3, n as u64));
            let truth = &truth.planes[1];
            if let Some(gain) = m.noise.gain_e_per_dn {
                gains.push((gain / truth.gain_e_per_dn - 1.0).abs());
            }
            if let Some(read) = m.noise.read_noise_dn {
                reads.push((read / truth.read_noise_dn - 1.0).abs());
                let ev = (truth.full_well_e / truth.read_noise_e).log2();
                assert!((m.engineering_ev.unwrap() - ev).abs() < 0.5);
            }
        }
    }
    gains.sort_by(f64::total_cmp);
    reads.sort_by(f64::total_cmp);
    assert!(gains.len() >= 7 && gains[gains.len() / 2] < 0.03, "{gains:?}");
    assert!(reads.len() >= 3 && reads[reads.len() / 2] < 0.12, "{reads:?}");
}

#[test]
fn a_smoothed_file_is_given_no_gain() {
    for smoothing in [0.5, 0.8] {
        let camera = Camera { smoothing, ..Camera::default() };
        let (m, _) = measured(&Recipe::new(SceneKind::Wedge).size(900, 600).camera(camera));
        assert!(m.noise.gain_e_per_dn.is_none(), "{smoothing}: {:?}", m.noise);
        assert!(m.notes.iter().any(|n| n.contains("gain")), "{:?}", m.notes);
    }
}

#[test]
fn masked_pixels_give_the_read_noise() {
    let camera = Camera { border: Border { left: 40, top: 20, right: 0, bottom: 0 }, ..Camera::default() };
    let (m, truth) = measured(&Recipe::new(SceneKind::Sky).size(600, 400).camera(camera));
    let read = m.noise.masked_read_noise_dn.unwrap();
    assert!((read / truth.planes[1].read_noise_dn - 1.0).abs() < 0.08, "{read}");
}
