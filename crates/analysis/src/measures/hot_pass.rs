//! The pass over the frame that finds the few samples which may be hot pixels: whole stretches are compared at once.

use multiversion::multiversion;
use rawassay_decode::Frame;

use super::few_samples::ALONE;
use super::histogram::picture_area;
use super::hot_sites::RANGE_NOISE;
use super::marks::marks_above;

/// Height above the second highest of the four next samples of a like cell from which a sample is looked at, standard
/// deviations.
const LOOKED_AT: f64 = 3.5;

/// Samples of a row that are looked at together before one by one: nearly all stretches hold nothing.
const STRETCH: usize = 32;

/// Calls `each` for every sample that stands above at least three of the four next samples of a like cell of the array.
pub(super) fn look_over(
    frame: &Frame,
    (margin_x, margin_y): (usize, usize),
    variance: &impl Fn(usize, f64) -> f64,
    mut each: impl FnMut(usize, usize),
) {
    let area = picture_area(frame);
    let (dx, dy) = (frame.filter.columns, frame.filter.rows);
    // The least height by level, 16 codes a step, the least of the planes.
    let planes = frame.filter.planes.len();
    let least: Vec<u16> = (0..4096)
        .map(|i| {
            let v = (0..planes).map(|p| variance(p, 16.0 * f64::from(i))).fold(f64::INFINITY, f64::min);
            (LOOKED_AT * v.max(0.0).sqrt()).clamp(1.0, 65535.0) as u16
        })
        .collect();
    // The least of all levels from here on: what no sample of a stretch whose darkest side is here may exceed.
    let mut from_here = least.clone();
    for i in (0..from_here.len() - 1).rev() {
        from_here[i] = from_here[i].min(from_here[i + 1]);
    }
    // Four standard deviations, the most of all levels up to here and of the next step.
    let mut up_to_here: Vec<u16> = (1..=4096)
        .map(|i| {
            let v = (0..planes).map(|p| variance(p, 16.0 * f64::from(i))).fold(0.0, f64::max);
            (RANGE_NOISE * v.max(0.0).sqrt() + 1.0).clamp(1.0, 65535.0) as u16
        })
        .collect();
    for i in 1..up_to_here.len() {
        up_to_here[i] = up_to_here[i].max(up_to_here[i - 1]);
    }
    let n = area.width - 2 * margin_x;
    let first = area.x + margin_x;
    let (mut side, mut step) = ([0_u16; STRETCH], [0_u16; STRETCH]);
    let mut next = Eight { highest: [0; STRETCH], above: [0; STRETCH], lowest: [0; STRETCH] };
    for y in area.y + margin_y..area.bottom() - margin_y {
        let (row, row_over, row_under) = (frame.row(y), frame.row(y - dy), frame.row(y + dy));
        for start in (0..n).step_by(STRETCH) {
            let (x, len) = (first + start, STRETCH.min(n - start));
            let here = &row[x..][..len];
            let (left, right) = (&row[x - dx..][..len], &row[x + dx..][..len]);
            let (over, under) = (&row_over[x..][..len], &row_under[x..][..len]);
            let around = [left, right, over, under];
            let (step_dn, darkest) = match around.map(<[u16]>::first_chunk::<STRETCH>) {
                [Some(l), Some(r), Some(o), Some(u)] => whole_steps(here, [l, r, o, u], &mut side, &mut step),
                _ => steps(here, around, &mut side[..len], &mut step[..len]),
            };
            let least_here = from_here[usize::from(darkest >> 4)];
            if step_dn <= least_here {
                continue;
            }
            // In arrays of at most 2 x 2 the diagonal ones of a like cell are as near: a hot pixel stands above all but one.
            let rows = [row_over, row, row_under].map(|row| &row[x - dx..]);
            let sifted =
                if dx <= 2 && dy <= 2 { sift(&mut next, rows, dx, &mut step, [&from_here, &up_to_here]) } else { None };
            if sifted == Some(0) {
                continue;
            }
            step[len..].fill(0);
            for (half, steps) in step.as_chunks::<16>().0.iter().enumerate() {
                let mut left = marks_above(steps, least_here);
                while left != 0 {
                    let i = 16 * half + left.trailing_zeros() as usize;
                    left &= left - 1;
                    if step[i] > least[usize::from(side[i] >> 4)]
                        && (sifted.is_none() || next.stands_out(i, &from_here, &up_to_here))
                    {
                        each(x + i, y);
                    }
                }
            }
        }
    }
}

