//! Fourier transforms of `rustfft` behind plain functions.
//!
//! `rustfft` is generic over the number type and builds all of its code anew in every crate that plans a transform: close
//! to a minute. Here it is built once.

use std::sync::Arc;

pub use rustfft::Fft;
pub use rustfft::num_complex::{Complex32, Complex64};

/// Forward transform of `length` numbers, in place, not scaled.
#[must_use]
pub fn forward(length: usize) -> Arc<dyn Fft<f32>> {
    rustfft::FftPlanner::new().plan_fft_forward(length)
}

/// Inverse transform of `length` numbers, in place, not scaled.
#[must_use]
pub fn inverse(length: usize) -> Arc<dyn Fft<f32>> {
    rustfft::FftPlanner::new().plan_fft_inverse(length)
}

/// Forward transform in double precision of a power of two of numbers, in place, not scaled.
///
/// # Panics
/// Where `length` is not a power of two.
#[must_use]
pub fn forward64(length: usize) -> Arc<dyn Fft<f64>> {
    Arc::new(rustfft::algorithm::Radix4::new(length, rustfft::FftDirection::Forward))
}

/// Inverse transform in double precision of a power of two of numbers, in place, not scaled.
///
/// # Panics
/// Where `length` is not a power of two.
#[must_use]
pub fn inverse64(length: usize) -> Arc<dyn Fft<f64>> {
    Arc::new(rustfft::algorithm::Radix4::new(length, rustfft::FftDirection::Inverse))
}
