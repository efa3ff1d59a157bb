//! What the tags of the raw image's directory say.

use crate::limits::{MAX_CHUNKS, check_size};
use crate::tiff::{Ifd, Tiff};
use crate::{Area, DecodeError, FilterArray, NoiseProfile};

/// DNGVersion.
pub(crate) const DNG_VERSION: u16 = 50_706;
/// CFALayout.
const CFA_LAYOUT: u16 = 50_711;

/// The raw image of a DNG, checked: sizes are within limits and every strip or tile lies inside the file.
#[derive(Debug)]
pub(crate) struct DngRaw {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) samples_per_pixel: usize,
    pub(crate) bits: u32,
    pub(crate) compression: u32,
    pub(crate) photometric: u32,
    pub(crate) big: bool,
    /// Strips or tiles in reading order: offset and length.
    pub(crate) chunks: Vec<(usize, usize)>,
    /// Size of one strip or tile in pixels.
    pub(crate) chunk_width: usize,
    pub(crate) chunk_height: usize,
    pub(crate) tiled: bool,
    /// RowInterleaveFactor and ColumnInterleaveFactor.
    pub(crate) interleave: (u32, u32),
    pub(crate) filter: FilterArray,
    pub(crate) active: Area,
    pub(crate) masked: Vec<Area>,
    /// Absent where the file has none.
    pub(crate) linearization: Option<Vec<u16>>,
    pub(crate) noise_profile: Vec<NoiseProfile>,
    /// BlackLevelRepeatDim: rows, columns.
    pub(crate) black_repeat: (usize, usize),
    pub(crate) black: Vec<f64>,
    pub(crate) black_delta_h: Vec<f64>,
    pub(crate) black_delta_v: Vec<f64>,
    pub(crate) white: Vec<f64>,
    pub(crate) notes: Vec<String>,
}

/// True where the first directory says that this is a DNG.
pub(crate) fn is_dng(ifds: &[Ifd]) -> bool {
    ifds.first().is_some_and(|ifd| ifd.get(DNG_VERSION).is_some())
}

/// The directory of the full-size raw image: NewSubfileType 0, filter array or linear.
fn raw_ifd<'i>(tiff: &Tiff<'_>, ifds: &'i [Ifd]) -> Option<&'i Ifd> {
    let candidate = |ifd: &&Ifd| {
        ifd.via != 34_665
            && tiff.first(ifd, 254).unwrap_or(0) == 0
            && (ifd.get(273).is_some() || ifd.get(324).is_some())
            && ifd.get(256).is_some()
    };
    let raw_like = |ifd: &&Ifd| matches!(tiff.first(ifd, 262), Some(32_803 | 34_892));
    ifds.iter().filter(candidate).find(raw_like).or_else(|| ifds.iter().find(candidate))
}

