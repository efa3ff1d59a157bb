//! The frame on the paper or the screen: resolution after crop and fit, blur, motion and noise at the size at which it
//! is shown, against what the eye resolves from the distance at which it is seen.
//!
//! A picture is fitted whole into the output, never stretched and never cropped further; paper is turned to suit the
//! picture, a screen is not. On a screen nothing finer than its own pixel is seen.

use serde::{Deserialize, Serialize};

use crate::brief::{Brief, Limit, MM_PER_INCH, Need, Output, OutputKind};
use crate::judge::{LargestPrint, Severity};
use crate::{known, optics};

/// Rounding that a limit forgives, relative.
const ROUNDING: f64 = 1e-9;

/// What decides over the size of a print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Aspect {
    /// Pixels per inch.
    Pixels,
    /// Edge rise.
    Sharpness,
    /// Motion.
    Motion,
    /// Mid-tone signal-to-noise.
    Noise,
}

impl Aspect {
    /// Every aspect. Where two limit at the same size the first is named.
    pub const ALL: [Self; 4] = [Self::Motion, Self::Sharpness, Self::Noise, Self::Pixels];

    /// The word in `limited_by`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pixels => "pixels",
            Self::Sharpness => "sharpness",
            Self::Motion => "motion",
            Self::Noise => "noise",
        }
    }
}

/// What the frame, cropped and upright, brings to the paper. `None` is unknown.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Brings {
    /// Columns of the upright picture after the crop; zero where unknown.
    pub width_px: f64,
    /// Rows.
    pub height_px: f64,
    /// 10-90 % edge rise, pixels.
    pub rise_px: Option<f64>,
    /// Motion, pixels; zero where there is none.
    pub motion_px: Option<f64>,
    /// Mid-tone signal-to-noise of one pixel as metered (12.7 % of saturation), ratio.
    pub snr_px: Option<f64>,
    /// EV by which developing lifts the frame to the brightness of a metered one.
    pub lift_ev: f64,
    /// Signal-to-noise of one pixel of the tone that so becomes the mid-tone: held against the borderline limit, as the
    /// picture may be meant dark.
    pub snr_lifted_px: Option<f64>,
    /// The same where the frame is lifted only as far as a picture must be that is meant dark: held against the fails
    /// limit.
    pub snr_least_lifted_px: Option<f64>,
    /// True where the frame is sharp pixel by pixel, so that wide edges on the paper are enlargement alone: pixels are
    /// then what is missing.
    pub pixel_sharp: bool,
}

/// The picture fitted into the output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Picture pixels per inch.
    pub ppi: f64,
    /// Width of the picture as shown, mm.
    pub width_mm: f64,
    /// Height of the picture as shown, mm.
    pub height_mm: f64,
    /// True where the width fills the output, false where the height does.
    pub width_limits: bool,
}

/// Fits a picture whole into an area; `turn` lets the area lie along the picture. `None` where a side is not positive.
#[must_use]
pub fn fit(width_px: f64, height_px: f64, area_mm: (f64, f64), turn: bool) -> Option<Fit> {
    let (mut w, mut h) = area_mm;
    if ![width_px, height_px, w, h].iter().all(|v| v.is_finite() && *v > 0.0) {
        return None;
    }
    if turn && ((width_px > height_px) != (w > h)) {
        (w, h) = (h, w);
    }
    let (across, down) = (width_px / w, height_px / h);
    let px_per_mm = across.max(down);
    Some(Fit {
        ppi: px_per_mm * MM_PER_INCH,
        width_mm: width_px / px_per_mm,
        height_mm: height_px / px_per_mm,
        width_limits: across >= down,
    })
}

/// Fits a picture into the brief's output.
#[must_use]
pub fn fit_output(brings: &Brings, output: &Output) -> Option<Fit> {
    fit(brings.width_px, brings.height_px, (output.width_mm, output.height_mm), output.kind == OutputKind::Print)
}

/// The conditions under which a print is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// What the eye resolves at the distance, one minute of arc, mm.
    pub eye_limit_mm: f64,
    /// The finest that is seen: the eye's limit, or the screen's pixel where that is larger, mm.
    pub finest_mm: f64,
}

