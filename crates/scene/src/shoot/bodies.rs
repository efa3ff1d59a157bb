//! The invented cameras of the shoot and their lenses.

use crate::{Border, Camera, Filter};

/// The 36 x 24 mm camera.
fn norvane() -> Camera {
    Camera {
        make: "Norvane".into(),
        model: "Norvane N6 (simulated)".into(),
        serial: "N6-204417".into(),
        pitch_um: 7.81,
        filter: Filter::two_by_two("RGGB"),
        border: Border { left: 48, top: 24, right: 0, bottom: 0 },
        bits: 14,
        black_dn: vec![600.0],
        white_declared_dn: 16_383,
        saturation_dn: 15_872,
        base_iso: 100.0,
        gain_e_per_dn: 4.6,
        read_noise_e: 3.4,
        converter_noise_dn: 1.1,
        prnu_pct: 0.4,
        hot_pixels: 12,
        sensor_seed: 36,
        ..Camera::default()
    }
}

/// The four-thirds camera.
fn halse() -> Camera {
    Camera {
        make: "Halse".into(),
        model: "Halse Field 4 (simulated)".into(),
        serial: "HF4-0081352".into(),
        pitch_um: 5.2,
        filter: Filter::two_by_two("GBRG"),
        border: Border { left: 16, top: 8, right: 0, bottom: 0 },
        bits: 12,
        black_dn: vec![255.0, 256.0, 256.0, 257.0],
        white_declared_dn: 4095,
        saturation_dn: 3_980,
        base_iso: 200.0,
        gain_e_per_dn: 7.6,
        read_noise_e: 2.9,
        converter_noise_dn: 0.6,
        prnu_pct: 0.5,
        hot_pixels: 30,
        sensor_seed: 43,
        ..Camera::default()
    }
}

/// The telephone.
fn orrin() -> Camera {
    Camera {
        make: "Orrin".into(),
        model: "Orrin Pocket (simulated)".into(),
        serial: "OP-77120".into(),
        pitch_um: 1.75,
        filter: Filter::two_by_two("BGGR"),
        border: Border::default(),
        bits: 10,
        black_dn: vec![64.0],
        white_declared_dn: 1023,
        saturation_dn: 1023,
        base_iso: 50.0,
        gain_e_per_dn: 7.5,
        read_noise_e: 2.6,
        converter_noise_dn: 0.4,
        prnu_pct: 0.9,
        hot_pixels: 20,
        states_noise: true,
        sensor_seed: 5,
        ..Camera::default()
    }
}

/// The medium-format camera.
fn ansgard() -> Camera {
    Camera {
        make: "Ansgard".into(),
        model: "Ansgard M44 (simulated)".into(),
        serial: "M44-1903".into(),
        pitch_um: 7.76,
        filter: Filter::two_by_two("RGGB"),
        border: Border { left: 64, top: 0, right: 64, bottom: 32 },
        bits: 16,
        black_dn: vec![1024.0],
        white_declared_dn: 65_535,
        saturation_dn: 63_000,
        base_iso: 100.0,
        gain_e_per_dn: 1.25,
        read_noise_e: 3.1,
        converter_noise_dn: 3.0,
        prnu_pct: 0.3,
        sensor_seed: 44,
        ..Camera::default()
    }
}

/// Which camera, with its lens and frame size.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Body {
    Norvane,
    Halse,
    Orrin,
    Ansgard,
}

impl Body {
    pub(super) fn camera(self) -> Camera {
        match self {
            Self::Norvane => norvane(),
            Self::Halse => halse(),
            Self::Orrin => orrin(),
            Self::Ansgard => ansgard(),
        }
    }

    pub(super) fn size(self) -> (usize, usize) {
        match self {
            Self::Norvane => (4608, 3072),
            Self::Halse => (3328, 2496),
            Self::Orrin => (2816, 2112),
            Self::Ansgard => (5656, 4242),
        }
    }

    pub(super) fn lens(self, focal_mm: f64) -> String {
        match self {
            Self::Norvane if focal_mm > 200.0 => "Norvane Tele 300 mm f/4".into(),
            Self::Norvane => "Norvane Zoom 24-70 mm f/2.8".into(),
            Self::Halse => "Halse 12-60 mm f/2.8".into(),
            Self::Orrin => "Orrin 4.2 mm f/1.8".into(),
            Self::Ansgard => "Ansgard 63 mm f/3.5".into(),
        }
    }
}
