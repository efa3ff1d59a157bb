//! Values that several commands read from the command line.

use rawassay_analysis::brief::length::{self, Size};
use rawassay_analysis::brief::{LengthUnit, Output, PictureUnit};
use rawassay_analysis::crop::Crop;
use rawassay_analysis::enlarge::{Distance, PaperSize};
use std::time::Duration;

use rawassay_analysis::{Brief, Outcome};
use rawassay_decode::{Area, Shot};

use crate::messages::Failure;

/// `--brief`, the same for every command that judges.
#[derive(Debug, Clone, clap::Args)]
pub struct BriefArgument {
    /// Brief to judge by: screen, album, portfolio, exhibition, a size such as "A2 from 60 cm", or a TOML file
    #[arg(id = "brief", long = "brief", value_name = "BRIEF", default_value = "portfolio")]
    pub text: String,
}

impl BriefArgument {
    /// The brief of that name, size or file.
    ///
    /// # Errors
    /// Where there is none, or something is wrong in the file.
    pub fn find(&self) -> Result<Brief, Failure> {
        super::brief::find(&self.text)
    }
}

/// How workers read frames, the same for every command that has some.
#[derive(Debug, Clone, clap::Args)]
pub struct WorkerArguments {
    /// Frames read at once [default: one per core, fewer where memory is short]
    #[arg(long, value_name = "N", value_parser = whole::<1, 1024>)]
    jobs: Option<u64>,
    /// Give a frame up after this long [default: 60, and one more for each megabyte of its file]
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub timeout: Option<Duration>,
    /// Memory that one worker may take [default: 1024, and 16 for each megabyte of its file, as far as there is]
    #[arg(long, value_name = "MB", value_parser = whole::<64, 1_048_576>)]
    memory: Option<u64>,
}

impl WorkerArguments {
    /// Workers at once, where asked.
    pub fn jobs(&self) -> Option<usize> {
        self.jobs.and_then(|jobs| usize::try_from(jobs).ok())
    }

    /// Memory of one worker, bytes, where asked.
    pub fn memory_bytes(&self) -> Option<u64> {
        self.memory.map(|mb| mb << 20)
    }
}

/// A crop: `WxH+X+Y`, a ratio, or a share.
///
/// # Errors
/// What is wrong with the text.
pub fn crop(text: &str) -> Result<Crop, String> {
    Crop::parse(text)
}

/// A crop `WxH+X+Y` of the frame as stored: the region of a test target.
///
/// # Errors
/// What is wrong with the text.
pub fn region(text: &str) -> Result<Area, String> {
    rawassay_analysis::crop::parse(text)
}

/// True where a file's name holds one of the texts, or none is asked for.
pub fn wanted(file: &str, texts: &[String]) -> bool {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    texts.is_empty() || texts.iter().any(|text| name.contains(text.as_str()))
}

/// Refuses a folder where a frame is wanted.
///
/// # Errors
/// With what to name instead.
pub fn no_folder(path: &std::path::Path) -> Result<(), Failure> {
    if path.is_dir() {
        let name = path.display().to_string();
        let name = name.trim_end_matches('/');
        return Err(Failure::usage(format!("{name}: is a folder; name its frames, such as {name}/*.dng")));
    }
    Ok(())
}

/// No frame has such a name.
pub fn no_such_frame(texts: &[String]) -> Failure {
    Failure::nothing(format!("--frame {}: no file name there holds that", texts.join(", ")))
}

/// What is wrong with a crop that lies outside a frame, and the largest of its shape that fits; `None` where it lies
/// inside.
pub fn outside(file: &str, crop: Option<Crop>, shot: Option<&Shot>) -> Option<String> {
    let (crop, shot) = (crop?, shot?);
    let (area, w, h) = (crop.of(Some(shot))?, shot.width_px, shot.height_px);
    if rawassay_analysis::crop::inside(&area, w, h) {
        return None;
    }
    let (fits, w, h, pixels) = match crop {
        Crop::Upright(asked) => {
            let (w, h) = if shot.orientation.swaps_sides() { (h, w) } else { (w, h) };
            (Crop::Upright(rawassay_analysis::crop::largest_inside(&asked, w, h)), w, h, "upright")
        }
        _ => (Crop::Stored(rawassay_analysis::crop::largest_inside(&area, w, h)), w, h, "as stored"),
    };
    Some(format!(
        "--crop {}: lies outside {file} ({w} x {h} px {pixels}); the largest of its shape that fits is {}",
        crop.text(),
        fits.text()
    ))
}

/// "2 of 24 frames are unmeasured", "1 of 24 frames is unmeasured".
pub fn unmeasured(count: usize, of: usize) -> String {
    let frames = if of == 1 { "frame" } else { "frames" };
    format!("{count} of {of} {frames} {} unmeasured", if count == 1 { "is" } else { "are" })
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

/// A whole number within these ends.
///
/// # Errors
/// Where it is none, or outside them.
pub fn whole<const LEAST: u64, const MOST: u64>(text: &str) -> Result<u64, String> {
    match text.parse::<u64>() {
        Ok(number) if (LEAST..=MOST).contains(&number) => Ok(number),
        _ => Err(format!("a whole number from {LEAST} to {MOST}")),
    }
}

/// A time to wait, seconds.
///
/// # Errors
/// Where it is none.
pub fn seconds(text: &str) -> Result<Duration, String> {
    let value: f64 = text.parse().map_err(|_| "a number of seconds, for example 90".to_owned())?;
    let duration = Duration::try_from_secs_f64(value).map_err(|_| "a number of seconds, for example 90".to_owned())?;
    if duration.is_zero() { Err("more than 0 seconds".into()) } else { Ok(duration) }
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

/// A size on the command line, with its text.
///
/// # Errors
/// What is wrong with the text.
pub fn size(text: &str) -> Result<(String, Size), String> {
    Ok((text.trim().to_string(), length::size(text)?))
}

/// That size as one of a ladder for this output.
///
/// # Errors
/// Where pixels are asked of paper, or a length of a screen.
pub fn paper(text: &str, size: Size, output: &Output) -> Result<PaperSize, Failure> {
    match (size, output.picture_unit()) {
        (Size::Paper(..), PictureUnit::Pixel { .. }) => Err(Failure::usage(format!(
            "--size {text}: the brief is for a screen, whose sizes are in pixels; use px, such as \"3840 x 2160 px\", or a brief \
             for paper"
        ))),
        (Size::Paper(width_mm, height_mm, unit), PictureUnit::Length(_)) => {
            let iso = text.to_uppercase();
            let named = iso.len() == 2 && iso.starts_with('A');
            let size = PaperSize::new(width_mm, height_mm, if unit == LengthUnit::M { LengthUnit::Cm } else { unit });
            Ok(if named { PaperSize { name: iso, ..size } } else { size })
        }
        (Size::Pixels(width_px, height_px), PictureUnit::Pixel { mm }) => {
            Ok(PaperSize::screen(width_px, height_px, mm))
        }
        (Size::Pixels(..), PictureUnit::Length(_)) => {
            Err(Failure::usage(format!("--size {text}: a paper size is a length; use in, ft, cm, mm or m")))
        }
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
