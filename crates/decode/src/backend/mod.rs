//! The readers behind one trait.

mod directory_walk;
mod dng;
mod rawler;
mod rawloader;

use crate::DecodeError;
use crate::container::{Container, Kind};
use crate::content::Content;
use crate::frame::{Area, FilterArray, NoiseProfile, Reader};

/// What a reader delivers: samples and what it states of them, not yet judged.
#[derive(Debug)]
pub(crate) struct Decoded {
    pub(crate) samples: Vec<u16>,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) filter: FilterArray,
    pub(crate) active: Area,
    pub(crate) masked: Vec<Area>,
    /// Declared black of each plane.
    pub(crate) black: Vec<f64>,
    /// Declared white of each plane.
    pub(crate) white: Vec<f64>,
    /// The largest value that the stored code can express, where samples come out as stored.
    pub(crate) largest_code: Option<u16>,
    /// What the coded data themselves show to be missing.
    pub(crate) missing: Option<String>,
    pub(crate) dithered: bool,
    /// Samples are as the file codes them, where the readers would dither.
    pub(crate) as_coded: bool,
    pub(crate) noise_profile: Vec<NoiseProfile>,
    /// Shot data that the reader found in records of its own, for gaps in the Exif.
    pub(crate) gaps: Gaps,
    pub(crate) notes: Vec<String>,
}

/// Shot data from a reader.
#[derive(Debug, Default, Clone)]
pub(crate) struct Gaps {
    pub(crate) make: Option<String>,
    pub(crate) model: Option<String>,
    pub(crate) lens: Option<String>,
    pub(crate) serial: Option<String>,
    pub(crate) iso: Option<f64>,
    pub(crate) shutter_s: Option<f64>,
    pub(crate) f_number: Option<f64>,
    pub(crate) focal_mm: Option<f64>,
    pub(crate) exposure_bias_ev: Option<f64>,
    pub(crate) taken: Option<String>,
    pub(crate) orientation: Option<u32>,
}

/// One reader.
pub(crate) trait Backend {
    /// Name and version.
    fn reader(&self) -> Reader;
    /// True where this reader may be asked for such a container.
    fn takes(&self, container: &Container) -> bool;
    /// Decodes; where `whole`, the Exif leaves no gap that the reader's own records could fill.
    ///
    /// # Errors
    /// What the reader refuses, in one line.
    fn decode(&self, container: &Container, content: &mut Content, whole: bool) -> Result<Decoded, DecodeError>;
}

/// The readers in the order in which they are asked.
pub(crate) fn backends() -> [&'static dyn Backend; 3] {
    [&dng::Dng, &rawler::Rawler, &rawloader::Rawloader]
}

/// Asks each reader that takes the container; the first one's refusal is the one reported.
///
/// # Errors
/// The refusal.
pub(crate) fn decode(
    container: &Container,
    content: &mut Content,
    whole: bool,
) -> Result<(Decoded, Reader), DecodeError> {
    let mut refusal = None;
    for backend in backends().into_iter().filter(|b| b.takes(container)) {
        match backend.decode(container, content, whole) {
            Ok(decoded) => return Ok((decoded, backend.reader())),
            Err(error) => {
                refusal.get_or_insert(error);
            }
        }
    }
    Err(refusal.unwrap_or_else(|| {
        DecodeError::Unsupported(match container.kind {
            Kind::X3f => "X3F: its layered sensor data has no reader here".into(),
            _ => "no reader here takes this format".into(),
        })
    }))
}
