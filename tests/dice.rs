//! Dice of the sweeps: a small generator of their own, so that the sets do not change with a library.

/// Dice with a seed.
#[derive(Debug, Clone)]
pub struct Dice(pub u64);

impl Dice {
    /// 0 to 1, the end excluded.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let x = (self.0 >> 33) ^ (self.0 >> 17);
        (x & 0x7fff_ffff) as f64 / f64::from(0x8000_0000_u32)
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Evenly between the logarithms of two values.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// One of several.
    pub fn pick<T: Clone>(&mut self, of: &[T]) -> T {
        of[(self.uniform() * of.len() as f64) as usize].clone()
    }
}
