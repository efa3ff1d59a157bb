//! TIFF-based raws: sizes within the limits, everything that is pointed to inside the file.

use super::{Container, Kind, arw_private, maker_note};
use crate::limits::{MAX_CHUNKS, MAX_IFDS, check_size};
use crate::tiff::{Entry, Ifd, POINTERS, Tiff};
use crate::{DecodeError, dng};

/// Compressions under which zero bytes at the end of the sensor data are no samples: all but "none".
const NONE: u64 = 1;
/// GPSInfo: the directory of the place.
const GPS: u16 = 34_853;
/// InterColorProfile: nothing here asks for it, and a reader takes it for a pointer to a directory.
const PROFILE: u16 = 34_675;
/// The magic number of RW2.
const RW2: u16 = 85;
/// Where an RW2 holds its sensor data. Beside it the strip's own offset is all ones, and its length that of unpacked samples.
const RAW_DATA_OFFSET: u16 = 280;
/// Zero bytes at the end of compressed sensor data that say that it was never written.
const ZERO_TAIL: usize = 4096;

pub(super) fn scan(tiff: &Tiff<'_>, first: usize, magic: u16) -> Result<Container, DecodeError> {
    match magic {
        42 | RW2 | 0x4f52 | 0x5352 => {}
        43 => return Err(DecodeError::Unsupported("it is a BigTIFF".into())),
        _ => return Err(DecodeError::NotRaw("no raw format starts like this".into())),
    }
    let length = tiff.data.len() as u64;
    if first.saturating_add(2) > tiff.data.len() {
        return Err(DecodeError::Truncated { what: "the first directory".into(), needed: first as u64 + 2, length });
    }
    let ifds = tiff.ifds(first)?;
    let Some(main) = ifds.first().filter(|i| !i.entries.is_empty()) else {
        return Err(DecodeError::Corrupt { offset: first as u64, what: "the first directory cannot be read".into() });
    };
    let cut = ifds.iter().filter(|i| leads_nowhere(tiff, i)).map(|i| i.next_at).collect();
    if dng::is_dng(&ifds) {
        return Ok(Container { kind: Kind::Dng, ifds, defuse: Vec::new(), cut, zero_tail: None });
    }
    if main.get(271).is_none() && magic == 42 && main.get(305).is_none() {
        return Err(DecodeError::NotRaw("it is a TIFF picture without a camera's name".into()));
    }
    if let Some(entry) = ifds.iter().find_map(|ifd| ifd.get(dng::DNG_VERSION)) {
        // Readers would take it for a DNG, by tags that are checked in DNGs alone.
        let what = "a DNG version stands outside the first directory".into();
        return Err(DecodeError::Corrupt { offset: entry.position as u64, what });
    }
    check_sizes(tiff, &ifds)?;
    for ifd in &ifds {
        let strips_told = magic != RW2 || ifd.get(RAW_DATA_OFFSET).is_none();
        check_image(tiff, ifd, strips_told)?;
    }
    if magic == RW2 {
        check_rw2(tiff, main)?;
    }
    let note = maker_note::plain(tiff, &ifds);
    let entries = ifds.iter().flat_map(|i| &i.entries).chain(&note);
    let defuse = entries
        .filter(|e| e.tag == PROFILE || outside(tiff, e) || leads_astray(tiff, e) || place_astray(tiff, e))
        .map(|e| e.position)
        .chain(maker_note::overclaiming(tiff, &ifds))
        .chain(arw_private::overclaiming(tiff, &ifds)?)
        .collect();
    let zero_tail = zero_tail(tiff, &ifds);
    Ok(Container { kind: Kind::Tiff, ifds, defuse, cut, zero_tail })
}

/// True where the next directory has more entries than any camera writes. One beyond the end is left to the reader: a file
/// that was cut must not look whole.
pub(super) fn leads_nowhere(tiff: &Tiff<'_>, ifd: &Ifd) -> bool {
    tiff.u32(ifd.next_at).is_some_and(|next| next != 0 && tiff.overfull(next as usize))
}

/// True where an entry's values lie outside the file.
pub(super) fn outside(tiff: &Tiff<'_>, entry: &Entry) -> bool {
    entry.claimed().saturating_add(entry.at) > tiff.data.len()
}

/// A pointer to directories of a type that we do not read (a reader that takes it for bytes follows each of them, to places
/// that were not looked at), to one that is not read, or to the start of the file.
pub(super) fn leads_astray(tiff: &Tiff<'_>, entry: &Entry) -> bool {
    POINTERS.contains(&entry.tag)
        && tiff
            .uints(entry, MAX_IFDS)
            .is_none_or(|offsets| offsets.iter().any(|&o| o == 0 || tiff.overfull(o as usize)))
}

