//! Small blocks of the frame that hold no structure.
//!
//! Gives: mean and variance of each plane in them, the points of the noise model, and what their neighbours' correlations
//! say. A block counts where no sample is clipped at either end, none is far off, and neighbours are independent.
//! Source: own derivation, docs/measures.md.

use rawassay_decode::Frame;

use super::faint_structure::{self, FaintStructure};
use super::line_fit::Point;
use super::lines_out::LinesOut;
use super::patches::{BlockShape, PlaneStat};

/// Blocks that are taken at a time, spread evenly over the frame: all of a frame of four megapixels.
const AT_A_TIME: usize = 16_000;

/// Blocks without structure of which a part must hold so many that no more are taken. Noise and banding were tried on
/// frames that hold fewer in all (docs/accuracy.md).
const ENOUGH: usize = 1500;

/// Standard deviations of noise alone up to which each of a block's correlations, and their sum, pass for those of an even one:
/// with [`faint_structure`]'s mean sum, which holds for these two.
const EVEN: f64 = 3.3;
const EVEN_SUM: f64 = 1.2;

/// One block in so many shows least structure, and at least so many.
const LEAST_STRUCTURED: usize = 50;
const FEWEST_OF_THEM: usize = 20;

/// Blocks of the frame with their planes' statistics.
pub(crate) struct Blocks {
    pub(crate) shape: Option<BlockShape>,
    pub(crate) corners: Vec<(u32, u32)>,
    /// `shape.planes` per block.
    pub(crate) stats: Vec<PlaneStat>,
    /// Corners of further blocks, for frames that hold few without structure.
    further: Vec<Vec<(u32, u32)>>,
}

impl Blocks {
    /// Measures mean and variance of all blocks, of a large frame of an even part of them.
    pub(crate) fn measure(frame: &Frame) -> Self {
        let Some(shape) = BlockShape::of(frame) else {
            return Self { shape: None, corners: Vec::new(), stats: Vec::new(), further: Vec::new() };
        };
        let all = shape.corners(frame);
        let parts = all.len().div_ceil(AT_A_TIME).max(1);
        let mut further = vec![Vec::with_capacity(all.len() / parts + 1); parts];
        for (i, corner) in all.into_iter().enumerate() {
            // Each row of blocks starts with another part, so that no column of the frame is left out.
            further[(i + corner.1 as usize / shape.side) % parts].push(corner);
        }
        let corners = further.remove(0);
        let mut stats = vec![PlaneStat::default(); corners.len() * shape.planes];
        for (&corner, stats) in corners.iter().zip(stats.chunks_exact_mut(shape.planes)) {
            shape.measure(frame, corner, stats);
        }
        Self { shape: Some(shape), corners, stats, further }
    }

    /// Calls `look` with each block and its statistics, and with those of further parts as long as fewer than
    /// [`ENOUGH`] blocks are said to hold no structure: `look` says it.
    fn each(&self, frame: &Frame, mut look: impl FnMut((u32, u32), &[PlaneStat]) -> bool) {
        let Some(shape) = &self.shape else { return };
        let mut plain = 0;
        for (&corner, stats) in self.corners.iter().zip(self.stats.chunks_exact(shape.planes)) {
            plain += usize::from(look(corner, stats));
        }
        let mut stats = vec![PlaneStat::default(); shape.planes];
        for part in &self.further {
            if plain >= ENOUGH {
                break;
            }
            for &corner in part {
                shape.measure(frame, corner, &mut stats);
                plain += usize::from(look(corner, &stats));
            }
        }
    }

    /// One block in so many of the first part.
    pub(crate) fn thinned(&self, every: usize) -> Self {
        let planes = self.shape.as_ref().map_or(1, |s| s.planes);
        Self {
            shape: self.shape.clone(),
            corners: self.corners.iter().step_by(every).copied().collect(),
            stats: self.stats.chunks(planes).step_by(every).flatten().copied().collect(),
            further: Vec::new(),
        }
    }

    /// Means of one plane's blocks, DN absolute.
    pub(crate) fn means(&self, plane: usize) -> Vec<f32> {
        let planes = self.shape.as_ref().map_or(1, |s| s.planes);
        self.stats.iter().skip(plane).step_by(planes).map(|s| s.mean).collect()
    }
}

/// Range of a plane's codes that are neither clipped nor at the floor, DN absolute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Usable {
    pub(crate) black_dn: f64,
    /// Lowest code that the converter can give (clipped shadows pile up there); `None` where nothing piles up.
    pub(crate) floor_dn: Option<f64>,
    /// Lowest clipped code.
    pub(crate) clipped_from: f64,
}

/// What the blocks of a frame show.
#[derive(Debug, Default)]
pub(super) struct Flat {
    /// Mean and variance of each block without structure, by plane.
    pub(super) points: Vec<Vec<Point>>,
    /// Level above black of each such block, DN, in the order of the points.
    pub(super) levels: Vec<f64>,
    /// The same and the correlations of its neighbours; darkest first.
    pub(super) tones: Vec<(f64, [f64; 6])>,
    /// Correlations of neighbours of one colour, next ones and those one period of a large array apart, of all blocks.
    pub(super) same_colour: [Vec<f64>; 2],
    /// Mean and variance of the first plane of those blocks.
    pub(super) alike: Vec<(f32, f32)>,
    /// How correlated the neighbours of each block are: sum of the squares.
    pub(super) correlated: Vec<f32>,
    /// Blocks with both ends of the range in them.
    pub(super) looked: usize,
}

