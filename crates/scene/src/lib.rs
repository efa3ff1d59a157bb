//! Simulated raw frames with known truth.
