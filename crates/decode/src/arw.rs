//! ARW with the camera's lossy compression, decoded here: the library readers dither its samples, which adds noise of their own.
//!
//! Sixteen samples of one colour in sixteen bytes: the largest and the smallest (11 bits each) with their places, the others
//! as seven bits above the smallest; a curve of the file spreads the codes over 14 bits. Common practice, no source; tests hold
//! it against LibRaw.

use crate::container::Container;
use crate::streams::Rows;
use crate::tiff::{Ifd, Tiff};

/// Compression of these files, where a sample takes eight bits.
const LOSSY: u64 = 32_767;
/// The four codes at which the curve's steps double.
const CURVE: u16 = 0x7010;
/// Samples of a block, and samples that two interleaved blocks cover.
const BLOCK: usize = 16;
const PAIR: usize = 2 * BLOCK;
/// Largest code.
const TOP: u32 = 0x7ff;

/// What a reader of the figures should know.
pub(crate) const NOTE: &str =
    "the camera's lossy compression rounded the samples, beside strong edges to as much as 1/64 of their step";

/// Sensor data of a lossy ARW.
#[derive(Debug)]
pub(crate) struct Arw<'a> {
    coded: &'a [u8],
    width: usize,
    height: usize,
    /// Sample of each code.
    curve: Vec<u16>,
}

/// The lossy coding of an ARW; `None` for other files.
pub(crate) fn find<'a>(bytes: &'a [u8], container: &Container) -> Option<Arw<'a>> {
    let (tiff, ..) = Tiff::new(bytes)?;
    let is_lossy = |ifd: &&Ifd| tiff.first(ifd, 259) == Some(LOSSY) && tiff.first(ifd, 258) == Some(8);
    let raw = container.ifds.iter().find(is_lossy)?;
    let knots = tiff.uints(raw.get(CURVE)?, 4).filter(|knots| knots.len() == 4)?;
    let (width, height) = (tiff.first(raw, 256)? as usize, tiff.first(raw, 257)? as usize);
    let (offset, length) = (tiff.first(raw, 273)? as usize, tiff.first(raw, 279)? as usize);
    let coded = bytes.get(offset..offset.checked_add(length)?)?;
    let fits = width > 0 && width.is_multiple_of(PAIR) && length == width.checked_mul(height)?;
    fits.then(|| Arw { coded, width, height, curve: curve(&knots) })
}

/// Samples of the codes: steps of 1, 2, 4, 8 and 16 DN between the knots, which stand in quarters, two to a code.
fn curve(knots: &[u64]) -> Vec<u16> {
    let mut fine = vec![0_u32; 4096];
    for (i, value) in (1..4096_u64).enumerate() {
        let doublings = knots.iter().filter(|&&knot| (knot >> 2 & 0xfff) < value).count();
        fine[i + 1] = fine[i] + (1 << doublings);
    }
    fine.into_iter().step_by(2).map(|dn| dn.min(u32::from(u16::MAX)) as u16).collect()
}

impl Arw<'_> {
    /// Decodes all rows.
    pub(crate) fn decode(&self) -> Rows {
        let mut samples = vec![0_u16; self.width * self.height];
        for (out, coded) in samples.as_chunks_mut::<PAIR>().0.iter_mut().zip(self.coded.as_chunks::<PAIR>().0) {
            for (side, block) in coded.as_chunks::<BLOCK>().0.iter().enumerate() {
                for (i, code) in codes(u128::from_le_bytes(*block)).into_iter().enumerate() {
                    out[2 * i + side] = self.curve[code as usize];
                }
            }
        }
        Rows { samples, width: self.width, height: self.height, missing: None }
    }
}

/// The codes of a block.
fn codes(block: u128) -> [u32; BLOCK] {
    // Where both places are one, as no camera writes, a code more follows than there is room for: it reads as zero.
    let field = |at: u32, bits: u32| block.checked_shr(at).unwrap_or(0) as u32 & ((1 << bits) - 1);
    let (most, least, place_of_most, place_of_least) = (field(0, 11), field(11, 11), field(22, 4), field(26, 4));
    let shift = (0..4).find(|shift| i64::from(0x80_u32 << shift) > i64::from(most) - i64::from(least)).unwrap_or(4);
    let mut at = 30;
    std::array::from_fn(|i| match i as u32 {
        i if i == place_of_most => most,
        i if i == place_of_least => least,
        _ => {
            at += 7;
            ((field(at - 7, 7) << shift) + least).min(TOP)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_stand_where_the_block_says_and_no_block_is_too_short() {
        // Largest 900 at place 3, smallest 100 at place 0, the others seven bits in steps of eight.
        let others = (0..14_u128).fold(0, |all, k| all | (k + 1) << (30 + 7 * k));
        let found = codes(900 | 100 << 11 | 3 << 22 | others);
        assert_eq!(found[..6], [100, 108, 116, 900, 124, 132]);
        assert_eq!(found[15], 100 + 14 * 8);
        // Both places the same: the last code has no bits left.
        let found = codes(900 | 100 << 11 | 3 << 22 | 3 << 26 | others);
        assert_eq!((found[3], found[15]), (900, 100));
    }
}
