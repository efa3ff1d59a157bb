//! What a picture is for: size, viewing distance, limits and handling. Frames are judged by it, on the paper or the
//! screen, at the distance from which it is seen.
//!
//! A brief is a TOML text (docs/briefs.md); four are built in. Lengths are kept in millimetres; the unit that the
//! author used is remembered for what is said to them.

mod built_in;
pub mod derived;
mod error;
pub mod keys;
pub mod length;
mod parse;
mod words;
mod write;

use std::io::Read;
use std::path::Path;

use serde::{Deserialize, Serialize};

pub use error::BriefError;
pub use keys::{LimitKey, Worse};
pub use length::{LengthUnit, MM_PER_INCH, PictureUnit};
pub(crate) use parse::NEAREST_MM;

/// Kind of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OutputKind {
    /// Ink or silver on paper; the paper is turned to suit the picture.
    Print,
    /// A screen, which is not turned.
    Screen,
}

/// The screen of a brief for screens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Screen {
    /// Pixels across.
    pub width_px: f64,
    /// Pixels down.
    pub height_px: f64,
    /// Its own pixels per inch.
    pub ppi: f64,
}

/// Size, distance and resolution asked of the output.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Output {
    /// Print or screen.
    pub kind: OutputKind,
    /// Width of the picture area, mm. For a screen: of its pixels.
    pub width_mm: f64,
    /// Height of the picture area, mm.
    pub height_mm: f64,
    /// The screen, where the brief is for one.
    pub screen: Option<Screen>,
    /// Viewing distance, mm.
    pub distance_mm: f64,
    /// Picture pixels per inch that are wanted: below, the frame is borderline.
    pub ppi_wanted: f64,
    /// Picture pixels per inch at the least: below, the frame fails.
    pub ppi_least: f64,
    /// The unit in which sizes are told.
    pub unit: LengthUnit,
    /// The unit in which distances are told.
    pub distance_unit: LengthUnit,
}

impl Output {
    /// What the sides of pictures are told in: the size's own unit, on a screen its pixel. A metre is no unit of a print.
    #[must_use]
    pub fn picture_unit(&self) -> PictureUnit {
        match (self.screen, self.unit) {
            (Some(screen), _) => PictureUnit::Pixel { mm: MM_PER_INCH / screen.ppi },
            (None, LengthUnit::M) => PictureUnit::Length(LengthUnit::Cm),
            (None, unit) => PictureUnit::Length(unit),
        }
    }
}

/// A limit with its two values. Which side of them is worse stands in [`keys::LIMITS`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Beyond this the frame is borderline: make a proof print.
    pub borderline: f64,
    /// Beyond this it fails.
    pub fails: f64,
}

impl Limit {
    /// A limit from its two values.
    #[must_use]
    pub const fn new(borderline: f64, fails: f64) -> Self {
        Self { borderline, fails }
    }
}

/// The limits of a brief; each default and its reason is in docs/briefs.md.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Blown area without specular spots, per cent of the picture.
    pub blown_area_pct: Limit,
    /// Largest single blown patch on the paper, cm2.
    pub blown_patch_cm2: Limit,
    /// A blown spot up to this diameter on the paper counts as a specular highlight, mm.
    pub specular_spot_mm: f64,
    /// Samples without shadow detail, per cent of the picture.
    pub blocked_area_pct: Limit,
    /// Mid-tone signal-to-noise on the paper, averaged over what the eye resolves, ratio.
    pub snr_midtone: Limit,
    /// Signal-to-noise at which the darkest usable tone lies (range.usable_ev), ratio.
    pub shadow_snr: f64,
    /// Banding over noise on the paper, in the frame's darkest tones, ratio.
    pub banding_to_noise: Limit,
    /// 10-90 % edge rise on the paper, in units of what the eye resolves.
    pub rise_eye_limits: Limit,
    /// Motion on the paper, in units of what the eye resolves.
    pub motion_eye_limits: Limit,
}

/// Handling rules of a brief.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Handling {
    /// k in the slowest hand-held shutter 1/(k f35).
    pub shutter_rule: f64,
    /// Fastest shutter of the vibration band, seconds.
    pub vibration_fastest_s: f64,
    /// Slowest shutter of the vibration band, seconds.
    pub vibration_slowest_s: f64,
    /// 35 mm equivalent focal length from which the vibration band counts, mm.
    pub vibration_focal35_mm: f64,
}

/// A measure without which a frame must not pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Need {
    /// Edge rise.
    Sharpness,
    /// Mid-tone signal-to-noise.
    Noise,
    /// Motion, as kind and length.
    Motion,
    /// Samples at the floor.
    Shadows,
    /// Row and column banding.
    Banding,
}

