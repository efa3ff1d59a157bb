//! Accuracy against known truth, one module per part.
#![allow(clippy::unwrap_used)]

mod banding;
mod clipped;
mod edge_rise;
mod hot_pixels;
mod judge;
mod levels;
mod noise;
mod series;
mod series_advice;
mod series_cameras;
mod sessions;
mod sets;
mod sharpness;
mod slanted_edge;
