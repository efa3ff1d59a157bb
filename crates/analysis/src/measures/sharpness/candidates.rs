//! Places that may be edges: gradient maxima of one level, the strongest of each block and direction.

use multiversion::multiversion;

use super::pyramid::{Level, holds_saturated};
use super::samples::SampleNoise;

/// Directions kept apart, over 180 degrees.
pub(crate) const DIRECTIONS: usize = 12;
/// Side of the blocks within which one candidate per direction is kept, level pixels.
const BLOCK: usize = 12;
/// Scores of a row that are compared at once.
const STRETCH: usize = 32;
/// Least gradient, in standard deviations of the noise of the gradient.
const LEAST_SIGNIFICANCE: f32 = 5.0;
/// Share of the gradient that must be found again two pixels along the edge, both ways: corners and texture fail.
const COHERENCE: f32 = 0.55;

/// A place that may be an edge.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    /// Column, level coordinates.
    pub(crate) x: f32,
    /// Row, level coordinates.
    pub(crate) y: f32,
    /// Unit normal, from dark to bright, image axes (y down).
    pub(crate) normal: (f32, f32),
    /// Squared gradient over the variance of the noise.
    pub(crate) score: f32,
}

/// Cosines and sines of the bins' lower edges, from 15 degrees on.
const BIN_EDGES: [(f32, f32); DIRECTIONS - 1] = [
    (0.965_925_8, 0.258_819_04),
    (0.866_025_4, 0.5),
    (std::f32::consts::FRAC_1_SQRT_2, std::f32::consts::FRAC_1_SQRT_2),
    (0.5, 0.866_025_4),
    (0.258_819_04, 0.965_925_8),
    (0.0, 1.0),
    (-0.258_819_04, 0.965_925_8),
    (-0.5, 0.866_025_4),
    (-std::f32::consts::FRAC_1_SQRT_2, std::f32::consts::FRAC_1_SQRT_2),
    (-0.866_025_4, 0.5),
    (-0.965_925_8, 0.258_819_04),
];

/// Bin of a direction (0..12, 15 degrees each from 0), angle anticlockwise with y up; of any length.
#[inline]
pub(crate) fn direction_bin(nx: f32, ny: f32) -> usize {
    // Turned into the upper half: the direction has no sign.
    let (x, y) = if ny > 0.0 || (ny == 0.0 && nx < 0.0) { (-nx, ny) } else { (nx, -ny) };
    // On or beyond an edge where the edge does not lie further round.
    BIN_EDGES.iter().map(|&(cos, sin)| usize::from(y * cos >= x * sin)).sum()
}

struct GradientRow {
    gx: Vec<f32>,
    gy: Vec<f32>,
    score: Vec<f32>,
}

impl GradientRow {
    /// Rows end in zeros, so that whole stretches can be read.
    fn new(width: usize) -> Self {
        let width = width + STRETCH + 2;
        Self { gx: vec![0.0; width], gy: vec![0.0; width], score: vec![0.0; width] }
    }

    /// Sobel gradients (DN per level pixel) of row `y` and their squares over the noise variance.
    fn fill(&mut self, level: &Level, y: usize, noise: SampleNoise) {
        let w = level.width;
        let a = &level.dn[(y - 1) * w..y * w];
        let b = &level.dn[y * w..(y + 1) * w];
        let c = &level.dn[(y + 1) * w..(y + 2) * w];
        // Sobel over 8: 12/64 of the variance of a pixel.
        let share = 12.0 / 64.0 / level.samples;
        let slope = noise.slope_dn * share;
        let floor = noise.floor_dn2 * share;
        gradients([a, b, c], (slope, floor), [&mut self.gx, &mut self.gy, &mut self.score]);
    }
}

