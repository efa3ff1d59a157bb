//! From bytes to a frame.

use std::path::Path;

use crate::container::{Container, scan};
use crate::content::Content;
use crate::frame::{Frame, Integrity, Reader};
use crate::levels::levels;
use crate::preview::preview;
use crate::{DecodeError, backend, dither, exif, integrity};

/// Scans of a file, the last of which must find nothing more to make empty. A sound file takes two at the most.
const MOST_SCANS: usize = 8;

/// Opens a raw file, which is read into memory whole.
///
/// # Errors
/// See [`DecodeError`].
pub fn open(path: &Path) -> Result<Frame, DecodeError> {
    open_bytes(path, Content::read(path)?)
}

/// Opens a raw file that is in memory already (bytes, or [`Content`]). `name` is used for nothing but hints; the content decides.
///
/// # Errors
/// See [`DecodeError`].
pub fn open_bytes(_name: &Path, content: impl Into<Content>) -> Result<Frame, DecodeError> {
    let mut content = content.into();
    let container = defused(content.as_mut_slice())?;
    let fields = exif::read(&container, &content);
    let curve = dither::curve(&container, &content);
    let (mut decoded, reader) = backend::decode(&container, &mut content, fields.are_whole())?;
    drop(content);
    if let Some(curve) = curve.filter(|_| !decoded.as_coded) {
        decoded.dithered = true;
        decoded
            .notes
            .push(format!("{} dithers {curve}: noise figures of this frame would be partly its own", reader.name));
    }
    let mut notes = std::mem::take(&mut decoded.notes);
    let shot = exif::shot(&fields, &decoded, &mut notes);
    let levels = levels(&mut decoded);
    notes.append(&mut decoded.notes);
    let missing = decoded.missing.take().or(container.zero_tail).or_else(|| integrity::look(&decoded, &levels));
    Ok(Frame {
        width: decoded.width,
        height: decoded.height,
        active: decoded.active,
        masked: decoded.masked,
        levels,
        shot,
        reader,
        dithered: decoded.dithered,
        integrity: missing.map_or(Integrity::Whole, |reason| Integrity::Damaged { reason }),
        noise_profile: decoded.noise_profile,
        notes,
        filter: decoded.filter,
        samples: decoded.samples,
    })
}

/// Scans after each change that made something empty: in a broken file its bytes may be those of another entry as well.
fn defused(bytes: &mut [u8]) -> Result<Container, DecodeError> {
    for _ in 0..MOST_SCANS {
        let container = scan(bytes)?;
        if !container.defuse(bytes) {
            return Ok(container);
        }
    }
    Err(DecodeError::Corrupt { offset: 0, what: "its directories lie upon each other".into() })
}

/// The readers with their versions.
#[must_use]
pub fn readers() -> Vec<Reader> {
    let mut readers: Vec<Reader> = backend::backends().iter().map(|b| b.reader()).collect();
    readers.dedup();
    readers
}

/// For the fuzz targets: container scan, Exif and preview, without decoding a sample.
#[doc(hidden)]
#[must_use]
pub fn scan_only(bytes: &[u8]) -> bool {
    let shot = scan(bytes).map(|container| exif::read(&container, bytes));
    preview(bytes).is_some() || shot.is_ok()
}
