//! Values that several commands read from the command line.

use rawassay_analysis::Outcome;
use rawassay_analysis::brief::{LengthUnit, length};
use rawassay_analysis::enlarge::{Distance, PaperSize};
use rawassay_decode::Area;

/// A crop `WxH+X+Y`.
///
/// # Errors
/// What is wrong with the text.
pub fn crop(text: &str) -> Result<Area, String> {
    rawassay_analysis::crop::parse(text)
}

/// An outcome by its word.
///
/// # Errors
/// Where there is none of that name.
pub fn outcome(text: &str) -> Result<Outcome, String> {
    [Outcome::Prints, Outcome::Borderline, Outcome::Fails, Outcome::Unmeasured]
        .into_iter()
        .find(|outcome| outcome.to_string() == text)
        .ok_or_else(|| "must be prints, borderline, fails or unmeasured".into())
}

/// A viewing distance: a length, or `diagonal`.
///
/// # Errors
/// What is wrong with the text.
pub fn distance(text: &str) -> Result<Distance, String> {
    if text.trim() == "diagonal" {
        return Ok(Distance::Diagonal);
    }
    length::distance(text).map(|(mm, _)| Distance::Fixed(mm))
}

/// A paper size.
///
/// # Errors
/// What is wrong with the text.
pub fn paper(text: &str) -> Result<PaperSize, String> {
    match length::size(text)? {
        length::Size::Paper(width_mm, height_mm, unit) => {
            let iso = text.trim().to_uppercase();
            let named = iso.len() == 2 && iso.starts_with('A');
            let size = PaperSize::new(width_mm, height_mm, if unit == LengthUnit::M { LengthUnit::Cm } else { unit });
            Ok(if named { PaperSize { name: iso, ..size } } else { size })
        }
        length::Size::Pixels(..) => Err(format!("`{text}`: a paper size is a length; use in, cm or mm")),
    }
}

/// A resolution.
///
/// # Errors
/// What is wrong with the text.
pub fn ppi(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(ppi) if ppi.is_finite() && (1.0..=5000.0).contains(&ppi) => Ok(ppi),
        _ => Err("must be a number from 1 to 5000".into()),
    }
}