impl Need {
    /// Every need.
    pub const ALL: [Self; 5] = [Self::Sharpness, Self::Noise, Self::Motion, Self::Shadows, Self::Banding];

    /// The word in a brief.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sharpness => "sharpness",
            Self::Noise => "noise",
            Self::Motion => "motion",
            Self::Shadows => "shadows",
            Self::Banding => "banding",
        }
    }
}

/// What a picture is for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Brief {
    /// Name, as it stands in scorecards.
    pub name: String,
    /// Size, distance, resolution.
    pub output: Output,
    /// Limits.
    pub limits: Limits,
    /// Handling rules.
    pub handling: Handling,
    /// What must be measured before a frame may pass.
    pub needs: Vec<Need>,
}

impl Brief {
    /// Names of the built-in briefs, smallest output first.
    #[must_use]
    pub const fn built_in_names() -> &'static [&'static str] {
        &["screen", "album", "portfolio", "exhibition"]
    }

    /// Reads a brief from TOML text; `file_name` is named in errors.
    ///
    /// # Errors
    /// Where the text is not TOML, a key is unknown, or a value is not usable: with the line, the key and what to do.
    pub fn parse(toml_text: &str, file_name: &str) -> Result<Self, BriefError> {
        parse::parse(toml_text, file_name)
    }

    /// A built-in brief by name, else the brief in that file, else size and distance in words (`A2 from 60 cm`).
    ///
    /// # Errors
    /// Where there is neither, or the file is not a brief.
    pub fn find(name_or_path: &str) -> Result<Self, BriefError> {
        if let Some(brief) = Self::built_in(name_or_path) {
            return Ok(brief);
        }
        match Self::read(name_or_path) {
            Err(BriefError::Io { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => {
                if words::is_meant(name_or_path) {
                    return words::parse(name_or_path);
                }
                let nearest = keys::nearest(name_or_path, Self::built_in_names().iter().copied());
                let hint = nearest.map_or(String::new(), |n| format!("did you mean `{n}`? "));
                Err(BriefError::Unknown { name: name_or_path.into(), hint, known: Self::built_in_names().join(", ") })
            }
            // A copy of a built-in brief that was changed must not pass for it in a scorecard.
            Ok(brief) => Ok(match Self::built_in(&brief.name) {
                Some(built_in) if built_in != brief => {
                    let file = Path::new(name_or_path).file_name().unwrap_or_default().to_string_lossy();
                    Self { name: format!("{} ({file})", brief.name), ..brief }
                }
                _ => brief,
            }),
            failed => failed,
        }
    }

    /// The brief in a file.
    ///
    /// # Errors
    /// Where it cannot be read, or is not a brief.
    pub fn read(file: &str) -> Result<Self, BriefError> {
        /// Bytes; what is larger is something else, a device without an end at the worst.
        const LARGEST: u64 = 1 << 20;
        let mut bytes = Vec::new();
        std::fs::File::open(file)
            .and_then(|opened| opened.take(LARGEST + 1).read_to_end(&mut bytes))
            .map_err(|source| BriefError::Io { file: file.into(), source })?;
        let not = |what: &str| BriefError::NotBrief { file: file.into(), what: what.into() };
        if bytes.len() as u64 > LARGEST {
            return Err(not("larger than 1 MiB; a brief is a short TOML text"));
        }
        let text = std::str::from_utf8(&bytes).map_err(|_| not("not UTF-8 text; a brief is a short TOML text"))?;
        Self::parse(text.trim_start_matches('\u{feff}'), file)
    }

    /// The brief as commented TOML text that [`Brief::parse`] reads back to the same brief.
    #[must_use]
    pub fn to_toml(&self) -> String {
        write::to_toml(self)
    }

    /// The size in words: "13 x 19 in", "2560 x 1440 px".
    #[must_use]
    pub fn size_text(&self) -> String {
        match self.output.screen {
            Some(screen) => format!("{} x {} px", screen.width_px, screen.height_px),
            None => length::size_text(self.output.width_mm, self.output.height_mm, self.output.unit),
        }
    }

    /// Name and size: "exhibition (30 x 40 in)"; the name alone where it tells the size.
    #[must_use]
    pub fn title(&self) -> String {
        let size = self.size_text();
        if self.name.contains(&size) { self.name.clone() } else { format!("{} ({size})", self.name) }
    }

    /// The viewing distance in words.
    #[must_use]
    pub fn distance_text(&self) -> String {
        length::text(self.output.distance_mm, self.output.distance_unit)
    }
}

#[cfg(test)]
mod tests;
