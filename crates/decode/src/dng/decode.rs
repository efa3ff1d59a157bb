//! Samples of a DNG.

use rawler::bits::Endian;
use rawler::decoders::{RawImageData, plain_image_from_ifd};
use rawler::formats::tiff::{Entry, IFD, Value};
use rawler::rawsource::RawSource;

use super::DngRaw;
use crate::content::Content;
use crate::error::one_line;
use crate::ljpeg::markers;
use crate::panics::guarded;
use crate::streams::{self, Checked};
use crate::{DecodeError, lossless, unpack};

/// Decodes the raw image into samples as stored (linearised where the file has a table).
///
/// # Errors
/// Compressions no reader knows, a reader's own failure, strips shorter than their samples.
pub(crate) fn decode(raw: &DngRaw, content: &mut Content) -> Result<(Vec<u16>, Checked), DecodeError> {
    let mut checked =
        if matches!(raw.compression, 7 | 34_892) { check_streams(raw, content)? } else { Checked::default() };
    let mut samples = match raw.compression {
        1 if raw.interleave == (1, 1) => unpack::unpack(raw, content)?,
        7 => match lossless(raw, content) {
            Some((samples, missing)) => {
                checked.missing = checked.missing.or(missing);
                samples
            }
            None => by_rawler(raw, content)?,
        },
        1 | 34_892 | 52_546 => by_rawler(raw, content)?,
        other => return Err(DecodeError::Unsupported(format!("DNG compression {other}{}", compression_name(other)))),
    };
    if samples.len() != raw.width * raw.height * raw.samples_per_pixel {
        return Err(DecodeError::Decoder(format!(
            "{} samples came out of {} x {}",
            samples.len(),
            raw.width,
            raw.height
        )));
    }
    if let Some(table) = &raw.linearization {
        checked.largest_code = None;
        linearise(&mut samples, table);
    }
    Ok((samples, checked))
}

/// Each strip or tile has to hold the samples of its rows; a tile at the lower edge is stored whole (TIFF 6.0, section 15).
fn check_streams(raw: &DngRaw, bytes: &[u8]) -> Result<Checked, DecodeError> {
    let across = raw.width.div_ceil(raw.chunk_width);
    streams::check(bytes, &raw.chunks, |i| {
        let rows = raw.chunk_height.min(raw.height - i / across * raw.chunk_height);
        let samples = |rows: usize| (rows * raw.chunk_width * raw.samples_per_pixel) as u64;
        Some((samples(rows), samples(raw.chunk_height)))
    })
}

/// Samples of lossless JPEG streams that hold the rows of their strip or tile as they are, with what is missing of them.
/// `None` where one of the streams is for the reader.
fn lossless(raw: &DngRaw, bytes: &[u8]) -> Option<(Vec<u16>, Option<String>)> {
    if raw.interleave != (1, 1) {
        return None;
    }
    let chunk_samples = raw.chunk_width * raw.samples_per_pixel;
    let row_samples = raw.width * raw.samples_per_pixel;
    let across = raw.width.div_ceil(raw.chunk_width);
    let mut samples = vec![0_u16; row_samples * raw.height];
    let mut missing = None;
    for (i, &(offset, length)) in raw.chunks.iter().enumerate() {
        let stream = bytes.get(offset..offset.checked_add(length)?)?;
        let head = markers(stream).filter(lossless::decodable)?;
        let (top, left) = (i / across * raw.chunk_height, i % across * chunk_samples);
        let rows = raw.chunk_height.min(raw.height.checked_sub(top)?);
        let wide = chunk_samples.min(row_samples - left);
        if head.width * head.components != chunk_samples || head.height < rows {
            return None;
        }
        let outcome = lossless::decode(stream, &head, |y, row| {
            if y < rows {
                let start = (top + y) * row_samples + left;
                samples[start..start + wide].copy_from_slice(&row[..wide]);
            }
        });
        if let Err(row) = outcome {
            missing.get_or_insert_with(|| streams::broken_row(row, head.height));
        }
    }
    Some((samples, missing))
}

fn compression_name(number: u32) -> &'static str {
    match number {
        8 => " (deflate)",
        9 => " (VC-5 wavelet)",
        _ => "",
    }
}

/// Applies a LinearizationTable exactly; a sample beyond its end takes the last entry (DNG 1.7.1, LinearizationTable).
fn linearise(samples: &mut [u16], table: &[u16]) {
    let last = table.last().copied().unwrap_or(0);
    let mut full = vec![last; 65_536];
    let known = table.len().min(full.len());
    full[..known].copy_from_slice(&table[..known]);
    for sample in samples {
        *sample = full[usize::from(*sample)];
    }
}

/// Hands rawler a directory of checked values only.
fn by_rawler(raw: &DngRaw, content: &mut Content) -> Result<Vec<u16>, DecodeError> {
    let mut ifd = IFD { endian: if raw.big { Endian::Big } else { Endian::Little }, ..IFD::default() };
    let mut put = |tag: u16, values: Vec<u32>| {
        ifd.entries.insert(tag, Entry { tag, value: Value::Long(values), embedded: None });
    };
    put(256, vec![raw.width as u32]);
    put(257, vec![raw.height as u32]);
    put(258, vec![raw.bits]);
    put(277, vec![raw.samples_per_pixel as u32]);
    let offsets = raw.chunks.iter().map(|c| c.0 as u32).collect();
    let counts = raw.chunks.iter().map(|c| c.1 as u32).collect();
    if raw.tiled {
        put(322, vec![raw.chunk_width as u32]);
        put(323, vec![raw.chunk_height as u32]);
        put(324, offsets);
        put(325, counts);
    } else {
        put(278, vec![raw.chunk_height as u32]);
        put(273, offsets);
        put(279, counts);
    }
    let mut short = |tag: u16, value: u32| {
        ifd.entries.insert(tag, Entry { tag, value: Value::Short(vec![value as u16]), embedded: None });
    };
    short(259, raw.compression);
    short(262, raw.photometric);
    short(339, 1);
    short(52_547, raw.interleave.0);
    short(52_548, raw.interleave.1);
    let source = RawSource::new_from_shared_vec(content.shared());
    let data = guarded(|| plain_image_from_ifd(&ifd, &source))
        .map_err(|panic| DecodeError::Decoder(format!("rawler stopped: {}", one_line(&panic))))?
        .map_err(|error| DecodeError::Decoder(one_line(&error.to_string())))?;
    match data {
        RawImageData::Integer(samples) => Ok(samples),
        RawImageData::Float(_) => Err(DecodeError::Unsupported("floating-point samples".into())),
    }
}
