//! Cards for the tests of this crate: one with every field known, one with all unknown.

use std::path::Path;

use rawassay_analysis::judge::IfAccepted;
use rawassay_analysis::{
    Blur, BlurKind, Channel, ClippedArea, ClippingMap, Exposure, Finding, FindingCode, Judgement, LargestPrint,
    Likeness, MEASURES_VERSION, Measures, Noise, Outcome, PrintFit, RiseMap, SaturationFrom, Severity, Sharpness,
    Verdict,
};
use rawassay_decode::{BlackFrom, Orientation, PitchFrom, Reader, Shot};

use crate::record::{FileId, RECORD_VERSION, Record, Status};
use crate::scorecard::Scorecard;

fn channel(name: &str) -> Channel {
    Channel {
        name: name.into(),
        black_dn: 512.25,
        black_from: BlackFrom::Masked,
        white_declared_dn: 16383.0,
        saturation_dn: 15300.0,
        saturation_from: SaturationFrom::Observed,
        clipped_pct: 0.125,
        floor_pct: Some(0.01),
        headroom_ev: Some(1.0 / 3.0),
        median_ev: Some(3.1),
        gain_e_per_dn: Some(2.5),
        read_noise_dn: Some(1.9),
        read_noise_e: Some(4.75),
        full_well_e: Some(36_970.0),
        snr_midtone_db: Some(36.4),
    }
}

fn shot() -> Shot {
    Shot {
        make: Some("Invented".into()),
        model: Some("Model, \"A\"".into()),
        lens: Some("24 mm".into()),
        serial: Some("0001".into()),
        iso: Some(100.0),
        shutter_s: Some(1.0 / 400.0),
        f_number: Some(8.0),
        focal_mm: Some(24.0),
        focal35_mm: Some(24.0),
        exposure_bias_ev: Some(-1.0 / 3.0),
        taken_at: Some("2024-05-01T05:12:00.25+02:00".into()),
        orientation: Orientation::NORMAL,
        width_px: 6000,
        height_px: 4000,
        cfa: "RGGB".into(),
        pixel_pitch_um: Some(5.97),
        pitch_from: Some(PitchFrom::FocalPlaneResolution),
    }
}

fn measures() -> Measures {
    Measures {
        active_px: [8, 4, 6000, 4000],
        channels: ["R", "G1", "G2", "B"].map(channel).to_vec(),
        exposure: Exposure {
            clipped_any_pct: 0.2,
            clipped_all_pct: 0.1,
            largest_clipped_area_pct: 0.05,
            clipped_area_count: 3,
            floor_pct: Some(0.02),
            headroom_ev: Some(0.3),
            scene_range_ev: Some(8.5),
            darkest_ev: Some(7.9),
            brighter_by_ev: Some(0.2),
            lift_ev: Some(0.0),
        },
        noise: Noise {
            flat_patches: 800,
            model_r2: Some(0.99),
            read_noise_dn: Some(1.9),
            gain_e_per_dn: Some(2.5),
            picture_read_noise_dn: None,
            masked_read_noise_dn: Some(1.95),
            row_banding_dn: Some(0.1),
            column_banding_dn: Some(0.05),
            hot_pixels: Some(7),
            snr_midtone_db: Some(36.4),
            snr_lifted_db: Some(36.4),
        },
        engineering_ev: Some(12.9),
        sharpness: Sharpness {
            edges: 400,
            edge_rise_px: Some(1.8),
            edge_rise_spread_px: Some(0.05),
            mtf50_cy_px: Some(0.27),
            mtf10_cy_px: Some(0.5),
            mtf50_lp_mm: Some(45.0),
            rise_by_direction_px: [Some(1.9); 12],
            map: RiseMap { cols: 2, rows: 1, rise_px: vec![Some(1.8), None] },
            noise_limited: false,
            sharpest_at_px: Some((100, 200)),
            softest_at_px: Some((5000, 3000)),
        },
        blur: Blur {
            kind: BlurKind::Motion,
            motion_px: Some(2.0),
            motion_deg: Some(90.0),
            defocus_px: Some(0.2),
            expected_diffraction_px: Some(0.98),
            confidence: 0.8,
            motion_tiles_pct: Some(95.0),
        },
        clipping: ClippingMap {
            cols: 1,
            rows: 1,
            any_pct: vec![0.2],
            floor_pct: vec![0.02],
            areas: vec![ClippedArea {
                box_px: [1, 2, 3, 4],
                area_pct: 0.05,
                tone_lost_pct: Some(0.01),
                around_ev: Some(0.4),
            }],
        },
        likeness: Likeness { cols: 1, rows: 1, below_saturation: vec![48] },
        notes: vec!["a note of the measures".into()],
    }
}

