//! Sums over the samples of a block, many samples at once.

use multiversion::multiversion;

use super::extent::extent;

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
    let (least, greatest) = extent(values);
    let first = i32::from(values[0]);
    // Whole numbers stay exact, and single precision is enough for the slopes.
    let mut sum = 0;
    for &v in values {
        sum += i32::from(v) - first;
    }
    let squares = if greatest - least < NARROW { narrow_squares(values, first) } else { wide_squares(values, first) };
    let mut sums = [[0.0_f32; LANES]; 2];
    let ((v_whole, v_rest), (x_whole, x_rest)) = (values.as_chunks::<LANES>(), x.as_chunks::<LANES>());
    let (y_whole, y_rest) = y.as_chunks::<LANES>();
    for ((v, x), y) in v_whole.iter().zip(x_whole).zip(y_whole) {
        add(&mut sums, first, v, x, y);
    }
    // What is left over is filled up with samples of no weight.
    let n = v_rest.len();
    if n > 0 {
        let (mut v, mut x, mut y) = ([0; LANES], [0.0; LANES], [0.0; LANES]);
        v[..n].copy_from_slice(v_rest);
        x[..n].copy_from_slice(x_rest);
        y[..n].copy_from_slice(y_rest);
        add(&mut sums, first, &v, &x, &y);
    }
    let slopes = [total(&sums[0]), total(&sums[1])];
    PlaneSums { least, greatest, sum, squares, slopes }
}

/// Squares as 16-bit numbers, many at once: 324 squares of 11 bits stay inside 31.
#[inline(always)]
fn narrow_squares(values: &[u16], first: i32) -> f64 {
    let mut sum = 0;
    for &v in values {
        let above = (i32::from(v) - first) as i16;
        sum += i32::from(above) * i32::from(above);
    }
    f64::from(sum)
}

#[inline(always)]
fn wide_squares(values: &[u16], first: i32) -> f64 {
    let mut sum = 0_u64;
    for &v in values {
        let above = u64::from((i32::from(v) - first).unsigned_abs());
        sum += above * above;
    }
    sum as f64
}

#[inline(always)]
fn total(lanes: &[f32; LANES]) -> f64 {
    let mut sum = 0.0;
    for &lane in lanes {
        sum += f64::from(lane);
    }
    sum
}

#[inline(always)]
fn add(sums: &mut [[f32; LANES]; 2], first: i32, v: &[u16; LANES], x: &[f32; LANES], y: &[f32; LANES]) {
    for i in 0..LANES {
        let v = (i32::from(v[i]) - first) as f32;
        sums[0][i] += x[i] * v;
        sums[1][i] += y[i] * v;
    }
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
