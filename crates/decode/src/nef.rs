//! Coded NEF files, decoded here: the library readers dither their samples, which adds noise of their own; even those of
//! lossless files, of which they lower three of four by one at random.
//!
//! Each sample is the code of a difference; a curve of the file turns the codes of lossy files into levels. Tags, tables and
//! their order are common practice, no source; tests hold them against LibRaw.

use crate::container::Container;
use crate::ljpeg::{Code, code_words};
use crate::lossless::decode_two_back;
use crate::streams::{Rows, broken_row};
use crate::tiff::{Ifd, Tiff};

/// Compression of all coded NEF files.
const CODED: u64 = 34_713;
/// Tags of the maker note that hold version, first samples and curve of the coding, newer one first.
const CODINGS: [u16; 2] = [150, 140];
/// First byte of the version of codings without a curve.
const LOSSLESS: u8 = 0x46;
/// Levels and codes.
const TOP: usize = 0x4000;

/// Huffman tables: counts of code words by length from 1; of each the length of the difference in its lower four bits, and
/// of it the bits left out in its upper ones.
type Words = (&'static [u8], &'static [u8]);
/// Lossy, lossy from the split on, lossless.
const WORDS_12: [Words; 3] = [
    (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 2], &[5, 4, 3, 6, 2, 7, 1, 0, 8, 9, 11, 10, 12, 0]),
    (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 2], &[0x39, 0x5a, 0x38, 0x27, 0x16, 5, 4, 3, 2, 1, 0, 11, 12, 12]),
    (&[0, 1, 4, 2, 3, 1, 2], &[5, 4, 6, 3, 7, 2, 8, 1, 9, 0, 10, 11, 12]),
];
const WORDS_14: [Words; 3] = [
    (&[0, 1, 4, 3, 1, 1, 1, 1, 1, 2], &[5, 6, 4, 7, 8, 3, 9, 2, 1, 0, 10, 11, 12, 13, 14]),
    (&[0, 1, 5, 1, 1, 1, 1, 1, 1, 1, 2], &[8, 0x5c, 0x4b, 0x3a, 0x29, 7, 6, 5, 4, 3, 2, 1, 0, 13, 14]),
    (&[0, 1, 4, 2, 2, 3, 1, 2], &[7, 6, 8, 5, 9, 4, 10, 3, 11, 12, 2, 0, 1, 13, 14]),
];

/// Sensor data of a coded NEF.
#[derive(Debug)]
pub(crate) struct Nef<'a> {
    coded: &'a [u8],
    width: usize,
    height: usize,
    /// Code words, and those from the split on.
    words: (Vec<Code>, Vec<Code>),
    coding: Coding,
}

/// What the maker note says of the coding.
#[derive(Debug)]
struct Coding {
    lossless: bool,
    /// What the first two samples of rows 0 and 1 differ from.
    first: [[u16; 2]; 2],
    /// Level of each code.
    curve: Vec<u16>,
    /// Row from which on the later code words hold; `usize::MAX` for none.
    split: usize,
}

/// The coding of a NEF; `None` for other files.
pub(crate) fn find<'a>(bytes: &'a [u8], container: &Container) -> Option<Nef<'a>> {
    let (tiff, ..) = Tiff::new(bytes)?;
    let is_raw = |ifd: &&Ifd| tiff.first(ifd, 259) == Some(CODED) && tiff.first(ifd, 262) == Some(32_803);
    let raw = container.ifds.iter().find(is_raw)?;
    let (note, directory) = maker_note(&tiff, container)?;
    let header = CODINGS.iter().find_map(|&tag| note.bytes(directory.get(tag)?))?;
    let bits = tiff.first(raw, 258)?;
    let tables = match bits {
        12 => &WORDS_12,
        14 => &WORDS_14,
        _ => return None,
    };
    let coding = Coding::read(&Tiff { data: header, big: note.big }, bits as u32)?;
    let words = |(counts, lengths): Words| code_words(counts, lengths.iter().map(|l| ((l & 15) - (l >> 4), l >> 4)));
    let [lossy, later, lossless] = tables.map(words);
    let words = (if coding.lossless { lossless? } else { lossy? }, later?);
    let (width, height) = (tiff.first(raw, 256)? as usize, tiff.first(raw, 257)? as usize);
    let (offset, length) = (tiff.first(raw, 273)? as usize, tiff.first(raw, 279)? as usize);
    let coded = bytes.get(offset..offset.checked_add(length)?)?;
    let one_strip = raw.get(273)?.count == 1 && width > 0 && width.is_multiple_of(2);
    one_strip.then_some(Nef { coded, width, height, words, coding })
}

