//! DNG: its tags are read here, within bounds; uncompressed samples are unpacked here, compressed ones by rawler from
//! a directory built from the checked tags (so that no count of the file reaches it unchecked, and no
//! LinearizationTable: that one is applied here, exactly and without dither).
//!
//! Source: DNG Specification 1.7.1 (Adobe 2023).

mod decode;
mod levels;
mod tags;

pub(crate) use decode::decode;
pub(crate) use tags::{DNG_VERSION, DngRaw, find_raw, is_dng};
