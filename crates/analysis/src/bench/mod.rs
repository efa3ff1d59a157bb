//! Measurements on test targets: many frames of one even light, or of one edge.

mod edge_profile;
pub mod photon_transfer;
pub mod slanted_edge;
mod transfer_fit;
