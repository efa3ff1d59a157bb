//! The pages of an invented shoot, for the tests that look at them in a browser.
//!
//! Frames, cameras and places are made up. Measures are drawn from a seeded sequence, pictures from small mosaics made
//! here; some frames carry hostile or unusual names, some have no picture, some could not be read.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use rawassay_analysis::{
    Blur, BlurKind, Channel, ClippingMap, Exposure, Finding, FindingCode, Judgement, LargestPrint, Likeness, Measures,
    Noise, Outcome, PrintFit, RiseMap, SaturationFrom, Severity, Sharpness, Verdict,
};
use rawassay_decode::{
    Area, BlackFrom, FilterArray, Frame, Integrity, Orientation, PitchFrom, PlaneLevels, Reader, Shot,
};
use rawassay_report::page::{self, Folder, Purpose, Sheet, Shoot, Sizes, draw};
use rawassay_report::plot::wall::Hanging;
use rawassay_report::{FileId, Record, Scorecard, Status};

use crate::draw::Draw;

/// File names that would break a careless page.
const ODD_NAMES: [&str; 5] = [
    "<script>document.title='hostile'<!-- .dng",
    "\"onmouseover=\"alert(1).dng",
    "Größe 雪原 \u{1f4f7} 12.dng",
    "100%25 & more #1?.dng",
    "a name with\ttab and 'quotes'.dng",
];

/// Writes the pages of an invented shoot of that many frames.
///
/// # Panics
/// Where the folder cannot be written.
pub fn write(folder: &Path, frames: usize) {
    let folder = Folder::create(folder).unwrap();
    let mut sequence = Draw(20_261_004);
    let sizes = Sizes::for_frames(frames);
    // Pictures are drawn once for a few frames and shared out, so that a large shoot is written quickly.
    let made: Vec<_> = (0..8)
        .map(|i| {
            let (frame, record) = invented(i, &mut sequence);
            let drawn = draw::draw(&frame, None, &record, sizes).unwrap();
            (frame, record, drawn)
        })
        .collect();
    let mut sheets = Vec::new();
    for n in 0..frames {
        let (frame, base, (drawn, files)) = &made[n % made.len()];
        let (record, judgement) = vary(n, base, &mut sequence);
        let card = Scorecard::new(&record, &judgement);
        let mut sheet = Sheet::new(record, card, rungs(&judgement, frame.shot.orientation.swaps_sides()));
        if sheet.record.status == Status::Unreadable || n % 23 == 22 {
            sheet.no_picture = Some("the raw file is no longer at its place".into());
        } else {
            sheet.drawn = Some(drawn.clone());
            for (suffix, bytes) in files {
                folder.write(&format!("pictures/{}{suffix}", sheet.id), bytes).unwrap();
            }
        }
        sheets.push(sheet);
    }
    let purpose = Purpose {
        crop: None,
        name: "portfolio".into(),
        size: "13 x 19 in".into(),
        distance: "45 cm".into(),
        size_cm: (48.26, 33.02),
        unit: rawassay_analysis::brief::LengthUnit::In.into(),
        rise_limit_mm: (0.2, 0.4),
        snr_limit: (20.0, 10.0),
    };
    let shoot = Shoot::new("invented shoot".into(), purpose, sheets);
    folder.write("index.html", page::overview::page(&shoot).as_bytes()).unwrap();
    folder.write("words.html", page::words::page(&shoot).as_bytes()).unwrap();
    folder.write("rawassay.css", page::folder::STYLESHEET.as_bytes()).unwrap();
    folder.write("rawassay.js", page::folder::SCRIPT.as_bytes()).unwrap();
    for (n, sheet) in shoot.sheets.iter().enumerate() {
        folder.write(&format!("frames/{}.html", sheet.id), page::frame::page(&shoot, n).as_bytes()).unwrap();
    }
}