/// Reads and checks the tags of the raw image.
///
/// # Errors
/// Missing or contradicting tags, sizes beyond the limits, strips or tiles outside the file.
pub(crate) fn find_raw(tiff: &Tiff<'_>, ifds: &[Ifd]) -> Result<DngRaw, DecodeError> {
    let first = ifds.first().map_or(0, |i| i.offset as u64);
    let corrupt = |offset: u64, what: &str| DecodeError::Corrupt { offset, what: what.into() };
    let ifd = raw_ifd(tiff, ifds).ok_or_else(|| corrupt(first, "no directory describes a raw image"))?;
    let at = ifd.offset as u64;
    let need = |tag: u16, name: &str| {
        tiff.first(ifd, tag).ok_or_else(|| corrupt(at, &format!("tag {name} is missing or lies outside the file")))
    };
    let width = need(256, "ImageWidth")?;
    let height = need(257, "ImageLength")?;
    let spp = tiff.first(ifd, 277).unwrap_or(1);
    check_size(width, height, spp)?;
    let (width, height) = (width as usize, height as usize);
    let bits = tiff.first(ifd, 258).unwrap_or(1) as u32;
    let compression = tiff.first(ifd, 259).unwrap_or(1) as u32;
    let photometric = tiff.first(ifd, 262).unwrap_or(1) as u32;
    let sample_format = tiff.first(ifd, 339).unwrap_or(1);
    if sample_format != 1 {
        return Err(DecodeError::Unsupported(
            "its samples are floating point: a merged or processed picture, not what the sensor delivered".into(),
        ));
    }
    if !(8..=16).contains(&bits) {
        return Err(DecodeError::Unsupported(format!("{bits} bits per sample")));
    }
    if spp != 1 && spp != 3 {
        return Err(DecodeError::Unsupported(format!("{spp} samples per pixel")));
    }
    if spp > 1 && tiff.first(ifd, 284).unwrap_or(1) != 1 {
        return Err(DecodeError::Unsupported("colour planes stored one after the other".into()));
    }

    let tiled = ifd.get(324).is_some();
    let (offsets_tag, counts_tag) = if tiled { (324, 325) } else { (273, 279) };
    let list = |tag: u16, name: &str| {
        let entry = ifd.get(tag).ok_or_else(|| corrupt(at, &format!("tag {name} is missing")))?;
        tiff.uints(entry, MAX_CHUNKS).ok_or_else(|| DecodeError::Truncated {
            what: format!("the list {name}"),
            needed: entry.at as u64 + 4 * u64::from(entry.count),
            length: tiff.data.len() as u64,
        })
    };
    let offsets = list(offsets_tag, "of strip or tile offsets")?;
    let counts = list(counts_tag, "of strip or tile lengths")?;
    let (chunk_width, chunk_height) = if tiled {
        (need(322, "TileWidth")? as usize, need(323, "TileLength")? as usize)
    } else {
        (width, (tiff.first(ifd, 278).unwrap_or(height as u64) as usize).clamp(1, height))
    };
    // Tiles may stick out of the frame, but not by more than a tile.
    if chunk_width == 0 || chunk_height == 0 || chunk_width > width + 65_535 || chunk_height > height + 65_535 {
        return Err(corrupt(at, "the tile size is impossible"));
    }
    check_size(
        (width.div_ceil(chunk_width) * chunk_width) as u64,
        (height.div_ceil(chunk_height) * chunk_height) as u64,
        spp,
    )?;
    let expected = width.div_ceil(chunk_width) * height.div_ceil(chunk_height);
    if offsets.len() != expected || counts.len() != expected {
        return Err(corrupt(
            at,
            &format!("{} strips or tiles listed, {expected} needed", offsets.len().min(counts.len())),
        ));
    }
    let length = tiff.data.len() as u64;
    let mut chunks = Vec::with_capacity(expected);
    for (i, (&offset, &count)) in offsets.iter().zip(&counts).enumerate() {
        let end = offset.saturating_add(count);
        if end > length {
            let what = format!("{} {i} of {expected}", if tiled { "tile" } else { "strip" });
            return Err(DecodeError::Truncated { what, needed: end, length });
        }
        chunks.push((offset as usize, count as usize));
    }

    let mut notes = Vec::new();
    let full = Area::new(0, 0, width, height);
    let active = area_tag(tiff, ifd, 50_829).and_then(|a| a.first().copied());
    let active = match active {
        Some(a) if !a.is_empty() && a.right() <= width && a.bottom() <= height => a,
        Some(_) => {
            notes.push("ActiveArea lies outside the frame and was ignored".into());
            full
        }
        None => full,
    };
    let masked = area_tag(tiff, ifd, 50_830).unwrap_or_default();
    let masked = masked.into_iter().map(|m| m.intersect(&full)).filter(|m| !m.is_empty()).take(16).collect();
    let filter = filter_array(tiff, ifd, photometric, spp, &active)?;

    let floats = |tag: u16, most: usize| ifd.get(tag).and_then(|e| tiff.floats(e, most)).unwrap_or_default();
    let repeat = floats(50_713, 2);
    let black_repeat = match repeat.as_slice() {
        [rows, columns] if (1.0..=64.0).contains(rows) && (1.0..=64.0).contains(columns) => {
            (*rows as usize, *columns as usize)
        }
        _ => (1, 1),
    };
    let linearization = match ifd.get(50_712) {
        None => None,
        Some(entry) => {
            let table = tiff.uints(entry, 65_536).ok_or_else(|| DecodeError::Truncated {
                what: "the LinearizationTable".into(),
                needed: entry.at as u64 + 2 * u64::from(entry.count),
                length,
            })?;
            (!table.is_empty()).then(|| table.iter().map(|&v| v.min(65_535) as u16).collect())
        }
    };
    let profile = floats(51_041, 32);
    let profile = profile.chunks_exact(2).map(|p| NoiseProfile { scale: p[0], offset: p[1] });
    let noise_profile: Vec<_> = profile.filter(|p| p.scale.is_finite() && p.offset.is_finite()).collect();
    Ok(DngRaw {
        width,
        height,
        samples_per_pixel: spp as usize,
        bits,
        compression,
        photometric,
        big: tiff.big,
        chunks,
        chunk_width,
        chunk_height,
        tiled,
        interleave: (tiff.first(ifd, 52_547).unwrap_or(1) as u32, tiff.first(ifd, 52_548).unwrap_or(1) as u32),
        filter,
        black_delta_h: floats(50_715, active.width),
        black_delta_v: floats(50_716, active.height),
        black: floats(50_714, 64 * 64 * 4),
        white: floats(50_717, 4),
        active,
        masked,
        linearization,
        noise_profile,
        black_repeat,
        notes,
    })
}

