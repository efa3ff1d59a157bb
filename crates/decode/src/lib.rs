//! A raw file becomes a [`Frame`]: the mosaic as stored, the filter array, the areas, the levels and what the
//! camera wrote about the shot.
//!
//! Nothing is demosaiced, white balanced or gamma coded here, and no level is subtracted.

mod arw;
mod backend;
mod bits;
mod ciff;
mod container;
mod content;
mod dither;
mod dng;
mod error;
mod exif;
mod frame;
mod integrity;
mod levels;
mod limits;
mod ljpeg;
mod lossless;
mod names;
mod nef;
mod open;
mod panics;
mod preview;
mod shot;
mod sniff;
mod streams;
mod tiff;
mod unpack;

pub use content::Content;
pub use error::DecodeError;
pub use frame::{
    Area, BlackFrom, Colour, FilterArray, Frame, Integrity, NoiseProfile, Plane, PlaneLevels, Preview, Reader,
};
pub use levels::{common_divisor, is_cut_off};
pub use names::is_raw_name;
#[doc(hidden)]
pub use open::scan_only;
pub use open::{open, open_bytes, readers};
pub use preview::preview;
pub use shot::{Orientation, PitchFrom, Shot};
pub use sniff::begins_as_raw;
