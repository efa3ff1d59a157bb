//! Accuracy against known truth, one module per part.
#![allow(clippy::unwrap_used)]

mod judge;
mod series;
mod sets;
