//! Simulated raw frames with known truth: scene, optics, sensor, file.
//!
//! ```
//! use rawassay_scene::{Compression, Optics, Recipe, SceneKind, render};
//! let recipe = Recipe::new(SceneKind::Buildings).size(160, 120).optics(Optics::gaussian(0.7));
//! let raw = render(&recipe);
//! let file = raw.to_dng(Compression::None);
//! assert!(raw.truth.edges[0].rise_px > 1.0 && file.len() > 2 * 160 * 120);
//! ```

mod camera;
#[cfg(test)]
mod checks;
mod dng;
mod fold;
mod geometry;
mod optical;
mod optics;
mod paint;
mod preview;
mod raw;
mod recipe;
mod scenes;
mod sensor;
mod sessions;
mod shoot;
mod tiff;
mod tiling;
mod truth;
mod upright;

pub use camera::{Banding, Border, Camera, Filter};
pub use dng::{ByteOrder, Compression, DngOptions};
pub use geometry::{Outline, Shape};
pub use optical::{Light, light, light_of};
pub use optics::{Diffraction, EdgeTruth, Motion, Optics, PointSpread};
pub use paint::{Paint, Radiance};
pub use raw::Raw;
pub use recipe::{Exposure, Recipe, ShotData};
pub use scenes::{Layer, SceneKind, build};
pub use sensor::{expose, render};
pub use sessions::{Session, aperture_session, bracket_session, burst_session, iso_session, shutter_session};
pub use shoot::{Take, shoot, write_shoot};
pub use truth::{HotPixel, PlaneTruth, Truth};
