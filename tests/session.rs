//! Sessions with known truth: records whose measures follow from a camera, a lens and a hand in closed form, with the
//! errors that real measures have. Nothing here is rendered or decoded; frames that are come from `rawassay_scene`.

use rawassay_analysis::{
    Blur, BlurKind, Channel, ClippingMap, Exposure, Likeness, MEASURES_VERSION, Measures, Noise, RiseMap,
    SaturationFrom, Sharpness,
};
use rawassay_decode::{BlackFrom, Orientation, PitchFrom, Shot};
use rawassay_report::record::RECORD_VERSION;
use rawassay_report::{FileId, Record, Status};

/// Dice with a seed (a 64-bit linear congruential generator, Knuth's constants).
#[derive(Debug, Clone)]
pub struct Dice(pub u64);

impl Dice {
    /// 0..1, both ends excluded.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// 1 with a relative error.
    pub fn about(&mut self, error: f64) -> f64 {
        (error * self.normal()).exp()
    }
}

/// An invented camera with its lens.
#[derive(Debug, Clone)]
pub struct Body {
    /// Maker.
    pub make: &'static str,
    /// Model.
    pub model: &'static str,
    /// Serial number.
    pub serial: Option<&'static str>,
    /// Columns and rows.
    pub size_px: (usize, usize),
    /// Pixel pitch, micrometres.
    pub pitch_um: f64,
    /// Electrons at saturation, ISO 100.
    pub full_well_e: f64,
    /// Read noise before the amplifier, electrons.
    pub early_e: f64,
    /// Read noise behind it, electrons as seen at ISO 100.
    pub late_e: f64,
    /// Lens.
    pub lens: Option<&'static str>,
    /// Aberration: squared 10-90 % rise at f/1, um^2, falling with the f-number to the power `falls`.
    pub aberration_um2: f64,
    /// That power.
    pub falls: f64,
}

impl Body {
    /// A 24-megapixel camera of 36 x 24 mm.
    #[must_use]
    pub fn common() -> Self {
        Self {
            make: "Haldane",
            model: "Meridian 24",
            serial: Some("M24-0042"),
            size_px: (6000, 4000),
            pitch_um: 6.0,
            full_well_e: 50_000.0,
            early_e: 1.6,
            late_e: 5.0,
            lens: Some("Haldane 50 mm f/1.8"),
            aberration_um2: 900.0,
            falls: 2.0,
        }
    }

    /// Electrons at saturation.
    #[must_use]
    pub fn full_well_at(&self, iso: f64) -> f64 {
        self.full_well_e * 100.0 / iso
    }

    /// Read noise, electrons.
    #[must_use]
    pub fn read_noise_at(&self, iso: f64) -> f64 {
        self.early_e.hypot(self.late_e * 100.0 / iso)
    }

    /// Signal-to-noise of one pixel at 12.7 % of saturation, ratio.
    #[must_use]
    pub fn snr_at(&self, iso: f64) -> f64 {
        let signal = 0.127 * self.full_well_at(iso);
        signal / (signal + self.read_noise_at(iso).powi(2)).sqrt()
    }

    /// Squared rise of lens and pixel at an f-number, px^2: pixel 0.8 px, diffraction 1.33287 w N, aberration.
    #[must_use]
    pub fn rise2_at(&self, f_number: f64) -> f64 {
        let diffraction = 1.33287 * 0.55 * f_number / self.pitch_um;
        let aberration = self.aberration_um2 * f_number.powf(-self.falls) / self.pitch_um.powi(2);
        0.64 + diffraction * diffraction + aberration
    }

    /// f-number at which that is least: (falls x aberration / 2 diffraction)^(1 / (falls + 2)).
    #[must_use]
    pub fn sharpest_f_number(&self) -> f64 {
        let diffraction = (1.33287 * 0.55_f64).powi(2);
        (self.falls * self.aberration_um2 / (2.0 * diffraction)).powf(1.0 / (self.falls + 2.0))
    }
}

/// How one frame was taken and what came of it.
#[derive(Debug, Clone)]
pub struct Take {
    /// File.
    pub file: String,
    /// ISO.
    pub iso: f64,
    /// Exposure time, seconds.
    pub shutter_s: f64,
    /// f-number.
    pub f_number: f64,
    /// Focal length, mm (also the 35 mm equivalent).
    pub focal_mm: f64,
    /// Time by the camera's clock.
    pub taken_at: Option<String>,
    /// Exposure bias, EV.
    pub bias_ev: Option<f64>,
    /// Motion, pixels; zero for none.
    pub motion_px: f64,
    /// Direction of the motion, degrees.
    pub motion_deg: f64,
    /// Radius of the defocus disc, pixels.
    pub defocus_px: f64,
    /// Which scene: another number, another picture.
    pub scene: u64,
    /// How bright the middle of the scene is against the exposure's middle, EV.
    pub light_ev: f64,
    /// Range of the scene from darkest to brightest cell, EV.
    pub range_ev: f64,
    /// Relative error of the measures.
    pub error: f64,
}