/// The second highest of the four next samples of a like cell, and how far each sample stands above it; the greatest height
/// and the darkest of the sides.
#[inline(always)]
fn steps(here: &[u16], [left, right, over, under]: [&[u16]; 4], side: &mut [u16], step: &mut [u16]) -> (u16, u16) {
    let n = here.len();
    let (left, right, over, under) = (&left[..n], &right[..n], &over[..n], &under[..n]);
    let (side, step) = (&mut side[..n], &mut step[..n]);
    let (mut step_dn, mut darkest) = (0, u16::MAX);
    for i in 0..n {
        let across = (left[i].max(right[i]), left[i].min(right[i]));
        let down = (over[i].max(under[i]), over[i].min(under[i]));
        side[i] = across.0.min(down.0).max(across.1.max(down.1));
        step[i] = here[i].saturating_sub(side[i]);
        step_dn = step_dn.max(step[i]);
        darkest = darkest.min(side[i]);
    }
    (step_dn, darkest)
}

/// [`steps`] of a whole stretch.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn whole_steps(
    here: &[u16],
    around: [&[u16; STRETCH]; 4],
    side: &mut [u16; STRETCH],
    step: &mut [u16; STRETCH],
) -> (u16, u16) {
    let Some(here) = here.first_chunk::<STRETCH>() else { return (0, u16::MAX) };
    steps(here, around.map(|row| &row[..]), side, step)
}

/// The eight next samples of a like cell, for each sample of a stretch.
struct Eight {
    /// Highest of them, or the second where the highest may be hot itself: where it stands out by so many of the differences
    /// of the others as [`ALONE`] says.
    highest: [u16; STRETCH],
    /// Height of the sample above that.
    above: [u16; STRETCH],
    lowest: [u16; STRETCH],
}

/// The stretches at the start of a row, `dx` on and twice that on.
#[inline(always)]
fn three(row: &[u16], dx: usize) -> Option<[&[u16; STRETCH]; 3]> {
    Some([stretch(row, 0)?, stretch(row, dx)?, stretch(row, 2 * dx)?])
}

#[inline(always)]
fn stretch(row: &[u16], from: usize) -> Option<&[u16; STRETCH]> {
    row.get(from..)?.first_chunk()
}

impl Eight {
    /// What [`sift`] asks of one sample, by its own eight alone.
    fn stands_out(&self, i: usize, from_here: &[u16], up_to_here: &[u16]) -> bool {
        let (lowest, highest, above) = (self.lowest[i], self.highest[i], self.above[i]);
        let range = (highest - lowest).saturating_sub(up_to_here[usize::from(highest >> 4)]);
        above > from_here[usize::from(lowest >> 4)] && above >= range / 2
    }
}

/// Looks at the eight of each sample; `rows` are those above, of and below the stretch, from `dx` columns before. Takes the
/// steps of those samples away that do not stand out of their eight as [`super::hot_sites`] asks for at the least: by
/// the noise (`from_here`: its least by level, 16 codes a step) and by half of what the eight differ beyond the noise
/// (`up_to_here`: four standard deviations at the most). Gives the greatest of those left; `None` for what is left at the end
/// of a row.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn sift(
    eight: &mut Eight,
    rows: [&[u16]; 3],
    dx: usize,
    step: &mut [u16; STRETCH],
    [from_here, up_to_here]: [&[u16]; 2],
) -> Option<u16> {
    let [Some([a, b, c]), Some([d, here, e]), Some([f, g, h])] = rows.map(|row| three(row, dx)) else { return None };
    let (mut darkest, mut brightest) = (u16::MAX, 0);
    for i in 0..STRETCH {
        // Highest, second and lowest of two pairs of pairs, then of all.
        let (p, q, r, s) = (a[i].max(b[i]), c[i].max(d[i]), e[i].max(f[i]), g[i].max(h[i]));
        let (t, u, v, w) = (a[i].min(b[i]), c[i].min(d[i]), e[i].min(f[i]), g[i].min(h[i]));
        let (high_one, second_one) = (p.max(q), p.min(q).max(t.max(u)));
        let (high_two, second_two) = (r.max(s), r.min(s).max(v.max(w)));
        let (high, second) = (high_one.max(high_two), high_one.min(high_two).max(second_one.max(second_two)));
        let lowest = t.min(u).min(v.min(w));
        // A saturating product would keep the compiler from vectors.
        let far = (0..ALONE.0 as u16).fold(0_u16, |far, _| far.saturating_add(second - lowest));
        let may_be_hot = high - second > far;
        let highest = if may_be_hot { second } else { high };
        eight.highest[i] = highest;
        eight.above[i] = here[i].saturating_sub(highest);
        eight.lowest[i] = lowest;
        darkest = darkest.min(lowest);
        brightest = brightest.max(highest);
    }
    let least_dn = from_here[usize::from(darkest >> 4)];
    let range_noise_dn = up_to_here[usize::from(brightest >> 4)];
    let mut greatest = 0;
    for (i, step) in step.iter_mut().enumerate() {
        let range = (eight.highest[i] - eight.lowest[i]).saturating_sub(range_noise_dn);
        let out = (eight.above[i] > least_dn) & (eight.above[i] >= range / 2);
        *step = if out { *step } else { 0 };
        greatest = greatest.max(*step);
    }
    Some(greatest)
}