/// How the brief's output is seen.
#[must_use]
pub fn seen(output: &Output) -> Seen {
    let eye_limit_mm = optics::eye_limit_mm(output.distance_mm);
    let screen_pixel_mm = output.screen.map_or(0.0, |s| MM_PER_INCH / s.ppi);
    Seen { eye_limit_mm, finest_mm: eye_limit_mm.max(screen_pixel_mm) }
}

/// Mid-tone signal-to-noise after averaging over the finest that is seen: sqrt(n) times that of a pixel, n the
/// pixels in that square; a pixel larger than that is not averaged.
#[must_use]
pub fn snr_on_paper(snr_px: f64, finest_mm: f64, ppi: f64) -> f64 {
    snr_px * (finest_mm * ppi / MM_PER_INCH).max(1.0)
}

/// Pixels averaged in the square of the finest that is seen; one at the least.
#[must_use]
pub fn pixels_averaged(finest_mm: f64, ppi: f64) -> f64 {
    let side = (finest_mm * ppi / MM_PER_INCH).max(1.0);
    side * side
}

/// A frame under a brief's limits, at any size.
#[derive(Clone, Copy)]
pub struct OnPaper<'a> {
    /// What the frame brings.
    pub brings: Brings,
    /// The limits.
    pub brief: &'a Brief,
    /// How it is seen.
    pub seen: Seen,
}

