//! Masked columns are black in every row. Rows in which they are not were not written by the sensor.

use super::{Range, rows};
use crate::backend::Decoded;

/// Fewest masked columns.
const FEWEST_COLUMNS: usize = 8;
/// Rows that must be off before it counts: one can be a sensor's bad line.
const FEWEST_ROWS: usize = 2;

pub(super) fn look(decoded: &Decoded, range: &Range) -> Option<String> {
    let tall = |a: &&crate::frame::Area| a.width >= FEWEST_COLUMNS && 2 * a.height >= decoded.height;
    let area = decoded.masked.iter().filter(tall).max_by_key(|a| a.width)?;
    let columns = area.width.min(64);
    let mut buffer = vec![0_u16; columns];
    let mut medians: Vec<u16> = Vec::with_capacity(area.height);
    for y in area.y..area.bottom() {
        let start = y * decoded.width + area.x;
        buffer.copy_from_slice(&decoded.samples[start..start + columns]);
        medians.push(*buffer.select_nth_unstable(columns / 2).1);
    }
    let mut sorted = medians.clone();
    sorted.sort_unstable();
    let at = |q: usize| f64::from(sorted[(sorted.len() - 1) * q / 100]);
    let (level, spread) = (at(50), (at(84) - at(16)) / 2.0);
    // Row noise and smear stay far below this.
    let tolerance = (20.0 * spread).max(0.01 * range.span()).max(8.0);
    let off = |m: &u16| (f64::from(*m) - level).abs() > tolerance;
    let first = medians.windows(FEWEST_ROWS).position(|w| w.iter().all(off))?;
    let count = medians.iter().filter(|m| off(m)).count();
    // Where half of the border is off, it is no masked border.
    if 2 * count > medians.len() {
        return None;
    }
    let last = medians.iter().rposition(off).unwrap_or(first);
    Some(format!(
        "in {count} of {} the masked border is not black: not written by the sensor",
        rows(area.y + first, area.y + last)
    ))
}
