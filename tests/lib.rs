//! What the tests share.

pub mod invented_shoot;
pub mod session;