impl Flat {
    /// Goes through the blocks; `lines` are taken out of each.
    pub(super) fn of(
        frame: &Frame,
        blocks: &Blocks,
        shape: &BlockShape,
        usable: &[Usable],
        lines: Option<&LinesOut>,
    ) -> Self {
        Self::where_even(frame, blocks, shape, usable, lines, |c| {
            c.iter().all(|c| c.abs() <= EVEN) && c.iter().sum::<f64>() <= EVEN_SUM
        })
    }

    /// The blocks that show least structure, of a frame that has hardly any without: `looked` are all of it. Their noise is good
    /// enough to weigh by.
    pub(super) fn least_structured(
        frame: &Frame,
        blocks: &Blocks,
        shape: &BlockShape,
        usable: &[Usable],
        looked: &Self,
    ) -> Self {
        let mut all = looked.correlated.clone();
        let count = (all.len() / LEAST_STRUCTURED).max(FEWEST_OF_THEM);
        if all.len() <= count {
            return Self::default();
        }
        let most = *all.select_nth_unstable_by(count, f32::total_cmp).1;
        Self::where_even(frame, blocks, shape, usable, None, |c| squares(c) < most)
    }

    /// Goes through the blocks; those count whose correlations are `even`.
    fn where_even(
        frame: &Frame,
        blocks: &Blocks,
        shape: &BlockShape,
        usable: &[Usable],
        lines: Option<&LinesOut>,
        even: impl Fn(&[f64; 6]) -> bool,
    ) -> Self {
        let planes = shape.planes;
        let mut out = Self { points: vec![Vec::new(); planes], ..Self::default() };
        let mut left = vec![0.0_f32; shape.side * shape.side];
        let mut times = vec![1.0; planes];
        blocks.each(frame, |corner, stats| {
            if !stats.iter().zip(usable).all(|(s, u)| within(s, u)) || !shape.residuals(frame, corner, stats, &mut left)
            {
                return false;
            }
            out.looked += 1;
            if left.iter().fold(false, |any, z| any | (z.abs() > 5.0)) {
                return false;
            }
            let c = match lines {
                Some(lines) => {
                    if !lines.take_out(&mut left, shape.freedom(0), &mut times) {
                        return false;
                    }
                    shape.correlations_less(&left, lines.expected())
                }
                None => shape.correlations(&left),
            };
            let like = shape.like_colour(&c, &left);
            out.alike.extend(like[0].map(|_| (stats[0].mean, stats[0].variance)));
            out.same_colour.iter_mut().zip(like).for_each(|(to, c)| to.extend(c));
            out.correlated.push(squares(&c));
            if !even(&c) {
                return false;
            }
            let level = stats.iter().zip(usable).map(|(s, u)| f64::from(s.mean) - u.black_dn).sum::<f64>();
            out.levels.push(level / planes as f64);
            out.tones.push((level / planes as f64, c));
            for (p, s) in stats.iter().enumerate() {
                out.points[p].push(Point {
                    mean: f64::from(s.mean) - usable[p].black_dn,
                    variance: f64::from(s.variance) * times[p],
                    samples: shape.samples(p),
                    freedom: lines.map_or_else(|| shape.freedom(p), LinesOut::freedom),
                    spread: shape.spread(p, s, times[p]),
                });
            }
            true
        });
        if lines.is_some() {
            // What all blocks have of it is the sensor's bands, which are no light.
            out.points.iter_mut().for_each(|points| bands_off(points));
        }
        out.tones.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        out
    }

    /// The points of all planes.
    pub(super) fn pooled(&self) -> Vec<Point> {
        self.points.iter().flatten().copied().collect()
    }

    /// The points without what faint structure adds to their variance.
    pub(super) fn without(&self, faint: &FaintStructure) -> Vec<Vec<Point>> {
        let shares: Vec<f64> = self.levels.iter().map(|&level| faint.share_at(level)).collect();
        let plane = |points: &Vec<Point>| {
            let less = |(p, share): (&Point, &f64)| Point { variance: p.variance / (1.0 + share), ..*p };
            points.iter().zip(&shares).map(less).collect()
        };
        self.points.iter().map(plane).collect()
    }

    /// How much more correlated the brighter half of the blocks is than noise alone, by the mean sum of correlations.
    pub(super) fn structure(&self, shape: &BlockShape) -> f64 {
        faint_structure::more(shape, &self.tones[self.tones.len() / 2..])
    }
}

/// Sum of the squares of a block's correlations.
fn squares(c: &[f64; 6]) -> f32 {
    c.iter().map(|c| c * c).sum::<f64>() as f32
}

/// Takes the least spread of the tones within blocks, but for a tenth of them, off that of all.
fn bands_off(points: &mut [Point]) {
    let mut spreads: Vec<f64> = points.iter().map(|p| p.spread).collect();
    let tenth = spreads.len() / 10;
    if tenth == 0 {
        return;
    }
    let least = *spreads.select_nth_unstable_by(tenth, f64::total_cmp).1;
    points.iter_mut().for_each(|p| p.spread = (p.spread - least).max(0.0));
}

/// No sample of the plane's patch is touched by clipping at either end.
fn within(s: &PlaneStat, u: &Usable) -> bool {
    let margin = 4.0 * f64::from(s.variance).sqrt();
    let mean = f64::from(s.mean);
    f64::from(s.greatest) < u.clipped_from
        && mean + margin < u.clipped_from
        && u.floor_dn.is_none_or(|floor| mean - margin > floor && f64::from(s.least) > floor)
}
