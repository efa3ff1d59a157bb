//! One file per command: its arguments (`clap`) and `run`.

pub mod audit;
pub mod brief;
pub mod completions;
pub mod cull;
pub mod demo;
pub mod edge;
pub mod enlarge;
pub mod explain;
pub mod judge;
pub mod manual;
pub mod measuring;
pub mod page;
pub mod sensor;
pub mod series;
pub mod sets;
pub mod shared;
