//! Plots as SVG that belong to the page around them: text stays text, colours come from the page's stylesheet (light,
//! dark and print), and a title and a description say in words what the plot shows.
//!
//! Charts with two axes are drawn by `plotters`; it is given a colour per role, and `finish` turns these into classes.

pub(crate) mod chart;
pub mod edge;
mod finish;
pub mod histogram;
pub mod noise;
pub mod polar;
#[cfg(test)]
pub(crate) mod reading;
pub mod series;
pub mod shoot;
pub mod wall;

pub(crate) use chart::{Axis, Chart, Role};
