//! Structure too faint to be seen in a block, by what it does to the correlations of all blocks that pass for even.
//!
//! Gives: the share that it adds to their variance, by tone. Method: of noise alone the sum of a block's six correlations has a
//! known mean in the blocks that pass; structure raises it, and the variance with it. Each block tells next to nothing, a
//! hundred of like tone tell a structure of one in a hundred of the noise.
//! Source: own derivation, docs/measures.md.

use super::patches::BlockShape;

/// Mean sum of the correlations of blocks of noise alone that pass for even (see `flat_blocks`), for
/// arrays and without filters (simulated; the test below does so too). With the levels of rows and columns taken out it is -1.27
/// and -0.97: a difference like a structure of four in a thousand, which changes nothing that shows.
const CLEAN: [f64; 2] = [-1.18, -1.0];

/// What structure that makes all of a block's variance would add to the mean sum, over the sum that full correlation comes to,
/// for arrays and without filters: neighbours in what a lens has drawn are correlated to a half at these distances once level and
/// slope are out, less in the small blocks without filters, and the limit of the sum takes half of a shift from the mean of the
/// blocks that pass. On frames of six simulated sets it is 0.16 to 0.32 (texture of about a pixel 0.18, of three pixels 0.27).
const ADDED: [f64; 2] = [0.245, 0.2];

/// Fewest blocks that are taken together by tone, and one over the share that a group holds at the most.
const GROUP: usize = 100;
const GROUPS: usize = 8;

/// Blocks are taken together up to so much of their level above the darkest of them, or of the brightest level of all: a few blocks of
/// texture below a sky, say, are not of one kind with it, and it is they that bend the curve.
const ALIKE: f64 = 0.25;
const ALIKE_OF_BRIGHTEST: f64 = 0.01;

/// Mean sum of the correlations in blocks of noise alone that pass for even.
fn clean_sum(shape: &BlockShape) -> f64 {
    CLEAN[usize::from(shape.planes == 1)]
}

/// Faint structure of a frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct FaintStructure {
    /// Levels of the groups, DN above black, darkest first, and the share of the variance that structure adds.
    groups: Vec<(f64, f64)>,
    /// That of the brighter half of the blocks.
    bright: f64,
}

impl FaintStructure {
    /// Of blocks by level and correlations, darkest first.
    pub(super) fn of(shape: &BlockShape, blocks: &[(f64, [f64; 6])]) -> Self {
        if blocks.is_empty() {
            return Self::default();
        }
        let full: f64 = (0..6).map(|k| shape.deviations(k)).sum();
        let share = |of: &[(f64, [f64; 6])]| more(shape, of) / (ADDED[usize::from(shape.planes == 1)] * full);
        let level = |of: &[(f64, [f64; 6])]| of.iter().map(|b| b.0).sum::<f64>() / of.len() as f64;
        let of_group = |of: &[(f64, [f64; 6])]| (level(of), share(of));
        Self { groups: alike(blocks).into_iter().map(of_group).collect(), bright: share(&blocks[blocks.len() / 2..]) }
    }

    /// Share of the variance that it adds to blocks of that level, DN above black.
    pub(super) fn share_at(&self, level: f64) -> f64 {
        let next = self.groups.partition_point(|g| g.0 < level);
        match (self.groups.get(next.wrapping_sub(1)), self.groups.get(next)) {
            (Some(below), Some(above)) => {
                below.1 + (above.1 - below.1) * (level - below.0) / (above.0 - below.0).max(1e-9)
            }
            (one, other) => one.or(other).map_or(0.0, |g| g.1),
        }
    }

    /// The same of the brighter half.
    pub(super) fn bright(&self) -> f64 {
        self.bright
    }
}

