//! The samples round a place, in coordinates across and along an edge.

use super::pyramid::{Level, holds_saturated};
use super::samples::ColourSamples;

/// Where samples of an edge come from: the mosaic itself, or a halved picture.
pub(crate) enum Source<'a, 'b> {
    /// Samples of one colour at their own places.
    Mosaic(&'b ColourSamples<'a>),
    /// A level of the pyramid.
    Level(&'b Level),
}

impl Source<'_, '_> {
    /// Samples averaged in each value.
    pub(super) fn averaged(&self) -> f32 {
        match self {
            Self::Mosaic(_) => 1.0,
            Self::Level(level) => level.samples,
        }
    }

    /// Columns and rows.
    pub(super) fn extent(&self) -> (usize, usize) {
        match self {
            Self::Mosaic(samples) => (samples.area.width, samples.area.height),
            Self::Level(level) => (level.width, level.height),
        }
    }

    /// Width of a pixel, sensor pixels.
    pub(super) fn step_px(&self) -> f32 {
        match self {
            Self::Mosaic(_) => 1.0,
            Self::Level(level) => level.step_px,
        }
    }

    /// Variance of a pixel's aperture along x and y, and their covariance, px^2.
    pub(super) fn aperture_px2(&self) -> [f32; 3] {
        match self {
            Self::Mosaic(_) => [1.0 / 12.0, 1.0 / 12.0, 0.0],
            Self::Level(level) => level.aperture_px2,
        }
    }

    /// Reads the ends of some rows at once: places come in no order, and one row after the other would wait for memory.
    fn fetch(&self, rows: std::ops::RangeInclusive<usize>, first: usize, last: usize) {
        let read = match self {
            Self::Mosaic(samples) => {
                let spp = samples.frame.filter.samples_per_pixel;
                let ends = |y: usize| {
                    let row = samples.frame.row(y);
                    u32::from(row[first * spp]) ^ u32::from(row[last * spp])
                };
                rows.fold(0, |all, y| all ^ ends(y))
            }
            Self::Level(level) => {
                let ends =
                    |y: usize| level.dn[y * level.width + first].to_bits() ^ level.dn[y * level.width + last].to_bits();
                rows.fold(0, |all, y| all ^ ends(y))
            }
        };
        std::hint::black_box(read);
    }

    /// Values per source pixel.
    pub(super) fn density(&self) -> f32 {
        match self {
            Self::Mosaic(samples) => samples.density(),
            Self::Level(_) => 1.0,
        }
    }
}

/// Samples of a window, in coordinates of the edge.
#[derive(Default)]
pub(crate) struct Window {
    /// Distance from the edge along the normal, source pixels.
    pub(super) t: Vec<f32>,
    /// Place along the edge, source pixels.
    pub(super) u: Vec<f32>,
    /// Level above black, DN.
    pub(super) v: Vec<f32>,
    /// A clipped sample lay inside.
    pub(crate) clipped: bool,
    /// The window reaches over the border.
    pub(crate) outside: bool,
}

/// Place and normal of a window, source pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub(crate) x: f32,
    pub(crate) y: f32,
    pub(crate) nx: f32,
    pub(crate) ny: f32,
}

