//! Whether the library readers dither the samples: both do so where a file's code passes a curve, so that the noise of such
//! frames is partly the reader's own.
//!
//! Compression numbers are common practice, no source.

use crate::container::{Container, Kind};
use crate::tiff::Tiff;

/// The curve that was dithered, in words; `None` where there is none.
pub(crate) fn curve(container: &Container, bytes: &[u8]) -> Option<&'static str> {
    if container.kind == Kind::Other {
        return bytes.starts_with(b"qk").then_some("a fixed ten-bit curve");
    }
    if container.kind != Kind::Tiff {
        return None;
    }
    let (tiff, ..) = Tiff::new(bytes)?;
    let main = container.ifds.first()?;
    let make = tiff.bytes(main.get(271)?)?;
    let has = |tag: u16, value: u64| container.ifds.iter().any(|i| tiff.first(i, tag) == Some(value));
    if make.starts_with(b"SONY") {
        let lossy = container.ifds.iter().any(|i| {
            matches!(tiff.first(i, 259), Some(32_766))
                || (tiff.first(i, 259) == Some(32_767) && tiff.first(i, 258) == Some(8))
        });
        return lossy.then_some("the camera's lossy compression");
    }
    if make.to_ascii_lowercase().starts_with(b"nikon") && has(259, 34_713) {
        // Codings without a curve too: they pass one that has no gaps.
        return Some("the camera's compression");
    }
    if make.to_ascii_lowercase().starts_with(b"kodak") {
        return Some("the camera's compression curve");
    }
    None
}
