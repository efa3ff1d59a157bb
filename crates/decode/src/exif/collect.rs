//! Brings the Exif of each container into one small TIFF, so that neither a 100 MB file is copied for it nor a count
//! of the file reaches the Exif reader unchecked.

use std::io::Cursor;

use exif::{Exif, Reader};

use super::Fields;
use crate::container::{Container, Kind};
use crate::panics::guarded;
use crate::tiff::{Entry, Ifd, Tiff, size_of_kind};

/// Longest value that is taken over, bytes. Maker notes, previews and profiles are longer, shot data are not.
const LONGEST: usize = 1024;
/// Exif directory pointer.
const EXIF_IFD: u16 = 34_665;

/// Reads the Exif of a scanned file. Absent or broken Exif is an empty answer, not an error.
pub(crate) fn read(container: &Container, bytes: &[u8]) -> Fields {
    let exif = guarded(|| match container.kind {
        Kind::Dng | Kind::Tiff => from_tiff(bytes, &container.ifds),
        Kind::Raf => from_raf(bytes),
        Kind::Cr3 => crate::container::cr3_metadata(bytes).and_then(|(main, exif)| from_blocks(main, exif)),
        Kind::Mrw => crate::container::mrw_tiff(bytes).and_then(from_block),
        _ => None,
    });
    Fields::new(exif.ok().flatten().as_ref())
}

/// A TIFF-based file: its first directory and the Exif directory below it (or, where a writer put it elsewhere, the
/// first one found).
fn from_tiff(bytes: &[u8], ifds: &[Ifd]) -> Option<Exif> {
    let (tiff, ..) = Tiff::new(bytes)?;
    let main = ifds.first()?;
    let pointed = tiff.first(main, EXIF_IFD).unwrap_or(0) as usize;
    let exif = ifds.iter().find(|i| i.via == EXIF_IFD && i.offset == pointed);
    let exif = exif.or_else(|| ifds.iter().find(|i| i.via == EXIF_IFD));
    parse(&compact(&tiff, main, exif.map(|e| (&tiff, e))))
}

/// A TIFF block inside another container.
fn from_block(block: &[u8]) -> Option<Exif> {
    let (tiff, first, _) = Tiff::new(block)?;
    from_tiff(block, &tiff.ifds(first).ok()?)
}

/// Two TIFF blocks, the second holding the Exif directory as its main one (CR3).
fn from_blocks(main: &[u8], exif: Option<&[u8]>) -> Option<Exif> {
    let (tiff, first, _) = Tiff::new(main)?;
    let (main, _) = tiff.ifd(first, 0)?;
    let below = exif.and_then(|block| {
        let (tiff, first, _) = Tiff::new(block)?;
        Some((tiff, tiff.ifd(first, 0)?.0))
    });
    let below = below.as_ref().filter(|(t, _)| t.big == tiff.big);
    parse(&compact(&tiff, &main, below.map(|(t, i)| (t, i))))
}

/// RAF: the JPEG whose offset and length stand big-endian at 84 and 88.
fn from_raf(bytes: &[u8]) -> Option<Exif> {
    let word = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize);
    let (offset, length) = (word(84)?, word(88)?);
    // The Exif segment stands at the front and is at most 64 KiB long.
    let jpeg = bytes.get(offset..offset.checked_add(length.min(1 << 18))?)?;
    let mut exif = Reader::new();
    let exif = exif.continue_on_error(true).read_from_container(&mut Cursor::new(jpeg));
    exif.or_else(|e| e.distill_partial_result(|_| {})).ok()
}

fn parse(tiff: &[u8]) -> Option<Exif> {
    let exif = Reader::new().continue_on_error(true).read_raw(tiff.to_vec());
    exif.or_else(|e| e.distill_partial_result(|_| {})).ok()
}

/// A TIFF with the short values of `main` and, below it, of `exif`.
fn compact(tiff: &Tiff<'_>, main: &Ifd, exif: Option<(&Tiff<'_>, &Ifd)>) -> Vec<u8> {
    let keep = |tiff: &Tiff<'_>, e: &Entry| {
        let bytes = (e.count as usize).saturating_mul(size_of_kind(e.kind));
        let pointer = matches!(e.tag, 330 | EXIF_IFD | 34_853 | 40_965 | 273 | 279 | 324 | 325 | 513 | 514);
        !pointer && bytes > 0 && bytes <= LONGEST && tiff.bytes(e).is_some()
    };
    let main: Vec<&Entry> = main.entries.iter().filter(|e| keep(tiff, e)).collect();
    let below: Vec<(&Tiff<'_>, &Entry)> = match exif {
        Some((tiff, ifd)) => ifd.entries.iter().filter(|e| keep(tiff, e)).map(|e| (tiff, e)).collect(),
        None => Vec::new(),
    };
    let mut out = Vec::new();
    let u16s = |v: u16| if tiff.big { v.to_be_bytes() } else { v.to_le_bytes() };
    let u32s = |v: u32| if tiff.big { v.to_be_bytes() } else { v.to_le_bytes() };
    out.extend_from_slice(if tiff.big { b"MM" } else { b"II" });
    out.extend_from_slice(&u16s(42));
    out.extend_from_slice(&u32s(8));
    let main_size = 2 + 12 * (main.len() + 1) + 4;
    let exif_at = 8 + main_size;
    let mut values_at = exif_at + 2 + 12 * below.len() + 4;
    let mut values: Vec<u8> = Vec::new();
    let mut write = |out: &mut Vec<u8>, source: &Tiff<'_>, e: &Entry| {
        out.extend_from_slice(&u16s(e.tag));
        out.extend_from_slice(&u16s(e.kind));
        out.extend_from_slice(&u32s(e.count));
        let bytes = source.bytes(e).unwrap_or_default();
        if bytes.len() <= 4 {
            let mut inline = [0; 4];
            inline[..bytes.len()].copy_from_slice(bytes);
            out.extend_from_slice(&inline);
        } else {
            out.extend_from_slice(&u32s(values_at as u32));
            values.extend_from_slice(bytes);
            values_at += bytes.len();
        }
    };
    out.extend_from_slice(&u16s(main.len() as u16 + 1));
    for e in &main {
        write(&mut out, tiff, e);
    }
    out.extend_from_slice(&u16s(EXIF_IFD));
    out.extend_from_slice(&u16s(4));
    out.extend_from_slice(&u32s(1));
    out.extend_from_slice(&u32s(exif_at as u32));
    out.extend_from_slice(&u32s(0));
    out.extend_from_slice(&u16s(below.len() as u16));
    for (source, e) in &below {
        write(&mut out, source, e);
    }
    out.extend_from_slice(&u32s(0));
    out.extend_from_slice(&values);
    out
}
