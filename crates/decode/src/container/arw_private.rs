//! What the directories of an ARW's private area claim: a plain one, which DNGPrivateData points to, and behind it one that is
//! coded. Readers reserve memory by their counts.

use crate::DecodeError;
use crate::tiff::{Ifd, Tiff};

/// DNGPrivateData: here no data but the place of a directory.
const PRIVATE_DATA: u16 = 50_740;
/// Offset, length and key of the coded directory, in the plain one.
const CODED: [u16; 3] = [0x7200, 0x7201, 0x7221];
/// Words of the coded directory that are looked at: more than the entries of a directory take.
const MOST_WORDS: usize = 1 << 16;

/// Where entries of the plain directory stand that claim more than the whole file holds.
///
/// # Errors
/// A coded directory, or one with too many entries, that does: it cannot be mended in place.
pub(super) fn overclaiming(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Result<Vec<usize>, DecodeError> {
    let tiff = Tiff { big: false, ..*tiff };
    let place = ifds.iter().find_map(|ifd| ifd.get(PRIVATE_DATA)).filter(|e| e.claimed() == 4);
    let Some(at) = place.and_then(|entry| tiff.u32(entry.at)) else { return Ok(Vec::new()) };
    let corrupt = |what: &str| DecodeError::Corrupt { offset: u64::from(at), what: what.into() };
    if tiff.overfull(at as usize) {
        return Err(corrupt("the maker's private directory has more entries than any camera writes"));
    }
    let Some((plain, _)) = tiff.ifd(at as usize, PRIVATE_DATA) else { return Ok(Vec::new()) };
    let too_much = |ifd: &Ifd| -> Vec<usize> {
        ifd.entries.iter().filter(|e| e.claimed() > tiff.data.len()).map(|e| e.position).collect()
    };
    if let [Some(offset), Some(length), Some(key)] = CODED.map(|tag| tiff.u32(plain.get(tag)?.at)) {
        let coded = tiff.data.get(offset as usize..).unwrap_or_default();
        let decoded = decoded(&coded[..coded.len().min(length as usize)], key);
        let inner = Tiff { data: &decoded, big: false };
        if inner.overfull(0) || inner.ifd(0, PRIVATE_DATA).is_some_and(|(ifd, _)| !too_much(&ifd).is_empty()) {
            return Err(corrupt("the maker's coded directory claims more than the file holds"));
        }
    }
    Ok(too_much(&plain))
}

/// The coded directory in plain: each word is changed by one of a sequence that a shift register makes from the key (common
/// practice, no source).
fn decoded(coded: &[u8], key: u32) -> Vec<u8> {
    let mut register = [0_u32; 128];
    let mut state = key;
    for word in &mut register[..4] {
        state = state.wrapping_mul(48_828_125).wrapping_add(1);
        *word = state;
    }
    register[3] = register[3] << 1 | (register[0] ^ register[2]) >> 31;
    for i in 4..127 {
        register[i] = (register[i - 4] ^ register[i - 2]) << 1 | (register[i - 3] ^ register[i - 1]) >> 31;
    }
    for word in &mut register[..127] {
        *word = word.swap_bytes();
    }
    let words = coded.as_chunks::<4>().0.iter().take(MOST_WORDS);
    let plain = words.enumerate().flat_map(|(i, word)| {
        let k = i + 127;
        register[k & 127] = register[(k + 1) & 127] ^ register[(k + 65) & 127];
        (u32::from_le_bytes(*word) ^ register[k & 127]).to_le_bytes()
    });
    plain.collect()
}
