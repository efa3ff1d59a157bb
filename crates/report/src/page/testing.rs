//! Frames and records made in code, for the unit tests of the pages.

#![allow(clippy::unwrap_used)]

use rawassay_decode::{Area, BlackFrom, FilterArray, Frame, Integrity, PlaneLevels, Reader, Shot};

/// A frame whose sample at (x, y) is `value(filter, x, y)`; black 100, white 4000.
pub(crate) fn frame_from(
    filter: FilterArray,
    width: usize,
    height: usize,
    value: impl Fn(&FilterArray, usize, usize) -> u16,
) -> Frame {
    let spp = filter.samples_per_pixel;
    let mut samples = Vec::with_capacity(width * height * spp);
    for y in 0..height {
        for x in 0..width {
            for _ in 0..spp {
                samples.push(value(&filter, x, y));
            }
        }
    }
    let level = PlaneLevels {
        black_dn: 100.0,
        black_from: BlackFrom::Declared,
        white_declared_dn: 4000.0,
        masked_noise_dn: None,
    };
    Frame {
        samples,
        width,
        height,
        levels: vec![level; filter.planes.len()],
        shot: Shot { width_px: width, height_px: height, cfa: filter.word(), ..Shot::default() },
        filter,
        active: Area::new(0, 0, width, height),
        masked: Vec::new(),
        reader: Reader { name: "test".into(), version: "0".into() },
        dithered: false,
        integrity: Integrity::Whole,
        noise_profile: Vec::new(),
        notes: Vec::new(),
    }
}

/// A frame of one value.
pub(crate) fn flat_frame(filter: FilterArray, width: usize, height: usize, value: u16) -> Frame {
    frame_from(filter, width, height, |_, _, _| value)
}

/// The record's channels for such a frame.
pub(crate) fn channels(frame: &Frame, read_noise_dn: Option<f64>) -> Vec<rawassay_analysis::Channel> {
    frame
        .filter
        .planes
        .iter()
        .zip(&frame.levels)
        .map(|(plane, level)| rawassay_analysis::Channel {
            name: plane.name.clone(),
            black_dn: level.black_dn,
            black_from: level.black_from,
            white_declared_dn: level.white_declared_dn,
            saturation_dn: 4000.0,
            saturation_from: rawassay_analysis::SaturationFrom::Observed,
            clipped_pct: 0.0,
            floor_pct: None,
            headroom_ev: None,
            median_ev: None,
            gain_e_per_dn: Some(2.0),
            read_noise_dn,
            read_noise_e: read_noise_dn.map(|n| n * 2.0),
            full_well_e: None,
            snr_midtone_db: None,
        })
        .collect()
}

/// A record for a frame, with levels and little else.
pub(crate) fn record_for(frame: &Frame) -> crate::Record {
    use rawassay_analysis::{Blur, ClippingMap, Exposure, Likeness, Measures, Noise, Sharpness};
    crate::Record {
        record: crate::record::RECORD_VERSION,
        measures_version: rawassay_analysis::MEASURES_VERSION,
        file: "shoot/frame.dng".into(),
        uri: None,
        moved_from: None,
        file_id: crate::FileId { size: 10, mtime: None, hash: "00".into() },
        status: crate::Status::Measured,
        error: None,
        notes: Vec::new(),
        decoder: Some(frame.reader.clone()),
        shot: Some(frame.shot.clone()),
        measures: Some(Measures {
            active_px: [frame.active.x, frame.active.y, frame.active.width, frame.active.height],
            channels: channels(frame, Some(2.0)),
            exposure: Exposure {
                clipped_any_pct: 0.0,
                clipped_all_pct: 0.0,
                largest_clipped_area_pct: 0.0,
                clipped_area_count: 0,
                floor_pct: None,
                headroom_ev: None,
                scene_range_ev: None,
                darkest_ev: None,
                brighter_by_ev: None,
                lift_ev: None,
            },
            noise: Noise::default(),
            engineering_ev: None,
            sharpness: Sharpness::default(),
            blur: Blur::default(),
            clipping: ClippingMap::default(),
            likeness: Likeness::default(),
            notes: Vec::new(),
        }),
    }
}

/// A purpose for an output of that width and height, cm; as a screen its pixels are a quarter of a millimetre.
pub(crate) fn purpose(size_cm: (f64, f64), screen: bool) -> crate::page::shoot::Purpose {
    use rawassay_analysis::brief::{LengthUnit, PictureUnit};
    crate::page::shoot::Purpose {
        name: "test".into(),
        size: "its size".into(),
        distance: "45 cm".into(),
        size_cm,
        unit: if screen { PictureUnit::Pixel { mm: 0.25 } } else { PictureUnit::Length(LengthUnit::In) },
        rise_limit_mm: (0.2, 0.4),
        crop: None,
        snr_limit: (20.0, 10.0),
    }
}
