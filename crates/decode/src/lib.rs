//! A raw file becomes a [`Frame`]: the mosaic as stored, the filter array, the areas, the levels and what the
//! camera wrote about the shot.
//!
//! Nothing is demosaiced, white balanced or gamma coded here, and no level is subtracted.

mod frame;
mod shot;

pub use frame::{
    Area, BlackFrom, Colour, FilterArray, Frame, Integrity, NoiseProfile, Plane, PlaneLevels, Preview, Reader,
};
pub use shot::{Orientation, PitchFrom, Shot};
