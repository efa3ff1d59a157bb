//! Gain, read noise and range of ordinary frames against the simulator's sensor; `examples/noise_sweep.rs` does the same
//! over several hundred.

use rawassay_analysis::measure;
use rawassay_decode::Frame;
use rawassay_scene::{Border, Camera, Compression, Filter, Optics, Recipe, SceneKind, render};

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

/// What a camera or a converter may do to the samples of each colour before it stores them.
#[derive(Debug, Clone, Copy)]
enum Reduction {
    /// Weighted mean, a Gaussian of so many sample distances.
    Blur(f64),
    Median,
    /// Mean of those that are like it, weights falling with the difference in units of twice the noise.
    Bilateral,
}

/// Each colour plane smoothed over its own next samples.
fn reduced(frame: &Frame, how: Reduction, noise_dn: f64) -> Frame {
    let filter = &frame.filter;
    let reach = if filter.columns == 1 { 1 } else { 2 };
    let mut out = frame.clone();
    let mut near = Vec::new();
    for y in reach..frame.height - reach {
        for x in reach..frame.width - reach {
            let (own, plane) = (f64::from(frame.samples[y * frame.width + x]), filter.plane_at(x, y));
            near.clear();
            for ny in y - reach..=y + reach {
                for nx in x - reach..=x + reach {
                    if filter.plane_at(nx, ny) == plane {
                        let apart = (nx.abs_diff(x).pow(2) + ny.abs_diff(y).pow(2)) as f64;
                        near.push((f64::from(frame.samples[ny * frame.width + nx]), apart));
                    }
                }
            }
            let mean = |weight: &dyn Fn(&(f64, f64)) -> f64| {
                near.iter().map(|n| weight(n) * n.0).sum::<f64>() / near.iter().map(weight).sum::<f64>()
            };
            let spacing = if filter.columns == 2 { 2.0 } else { 1.0 };
            let value = match how {
                Reduction::Blur(sigma) => mean(&|n| (-n.1 / (2.0 * (sigma * spacing).powi(2))).exp()),
                Reduction::Bilateral => mean(&|n| (-((n.0 - own) / (2.0 * noise_dn)).powi(2) / 2.0).exp()),
                Reduction::Median => {
                    let mut values: Vec<f64> = near.iter().map(|n| n.0).collect();
                    values.sort_by(f64::total_cmp);
                    values[values.len() / 2]
                }
            };
            out.samples[y * frame.width + x] = value.round() as u16;
        }
    }
    out
}

#[test]
fn a_file_whose_noise_was_reduced_is_given_no_gain() {
    let filters = [Filter::two_by_two("GRBG"), Filter::six_by_six(), Filter::monochrome()];
    for (n, filter) in filters.into_iter().enumerate() {
        let camera = Camera { filter, border: Border::default(), ..Camera::default() };
        for scene in [SceneKind::Wedge, SceneKind::Harbour] {
            let recipe = Recipe::new(scene.clone()).size(720, 480).camera(camera.clone()).exposure(400.0, -0.5);
            let raw = render(&recipe.seeds(4, n as u64));
            let frame = rawassay_decode::open_bytes("plain.dng".as_ref(), raw.to_dng(Compression::None)).unwrap();
            let word = frame.filter.word();
            let plain = measure(&frame).noise.gain_e_per_dn;
            let truth = raw.truth.planes[0].gain_e_per_dn;
            // A scene without even tones may leave it open; it is never taken for smoothed.
            assert!(plain.is_none_or(|g| (g / truth - 1.0).abs() < 0.08), "{word} {scene:?}: {plain:?} of {truth}");
            assert!(plain.is_some() || scene != SceneKind::Wedge, "{word}: no gain");
            let noise_dn = (0.18 * 15_000.0 / truth).sqrt();
            for how in [Reduction::Blur(0.5), Reduction::Blur(0.9), Reduction::Median, Reduction::Bilateral] {
                let m = measure(&reduced(&frame, how, noise_dn));
                let gains: Vec<_> = m.channels.iter().map(|c| c.gain_e_per_dn).collect();
                assert!(gains.iter().all(Option::is_none), "{word} {scene:?} {how:?}: {gains:?} of {truth}");
                assert!(m.noise.read_noise_dn.is_none() && m.engineering_ev.is_none());
                assert!(m.notes.iter().any(|n| n.starts_with("gain")), "{:?}", m.notes);
            }
        }
    }
}