/// Rectangles as DNG writes them: top, left, bottom, right.
fn area_tag(tiff: &Tiff<'_>, ifd: &Ifd, tag: u16) -> Option<Vec<Area>> {
    let values = tiff.uints(ifd.get(tag)?, 256)?;
    let area = |v: &[u64]| {
        let (top, left, bottom, right) = (v[0] as usize, v[1] as usize, v[2] as usize, v[3] as usize);
        Area::new(left, top, right.saturating_sub(left), bottom.saturating_sub(top))
    };
    Some(values.chunks_exact(4).map(area).collect())
}

/// The filter array with the phase of the full stored frame. CFAPattern counts from the corner of the ActiveArea.
fn filter_array(
    tiff: &Tiff<'_>,
    ifd: &Ifd,
    photometric: u32,
    spp: u64,
    active: &Area,
) -> Result<FilterArray, DecodeError> {
    if spp == 3 {
        return Ok(FilterArray::linear_rgb());
    }
    if photometric != 32_803 {
        return Ok(FilterArray::monochrome());
    }
    let corrupt = |what: &str| DecodeError::Corrupt { offset: ifd.offset as u64, what: what.into() };
    let list = |tag: u16, most: usize| ifd.get(tag).and_then(|e| tiff.uints(e, most));
    let dim = list(33_421, 2).unwrap_or_else(|| vec![2, 2]);
    // 1: rectangular, and what stands where the tag does not.
    if let Some(layout) = tiff.first(ifd, CFA_LAYOUT).filter(|&layout| layout != 1) {
        return Err(DecodeError::Unsupported(format!("CFALayout {layout}: its rows or columns are staggered")));
    }
    let pattern = list(33_422, 64).ok_or_else(|| corrupt("the filter array (CFAPattern) is missing"))?;
    let [rows, columns] = dim[..] else { return Err(corrupt("CFARepeatPatternDim does not hold two numbers")) };
    let (rows, columns) = (rows as usize, columns as usize);
    if rows == 0 || columns == 0 || rows > 8 || columns > 8 || rows * columns != pattern.len() {
        return Err(DecodeError::Unsupported(format!("a filter array of {rows} x {columns}")));
    }
    let mut letters = String::with_capacity(pattern.len());
    for y in 0..rows {
        for x in 0..columns {
            // Cell (x, y) of the full frame is cell (x - left, y - top) of the pattern.
            let column = (x + columns - active.x % columns) % columns;
            let row = (y + rows - active.y % rows) % rows;
            letters.push(match pattern[row * columns + column] {
                0 => 'R',
                1 => 'G',
                2 => 'B',
                3 => 'C',
                4 => 'M',
                5 => 'Y',
                6 => 'W',
                _ => return Err(DecodeError::Unsupported("a filter array with unknown colours".into())),
            });
        }
    }
    FilterArray::mosaic(columns, rows, &letters).ok_or_else(|| corrupt("the filter array is impossible"))
}
