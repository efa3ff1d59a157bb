//! Whether like-coloured neighbours are correlated even where unlike ones are not: the file was smoothed, or the scene has
//! fine structure everywhere.
//!
//! Noise reduction works on the samples of one colour and adds the same correlation to every block; structure adds a
//! different one to each, and to unlike colours too, but for the odd block in which these happen to cancel.
//! Source: own derivation, docs/measures.md. Fails when: fewer than 16 blocks, then nothing counts as correlated.

/// Fewest blocks that tell anything.
const FEWEST: usize = 16;

/// Share of the blocks that tells whether a frame was smoothed: those whose like-coloured neighbours are correlated least.
const LEAST_CORRELATED: f64 = 0.02;

/// Their correlation, in standard deviations of one block's, from which a frame counts as smoothed. Independent samples
/// give -2.05; a scene that is blurred adds correlation to many blocks and none to its even ones (-0.7 at the most of
/// the frames tried); smoothing adds it to every block (-0.4 at the least, for a Gaussian of 0.4 samples).
const CORRELATED: f64 = -0.6;

/// Fewest of the blocks, share of all and number, whose unlike colours are not correlated where it is smoothing that
/// correlates the like ones. Sound frames that would be taken for smoothed had 0.2 to 2.8 % or fewer than 60 of them, or
/// ones that differ more than [`ALIKE`].
const LEAST_SHARE: f64 = 0.03;
const LEAST_BLOCKS: usize = 60;

/// Greatest spread (between quartiles) of the correlation by smoothing, in standard deviations of one block's: chance makes
/// 1.35 of it; of 28 smoothed frames with that many blocks 26 had 1.1 to 2.0, a median 2.8, one of structure all over 8.9;
/// sound ones had 3.7 to 9.5.
const ALIKE: f64 = 2.5;

/// Greatest scatter of the variance in blocks of like tone by smoothing, natural logarithm: one block differs from the next of its
/// tone by 0.2 to 0.45, in the median, as a blur of 0.5 to 1 samples leaves the information of 38 to 10 samples in it. Structure
/// makes one block of a tone many times as uneven as another.
const LIKE_NOISE: f64 = 0.65;

/// What correlates like-coloured neighbours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Neighbours {
    /// Nothing, in the even blocks.
    Independent,
    /// Noise reduction, interpolation, or structure everywhere.
    Correlated,
    /// Noise reduction or interpolation.
    Smoothed,
}

impl Neighbours {
    /// Why noise cannot be measured, if so.
    pub(super) fn objection(self) -> Option<&'static str> {
        match self {
            Self::Independent => None,
            Self::Correlated => Some(
                "neighbouring samples of one colour are correlated everywhere: the scene has structure all over, or the \
                 file was smoothed",
            ),
            Self::Smoothed => Some(
                "neighbouring samples of one colour are correlated even in flat areas: the file was smoothed (noise \
                 reduction) or interpolated",
            ),
        }
    }
}

/// How much the variances (second) of blocks of like mean (first) differ: median difference of their logarithms.
pub(super) fn scatter(blocks: &mut [(f32, f32)]) -> f64 {
    blocks.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut apart: Vec<f64> =
        blocks.windows(2).map(|pair| f64::from((pair[1].1 / pair[0].1).ln().abs())).filter(|d| d.is_finite()).collect();
    let middle = apart.len() / 2;
    if apart.is_empty() { 0.0 } else { *apart.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

/// Reads it from the correlations of the blocks whose unlike colours are not correlated, of `looked` blocks, and the
/// [`scatter`] of their variances.
pub(super) fn neighbours(correlations: &mut [f64], looked: usize, scatter: f64) -> Neighbours {
    let n = correlations.len();
    if n < FEWEST {
        return Neighbours::Independent;
    }
    correlations.sort_unstable_by(f64::total_cmp);
    // No fewer than five blocks decide, and no more than three in ten.
    let at = (LEAST_CORRELATED * n as f64).max(5.0).min(0.3 * n as f64) as usize;
    if correlations[at] <= CORRELATED {
        return Neighbours::Independent;
    }
    let many = n >= LEAST_BLOCKS && n as f64 >= LEAST_SHARE * looked as f64;
    let alike = correlations[3 * n / 4] - correlations[n / 4] < ALIKE;
    if many && alike && scatter < LIKE_NOISE { Neighbours::Smoothed } else { Neighbours::Correlated }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_frames::Noise;

    /// Correlations of blocks: chance, and what is added to each.
    fn blocks(n: usize, added: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut rng = Noise::new(12);
        (0..n).map(|i| rng.normal() + added(i)).collect()
    }

    #[test]
    fn smoothing_adds_the_same_to_every_block() {
        assert_eq!(neighbours(&mut blocks(2_000, |_| 0.0), 4_000, 0.3), Neighbours::Independent);
        assert_eq!(neighbours(&mut blocks(2_000, |i| 8.0 * (i % 3) as f64), 4_000, 0.3), Neighbours::Independent);
        assert_eq!(neighbours(&mut blocks(2_000, |_| 2.0), 4_000, 0.3), Neighbours::Smoothed);
        assert_eq!(neighbours(&mut blocks(2_000, |_| 12.0), 4_000, 0.3), Neighbours::Smoothed);
    }

    #[test]
    fn odd_blocks_and_unlike_ones_do_not_tell_smoothing_from_structure() {
        assert_eq!(neighbours(&mut blocks(40, |_| 7.0), 8_000, 0.3), Neighbours::Correlated);
        assert_eq!(neighbours(&mut blocks(100, |_| 7.0), 8_000, 0.3), Neighbours::Correlated);
        assert_eq!(neighbours(&mut blocks(2_000, |i| 3.0 + 8.0 * (i % 3) as f64), 4_000, 0.3), Neighbours::Correlated);
        assert_eq!(neighbours(&mut blocks(15, |_| 7.0), 15, 0.3), Neighbours::Independent);
    }

    #[test]
    fn noise_goes_with_the_tone_and_structure_does_not() {
        let mut rng = Noise::new(13);
        // Variance 0.5 DN to the DN, known to a share by each block.
        let mut blocks = |share: f64| -> Vec<(f32, f32)> {
            let block = |i: usize| {
                let mean = 200.0 + (i * 37 % 3_000) as f64;
                (mean as f32, (0.5 * mean * (share * rng.normal()).exp()) as f32)
            };
            (0..2_000).map(block).collect()
        };
        for (share, kind) in [(0.2, Neighbours::Smoothed), (0.45, Neighbours::Smoothed), (1.2, Neighbours::Correlated)]
        {
            let scatter = scatter(&mut blocks(share));
            assert!((scatter / share / 0.954 - 1.0).abs() < 0.1, "{share}: {scatter}");
            assert_eq!(neighbours(&mut self::blocks(2_000, |_| 6.0), 4_000, scatter), kind, "{share}");
        }
        assert_eq!(scatter(&mut []), 0.0);
    }
}
