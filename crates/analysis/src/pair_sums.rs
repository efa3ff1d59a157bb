//! Sums over pairs of numbers: what two pictures of one thing share, and what each has of its own.

/// Count, sums, sums of squares and of products.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct PairSums {
    pub(crate) n: f64,
    pub(crate) a: f64,
    pub(crate) b: f64,
    aa: f64,
    bb: f64,
    ab: f64,
}

impl PairSums {
    /// Adds a pair.
    pub(crate) fn add(&mut self, a: f64, b: f64) {
        self.n += 1.0;
        self.a += a;
        self.b += b;
        self.aa += a * a;
        self.bb += b * b;
        self.ab += a * b;
    }

    /// Adds all pairs of another.
    pub(crate) fn join(&mut self, o: &Self) {
        *self = Self {
            n: self.n + o.n,
            a: self.a + o.a,
            b: self.b + o.b,
            aa: self.aa + o.aa,
            bb: self.bb + o.bb,
            ab: self.ab + o.ab,
        };
    }

    /// Sums about the means: squares of the first, of the second, and products.
    pub(crate) fn about_means(&self) -> [f64; 3] {
        let n = self.n.max(1.0);
        [self.aa - self.a * self.a / n, self.bb - self.b * self.b / n, self.ab - self.a * self.b / n]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_sums_are_those_of_all_pairs() {
        let (mut first, mut second) = (PairSums::default(), PairSums::default());
        first.add(1.0, 2.0);
        second.add(2.0, 0.0);
        second.add(3.0, 4.0);
        first.join(&second);
        // About the means 2 and 2: 1 + 0 + 1, 0 + 4 + 4, 0 + 0 + 2.
        assert_eq!((first.n, first.about_means()), (3.0, [2.0, 8.0, 2.0]));
    }
}