impl Window {
    /// Takes the samples within `half_width` across and `half_length` along the edge.
    pub(crate) fn gather(&mut self, source: &Source<'_, '_>, at: Place, half_width: f32, half_length: f32) {
        self.t.clear();
        self.u.clear();
        self.v.clear();
        self.clipped = false;
        self.outside = false;
        let reach_x = half_width * at.nx.abs() + half_length * at.ny.abs();
        let reach_y = half_width * at.ny.abs() + half_length * at.nx.abs();
        let (left, top, right, bottom) = match source {
            Source::Mosaic(samples) => {
                let a = &samples.area;
                (a.x as f32, a.y as f32, a.right() as f32 - 1.0, a.bottom() as f32 - 1.0)
            }
            Source::Level(level) => (0.0, 0.0, level.width as f32 - 1.0, level.height as f32 - 1.0),
        };
        if at.x - reach_x < left || at.y - reach_y < top || at.x + reach_x > right || at.y + reach_y > bottom {
            self.outside = true;
            return;
        }
        let first_row = (at.y - reach_y).ceil() as usize;
        let last_row = (at.y + reach_y).floor() as usize;
        source.fetch(first_row..=last_row, (at.x - reach_x) as usize, (at.x + reach_x) as usize);
        for y in first_row..=last_row {
            let dy = y as f32 - at.y;
            // Columns where |t| <= half_width and |u| <= half_length on this row.
            let (a, b) = crossing(at.nx, at.ny * dy, half_width);
            let (c, d) = crossing(-at.ny, at.nx * dy, half_length);
            let first = (at.x + a.max(c).max(-reach_x)).ceil();
            let last = (at.x + b.min(d).min(reach_x)).floor();
            if first > last {
                continue;
            }
            let (first, last) = (first as usize, last as usize);
            match source {
                Source::Mosaic(samples) => {
                    let spp = samples.frame.filter.samples_per_pixel;
                    let row = samples.frame.row(y);
                    let cells = &samples.cells[(y % samples.period.1) * samples.period.0..][..samples.period.0];
                    let period = cells.len();
                    let phase = first % period;
                    let mut own = cells.iter().enumerate().filter_map(|(at, cell)| Some((at, (*cell)?)));
                    // Nearly all arrays hold one such sample in a row of their period.
                    if let (Some((own_phase, cell)), None) = (own.next(), own.next()) {
                        let first = first + (own_phase + period - phase) % period;
                        let n = (last + 1).saturating_sub(first).div_ceil(period);
                        self.push_all(at, dy, n, (first, period));
                        let own = row.get(first * spp + samples.sample..).unwrap_or_default();
                        let own = own.chunks(period * spp).take(n).map(|chunk| chunk[0]);
                        self.clipped |= own.clone().fold(false, |any, dn| any | (dn >= cell.clip_dn));
                        self.v.extend(own.map(|dn| (f32::from(dn) - cell.black_dn) * cell.scale));
                        continue;
                    }
                    for x in first..=last {
                        if let Some(cell) = cells[x % period] {
                            let dn = row[x * spp + samples.sample];
                            self.clipped |= dn >= cell.clip_dn;
                            self.push_all(at, dy, 1, (x, 1));
                            self.v.push((f32::from(dn) - cell.black_dn) * cell.scale);
                        }
                    }
                }
                Source::Level(level) => {
                    let row = &level.dn[y * level.width..][first..=last];
                    self.clipped |= row.iter().fold(false, |any, dn| any | holds_saturated(*dn));
                    self.push_all(at, dy, row.len(), (first, 1));
                    self.v.extend_from_slice(row);
                }
            }
        }
    }

    /// Distances across, places along, levels.
    pub(super) fn columns(&self) -> (&[f32], &[f32], &[f32]) {
        (&self.t, &self.u, &self.v)
    }

    /// Places of `n` samples of a row, `dy` from the edge's, in every so many columns from the first.
    #[inline]
    fn push_all(&mut self, at: Place, dy: f32, n: usize, (first, every): (usize, usize)) {
        // 32 bits with a sign: these turn into single precision many at once.
        let (n, first, every) = (n as i32, first as i32, every as i32);
        let from_place = |k: i32| (first + k * every) as f32 - at.x;
        self.t.extend((0..n).map(|k| at.nx * from_place(k) + at.ny * dy));
        self.u.extend((0..n).map(|k| at.nx * dy - at.ny * from_place(k)));
    }
}

/// Interval of x where |a x + b| <= reach.
pub(super) fn crossing(a: f32, b: f32, reach: f32) -> (f32, f32) {
    if a.abs() < 1e-6 {
        return if b.abs() <= reach { (f32::NEG_INFINITY, f32::INFINITY) } else { (1.0, 0.0) };
    }
    let p = (-reach - b) / a;
    let q = (reach - b) / a;
    (p.min(q), p.max(q))
}