/// Sobel gradients of the middle one of three rows, and their squares over the variance of the noise (slope, floor).
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn gradients([a, b, c]: [&[f32]; 3], (slope, floor): (f32, f32), [gx, gy, score]: [&mut [f32]; 3]) {
    let n = b.len() - 2;
    let (gx, gy, score) = (&mut gx[1..=n], &mut gy[1..=n], &mut score[1..=n]);
    let (a0, a1, a2) = (&a[..n], &a[1..=n], &a[2..n + 2]);
    let (b0, b1, b2) = (&b[..n], &b[1..=n], &b[2..n + 2]);
    let (c0, c1, c2) = (&c[..n], &c[1..=n], &c[2..n + 2]);
    for i in 0..n {
        let x = 0.125 * ((a2[i] - a0[i]) + 2.0 * (b2[i] - b0[i]) + (c2[i] - c0[i]));
        let y = 0.125 * ((c0[i] - a0[i]) + 2.0 * (c1[i] - a1[i]) + (c2[i] - a2[i]));
        gx[i] = x;
        gy[i] = y;
        score[i] = (x * x + y * y) / (b1[i].max(0.0) * slope + floor);
    }
}

/// Tangent of 22.5 degrees: a gradient nearer than this to an axis points to the neighbour along it.
const DIAGONAL: f32 = 0.414;

/// Unit steps across an edge, to the nearest of eight neighbours on the bright side.
#[inline]
fn step_across(gx: f32, gy: f32) -> (isize, isize) {
    let (ax, ay) = (gx.abs(), gy.abs());
    let sign = |g: f32| if g < 0.0 { -1 } else { 1 };
    let sx = if ax > DIAGONAL * ay { sign(gx) } else { 0 };
    let sy = if ay > DIAGONAL * ax { sign(gy) } else { 0 };
    (sx, sy)
}

/// A bit for each place of a stretch: a table, so that they can be put together without shifts.
const BITS: [u32; STRETCH] = {
    let mut bits = [0; STRETCH];
    let mut i = 0;
    while i < STRETCH {
        bits[i] = 1 << i;
        i += 1;
    }
    bits
};

/// Places of a stretch, as [`ridges`] finds them.
struct Ridges {
    /// All bits set where an edge may be.
    is: [u32; STRETCH],
    /// Bin of the gradient's direction.
    direction: [u32; STRETCH],
}

/// Looks at all places of a stretch from column `from` at once: an edge may be where the score is at least `least`, not below
/// that of the neighbour on the bright side and above that on the dark side ([`is_maximum`]), and the gradient is found again
/// along it ([`goes_on`]). Both written without a branch so that they run on many places at once (which they do only as a
/// function of its own).
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn ridges<'a>(near: [&'a GradientRow; 5], from: usize, least: f32, found: &mut Ridges) {
    const WIDE: usize = STRETCH + 4;
    let wide = |values: &'a [f32]| values.get(from - 2..).and_then(|v| v.first_chunk::<WIDE>());
    let [Some(above), Some(here), Some(below)] = [wide(&near[1].score), wide(&near[2].score), wide(&near[3].score)]
    else {
        return;
    };
    let [Some(gx0), Some(gx2), Some(gx4)] = [wide(&near[0].gx), wide(&near[2].gx), wide(&near[4].gx)] else { return };
    let [Some(gy0), Some(gy2), Some(gy4)] = [wide(&near[0].gy), wide(&near[2].gy), wide(&near[4].gy)] else { return };
    // Choices by bits: as choices of places to read from, they would have to be made one by one.
    let mask = |is: bool| u32::from(is).wrapping_neg();
    let pick = |mask: u32, a: f32, b: f32| f32::from_bits(a.to_bits() & mask | b.to_bits() & !mask);
    for i in 0..STRETCH {
        let (score, gx, gy) = (here[i + 2], gx2[i + 2], gy2[i + 2]);
        let (across, upright) = (mask(gx.abs() > DIAGONAL * gy.abs()), mask(gy.abs() > DIAGONAL * gx.abs()));
        let falling = mask(gx * gy > 0.0);
        // The two neighbours on the line of the gradient, first the one further right (or down).
        let right = pick(upright, pick(falling, below[i + 3], above[i + 3]), here[i + 3]);
        let left = pick(upright, pick(falling, above[i + 1], below[i + 1]), here[i + 1]);
        let first = pick(across, right, below[i + 2]);
        let second = pick(across, left, above[i + 2]);
        let forward = mask(pick(across, gx, gy) > 0.0);
        let bright = pick(forward, first, second);
        let dark = pick(forward, second, first);
        // Two steps along the edge, both ways.
        let one = |g0: &[f32; WIDE], g2: &[f32; WIDE], g4: &[f32; WIDE]| {
            let down = pick(upright, pick(falling, g4[i], g4[i + 4]), g4[i + 2]);
            let up = pick(upright, pick(falling, g0[i + 4], g0[i]), g0[i + 2]);
            (pick(across, down, g2[i]), pick(across, up, g2[i + 4]))
        };
        let ((ax, bx), (ay, by)) = (one(gx0, gx2, gx4), one(gy0, gy2, gy4));
        let strength = COHERENCE * (gx * gx + gy * gy);
        let goes_on = mask(ax * gx + ay * gy >= strength) & mask(bx * gx + by * gy >= strength);
        found.is[i] = mask(score >= least) & mask(bright <= score) & mask(dark < score) & goes_on;
        found.direction[i] = direction_bin(gx, gy) as u32;
    }
}

