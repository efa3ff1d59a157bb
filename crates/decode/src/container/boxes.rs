//! CR3: boxes of an ISO base media file (ISO 14496-12).

use crate::DecodeError;
use crate::limits::check_size;

/// Boxes of one level, as far as they lie inside `bytes`: name and content.
pub(crate) fn boxes(bytes: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut at = 0_usize;
    std::iter::from_fn(move || {
        let (name, start, end) = header(bytes, at)?;
        let body = bytes.get(start..end)?;
        at = end;
        Some((name, body))
    })
}

/// Name, start of the content and end of the box at `at`; the end may lie outside.
fn header(bytes: &[u8], at: usize) -> Option<([u8; 4], usize, usize)> {
    let header = bytes.get(at..at.checked_add(8)?)?;
    let short = u32::from_be_bytes(header[..4].try_into().ok()?) as usize;
    let name: [u8; 4] = header[4..].try_into().ok()?;
    let (start, size) = match short {
        0 => (8, bytes.len() - at),
        1 => (16, usize::try_from(u64::from_be_bytes(bytes.get(at + 8..at + 16)?.try_into().ok()?)).ok()?),
        size => (8, size),
    };
    // A box shorter than its header would be found again and again.
    (size >= start).then_some((name, at + start, at.checked_add(size)?))
}

/// Every box of the top level inside the file, a movie box among them, and image sizes within the limits.
///
/// # Errors
/// What is not so.
pub(super) fn check(bytes: &[u8]) -> Result<(), DecodeError> {
    let mut at = 0;
    while at + 8 <= bytes.len() {
        let Some((name, _, end)) = header(bytes, at) else {
            return Err(DecodeError::Corrupt { offset: at as u64, what: "a box without a size".into() });
        };
        if end > bytes.len() {
            let what = format!("box \"{}\"", name.escape_ascii());
            return Err(DecodeError::Truncated { what, needed: end as u64, length: bytes.len() as u64 });
        }
        at = end;
    }
    let Some((_, moov)) = boxes(bytes).find(|(name, _)| name == b"moov") else {
        return Err(DecodeError::Corrupt { offset: 0, what: "the box that describes the pictures is missing".into() });
    };
    if !boxes(bytes).any(|(name, _)| &name == b"mdat") {
        let length = bytes.len() as u64;
        return Err(DecodeError::Truncated { what: "the box of the sensor data".into(), needed: length + 8, length });
    }
    let be = |at: usize| Some(u32::from_be_bytes(moov.get(at..at + 4)?.try_into().ok()?));
    for found in moov.windows(4).enumerate().filter(|(_, w)| *w == b"CMP1").map(|(i, _)| i) {
        // Width, height and tile size follow eight bytes of versions.
        for sizes in [12, 20] {
            if let (Some(width), Some(height)) = (be(found + sizes), be(found + sizes + 4)) {
                check_size(u64::from(width), u64::from(height), 1)?;
            }
        }
    }
    // Lists of sample sizes and offsets: a count is held against its box, before a reader allocates by it.
    for name in [b"stsz", b"co64", b"stco", b"stts", b"stsc"] {
        for found in moov.windows(4).enumerate().filter(|(_, w)| w == name).map(|(i, _)| i) {
            let count = be(found + if name == b"stsz" { 12 } else { 8 }).unwrap_or(0);
            if count as usize > moov.len() {
                return Err(DecodeError::LimitExceeded {
                    what: format!("{count} samples in a list"),
                    limit: format!("{} bytes of its box", moov.len()),
                });
            }
        }
    }
    Ok(())
}

/// CMT1 (main directory) and CMT2 (Exif directory): boxes in moov / uuid 85c0b687...
pub(crate) fn metadata(bytes: &[u8]) -> Option<(&[u8], Option<&[u8]>)> {
    const CANON: [u8; 16] =
        [0x85, 0xc0, 0xb6, 0x87, 0x82, 0x0f, 0x11, 0xe0, 0x81, 0x11, 0xf4, 0xce, 0x46, 0x2b, 0x6a, 0x48];
    let moov = boxes(bytes).find(|(name, _)| name == b"moov")?.1;
    let canon = boxes(moov).find(|(name, body)| name == b"uuid" && body.starts_with(&CANON))?.1.get(16..)?;
    let block = |wanted: &[u8; 4]| boxes(canon).find(|(name, _)| name == wanted).map(|(_, body)| body);
    Some((block(b"CMT1")?, block(b"CMT2")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn make(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = (8 + body.len() as u32).to_be_bytes().to_vec();
        bytes.extend_from_slice(name);
        bytes.extend_from_slice(body);
        bytes
    }

    fn cr3(width: u32, height: u32) -> Vec<u8> {
        let mut cmp1 = vec![0xff, 0xff, 0, 0x30, 1, 0, 0, 0];
        for v in [width, height, width, height] {
            cmp1.extend(v.to_be_bytes());
        }
        let mut bytes = make(b"ftyp", b"crx \0\0\0\x01crx isom");
        bytes.extend(make(b"moov", &make(b"CMP1", &cmp1)));
        bytes.extend(make(b"mdat", &[7; 500]));
        bytes
    }

    #[test]
    fn sizes_and_ends_of_boxes() {
        let whole = cr3(6000, 4000);
        assert!(check(&whole).is_ok());
        assert!(matches!(check(&cr3(60_000, 60_000)), Err(DecodeError::LimitExceeded { .. })));
        assert!(matches!(check(&whole[..whole.len() - 1]), Err(DecodeError::Truncated { .. })));
        let mut loops = whole.clone();
        loops[..4].copy_from_slice(&[0, 0, 0, 2]);
        assert!(matches!(check(&loops), Err(DecodeError::Corrupt { .. })));
        for end in 0..whole.len() {
            assert!(check(&whole[..end]).is_err(), "{end}");
        }
    }
}
