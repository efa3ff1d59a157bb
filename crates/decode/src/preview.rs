//! The embedded preview: a JPEG picture as it stands in the file.

use crate::container::boxes;
use crate::frame::Preview;
use crate::panics::guarded;
use crate::tiff::Tiff;

/// A long side that is enough to look at, pixels. The smallest preview that has it is taken, else the largest.
const ENOUGH_PX: usize = 1500;
/// Longest preview taken, bytes.
const LONGEST: usize = 64 << 20;
/// Most places looked at.
const MOST: usize = 64;

/// The embedded JPEG that serves best to look at the frame: the smallest with a long side of 1500 pixels or more, else
/// the largest. Checked to be a complete JPEG with a picture header; `None` where the file has none.
#[must_use]
pub fn preview(bytes: &[u8]) -> Option<Preview> {
    guarded(|| {
        let mut found: Vec<(usize, &[u8])> =
            candidates(bytes).into_iter().filter_map(|jpeg| picture(jpeg).map(|(w, h)| (w.max(h), jpeg))).collect();
        found.sort_by_key(|(side, _)| *side);
        let chosen = found.iter().find(|(side, _)| *side >= ENOUGH_PX).or(found.last())?;
        Some(Preview { jpeg: chosen.1.to_vec() })
    })
    .ok()
    .flatten()
}

/// Places where the container says a JPEG is; where it says none, places that look like one.
fn candidates(bytes: &[u8]) -> Vec<&[u8]> {
    let be = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize);
    let part = |offset: usize, length: usize| bytes.get(offset..offset.checked_add(length.min(LONGEST))?);
    let mut places: Vec<&[u8]> = Vec::new();
    if bytes.starts_with(b"FUJIFILMCCD-RAW") {
        places.extend(be(84).zip(be(88)).and_then(|(o, l)| part(o, l)));
    } else if bytes.get(4..8) == Some(b"ftyp") {
        places.extend(cr3(bytes));
    } else if let Some((tiff, first, _)) = Tiff::new(bytes) {
        for ifd in tiff.ifds(first).unwrap_or_default() {
            for (offset, length) in [(513, 514), (273, 279), (324, 325)] {
                // A preview is one strip; a tiled or striped image is none.
                let one = ifd.get(offset).is_some_and(|e| e.count == 1);
                if let (true, Some(o), Some(l)) = (one, tiff.first(&ifd, offset), tiff.first(&ifd, length)) {
                    places.extend(part(o as usize, l as usize));
                }
            }
            // Panasonic's JpgFromRaw holds the JPEG itself.
            places.extend(ifd.get(46).filter(|e| e.kind == 7).and_then(|e| tiff.bytes(e)));
        }
    }
    if places.iter().all(|p| picture(p).is_none()) {
        places = marked(bytes);
    }
    places.truncate(MOST);
    places
}

/// CR3: the full-size JPEG is the first track's, the middle one sits in a box PRVW, the small one in THMB.
fn cr3(bytes: &[u8]) -> Vec<&[u8]> {
    let mut places = Vec::new();
    for (name, body) in boxes(bytes) {
        if &name == b"uuid"
            && let Some(start) = find(body, &[0xff, 0xd8, 0xff], 0)
        {
            places.push(&body[start..]);
        }
        if &name == b"mdat" && body.starts_with(&[0xff, 0xd8, 0xff]) {
            places.push(&body[..body.len().min(LONGEST)]);
        }
    }
    places
}

/// Anything that starts like a JPEG (start of image, then a segment that a picture starts with).
fn marked(bytes: &[u8]) -> Vec<&[u8]> {
    let mut places = Vec::new();
    let mut at = 0;
    while let Some(start) = find(bytes, &[0xff, 0xd8, 0xff], at) {
        if matches!(bytes.get(start + 3), Some(0xdb | 0xe0..=0xef | 0xc4 | 0xc0)) {
            places.push(&bytes[start..bytes.len().min(start + LONGEST)]);
        }
        at = start + 3;
        if places.len() >= MOST {
            break;
        }
    }
    places
}

fn find(bytes: &[u8], wanted: &[u8], from: usize) -> Option<usize> {
    bytes.get(from..)?.windows(wanted.len()).position(|w| w == wanted).map(|p| p + from)
}

/// Columns and rows of a complete baseline or progressive JPEG; `None` for anything else (lossless raw data too).
fn picture(jpeg: &[u8]) -> Option<(usize, usize)> {
    let be = |at: usize| Some(usize::from(u16::from_be_bytes(jpeg.get(at..at + 2)?.try_into().ok()?)));
    if !jpeg.starts_with(&[0xff, 0xd8, 0xff]) {
        return None;
    }
    let (mut at, mut size) = (2, None);
    loop {
        while jpeg.get(at) == Some(&0xff) && jpeg.get(at + 1) == Some(&0xff) {
            at += 1;
        }
        let (fill, marker) = (*jpeg.get(at)?, *jpeg.get(at + 1)?);
        if fill != 0xff {
            return None;
        }
        let length = be(at + 2)?;
        match marker {
            0xc0..=0xc2 => {
                if jpeg.get(at + 4) != Some(&8) {
                    return None;
                }
                size = Some((be(at + 7)?, be(at + 5)?)).filter(|&(w, h)| w > 0 && h > 0);
            }
            0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf => return None,
            0xda => break,
            _ => {}
        }
        at += 2 + length;
    }
    // Complete: the end marker stands somewhere behind the scan.
    jpeg.get(at..)?.windows(2).rev().any(|w| w == [0xff, 0xd9]).then_some(size).flatten()
}
