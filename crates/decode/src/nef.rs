//! Lossless NEF, decoded here: the library readers pass its samples through a table that lowers three of four by one at
//! random, whether or not the file has a curve to smooth.
//!
//! Tags, tables and the order of the differences are common practice, no source; tests hold them against LibRaw.

use crate::container::Container;
use crate::ljpeg::{Code, define_tables};
use crate::lossless::decode_two_back;
use crate::streams::{Rows, broken_row};
use crate::tiff::{Ifd, Tiff};

/// Compression of all coded NEF files.
const CODED: u64 = 34_713;
/// Tags of the maker note that hold version, first samples and curve of the coding, newer one first.
const CODINGS: [u16; 2] = [150, 140];
/// Version of codings without a curve.
const LOSSLESS: u8 = 70;
/// Huffman tables as in a JPEG file: number, counts of codes by length, values.
const BITS_12: [u8; 30] = [0, 0, 1, 4, 2, 3, 1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 5, 4, 6, 3, 7, 2, 8, 1, 9, 0, 10, 11, 12];
const BITS_14: [u8; 32] =
    [0, 0, 1, 4, 2, 2, 3, 1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 7, 6, 8, 5, 9, 4, 10, 3, 11, 12, 2, 0, 1, 13, 14];

/// Sensor data of a lossless NEF.
#[derive(Debug)]
pub(crate) struct Nef<'a> {
    coded: &'a [u8],
    width: usize,
    height: usize,
    table: Vec<Code>,
    /// What the first two samples of rows 0 and 1 differ from.
    first: [[u16; 2]; 2],
}

/// The lossless coding of a NEF; `None` for other files.
pub(crate) fn find<'a>(bytes: &'a [u8], container: &Container) -> Option<Nef<'a>> {
    let (tiff, ..) = Tiff::new(bytes)?;
    let is_raw = |ifd: &&Ifd| tiff.first(ifd, 259) == Some(CODED) && tiff.first(ifd, 262) == Some(32_803);
    let raw = container.ifds.iter().find(is_raw)?;
    let (note, directory) = maker_note(&tiff, container)?;
    let coding = CODINGS.iter().find_map(|&tag| note.bytes(directory.get(tag)?))?;
    if *coding.first()? != LOSSLESS {
        return None;
    }
    let header = Tiff { data: coding, big: note.big };
    let first = |at: usize| Some([header.u16(at)?, header.u16(at + 2)?]);
    let definition = match tiff.first(raw, 258)? {
        12 => &BITS_12[..],
        14 => &BITS_14[..],
        _ => return None,
    };
    let mut tables = [None];
    define_tables(definition, &mut tables)?;
    let (width, height) = (tiff.first(raw, 256)? as usize, tiff.first(raw, 257)? as usize);
    let (offset, length) = (tiff.first(raw, 273)? as usize, tiff.first(raw, 279)? as usize);
    let coded = bytes.get(offset..offset.checked_add(length)?)?;
    let one_strip = raw.get(273)?.count == 1 && width > 0 && width.is_multiple_of(2);
    one_strip.then_some(Nef { coded, width, height, table: tables[0].take()?, first: [first(2)?, first(6)?] })
}

impl Nef<'_> {
    /// Decodes all rows; those behind a break stay zero.
    pub(crate) fn decode(&self) -> Rows {
        let size = (self.width, self.height);
        let mut samples = vec![0_u16; self.width * self.height];
        let outcome = decode_two_back(self.coded, &self.table, size, self.first, |y, row| {
            samples[y * row.len()..][..row.len()].copy_from_slice(row);
        });
        let missing = outcome.err().map(|row| broken_row(row, self.height));
        Rows { samples, width: self.width, height: self.height, missing }
    }
}

/// The maker note, a TIFF of its own that starts ten bytes in, and its directory.
fn maker_note<'a>(tiff: &Tiff<'a>, container: &Container) -> Option<(Tiff<'a>, Ifd)> {
    let note = container.ifds.iter().find_map(|ifd| tiff.bytes(ifd.get(37_500)?))?;
    let (inner, first, _) = Tiff::new(note.strip_prefix(b"Nikon\0\x02")?.get(3..)?)?;
    Some((inner, inner.ifd(first, 0)?.0))
}
