//! Single lines that stand far off all others: offsets of the sensor in a few lines in a hundred, none in the rest.
//!
//! Gives: their offsets, DN. The redescending weight of [`super::line_stretch`] takes what is several noises off for structure,
//! so such lines are looked for by themselves: the mean of the middle half of the second differences at some places of each of
//! eight parts of a line, and of these the lines whose offset is more than five robust standard deviations of all, one after the
//! other, the greatest first, each taken out with what it does to its neighbours. They are the sensor's where all parts show the
//! same offsets, the next lines show nothing of them, as no lens draws lines, and they do not go with the light.
//! Source: own derivation, docs/measures.md (the search is the matching pursuit of Mallat and Zhang, 1993).
//! Fails when: more than a sixth of the lines are off, or most of the picture is structured.

use multiversion::multiversion;
use rawassay_decode::{Area, Frame};

use super::flat_blocks::Usable;
use super::histogram::picture_area;
use super::line_offsets::middle;
use super::line_singles_light::go_with_light;
use super::lines_shown::PARTS;

/// Places of each part that are looked at together, and the fewest that must be usable; and how often where lines are looked at
/// closely.
pub(super) const CLOSELY: usize = 8;
const PLACES: usize = 20;
const FEWEST_PLACES: usize = 12;

/// Lines that are looked at side by side.
const LANES: usize = 16;
type Lanes = [f32; LANES];

/// Robust standard deviations of all lines from which on one is far off.
const FAR: f64 = 5.0;

/// One line in so many may be far off at the most.
const ONE_IN: usize = 6;

/// Fewest lines far off that are banding: fewer may be defective lines.
pub(super) const FEWEST_FAR: usize = 8;

/// Lines over which the scatter of a part is taken.
const AROUND: usize = 64;

/// By so much may a part's offsets differ from all, with three standard errors; parts known worse than that do not tell.
const ALIKE: f64 = 0.2;

/// Fewest parts that tell.
const FEWEST_PARTS: usize = 4;

/// Most that a next line may show of them: half of what the finest lens draws.
const NEXT: f64 = 0.15;

/// Most that the lines next to it may show of one line: what the finest lens draws.
const ALONE: f64 = 0.3;

/// Noise of the differences from which on whole DN follow them, DN.
const FOLLOWS: f64 = 1.0;

/// Far lines.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Singles {
    /// Line and offset, DN.
    pub(super) offsets: Vec<(usize, f64)>,
    /// True where they surely are the sensor's and so many that they are banding.
    pub(super) sure: bool,
    /// True where a lens draws them: then they are the scene's, and only tell against what is found otherwise.
    pub(super) drawn: bool,
    lines: usize,
}

impl Singles {
    /// What they add to the variance of all lines, DN squared.
    pub(super) fn dn2(&self) -> f64 {
        self.offsets.iter().map(|(_, o)| o * o).sum::<f64>() / self.lines.max(1) as f64
    }

    /// The frame without them; clipped samples stay.
    pub(super) fn taken_out(&self, frame: &Frame, usable: &[Usable], rows: bool) -> Frame {
        let (mut out, area) = (frame.clone(), picture_area(frame));
        for &(line, offset) in &self.offsets {
            let count = if rows { area.width } else { area.height };
            for i in 0..count {
                let (x, y) = place(&area, rows, line, i);
                let plane = &usable[frame.filter.plane_at(x, y)];
                let sample = &mut out.samples[y * frame.width + x];
                let v = f64::from(*sample);
                if v < plane.clipped_from && v > plane.floor_dn.unwrap_or(-1.0) {
                    *sample = (v - offset).round().max(0.0) as u16;
                }
            }
        }
        out
    }
}

pub(super) fn place(area: &Area, rows: bool, line: usize, i: usize) -> (usize, usize) {
    if rows { (area.x + i, area.y + line) } else { (area.x + line, area.y + i) }
}

