//! Samples of lossless JPEG streams (ITU-T T.81, annex H): the slow part of CR2 and of compressed DNG files. [`decode_two_back`]
//! takes the same differences in another order.
//!
//! The library reader takes 10 ns a sample here, a third of a whole audit; this one half of that, because it unstuffs the
//! coded data in blocks, holds 64 bits of them and finds code word and difference in one table. It takes plain streams
//! only (see [`decodable`]); the reader takes the rest, and [`markers`](crate::ljpeg::markers) has checked the headers.

use crate::bits::{Bits, Table};
use crate::ljpeg::{Code, Stream};

/// Where the coded data broke off: the row of the stream that could not be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct BrokenRow(pub(crate) usize);

/// True for streams that are decoded here: one to four components of full resolution, any predictor, no restart markers, no
/// point transform, no differences of 16 bits (which old files store in two ways).
pub(crate) fn decodable(stream: &Stream) -> bool {
    let tables = stream.codes();
    stream.lossless_mosaic()
        && stream.plain_scan()
        && (2..=16).contains(&stream.precision)
        && (1..=4).contains(&stream.components)
        && tables.is_some_and(|tables| tables.iter().flat_map(|t| t.iter()).all(|code| code.extra < 16))
}

/// Decodes row after row (`width * components` samples) of a [`decodable`] stream; each goes to `done` with its number.
///
/// # Errors
/// The first row that has no code words or no data left.
pub(crate) fn decode(bytes: &[u8], stream: &Stream, done: impl FnMut(usize, &[u16])) -> Result<(), BrokenRow> {
    match stream.components {
        1 => decode_components::<1>(bytes, stream, done),
        2 => decode_components::<2>(bytes, stream, done),
        3 => decode_components::<3>(bytes, stream, done),
        _ => decode_components::<4>(bytes, stream, done),
    }
}

fn decode_components<const N: usize>(
    bytes: &[u8],
    stream: &Stream,
    mut done: impl FnMut(usize, &[u16]),
) -> Result<(), BrokenRow> {
    let codes = stream.codes().filter(|codes| codes.len() == N).ok_or(BrokenRow(0))?;
    let tables: Vec<Table<'_>> = codes.into_iter().map(Table::new).collect();
    let tables: [&Table<'_>; N] = std::array::from_fn(|i| &tables[i]);
    let mut bits = Bits::new(bytes.get(stream.data()..).unwrap_or_default(), true);
    let samples = stream.width * N;
    let (mut above, mut row) = (vec![0_u16; samples], vec![0_u16; samples]);
    for y in 0..stream.height {
        bits.reserve(4 * samples);
        if y == 0 {
            // The first row has no row above: each component starts in the middle and goes on from its left neighbour.
            from_the_left(&mut bits, tables, [1 << (stream.precision - 1); N], &mut row);
        } else {
            let first = std::array::from_fn(|i| above[i]);
            match stream.predictor {
                1 => from_the_left(&mut bits, tables, first, &mut row),
                predictor => from_above(&mut bits, tables, predictor, &above, &mut row),
            }
        }
        if bits.broken() {
            return Err(BrokenRow(y));
        }
        done(y, &row);
        std::mem::swap(&mut above, &mut row);
    }
    Ok(())
}

/// Decodes rows of `width` samples (an even number) that are coded by `table` without stuffed bytes, each as a difference to
/// the sample two columns before; in its first two columns to that two rows before, where rows 0 and 1 find `first`. From
/// row `split` on `later` takes the place of `table`.
///
/// # Errors
/// The first row that has no code words or no data left.
pub(crate) fn decode_two_back(
    coded: &[u8],
    (table, later): (&[Code], &[Code]),
    split: usize,
    (width, height): (usize, usize),
    first: [[u16; 2]; 2],
    mut done: impl FnMut(usize, &[u16]),
) -> Result<(), BrokenRow> {
    let tables = [table, later].map(Table::new);
    let mut bits = Bits::new(coded, false);
    let mut above = first;
    let mut row = vec![0_u16; width];
    for y in 0..height {
        bits.reserve(4 * width);
        from_the_left(&mut bits, [&tables[usize::from(y >= split)]; 2], above[y % 2], &mut row);
        if bits.broken() {
            return Err(BrokenRow(y));
        }
        above[y % 2].copy_from_slice(&row[..2]);
        done(y, &row);
    }
    Ok(())
}

/// A row whose samples follow from their left neighbours of the same component.
fn from_the_left<const N: usize>(bits: &mut Bits<'_>, tables: [&Table<'_>; N], first: [u16; N], row: &mut [u16]) {
    let mut last = first;
    for pixel in row.as_chunks_mut::<N>().0 {
        for i in 0..N {
            last[i] = last[i].wrapping_add(bits.difference(tables[i]));
            pixel[i] = last[i];
        }
    }
}

