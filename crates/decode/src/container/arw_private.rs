//! What the directories of an ARW's private area claim: a plain one, which DNGPrivateData points to, and behind it one that is
//! coded. Readers reserve memory by their counts.

use super::maker_note::make;
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
/// The coded directory claims so, or either has too many entries: these cannot be made empty in place.
pub(super) fn overclaiming(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Result<Vec<usize>, DecodeError> {
    // In other makers' files the tag may hold anything.
    let sony = make(tiff, ifds).starts_with(b"SONY");
    let place = ifds.iter().find_map(|ifd| ifd.get(PRIVATE_DATA)).filter(|e| sony && e.claimed() == 4);
    let tiff = Tiff { big: false, ..*tiff };
    let Some(at) = place.and_then(|entry| tiff.u32(entry.at)) else { return Ok(Vec::new()) };
    let corrupt = |what: &str| DecodeError::Corrupt { offset: u64::from(at), what: what.into() };
    if tiff.overfull(at as usize) {
        return Err(corrupt("the maker's private directory has more entries than any camera writes"));
    }
    let Some((plain, _)) = tiff.ifd(at as usize, PRIVATE_DATA) else { return Ok(Vec::new()) };
    let length = tiff.data.len();
    if let [Some(offset), Some(size), Some(key)] = CODED.map(|tag| tiff.u32(plain.get(tag)?.at)) {
        let coded = tiff.data.get(offset as usize..).unwrap_or_default();
        let decoded = decoded(&coded[..coded.len().min(size as usize)], key);
        let inner = Tiff { data: &decoded, big: false };
        let claims = |(ifd, _): (Ifd, usize)| ifd.overclaiming(length).next().is_some();
        if inner.overfull(0) || inner.ifd(0, PRIVATE_DATA).is_some_and(claims) {
            return Err(corrupt("the maker's coded directory claims more than the file holds"));
        }
    }
    Ok(plain.overclaiming(length).map(|e| e.position).collect())
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A directory with a maker of five bytes and private data of four zeros, which lead to the file's own header.
    fn outcome(maker: &[u8; 5]) -> Result<Vec<usize>, DecodeError> {
        let mut bytes = b"II*\0\x08\0\0\0\x02\0".to_vec();
        bytes.extend(
            [&271_u16.to_le_bytes()[..], &2_u16.to_le_bytes(), &5_u32.to_le_bytes(), &38_u32.to_le_bytes()].concat(),
        );
        bytes.extend([&PRIVATE_DATA.to_le_bytes()[..], &4_u16.to_le_bytes(), &1_u32.to_le_bytes(), &[0; 8]].concat());
        bytes.extend(maker);
        let (tiff, first, _) = Tiff::new(&bytes).expect("a TIFF header");
        overclaiming(&tiff, &tiff.ifds(first).expect("one directory"))
    }

    #[test]
    fn private_data_lead_to_a_directory_in_files_of_one_maker_alone() {
        assert!(outcome(b"SONY\0").is_err());
        assert_eq!(outcome(b"ABCD\0").expect("not looked into"), []);
    }
}