/// A pointer to the directory of the place, which nothing here asks for and a reader reads all the same, where that one holds
/// what is outside the file.
fn place_astray(tiff: &Tiff<'_>, entry: &Entry) -> bool {
    if entry.tag != GPS {
        return false;
    }
    let directory = tiff.uints(entry, 1).and_then(|offsets| tiff.ifd(*offsets.first()? as usize, GPS));
    directory.is_none_or(|(ifd, _)| entry.kind != 4 || ifd.entries.iter().any(|e| outside(tiff, e)))
}

/// Sizes of pictures and tiles within the limits, whichever directory or entry a reader takes them from: some take the last of
/// several entries of one tag, some look for a missing one in other directories.
fn check_sizes(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Result<(), DecodeError> {
    let largest = |tag: u16| {
        let entries = ifds.iter().flat_map(|ifd| &ifd.entries).filter(|e| e.tag == tag && e.count > 0);
        let value = |e: &Entry| tiff.floats(&Entry { count: 1, ..*e }, 1)?.first().map(|v| v.abs().ceil() as u64);
        entries.filter_map(value).max().unwrap_or(0)
    };
    let samples = largest(277);
    for (width, height) in [(256, 257), (322, 323)] {
        let (width, height) = (largest(width), largest(height));
        if width > 0 && height > 0 {
            check_size(width, height, samples)?;
        }
    }
    Ok(())
}

/// Strips (where the directory tells of them), tiles and JPEGs inside the file.
fn check_image(tiff: &Tiff<'_>, ifd: &Ifd, strips_told: bool) -> Result<(), DecodeError> {
    let truncated =
        |what: &str, needed: u64| DecodeError::Truncated { what: what.into(), needed, length: tiff.data.len() as u64 };
    let lists = [(273, 279), (324, 325), (513, 514)];
    for (offsets, counts) in lists.into_iter().skip(usize::from(!strips_told)) {
        let (Some(offsets), Some(counts)) = (ifd.get(offsets), ifd.get(counts)) else { continue };
        for list in [offsets, counts] {
            if list.count as usize <= MAX_CHUNKS && tiff.bytes(list).is_none() {
                return Err(truncated("a list of image data", list.at as u64 + 4 * u64::from(list.count)));
            }
        }
        let (Some(offsets), Some(counts)) = (tiff.uints(offsets, MAX_CHUNKS), tiff.uints(counts, MAX_CHUNKS)) else {
            continue;
        };
        for (offset, count) in offsets.iter().zip(&counts) {
            let end = offset.saturating_add(*count);
            if end > tiff.data.len() as u64 {
                return Err(truncated("image data", end));
            }
        }
    }
    Ok(())
}

/// RW2: sensor size in tags 2 and 3, bits of a sample in tag 10, format of the data in tag 45. Formats 3 to 7 pack their samples
/// into blocks of 16 bytes, so that their length is known.
fn check_rw2(tiff: &Tiff<'_>, main: &Ifd) -> Result<(), DecodeError> {
    let (Some(width), Some(height)) = (tiff.first(main, 2), tiff.first(main, 3)) else { return Ok(()) };
    check_size(width, height, 1)?;
    let told = |tag: u16| tiff.first(main, tag).unwrap_or(0);
    let samples = match (told(45), told(10)) {
        (3 | 4, _) | (6, 12) => 14,
        (5 | 7, 12) => 10,
        (5 | 7, 14) => 9,
        (6, 14) => 11,
        _ => return Ok(()),
    };
    let needed = told(RAW_DATA_OFFSET) + (width * height).div_ceil(samples) * 16;
    if needed > tiff.data.len() as u64 {
        return Err(DecodeError::Truncated { what: "the sensor data".into(), needed, length: tiff.data.len() as u64 });
    }
    Ok(())
}

/// Zero bytes at the end of the largest compressed strip: sensor data that were never written.
fn zero_tail(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Option<String> {
    let strips = ifds.iter().filter(|i| tiff.first(i, 259).is_some_and(|c| c != NONE)).filter_map(|ifd| {
        let (offsets, counts) = (ifd.get(273)?, ifd.get(279)?);
        let (offsets, counts) = (tiff.uints(offsets, MAX_CHUNKS)?, tiff.uints(counts, MAX_CHUNKS)?);
        let (offset, count) = (*offsets.last()? as usize, *counts.last()? as usize);
        tiff.data.get(offset..offset.checked_add(count)?)
    });
    let strip = strips.max_by_key(|s| s.len())?;
    describe_tail(strip)
}

/// See [`zero_tail`].
pub(super) fn describe_tail(strip: &[u8]) -> Option<String> {
    let zeros = strip.iter().rev().take_while(|&&b| b == 0).count();
    (zeros >= ZERO_TAIL).then(|| format!("the last {zeros} bytes of the sensor data are zero: they were not written"))
}
