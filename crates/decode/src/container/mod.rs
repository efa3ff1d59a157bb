//! Which container the bytes are, by content, and whether its sizes and offsets can be true.

mod arw_private;
mod boxes;
mod maker_note;
mod raf;
mod tiff;

pub(crate) use boxes::{boxes, metadata as cr3_metadata};

use crate::limits::check_size;
use crate::tiff::{Ifd, Tiff};
use crate::{DecodeError, ciff};

/// Kinds of container.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// TIFF with a DNGVersion.
    Dng,
    /// Other TIFF-based raws (CR2, NEF, ARW, PEF, ORF, RW2 ...).
    Tiff,
    /// CR3: ISO base media file.
    Cr3,
    /// RAF.
    Raf,
    /// CRW: CIFF heap.
    Crw,
    /// MRW.
    Mrw,
    /// X3F.
    X3f,
    /// ARI, QTK and others that only a reader can tell.
    Other,
}

/// A container that passed its scan.
#[derive(Debug)]
pub(crate) struct Container {
    pub(crate) kind: Kind,
    /// Directories, for TIFF-based files.
    pub(crate) ifds: Vec<Ifd>,
    /// Where entries stand whose values lie outside the file: readers allocate by their counts.
    pub(crate) defuse: Vec<usize>,
    /// Where offsets of a next directory stand that lead to none we would read: readers follow them.
    pub(crate) cut: Vec<usize>,
    /// Sensor data that were never written, in one line.
    pub(crate) zero_tail: Option<String>,
}

impl Container {
    fn plain(kind: Kind) -> Self {
        Self { kind, ifds: Vec::new(), defuse: Vec::new(), cut: Vec::new(), zero_tail: None }
    }

    /// Makes empty what points outside the file, and ends chains of directories where their sound part ends. Changes the
    /// bytes in memory only. True where any changed.
    pub(crate) fn defuse(&self, bytes: &mut [u8]) -> bool {
        // Tag and count, which are zero whatever the byte order. The count alone would not do: a reader takes a pointer of
        // no bytes for one to its own place, and reads a directory there.
        let entries = self.defuse.iter().flat_map(|&position| [position..position + 2, position + 4..position + 8]);
        let mut changed = false;
        for range in self.cut.iter().map(|&at| at..at + 4).chain(entries) {
            if let Some(word) = bytes.get_mut(range) {
                changed |= word.iter().any(|&b| b != 0);
                word.fill(0);
            }
        }
        changed
    }
}

/// Tells the kind of file and checks what can be checked without decoding.
///
/// # Errors
/// Not a raw file, parts beyond the end of the file, sizes beyond the limits.
pub(crate) fn scan(bytes: &[u8]) -> Result<Container, DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::NotRaw("it is empty".into()));
    }
    if bytes.iter().take(4096).all(|&b| b == 0) && bytes.iter().all(|&b| b == 0) {
        return Err(DecodeError::NotRaw("it holds nothing but zero bytes: it was not written".into()));
    }
    if bytes.len() < 64 {
        return Err(DecodeError::NotRaw(format!("it has only {} bytes", bytes.len())));
    }
    let plain = |kind| Ok(Container::plain(kind));
    if bytes.starts_with(b"FUJIFILMCCD-RAW") {
        let zero_tail = raf::check(bytes)?;
        return Ok(Container { zero_tail, ..Container::plain(Kind::Raf) });
    }
    if bytes.starts_with(b"\0MRM") {
        check_mrw(bytes)?;
        return Ok(Container { defuse: mrw_defuse(bytes)?, ..Container::plain(Kind::Mrw) });
    }
    if bytes.starts_with(b"FOVb") {
        check_x3f(bytes)?;
        return plain(Kind::X3f);
    }
    if bytes.get(6..14) == Some(b"HEAPCCDR") {
        ciff::check(bytes)?;
        return plain(Kind::Crw);
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        if bytes.get(8..12) != Some(b"crx ") {
            return Err(DecodeError::NotRaw("it is a film or a HEIF picture".into()));
        }
        boxes::check(bytes)?;
        return Ok(Container { zero_tail: tiff::describe_tail(bytes), ..Container::plain(Kind::Cr3) });
    }
    if bytes.starts_with(b"qktk") || bytes.starts_with(b"qktn") {
        check_qtk(bytes)?;
        return plain(Kind::Other);
    }
    if bytes.starts_with(b"ARRI") {
        check_ari(bytes)?;
        return plain(Kind::Other);
    }
    if let Some((tiff, first, magic)) = Tiff::new(bytes) {
        return tiff::scan(&tiff, first, magic);
    }
    Err(DecodeError::NotRaw(not_raw(bytes).into()))
}

