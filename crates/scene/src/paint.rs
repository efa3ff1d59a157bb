//! What surfaces look like: radiances, and how they change over the surface.

/// Red, green and blue radiance; 1.0 is a white surface in the scene's main light.
pub type Radiance = [f32; 3];

/// What a surface looks like.
#[derive(Debug, Clone, PartialEq)]
pub enum Paint {
    /// One radiance all over.
    Flat(Radiance),
    /// Radiance that changes linearly: `radiance * (1 + dx * (x - x0) + dy * (y - y0))`, never below a hundredth of it.
    Slope {
        /// Radiance at the reference point.
        radiance: Radiance,
        /// Reference point, px.
        at: [f32; 2],
        /// Relative change per pixel along x and y.
        per_px: [f32; 2],
    },
    /// From one radiance at row `y0` to another at row `y1`, geometric between (equal EV steps), constant outside.
    Sky {
        /// Radiance at `y0` and before.
        top: Radiance,
        /// Radiance at `y1` and beyond.
        bottom: Radiance,
        /// Row where the change starts, px.
        y0: f32,
        /// Row where it ends, px.
        y1: f32,
        /// Columns in place of rows (a frame taken upright).
        along_x: bool,
    },
    /// Irregular texture: the radiance times exp(amplitude * noise), with several octaves from `size_px` downwards.
    Texture {
        /// Mean radiance.
        radiance: Radiance,
        /// Amplitude of the natural logarithm.
        amplitude: f32,
        /// Size of the largest features, px.
        size_px: f32,
        /// Features along x longer by this factor (water has long ripples).
        stretch: f32,
        /// Seed of the pattern.
        seed: u32,
    },
}

impl Paint {
    /// Radiance at a point.
    #[inline]
    pub(crate) fn at(&self, x: f32, y: f32) -> Radiance {
        match self {
            Self::Flat(radiance) => *radiance,
            Self::Slope { radiance, at, per_px } => {
                let factor = (1.0 + per_px[0] * (x - at[0]) + per_px[1] * (y - at[1])).max(0.01);
                radiance.map(|v| v * factor)
            }
            Self::Sky { top, bottom, y0, y1, along_x } => {
                let place = if *along_x { x } else { y };
                let t = ((place - y0) / (y1 - y0)).clamp(0.0, 1.0);
                std::array::from_fn(|c| top[c] * (bottom[c] / top[c]).powf(t))
            }
            Self::Texture { radiance, amplitude, size_px, stretch, seed } => {
                let factor = (amplitude * fractal_noise(x / stretch, y, *size_px, *seed)).exp();
                radiance.map(|v| v * factor)
            }
        }
    }

    /// The one radiance of a whole row, where the paint has one.
    pub(crate) fn of_row(&self, y: f32) -> Option<Radiance> {
        match self {
            Self::Flat(radiance) => Some(*radiance),
            Self::Sky { along_x: false, .. } => Some(self.at(0.0, y)),
            _ => None,
        }
    }

    /// Radiances along a row: cell `i` has its centre at `x0 + i * step`. Textures are taken once a pixel and joined
    /// linearly, which is all the detail they have.
    pub(crate) fn fill_row(&self, x0: f32, y: f32, step: f32, out: &mut [Radiance]) {
        if let Self::Texture { .. } = self {
            let per_px = (1.0 / step).round().max(1.0) as usize;
            let mut left = self.at(x0, y);
            for (block, cells) in out.chunks_mut(per_px).enumerate() {
                let right = self.at(x0 + ((block + 1) * per_px) as f32 * step, y);
                for (i, cell) in cells.iter_mut().enumerate() {
                    let t = i as f32 / per_px as f32;
                    *cell = std::array::from_fn(|c| left[c] * (1.0 - t) + right[c] * t);
                }
                left = right;
            }
        } else {
            for (i, cell) in out.iter_mut().enumerate() {
                *cell = self.at(x0 + i as f32 * step, y);
            }
        }
    }

    /// True where blur changes nothing that matters: no detail finer than the point spread.
    pub(crate) fn is_smooth(&self) -> bool {
        !matches!(self, Self::Texture { .. })
    }
}

/// Value noise, four octaves, about -1 to 1, standard deviation near 0.35.
fn fractal_noise(x: f32, y: f32, size_px: f32, seed: u32) -> f32 {
    let mut sum = 0.0;
    let mut weight = 0.6;
    let mut scale = 1.0 / size_px;
    for octave in 0..4u32 {
        sum += weight * value_noise(x * scale, y * scale, seed.wrapping_add(octave.wrapping_mul(0x9e37_79b9)));
        weight *= 0.62;
        scale *= 2.17;
    }
    sum
}

fn value_noise(x: f32, y: f32, seed: u32) -> f32 {
    let (x0, y0) = (x.floor(), y.floor());
    let ease = |t: f32| t * t * (3.0 - 2.0 * t);
    let (u, v) = (ease(x - x0), ease(y - y0));
    let (i, j) = (x0 as i32, y0 as i32);
    let at = |i: i32, j: i32| {
        let mut h = seed
            ^ (i as u32).wrapping_mul(0x85eb_ca6b).rotate_left(13)
            ^ (j as u32).wrapping_mul(0xc2b2_ae35).rotate_left(7);
        h ^= h >> 15;
        h = h.wrapping_mul(0x2c1b_3c6d);
        h ^= h >> 12;
        h = h.wrapping_mul(0x297a_2d39);
        h ^= h >> 15;
        h as f32 / (u32::MAX as f32) * 2.0 - 1.0
    };
    let top = at(i, j) * (1.0 - u) + at(i + 1, j) * u;
    let bottom = at(i, j + 1) * (1.0 - u) + at(i + 1, j + 1) * u;
    top * (1.0 - v) + bottom * v
}