impl Default for Take {
    fn default() -> Self {
        Self {
            file: "frame.dng".into(),
            iso: 100.0,
            shutter_s: 1.0 / 250.0,
            f_number: 8.0,
            focal_mm: 50.0,
            taken_at: None,
            bias_ev: None,
            motion_px: 0.0,
            motion_deg: 0.0,
            defocus_px: 0.0,
            scene: 1,
            light_ev: 0.0,
            range_ev: 6.0,
            error: 0.02,
        }
    }
}

/// A time of the camera's clock from seconds after nine o'clock.
#[must_use]
pub fn clock(seconds: f64) -> String {
    let whole = seconds.floor() as u64;
    let (h, m, s) = (9 + whole / 3600, whole / 60 % 60, whole % 60);
    format!("2026-05-03T{h:02}:{m:02}:{s:02}.{:02}", ((seconds - whole as f64) * 100.0).floor())
}

/// Cells of the scene across and down.
const CELLS: (usize, usize) = (32, 24);

/// The scene's cells, EV against its middle: a few soft hills and an edge.
fn cells_ev(scene: u64, range_ev: f64, dice: &mut Dice) -> Vec<f64> {
    let mut own = Dice(scene.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5555);
    for _ in 0..4 {
        own.uniform();
    }
    let hills: Vec<[f64; 4]> =
        (0..5).map(|_| [own.uniform(), own.uniform(), 0.1 + 0.3 * own.uniform(), 2.0 * own.uniform() - 1.0]).collect();
    let horizon = 0.2 + 0.6 * own.uniform();
    let mut cells: Vec<f64> = (0..CELLS.0 * CELLS.1)
        .map(|i| {
            let (x, y) = ((i % CELLS.0) as f64 / CELLS.0 as f64, (i / CELLS.0) as f64 / CELLS.1 as f64);
            let hills: f64 = hills
                .iter()
                .map(|[cx, cy, r, h]| h * (-((x - cx).powi(2) + (y - cy).powi(2)) / (2.0 * r * r)).exp())
                .sum();
            hills + if y < horizon { 0.7 } else { -0.3 }
        })
        .collect();
    let least = cells.iter().copied().fold(f64::INFINITY, f64::min);
    let most = cells.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    for cell in &mut cells {
        *cell = (*cell - 0.5 * (least + most)) / (most - least) * range_ev + 0.02 * dice.normal();
    }
    cells
}

