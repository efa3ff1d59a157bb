//! Declared levels of a DNG, per plane.

use super::DngRaw;
use crate::frame::FilterArray;

impl DngRaw {
    /// Declared black of each plane: the mean of the BlackLevel cells that fall on it, plus the mean of the column and
    /// row deltas there.
    pub(crate) fn declared_black(&self) -> Vec<f64> {
        let (planes, spp) = (self.filter.planes.len(), self.samples_per_pixel);
        let (rows, columns) = self.black_repeat;
        let mut sum = vec![0.0; planes];
        let mut count = vec![0_u32; planes];
        let cells = rows * columns * spp;
        let level = |row: usize, column: usize, sample: usize| {
            let whole = self.black.len() >= cells;
            let index = if whole { (row % rows * columns + column % columns) * spp + sample } else { 0 };
            self.black.get(index).copied().filter(|v| v.is_finite()).unwrap_or(0.0)
        };
        // One common period of filter array and level pattern.
        for y in 0..rows * self.filter.rows {
            for x in 0..columns * self.filter.columns {
                for sample in 0..spp {
                    let plane = plane_of(&self.filter, self.active.x + x, self.active.y + y, sample);
                    sum[plane] += level(y, x, sample);
                    count[plane] += 1;
                }
            }
        }
        let mut black: Vec<f64> = sum.iter().zip(&count).map(|(s, &n)| s / f64::from(n.max(1))).collect();
        for (plane, black) in black.iter_mut().enumerate() {
            let column_has = |x: usize| (0..self.filter.rows).any(|y| spp > 1 || self.plane_in_active(x, y) == plane);
            let row_has = |y: usize| (0..self.filter.columns).any(|x| spp > 1 || self.plane_in_active(x, y) == plane);
            *black += mean_where(&self.black_delta_h, column_has) + mean_where(&self.black_delta_v, row_has);
        }
        black
    }

    fn plane_in_active(&self, x: usize, y: usize) -> usize {
        self.filter.plane_at(self.active.x + x, self.active.y + y)
    }

    /// Declared white of each plane. Without the tag: the end of the linearisation table, else the largest number of
    /// the stored bits.
    pub(crate) fn declared_white(&self) -> Vec<f64> {
        let largest = match &self.linearization {
            Some(table) => f64::from(table.iter().copied().max().unwrap_or(u16::MAX)),
            None => f64::from((1_u32 << self.bits) - 1),
        };
        let planes = 0..self.filter.planes.len();
        let stated =
            |p: usize| self.white.get(if self.white.len() >= 3 && self.samples_per_pixel == 3 { p } else { 0 });
        planes.map(|p| stated(p).copied().filter(|&w| w > 0.0 && w <= 65_535.0).unwrap_or(largest)).collect()
    }
}

fn plane_of(filter: &FilterArray, x: usize, y: usize, sample: usize) -> usize {
    if filter.is_linear() { sample } else { filter.plane_at(x, y) }
}

fn mean_where(values: &[f64], keep: impl Fn(usize) -> bool) -> f64 {
    let kept = values.iter().enumerate().filter(|(i, v)| v.is_finite() && keep(*i));
    let (sum, count) = kept.fold((0.0, 0_u32), |(s, n), (_, v)| (s + v, n + 1));
    if count == 0 { 0.0 } else { sum / f64::from(count) }
}
