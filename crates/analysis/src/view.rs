//! A frame as series and sets see it: what was measured and judged, without its pixels.

use rawassay_decode::Shot;

use crate::{Judgement, Measures};

/// One measured frame, borrowed from its record, with its judgement for the brief in use.
#[derive(Debug, Clone, Copy)]
pub struct FrameView<'a> {
    /// Path as given.
    pub file: &'a str,
    /// What the camera wrote.
    pub shot: &'a Shot,
    /// What was measured.
    pub measures: &'a Measures,
    /// What the brief says of it.
    pub judgement: &'a Judgement,
    /// True where part of the sensor data is missing: its measures are not to be trusted.
    pub damaged: bool,
}

/// The file's name without its folders, for sentences; answers that name files for a program give the whole path.
#[must_use]
pub fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().filter(|name| !name.is_empty()).unwrap_or(path)
}

/// A camera body: maker, model and serial number, as far as the file tells them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Camera<'a> {
    /// Maker.
    pub make: Option<&'a str>,
    /// Model.
    pub model: Option<&'a str>,
    /// Serial number of the body.
    pub serial: Option<&'a str>,
}

impl<'a> FrameView<'a> {
    /// The body that took the frame.
    #[must_use]
    pub fn camera(&self) -> Camera<'a> {
        let text = |value: &'a Option<String>| value.as_deref().map(str::trim).filter(|s| !s.is_empty());
        Camera { make: text(&self.shot.make), model: text(&self.shot.model), serial: text(&self.shot.serial) }
    }
}

impl Camera<'_> {
    /// A name to print: model (or maker), with the serial number where `with_serial`.
    #[must_use]
    pub fn name(&self, with_serial: bool) -> String {
        let name = self.model.or(self.make).unwrap_or("unnamed camera");
        match self.serial {
            Some(serial) if with_serial => format!("{name} #{serial}"),
            _ => name.to_string(),
        }
    }
}