/// The far lines of one direction, like samples so far apart, by so many times the places; `None` where there are none, or the
/// parts do not show the same.
pub(super) fn singles(frame: &Frame, usable: &[Usable], rows: bool, apart: usize, times: usize) -> Option<Singles> {
    let seen = Seen::of(frame, usable, rows, apart, times)?;
    let (found, left) = pursued(&seen, apart);
    let count = found.len();
    let offsets: Vec<(usize, f64)> = found.iter().copied().enumerate().filter(|(_, o)| *o != 0.0).collect();
    if offsets.is_empty() || ONE_IN * offsets.len() > count {
        return None;
    }
    let squares: f64 = offsets.iter().map(|(_, o)| o * o).sum();
    let at = |l: usize| found[l] + offset(&left, l, apart).unwrap_or(0.0);
    // What the lines on both sides show of them, as a lens draws a line of the scene.
    let pairs: Vec<(f64, f64)> =
        offsets.iter().filter_map(|&(l, o)| Some((o * both_sides(&seen.all, l, apart)?, o * o))).collect();
    let of = pairs.iter().map(|p| p.1).sum::<f64>();
    let next = pairs.iter().map(|p| p.0).sum::<f64>() / of;
    let next_error = pairs.iter().map(|p| p.0 * p.0).sum::<f64>().sqrt() / of;
    if next - 2.0 * next_error > NEXT {
        return Some(Singles { offsets, sure: false, drawn: true, lines: count });
    }
    let parts = seen.alike(&offsets, squares, apart);
    // Where the parts do not show the same the scene has such lines.
    let told = parts.iter().filter(|p| p.1).count();
    let unlike = parts.iter().filter(|p| p.1 && !p.0).count();
    if 4 * unlike > told {
        return None;
    }
    let many = pairs.len() >= FEWEST_FAR && next.abs() < NEXT;
    let sure = unlike == 0 && told >= FEWEST_PARTS && many && !go_with_light(frame, usable, rows, apart, &offsets);
    // Few edges of the scene cannot be told by all of them together: each shows in the lines next to it too.
    let alone = |&(l, o): &(usize, f64)| {
        let beside = (1..=apart).flat_map(|by| [l.saturating_sub(by), l + by]);
        beside.filter(|n| *n < count).all(|n| at(n) / o < ALONE)
    };
    let lonely: Vec<(usize, f64)> = offsets.iter().copied().filter(alone).collect();
    // Some come near each other by chance.
    let offsets = if sure || 2 * lonely.len() > offsets.len() { offsets } else { lonely };
    Some(Singles { offsets, sure, drawn: false, lines: count })
}

/// The offsets of far lines, one by one, and the lines' differences without them.
fn pursued(seen: &Seen, apart: usize) -> (Vec<f64>, Vec<f64>) {
    let mut left: Vec<f64> = seen.all.iter().map(|a| a.unwrap_or(0.0)).collect();
    let count = left.len();
    let mut found = vec![0.0_f64; count];
    // What is left scatters less without them: then fainter ones are far off too.
    for _ in 0..3 {
        let mut off = offsets(&left, &seen.all, apart);
        let all = robust(off.iter().flatten().copied().collect());
        // Lines of bright tones scatter more than others.
        let around = |group: &[Option<f64>]| robust(group.iter().flatten().copied().collect()).max(all);
        let spread: Vec<f64> = off.chunks(AROUND).map(around).collect();
        let far = |l: usize, o: f64| o.abs() > FAR * spread[l / AROUND];
        let mut order: Vec<usize> = (0..count).filter(|&l| off[l].is_some_and(|o| far(l, o))).collect();
        order.sort_unstable_by(|a, b| off[*b].unwrap_or(0.0).abs().total_cmp(&off[*a].unwrap_or(0.0).abs()));
        for l in order {
            // Others before it may have taken it along.
            off[l] = offset(&left, l, apart);
            let Some(o) = off[l].filter(|o| far(l, *o)) else { continue };
            // Where the parts do not agree it is the scene that changes, unless others were taken out there.
            if !seen.agree(l, o, &found, apart) {
                continue;
            }
            found[l] += o;
            left[l] -= 2.0 * o;
            left[l - apart] += o;
            left[l + apart] += o;
        }
    }
    (found, left)
}

/// Offset of a line by its difference and those it is part of, least squares.
fn offset(differences: &[f64], l: usize, apart: usize) -> Option<f64> {
    let before = differences.get(l.checked_sub(apart)?)?;
    let after = differences.get(l + apart)?;
    Some((2.0 * differences[l] - before - after) / 6.0)
}

fn offsets(differences: &[f64], known: &[Option<f64>], apart: usize) -> Vec<Option<f64>> {
    let all_known =
        |l: usize| l >= apart && [l - apart, l, l + apart].iter().all(|&l| known.get(l).is_some_and(Option::is_some));
    (0..differences.len()).map(|l| if all_known(l) { offset(differences, l, apart) } else { None }).collect()
}

/// Level of both lines next to one, least squares of the differences they are part of: two apart they take two thirds from what
/// each alone would show.
fn both_sides(differences: &[Option<f64>], l: usize, apart: usize) -> Option<f64> {
    let mut parts: Vec<(usize, f64)> = Vec::with_capacity(6);
    for line in [l.checked_sub(1)?, l + 1] {
        for (at, share) in [(line.checked_sub(apart)?, -1.0), (line, 2.0), (line + apart, -1.0)] {
            match parts.iter_mut().find(|p| p.0 == at) {
                Some(part) => part.1 += share,
                None => parts.push((at, share)),
            }
        }
    }
    let mut sums = (0.0, 0.0);
    for (at, share) in parts {
        sums = (sums.0 + share * differences.get(at).copied()??, sums.1 + share * share);
    }
    Some(sums.0 / sums.1)
}