/// Places of a stretch that are looked at one by one, at most.
const FEW: u32 = 12;

/// True where one of the scores is at least `least`.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn any_strong(scores: &[f32], least: f32) -> bool {
    let mut any = false;
    for &score in scores {
        any |= score >= least;
    }
    any
}

/// A bit for each score that is at least `least`.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn strong(scores: &[f32], least: f32) -> u32 {
    let mut all = 0;
    for (&score, &bit) in scores.iter().zip(&BITS) {
        all |= if score >= least { bit } else { 0 };
    }
    all
}

/// True where the score is not below that of the neighbour on the bright side and above that on the dark side.
#[inline]
fn is_maximum([above, here, below]: [&GradientRow; 3], x: usize) -> bool {
    let (sx, sy) = step_across(here.gx[x], here.gy[x]);
    let beside = |dx: isize, dy: isize| {
        let row = match dy {
            0 => here,
            1 => below,
            _ => above,
        };
        row.score[x.wrapping_add_signed(dx)]
    };
    beside(sx, sy) <= here.score[x] && beside(-sx, -sy) < here.score[x]
}

/// True where the gradient is found again two pixels along the edge, both ways.
#[inline]
fn goes_on(near: [&GradientRow; 5], x: usize) -> bool {
    let (gx, gy) = (near[2].gx[x], near[2].gy[x]);
    let (sx, sy) = step_across(gx, gy);
    let along = |k: isize| {
        let row = near[(2 + k * sx) as usize];
        let at = (x as isize - k * sy) as usize;
        row.gx[at] * gx + row.gy[at] * gy
    };
    let least = COHERENCE * (gx * gx + gy * gy);
    along(2) >= least && along(-2) >= least
}

/// Scores of the strongest candidates of each tile and direction so far: a place weaker than all of a full list cannot be
/// among those that are chosen at the end, and need not be looked at.
struct Strongest<const N: usize> {
    /// By tile and direction, largest first; zero where the list is not full.
    scores: Vec<[[f32; N]; DIRECTIONS]>,
    /// The least of each tile's lists.
    least: Vec<f32>,
}

impl<const N: usize> Strongest<N> {
    fn new(tiles: usize) -> Self {
        Self { scores: vec![[[0.0; N]; DIRECTIONS]; tiles], least: vec![0.0; tiles] }
    }

    /// Score below which a candidate of that tile and direction is not chosen.
    fn least_in(&self, tile: usize, direction: usize) -> f32 {
        self.scores[tile][direction][N - 1]
    }

    fn add(&mut self, tile: usize, candidate: &Candidate) {
        let lists = &mut self.scores[tile];
        let mut score = candidate.score;
        for kept in &mut lists[direction_bin(candidate.normal.0, candidate.normal.1)] {
            if score > *kept {
                std::mem::swap(kept, &mut score);
            }
        }
        self.least[tile] = lists.iter().map(|list| list[N - 1]).fold(f32::INFINITY, f32::min);
    }
}

