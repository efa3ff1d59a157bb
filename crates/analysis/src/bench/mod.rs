//! Measurements on test targets: many frames of one even light, or of one edge.

mod belonging;
mod edge_bins;
pub mod edge_checks;
mod edge_errors;
pub(crate) mod edge_line;
mod edge_profile;
mod edge_samples;
mod edge_sides;
mod fixed_pattern;
mod flat_pairs;
pub mod photon_transfer;
pub mod slanted_edge;
mod top_level;
mod transfer_fit;
mod transfer_line;
