//! Frames drawn by hand for unit tests: a small seeded generator and a plain sensor model, apart from the simulator of
//! `rawassay-scene`.

use rawassay_decode::{Area, BlackFrom, FilterArray, Frame, Integrity, PlaneLevels, Reader, Shot};

/// Seeded random numbers (SplitMix64).
pub(crate) struct Noise(u64);

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x1234_5678_9ABC_DEF1)
    }

    /// Uniform in 0..1.
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal.
    pub(crate) fn normal(&mut self) -> f64 {
        let (u, v) = (1.0 - self.uniform(), self.uniform());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

/// A sensor for drawn frames.
#[derive(Clone)]
pub(crate) struct Sensor {
    pub(crate) filter: FilterArray,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) black: f64,
    pub(crate) white: f64,
    /// Level at which the converter stops.
    pub(crate) limit: f64,
    /// Electrons per DN.
    pub(crate) gain: f64,
    /// Electrons.
    pub(crate) read_noise: f64,
    pub(crate) seed: u64,
}

impl Default for Sensor {
    fn default() -> Self {
        Self {
            filter: FilterArray::bayer("RGGB").expect("a known array"),
            width: 512,
            height: 384,
            black: 512.0,
            white: 16_383.0,
            limit: 16_383.0,
            gain: 2.0,
            read_noise: 3.0,
            seed: 1,
        }
    }
}

impl Sensor {
    /// A frame whose sample at (x, y, plane) has that mean, electrons, with photon and read noise.
    pub(crate) fn shoot(&self, mut mean_e: impl FnMut(usize, usize, usize) -> f64) -> Frame {
        let mut rng = Noise::new(self.seed);
        self.draw(|x, y, p, s| {
            let e = mean_e(x, y, p).max(0.0);
            let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
            v.round().clamp(0.0, s.limit)
        })
    }

    /// A frame whose samples are those values, DN.
    pub(crate) fn draw(&self, mut dn: impl FnMut(usize, usize, usize, &Self) -> f64) -> Frame {
        let spp = self.filter.samples_per_pixel;
        let mut samples = Vec::with_capacity(self.width * self.height * spp);
        for y in 0..self.height {
            for x in 0..self.width {
                for s in 0..spp {
                    let plane = if spp > 1 { s } else { self.filter.plane_at(x, y) };
                    samples.push(dn(x, y, plane, self) as u16);
                }
            }
        }
        let level = PlaneLevels {
            black_dn: self.black,
            black_from: BlackFrom::Declared,
            white_declared_dn: self.white,
            masked_noise_dn: None,
        };
        Frame {
            samples,
            width: self.width,
            height: self.height,
            active: Area::new(0, 0, self.width, self.height),
            masked: Vec::new(),
            levels: vec![level; self.filter.planes.len()],
            shot: Shot { width_px: self.width, height_px: self.height, cfa: self.filter.word(), ..Shot::default() },
            filter: self.filter.clone(),
            reader: Reader { name: "drawn".into(), version: "1".into() },
            dithered: false,
            integrity: Integrity::Whole,
            noise_profile: Vec::new(),
            notes: Vec::new(),
        }
    }
}
