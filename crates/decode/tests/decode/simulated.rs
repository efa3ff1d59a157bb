//! Simulated DNGs of every filter array, depth, storage and byte order come back as they were made.

use std::path::Path;

use rawassay_decode::{BlackFrom, Frame, Integrity, PitchFrom, open_bytes, preview};
use rawassay_scene::{Border, ByteOrder, Camera, Compression, DngOptions, Filter, Raw, Recipe, SceneKind, render};

pub(crate) fn open(raw: &Raw, options: &DngOptions) -> Frame {
    open_bytes(Path::new("simulated.dng"), raw.to_dng_with(options)).unwrap()
}

fn filters() -> Vec<Filter> {
    let mut filters: Vec<Filter> = ["RGGB", "GRBG", "GBRG", "BGGR", "CYGM"].map(Filter::two_by_two).to_vec();
    filters.extend([Filter::six_by_six(), Filter::monochrome(), Filter::linear_rgb()]);
    filters
}

#[test]
fn every_filter_depth_storage_and_byte_order() {
    for (i, filter) in filters().into_iter().enumerate() {
        for (bits, compression, order) in [
            (14, Compression::LosslessJpeg, ByteOrder::Little),
            (12, Compression::Packed, ByteOrder::Little),
            (14, Compression::Packed, ByteOrder::Big),
            (16, Compression::None, ByteOrder::Big),
            (10, Compression::Packed, ByteOrder::Little),
        ] {
            let top = (1_u32 << bits) - 1;
            let black: Vec<f64> = match i {
                0 => (0..4).map(|c| f64::from(top / 32) + f64::from(c)).collect(),
                _ => vec![f64::from(top / 32)],
            };
            let camera = Camera {
                filter: filter.clone(),
                // Odd corners: the phase of the full frame differs from that of the active area.
                border: Border { left: 7 + i, top: 5 + i, right: 3, bottom: 1 },
                bits,
                black_dn: black.clone(),
                white_declared_dn: top,
                saturation_dn: top - top / 20,
                gain_e_per_dn: 50_000.0 / f64::from(top),
                ..Camera::default()
            };
            let recipe = Recipe::new(SceneKind::DeadLeaves).size(301, 203).camera(camera).seeds(i as u64, 5);
            let raw = render(&recipe);
            let frame = open(&raw, &DngOptions { compression, order, preview_px: 96, ..DngOptions::default() });
            let name = format!("{} {bits} bit {compression:?} {order:?}", filter.letters);
            assert_eq!((frame.width, frame.height), (raw.width, raw.height), "{name}");
            assert!(frame.samples == raw.samples, "samples of {name}");
            let a = frame.active;
            assert_eq!([a.x, a.y, a.width, a.height], raw.active(), "{name}");
            assert_eq!(frame.integrity, Integrity::Whole, "{name}");
            if !filter.linear {
                for y in 0..12 {
                    for x in 0..12 {
                        let plane = &frame.filter.planes[frame.filter.plane_at(x, y)];
                        let letter = filter.letter_at(x, y, 0).to_string();
                        assert!(plane.name.starts_with(&letter), "{name} at {x},{y}: {}", plane.name);
                        let level = &frame.levels[frame.filter.plane_at(x, y)];
                        let stated = raw.recipe.camera.black_at(x, y, 0);
                        let slack = if level.black_from == BlackFrom::Masked { 1.0 } else { 0.011 };
                        assert!((level.black_dn - stated).abs() <= slack, "{name} {level:?} {stated}");
                    }
                }
            }
            assert!(frame.levels.iter().all(|l| (l.white_declared_dn - f64::from(top)).abs() < 0.5), "{name}");
        }
    }
}

