//! RAF: parts whose offsets and lengths stand big-endian in the header (84: preview, 92: records, 100: sensor data).

use super::tiff::{describe_tail, leads_astray, leads_nowhere};
use crate::DecodeError;
use crate::limits::check_size;
use crate::tiff::{Ifd, Tiff};

/// Parts inside the file, sizes within the limits. What is missing at the end of compressed sensor data is the answer.
///
/// # Errors
/// What is not so.
pub(super) fn check(bytes: &[u8]) -> Result<Option<String>, DecodeError> {
    let be = |at: usize| Some(u64::from(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?)));
    let length = bytes.len() as u64;
    for (at, what) in [(84, "the preview"), (92, "the records"), (100, "the sensor data")] {
        let (Some(offset), Some(size)) = (be(at), be(at + 4)) else {
            return Err(DecodeError::Truncated { what: "the header".into(), needed: at as u64 + 8, length });
        };
        if offset + size > length {
            return Err(DecodeError::Truncated { what: what.into(), needed: offset + size, length });
        }
    }
    // The preview's Exif.
    let exif = be(84).and_then(|at| bytes.get(at as usize + 12..)).and_then(Tiff::new);
    if let Some((tiff, first, _)) = exif {
        let ifds = tiff.ifds(first)?;
        claims_fit(&ifds, bytes.len())?;
        all_are_read(&tiff, &ifds)?;
    }
    let Some(data) = be(100).and_then(|o| bytes.get(o as usize..)) else { return Ok(None) };
    let Some((tiff, first, 42)) = Tiff::new(data) else { return Ok(None) };
    let Some((main, _)) = tiff.ifd(first, 0) else { return Ok(None) };
    claims_fit(std::slice::from_ref(&main), bytes.len())?;
    all_are_read(&tiff, std::slice::from_ref(&main))?;
    let inner = tiff.first(&main, 0xf000).and_then(|at| tiff.ifd(at as usize, 0xf000)).map_or(main, |(ifd, _)| ifd);
    claims_fit(std::slice::from_ref(&inner), bytes.len())?;
    let (Some(width), Some(height)) = (tiff.first(&inner, 0xf001), tiff.first(&inner, 0xf002)) else {
        return Ok(None);
    };
    check_size(width, height, 1)?;
    let (Some(offset), Some(size)) = (tiff.first(&inner, 0xf007), tiff.first(&inner, 0xf008)) else { return Ok(None) };
    let Some(strip) = data.get(offset as usize..(offset + size) as usize) else {
        let needed = be(100).unwrap_or(0) + offset + size;
        return Err(DecodeError::Truncated { what: "the sensor data".into(), needed, length });
    };
    let bits = tiff.first(&inner, 0xf003).unwrap_or(14);
    let packed = width * height * bits / 8;
    Ok(if size < packed { describe_tail(strip) } else { None })
}

/// No directory leads to one that was not looked at, which a reader would follow.
fn all_are_read(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Result<(), DecodeError> {
    let astray = |ifd: &Ifd| leads_nowhere(tiff, ifd) || ifd.entries.iter().any(|entry| leads_astray(tiff, entry));
    match ifds.iter().find(|ifd| astray(ifd)) {
        Some(ifd) => Err(DecodeError::Corrupt {
            offset: ifd.offset as u64,
            what: "a directory leads to one that cannot be read".into(),
        }),
        None => Ok(()),
    }
}

/// No entry claims more than the whole file holds.
fn claims_fit(ifds: &[Ifd], length: usize) -> Result<(), DecodeError> {
    match ifds.iter().find_map(|ifd| ifd.overclaiming(length).next()) {
        Some(entry) => Err(DecodeError::Corrupt {
            offset: entry.position as u64,
            what: format!("{} values of tag {} are more than the file holds", entry.count, entry.tag),
        }),
        None => Ok(()),
    }
}
