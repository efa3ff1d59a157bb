//! Which of a few samples are above a level, as bits: the few that are can then be gone through one by one.

use multiversion::multiversion;

/// Their bits: a table, so that they can be put together without shifts.
const BITS: [u16; 16] = {
    let mut bits = [0; 16];
    let mut i = 0;
    while i < bits.len() {
        bits[i] = 1 << i;
        i += 1;
    }
    bits
};

/// A bit for each of sixteen samples that is above `least`, the first in the lowest bit.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn marks_above(samples: &[u16; 16], least: u16) -> u16 {
    let mut marks = 0;
    for (&v, &bit) in samples.iter().zip(&BITS) {
        marks |= if v > least { bit } else { 0 };
    }
    marks
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_bit_for_each_sample_above() {
        let samples: [u16; 16] = std::array::from_fn(|i| (i as u16).wrapping_mul(40_503));
        for least in [0, 1, 20_000, 40_503, 65_535] {
            let wanted = samples.iter().enumerate().map(|(i, &v)| u16::from(v > least) << i).sum::<u16>();
            assert_eq!(super::marks_above(&samples, least), wanted);
        }
    }
}
