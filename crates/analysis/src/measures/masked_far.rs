//! Lines of a masked border that stand far off all others, so far that a limit about the level of all leaves them out.
//!
//! Gives: the lines' levels once more, each sample within four standard deviations of the middle one of its own line, so that a
//! whole line counts wherever it lies and a hot pixel does not.
//! Source: own derivation, docs/measures.md.
//! Fails when: more than four next lines are far off: other photosites, like rows for tests of the sensor, are no banding.

use super::line_offsets::middle;
use super::masked::FEWEST_IN_LINE;
use super::masked_between::Between;

/// Standard deviations from the middle of the line within which samples count.
const WITHIN: f64 = 4.0;

/// Next lines far off that are still single ones.
const MOST_NEXT: usize = 4;

/// A sample of a line: how far off the level of all, the noise's variance, whether the limit about that level keeps it, and
/// whether its code is zero.
pub(super) struct LineSample {
    pub(super) off: f64,
    pub(super) variance: f64,
    pub(super) counts: bool,
    pub(super) zero: bool,
}

/// A stretch of the border with its far lines.
pub(super) struct Far {
    pub(super) count: usize,
    /// Some are cut off at code zero, and how far off they are is not known.
    pub(super) at_zero: bool,
    pub(super) lines: Between,
}

/// Looks for lines most of whose samples the limit leaves out; `None` where there are none.
pub(super) fn far_lines(count: usize, line: &dyn Fn(usize) -> Vec<LineSample>) -> Option<Far> {
    let left_out = |of: &[LineSample]| 2 * of.iter().filter(|s| s.counts).count() < of.len();
    let mut far: Vec<bool> = (0..count).map(|l| left_out(&line(l))).collect();
    let mut single = 0;
    let many: Vec<bool> =
        far.chunk_by(|a, b| a == b).flat_map(|run| vec![run[0] && run.len() > MOST_NEXT; run.len()]).collect();
    for (far, many) in far.iter_mut().zip(&many) {
        *far &= !many;
        single += usize::from(*far);
    }
    if single == 0 {
        return None;
    }
    let level = |l: usize| {
        let samples = line(l);
        let centre = middle(samples.iter().map(|s| s.off).collect());
        let (mut n, mut sum, mut noise) = (0.0, 0.0, 0.0);
        for s in samples.iter().filter(|s| (s.off - centre).powi(2) <= WITHIN.powi(2) * s.variance) {
            (n, sum, noise) = (n + 1.0, sum + s.off, noise + s.variance);
        }
        (n as usize >= FEWEST_IN_LINE).then(|| [l as f64, sum / n, noise / (n * n)])
    };
    let lines: Vec<[f64; 3]> = (0..count).filter(|&l| !many[l]).filter_map(level).collect();
    let at_zero = (0..count).filter(|&l| far[l]).any(|l| line(l).iter().any(|s| s.zero));
    Some(Far { count: single, at_zero, lines: Between::of(&lines) })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use rawassay_decode::{Area, Frame};

    use super::super::masked::{Unsized, measure};
    use crate::test_frames::{Noise, Sensor};

    /// A frame with a border at its left, noise of two DN, and those offsets of its rows, DN.
    fn bordered(seed: u64, black: f64, row: impl Fn(usize) -> f64) -> Frame {
        let mut rng = Noise::new(seed);
        let mut frame = Sensor { width: 400, height: 800, black, ..Sensor::default() }
            .draw(|_, y, _, s| (s.black + 2.0 * rng.normal() + row(y)).round().max(0.0));
        frame.active = Area::new(40, 0, 360, 800);
        frame.masked = vec![Area::new(0, 0, 40, 800)];
        frame
    }

    /// One row in twenty is off, by some noises.
    fn sparse(seed: u64, dn: f64) -> (Vec<f64>, f64) {
        let mut rng = Noise::new(seed);
        let rows: Vec<f64> = (0..800).map(|_| if rng.uniform() < 0.05 { dn * rng.normal() } else { 0.0 }).collect();
        let mean = rows.iter().sum::<f64>() / 800.0;
        let size = (rows.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 800.0).sqrt();
        (rows, size)
    }

    #[test]
    fn few_rows_far_off_count_whole() {
        for (seed, dn) in [(1, 3.0), (2, 9.0), (3, 18.0), (4, 40.0)] {
            let (rows, size) = sparse(seed, dn);
            let found = measure(&bordered(seed, 512.0, |y| rows[y]));
            let banding = found.row_banding_dn.unwrap();
            assert!((banding / size - 1.0).abs() < 0.08, "{dn}: {banding} of {size}");
            let read = found.read_noise_dn[0].unwrap();
            assert!((read / 2.0 - 1.0).abs() < 0.05, "{dn}: {read}");
        }
    }

    #[test]
    fn what_is_cut_off_at_zero_and_a_defective_row_or_two_have_no_size() {
        let (rows, size) = sparse(5, 18.0);
        for black in [9.0, 24.0, 40.0] {
            let found = measure(&bordered(5, black, |y| rows[y]));
            let off = |dn: f64| (dn / size - 1.0).abs();
            assert!(found.row_banding_dn.is_none_or(|dn| off(dn) < 0.2), "{black}: {found:?} of {size}");
        }
        let found = measure(&bordered(6, 512.0, |y| if y == 77 || y == 500 { 60.0 } else { 0.0 }));
        assert_eq!((found.row_banding_dn, found.unsized_lines), (None, [Some(Unsized::Few(2)), None]));
    }

    #[test]
    fn rows_of_another_kind_side_by_side_are_no_banding() {
        let found = measure(&bordered(7, 512.0, |y| if y < 12 { 60.0 } else { 0.0 }));
        assert_eq!((found.row_banding_dn, found.unsized_lines), (Some(0.0), [None, None]));
    }
}
