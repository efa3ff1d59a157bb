//! Whether the samples can be what a sensor delivered, or part of them is missing, filled up or decoded from rubbish.
//!
//! Readers return samples for broken files too. What gives a broken frame away is what no scene and no exposure does:
//! values that the code cannot hold or that lie far below black, a constant stretch that runs on through the masked
//! border or from the middle of a row over the next ones, masked pixels that are not black in some rows, rows of
//! full-scale rubbish that begin from one row to the next. Blown skies, black nights and lens caps do none of these:
//! their constant stretches follow the subject, row by row. Source: own derivation; see docs/measures.md.

mod masked_rows;
mod rough;
mod runs;
mod segments;

use crate::backend::Decoded;
use crate::frame::PlaneLevels;

/// The frame's range, over its planes.
#[derive(Debug, Clone, Copy)]
struct Range {
    /// Lowest black, DN.
    black_dn: f64,
    /// Lowest declared white, DN.
    white_dn: f64,
    /// A sample below this is no sensor's; 0 where black is too low to tell.
    low_dn: u16,
}

impl Range {
    fn new(levels: &[PlaneLevels]) -> Self {
        let black_dn = levels.iter().map(|l| l.black_dn).fold(f64::MAX, f64::min);
        let white_dn = levels.iter().map(|l| l.white_declared_dn).fold(f64::MAX, f64::min);
        let noise = levels.iter().filter_map(|l| l.masked_noise_dn).fold(0.0, f64::max);
        // Noise of an unknown sensor at the highest ISO: a tenth of black, or what was measured.
        let margin = (12.0 * noise).max(0.4 * black_dn).max(6.0);
        Self { black_dn, white_dn, low_dn: (black_dn - margin).clamp(0.0, 65_535.0) as u16 }
    }

    fn span(&self) -> f64 {
        (self.white_dn - self.black_dn).max(1.0)
    }
}

/// What is missing, in one line; `None` where nothing is, as far as can be seen.
pub(crate) fn look(decoded: &Decoded, levels: &[PlaneLevels]) -> Option<String> {
    let range = Range::new(levels);
    let segments = segments::Segments::new(decoded, range.low_dn);
    segments
        .beyond_code()
        .or_else(|| masked_rows::look(decoded, &range))
        .or_else(|| runs::look(decoded, &segments, &range))
        .or_else(|| rough::look(decoded, &segments, &range))
}

/// Rows in words.
fn rows(first: usize, last: usize) -> String {
    if first == last { format!("row {first}") } else { format!("rows {first} to {last}") }
}