impl Coding {
    /// Reads version, first samples and curve.
    fn read(header: &Tiff<'_>, bits: u32) -> Option<Self> {
        let version = (*header.data.first()?, *header.data.get(1)?);
        let lossless = version.0 == LOSSLESS;
        let at = if version.0 == 0x49 || version.1 == 0x58 { 2112 } else { 2 };
        let word = |k: usize| header.u16(at + 2 * k);
        let first = [[word(0)?, word(1)?], [word(2)?, word(3)?]];
        let points = usize::from(word(4)?);
        let mut curve: Vec<u16> = (0..=TOP as u16).collect();
        let mut split = 0;
        // Codings of two bits less say 14 as well.
        let codes = 1_usize << if version == (0x44, 0x40) { bits - 2 } else { bits };
        let step = codes / points.saturating_sub(1).max(1);
        if matches!(version, (0x44, 0x20 | 0x40)) && points > 1 && step > 0 {
            for k in 0..points {
                *curve.get_mut(k * step)? = word(5 + k)?;
            }
            for code in 0..codes {
                let (from, past) = (code - code % step, code % step);
                let sum = usize::from(curve[from]) * (step - past) + usize::from(*curve.get(from + step)?) * past;
                curve[code] = (sum / step) as u16;
            }
            split = usize::from(header.u16(562)?);
        } else if !lossless {
            // A curve of another length is of a coding that is not known here.
            for (k, level) in curve.get_mut(..points)?.iter_mut().enumerate() {
                *level = word(5 + k)?;
            }
        }
        curve.truncate(TOP);
        Some(Self { lossless, first, curve, split: if split == 0 { usize::MAX } else { split } })
    }
}

impl Nef<'_> {
    /// Decodes all rows; those behind a break stay zero.
    pub(crate) fn decode(&self) -> Rows {
        let size = (self.width, self.height);
        let mut samples = vec![0_u16; self.width * self.height];
        let words = (&self.words.0[..], &self.words.1[..]);
        let coding = &self.coding;
        let outcome = decode_two_back(self.coded, words, coding.split, size, coding.first, |y, row| {
            let to = &mut samples[y * row.len()..][..row.len()];
            for (to, &code) in to.iter_mut().zip(row) {
                // Lossy codes may run below zero.
                *to = coding.curve[usize::try_from(code as i16).unwrap_or(0).min(TOP - 1)];
            }
        });
        let missing = outcome.err().map(|row| broken_row(row, self.height));
        Rows { samples, width: self.width, height: self.height, missing }
    }

    /// What a reader of the figures should know.
    pub(crate) fn note(&self) -> Option<String> {
        let step = self.coding.curve.windows(2).map(|two| two[1].saturating_sub(two[0])).max().unwrap_or(1);
        (!self.coding.lossless).then(|| {
            format!("the camera's lossy compression rounded the samples, in the lights to steps of up to {step} DN")
        })
    }
}

/// The maker note, a TIFF of its own that starts ten bytes in, and its directory.
fn maker_note<'a>(tiff: &Tiff<'a>, container: &Container) -> Option<(Tiff<'a>, Ifd)> {
    let note = container.ifds.iter().find_map(|ifd| tiff.bytes(ifd.get(37_500)?))?;
    let (inner, first, _) = Tiff::new(note.strip_prefix(b"Nikon\0\x02")?.get(3..)?)?;
    Some((inner, inner.ifd(first, 0)?.0))
}
