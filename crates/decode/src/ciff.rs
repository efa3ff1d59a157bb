//! The CIFF heap of a CRW, read within bounds.
//!
//! Source: the layout (a directory at the end of each heap, ten-byte entries) is described in the CIFF specification
//! 1.0 (Canon 1997); record numbers are common practice.

use crate::DecodeError;
use crate::limits::check_size;

/// Most records and deepest heap.
const MOST: usize = 1024;
const DEEPEST: usize = 8;

/// One record: its number without storage bits, and its bytes.
pub(crate) type Record<'a> = (u16, &'a [u8]);

/// All records.
///
/// # Errors
/// A directory or record beyond the end of the file.
pub(crate) fn records(bytes: &[u8]) -> Result<Vec<Record<'_>>, DecodeError> {
    let start = le32(bytes, 2).ok_or_else(|| corrupt(2, "the heap has no start"))?;
    let mut found = Vec::new();
    heap(bytes, start, bytes.len(), 0, &mut found)?;
    Ok(found)
}

fn heap<'a>(
    bytes: &'a [u8],
    start: usize,
    end: usize,
    depth: usize,
    found: &mut Vec<Record<'a>>,
) -> Result<(), DecodeError> {
    let truncated = |what: &str, needed: usize| DecodeError::Truncated {
        what: what.into(),
        needed: needed as u64,
        length: bytes.len() as u64,
    };
    if end < start + 6 || depth > DEEPEST {
        return Err(corrupt(start, "a heap without room for its directory"));
    }
    let directory = le32(bytes, end - 4).map_or(usize::MAX, |size| start.saturating_add(size));
    let Some(count) = le16(bytes, directory).filter(|_| directory < end) else {
        return Err(truncated("the directory at the end of the heap", directory.saturating_add(2)));
    };
    for i in 0..count.min(MOST) {
        let entry = directory + 2 + i * 10;
        let (Some(kind), Some(size), Some(offset)) =
            (le16(bytes, entry), le32(bytes, entry + 2), le32(bytes, entry + 6))
        else {
            return Err(truncated("a directory of the heap", entry + 10));
        };
        let (at, size) = if kind & 0xc000 == 0x4000 { (entry + 2, 8) } else { (start.saturating_add(offset), size) };
        let stop = at.saturating_add(size);
        let Some(content) = bytes.get(at..stop) else {
            return Err(truncated("a record of the heap", stop));
        };
        if matches!(kind & 0x3800, 0x2800 | 0x3000) {
            // Some records only look like heaps: what cannot be read as one is left out.
            let _ = heap(bytes, at, stop, depth + 1, found);
        } else if found.len() < MOST {
            found.push((kind as u16 & 0x3fff, content));
        }
    }
    Ok(())
}

/// Checks sizes before a reader allocates by them.
///
/// # Errors
/// See [`records`]; sizes beyond the limits.
pub(crate) fn check(bytes: &[u8]) -> Result<(), DecodeError> {
    let records = records(bytes)?;
    let Some((_, sensor)) = records.iter().find(|(number, _)| *number == 0x1031) else {
        return Err(corrupt(2, "the record of the sensor's size is missing"));
    };
    if let (Some(width), Some(height)) = (le16(sensor, 2), le16(sensor, 4)) {
        check_size(width as u64, height as u64, 1)?;
        // Two low bits and at least one coded bit a sample, or ten bits: a quarter byte a sample is the least.
        if width * height / 4 > bytes.len() {
            return Err(DecodeError::Truncated {
                what: format!("sensor data of {width} x {height} pixels"),
                needed: (width * height / 4) as u64,
                length: bytes.len() as u64,
            });
        }
    }
    Ok(())
}

fn corrupt(offset: usize, what: &str) -> DecodeError {
    DecodeError::Corrupt { offset: offset as u64, what: what.into() }
}

/// Two bytes, little-endian.
pub(crate) fn le16(bytes: &[u8], at: usize) -> Option<usize> {
    Some(usize::from(u16::from_le_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?)))
}

/// Four bytes, little-endian.
pub(crate) fn le32(bytes: &[u8], at: usize) -> Option<usize> {
    Some(u32::from_le_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?) as usize)
}
