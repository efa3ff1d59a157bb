//! Which container the bytes are, by content, and whether its sizes and offsets can be true.

use crate::DecodeError;
use crate::ciff;
use crate::dng;
use crate::limits::{MAX_CHUNKS, check_size};
use crate::tiff::{Ifd, Tiff};

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
}

/// Tells the kind of file and checks what can be checked without decoding.
///
/// # Errors
/// Not a raw file, parts beyond the end of the file, sizes beyond the limits.
pub(crate) fn scan(bytes: &[u8]) -> Result<Container, DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::NotRaw("it is empty".into()));
    }
    if bytes.len() < 64 {
        return Err(DecodeError::NotRaw(format!("it has only {} bytes", bytes.len())));
    }
    let plain = |kind| Ok(Container { kind, ifds: Vec::new() });
    if bytes.starts_with(b"FUJIFILMCCD-RAW") {
        return plain(Kind::Raf);
    }
    if bytes.starts_with(b"\0MRM") {
        return plain(Kind::Mrw);
    }
    if bytes.starts_with(b"FOVb") {
        return plain(Kind::X3f);
    }
    if bytes.get(6..14) == Some(b"HEAPCCDR") {
        ciff::check(bytes)?;
        return plain(Kind::Crw);
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return if bytes.get(8..12) == Some(b"crx ") {
            plain(Kind::Cr3)
        } else {
            Err(DecodeError::NotRaw("it is a film or a HEIF picture".into()))
        };
    }
    if bytes.starts_with(b"ARRI") || bytes.starts_with(b"qktk") || bytes.starts_with(b"qktn") {
        return plain(Kind::Other);
    }
    if let Some((tiff, first, magic)) = Tiff::new(bytes) {
        return scan_tiff(&tiff, first, magic);
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
        _ if bytes.iter().all(|&b| b == 0) => "it holds nothing but zero bytes",
        _ if bytes[..bytes.len().min(512)].iter().all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace()) => {
            "it is a text file"
        }
        _ => "no raw format starts like this",
    }
}

fn scan_tiff(tiff: &Tiff<'_>, first: usize, magic: u16) -> Result<Container, DecodeError> {
    match magic {
        42 | 85 | 0x4f52 | 0x5352 => {}
        43 => return Err(DecodeError::Unsupported("it is a BigTIFF".into())),
        _ => return Err(DecodeError::NotRaw("no raw format starts like this".into())),
    }
    let length = tiff.data.len() as u64;
    if first.saturating_add(2) > tiff.data.len() {
        return Err(DecodeError::Truncated { what: "the first directory".into(), needed: first as u64 + 2, length });
    }
    let ifds = tiff.ifds(first)?;
    if ifds.is_empty() {
        return Err(DecodeError::Corrupt { offset: first as u64, what: "the first directory cannot be read".into() });
    }
    if dng::is_dng(&ifds) {
        return Ok(Container { kind: Kind::Dng, ifds });
    }
    for ifd in &ifds {
        check_image(tiff, ifd)?;
    }
    Ok(Container { kind: Kind::Tiff, ifds })
}

/// Sizes within the limits; strips and tiles inside the file.
fn check_image(tiff: &Tiff<'_>, ifd: &Ifd) -> Result<(), DecodeError> {
    if let (Some(width), Some(height)) = (tiff.first(ifd, 256), tiff.first(ifd, 257))
        && width > 0
        && height > 0
    {
        check_size(width, height, 1)?;
    }
    for (offsets, counts) in [(273, 279), (324, 325), (513, 514)] {
        let (Some(offsets), Some(counts)) = (ifd.get(offsets), ifd.get(counts)) else { continue };
        let (Some(offsets), Some(counts)) = (tiff.uints(offsets, MAX_CHUNKS), tiff.uints(counts, MAX_CHUNKS)) else {
            continue;
        };
        for (offset, count) in offsets.iter().zip(&counts) {
            let end = offset.saturating_add(*count);
            if end > tiff.data.len() as u64 {
                return Err(DecodeError::Truncated {
                    what: "image data".into(),
                    needed: end,
                    length: tiff.data.len() as u64,
                });
            }
        }
    }
    Ok(())
}

/// CMT1 (main directory) and CMT2 (Exif directory) of a CR3: boxes in moov / uuid 85c0b687...
pub(crate) fn cr3_metadata(bytes: &[u8]) -> Option<(&[u8], Option<&[u8]>)> {
    const CANON: [u8; 16] =
        [0x85, 0xc0, 0xb6, 0x87, 0x82, 0x0f, 0x11, 0xe0, 0x81, 0x11, 0xf4, 0xce, 0x46, 0x2b, 0x6a, 0x48];
    let moov = boxes(bytes).find(|(name, _)| name == b"moov")?.1;
    let canon = boxes(moov).find(|(name, body)| name == b"uuid" && body.starts_with(&CANON))?.1.get(16..)?;
    let block = |wanted: &[u8; 4]| boxes(canon).find(|(name, _)| name == wanted).map(|(_, body)| body);
    Some((block(b"CMT1")?, block(b"CMT2")))
}

/// Boxes of an ISO base media file (ISO 14496-12), one level, as far as they lie inside `bytes`: name and content.
pub(crate) fn boxes(bytes: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut at = 0_usize;
    std::iter::from_fn(move || {
        let header = bytes.get(at..at.checked_add(8)?)?;
        let short = u32::from_be_bytes(header[..4].try_into().ok()?) as usize;
        let name: [u8; 4] = header[4..].try_into().ok()?;
        let (start, size) = match short {
            0 => (8, bytes.len() - at),
            1 => (16, usize::try_from(u64::from_be_bytes(bytes.get(at + 8..at + 16)?.try_into().ok()?)).ok()?),
            size => (8, size),
        };
        let end = at.checked_add(size)?;
        let body = bytes.get(at + start..end)?;
        at = end;
        Some((name, body))
    })
}

/// The TIFF block ("TTW") of an MRW.
pub(crate) fn mrw_tiff(bytes: &[u8]) -> Option<&[u8]> {
    let word = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize);
    let end = word(4)?.checked_add(8)?.min(bytes.len());
    let mut at = 8_usize;
    while at + 8 <= end {
        let length = word(at + 4)?;
        let body = at + 8;
        if bytes.get(at..at + 4)? == b"\0TTW" {
            return bytes.get(body..body.checked_add(length)?);
        }
        at = body.checked_add(length)?;
    }
    None
}