/// The record of a frame.
#[must_use]
pub fn record(body: &Body, take: &Take, dice: &mut Dice) -> Record {
    let full_well = body.full_well_at(take.iso);
    let (read_e, gain) = (body.read_noise_at(take.iso), full_well / 15_000.0);
    let error = take.error;
    let snr_db = 20.0 * (body.snr_at(take.iso) * dice.about(error)).log10();
    // Middle of the scene three stops below saturation at ISO 100, 1/250 s, f/8.
    let exposed = (take.shutter_s * 250.0).log2() - 2.0 * (take.f_number / 8.0).log2() + (take.iso / 100.0).log2();
    let cells: Vec<f64> =
        cells_ev(take.scene, take.range_ev, dice).into_iter().map(|ev| 3.0 - ev - exposed - take.light_ev).collect();
    let share = |is: &dyn Fn(f64) -> bool| 100.0 * cells.iter().filter(|c| is(**c)).count() as f64 / cells.len() as f64;
    let clipped_pct = share(&|below| below <= 0.0);
    let floor_ev = (full_well / read_e).log2();
    let floor_pct = share(&|below| below >= floor_ev);
    let brightest = cells.iter().copied().fold(f64::INFINITY, f64::min).max(0.0);
    let motion2 = (0.8 * take.motion_px).powi(2);
    let still2 = body.rise2_at(take.f_number) + (1.3741 * take.defocus_px).powi(2);
    let by_direction = std::array::from_fn(|bin| {
        let normal_deg = 15.0 * bin as f64 + 7.5;
        let across = (normal_deg - take.motion_deg).to_radians().cos();
        Some((still2 + motion2 * across * across).sqrt() * dice.about(error))
    });
    let mut sorted: Vec<f64> = by_direction.iter().flatten().copied().collect();
    sorted.sort_by(f64::total_cmp);
    let rise = (sorted[0] + sorted[1] + sorted[2]) / 3.0;
    let kind = match (take.motion_px > 1.0, take.defocus_px > 1.0) {
        (true, true) => BlurKind::Mixed,
        (true, false) => BlurKind::Motion,
        (false, true) => BlurKind::Defocus,
        (false, false) => BlurKind::None,
    };
    let moved = matches!(kind, BlurKind::Motion | BlurKind::Mixed);
    // Softer towards the corners.
    let map = RiseMap {
        cols: 6,
        rows: 4,
        rise_px: (0..24)
            .map(|i| {
                let (x, y) = ((i % 6) as f64 - 2.5, (i / 6) as f64 - 1.5);
                Some(rise * (1.0 + 0.3 * (x * x + y * y) / 8.5) * dice.about(error))
            })
            .collect(),
    };
    let channel = |name: &str| Channel {
        name: name.into(),
        black_dn: 512.0,
        black_from: BlackFrom::Declared,
        white_declared_dn: 15_512.0,
        saturation_dn: 15_512.0,
        saturation_from: SaturationFrom::Observed,
        clipped_pct,
        floor_pct: Some(floor_pct),
        headroom_ev: Some(brightest),
        median_ev: Some(3.0 - exposed - take.light_ev),
        gain_e_per_dn: Some(gain),
        read_noise_dn: Some(read_e / gain),
        read_noise_e: Some(read_e),
        full_well_e: Some(full_well),
        snr_midtone_db: Some(snr_db),
    };
    let measures = Measures {
        active_px: [0, 0, body.size_px.0, body.size_px.1],
        channels: ["R", "G1", "G2", "B"].map(channel).to_vec(),
        exposure: Exposure {
            clipped_any_pct: clipped_pct,
            clipped_all_pct: clipped_pct,
            largest_clipped_area_pct: clipped_pct,
            clipped_area_count: u64::from(clipped_pct > 0.0),
            floor_pct: Some(floor_pct),
            headroom_ev: Some(brightest),
            scene_range_ev: Some(take.range_ev),
            darkest_ev: None,
            brighter_by_ev: Some(brightest),
            lift_ev: Some(0.0),
        },
        noise: Noise {
            flat_patches: 300,
            model_r2: Some(0.99),
            read_noise_dn: Some(read_e / gain * dice.about(error)),
            gain_e_per_dn: Some(gain * dice.about(error)),
            picture_read_noise_dn: None,
            masked_read_noise_dn: None,
            row_banding_dn: Some(0.01),
            column_banding_dn: Some(0.01),
            hot_pixels: Some(0),
            snr_midtone_db: Some(snr_db),
            snr_lifted_db: Some(snr_db),
        },
        engineering_ev: Some((full_well / read_e).log2()),
        sharpness: Sharpness {
            edges: 400,
            edge_rise_px: Some(rise),
            // Three tenths of the stated error is what frames of one scene do not share.
            edge_rise_spread_px: Some(rise * error / 0.3),
            rise_by_direction_px: by_direction,
            map,
            ..Sharpness::default()
        },
        blur: Blur {
            kind,
            motion_px: moved.then(|| take.motion_px * dice.about(3.0 * error)),
            motion_deg: moved.then_some(take.motion_deg),
            defocus_px: (take.defocus_px > 1.0).then_some(take.defocus_px),
            expected_diffraction_px: Some(1.33287 * 0.55 * take.f_number / body.pitch_um),
            confidence: 0.9,
            motion_tiles_pct: moved.then_some(95.0),
        },
        clipping: ClippingMap::default(),
        likeness: Likeness {
            cols: CELLS.0,
            rows: CELLS.1,
            below_saturation: cells.iter().map(|ev| (ev * 16.0).round().clamp(0.0, 255.0) as u8).collect(),
        },
        notes: Vec::new(),
    };
    Record {
        record: RECORD_VERSION,
        measures_version: MEASURES_VERSION,
        file: take.file.clone(),
        uri: None,
        moved_from: None,
        file_id: FileId { size: 0, mtime: None, hash: String::new() },
        status: Status::Measured,
        error: None,
        notes: Vec::new(),
        decoder: None,
        shot: Some(Shot {
            make: Some(body.make.into()),
            model: Some(body.model.into()),
            lens: body.lens.map(Into::into),
            serial: body.serial.map(Into::into),
            iso: Some(take.iso),
            shutter_s: Some(take.shutter_s),
            f_number: Some(take.f_number),
            focal_mm: Some(take.focal_mm),
            focal35_mm: Some(take.focal_mm),
            exposure_bias_ev: take.bias_ev,
            taken_at: take.taken_at.clone(),
            orientation: Orientation::NORMAL,
            width_px: body.size_px.0,
            height_px: body.size_px.1,
            cfa: "RGGB".into(),
            pixel_pitch_um: Some(body.pitch_um),
            pitch_from: Some(PitchFrom::FocalPlaneResolution),
        }),
        measures: Some(measures),
    }
}
