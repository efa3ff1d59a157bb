//! rawloader's walk through directories, rehearsed without keeping any: it follows every value of a pointer ten deep, places it
//! has been at again, so that a few crossing pointers make millions of directories and fill the memory. A file whose walk
//! would be longer than any camera's is not handed over.
//!
//! Offsets, tags and maker notes are taken as rawloader 0.37.2 takes them (`decoders/tiff.rs`). Where it would stop with a
//! panic of its own, which is caught, the walk ends here too.

use crate::tiff::{Tiff, size_of_kind};

/// Directories that a walk may come to, those refused included. Cameras write some tens.
const MOST_DIRECTORIES: usize = 4096;
/// Entries that a walk may read.
const MOST_ENTRIES: usize = 1 << 20;
/// Entries from which on rawloader refuses a directory.
const OVERFULL: usize = 4001;
/// Depth to which rawloader follows pointers.
const DEPTH: u32 = 10;
/// Directories of the main chain that rawloader reads.
const CHAIN: usize = 100;
/// SubIFDs, Exif, and the directories of RAF and of two Kodak formats.
const POINTERS: [u16; 5] = [0x014a, 0x8769, 0xf000, 0x8290, 0xfe00];
/// Maker note.
const MAKER_NOTE: u16 = 0x927c;
/// In Olympus's maker note: the directory of its processing.
const IMAGE_PROCESSING: u16 = 0x2040;

/// True where rawloader comes to an end among the directories of `bytes` with what a camera's file takes.
pub(super) fn ends(bytes: &[u8]) -> bool {
    let mut walk = Walk { directories: 0, entries: 0 };
    if bytes.starts_with(b"FUJIFILM") {
        let word = |at| Tiff { data: bytes, big: true }.u32(at).map(|w| w as usize);
        let _ = word(84).and_then(|start| walk.chain(bytes.get(start.checked_add(12)?..)?));
        let _ = word(100).and_then(|start| walk.chain(bytes.get(start..)?));
    } else {
        let _ = walk.chain(bytes);
    }
    walk.within_bounds()
}

struct Walk {
    directories: usize,
    entries: usize,
}

/// `None` ends the walk: the reader would panic, or it is too long.
type Step = Option<()>;

impl Walk {
    fn within_bounds(&self) -> bool {
        self.directories <= MOST_DIRECTORIES && self.entries <= MOST_ENTRIES
    }

    fn chain(&mut self, data: &[u8]) -> Step {
        let (tiff, mut offset, _) = Tiff::new(data)?;
        for _ in 0..CHAIN {
            let count = self.directory(&tiff, offset, 0, 0)?;
            if count >= OVERFULL {
                return None;
            }
            offset = tiff.u32(offset + 2 + count * 12)? as usize;
            if offset == 0 {
                break;
            }
        }
        Some(())
    }

    /// The number of entries of the directory at `offset`; what it points to is walked through.
    fn directory(&mut self, tiff: &Tiff<'_>, offset: usize, base: usize, depth: u32) -> Option<usize> {
        self.directories += 1;
        let count = usize::from(tiff.u16(offset)?);
        if count >= OVERFULL {
            return Some(count);
        }
        self.entries += count;
        if !self.within_bounds() {
            return None;
        }
        for position in (0..count).map(|i| offset + 2 + i * 12) {
            let tag = tiff.u16(position)?;
            if depth < DEPTH && POINTERS.contains(&tag) {
                self.pointers(tiff, position, base, depth)?;
            } else if depth < DEPTH && tag == MAKER_NOTE {
                let (_, _, at) = values(tiff, position, base)?;
                self.maker_note(tiff, at, base, depth + 1)?;
            }
        }
        Some(count)
    }

    fn pointers(&mut self, tiff: &Tiff<'_>, position: usize, base: usize, depth: u32) -> Step {
        let (kind, count, at) = values(tiff, position, base)?;
        for i in 0..count {
            let value = match kind {
                1 => u32::from(*tiff.data.get(at + i)?),
                3 | 8 => u32::from(tiff.u16(at + 2 * i)?),
                // An UNDEFINED of n bytes is read as n words, the last of which are beyond its data.
                4 | 7 | 9 | 13 if 4 * (i + 1) <= count * size_of_kind(kind) => tiff.u32(at + 4 * i)?,
                _ => return None,
            };
            self.directory(tiff, value as usize, base, depth + 1)?;
        }
        Some(())
    }

    fn maker_note(&mut self, tiff: &Tiff<'_>, at: usize, base: usize, depth: u32) -> Step {
        let note = tiff.data.get(at..)?;
        let order = |place: usize| note.get(place..place + 2).map(|mark| mark != b"II");
        if note.starts_with(b"OLYMP") {
            let start = at + if note.starts_with(b"OLYMPUS") { 12 } else { 8 };
            let count = self.directory(tiff, start, base, depth)?;
            let processing =
                (0..count % OVERFULL).map(|i| start + 2 + i * 12).find(|&p| tiff.u16(p) == Some(IMAGE_PROCESSING));
            return match processing.and_then(|p| tiff.u32(p + 8)).map(|o| o as usize) {
                Some(o) if o > 0 => {
                    self.directory(&Tiff { data: note.get(o..)?, big: tiff.big }, 0, o, depth).map(drop)
                }
                _ => Some(()),
            };
        }
        if note.starts_with(b"PENTAX") {
            return self.directory(&Tiff { data: note, big: order(8)? }, 10, base, depth).map(drop);
        }
        if note.starts_with(b"Nikon\0\x02") {
            return self.directory(&Tiff { data: note.get(10..)?, big: order(10)? }, 8, base, depth).map(drop);
        }
        let mut skipped = match note {
            [b'E', b'P', b'S', b'O', b'N', ..] => 8,
            [b'A', b'O', b'C', 0, ..] => 4,
            _ => 0,
        };
        let mut big = tiff.big;
        for (mark, is_big) in [(b"II", false), (b"MM", true)] {
            if note.get(skipped..skipped + 2)? == mark {
                (skipped, big) = (skipped + 2, is_big);
            }
        }
        self.directory(&Tiff { data: tiff.data, big }, at + skipped, base, depth).map(drop)
    }
}

/// Type, count and place of an entry's values, which lie inside the data; unknown types are bytes.
fn values(tiff: &Tiff<'_>, position: usize, base: usize) -> Option<(u16, usize, usize)> {
    let kind = match tiff.u16(position + 2)? {
        kind if size_of_kind(kind) > 0 => kind,
        _ => 1,
    };
    let count = tiff.u32(position + 4)? as usize;
    let bytes = count * size_of_kind(kind);
    let at = if bytes <= 4 { position + 8 } else { (tiff.u32(position + 8)? as usize).checked_sub(base)? };
    (at.checked_add(bytes)? <= tiff.data.len()).then_some((kind, count, at))
}
