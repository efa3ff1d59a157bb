//! The pictures of a frame.

#![allow(clippy::unwrap_used)]
use super::*;
use crate::page::testing::{frame_from, record_for};
use rawassay_decode::{FilterArray, Orientation};

/// Clipped in the top left quarter of the frame as stored, grey elsewhere, a noisy patch to make a JPEG work.
fn quarter(exif: u32) -> Frame {
    let mut frame = frame_from(FilterArray::bayer("RGGB").unwrap(), 1600, 1000, |_, x, y| {
        if x < 800 && y < 500 { 4000 } else { 300 + (x * 7919 + y * 104_729) as u16 % 600 }
    });
    frame.shot.orientation = Orientation::from_exif(exif);
    frame
}

fn file<'a>(files: &'a [PictureFile], suffix: &str) -> &'a [u8] {
    &files.iter().find(|(s, _)| s == suffix).unwrap().1
}

#[test]
fn masks_and_pictures_stand_upright_in_all_orientations() {
    // Exif tag 274: the stored top left lies at the upright ... corner.
    for (exif, right, bottom) in [
        (1, false, false),
        (2, true, false),
        (3, true, true),
        (4, false, true),
        (5, false, false),
        (6, true, false),
        (7, true, true),
        (8, false, true),
    ] {
        let frame = quarter(exif);
        let record = record_for(&frame);
        let (drawn, files) = draw(&frame, None, &record, Sizes::for_frames(10)).unwrap();
        assert_eq!(drawn.source, Source::Mosaic);
        assert_eq!(drawn.picture_px[1] > drawn.picture_px[0], exif >= 5);
        let picture = image::load_from_memory(file(&files, ".jpg")).unwrap().into_rgb8();
        assert_eq!([picture.width(), picture.height()], drawn.picture_px);
        let mask = image::load_from_memory(file(&files, "-clipped-g1.png")).unwrap().into_luma8();
        for (u, v) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
            let marked = (u > 0.5) == right && (v > 0.5) == bottom;
            let at = |w: u32, h: u32| ((f64::from(w) * u) as u32, (f64::from(h) * v) as u32);
            let (x, y) = at(mask.width(), mask.height());
            assert_eq!(mask.get_pixel(x, y).0[0] == 255, marked, "orientation {exif} at {u} {v}");
            let (x, y) = at(picture.width(), picture.height());
            assert_eq!(picture.get_pixel(x, y).0[1] > 240, marked, "orientation {exif} at {u} {v}");
        }
    }
}

#[test]
fn files_keep_within_their_limits() {
    let frame = quarter(1);
    let record = record_for(&frame);
    for frames in [10, 1000, 2000] {
        let sizes = Sizes::for_frames(frames);
        let (_, files) = draw(&frame, None, &record, sizes).unwrap();
        assert!(file(&files, ".jpg").len() <= sizes.picture_bytes);
        assert!(file(&files, "-small.jpg").len() <= sizes.small_bytes);
        assert!(sizes.picture_bytes < 40_000);
    }
}

#[test]
fn a_preview_is_used_only_where_it_shows_the_same_part() {
    let frame = quarter(6);
    let record = record_for(&frame);
    let jpeg = |w, h| Preview { jpeg: encode(&RgbImage::from_pixel(w, h, image::Rgb([10, 200, 30])), 80).unwrap() };
    let drawn = |p: &Preview| draw(&frame, Some(p), &record, Sizes::for_frames(10)).unwrap().0;
    assert_eq!(drawn(&jpeg(1600, 1000)).source, Source::Preview);
    assert_eq!(drawn(&jpeg(1600, 1000)).picture_px, [800, 1280]);
    // Already upright.
    assert_eq!(drawn(&jpeg(1000, 1600)).picture_px, [800, 1280]);
    // Another aspect, too small, no JPEG at all.
    assert_eq!(drawn(&jpeg(1600, 900)).source, Source::Mosaic);
    assert_eq!(drawn(&jpeg(160, 100)).source, Source::Mosaic);
    assert_eq!(drawn(&Preview { jpeg: b"<script>".to_vec() }).source, Source::Mosaic);
}

#[test]
fn crops_show_the_place_that_was_measured() {
    let mut frame = quarter(6);
    frame.active = rawassay_decode::Area::new(40, 20, 1500, 900);
    let mut record = record_for(&frame);
    let measures = record.measures.as_mut().unwrap();
    measures.sharpness.sharpest_at_px = Some((800, 500));
    measures.sharpness.softest_at_px = Some((41, 21));
    let (drawn, files) = draw(&frame, None, &record, Sizes::for_frames(10)).unwrap();
    let crop = drawn.sharpest.unwrap();
    assert_eq!(crop.size_px, [256, 256]);
    // Orientation 6: (x, y) -> (height - y, x); centre (760, 480) of 1500 x 900 -> (420/900, 760/1500).
    let centre = [crop.place[0] + crop.place[2] / 2.0, crop.place[1] + crop.place[3] / 2.0];
    assert!((centre[0] - 420.0 / 900.0).abs() < 1e-9 && (centre[1] - 760.0 / 1500.0).abs() < 1e-9, "{centre:?}");
    // The clipped quarter is the stored top left: the upright crop's top right.
    let pixels = image::load_from_memory(file(&files, "-sharpest.jpg")).unwrap().into_rgb8();
    assert!(pixels.get_pixel(200, 60).0[1] > 240 && pixels.get_pixel(60, 200).0[1] < 240);
    let soft = drawn.softest.unwrap();
    assert!(soft.place[0] + soft.place[2] <= 1.0 + 1e-9 && soft.place[1] >= 0.0);
}
