//! Directories of TIFF-based files, read within bounds: no count is believed before it is held against the file's
//! length, loops and depth are limited, a value outside the file is `None`.
//!
//! Source: TIFF 6.0 (Adobe 1992); the magic numbers of ORF ("RO", "RS") and RW2 (85) are common practice.

use crate::DecodeError;
use crate::limits::{MAX_DEPTH, MAX_ENTRIES, MAX_IFDS};

/// SubIFDs, Exif and GPS directories.
pub(crate) const POINTERS: [u16; 2] = [330, 34_665];

/// A TIFF structure in memory.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tiff<'a> {
    /// All bytes; offsets count from its start.
    pub(crate) data: &'a [u8],
    /// Byte order: true for big-endian ("MM").
    pub(crate) big: bool,
}

/// One entry of a directory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Entry {
    /// Tag number.
    pub(crate) tag: u16,
    /// TIFF field type.
    pub(crate) kind: u16,
    /// Number of values.
    pub(crate) count: u32,
    /// Where the values start (inside the entry when they fit in four bytes).
    pub(crate) at: usize,
    /// Where the entry itself stands.
    pub(crate) position: usize,
}

impl Entry {
    /// Bytes that it says its values take; of an unknown type one for each.
    pub(crate) fn claimed(&self) -> usize {
        (self.count as usize).saturating_mul(size_of_kind(self.kind).max(1))
    }
}

/// One directory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ifd {
    /// Where it stands.
    pub(crate) offset: usize,
    /// The tag that points to it: 0 in the main chain.
    pub(crate) via: u16,
    /// Its entries.
    pub(crate) entries: Vec<Entry>,
    /// Where the offset of the next directory stands, behind the entries.
    pub(crate) next_at: usize,
}

impl Ifd {
    /// The entry of a tag.
    pub(crate) fn get(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|e| e.tag == tag)
    }

    /// Entries that claim more than a file of `length` bytes holds: readers reserve memory by their counts.
    pub(crate) fn overclaiming(&self, length: usize) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(move |e| e.claimed() > length)
    }
}

/// Bytes of one value of a field type; 0 for unknown types.
pub(crate) const fn size_of_kind(kind: u16) -> usize {
    match kind {
        1 | 2 | 6 | 7 => 1,
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 => 8,
        _ => 0,
    }
}

impl<'a> Tiff<'a> {
    /// The structure, the offset of its first directory and its magic number; `None` if it is no TIFF.
    pub(crate) fn new(data: &'a [u8]) -> Option<(Self, usize, u16)> {
        let big = match data.get(..2)? {
            b"II" => false,
            b"MM" => true,
            _ => return None,
        };
        let tiff = Self { data, big };
        Some((tiff, tiff.u32(4)? as usize, tiff.u16(2)?))
    }

