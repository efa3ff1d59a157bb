//! Measurements on test targets: many frames of one even light, or of one edge.

mod belonging;
mod edge_profile;
mod edge_samples;
mod fixed_pattern;
pub mod photon_transfer;
pub mod slanted_edge;
mod top_level;
mod transfer_fit;
