//! One integer histogram per plane of the filter array, over the active area.
//!
//! Everything about levels that needs no position (saturation, clipped share, percentiles, floor) comes from these
//! counts: one pass over the samples, 256 KiB per plane.

use rawassay_decode::{Area, Frame};

/// Number of codes of a 16-bit sample.
pub(crate) const CODES: usize = 1 << 16;

/// Counts of each code in one plane.
#[derive(Debug, Clone)]
pub(crate) struct Histogram {
    counts: Vec<u32>,
    total: u64,
}

impl Histogram {
    /// A histogram from counts by code.
    pub(crate) fn new(counts: Vec<u32>) -> Self {
        let total = counts.iter().map(|&c| u64::from(c)).sum();
        Self { counts, total }
    }

    /// Counts by code.
    pub(crate) fn counts(&self) -> &[u32] {
        &self.counts
    }

    /// Samples.
    pub(crate) fn total(&self) -> u64 {
        self.total
    }

    /// Lowest code with a sample in it.
    pub(crate) fn lowest(&self) -> Option<usize> {
        self.counts.iter().position(|&c| c > 0)
    }

    /// Highest code with a sample in it.
    pub(crate) fn highest(&self) -> Option<usize> {
        self.counts.iter().rposition(|&c| c > 0)
    }

    /// Samples in `from..to` (codes).
    pub(crate) fn between(&self, from: usize, to: usize) -> u64 {
        let to = to.min(self.counts.len());
        if from >= to { 0 } else { self.counts[from..to].iter().map(|&c| u64::from(c)).sum() }
    }

    /// Mean of the samples, DN.
    pub(crate) fn mean(&self) -> Option<f64> {
        let sum: u64 = self.counts.iter().enumerate().map(|(code, &n)| code as u64 * u64::from(n)).sum();
        (self.total > 0).then(|| sum as f64 / self.total as f64)
    }

    /// Level below which the share `q` (0..1) of the samples lies, DN. A code stands for the interval of half a code on
    /// either side, its samples spread evenly, so that dark tones are not rounded to whole codes.
    pub(crate) fn quantile(&self, q: f64) -> Option<f64> {
        if self.total == 0 {
            return None;
        }
        let wanted = q.clamp(0.0, 1.0) * self.total as f64;
        let mut below = 0.0;
        for (code, &count) in self.counts.iter().enumerate() {
            let count = f64::from(count);
            if count > 0.0 && below + count >= wanted {
                // A code that alone holds much of the plane is a level of its own, not a slice of a slope.
                if count > 0.2 * self.total as f64 {
                    return Some(code as f64);
                }
                return Some(code as f64 - 0.5 + (wanted - below) / count);
            }
            below += count;
        }
        self.highest().map(|c| c as f64)
    }
}

/// How the samples of a row fall into planes: sample `i` of the row (counted from the first column of the active area)
/// belongs to plane `planes[i % planes.len()]`.
pub(crate) fn row_pattern(frame: &Frame, y: usize) -> Vec<u8> {
    let filter = &frame.filter;
    if filter.is_linear() {
        (0..filter.samples_per_pixel as u8).collect()
    } else {
        (0..filter.columns).map(|c| filter.plane_at(frame.active.x + c, y) as u8).collect()
    }
}

/// The part of the active area that the frame really holds.
pub(crate) fn picture_area(frame: &Frame) -> Area {
    let spp = frame.filter.samples_per_pixel.max(1);
    let stored_rows = if frame.width == 0 { 0 } else { frame.samples.len() / (frame.width * spp) };
    let area = frame.active.intersect(&Area::new(0, 0, frame.width, frame.height.min(stored_rows)));
    if area.is_empty() { Area::new(0, 0, 0, 0) } else { area }
}

/// The two tables of a plane.
fn table_span(plane: u8) -> std::ops::Range<usize> {
    let start = usize::from(plane) * 2 * CODES;
    start..start + 2 * CODES
}

/// Counts a row whose samples belong to two planes in turn, each plane into its two tables in turn.
fn count_two(row: &[u16], first: &mut [u32], second: &mut [u32]) {
    let (first_even, first_odd) = first.split_at_mut(CODES);
    let (second_even, second_odd) = second.split_at_mut(CODES);
    // Tables of a known length need no check of the index.
    let (Some(a), Some(b)) = (first_even.first_chunk_mut::<CODES>(), second_even.first_chunk_mut::<CODES>()) else {
        return;
    };
    let (Some(c), Some(d)) = (first_odd.first_chunk_mut::<CODES>(), second_odd.first_chunk_mut::<CODES>()) else {
        return;
    };
    let (quads, rest) = row.as_chunks::<4>();
    for &[p, q, r, s] in quads {
        a[usize::from(p)] += 1;
        b[usize::from(q)] += 1;
        c[usize::from(r)] += 1;
        d[usize::from(s)] += 1;
    }
    for (i, &v) in rest.iter().enumerate() {
        let table = match i {
            0 => &mut *a,
            1 => &mut *b,
            _ => &mut *c,
        };
        table[usize::from(v)] += 1;
    }
}

/// Counts every plane of the active area.
pub(crate) fn histograms(frame: &Frame) -> Vec<Histogram> {
    let area = picture_area(frame);
    let spp = frame.filter.samples_per_pixel;
    let planes = frame.filter.planes.len();
    // Two tables per plane: equal neighbours then do not wait for each other's count.
    let mut counts = vec![0_u32; planes * 2 * CODES];
    for y in area.y..area.bottom() {
        let row = &frame.row(y)[area.x * spp..area.right() * spp];
        let pattern = row_pattern(frame, y);
        if let [first, second] = pattern[..]
            && first != second
        {
            let tables = counts.get_disjoint_mut([table_span(first), table_span(second)]);
            if let Ok([first, second]) = tables {
                count_two(row, first, second);
                continue;
            }
        }
        let period = pattern.len();
        for (offset, &plane) in pattern.iter().enumerate() {
            let (even, odd) = counts[table_span(plane)].split_at_mut(CODES);
            let mut samples = row.iter().skip(offset).step_by(period);
            while let Some(&a) = samples.next() {
                even[usize::from(a)] += 1;
                if let Some(&b) = samples.next() {
                    odd[usize::from(b)] += 1;
                }
            }
        }
    }
    counts
        .chunks_exact(2 * CODES)
        .map(|pair| {
            let (even, odd) = pair.split_at(CODES);
            Histogram::new(even.iter().zip(odd).map(|(a, b)| a + b).collect())
        })
        .collect()
}