    /// Two bytes.
    pub(crate) fn u16(&self, at: usize) -> Option<u16> {
        let bytes = self.data.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big { u16::from_be_bytes(bytes) } else { u16::from_le_bytes(bytes) })
    }

    /// Four bytes.
    pub(crate) fn u32(&self, at: usize) -> Option<u32> {
        let bytes = self.data.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) })
    }

    fn u64(&self, at: usize) -> Option<u64> {
        let bytes = self.data.get(at..at.checked_add(8)?)?.try_into().ok()?;
        Some(if self.big { u64::from_be_bytes(bytes) } else { u64::from_le_bytes(bytes) })
    }

    /// True where a directory inside the file says that it has more entries than any camera writes: it is not read here, and a
    /// reader must not follow what leads to it.
    pub(crate) fn overfull(&self, offset: usize) -> bool {
        self.u16(offset).is_some_and(|count| usize::from(count) > MAX_ENTRIES)
    }

    /// The directory at `offset` and the offset of the next in its chain (0: none). `None` where it does not lie
    /// inside the file.
    pub(crate) fn ifd(&self, offset: usize, via: u16) -> Option<(Ifd, usize)> {
        let count = usize::from(self.u16(offset)?);
        if self.overfull(offset) {
            return None;
        }
        let first = offset.checked_add(2)?;
        let end = first.checked_add(count * 12)?;
        let fitting = if end > self.data.len() { self.data.len().saturating_sub(first) / 12 } else { count };
        let mut entries = Vec::with_capacity(fitting);
        for position in (0..fitting).map(|i| first + i * 12) {
            let (tag, kind, count) = (self.u16(position)?, self.u16(position + 2)?, self.u32(position + 4)?);
            let bytes = (count as usize).saturating_mul(size_of_kind(kind));
            let at = if bytes <= 4 { position + 8 } else { self.u32(position + 8)? as usize };
            entries.push(Entry { tag, kind, count, at, position });
        }
        let next = self.u32(end).unwrap_or(0) as usize;
        Some((Ifd { offset, via, entries, next_at: end }, next))
    }

    /// All directories: the main chain and, below each, SubIFDs and the Exif directory.
    ///
    /// # Errors
    /// More directories or deeper nesting than any camera writes.
    pub(crate) fn ifds(&self, first: usize) -> Result<Vec<Ifd>, DecodeError> {
        let mut found: Vec<Ifd> = Vec::new();
        let mut queue = vec![(first, 0_u16, 0_usize)];
        let mut seen = Vec::new();
        while let Some((offset, via, depth)) = queue.pop() {
            if offset == 0 {
                continue; // the end of a chain
            }
            if seen.contains(&offset) {
                if via == POINTERS[1] {
                    continue; // two pictures may share one Exif directory
                }
                // Readers follow such a circle until the memory is full.
                let what = "directories point at each other in a circle".into();
                return Err(DecodeError::Corrupt { offset: offset as u64, what });
            }
            if found.len() >= MAX_IFDS || depth > MAX_DEPTH {
                return Err(DecodeError::LimitExceeded {
                    what: "a tree of directories".into(),
                    limit: format!("{MAX_IFDS} directories, {MAX_DEPTH} deep"),
                });
            }
            seen.push(offset);
            let Some((ifd, next)) = self.ifd(offset, via) else { continue };
            // The chain goes on after what hangs below this directory: pushed first, popped last.
            if via == 0 {
                queue.push((next, 0, depth));
            }
            let mut below = Vec::new();
            for entry in ifd.entries.iter().filter(|e| POINTERS.contains(&e.tag)) {
                if let Some(offsets) = self.uints(entry, MAX_IFDS) {
                    below.extend(offsets.iter().map(|&o| (o as usize, entry.tag, depth + 1)));
                }
            }
            queue.extend(below.into_iter().rev());
            found.push(ifd);
        }
        Ok(found)
    }

    /// The bytes of an entry's values; `None` where they do not lie inside the file.
    pub(crate) fn bytes(&self, entry: &Entry) -> Option<&'a [u8]> {
        let length = (entry.count as usize).checked_mul(size_of_kind(entry.kind))?;
        self.data.get(entry.at..entry.at.checked_add(length)?)
    }

    /// Whole numbers (BYTE, SHORT, LONG); `None` for other types, more than `most` values or values outside the file.
    pub(crate) fn uints(&self, entry: &Entry, most: usize) -> Option<Vec<u64>> {
        if entry.count as usize > most {
            return None;
        }
        let bytes = self.bytes(entry)?;
        let at = |i: usize, size: usize| entry.at + i * size;
        let count = entry.count as usize;
        match entry.kind {
            1 | 7 => Some(bytes.iter().map(|&b| u64::from(b)).collect()),
            3 => (0..count).map(|i| self.u16(at(i, 2)).map(u64::from)).collect(),
            4 | 13 => (0..count).map(|i| self.u32(at(i, 4)).map(u64::from)).collect(),
            _ => None,
        }
    }

    /// Numbers of any type as floats; a rational with denominator zero is NaN.
    pub(crate) fn floats(&self, entry: &Entry, most: usize) -> Option<Vec<f64>> {
        if entry.count as usize > most {
            return None;
        }
        self.bytes(entry)?;
        let count = entry.count as usize;
        let at = |i: usize, size: usize| entry.at + i * size;
        let ratio = |n: f64, d: f64| if d == 0.0 { f64::NAN } else { n / d };
        (0..count)
            .map(|i| {
                Some(match entry.kind {
                    1 | 7 => f64::from(*self.data.get(at(i, 1))?),
                    6 => f64::from(*self.data.get(at(i, 1))? as i8),
                    3 => f64::from(self.u16(at(i, 2))?),
                    8 => f64::from(self.u16(at(i, 2))? as i16),
                    4 | 13 => f64::from(self.u32(at(i, 4))?),
                    9 => f64::from(self.u32(at(i, 4))? as i32),
                    5 => ratio(f64::from(self.u32(at(i, 8))?), f64::from(self.u32(at(i, 8) + 4)?)),
                    10 => ratio(f64::from(self.u32(at(i, 8))? as i32), f64::from(self.u32(at(i, 8) + 4)? as i32)),
                    11 => f64::from(f32::from_bits(self.u32(at(i, 4))?)),
                    12 => f64::from_bits(self.u64(at(i, 8))?),
                    _ => return None,
                })
            })
            .collect()
    }

    /// The first value of a tag as a whole number.
    pub(crate) fn first(&self, ifd: &Ifd, tag: u16) -> Option<u64> {
        let mut entry = *ifd.get(tag)?;
        entry.count = entry.count.min(1);
        self.uints(&entry, 1)?.first().copied()
    }
}