#[test]
fn a_sound_frame_out_of_focus_all_over_is_not_called_smoothed() {
    for seed in 0..3 {
        let camera = Camera { border: Border::default(), gain_e_per_dn: 4.0, ..Camera::default() };
        let blurred = Recipe::new(SceneKind::DeepLeaves).size(900, 600).optics(Optics::gaussian(5.0)).camera(camera);
        let (m, _) = measured(&blurred.exposure(100.0, -0.1).seeds(seed, 5));
        assert!(!m.notes.iter().any(|n| n.contains("the file was smoothed (")), "{seed}: {:?}", m.notes);
    }
}

#[test]
fn the_simulators_own_smoothing_and_three_plane_files_are_given_no_gain() {
    for filter in [Filter::two_by_two("RGGB"), Filter::six_by_six(), Filter::monochrome(), Filter::linear_rgb()] {
        for smoothing in [0.5, 0.8] {
            let camera = Camera { smoothing, filter: filter.clone(), border: Border::default(), ..Camera::default() };
            let (m, _) = measured(&Recipe::new(SceneKind::Wedge).size(900, 600).camera(camera));
            assert!(m.noise.gain_e_per_dn.is_none(), "{filter:?} {smoothing}: {:?}", m.noise);
            assert!(m.notes.iter().any(|n| n.contains("gain")), "{:?}", m.notes);
        }
    }
}

#[test]
fn masked_pixels_give_the_read_noise() {
    let camera = Camera { border: Border { left: 40, top: 20, right: 0, bottom: 0 }, ..Camera::default() };
    let (m, truth) = measured(&Recipe::new(SceneKind::Sky).size(600, 400).camera(camera));
    let read = m.noise.masked_read_noise_dn.unwrap();
    assert!((read / truth.planes[1].read_noise_dn - 1.0).abs() < 0.08, "{read}");
}

#[test]
fn glow_of_long_exposures_is_noted_and_no_scene_is_taken_for_it() {
    let glow = |scene: SceneKind, glow_e: f64, border: Border, seconds: f64, white_ev: f64| {
        let camera = Camera { glow_e, border, gain_e_per_dn: 1.0, ..Camera::default() };
        let mut recipe = Recipe::new(scene).size(900, 600).camera(camera).exposure(100.0, white_ev);
        recipe.shot.shutter_s = seconds;
        let (m, _) = measured(&recipe);
        m.notes.into_iter().find(|n| n.starts_with("amplifier glow"))
    };
    let masked = Border { left: 0, top: 0, right: 40, bottom: 24 };
    // A dark frame, and a scene beside whose border the electronics glow.
    let note = glow(SceneKind::Dark, 80.0, Border::default(), 30.0, -0.5).unwrap();
    assert!(note.contains("lower right corner") && note.contains("30 s"), "{note}");
    let note = glow(SceneKind::Harbour, 80.0, masked, 8.0, -1.0).unwrap();
    assert!(note.contains("masked"), "{note}");
    // None without glow, none in a short exposure, none where nothing tells it from light.
    for scene in [SceneKind::Harbour, SceneKind::Sky, SceneKind::DeadLeaves, SceneKind::Dark, SceneKind::Flat] {
        for white_ev in [-0.5, -6.0, -11.0] {
            assert_eq!(glow(scene.clone(), 0.0, masked, 30.0, white_ev), None, "{scene:?} {white_ev}");
            assert_eq!(glow(scene.clone(), 0.0, Border::default(), 30.0, white_ev), None, "{scene:?} {white_ev}");
        }
    }
    assert_eq!(glow(SceneKind::Dark, 80.0, masked, 0.01, -0.5), None);
    assert_eq!(glow(SceneKind::Harbour, 80.0, Border::default(), 30.0, -1.0), None);
}