/// A measured frame.
pub(crate) fn record() -> Record {
    let mut record = Record {
        record: RECORD_VERSION,
        measures_version: MEASURES_VERSION,
        file: String::new(),
        uri: None,
        moved_from: None,
        file_id: FileId { size: 10, mtime: Some("2024-05-01T03:12:01.000000001Z".into()), hash: "00ff".into() },
        status: Status::Measured,
        error: None,
        notes: vec!["a note".into()],
        decoder: Some(Reader { name: "reader".into(), version: "1".into() }),
        shot: Some(shot()),
        measures: Some(measures()),
    };
    record.set_path(Path::new("/shoot/a.dng"));
    // As a record is written: with rounded numbers.
    let shot = record.shot.as_mut().expect("set above");
    shot.exposure_bias_ev = shot.exposure_bias_ev.map(crate::numbers::rounded);
    for channel in &mut record.measures.as_mut().expect("set above").channels {
        channel.headroom_ev = channel.headroom_ev.map(crate::numbers::rounded);
    }
    record
}

fn judgement(outcome: Outcome, print: PrintFit, findings: Vec<Finding>) -> Judgement {
    let verdict =
        Verdict { brief: "portfolio".into(), outcome, findings, not_measured: vec!["the lens's distortion".into()] };
    Judgement { usable_ev: Some(9.5), shadow_room_ev: Some(1.6), snr_limit: 10.0, print, verdict }
}

/// Every field known.
pub(crate) fn full() -> Scorecard {
    let finding = |code, severity, text: &str| Finding {
        code,
        severity,
        measured: Some(2.0),
        limit: Some(1.5),
        unit: "px".into(),
        text: text.into(),
        remedy: "use a tripod".into(),
    };
    let largest = LargestPrint { width_in: 25.0, height_in: 50.0 / 3.0, ppi: 240.0, limited_by: "motion".into() };
    let print = PrintFit {
        ppi: Some(315.8),
        rise_mm: Some(0.15),
        motion_mm: Some(0.16),
        snr_midtone: Some(120.0),
        snr_lifted: Some(120.0),
        eye_limit_mm: Some(0.13),
        finest_mm: Some(0.13),
        largest_with_proof: Some(largest.clone()),
        largest: Some(largest),
        if_accepted: Some(IfAccepted { what: "highlights".into(), width_in: 30.0, height_in: 20.0, ppi: 200.0 }),
    };
    let findings = vec![
        finding(FindingCode::Shaken, Severity::Borderline, "the camera moved"),
        finding(FindingCode::SlowShutter, Severity::Note, "slow for the hand"),
    ];
    Scorecard::new(&record(), &judgement(Outcome::Borderline, print, findings))
}

/// All unknown.
pub(crate) fn unreadable() -> Scorecard {
    let record = Record::unreadable(Path::new("b.dng"), FileId::default(), "no such format");
    let mut judgement = judgement(Outcome::Unmeasured, PrintFit::default(), Vec::new());
    judgement.usable_ev = None;
    judgement.shadow_room_ev = None;
    Scorecard::new(&record, &judgement)
}