fn robust(values: Vec<f64>) -> f64 {
    1.483 * middle(values.into_iter().map(f64::abs).collect())
}

/// The lines' differences.
struct Seen {
    /// Of each part of each line, and its standard deviation.
    parts: Vec<[Option<(f64, f64)>; PARTS]>,
    /// Of each line.
    all: Vec<Option<f64>>,
}

impl Seen {
    fn of(frame: &Frame, usable: &[Usable], rows: bool, apart: usize, times: usize) -> Option<Self> {
        let area = picture_area(frame);
        let (count, length) = if rows { (area.height, area.width) } else { (area.width, area.height) };
        if length < PARTS * PLACES * 2 || count < 4 * apart + AROUND {
            return None;
        }
        let times = times.min(length / (PARTS * PLACES * 2));
        let of_all = PARTS * PLACES * times;
        let places: Vec<usize> = (0..of_all).map(|k| (2 * k + 1) * length / (2 * of_all)).collect();
        // Place by place: what is unknown is without bound, and comes last in order.
        let mut differences = vec![f32::INFINITY; places.len() * count];
        let mut look = |line: usize, k: usize| {
            let ((x, y), (bx, by), (ax, ay)) = (
                place(&area, rows, line, places[k]),
                place(&area, rows, line - apart, places[k]),
                place(&area, rows, line + apart, places[k]),
            );
            let plane = &usable[frame.filter.plane_at(x, y)];
            let [b, v, a] = [(bx, by), (x, y), (ax, ay)].map(|(x, y)| f64::from(frame.samples[y * frame.width + x]));
            let low = plane.floor_dn.unwrap_or(-1.0);
            if b.max(v).max(a) < plane.clipped_from && b.min(v).min(a) > low {
                differences[k * count + line] = (2.0 * v - a - b) as f32;
            }
        };
        if rows {
            (apart..count - apart).for_each(|line| (0..places.len()).for_each(|k| look(line, k)));
        } else {
            (0..places.len()).for_each(|k| (apart..count - apart).for_each(|line| look(line, k)));
        }
        // Of each part of a line the sum of the means, and how many are known.
        let mut sums = vec![[(0.0_f64, 0_usize); PARTS]; count];
        for (k, of) in differences.chunks_exact(PLACES * count).enumerate() {
            for line in (0..count).step_by(LANES) {
                let lanes: [Lanes; PLACES] = std::array::from_fn(|k| {
                    let of = &of[k * count + line..(k + 1) * count];
                    of.first_chunk()
                        .copied()
                        .unwrap_or_else(|| std::array::from_fn(|i| of.get(i).copied().unwrap_or(f32::INFINITY)))
                });
                let sorted = in_order(&lanes);
                for (i, sum) in sums[line..].iter_mut().take(LANES).enumerate() {
                    if let Some(mean) = middle_half(&sorted.map(|lanes| lanes[i])) {
                        let sum = &mut sum[k / times];
                        *sum = (sum.0 + mean, sum.1 + 1);
                    }
                }
            }
        }
        let known = |&(sum, n): &(f64, usize)| (2 * n > times).then(|| sum / n as f64);
        let values: Vec<[Option<f64>; PARTS]> = sums.iter().map(|s| s.each_ref().map(known)).collect();
        let mut parts = Vec::with_capacity(count);
        for group in values.chunks(AROUND) {
            let error: [f64; PARTS] =
                std::array::from_fn(|p| robust(group.iter().filter_map(|line| line[p]).collect()));
            let least = FOLLOWS / ((PLACES * times) as f64).sqrt();
            parts.extend(group.iter().map(|line| -> [Option<(f64, f64)>; PARTS] {
                std::array::from_fn(|p| line[p].filter(|_| error[p] > least).map(|v| (v, error[p])))
            }));
        }
        let all = parts.iter().map(mean).collect();
        Some(Self { parts, all })
    }

    /// True where most parts of a line show that offset, those next to it that are known taken out.
    fn agree(&self, l: usize, o: f64, found: &[f64], apart: usize) -> bool {
        let at = |l: usize| found.get(l).copied().unwrap_or(0.0);
        let made = |l: usize| 2.0 * at(l) - l.checked_sub(apart).map_or(0.0, at) - at(l + apart);
        let made = (2.0 * made(l) - made(l - apart) - made(l + apart)) / 6.0;
        let (mut all, mut alike) = (0, 0);
        for p in 0..PARTS {
            if let (Some(b), Some(v), Some(a)) = (self.parts[l - apart][p], self.parts[l][p], self.parts[l + apart][p])
            {
                let off = (2.0 * v.0 - b.0 - a.0) / 6.0 - made - o;
                all += 1;
                alike += usize::from(off.abs() < ALIKE * o.abs() + 3.0 * v.1 / 6.0_f64.sqrt());
            }
        }
        4 * alike >= 3 * all && all >= FEWEST_PARTS
    }

