//! Correlation of like-coloured neighbours in the blocks of arrays larger than 2 x 2, where they lie at various offsets.
//!
//! Noise reduction works on the samples of one colour; it correlates next ones, or those one period of the array apart,
//! where samples of different colours are not. Source: own derivation, docs/measures.md.

/// Offsets of next pixels.
const NEXT: [(isize, isize); 4] = [(1, 0), (0, 1), (1, 1), (-1, 1)];

/// Most correlation of unlike colours in a block that is looked at, standard deviations: more is structure.
const UNLIKE: f64 = 2.0;

/// Pairs of places of a block.
#[derive(Debug, Clone, Default)]
struct Pairs {
    places: Vec<(u16, u16)>,
    /// Mean product that fitting a plane leaves between samples without correlation.
    expected: f64,
}

impl Pairs {
    /// Correlation in standard deviations of one block's.
    fn correlation(&self, left: &[f32]) -> Option<f64> {
        let n = self.places.len() as f64;
        let sum: f32 = self.places.iter().map(|&(a, b)| left[usize::from(a)] * left[usize::from(b)]).sum();
        (n > 0.0).then(|| (f64::from(sum) / n - self.expected) * n.sqrt())
    }
}

/// The pairs of a block.
#[derive(Debug, Clone, Default)]
pub(crate) struct LikePairs {
    next: Pairs,
    period: Pairs,
    unlike: Pairs,
}

impl LikePairs {
    /// For a block of `side` with the planes of its places and an array of `columns` x `rows`; `expected` is what the fit leaves
    /// between two places of one plane.
    pub(crate) fn of(
        side: usize,
        plane_of: &[u8],
        (columns, rows): (usize, usize),
        expected: impl Fn(u8, u16, u16) -> f64,
    ) -> Self {
        let mut pairs = Self::default();
        let far = [(columns as isize, 0), (0, rows as isize)];
        for (x, y) in (0..side * side).map(|i| ((i % side) as isize, (i / side) as isize)) {
            for (n, (dx, dy)) in NEXT.into_iter().chain(far).enumerate() {
                let (bx, by) = (x + dx, y + dy);
                let inside = |v: isize| (0..side as isize).contains(&v);
                if !inside(bx) || !inside(by) {
                    continue;
                }
                let (a, b) = ((y * side as isize + x) as u16, (by * side as isize + bx) as u16);
                let plane = plane_of[usize::from(a)];
                let like = plane == plane_of[usize::from(b)];
                let to = match (n < NEXT.len(), like) {
                    (true, true) => &mut pairs.next,
                    (true, false) => &mut pairs.unlike,
                    (false, _) => &mut pairs.period,
                };
                to.places.push((a, b));
                if like {
                    to.expected += expected(plane, a, b);
                }
            }
        }
        for p in [&mut pairs.next, &mut pairs.period, &mut pairs.unlike] {
            p.expected /= p.places.len().max(1) as f64;
        }
        pairs
    }

    /// Correlation of next samples of one colour and of those one period apart, in standard deviations; `None` where
    /// unlike colours already show structure.
    pub(crate) fn correlations(&self, left: &[f32]) -> [Option<f64>; 2] {
        match self.unlike.correlation(left) {
            Some(unlike) if unlike.abs() < UNLIKE => [self.next.correlation(left), self.period.correlation(left)],
            _ => [None, None],
        }
    }
}
