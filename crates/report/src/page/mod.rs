//! Web pages of a shoot: a folder that opens offline in any browser.

pub mod draw;
pub mod folder;
pub mod frame;
pub mod html;
mod measures;
mod overlay;
pub mod overview;
pub mod render;
pub mod series;
pub mod sets;
pub mod shoot;
#[cfg(test)]
pub(crate) mod testing;
pub mod tones;
pub mod units;
pub mod upright;
mod values;
pub mod words;

pub use draw::{Drawn, Sizes};
pub use folder::Folder;
pub use shoot::{Purpose, Sheet, Shoot};