/// What a file that is no raw is instead.
fn not_raw(bytes: &[u8]) -> &'static str {
    match bytes {
        [0xff, 0xd8, 0xff, ..] => "it is a JPEG picture",
        [0x89, b'P', b'N', b'G', ..] => "it is a PNG picture",
        [b'%', b'P', b'D', b'F', ..] => "it is a PDF document",
        [b'P', b'K', 3, 4, ..] => "it is a ZIP archive",
        _ if bytes[..bytes.len().min(512)].iter().all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace()) => {
            "it is a text file"
        }
        _ => "no raw format starts like this",
    }
}

/// The TIFF block ("TTW") of an MRW: the last one, as readers take it.
pub(crate) fn mrw_tiff(bytes: &[u8]) -> Option<&[u8]> {
    bytes.get(mrw_tiff_range(bytes)?)
}

fn mrw_tiff_range(bytes: &[u8]) -> Option<std::ops::Range<usize>> {
    let word = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize);
    let end = word(4)?.checked_add(8)?.min(bytes.len());
    let (mut at, mut found) = (8_usize, None);
    while at + 8 <= end {
        let (body, length) = (at + 8, word(at + 4)?);
        let next = body.checked_add(length)?;
        if bytes.get(at..at + 4)? == b"\0TTW" {
            found = Some(body..next).filter(|r| r.end <= bytes.len());
        }
        at = next;
    }
    found
}

/// Where entries of an MRW's directory stand whose values lie outside the file. Readers take the directory eight bytes behind
/// the start of the block, big-endian, whatever stands there, and where there is no block the eighth byte of the file.
fn mrw_defuse(bytes: &[u8]) -> Result<Vec<usize>, DecodeError> {
    let no_directory = || DecodeError::Corrupt { offset: 8, what: "it has no directory of the shot".into() };
    let start = mrw_tiff_range(bytes).ok_or_else(no_directory)?.start;
    let block = Tiff { data: &bytes[start..], big: true };
    let (directory, _) = block.ifd(8, 0).ok_or_else(no_directory)?;
    Ok(directory.entries.iter().filter(|e| tiff::outside(&block, e)).map(|e| start + e.position).collect())
}

/// Sensor size of an ARI (width and height at byte 20, place of the samples at byte 8) within the limits, and its 12-bit
/// samples inside the file.
fn check_ari(bytes: &[u8]) -> Result<(), DecodeError> {
    let word = |at: usize| Some(u64::from(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?)));
    if let (Some(offset), Some(width), Some(height)) = (word(8), word(20), word(24)) {
        check_size(width, height, 1)?;
        let (needed, length) = (offset + width * height * 3 / 2, bytes.len() as u64);
        if needed > length {
            return Err(DecodeError::Truncated { what: "the sensor data".into(), needed, length });
        }
    }
    Ok(())
}

/// Sensor size of a QTK (height and width at byte 544) within the limits; its compression keeps more than one bit a sample.
fn check_qtk(bytes: &[u8]) -> Result<(), DecodeError> {
    let half = |at: usize| Some(u64::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)));
    let length = bytes.len() as u64;
    let (Some(height), Some(width)) = (half(544), half(546)) else {
        return Err(DecodeError::Truncated { what: "the header".into(), needed: 560, length });
    };
    check_size(width, height, 1)?;
    let needed = width * height / 8;
    if needed > length {
        return Err(DecodeError::Truncated { what: "the sensor data".into(), needed, length });
    }
    Ok(())
}

/// The directory of an X3F, whose place the last four bytes tell: without it the file was cut.
fn check_x3f(bytes: &[u8]) -> Result<(), DecodeError> {
    let place = bytes.last_chunk().map(|&word| u32::from_le_bytes(word) as usize);
    if place.and_then(|at| bytes.get(at..)?.get(..4)) != Some(b"SECd") {
        let offset = bytes.len().saturating_sub(4) as u64;
        return Err(DecodeError::Corrupt { offset, what: "the directory at its end is missing".into() });
    }
    Ok(())
}

/// Sensor size of an MRW (block "PRD") within the limits and its samples (12 bit or more) inside the file.
fn check_mrw(bytes: &[u8]) -> Result<(), DecodeError> {
    let half = |at: usize| Some(u64::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)));
    let start = bytes.get(4..8).and_then(|b| Some(u64::from(u32::from_be_bytes(b.try_into().ok()?)))).unwrap_or(0) + 8;
    // Block name, length, eight bytes of version, height, width.
    if let (Some(b"\0PRD"), Some(height), Some(width)) = (bytes.get(8..12), half(24), half(26)) {
        check_size(width, height, 1)?;
        let needed = start + width * height * 3 / 2;
        if needed > bytes.len() as u64 {
            let length = bytes.len() as u64;
            return Err(DecodeError::Truncated { what: "the sensor data".into(), needed, length });
        }
    }
    Ok(())
}
