//! Hand-made measures of a good 24-megapixel frame, for tests of judging.

use rawassay_decode::{BlackFrom, Orientation, PitchFrom, Shot};

use crate::measures::{
    Blur, BlurKind, Channel, ClippingMap, Exposure, Likeness, Measures, Noise, RiseMap, SaturationFrom, Sharpness,
};

/// 6000 x 4000 px on 36 x 24 mm, 50 mm, 1/250 s, f/5.6, ISO 100.
pub(crate) fn shot() -> Shot {
    Shot {
        iso: Some(100.0),
        shutter_s: Some(1.0 / 250.0),
        f_number: Some(5.6),
        focal_mm: Some(50.0),
        focal35_mm: Some(50.0),
        orientation: Orientation::NORMAL,
        width_px: 6000,
        height_px: 4000,
        cfa: "RGGB".into(),
        pixel_pitch_um: Some(6.0),
        pitch_from: Some(PitchFrom::FocalPlaneResolution),
        ..Shot::default()
    }
}

fn channel(name: &str) -> Channel {
    Channel {
        name: name.into(),
        black_dn: 512.0,
        black_from: BlackFrom::Declared,
        white_declared_dn: 16_383.0,
        saturation_dn: 16_383.0,
        saturation_from: SaturationFrom::Observed,
        clipped_pct: 0.0,
        floor_pct: Some(0.01),
        headroom_ev: Some(0.4),
        median_ev: Some(3.0),
        gain_e_per_dn: Some(3.15),
        read_noise_dn: Some(1.0),
        read_noise_e: Some(3.15),
        full_well_e: Some(50_000.0),
        snr_midtone_db: Some(38.0),
    }
}

/// A sharp, clean frame.
pub(crate) fn measures() -> Measures {
    Measures {
        active_px: [8, 4, 6000, 4000],
        channels: ["R", "G1", "G2", "B"].map(channel).to_vec(),
        exposure: Exposure {
            clipped_any_pct: 0.0,
            clipped_all_pct: 0.0,
            largest_clipped_area_pct: 0.0,
            clipped_area_count: 0,
            floor_pct: Some(0.01),
            headroom_ev: Some(0.4),
            scene_range_ev: Some(7.0),
            darkest_ev: Some(7.6),
            brighter_by_ev: Some(0.3),
            lift_ev: Some(0.0),
        },
        noise: Noise {
            flat_patches: 400,
            model_r2: Some(0.999),
            read_noise_dn: Some(1.0),
            gain_e_per_dn: Some(3.15),
            picture_read_noise_dn: None,
            masked_read_noise_dn: None,
            row_banding_dn: Some(0.02),
            column_banding_dn: Some(0.02),
            hot_pixels: Some(0),
            snr_midtone_db: Some(38.0),
            snr_lifted_db: None,
        },
        engineering_ev: Some(13.95),
        sharpness: Sharpness {
            edges: 500,
            edge_rise_px: Some(1.8),
            edge_rise_spread_px: Some(0.05),
            map: RiseMap { cols: 6, rows: 4, rise_px: vec![Some(1.8); 24] },
            ..Sharpness::default()
        },
        blur: Blur { kind: BlurKind::None, expected_diffraction_px: Some(0.684), confidence: 0.9, ..Blur::default() },
        clipping: ClippingMap {
            cols: 6,
            rows: 4,
            any_pct: vec![0.0; 24],
            floor_pct: vec![0.01; 24],
            areas: Vec::new(),
        },
        likeness: Likeness::default(),
        notes: Vec::new(),
    }
}
