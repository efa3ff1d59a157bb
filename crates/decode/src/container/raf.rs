//! RAF: parts whose offsets and lengths stand big-endian in the header (84: preview, 92: records, 100: sensor data).

use super::tiff::{describe_tail, leads_astray, leads_nowhere};
use crate::DecodeError;
use crate::limits::check_size;
use crate::tiff::{Ifd, Tiff};

/// The entry that leads to the directory of the sensor data.
const SENSOR: u16 = 0xf000;

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
        claims_fit(ifds.iter(), bytes.len())?;
        all_are_read(&tiff, ifds.iter())?;
    }
    let Some(data) = be(100).and_then(|o| bytes.get(o as usize..)) else { return Ok(None) };
    let Some((tiff, first, 42)) = Tiff::new(data) else { return Ok(None) };
    let chain = tiff.ifds(first)?;
    let mut below = Vec::new();
    for ifd in &chain {
        below.extend(sensor_directories(&tiff, ifd)?);
    }
    claims_fit(chain.iter().chain(&below), bytes.len())?;
    all_are_read(&tiff, chain.iter())?;
    let Some(inner) = below.into_iter().chain(chain).next() else { return Ok(None) };
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

/// The directories of the sensor data that one leads to.
fn sensor_directories(tiff: &Tiff<'_>, from: &Ifd) -> Result<Vec<Ifd>, DecodeError> {
    let mut found = Vec::new();
    for entry in from.entries.iter().filter(|entry| entry.tag == SENSOR) {
        // A reader that does not know the type takes the values for offsets all the same.
        let offsets = tiff.uints(entry, 1).filter(|_| matches!(entry.kind, 4 | 13)).ok_or_else(|| leads_on(from))?;
        let read = |&at: &u64| tiff.ifd(at as usize, SENSOR).map(|(ifd, _)| ifd).ok_or_else(|| leads_on(from));
        found.extend(offsets.iter().map(read).collect::<Result<Vec<_>, _>>()?);
    }
    Ok(found)
}

fn leads_on(ifd: &Ifd) -> DecodeError {
    DecodeError::Corrupt { offset: ifd.offset as u64, what: "a directory leads to one that cannot be read".into() }
}

/// No directory leads to one that was not looked at, which a reader would follow.
fn all_are_read<'a>(tiff: &Tiff<'_>, mut ifds: impl Iterator<Item = &'a Ifd>) -> Result<(), DecodeError> {
    let astray = |ifd: &Ifd| leads_nowhere(tiff, ifd) || ifd.entries.iter().any(|entry| leads_astray(tiff, entry));
    match ifds.find(|ifd| astray(ifd)) {
        Some(ifd) => Err(leads_on(ifd)),
        None => Ok(()),
    }
}

/// No entry claims more than the whole file holds.
fn claims_fit<'a>(mut ifds: impl Iterator<Item = &'a Ifd>, length: usize) -> Result<(), DecodeError> {
    match ifds.find_map(|ifd| ifd.overclaiming(length).next()) {
        Some(entry) => Err(DecodeError::Corrupt {
            offset: entry.position as u64,
            what: format!("{} values of tag {} are more than the file holds", entry.count, entry.tag),
        }),
        None => Ok(()),
    }
}