#[test]
fn masked_level_and_noise() {
    for (iso, seed) in [(100.0, 1), (3200.0, 2)] {
        let camera = Camera {
            border: Border { left: 48, top: 20, right: 0, bottom: 0 },
            black_dn: vec![512.0, 515.0, 509.0, 512.0],
            ..Camera::default()
        };
        let recipe = Recipe::new(SceneKind::Buildings).size(500, 700).camera(camera).exposure(iso, -0.5).seeds(3, seed);
        let raw = render(&recipe);
        for masked_areas in [true, false] {
            let frame = open(&raw, &DngOptions { masked_areas, ..DngOptions::default() });
            // Read noise and the rounding to whole DN (1/12 DN^2).
            let noise = raw.recipe.camera.read_noise_dn_at(iso).hypot((1.0_f64 / 12.0).sqrt());
            for y in 0..2 {
                for x in 0..2 {
                    let levels = &frame.levels[frame.filter.plane_at(x, y)];
                    let black = raw.recipe.camera.black_at(x, y, 0);
                    assert_eq!(levels.black_from, BlackFrom::Masked);
                    assert!((levels.black_dn - black).abs() < 0.02 + 4.0 * noise / 90.0, "{levels:?} {black}");
                    let measured = levels.masked_noise_dn.unwrap();
                    assert!((measured / noise - 1.0).abs() < 0.04, "{measured} against {noise}");
                }
            }
        }
    }
}

/// Source: DNG 1.7.1, LinearizationTable: the table is applied as it stands, without dither.
#[test]
fn linearisation_is_exact() {
    for compression in [Compression::LosslessJpeg, Compression::Packed, Compression::None] {
        let camera = Camera { coded_bits: Some(10), ..Camera::default() };
        let raw = render(&Recipe::new(SceneKind::Wedge).size(400, 300).camera(camera));
        let frame = open(&raw, &DngOptions { compression, ..DngOptions::default() });
        let table = raw.code_table.as_ref().unwrap();
        assert!(frame.samples.iter().all(|s| table.binary_search(s).is_ok()), "{compression:?}");
        assert!(!frame.dithered);
        let nearest = |s: u16| table.iter().copied().min_by_key(|t| t.abs_diff(s)).unwrap();
        let same = frame.samples.iter().zip(&raw.samples).filter(|(a, b)| **a == **b || **a == nearest(**b)).count();
        assert_eq!(same, frame.samples.len(), "{compression:?}");
    }
}

#[test]
fn shot_data() {
    for order in [ByteOrder::Little, ByteOrder::Big] {
        for orientation in 1..=8 {
            let mut recipe = Recipe::new(SceneKind::Flat).size(300, 200).exposure(640.0, -1.0);
            recipe.shot.orientation = orientation;
            recipe.shot.exposure_bias_ev = -1.0 / 3.0;
            recipe.shot.sub_seconds = "07".into();
            let raw = render(&recipe);
            let shot = open(&raw, &DngOptions { order, ..DngOptions::default() }).shot;
            assert_eq!(shot.orientation.exif(), orientation as u8);
            assert_eq!(shot.make.as_deref(), Some("Simulated"));
            assert_eq!(shot.lens.as_deref(), Some("Simulated 50 mm"));
            assert_eq!(shot.serial.as_deref(), Some("SIM-0001"));
            assert_eq!(shot.iso, Some(640.0));
            assert_eq!(shot.f_number, Some(5.6));
            assert!((shot.shutter_s.unwrap() - 0.008).abs() < 1e-9);
            assert!((shot.exposure_bias_ev.unwrap() + 1.0 / 3.0).abs() < 1e-6);
            assert_eq!(shot.taken_at.as_deref(), Some("2031-05-14T05:12:09.07+02:00"));
            assert_eq!(shot.pitch_from, Some(PitchFrom::FocalPlaneResolution));
            assert!((shot.pixel_pitch_um.unwrap() - 4.3).abs() < 0.01);
            assert_eq!((shot.width_px, shot.height_px), (300, 200));
            let bare = open(&raw, &DngOptions { order, focal_plane_resolution: false, ..DngOptions::default() }).shot;
            assert_eq!(bare.pitch_from, Some(PitchFrom::Focal35));
            // The 35 mm equivalent is a whole number of mm.
            assert!((bare.pixel_pitch_um.unwrap() / 4.3 - 1.0).abs() < 0.01, "{bare:?}");
        }
    }
}

#[test]
fn preview_is_the_embedded_picture() {
    let raw = render(&Recipe::new(SceneKind::Harbour).size(600, 400));
    let file = raw.to_dng_with(&DngOptions { preview_px: 300, ..DngOptions::default() });
    let jpeg = preview(&file).unwrap().jpeg;
    assert!(jpeg.starts_with(&[0xff, 0xd8, 0xff]) && jpeg.ends_with(&[0xff, 0xd9]));
    assert!(preview(&raw.to_dng_with(&DngOptions { preview_px: 0, ..DngOptions::default() })).is_none());
    assert!(preview(b"no file at all").is_none());
}
