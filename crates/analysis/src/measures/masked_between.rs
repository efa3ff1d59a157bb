//! Offsets of the lines of a masked border, beyond what noise makes of their means.
//!
//! Gives: their standard deviation, DN (analysis of variance about a straight line along each stretch of the border).
//! Source: textbook. Fails when: fewer than 64 lines.

/// Fewest lines.
const FEWEST_LINES: f64 = 64.0;

/// Offsets of lines are stated from this many standard errors on; below it they are zero.
const SIGNIFICANT: f64 = 3.0;

/// Lines of one direction: how far their means lie from a straight line along each stretch of the border, so that what rises slowly,
/// like an amplifier's glow, is no offset.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Between {
    lines: f64,
    /// Degrees of freedom, sum of squares about the straight lines, and what noise adds to the square of one mean, summed.
    freedom: f64,
    squares: f64,
    noise: f64,
}

impl Between {
    /// Of the means of the lines of one stretch, each with its place and what noise adds to its square.
    pub(super) fn of(means: &[[f64; 3]]) -> Self {
        let n = means.len() as f64;
        let centre = |k: usize| means.iter().map(|m| m[k]).sum::<f64>() / n;
        let (place, level) = (centre(0), centre(1));
        let sum = |of: &dyn Fn(f64, f64) -> f64| means.iter().map(|m| of(m[0] - place, m[1] - level)).sum::<f64>();
        let (xx, xy, yy) = (sum(&|x, _| x * x), sum(&|x, y| x * y), sum(&|_, y| y * y));
        if means.len() < 3 || xx == 0.0 {
            return Self::default();
        }
        let noise = means.iter().map(|m| m[2]).sum();
        Self { lines: n, freedom: n - 2.0, squares: yy - xy * xy / xx, noise }
    }

    pub(super) fn join(&mut self, other: &Self) {
        self.lines += other.lines;
        self.freedom += other.freedom;
        self.squares += other.squares;
        self.noise += other.noise;
    }

    /// Standard deviation of the lines' offsets, DN.
    pub(super) fn spread_dn(&self) -> Option<f64> {
        if self.lines < FEWEST_LINES {
            return None;
        }
        let all = self.squares / self.freedom;
        let offsets = all - self.noise / self.lines;
        Some(if offsets > SIGNIFICANT * all * (2.0 / self.freedom).sqrt() { offsets.sqrt() } else { 0.0 })
    }
}
