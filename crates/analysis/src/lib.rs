//! A [`Frame`](rawassay_decode::Frame) becomes [`Measures`]; measures and a brief become a [`Judgement`]; many
//! records become series and sets.
//!
//! One direction: a measure knows nothing of briefs, a judgement reads no pixels.

pub mod bench;
pub mod brief;
mod copies;
pub mod crop;
pub mod enlarge;
pub mod explain;
pub mod judge;
mod lift;
mod linear;
mod measure;
pub mod measures;
pub mod optics;
mod pair_sums;
#[doc(hidden)]
pub mod parts;
pub mod print;
pub mod range;
pub mod series;
pub mod sets;
#[cfg(test)]
pub(crate) mod test_frames;
mod view;

pub use brief::{Brief, BriefError};
pub use copies::without_copies;
pub use judge::{Finding, FindingCode, Judgement, LargestPrint, Outcome, PrintFit, Severity, Subject, Verdict};
pub use measure::measure;
pub use measures::sharpness::{SharpnessReading, measure_sharpness};
pub use measures::{
    Blur, BlurKind, Channel, ClippedArea, ClippingMap, Exposure, Likeness, Measures, Noise, RiseMap, SaturationFrom,
    Sharpness, known,
};
pub use view::{Camera, FrameRow, Gear, RowMaker, file_name};

/// Version of the measures. It rises whenever a measure may give another number for the same file, so that a record
/// made by an older version is measured again.
pub const MEASURES_VERSION: u32 = 28;
