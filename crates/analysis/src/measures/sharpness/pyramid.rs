//! Pictures of one filter colour at halved sizes: edges too wide for the full mosaic are found and measured there.

use multiversion::multiversion;

use super::samples::{Cell, ColourSamples, HOLDS_SATURATED, SATURATED};

/// A picture whose pixels are `step_px` sensor pixels wide.
pub(crate) struct Level {
    /// Columns.
    pub(crate) width: usize,
    /// Rows.
    pub(crate) height: usize,
    /// Mean level above black, DN; above [`HOLDS_SATURATED`] where a clipped sample went in.
    pub(crate) dn: Vec<f32>,
    /// Width of a pixel, sensor pixels: 2, 4, 8 ...
    pub(crate) step_px: f32,
    /// Column and row of the full frame at the centre of the first pixel.
    pub(crate) origin_px: (f32, f32),
    /// Samples that went into each pixel.
    pub(crate) samples: f32,
    /// Variance along x and y of the places of the samples within a pixel and their covariance, with the aperture of
    /// one sample, px^2: how much this picture's own pixel widens an edge.
    pub(crate) aperture_px2: [f32; 3],
}

impl Level {
    /// Widening by this picture's pixel across an edge with the normal (`nx`, `ny`), px^2.
    pub(crate) fn aperture(&self, nx: f32, ny: f32) -> f32 {
        let [xx, yy, xy] = self.aperture_px2;
        nx * nx * xx + ny * ny * yy + 2.0 * nx * ny * xy
    }

    /// Column and row of the full frame at level coordinates (`x`, `y`).
    pub(crate) fn to_frame(&self, x: f32, y: f32) -> (f32, f32) {
        (x.mul_add(self.step_px, self.origin_px.0), y.mul_add(self.step_px, self.origin_px.1))
    }

    /// Level coordinates of a place of the full frame.
    pub(crate) fn place_of(&self, x: f32, y: f32) -> (f32, f32) {
        ((x - self.origin_px.0) / self.step_px, (y - self.origin_px.1) / self.step_px)
    }

    /// The first level: means over 2x2 pixels of the samples of one colour.
    pub(crate) fn first(samples: &ColourSamples<'_>) -> Self {
        let x0 = samples.area.x + samples.area.x % 2;
        let y0 = samples.area.y + samples.area.y % 2;
        let width = samples.area.right().saturating_sub(x0) / 2;
        let height = samples.area.bottom().saturating_sub(y0) / 2;
        let mut dn = vec![0.0_f32; width * height];
        let regular = 2 % samples.period.0 == 0 && 2 % samples.period.1 == 0;
        for j in 0..height {
            let out = &mut dn[j * width..(j + 1) * width];
            if regular {
                bin_regular(samples, x0, y0 + 2 * j, out);
            } else {
                bin_any(samples, x0, y0 + 2 * j, out);
            }
        }
        let (count, aperture_px2) = places(samples, x0, y0);
        Self {
            width,
            height,
            dn,
            step_px: 2.0,
            origin_px: (x0 as f32 + 0.5, y0 as f32 + 0.5),
            samples: count,
            aperture_px2,
        }
    }

    /// The next level: means over 2x2 pixels of this one.
    pub(crate) fn next(&self) -> Self {
        let width = self.width / 2;
        let height = self.height / 2;
        let mut dn = vec![0.0_f32; width * height];
        for j in 0..height {
            let a = &self.dn[2 * j * self.width..][..2 * width];
            let b = &self.dn[(2 * j + 1) * self.width..][..2 * width];
            let out = &mut dn[j * width..(j + 1) * width];
            halve(a, b, out);
        }
        // Two places, one step apart, in each direction: variance (step / 2)^2.
        let spread = self.step_px * self.step_px / 4.0;
        let [xx, yy, xy] = self.aperture_px2;
        Self {
            width,
            height,
            dn,
            step_px: self.step_px * 2.0,
            origin_px: (self.origin_px.0 + self.step_px / 2.0, self.origin_px.1 + self.step_px / 2.0),
            samples: self.samples * 4.0,
            aperture_px2: [xx + spread, yy + spread, xy],
        }
    }
}