/// The strongest candidate of each direction in each block, within a border of `margin` level pixels; of each tile and
/// direction at least the `N` strongest. `tile_of` tells the tile of a place (level pixels), one of `tiles`.
pub(crate) fn find<const N: usize>(
    level: &Level,
    noise: SampleNoise,
    margin: usize,
    tiles: usize,
    tile_of: impl Fn(usize, usize) -> usize,
) -> Vec<Candidate> {
    let (w, h) = (level.width, level.height);
    let margin = margin.max(3);
    let mut found = Vec::new();
    if w < 2 * margin + BLOCK || h < 2 * margin + BLOCK {
        return found;
    }
    let blocks = w.div_ceil(BLOCK);
    let mut best: Vec<Option<Candidate>> = vec![None; blocks * DIRECTIONS];
    let mut strongest = Strongest::<N>::new(tiles);
    let mut ridge = Ridges { is: [0; STRETCH], direction: [0; STRETCH] };
    let mut rows: Vec<GradientRow> = (0..5).map(|_| GradientRow::new(w)).collect();
    let least = LEAST_SIGNIFICANCE * LEAST_SIGNIFICANCE;
    for y in margin - 2..=margin + 1 {
        rows[y % 5].fill(level, y, noise);
    }
    for y in margin..h - margin {
        rows[(y + 2) % 5].fill(level, y + 2, noise);
        let near: [&GradientRow; 5] = std::array::from_fn(|k| &rows[(y + k + 3) % 5]);
        let here = near[2];
        for from in (margin..w - margin).step_by(STRETCH) {
            let to = (from + STRETCH).min(w - margin);
            // No tile is narrower than a stretch, or hardly one.
            let (first_tile, last_tile) = (tile_of(from, y), tile_of(to - 1, y));
            let in_tiles = strongest.least[first_tile..=last_tile].iter().copied().fold(f32::INFINITY, f32::min);
            let least = least.max(in_tiles);
            // Most stretches hold no edge: all their scores are compared at once.
            if !any_strong(&here.score[from..to], least) {
                continue;
            }
            let mut marks = strong(&here.score[from..to], least);
            // Where few are strong they are looked at one by one.
            let many = marks.count_ones() > FEW;
            if many {
                ridges(near, from, least, &mut ridge);
                marks = ridge.is.iter().zip(&BITS).fold(0, |all, (mark, bit)| all | mark & bit);
            }
            while marks != 0 {
                let i = marks.trailing_zeros() as usize;
                let x = from + i;
                marks &= marks - 1;
                if x >= to {
                    break;
                }
                let score = here.score[x];
                let (gx, gy) = (here.gx[x], here.gy[x]);
                if !many && !is_maximum([near[1], here, near[3]], x) {
                    continue;
                }
                // Only what is stronger than the block has in this direction is looked at further.
                let direction = if many { ridge.direction[i] as usize } else { direction_bin(gx, gy) };
                let slot = &mut best[(x / BLOCK) * DIRECTIONS + direction];
                let weak = score < strongest.least_in(tile_of(x, y), direction);
                if weak || slot.is_some_and(|c| c.score >= score) || (!many && !goes_on(near, x)) {
                    continue;
                }
                let strength = gx * gx + gy * gy;
                if holds_saturated(strength.max(level.dn[y * w + x])) {
                    continue;
                }
                let norm = strength.sqrt();
                *slot = Some(Candidate { x: x as f32, y: y as f32, normal: (gx / norm, gy / norm), score });
            }
        }
        if y % BLOCK == BLOCK - 1 || y + 1 == h - margin {
            for candidate in best.iter_mut().filter_map(Option::take) {
                strongest.add(tile_of(candidate.x as usize, candidate.y as usize), &candidate);
                found.push(candidate);
            }
        }
    }
    // Those that stronger ones came after: sorting all of them takes longer than finding them.
    found.retain(|c| {
        let tile = tile_of(c.x as usize, c.y as usize);
        c.score >= strongest.least_in(tile, direction_bin(c.normal.0, c.normal.1))
    });
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_are_those_of_the_angle() {
        for k in 0..7200 {
            let deg = f64::from(k) * 0.05 + 0.012;
            let (s, c) = deg.to_radians().sin_cos();
            let wanted = (deg % 180.0 / 15.0) as usize;
            assert_eq!(direction_bin(3.0 * c as f32, -3.0 * s as f32), wanted, "{deg}");
        }
        let on_edges = [(1.0, 0.0, 0), (-1.0, 0.0, 0), (1.0, -1.0, 3), (0.0, 1.0, 6), (0.0, -1.0, 6), (1.0, 1.0, 9)];
        for (x, y, bin) in on_edges {
            assert_eq!(direction_bin(x, y), bin, "({x}, {y})");
        }
    }
}
