//! The simulator's files as others read them: pixels, levels and filter array by LibRaw (through rawpy), tags by
//! exifread, pixels by rawler.

use rawassay_scene::{Border, ByteOrder, Camera, Compression, DngOptions, Filter, Raw, Recipe, SceneKind, render};

use crate::python;

/// Frames of all filter arrays, depths, storages and byte orders, odd corners of the active area among them.
fn frames() -> Vec<(String, Raw, DngOptions)> {
    let mut all = Vec::new();
    let filters = [
        Filter::two_by_two("RGGB"),
        Filter::two_by_two("GRBG"),
        Filter::two_by_two("GBRG"),
        Filter::two_by_two("BGGR"),
        Filter::two_by_two("CYGM"),
        Filter::six_by_six(),
        Filter::monochrome(),
        Filter::linear_rgb(),
    ];
    for (i, filter) in filters.into_iter().enumerate() {
        for (bits, compression, order) in [
            (14, Compression::LosslessJpeg, ByteOrder::Little),
            (12, Compression::Packed, ByteOrder::Little),
            (16, Compression::None, ByteOrder::Big),
            (10, Compression::LosslessJpeg, ByteOrder::Big),
        ] {
            let top = (1u32 << bits) - 1;
            let camera = Camera {
                filter: filter.clone(),
                border: Border { left: 2 * i, top: 6 + i, right: 4, bottom: 2 },
                bits,
                black_dn: vec![f64::from(top / 32)],
                white_declared_dn: top,
                saturation_dn: top - top / 20,
                gain_e_per_dn: 50_000.0 / f64::from(top),
                ..Camera::default()
            };
            let recipe = Recipe::new(SceneKind::Buildings)
                .size(if bits == 10 { 1100 } else { 330 }, 210)
                .camera(camera)
                .seeds(i as u64, 7);
            let name = format!("{}-{bits}", filter.letters);
            let options = DngOptions { compression, order, preview_px: 128, ..DngOptions::default() };
            all.push((name, render(&recipe), options));
        }
    }
    all
}

/// Source: LibRaw through rawpy.
#[test]
fn libraw_reads_the_pixels_that_were_written() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    for (name, raw, options) in frames() {
        let spp = raw.recipe.camera.filter.samples_per_pixel();
        std::fs::write(folder.path().join(format!("{name}.dng")), raw.to_dng_with(&options)).unwrap();
        let mut bytes = format!("{} {} {spp}\n", raw.width, raw.height).into_bytes();
        bytes.extend(raw.samples.iter().flat_map(|s| s.to_le_bytes()));
        std::fs::write(folder.path().join(format!("{name}.samples")), bytes).unwrap();
    }
    let script = r#"
import glob, sys, numpy as np, rawpy
for path in sorted(glob.glob(sys.argv[1] + "/*.dng")):
    head, data = open(path[:-4] + ".samples", "rb").read().split(b"\n", 1)
    w, h, spp = map(int, head.split())
    want = np.frombuffer(data, "<u2").reshape(h, w, spp)
    with rawpy.imread(path) as raw:
        have = raw.raw_image if spp == 1 else raw.raw_image[..., :3]
        have = have.reshape(h, w, spp)
        print(path.split("/")[-1], int((have != want).sum()), raw.white_level)
"#;
    let answer = python::run(&python, script, &[folder.path().to_str().unwrap()]);
    assert_eq!(answer.lines().count(), 32, "{answer}");
    for line in answer.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        assert_eq!(words[1], "0", "{line}");
        let bits: u32 = words[0].trim_end_matches(".dng").rsplit('-').next().unwrap().parse().unwrap();
        assert_eq!(words[2].parse::<u32>().unwrap(), (1 << bits) - 1, "{line}");
    }
}

/// Source: exifread.
#[test]
fn exifread_reads_the_shot_data_that_was_written() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut recipe = Recipe::new(SceneKind::Sky).size(120, 80).exposure(640.0, -1.0);
    recipe.shot.shutter_s = 1.0 / 400.0;
    recipe.shot.f_number = 22.0;
    recipe.shot.focal_mm = 35.0;
    recipe.shot.exposure_bias_ev = -2.0 / 3.0;
    recipe.shot.orientation = 8;
    let raw = render(&recipe);
    for (name, order) in [("little", ByteOrder::Little), ("big", ByteOrder::Big)] {
        let path = folder.path().join(format!("{name}.dng"));
        std::fs::write(&path, raw.to_dng_with(&DngOptions { order, ..DngOptions::default() })).unwrap();
        let script = r#"
import exifread, sys
tags = exifread.process_file(open(sys.argv[1], "rb"), details=True)
for name in ["EXIF ExposureTime", "EXIF FNumber", "EXIF ISOSpeedRatings", "EXIF FocalLength", "EXIF ExposureBiasValue",
             "EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal", "EXIF FocalPlaneXResolution",
             "EXIF FocalPlaneResolutionUnit", "Image Make", "Image Model", "EXIF LensModel", "EXIF BodySerialNumber",
             "Image Software"]:
    print(name, "=", tags[name])
print("turn =", tags["Image Orientation"].values[0])
"#;
        let answer = python::run(&python, script, &[path.to_str().unwrap()]);
        for expected in [
            "EXIF ExposureTime = 1/400",
            "EXIF FNumber = 22",
            "EXIF ISOSpeedRatings = 640",
            "EXIF FocalLength = 35",
            "EXIF ExposureBiasValue = -2/3",
            "EXIF DateTimeOriginal = 2031:05:14 05:12:09",
            "EXIF SubSecTimeOriginal = 250",
            "EXIF OffsetTimeOriginal = +02:00",
            "EXIF FocalPlaneXResolution = 100000/43",
            "Image Make = Simulated",
            "EXIF LensModel = Simulated 50 mm",
            "EXIF BodySerialNumber = SIM-0001",
            "Image Software = rawassay-scene (simulated)",
            "turn = 8",
        ] {
            assert!(answer.lines().any(|l| l == expected), "{name}: no '{expected}' in\n{answer}");
        }
    }
}

/// Our own reader sees the simulator's frame: pixels, phase, areas, black, white.
#[test]
fn the_projects_reader_agrees_with_the_simulator() {
    for (name, raw, options) in frames() {
        let file = raw.to_dng_with(&options);
        let frame = rawassay_decode::open_bytes(std::path::Path::new(&name), file).unwrap();
        assert!(frame.samples == raw.samples, "{name}: pixels differ");
        let [x, y, w, h] = raw.active();
        assert_eq!((frame.active.x, frame.active.y, frame.active.width, frame.active.height), (x, y, w, h), "{name}");
        let names: Vec<String> = frame.filter.planes.iter().map(|p| p.name.clone()).collect();
        let (planes, cells) = raw.recipe.camera.filter.planes();
        assert_eq!(names, planes, "{name}");
        if !raw.recipe.camera.filter.linear {
            for (i, plane) in cells.iter().enumerate() {
                let filter = &raw.recipe.camera.filter;
                assert_eq!(frame.filter.plane_at(i % filter.columns, i / filter.columns), *plane, "{name} cell {i}");
            }
        }
        for (level, truth) in frame.levels.iter().zip(&raw.truth.planes) {
            assert!((level.black_dn - truth.black_dn).abs() <= 1.0, "{name}: {level:?}");
        }
    }
}
