//! Against references from outside the project: one module per reference. They run through the Python interpreter
//! named in RAWASSAY_PYTHON or set up by `tests/run.sh` in `target/reference`, and say so where there is none.
#![allow(clippy::print_stderr, clippy::unwrap_used)]

mod blur_order;
mod edge_forms;
mod exif_tags;
mod libraw_pixels;
mod makers;
mod noise;
mod optics_tables;
mod photographs;
mod photon_transfer;
mod print_arithmetic;
mod python;
mod simulated_files;
mod xmp;
