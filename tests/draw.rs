//! Numbers from a seed, so that cameras, exposures and shoots vary without a pattern and are the same on every machine.

/// A plain sequence of pseudo-random numbers (SplitMix64, Steele, Lea, Flood 2014).
pub struct Draw(pub u64);

impl Draw {
    /// The next number, 0 to below 1.
    #[expect(clippy::should_implement_trait, reason = "an endless sequence is no iterator")]
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number from `low` to below `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    /// One of them.
    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[(self.next() * of.len() as f64) as usize]
    }
}