/// A small mosaic of hills under a bright sky, and a record that fits it.
fn invented(n: usize, sequence: &mut Draw) -> (Frame, Record) {
    let (width, height) = (900, 600);
    let filter = FilterArray::bayer("RGGB").unwrap();
    let (hill, tone) = (sequence.next(), sequence.next());
    let mut samples = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f64 / width as f64, y as f64 / height as f64);
            let ridge = 0.45 + 0.18 * (6.0 * u + 9.0 * hill).sin() + 0.05 * (23.0 * u + 4.0 * tone).sin();
            let near = 0.75 + 0.1 * (4.0 * u + 2.0 * tone).cos();
            let sun = ((u - 0.2 - 0.6 * hill).hypot((v - 0.2) * 0.67) < 0.07) as u8 as f64;
            let light = if v < ridge {
                0.35 + 0.5 * (ridge - v) + 2.0 * sun
            } else if v < near {
                0.09 + 0.04 * ((40.0 * u).sin() * (33.0 * v).cos())
            } else {
                0.006 * ((u * 91.0).sin().abs() + 0.15)
            };
            let colour = match filter.planes[filter.plane_at(x, y)].name.as_str() {
                "R" => 0.55 + 0.25 * tone,
                "B" => 0.8 - 0.3 * tone * f64::from(v > ridge),
                _ => 1.0,
            };
            let noise = (sequence.next() + sequence.next() - 1.0) * 12.0;
            samples.push((512.0 + 14_000.0 * light * colour + noise).clamp(0.0, 16_000.0) as u16);
        }
    }
    let planes = filter.planes.clone();
    let orientation = Orientation::from_exif([1, 1, 6, 1, 8, 1, 3, 1][n % 8]);
    let shot = Shot {
        make: Some("Norvik".into()),
        model: Some(["Norvik Boreal 50", "Norvik Fjord 24"][n % 2].into()),
        lens: Some(["Halden 35 mm f/2", "Halden 24-70 mm f/4 <L>", "Skagen 100 mm f/2.8"][n % 3].into()),
        orientation,
        width_px: width,
        height_px: height,
        cfa: "RGGB".into(),
        pixel_pitch_um: Some(4.3),
        pitch_from: Some(PitchFrom::FocalPlaneResolution),
        ..Shot::default()
    };
    let level = PlaneLevels {
        black_dn: 512.0,
        black_from: BlackFrom::Declared,
        white_declared_dn: 16_000.0,
        masked_noise_dn: None,
    };
    let frame = Frame {
        samples,
        width,
        height,
        levels: vec![level; planes.len()],
        filter,
        active: Area::new(0, 0, width, height),
        masked: Vec::new(),
        shot: shot.clone(),
        reader: Reader { name: "made in code".into(), version: "0".into() },
        dithered: false,
        integrity: Integrity::Whole,
        noise_profile: Vec::new(),
        notes: Vec::new(),
    };
    let channels = planes
        .iter()
        .map(|p| Channel {
            name: p.name.clone(),
            black_dn: 512.0,
            black_from: BlackFrom::Declared,
            white_declared_dn: 16_000.0,
            saturation_dn: 16_000.0,
            saturation_from: SaturationFrom::Observed,
            clipped_pct: 0.8,
            floor_pct: Some(0.4),
            headroom_ev: Some(0.1),
            median_ev: Some(2.7),
            gain_e_per_dn: Some(3.1),
            read_noise_dn: Some(3.4),
            read_noise_e: Some(10.5),
            full_well_e: Some(48_000.0),
            snr_midtone_db: Some(37.8),
        })
        .collect();
    let measures = Measures {
        active_px: [0, 0, width, height],
        channels,
        exposure: Exposure {
            clipped_any_pct: 0.9,
            clipped_all_pct: 0.5,
            largest_clipped_area_pct: 0.7,
            clipped_area_count: 3,
            floor_pct: Some(0.4),
            headroom_ev: Some(0.1),
            scene_range_ev: Some(8.2),
            darkest_ev: None,
            brighter_by_ev: Some(-0.3),
            lift_ev: Some(0.0),
        },
        noise: Noise {
            flat_patches: 812,
            model_r2: Some(0.987),
            read_noise_dn: Some(3.4),
            gain_e_per_dn: Some(3.1),
            picture_read_noise_dn: None,
            masked_read_noise_dn: None,
            row_banding_dn: Some(0.2),
            column_banding_dn: Some(0.1),
            hot_pixels: Some(4),
            snr_midtone_db: Some(37.8),
            snr_lifted_db: Some(37.8),
        },
        engineering_ev: Some(12.15),
        sharpness: Sharpness {
            edges: 640,
            sharpest_at_px: Some((430, 280)),
            softest_at_px: Some((700, 450)),
            ..Sharpness::default()
        },
        blur: Blur::default(),
        clipping: ClippingMap::default(),
        likeness: Likeness::default(),
        notes: vec!["Hot pixels were told from one frame only; a dark frame tells them better.".into()],
    };
    let record = Record {
        record: 1,
        measures_version: 1,
        file: String::new(),
        uri: None,
        moved_from: None,
        file_id: FileId { size: 1_080_000, mtime: None, hash: format!("{n:032x}") },
        status: Status::Measured,
        error: None,
        notes: Vec::new(),
        decoder: Some(frame.reader.clone()),
        shot: Some(shot),
        measures: Some(measures),
    };
    (frame, record)
}

