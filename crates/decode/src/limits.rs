//! What a file may ask for at most. Counts in a file are claims; nothing is allocated from one before it is held
//! against these and against the file's length.

use crate::DecodeError;

/// Pixels of one frame. The largest single-shot sensors have 151 megapixels; this leaves room.
pub(crate) const MAX_PIXELS: u64 = 250_000_000;
/// Columns or rows of one frame.
pub(crate) const MAX_SIDE: u64 = 65_535;
/// Directories (IFDs) of one TIFF-based file.
pub(crate) const MAX_IFDS: usize = 96;
/// Entries of one directory.
pub(crate) const MAX_ENTRIES: usize = 4096;
/// Depth of directories within directories.
pub(crate) const MAX_DEPTH: usize = 5;
/// Strips or tiles of one image.
pub(crate) const MAX_CHUNKS: usize = 262_144;

/// Refuses a frame size that no camera has.
pub(crate) fn check_size(width: u64, height: u64, samples_per_pixel: u64) -> Result<(), DecodeError> {
    if width == 0 || height == 0 {
        return Err(DecodeError::Corrupt { offset: 0, what: format!("a frame of {width} x {height} pixels") });
    }
    let pixels = width.saturating_mul(height).saturating_mul(samples_per_pixel.max(1));
    if width > MAX_SIDE || height > MAX_SIDE || pixels > MAX_PIXELS * samples_per_pixel.clamp(1, 3) {
        return Err(DecodeError::LimitExceeded {
            what: format!("{width} x {height} pixels"),
            limit: format!("{} megapixels", MAX_PIXELS / 1_000_000),
        });
    }
    Ok(())
}
