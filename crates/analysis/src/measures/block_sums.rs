//! Sums over the samples of a block, many samples at once.

use multiversion::multiversion;

/// Numbers that are added up at once: in a fixed order, so that the result is the same on every processor.
pub(crate) const LANES: usize = 8;

/// Spread of a block's samples below which squares of their distances fit into 16-bit products.
const NARROW: u16 = 1 << 11;

/// Sums of one plane of a block, counted from its first sample.
pub(crate) struct PlaneSums {
    pub(crate) least: u16,
    pub(crate) greatest: u16,
    pub(crate) sum: i32,
    pub(crate) squares: f64,
    /// Of the products with the places across and down.
    pub(crate) slopes: [f64; 2],
}

/// Sums of the samples `values`, which lie at `x`, `y`.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn plane_sums(values: &[u16], x: &[f32], y: &[f32]) -> PlaneSums {
    let least = values.iter().fold(u16::MAX, |m, &v| m.min(v));
    let greatest = values.iter().fold(0, |m, &v| m.max(v));
    let first = i32::from(values[0]);
    // Whole numbers stay exact, and single precision is enough for the slopes.
    let above = |v: u16| i32::from(v) - first;
    let sum: i32 = values.iter().map(|&v| above(v)).sum();
    let squares = if greatest - least < NARROW {
        // As 16-bit numbers, many at once: 324 squares of 11 bits stay inside 31.
        let square = |v: u16| i32::from(above(v) as i16) * i32::from(above(v) as i16);
        f64::from(values.iter().map(|&v| square(v)).sum::<i32>())
    } else {
        values.iter().map(|&v| u64::from(above(v).unsigned_abs())).map(|v| v * v).sum::<u64>() as f64
    };
    let mut sums = [[0.0_f32; LANES]; 2];
    let mut add = |v: &[u16; LANES], x: &[f32; LANES], y: &[f32; LANES]| {
        for i in 0..LANES {
            let v = above(v[i]) as f32;
            sums[0][i] += x[i] * v;
            sums[1][i] += y[i] * v;
        }
    };
    let ((v_whole, v_rest), (x_whole, x_rest)) = (values.as_chunks::<LANES>(), x.as_chunks::<LANES>());
    let (y_whole, y_rest) = y.as_chunks::<LANES>();
    for ((v, x), y) in v_whole.iter().zip(x_whole).zip(y_whole) {
        add(v, x, y);
    }
    // What is left over is filled up with samples of no weight.
    let part = |rest: &[f32]| std::array::from_fn(|i| rest.get(i).copied().unwrap_or(0.0));
    if !v_rest.is_empty() {
        add(&std::array::from_fn(|i| v_rest.get(i).copied().unwrap_or(0)), &part(x_rest), &part(y_rest));
    }
    let slopes = sums.map(|lanes| lanes.iter().map(|&l| f64::from(l)).sum::<f64>());
    PlaneSums { least, greatest, sum, squares, slopes }
}

/// Products of the first `places` values with those at each of the distances, added up in lanes.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn pair_sums(values: &[f32], places: usize, distances: [usize; 6]) -> [[f32; LANES]; 6] {
    let partners = distances.map(|distance| &values[distance..]);
    let mut sums = [[0.0_f32; LANES]; 6];
    for at in (0..places).step_by(LANES) {
        let Some(here) = values[at..].first_chunk::<LANES>() else { break };
        for (sum, partner) in sums.iter_mut().zip(partners) {
            let Some(there) = partner[at..].first_chunk::<LANES>() else { break };
            for i in 0..LANES {
                sum[i] += here[i] * there[i];
            }
        }
    }
    sums
}

/// What mean, slope across and slope down (of both planes of the row) leave of a row of a block, scaled.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(crate) fn left_of_row(
    row: &[u16; 16],
    [mean, across, scale]: [&[f32; 16]; 3],
    down: [f32; 2],
    left: &mut [f32; 16],
) {
    for i in 0..16 {
        left[i] = (f32::from(row[i]) - mean[i] - across[i] - down[i % 2]) * scale[i];
    }
}
