//! What the camera wrote about the shot.

use serde::{Deserialize, Serialize};

/// Exif orientation, 1 to 8: how the stored frame is turned to stand upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Orientation(u8);

impl Orientation {
    /// Stored as seen.
    pub const NORMAL: Self = Self(1);

    /// The Exif value 1 to 8; anything else is normal.
    #[must_use]
    pub const fn from_exif(value: u32) -> Self {
        if value >= 1 && value <= 8 { Self(value as u8) } else { Self::NORMAL }
    }

    /// The Exif value.
    #[must_use]
    pub const fn exif(self) -> u8 {
        self.0
    }

    /// True where width and height change places when the frame is stood upright.
    #[must_use]
    pub const fn swaps_sides(self) -> bool {
        self.0 >= 5
    }
}

/// Where the pixel pitch comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PitchFrom {
    /// Exif FocalPlaneXResolution with its unit.
    FocalPlaneResolution,
    /// Focal length and its 35 mm equivalent (Exif FocalLengthIn35mmFilm).
    Focal35,
}

/// Shot data; `None` where the file does not say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shot {
    /// Camera maker.
    pub make: Option<String>,
    /// Camera model.
    pub model: Option<String>,
    /// Lens model.
    pub lens: Option<String>,
    /// Body serial number.
    pub serial: Option<String>,
    /// ISO (PhotographicSensitivity).
    pub iso: Option<f64>,
    /// Exposure time, seconds.
    pub shutter_s: Option<f64>,
    /// f-number.
    pub f_number: Option<f64>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// 35 mm equivalent focal length, mm: as stated, else from the pitch and frame size.
    pub focal35_mm: Option<f64>,
    /// Exposure bias, EV.
    pub exposure_bias_ev: Option<f64>,
    /// RFC 3339, with sub-seconds and offset where present (without offset: local camera time, no suffix).
    pub taken_at: Option<String>,
    /// Exif orientation.
    pub orientation: Orientation,
    /// Columns of the picture (active area).
    pub width_px: usize,
    /// Rows of the picture (active area).
    pub height_px: usize,
    /// Filter array: "RGGB", "GBRG", "xtrans", "mono", "linear" ...
    pub cfa: String,
    /// Pixel pitch, micrometres.
    pub pixel_pitch_um: Option<f64>,
    /// Where the pitch comes from.
    pub pitch_from: Option<PitchFrom>,
}

impl Default for Shot {
    fn default() -> Self {
        Self {
            make: None,
            model: None,
            lens: None,
            serial: None,
            iso: None,
            shutter_s: None,
            f_number: None,
            focal_mm: None,
            focal35_mm: None,
            exposure_bias_ev: None,
            taken_at: None,
            orientation: Orientation::NORMAL,
            width_px: 0,
            height_px: 0,
            cfa: String::new(),
            pixel_pitch_um: None,
            pitch_from: None,
        }
    }
}
