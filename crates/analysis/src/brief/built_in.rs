//! The briefs that need no file, and their limits.

use super::{Brief, Handling, LengthUnit, Limit, Limits, MM_PER_INCH, Need, Output, OutputKind, Screen};

impl Default for Limits {
    fn default() -> Self {
        Self {
            blown_area_pct: Limit::new(0.2, 1.0),
            blown_patch_cm2: Limit::new(2.0, 10.0),
            specular_spot_mm: 3.0,
            blocked_area_pct: Limit::new(10.0, 40.0),
            snr_midtone: Limit::new(20.0, 10.0),
            shadow_snr: 4.0,
            banding_to_noise: Limit::new(0.15, 0.5),
            rise_eye_limits: Limit::new(1.5, 3.0),
            motion_eye_limits: Limit::new(1.9, 3.4),
        }
    }
}

impl Default for Handling {
    fn default() -> Self {
        Self { shutter_rule: 3.0, vibration_fastest_s: 0.125, vibration_slowest_s: 1.0, vibration_focal35_mm: 70.0 }
    }
}

impl Default for Brief {
    /// `portfolio`.
    fn default() -> Self {
        let inch = MM_PER_INCH;
        Self {
            name: "portfolio".into(),
            output: Output {
                kind: OutputKind::Print,
                width_mm: 13.0 * inch,
                height_mm: 19.0 * inch,
                screen: None,
                distance_mm: 450.0,
                ppi_wanted: 240.0,
                ppi_least: 180.0,
                unit: LengthUnit::In,
                distance_unit: LengthUnit::Cm,
            },
            limits: Limits::default(),
            handling: Handling::default(),
            needs: vec![Need::Sharpness, Need::Motion, Need::Noise],
        }
    }
}

impl Brief {
    /// A built-in brief by its name.
    #[must_use]
    pub fn built_in(name: &str) -> Option<Self> {
        let inch = MM_PER_INCH;
        let base = Self::default();
        match name {
            "screen" => {
                let screen = Screen { width_px: 2560.0, height_px: 1440.0, ppi: 110.0 };
                Some(Self {
                    name: name.into(),
                    output: Output {
                        kind: OutputKind::Screen,
                        width_mm: screen.width_px / screen.ppi * inch,
                        height_mm: screen.height_px / screen.ppi * inch,
                        screen: Some(screen),
                        distance_mm: 600.0,
                        ppi_wanted: 110.0,
                        ppi_least: 80.0,
                        unit: LengthUnit::Cm,
                        distance_unit: LengthUnit::Cm,
                    },
                    ..base
                })
            }
            "album" => Some(Self {
                name: name.into(),
                output: Output {
                    width_mm: 8.0 * inch,
                    height_mm: 10.0 * inch,
                    distance_mm: 300.0,
                    ppi_wanted: 300.0,
                    ppi_least: 200.0,
                    ..base.output
                },
                limits: Limits { blown_patch_cm2: Limit::new(1.0, 5.0), specular_spot_mm: 2.0, ..base.limits },
                ..base
            }),
            "portfolio" => Some(base),
            "exhibition" => Some(Self {
                name: name.into(),
                output: Output {
                    width_mm: 30.0 * inch,
                    height_mm: 40.0 * inch,
                    distance_mm: 750.0,
                    ppi_wanted: 180.0,
                    ppi_least: 120.0,
                    ..base.output
                },
                limits: Limits { blown_patch_cm2: Limit::new(5.0, 25.0), specular_spot_mm: 5.0, ..base.limits },
                ..base
            }),
            _ => None,
        }
    }
}