/// Blocks of like tone, of such that lie darkest first.
fn alike(blocks: &[(f64, [f64; 6])]) -> Vec<&[(f64, [f64; 6])]> {
    let most = blocks.len().div_ceil(GROUPS).max(GROUP);
    let brightest = blocks.last().map_or(0.0, |b| b.0);
    let mut from = vec![0];
    let mut start = 0;
    for (i, block) in blocks.iter().enumerate() {
        let up_to = blocks[start].0 + f64::max(ALIKE * blocks[start].0, ALIKE_OF_BRIGHTEST * brightest);
        if i - start >= most || i - start >= GROUP && block.0 > up_to {
            start = i;
            from.push(start);
        }
    }
    // What is left over goes with the last ones.
    if blocks.len() - start < GROUP && from.len() > 1 {
        from.pop();
    }
    from.push(blocks.len());
    from.windows(2).map(|ends| &blocks[ends[0]..ends[1]]).collect()
}

/// How much more the correlations of blocks add up to than those of noise alone; never less than nothing.
pub(super) fn more(shape: &BlockShape, blocks: &[(f64, [f64; 6])]) -> f64 {
    if blocks.is_empty() {
        return 0.0;
    }
    let sum = blocks.iter().map(|b| b.1.iter().sum::<f64>()).sum::<f64>() / blocks.len() as f64;
    (sum - clean_sum(shape)).max(0.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::flat_blocks::{Blocks, Flat, Usable};
    use super::super::lines_out::LinesOut;
    use super::*;
    use crate::test_frames::{Noise, Sensor};
    use rawassay_decode::FilterArray;

    fn arrays() -> [FilterArray; 3] {
        let six = FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap();
        [FilterArray::bayer("GBRG").unwrap(), FilterArray::monochrome(), six]
    }

    /// Even blocks of noise of 20 DN, under texture of so large a share of its variance as a lens of two pixels draws it.
    fn flat(filter: &FilterArray, lines_out: [bool; 2], share: f64) -> (BlockShape, Flat) {
        let side = 1_440;
        let mut rng = Noise::new(31);
        let dust: Vec<f64> = (0..(side + 4) * (side + 4)).map(|_| rng.normal()).collect();
        // Means of 5 x 5 have a 25th of the variance.
        let height = 5.0 * 20.0 * share.sqrt();
        let sensor = Sensor { filter: filter.clone(), width: side, height: side, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, _| {
            let mean = (0..25).map(|i| dust[(y + i / 5) * (side + 4) + x + i % 5]).sum::<f64>() / 25.0;
            (2_000.0 + x as f64 + 20.0 * rng.normal() + height * mean).round()
        });
        let usable = vec![Usable { black_dn: 512.0, floor_dn: None, clipped_from: 16_000.0 }; filter.planes.len()];
        let blocks = Blocks::measure(&frame);
        let shape = blocks.shape.clone().unwrap();
        let lines = LinesOut::of(&frame, shape.side, lines_out);
        let flat = Flat::of(&frame, &blocks, &shape, &usable, lines.as_ref());
        (shape, flat)
    }

    #[test]
    fn noise_alone_leaves_the_sum_that_is_known_of_it() {
        for (array, lines_out) in arrays().iter().flat_map(|a| [[false; 2], [true, false], [true; 2]].map(|l| (a, l))) {
            if lines_out[0] && array.columns == 6 {
                continue;
            }
            let (shape, flat) = flat(array, lines_out, 0.0);
            let sum = flat.tones.iter().map(|b| b.1.iter().sum::<f64>()).sum::<f64>() / flat.tones.len() as f64;
            assert!(flat.points[0].iter().all(|p| p.samples == shape.samples(0) && p.samples > p.freedom));
            // Of 1.6 standard deviations for a block.
            assert!(flat.tones.len() > 3_000, "{}", flat.tones.len());
            assert!(
                (sum - clean_sum(&shape)).abs() < 0.11,
                "{} {lines_out:?}: {sum} for {}",
                array.word(),
                clean_sum(&shape)
            );
            assert!(FaintStructure::of(&shape, &flat.tones).bright() < 0.006, "{}", array.word());
        }
    }

    #[test]
    fn texture_that_is_not_seen_adds_the_share_that_is_reckoned() {
        for array in &arrays() {
            for share in [0.02, 0.04] {
                let (shape, flat) = flat(array, [false; 2], share);
                let faint = FaintStructure::of(&shape, &flat.tones);
                let added = flat.pooled().iter().map(|p| p.variance).sum::<f64>()
                    / flat.pooled().len() as f64
                    / (400.0 + 1.0 / 12.0)
                    - 1.0;
                let word = array.word();
                // Textures are correlated to more or less than what is reckoned with.
                let reckoned = faint.bright();
                assert!((reckoned / added - 1.0).abs() < 0.4, "{word} {share}: {reckoned} of {added}");
                let left = flat.without(&faint).concat();
                let left = left.iter().map(|p| p.variance).sum::<f64>() / left.len() as f64 / (400.0 + 1.0 / 12.0);
                assert!((left - 1.0).abs() < 0.4 * added + 0.004, "{word} {share}: {left}");
            }
        }
    }

    #[test]
    fn tones_are_told_apart() {
        let shape = BlockShape::of(&Sensor::default().draw(|_, _, _, _| 600.0)).unwrap();
        // Darker blocks hold structure, brighter ones none.
        let block = |i: u32| (f64::from(i), [if i < 400 { 0.1 } else { -0.2 }; 6]);
        let blocks: Vec<_> = (0..800).map(block).collect();
        let faint = FaintStructure::of(&shape, &blocks);
        let share = 1.78 / (0.245 * 90.9);
        assert!((faint.share_at(-50.0) / share - 1.0).abs() < 0.01 && faint.share_at(900.0) == 0.0, "{faint:?}");
        assert!((faint.share_at(400.0) / share - 0.5).abs() < 0.02, "{faint:?}");
        assert_eq!(faint.bright(), 0.0);
        assert_eq!(FaintStructure::of(&shape, &[]), FaintStructure::default());
    }

    /// Share found at the first of these levels: so many blocks of structure at it, so many of noise alone at the second, and 2000 of
    /// noise alone from 300 to 2000; over the share of blocks of such structure alone.
    fn told_apart((level, structured): (f64, usize), (other, even): (f64, usize)) -> f64 {
        let shape = BlockShape::of(&Sensor::default().draw(|_, _, _, _| 600.0)).unwrap();
        let near = [vec![(level, [0.1; 6]); structured], vec![(other, [-1.18 / 6.0; 6]); even]].concat();
        let far = (0..2_000).map(|i| (300.0 + 0.85 * f64::from(i), [-1.18 / 6.0; 6]));
        let mut blocks: Vec<_> = near.iter().copied().chain(far).collect();
        blocks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let alone = FaintStructure::of(&shape, &near[..structured]);
        FaintStructure::of(&shape, &blocks).share_at(level) / alone.share_at(level)
    }

    #[test]
    fn few_blocks_of_another_tone_are_told_apart() {
        // Texture below a sky: as many as tell something, and fewer, which go with the next tone's.
        assert!((told_apart((60.0, 110), (240.0, 900)) - 1.0).abs() < 1e-9);
        assert!(told_apart((60.0, 70), (240.0, 900)) < 0.75);
        // Tones of a quarter more are alike, of a third more are not.
        assert!((told_apart((120.0, 130), (144.0, 130)) - 0.5).abs() < 0.05);
        assert!((told_apart((120.0, 130), (160.0, 130)) - 1.0).abs() < 1e-9);
        // So are tones near black that are a hundredth of the brightest apart, and of two hundredths are not.
        assert!((told_apart((1.0, 130), (15.0, 130)) - 0.5).abs() < 0.05);
        assert!((told_apart((1.0, 130), (30.0, 130)) - 1.0).abs() < 1e-9);
    }
}
