//! Uncompressed samples of a DNG, 8 to 16 bit, strips or tiles.
//!
//! 16-bit samples follow the file's byte order, all narrower ones are packed from the most significant bit on, and
//! each row starts at a byte boundary (TIFF 6.0, section 8; DNG 1.7.1, BitsPerSample).

use crate::DecodeError;
use crate::content::Content;
use crate::dng::DngRaw;

/// Unpacks all strips or tiles.
///
/// # Errors
/// A strip or tile shorter than its samples need.
pub(crate) fn unpack(raw: &DngRaw, content: &mut Content) -> Result<Vec<u16>, DecodeError> {
    let row_samples = raw.width * raw.samples_per_pixel;
    let chunk_samples = raw.chunk_width * raw.samples_per_pixel;
    let row_bytes = (chunk_samples * raw.bits as usize).div_ceil(8);
    let across = raw.width.div_ceil(raw.chunk_width);
    // All lengths first: nothing is allocated for a file that cannot fill it.
    for (i, &(offset, length)) in raw.chunks.iter().enumerate() {
        let rows = rows_of(raw, i / across);
        if length < rows * row_bytes {
            return Err(DecodeError::Corrupt {
                offset: offset as u64,
                what: format!("{length} bytes stored for {} of samples", rows * row_bytes),
            });
        }
    }
    if let Some(samples) = in_place(raw, content) {
        return Ok(samples);
    }
    let bytes: &[u8] = content;
    let mut samples = vec![0_u16; row_samples * raw.height];
    for (i, &(offset, _)) in raw.chunks.iter().enumerate() {
        let (row, column) = (i / across * raw.chunk_height, i % across * chunk_samples);
        let wide = chunk_samples.min(row_samples - column);
        for y in 0..rows_of(raw, i / across) {
            let from = offset + y * row_bytes;
            let source = bytes.get(from..from + row_bytes).unwrap_or_default();
            let start = (row + y) * row_samples + column;
            unpack_row(source, raw.bits, raw.big, &mut samples[start..start + wide]);
        }
    }
    Ok(samples)
}

/// The samples of strips of 16-bit words, moved up within the memory of the file itself. `None` where they are not stored in
/// whole rows, in the order of this machine, from top to bottom.
fn in_place(raw: &DngRaw, content: &mut Content) -> Option<Vec<u16>> {
    let row_samples = raw.width * raw.samples_per_pixel;
    let whole_words = raw.bits == 16 && !raw.big && cfg!(target_endian = "little") && raw.chunk_width == raw.width;
    if !whole_words {
        return None;
    }
    let mut end = 0;
    for (i, &(offset, _)) in raw.chunks.iter().enumerate() {
        let to = i * raw.chunk_height * row_samples;
        // Nothing is written over that is still to be read.
        if offset % 2 != 0 || offset / 2 < to || offset < end {
            return None;
        }
        end = offset + rows_of(raw, i) * row_samples * 2;
    }
    if end > content.len() {
        return None;
    }
    let mut words = content.take_words()?;
    for (i, &(offset, _)) in raw.chunks.iter().enumerate() {
        let (from, to) = (offset / 2, i * raw.chunk_height * row_samples);
        words.copy_within(from..from + rows_of(raw, i) * row_samples, to);
    }
    words.truncate(row_samples * raw.height);
    // A preview as large as the raw would be kept for nothing.
    words.shrink_to(row_samples * raw.height * 9 / 8);
    Some(words)
}

/// Rows of a strip or tile that lie inside the frame.
fn rows_of(raw: &DngRaw, chunk_row: usize) -> usize {
    raw.chunk_height.min(raw.height - chunk_row * raw.chunk_height)
}

/// Unpacks one row: `source` holds at least `out.len()` samples of `bits` bits.
pub(crate) fn unpack_row(source: &[u8], bits: u32, big: bool, out: &mut [u16]) {
    match (bits, big) {
        (16, false) => {
            for (o, b) in out.iter_mut().zip(source.as_chunks::<2>().0) {
                *o = u16::from_le_bytes(*b);
            }
        }
        (16, true) => {
            for (o, b) in out.iter_mut().zip(source.as_chunks::<2>().0) {
                *o = u16::from_be_bytes(*b);
            }
        }
        (8, _) => {
            for (o, b) in out.iter_mut().zip(source) {
                *o = u16::from(*b);
            }
        }
        (12, _) => {
            let even = out.len() / 2;
            for (o, b) in out.as_chunks_mut::<2>().0.iter_mut().zip(source.as_chunks::<3>().0) {
                let [a, m, z] = b.map(u16::from);
                *o = [a << 4 | m >> 4, (m & 15) << 8 | z];
            }
            generic(&source[(even * 3).min(source.len())..], bits, &mut out[even * 2..]);
        }
        (14, _) => {
            let whole = out.len() / 4;
            for (o, b) in out.as_chunks_mut::<4>().0.iter_mut().zip(source.as_chunks::<7>().0) {
                let b = b.map(u16::from);
                *o = [
                    b[0] << 6 | b[1] >> 2,
                    (b[1] & 3) << 12 | b[2] << 4 | b[3] >> 4,
                    (b[3] & 15) << 10 | b[4] << 2 | b[5] >> 6,
                    (b[5] & 63) << 8 | b[6],
                ];
            }
            generic(&source[(whole * 7).min(source.len())..], bits, &mut out[whole * 4..]);
        }
        _ => generic(source, bits, out),
    }
}

/// Any width, bit by bit from the most significant on.
fn generic(source: &[u8], bits: u32, out: &mut [u16]) {
    let (mut pool, mut held) = (0_u32, 0_u32);
    let mut bytes = source.iter();
    for o in out {
        while held < bits {
            pool = pool << 8 | u32::from(bytes.next().copied().unwrap_or(0));
            held += 8;
        }
        held -= bits;
        *o = (pool >> held & ((1 << bits) - 1)) as u16;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Packs from the most significant bit on: the definition, written independently of the readers above.
    fn pack(values: &[u16], bits: u32) -> Vec<u8> {
        let text: String = values.iter().map(|v| format!("{:0w$b}", v, w = bits as usize)).collect();
        let digits: Vec<u8> = text.bytes().map(|b| b - b'0').collect();
        digits.chunks(8).map(|c| c.iter().enumerate().fold(0, |a, (i, d)| a | d << (7 - i))).collect()
    }

    #[test]
    fn every_width_and_odd_lengths() {
        for bits in 8..=16 {
            for length in [1, 2, 3, 4, 5, 7, 8, 9, 31, 64] {
                let values: Vec<u16> = (0..length).map(|i| ((i * 40_503 + 977) % (1_usize << bits)) as u16).collect();
                let mut out = vec![0; length];
                unpack_row(&pack(&values, bits), bits, true, &mut out);
                assert_eq!(out, values, "{bits} bits, {length} samples");
            }
        }
    }
}