    /// Of each part, whether it shows the same offsets, and whether it tells.
    fn alike(&self, of: &[(usize, f64)], squares: f64, apart: usize) -> [(bool, bool); PARTS] {
        std::array::from_fn(|p| {
            let (mut sum, mut own, mut error2) = (0.0, 0.0, 0.0);
            for &(l, o) in of {
                if let (Some(b), Some(v), Some(a)) =
                    (self.parts[l - apart][p], self.parts[l][p], self.parts[l + apart][p])
                {
                    sum += o * (2.0 * v.0 - b.0 - a.0) / 6.0;
                    own += o * o;
                    error2 += o * o * v.1 * v.1 / 6.0;
                }
            }
            let (share, error) = (sum / own, error2.sqrt() / own);
            let tells = own > 0.5 * squares && 3.0 * error < 2.0 * ALIKE;
            ((share - 1.0).abs() < ALIKE + 3.0 * error, tells)
        })
    }
}

/// Mean of the parts by how well they are known, without those that lie far off the middle one, where the scene changes.
fn mean(parts: &[Option<(f64, f64)>; PARTS]) -> Option<f64> {
    let centre = middle(parts.iter().flatten().map(|p| p.0).collect());
    let known = parts.iter().flatten().filter(|(v, e)| (v - centre).abs() < FAR * e);
    let (n, sum, weight) = known.fold((0, 0.0, 0.0), |t, (v, e)| (t.0 + 1, t.1 + v / (e * e), t.2 + 1.0 / (e * e)));
    (n >= FEWEST_PARTS).then(|| sum / weight)
}

/// Values of each of several lines brought in order: by neighbours, in as many rounds as there are values.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn in_order(values: &[Lanes; PLACES]) -> [Lanes; PLACES] {
    let mut sorted = *values;
    for round in 0..PLACES {
        for k in (round % 2..PLACES - 1).step_by(2) {
            let (a, b) = (sorted[k], sorted[k + 1]);
            sorted[k] = lesser(&a, &b);
            sorted[k + 1] = greater(&a, &b);
        }
    }
    sorted
}

#[inline(always)]
fn greater(a: &Lanes, b: &Lanes) -> Lanes {
    std::array::from_fn(|i| if a[i] < b[i] { b[i] } else { a[i] })
}

#[inline(always)]
fn lesser(a: &Lanes, b: &Lanes) -> Lanes {
    std::array::from_fn(|i| if a[i] < b[i] { a[i] } else { b[i] })
}

/// Mean of the middle half of the known ones of sorted values; `None` of too few.
fn middle_half(values: &[f32; PLACES]) -> Option<f64> {
    let known = values.iter().position(|v| v.is_infinite()).unwrap_or(PLACES);
    let from = known / 4;
    let half = &values[from..known - from];
    (known >= FEWEST_PLACES).then(|| half.iter().map(|v| f64::from(*v)).sum::<f64>() / half.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::both_sides;

    /// Second differences of levels, lines so far apart.
    fn differences(levels: &[f64], apart: usize) -> Vec<Option<f64>> {
        let at = |l: usize| Some(2.0 * levels[l] - levels.get(l.checked_sub(apart)?)? - levels.get(l + apart)?);
        (0..levels.len()).map(at).collect()
    }

    #[test]
    fn the_lines_on_both_sides_are_seen_whole_however_far_apart_lines_are_compared() {
        for apart in [2, 3, 6] {
            let mut levels = vec![10.0; 60];
            // What a lens draws of a line, its sides as they are; and a line alone.
            (levels[29], levels[30], levels[31]) = (10.0 + 4.0, 10.0 + 9.0, 10.0 + 4.0);
            let seen = both_sides(&differences(&levels, apart), 30, apart);
            assert!(seen.is_some_and(|v| (v - 4.0).abs() < 1e-9), "{apart}: {seen:?}");
            (levels[29], levels[31]) = (10.0, 10.0);
            let seen = both_sides(&differences(&levels, apart), 30, apart);
            assert!(seen.is_some_and(|v| v.abs() < 1e-9), "{apart}: {seen:?}");
            assert_eq!(both_sides(&differences(&levels, apart), 1, apart), None);
        }
    }
}
