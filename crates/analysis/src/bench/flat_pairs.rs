//! Pairs of frames of one even light: means, temporal variance, what stands still, and counts, by plane.

use rawassay_decode::{Area, Frame, Shot};

use super::fixed_pattern::{self, Standing};
use super::photon_transfer::TransferPoint;
use crate::measures::histogram::{CODES, Histogram, picture_area};

/// Below this share of the range above black the two frames of a pair are taken to have the same light.
const DIM: f64 = 0.002;

/// Means and temporal variances of a pair, by plane.
pub(super) struct Pair {
    /// The first frame of the two.
    pub(super) name: String,
    pub(super) shot: Shot,
    pub(super) points: Vec<TransferPoint>,
    /// What stands still in it.
    pub(super) standing: Vec<Standing>,
    /// Both frames' samples by code.
    pub(super) counts: Vec<Histogram>,
}

/// The middle of the picture, its corner on a whole period of the filter array from the picture's.
pub(super) fn middle(frame: &Frame) -> Area {
    let area = picture_area(frame);
    let (period_x, period_y) = (frame.filter.columns.max(1), frame.filter.rows.max(1));
    let (dx, dy) = (area.width * 3 / 20 / period_x * period_x, area.height * 3 / 20 / period_y * period_y);
    Area::new(area.x + dx, area.y + dy, area.width - 2 * dx, area.height - 2 * dy)
}

/// Mean of each plane, DN.
pub(super) fn means(frame: &Frame, area: &Area) -> Vec<f64> {
    let mut sums = vec![(0_u64, 0_u64); frame.filter.planes.len()];
    for y in area.y..area.bottom() {
        let row = &frame.row(y)[area.x..area.right()];
        for (x, &v) in row.iter().enumerate() {
            let s = &mut sums[frame.filter.plane_at(area.x + x, y)];
            s.0 += u64::from(v);
            s.1 += 1;
        }
    }
    sums.iter().map(|&(sum, n)| sum as f64 / n.max(1) as f64).collect()
}

/// Means and temporal variance of a pair, plane by plane. The second frame is brought to the first one's light before the
/// difference is taken: else a lamp that flickers would leave the square of it times the unevenness.
pub(super) fn pair(name: &str, a: &Frame, b: &Frame, area: &Area) -> Pair {
    // Sums of a, b, their squares and product, in whole numbers: exact.
    let mut sums = vec![[0_u64; 6]; a.filter.planes.len()];
    for y in area.y..area.bottom() {
        let (ra, rb) = (&a.row(y)[area.x..area.right()], &b.row(y)[area.x..area.right()]);
        for (x, (&va, &vb)) in ra.iter().zip(rb).enumerate() {
            let s = &mut sums[a.filter.plane_at(area.x + x, y)];
            let (va, vb) = (u64::from(va), u64::from(vb));
            for (sum, add) in s.iter_mut().zip([1, va, vb, va * va, vb * vb, va * vb]) {
                *sum += add;
            }
        }
    }
    let points = sums
        .iter()
        .zip(&a.levels)
        .map(|(&[n, sa, sb, aa, bb, ab], levels)| {
            let count = n.max(1) as f64;
            let about = |xy: u64, x: u64, y: u64| {
                let whole = i128::from(n) * i128::from(xy) - i128::from(x) * i128::from(y);
                whole as f64 / (count * count)
            };
            let (var_a, var_b, both) = (about(aa, sa, sa), about(bb, sb, sb), about(ab, sa, sb));
            let light = |sum: u64| sum as f64 / count - levels.black_dn;
            let least = DIM * (levels.white_declared_dn - levels.black_dn);
            let scale = if light(sa).min(light(sb)) > least { light(sa) / light(sb) } else { 1.0 };
            let difference = var_a + scale * scale * var_b - 2.0 * scale * both;
            TransferPoint {
                mean_dn: 0.5 * (sa + sb) as f64 / count,
                variance_dn2: (difference / (1.0 + scale * scale)).max(0.0),
                shutter_s: a.shot.shutter_s,
                pixels: n,
            }
        })
        .collect();
    let counts = counts(&[a, b], area);
    Pair { name: name.into(), shot: a.shot.clone(), points, standing: fixed_pattern::standing(a, b, area), counts }
}

/// Samples of the frames by code, plane by plane, up to the highest.
fn counts(frames: &[&Frame], area: &Area) -> Vec<Histogram> {
    let mut counts = vec![vec![0_u32; CODES]; frames[0].filter.planes.len()];
    for frame in frames {
        for y in area.y..area.bottom() {
            for (x, &v) in frame.row(y)[area.x..area.right()].iter().enumerate() {
                counts[frame.filter.plane_at(area.x + x, y)][usize::from(v)] += 1;
            }
        }
    }
    let up_to_highest = |mut counts: Vec<u32>| {
        counts.truncate(counts.iter().rposition(|&n| n > 0).map_or(0, |highest| highest + 1));
        counts.shrink_to_fit();
        Histogram::new(counts)
    };
    counts.into_iter().map(up_to_highest).collect()
}
