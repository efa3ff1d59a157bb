//! What the tests share.

pub mod session;
