//! The least and the greatest of many samples.
//!
//! As all functions that are compiled for several widths of vectors, a plain loop: a closure handed to an iterator is not
//! inlined there, and stays a call for each sample.

use multiversion::multiversion;

/// Least and greatest; the wrong way round where there are none.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn extent(samples: &[u16]) -> (u16, u16) {
    let (mut least, mut most) = (u16::MAX, 0);
    for &v in samples {
        least = least.min(v);
        most = most.max(v);
    }
    (least, most)
}

#[cfg(test)]
mod tests {
    #[test]
    fn least_and_greatest_of_any_length() {
        for n in 0..100_u16 {
            let samples: Vec<u16> = (0..n).map(|i| i.wrapping_mul(40_503)).collect();
            let wanted =
                (samples.iter().min().copied().unwrap_or(u16::MAX), samples.iter().max().copied().unwrap_or(0));
            assert_eq!(super::extent(&samples), wanted);
        }
    }
}