/// A row whose samples follow from neighbours on the left and above (T.81, table H.1), the first ones from above.
fn from_above<const N: usize>(
    bits: &mut Bits<'_>,
    tables: [&Table<'_>; N],
    predictor: u8,
    above: &[u16],
    row: &mut [u16],
) {
    let mut left = [0_i32; N];
    let mut corner = [0_i32; N];
    let pixels = row.as_chunks_mut::<N>().0.iter_mut().zip(above.as_chunks::<N>().0);
    for (x, (pixel, above)) in pixels.enumerate() {
        for i in 0..N {
            let (a, b, c) = (left[i], i32::from(above[i]), corner[i]);
            let guess = match predictor {
                _ if x == 0 => b,
                2 => b,
                3 => c,
                4 => a + b - c,
                5 => a + ((b - c) >> 1),
                6 => b + ((a - c) >> 1),
                _ => (a + b) >> 1,
            };
            pixel[i] = (guess as u16).wrapping_add(bits.difference(tables[i]));
            (left[i], corner[i]) = (i32::from(pixel[i]), b);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ljpeg::markers;

    /// Writes a stream: every difference as the code word of its length (nine bits for all 16 lengths) and its bits.
    fn encode(rows: &[Vec<u16>], components: usize, predictor: u8, precision: u8) -> Vec<u8> {
        let width = rows[0].len() / components;
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xc4, 0, 35, 0];
        bytes.extend([0, 0, 0, 0, 0, 0, 0, 0, 16, 0, 0, 0, 0, 0, 0, 0]);
        bytes.extend(0..16);
        bytes.extend([0xff, 0xc3, 0, 8 + 3 * components as u8, precision]);
        bytes.extend((rows.len() as u16).to_be_bytes());
        bytes.extend((width as u16).to_be_bytes());
        bytes.push(components as u8);
        (0..components as u8).for_each(|i| bytes.extend([i, 0x11, 0]));
        bytes.extend([0xff, 0xda, 0, 6 + 2 * components as u8, components as u8]);
        (0..components as u8).for_each(|i| bytes.extend([i, 0]));
        bytes.extend([predictor, 0, 0]);
        let (mut pool, mut held) = (0_u64, 0);
        let mut put = |value: u64, bits: u32, bytes: &mut Vec<u8>| {
            pool = pool << bits | value;
            held += bits;
            while held >= 8 {
                held -= 8;
                let byte = (pool >> held) as u8;
                bytes.push(byte);
                if byte == 0xff {
                    bytes.push(0);
                }
            }
        };
        for (y, row) in rows.iter().enumerate() {
            for (x, &v) in row.iter().enumerate() {
                let at = |x: usize, y: usize| i32::from(rows[y][x]);
                let guess = match (y, x < components) {
                    (0, true) => 1 << (precision - 1),
                    (0, false) => at(x - components, 0),
                    (_, true) => at(x, y - 1),
                    _ => {
                        let (a, b, c) = (at(x - components, y), at(x, y - 1), at(x - components, y - 1));
                        [0, a, b, c, a + b - c, a + ((b - c) >> 1), b + ((a - c) >> 1), (a + b) >> 1]
                            [usize::from(predictor)]
                    }
                };
                let difference = i32::from(v.wrapping_sub(guess as u16) as i16);
                let length = 32 - difference.unsigned_abs().leading_zeros();
                put(u64::from(length), 9, &mut bytes);
                let stored = if difference < 0 { difference - 1 } else { difference };
                put(stored as u64 & ((1 << length) - 1), length, &mut bytes);
            }
        }
        put(0x7f, 7, &mut bytes);
        bytes.extend([0xff, 0xd9]);
        bytes
    }

    fn rows(width: usize, height: usize, precision: u8) -> Vec<Vec<u16>> {
        let mut state = 7_u64;
        let mut dice = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as usize
        };
        let top = (1_usize << precision) - 1;
        let value = |x: usize, dice: &mut dyn FnMut() -> usize| match dice() % 9 {
            0 => dice() % (top / 2 + 1),
            1 => top / 2,
            _ => (top / 4 + x * 3 + dice() % 40).min(top),
        };
        (0..height).map(|_| (0..width).map(|x| value(x, &mut dice) as u16).collect()).collect()
    }

    /// Source of the predictors: ITU-T T.81, table H.1; the writer above is independent of the reader.
    #[test]
    fn every_predictor_and_number_of_components() {
        for components in 1..=4 {
            for predictor in 1..=7 {
                let truth = rows(12 * components * 11, 9, 14);
                let bytes = encode(&truth, components, predictor, 14);
                let stream = markers(&bytes).unwrap();
                assert!(decodable(&stream));
                let mut found = Vec::new();
                let outcome = decode(&bytes, &stream, |y, row| {
                    assert_eq!(y, found.len());
                    found.push(row.to_vec());
                });
                assert_eq!(outcome, Ok(()));
                assert!(found == truth, "{components} components, predictor {predictor}");
            }
        }
    }

    #[test]
    fn cut_and_senseless_streams_end_in_a_broken_row() {
        let truth = rows(3000, 60, 14);
        let whole = encode(&truth, 2, 1, 14);
        let stream = markers(&whole).unwrap();
        for length in [stream.data(), stream.data() + 1, whole.len() / 3, whole.len() / 2, whole.len() - 40] {
            let mut rows = 0;
            let outcome = decode(&whole[..length], &stream, |_, _| rows += 1);
            assert_eq!(outcome, Err(BrokenRow(rows)));
            assert!(rows < 60 && rows * whole.len() <= 61 * length, "{rows} rows of {length} bytes");
        }
        let mut ones = whole.clone();
        let at = stream.data() + 5000;
        ones[at..at + 200].copy_from_slice(&[0xff, 0].repeat(100));
        assert!(decode(&ones, &stream, |_, _| ()).is_err(), "nine ones are no code word");
    }
}
