//! What the camera wrote about the shot: read by kamadak-exif, from a small TIFF that is put together from the checked
//! directories of whatever container the file is.

mod collect;
mod fields;
mod pitch;
mod taken;

pub(crate) use collect::read;
pub(crate) use fields::{Fields, shot};
