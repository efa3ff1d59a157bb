//! What a maker note claims. Readers take that of these makers for a directory, behind whatever name it begins with, and reserve
//! memory by its counts.

use crate::tiff::{Entry, Ifd, Tiff, size_of_kind};

/// MakerNote.
const MAKER_NOTE: u16 = 37_500;
/// Makers whose notes are read so, as their names begin in capitals.
const MAKERS: [&[u8]; 9] =
    [b"CANON", b"NIKON", b"SONY", b"OLYMPUS", b"OM DIGITAL", b"PENTAX", b"RICOH", b"SAMSUNG", b"SEIKO EPSON"];
/// Names that notes begin with, and the bytes from the note's start to its directory or the mark of its byte order (common practice,
/// no source).
const NAMES: [(&[u8], usize); 8] = [
    (b"OLYMPUS", 12),
    (b"OLYMP", 8),
    (b"OM SYSTEM", 16),
    (b"EPSON", 8),
    (b"SONY DSC ", 12),
    (b"AOC\0", 4),
    (b"PENTAX", 8),
    (b"Nikon\0\x02", 10),
];

/// Where entries of maker notes stand that claim more than the whole file holds, and notes that are no directories.
pub(super) fn overclaiming(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Vec<usize> {
    let make = make(tiff, ifds);
    if !MAKERS.iter().any(|maker| make.starts_with(maker)) {
        return Vec::new();
    }
    let notes = ifds.iter().filter_map(|ifd| ifd.get(MAKER_NOTE));
    notes.flat_map(|note| claims(tiff, note).unwrap_or_else(|| vec![note.position])).collect()
}

/// The camera's maker, in capitals; empty where none is named.
pub(super) fn make(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Vec<u8> {
    ifds.first().and_then(|main| tiff.bytes(main.get(271)?)).unwrap_or_default().to_ascii_uppercase()
}

/// `None` where the note holds no directory.
fn claims(tiff: &Tiff<'_>, note: &Entry) -> Option<Vec<usize>> {
    let bytes = tiff.bytes(note)?;
    let (name, to_mark) = NAMES.iter().find(|(name, _)| bytes.starts_with(name)).map_or((&b""[..], 0), |found| *found);
    let (big, behind) = match bytes.get(to_mark..to_mark + 2)? {
        // A whole TIFF header where the note is a file of its own.
        mark @ (b"II" | b"MM") if name.starts_with(b"Nikon") => (mark == b"MM", 8),
        mark @ (b"II" | b"MM") => (mark == b"MM", 2),
        _ => (tiff.big, 0),
    };
    let first = to_mark + behind;
    let (directory, _) = Tiff { big, ..*tiff }.ifd(note.at + first, MAKER_NOTE)?;
    let fits = first + 2 + 12 * directory.entries.len() <= bytes.len();
    let claim = directory.overclaiming(tiff.data.len()).map(|e| e.position);
    fits.then(|| claim.collect())
}

/// Entries of a maker note that is a plain directory with offsets from the start of the file; empty for others.
pub(super) fn plain(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Vec<Entry> {
    let note = ifds.iter().filter(|i| i.via == 34_665).find_map(|i| i.get(MAKER_NOTE));
    let ifd = note.filter(|e| e.count > 18).and_then(|e| tiff.ifd(e.at, MAKER_NOTE));
    let Some((ifd, _)) = ifd else { return Vec::new() };
    let known = ifd.entries.iter().filter(|e| size_of_kind(e.kind) > 0).count();
    if ifd.entries.len() > 512 || 5 * known < 4 * ifd.entries.len() { Vec::new() } else { ifd.entries }
}
