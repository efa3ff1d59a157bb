//! What the tests share.

pub mod chain;
pub mod chain_sessions;
pub mod dice;
pub mod draw;
pub mod invented_shoot;
pub mod session;