impl OnPaper<'_> {
    /// The limit of an aspect.
    #[must_use]
    pub fn limit(&self, aspect: Aspect) -> Limit {
        let limits = &self.brief.limits;
        match aspect {
            Aspect::Pixels => Limit::new(self.brief.output.ppi_wanted, self.brief.output.ppi_least),
            Aspect::Sharpness => limits.rise_eye_limits,
            Aspect::Motion => limits.motion_eye_limits,
            Aspect::Noise => limits.snr_midtone,
        }
    }

    /// An aspect's value at a resolution, in the unit of its limit; `None` where unknown.
    #[must_use]
    pub fn value(&self, aspect: Aspect, ppi: f64) -> Option<f64> {
        let eye_limits = |px: f64| px * MM_PER_INCH / ppi / self.seen.finest_mm;
        let value = match aspect {
            Aspect::Pixels => Some(ppi),
            Aspect::Sharpness => self.brings.rise_px.map(eye_limits),
            Aspect::Motion => self.brings.motion_px.map(eye_limits),
            Aspect::Noise => self.snr(self.brings.snr_px, ppi),
        };
        value.and_then(known)
    }

    /// A signal-to-noise ratio of one pixel as it is seen at a resolution.
    #[must_use]
    pub fn snr(&self, snr_px: Option<f64>, ppi: f64) -> Option<f64> {
        snr_px.map(|snr| snr_on_paper(snr, self.seen.finest_mm, ppi)).and_then(known)
    }

    /// How bad the noise is at a resolution: it fails where the mid-tones do of the darkest picture that would be
    /// printed; it is borderline where those of a picture of normal brightness are.
    fn grade_noise(&self, ppi: f64) -> Result<Option<Severity>, Unknown> {
        let limit = self.limit(Aspect::Noise);
        let least = self.snr(self.brings.snr_least_lifted_px, ppi).ok_or(Unknown)?;
        let lifted = self.snr(self.brings.snr_lifted_px, ppi).ok_or(Unknown)?;
        let borderline = grade_below(lifted, limit).map(|_| Severity::Borderline);
        Ok(grade_below(least, limit).filter(|s| *s == Severity::Fails).or(borderline))
    }

    /// How bad an aspect is at a resolution: `Ok(None)` within the limits, `Err(())` unknown.
    ///
    /// # Errors
    /// Where the value is unknown.
    pub fn grade(&self, aspect: Aspect, ppi: f64) -> Result<Option<Severity>, Unknown> {
        let value = || self.value(aspect, ppi).ok_or(Unknown);
        match aspect {
            Aspect::Sharpness | Aspect::Motion => Ok(grade_above(value()?, self.limit(aspect))),
            Aspect::Pixels => Ok(grade_below(value()?, self.limit(aspect))),
            Aspect::Noise => self.grade_noise(ppi),
        }
    }

    /// The word for what limits: enlargement alone is named by the pixels that are missing.
    #[must_use]
    pub fn cause(&self, aspect: Aspect) -> &'static str {
        if aspect == Aspect::Sharpness && self.brings.pixel_sharp { Aspect::Pixels.word() } else { aspect.word() }
    }

    /// The least resolution, and so the largest print, at which an aspect stays within its limit (`fails` false: within
    /// borderline). Zero where it does so at any size; `None` where unknown.
    #[must_use]
    pub fn least_ppi(&self, aspect: Aspect, fails: bool) -> Option<f64> {
        let limit = self.limit(aspect);
        let limit = if fails { limit.fails } else { limit.borderline };
        let of_blur = |px: f64| px * MM_PER_INCH / (limit * self.seen.finest_mm);
        let ppi = match aspect {
            Aspect::Pixels => Some(limit),
            Aspect::Sharpness => self.brings.rise_px.map(of_blur),
            Aspect::Motion => self.brings.motion_px.map(of_blur),
            Aspect::Noise => if fails { self.brings.snr_least_lifted_px } else { self.brings.snr_lifted_px }
                .map(|snr| if snr >= limit { 0.0 } else { limit / snr * MM_PER_INCH / self.seen.finest_mm }),
        };
        ppi.and_then(known)
    }

    /// The largest print that stays within all limits of size (`fails` false: the largest that `prints`; true: the
    /// largest that does not fail). An unknown aspect that the brief does not need is left out. Where one
    /// that it needs is unknown there is no largest print, unless a known one fails at the brief's size all the same:
    /// then the others are left out, and the print is no larger than that.
    #[must_use]
    pub fn largest(&self, fails: bool) -> Option<LargestPrint> {
        let sure = self.fails_for_certain();
        let mut least = (0.0, Aspect::Pixels);
        for aspect in Aspect::ALL {
            match self.least_ppi(aspect, fails) {
                Some(ppi) if ppi > least.0 => least = (ppi, aspect),
                Some(_) => {}
                None if sure || !self.needs(aspect) => {}
                None => return None,
            }
        }
        let (ppi, aspect) = least;
        let (width_in, height_in) = (self.brings.width_px / ppi, self.brings.height_px / ppi);
        if !(width_in > 0.0 && height_in > 0.0 && width_in.is_finite() && height_in.is_finite()) {
            return None;
        }
        Some(LargestPrint { width_in, height_in, ppi, limited_by: self.cause(aspect).into() })
    }

    /// True where an aspect that is known fails at the brief's size.
    fn fails_for_certain(&self) -> bool {
        let fit = fit_output(&self.brings, &self.brief.output);
        fit.is_some_and(|fit| Aspect::ALL.iter().any(|a| self.grade(*a, fit.ppi) == Ok(Some(Severity::Fails))))
    }

    /// True where the brief does not let a frame pass without this aspect.
    #[must_use]
    pub fn needs(&self, aspect: Aspect) -> bool {
        let need = match aspect {
            Aspect::Pixels => return true,
            Aspect::Sharpness => Need::Sharpness,
            Aspect::Motion => Need::Motion,
            Aspect::Noise => Need::Noise,
        };
        self.brief.needs.contains(&need)
    }
}

/// An unknown value where a grade was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unknown;

/// Grades a value of which more is worse.
#[must_use]
pub fn grade_above(value: f64, limit: Limit) -> Option<Severity> {
    if value > limit.fails * (1.0 + ROUNDING) {
        Some(Severity::Fails)
    } else if value > limit.borderline * (1.0 + ROUNDING) {
        Some(Severity::Borderline)
    } else {
        None
    }
}

/// Grades a value of which less is worse.
#[must_use]
pub fn grade_below(value: f64, limit: Limit) -> Option<Severity> {
    if value < limit.fails * (1.0 - ROUNDING) {
        Some(Severity::Fails)
    } else if value < limit.borderline * (1.0 - ROUNDING) {
        Some(Severity::Borderline)
    } else {
        None
    }
}
