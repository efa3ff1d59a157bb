//! Accuracy against known truth, one module per part.
#![allow(clippy::unwrap_used)]

mod judge;
mod levels;
mod noise;
mod series;
mod sessions;
mod sets;
mod sharpness;
mod slanted_edge;