/// Means over 2x2 values of two rows.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn halve(a: &[f32], b: &[f32], out: &mut [f32]) {
    for ((out, a), b) in out.iter_mut().zip(a.as_chunks::<2>().0).zip(b.as_chunks::<2>().0) {
        *out = 0.25 * (a[0] + a[1] + b[0] + b[1]);
    }
}

/// Means over 2x2 pixels where the filter array repeats every two pixels (or every one), into zeros.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn bin_regular<'a>(samples: &ColourSamples<'a>, x0: usize, y: usize, out: &mut [f32]) {
    let spp = samples.frame.filter.samples_per_pixel;
    let mut count = 0.0;
    for dy in 0..2 {
        let row = samples.frame.row(y + dy);
        for dx in 0..2 {
            let Some(cell) = samples.cell_at(x0 + dx, y + dy) else { continue };
            count += 1.0;
            let offset = -cell.black_dn * cell.scale;
            if spp == 1 {
                // Pairs of columns: the compiler reads many at once.
                for (out, pair) in out.iter_mut().zip(row[x0..].as_chunks::<2>().0) {
                    *out += level_of(pair[dx], cell, offset);
                }
            } else {
                let samples = row[(x0 + dx) * spp + samples.sample..].iter().step_by(2 * spp);
                for (out, &dn) in out.iter_mut().zip(samples) {
                    *out += level_of(dn, cell, offset);
                }
            }
        }
    }
    let share = 1.0 / f32::max(count, 1.0);
    for value in out {
        *value *= share;
    }
}

#[inline(always)]
fn level_of(dn: u16, cell: Cell, offset: f32) -> f32 {
    let level = f32::from(dn) * cell.scale + offset;
    if dn >= cell.clip_dn { SATURATED } else { level }
}

/// Means over 2x2 pixels of any array; a block without a sample takes its neighbour's value.
fn bin_any(samples: &ColourSamples<'_>, x0: usize, y: usize, out: &mut [f32]) {
    let spp = samples.frame.filter.samples_per_pixel;
    let mut last = 0.0;
    for (i, out) in out.iter_mut().enumerate() {
        let (mut sum, mut count) = (0.0, 0.0_f32);
        for dy in 0..2 {
            let row = samples.frame.row(y + dy);
            for x in x0 + 2 * i..x0 + 2 * i + 2 {
                if let Some(cell) = samples.cell_at(x, y + dy) {
                    let dn = row[x * spp + samples.sample];
                    sum += if dn >= cell.clip_dn { SATURATED } else { (f32::from(dn) - cell.black_dn) * cell.scale };
                    count += 1.0;
                }
            }
        }
        if count > 0.0 {
            last = sum / count;
        }
        *out = last;
    }
}

/// Samples in a pixel of the first level, and the variances of their places with the aperture of one sample.
fn places(samples: &ColourSamples<'_>, x0: usize, y0: usize) -> (f32, [f32; 3]) {
    let (mut n, mut xx, mut yy, mut xy) = (0.0_f32, 0.0, 0.0, 0.0);
    let blocks_x = samples.period.0.max(2) / 2;
    let blocks_y = samples.period.1.max(2) / 2;
    for y in 0..2 * blocks_y {
        for x in 0..2 * blocks_x {
            if samples.cell_at(x0 + x, y0 + y).is_some() {
                let (dx, dy) = ((x % 2) as f32 - 0.5, (y % 2) as f32 - 0.5);
                n += 1.0;
                xx += dx * dx;
                yy += dy * dy;
                xy += dx * dy;
            }
        }
    }
    let n = n.max(1.0);
    // A single sample in the block lies off the block's centre but is not spread.
    let per_block = n / (blocks_x * blocks_y) as f32;
    let spread = if per_block > 1.0 { 1.0 } else { 0.0 };
    let pixel = 1.0 / 12.0;
    (per_block.max(1.0), [spread * xx / n + pixel, spread * yy / n + pixel, spread * xy / n])
}

/// True where an average holds a clipped sample.
#[inline]
pub(crate) fn holds_saturated(dn: f32) -> bool {
    dn > HOLDS_SATURATED
}
