//! The least and the greatest of many samples.

use multiversion::multiversion;

/// Least and greatest; the wrong way round where there are none.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn extent(samples: &[u16]) -> (u16, u16) {
    samples.iter().fold((u16::MAX, 0), |(least, most), &v| (least.min(v), most.max(v)))
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