/// One frame of the shoot: settings, blur and verdict vary.
fn vary(n: usize, base: &Record, sequence: &mut Draw) -> (Record, Judgement) {
    let mut record = base.clone();
    let name = ODD_NAMES.get(n).map_or_else(|| format!("NVK_{:04}.dng", 3100 + n), |s| (*s).to_owned());
    record.file = format!("shoot/day-{}/{name}", 1 + n / 40);
    record.file_id.hash = format!("{n:032x}");
    let iso = *sequence.pick(&[100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0]);
    let shutter = *sequence.pick(&[1.0 / 500.0, 1.0 / 250.0, 1.0 / 125.0, 1.0 / 60.0, 1.0 / 30.0, 0.5]);
    let shot = record.shot.as_mut().unwrap();
    shot.iso = Some(iso);
    shot.shutter_s = Some(shutter);
    shot.f_number = Some(*sequence.pick(&[2.8, 4.0, 5.6, 8.0, 11.0, 16.0]));
    shot.focal_mm = Some(35.0);
    shot.focal35_mm = Some(52.0);
    shot.taken_at = Some(format!("2026-10-{:02}T{:02}:{:02}:{:02}", 4 + n / 400, 6 + n / 60 % 12, n % 60, n * 7 % 60));
    let motion = if shutter > 0.015 { 6.0 * sequence.next() } else { 0.0 };
    let rise = 1.2 + 1.1 * sequence.next() + 0.5 * motion;
    let deg = 180.0 * sequence.next();
    let measures = record.measures.as_mut().unwrap();
    let s = &mut measures.sharpness;
    s.edge_rise_px = Some(rise);
    s.edge_rise_spread_px = Some(0.05);
    s.mtf50_cy_px = Some(0.48 / rise);
    s.mtf10_cy_px = Some(0.9 / rise);
    s.mtf50_lp_mm = Some(0.48 / rise / 0.0043);
    for bin in 0..12 {
        let off = (bin as f64 * 15.0 + 7.5 - deg).to_radians();
        s.rise_by_direction_px[bin] = (bin != 5).then(|| 1.3 + motion * 0.8 * off.cos().powi(2));
    }
    s.map = RiseMap {
        cols: 9,
        rows: 6,
        rise_px: (0..54)
            .map(|i| (i % 7 != 3).then(|| rise + 0.06 * f64::from(i % 9) + 0.1 * f64::from(i / 9)))
            .collect(),
    };
    measures.blur = Blur {
        kind: if motion > 1.5 { BlurKind::Motion } else { BlurKind::None },
        motion_px: (motion > 1.5).then_some(motion),
        motion_deg: (motion > 1.5).then_some(deg),
        defocus_px: None,
        expected_diffraction_px: Some(1.0),
        confidence: 0.85,
        motion_tiles_pct: Some(90.0),
    };
    measures.noise.snr_midtone_db = Some(40.0 - 10.0 * (iso / 100.0).log10());
    measures.exposure.clipped_any_pct = 3.0 * sequence.next().powi(4);

    let long_in = (36.0 / rise * (0.8 + 0.5 * sequence.next())).min(40.0);
    let tall = shot.orientation.swaps_sides();
    let (w, h) = if tall { (long_in / 1.5, long_in) } else { (long_in, long_in / 1.5) };
    let mut findings = Vec::new();
    let mut find = |code, severity, measured: f64, limit: f64, unit: &str, text: &str, remedy: &str| {
        findings.push(Finding {
            code,
            severity,
            measured: Some(measured),
            limit: Some(limit),
            unit: unit.into(),
            text: text.into(),
            remedy: remedy.into(),
        });
    };
    if motion > 1.5 {
        let severity = if motion > 3.0 { Severity::Fails } else { Severity::Borderline };
        find(
            FindingCode::Shaken,
            severity,
            motion / 2.0,
            1.9,
            "eye limits",
            "The camera moved during the exposure.",
            "At 1/250 s or shorter, or from a tripod with its column down.",
        );
    }
    if rise > 2.6 && motion < 1.5 {
        find(
            FindingCode::Soft,
            Severity::Borderline,
            rise,
            2.6,
            "eye limits",
            "No edge is as sharp as the print asks for.",
            "Focus on the enlarged live view.",
        );
    }
    if measures.exposure.clipped_any_pct > 1.0 {
        find(
            FindingCode::Blown,
            Severity::Fails,
            measures.exposure.clipped_any_pct,
            1.0,
            "% of the picture",
            "A part of the sky holds no detail.",
            "Give 0.7 EV less.",
        );
    }
    if iso > 1000.0 {
        find(
            FindingCode::Noisy,
            Severity::Note,
            22.0,
            20.0,
            "ratio",
            "Noise is near what the eye notices at this size.",
            "Stay at or below ISO 800.",
        );
    }
    findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
    let mut outcome = match findings.iter().map(|f| f.severity).max() {
        Some(Severity::Fails) => Outcome::Fails,
        Some(Severity::Borderline) => Outcome::Borderline,
        _ => Outcome::Prints,
    };
    let mut largest =
        Some(LargestPrint { width_in: w, height_in: h, ppi: 6000.0 / long_in, limited_by: "sharpness".into() });
    if n % 31 == 30 {
        outcome = Outcome::Unmeasured;
        largest = None;
        findings.clear();
        record.status = Status::Unreadable;
        record.error = Some("strip 3 ends past the end of the file".into());
        record.shot = None;
        record.measures = None;
    }
    let print = PrintFit {
        ppi: largest.as_ref().map(|_| 315.0),
        rise_mm: largest.as_ref().map(|_| rise * 25.4 / 315.0),
        motion_mm: None,
        snr_midtone: largest.as_ref().map(|_| 60.0),
        snr_lifted: largest.as_ref().map(|_| 60.0),
        eye_limit_mm: Some(0.13),
        finest_mm: Some(0.13),
        largest_with_proof: largest.clone(),
        largest,
        if_accepted: None,
    };
    let verdict = Verdict { brief: "portfolio".into(), outcome, findings, not_measured: Vec::new() };
    (record, Judgement { usable_ev: Some(9.4), shadow_room_ev: None, snr_limit: 4.0, print, verdict })
}

/// Print sizes beside the largest one.
fn rungs(judgement: &Judgement, tall: bool) -> Vec<Hanging> {
    let Some(largest) = &judgement.print.largest else { return Vec::new() };
    let most = largest.width_in.max(largest.height_in) * 2.54;
    [25.4, 42.0, 48.26, 61.0, 91.4, 152.4]
        .into_iter()
        .map(|long| Hanging {
            width_cm: if tall { long / 1.5 } else { long },
            height_cm: if tall { long } else { long / 1.5 },
            ppi: 6000.0 / (long / 2.54),
            outcome: if long <= most {
                Outcome::Prints
            } else if long <= most * 1.4 {
                Outcome::Borderline
            } else {
                Outcome::Fails
            },
            limited_by: (long > most).then(|| "sharpness".into()),
            asked: (long - 48.26).abs() < 0.01,
        })
        .collect()
}
