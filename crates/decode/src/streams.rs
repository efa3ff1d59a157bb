//! Coded streams of a raw image, checked before a reader allocates by their headers, and for breaks.

use crate::DecodeError;
use crate::container::Container;
use crate::limits::check_size;
use crate::ljpeg::{Break, find_break, markers};
use crate::lossless::{BrokenRow, decodable, decode};
use crate::tiff::Tiff;

/// What the streams say.
#[derive(Debug, Default)]
pub(crate) struct Checked {
    /// What is missing, in one line.
    pub(crate) missing: Option<String>,
    /// The largest value that lossless streams can hold.
    pub(crate) largest_code: Option<u16>,
}

/// Checks the JPEG streams (offset, length) of an image. `belong` gives the least and the most samples
/// that each holds, where another place in the file says so.
/// Lossless streams are followed to their end marker: what is missing is the answer.
///
/// # Errors
/// Streams that are no JPEG, or whose headers ask for more or less than the image holds.
pub(crate) fn check(
    bytes: &[u8],
    chunks: &[(usize, usize)],
    belong: impl Fn(usize) -> Option<(u64, u64)>,
) -> Result<Checked, DecodeError> {
    let mut missing = None;
    let mut precision = 0;
    for (i, &(offset, length)) in chunks.iter().enumerate() {
        let corrupt = |what: String| DecodeError::Corrupt { offset: offset as u64, what };
        let stream = bytes.get(offset..offset.saturating_add(length)).unwrap_or_default();
        let head = markers(stream).ok_or_else(|| corrupt(format!("no JPEG stream where part {i} should be")))?;
        check_size(head.width as u64, head.height as u64, head.components as u64)?;
        precision = precision.max(if head.lossless_mosaic() { head.precision } else { 16 });
        let (least, most) = belong(i).unwrap_or((head.samples(), head.samples()));
        if head.samples() < least || head.samples() > most.saturating_mul(4).max(1 << 16) {
            return Err(corrupt(format!("a stream of {} samples where {least} belong", head.samples())));
        }
        // A code word has one bit at least.
        if head.frame == 0xc3 && head.samples() > 8 * length as u64 {
            return Err(corrupt(format!("{} samples cannot come from {length} bytes", head.samples())));
        }
        if missing.is_none() {
            missing = find_break(stream, &head).map(|found| {
                let part = if chunks.len() > 1 { format!("part {i} of {}: ", chunks.len()) } else { String::new() };
                match found {
                    Break::NoEnd => format!("{part}the coded sensor data stop before their end"),
                    Break::Stray(at) => format!("{part}the coded sensor data are broken at byte {}", offset + at),
                    Break::Content => {
                        format!("{part}the coded sensor data do not come out even: a part is overwritten")
                    }
                }
            });
        }
    }
    let largest_code = (1..16).contains(&precision).then(|| (1 << precision) - 1);
    Ok(Checked { missing, largest_code })
}

/// The stream of a CR2 with what it takes to put its samples into rows.
#[derive(Debug)]
pub(crate) struct Cr2 {
    pub(crate) checked: Checked,
    /// Offset and length of the stream.
    place: (usize, usize),
    /// The stream holds the frame in upright slices, one below the other: how many of the first width, that width, and
    /// the last one's (tag 50752; common practice, no source). `None` where it holds rows.
    slices: Option<[usize; 3]>,
}

/// The lossless JPEG stream of a CR2: in the directory with Canon's own slice tags (50648, 50752). `None` for other
/// files.
///
/// # Errors
/// See [`check`].
pub(crate) fn check_cr2(bytes: &[u8], container: &Container) -> Result<Option<Cr2>, DecodeError> {
    let Some((tiff, ..)) = Tiff::new(bytes) else { return Ok(None) };
    let Some(ifd) = container.ifds.iter().find(|i| i.get(50_648).is_some() || i.get(50_752).is_some()) else {
        return Ok(None);
    };
    let (Some(offset), Some(length)) = (tiff.first(ifd, 273), tiff.first(ifd, 279)) else { return Ok(None) };
    let place = (offset as usize, length as usize);
    let checked = check(bytes, &[place], |_| None)?;
    let slices = ifd.get(50_752).and_then(|entry| tiff.uints(entry, 3));
    let slices = slices.and_then(|s| Some([*s.first()? as usize, *s.get(1)? as usize, *s.get(2)? as usize]));
    Ok(Some(Cr2 { checked, place, slices: slices.filter(|s| s[0] > 0) }))
}

/// Samples decoded here, row by row.
#[derive(Debug)]
pub(crate) struct Rows {
    pub(crate) samples: Vec<u16>,
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// What could not be decoded, in one line.
    pub(crate) missing: Option<String>,
}

impl Cr2 {
    /// Decodes the stream. `None` where it is for the reader.
    pub(crate) fn decode(&self, bytes: &[u8]) -> Option<Rows> {
        let stream = bytes.get(self.place.0..self.place.0.checked_add(self.place.1)?)?;
        let head = markers(stream).filter(decodable)?;
        let row = head.width * head.components;
        let total = row * head.height;
        let [count, first, last] = self.slices.unwrap_or([0, 0, row]);
        let width = count.checked_mul(first)?.checked_add(last)?;
        if width == 0 || last == 0 || (count > 0 && first == 0) || !total.is_multiple_of(width) {
            return None;
        }
        let height = total / width;
        let mut samples = vec![0_u16; total];
        let outcome = decode(stream, &head, |y, decoded| {
            // Place in the stream, cut where a row of a slice ends.
            let (mut at, mut rest) = (y * row, decoded);
            while !rest.is_empty() {
                let slice = (at / (height * first.max(1))).min(count);
                let wide = if slice < count { first } else { last };
                let within = at - slice * first * height;
                let (slice_row, column) = (within / wide, within % wide);
                let n = (wide - column).min(rest.len());
                let to = slice_row * width + slice * first + column;
                if let Some(to) = samples.get_mut(to..to + n) {
                    to.copy_from_slice(&rest[..n]);
                }
                (at, rest) = (at + n, &rest[n..]);
            }
        });
        let missing = outcome.err().map(|row| broken_row(row, head.height));
        Some(Rows { samples, width, height, missing })
    }
}

/// A row that could not be decoded, in words.
pub(crate) fn broken_row(BrokenRow(row): BrokenRow, rows: usize) -> String {
    format!("the coded sensor data are broken in row {row} of {rows}; what follows is missing")
}
