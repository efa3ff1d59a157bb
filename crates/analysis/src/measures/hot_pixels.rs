//! Single pixels that stand alone far above what surrounds them.
//!
//! Measures: their count. A pixel is hot where it stands at least eight standard deviations of the noise above its
//! surroundings. It is seen where the scene cannot have made it ([`super::hot_sites`]): no spot that passed a lens lights
//! one pixel alone, and no structure near it is like it. Fine structure hides some: those of each height are seen in a
//! known share of the frame, which is tried at places spread evenly over it, and each that is seen counts one over that share.
//! Source: own derivation (the weights are those of Horvitz and Thompson, 1952); docs/measures.md.
//! Fails when: the noise of the frame is unknown; structure hides so many that the count would be a guess, or is itself
//! counted (then stricter tests would find fewer): `None` with a note.

use rawassay_decode::Frame;

use super::histogram::picture_area;
use super::hot_sites::{RANGE_NOISE, Site, Surroundings, TALL};

/// Height above the second highest of the four next samples of a like cell from which a sample is looked at, standard
/// deviations.
const LOOKED_AT: f64 = 3.5;

/// Samples of a row that are looked at together before one by one: nearly all stretches hold nothing.
const STRETCH: usize = 32;

/// Samples of such a stretch that are passed over together where it does hold something.
const EIGHT: usize = 8;

/// Places at which it is tried how tall a hot pixel has to be.
const TRIED: usize = 900;

/// Weight of one that is seen, at the most.
const GREATEST_WEIGHT: f64 = 10.0;

/// Places to both sides, in the order of their room, that a clipped one is held against.
const LIKE_ROOM: usize = 75;

/// How far they must stand out of what the scene could make, for the milder and the stricter test: structure reaches up to
/// twice that, rarely beyond 1.3 times.
const MILD: f64 = 1.3;
const STRICT: f64 = 2.0;

/// Fewer than this must pass the stricter test too.
const FEW: f64 = 5.5;

/// Chance that is borne: the count's own, as a share and in pixels.
const CHANCE_SHARE: f64 = 0.03;
const CHANCE_PIXELS: f64 = 1.2;

/// Share of the frame in which a bright hot pixel must be seen where none is found.
const SEEN_SHARE: f64 = 0.5;

/// Why they are not counted.
const HIDDEN: &str =
    "hot pixels: not countable, fine structure over most of the frame would hide them or look like them";

const FAINT: &str = "hot pixels: not countable, some may be noise, which is not known in all tones of this frame";

/// Counts hot pixels. `variance(plane, level)` is the noise of a tone at a level (DN absolute), DN squared; from
/// `clipped_from` on a plane's samples are clipped.
///
/// # Errors
/// Why they cannot be counted, as a note.
pub(crate) fn count(
    frame: &Frame,
    clipped_from: &[f64],
    variance: impl Fn(usize, f64) -> f64,
) -> Result<Option<u64>, &'static str> {
    let Some(mut around) = Surroundings::of(frame, &variance) else { return Ok(None) };
    let area = picture_area(frame);
    let (margin_x, margin_y) = around.margins();
    if area.width <= 2 * margin_x || area.height <= 2 * margin_y {
        return Ok(Some(0));
    }
    let mut found: Vec<(Site, bool)> = Vec::new();
    look_over(frame, (margin_x, margin_y), &variance, |x, y| {
        if let Some(site) = around.candidate(x, y) {
            let clipped = f64::from(frame.samples[y * frame.width + x]) >= clipped_from[site.plane];
            found.push((site, clipped));
        }
    });
    let tried = tried(frame, (margin_x, margin_y), &mut around);
    let open: Vec<(Site, f64)> = tried
        .into_iter()
        .map(|s| (s, clipped_from[s.plane] - s.level_dn))
        .filter(|(s, room)| TALL * s.noise_dn < *room)
        .collect();
    let [mild, strict] = [MILD, STRICT].map(|strictness| reckoned(&found, &open, strictness));
    let apart = 3.0 * (strict.chance.powi(2) - mild.chance.powi(2)).max(1.0).sqrt() + 0.03 * mild.count + 2.0;
    // The milder test hangs less on chance, but lets structure pass: then, and of a few, the stricter one is believed.
    let structure = mild.count < FEW || mild.count - strict.count > apart;
    let (Reckoned { count, chance }, strictness) = if structure { (strict, STRICT) } else { (mild, MILD) };
    if count == 0.0 {
        let seen = open.iter().filter(|(s, room)| s.least_dn(strictness, false) < 0.5 * room).count();
        return if (seen as f64) < SEEN_SHARE * open.len() as f64 { Err(HIDDEN) } else { Ok(Some(0)) };
    }
    if chance > CHANCE_PIXELS.max(CHANCE_SHARE * count) {
        return Err(HIDDEN);
    }
    let inside = (area.width - 2 * margin_x) * (area.height - 2 * margin_y);
    let with_rim = (area.width * area.height) as f64 / inside as f64;
    Ok(Some((with_rim * count).round() as u64))
}

/// The count that holds for the greatest and for the least noise that the tones may have.
///
/// # Errors
/// Where the two differ.
pub(crate) fn agreed(most_noise: Option<u64>, least_noise: Option<u64>) -> Result<Option<u64>, &'static str> {
    let (Some(few), Some(many)) = (most_noise, least_noise) else { return Ok(None) };
    let apart = few.abs_diff(many) as f64;
    if apart > CHANCE_PIXELS.max(CHANCE_SHARE * many as f64) { Err(FAINT) } else { Ok(most_noise) }
}

/// Calls `each` for every sample that stands above at least three of the four next samples of a like cell of the array.
fn look_over(
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
    for y in area.y + margin_y..area.bottom() - margin_y {
        let (row, row_over, row_under) = (frame.row(y), frame.row(y - dy), frame.row(y + dy));
        for start in (0..n).step_by(STRETCH) {
            let (x, len) = (first + start, STRETCH.min(n - start));
            let here = &row[x..][..len];
            let (left, right) = (&row[x - dx..][..len], &row[x + dx..][..len]);
            let (over, under) = (&row_over[x..][..len], &row_under[x..][..len]);
            let (mut step_dn, mut darkest) = (0, u16::MAX);
            for i in 0..len {
                // The second highest of the four.
                let across = (left[i].max(right[i]), left[i].min(right[i]));
                let down = (over[i].max(under[i]), over[i].min(under[i]));
                side[i] = across.0.min(down.0).max(across.1.max(down.1));
                step[i] = here[i].saturating_sub(side[i]);
                step_dn = step_dn.max(step[i]);
                darkest = darkest.min(side[i]);
            }
            let least_here = from_here[usize::from(darkest >> 4)];
            if step_dn <= least_here {
                continue;
            }
            // In arrays of at most 2 x 2 the diagonal ones of a like cell are as near: a hot pixel stands above all but one.
            if dx <= 2
                && dy <= 2
                && let Some(eight) = eight([row_over, row, row_under].map(|row| &row[x - dx..]), dx)
            {
                eight.sift(&mut step, &from_here, &up_to_here);
            }
            for (group, steps) in step[..len].chunks(EIGHT).enumerate() {
                if !steps.iter().fold(false, |any, &s| any | (s > least_here)) {
                    continue;
                }
                for (i, &step) in steps.iter().enumerate() {
                    let i = group * EIGHT + i;
                    if step > least_here && step > least[usize::from(side[i] >> 4)] {
                        each(x + i, y);
                    }
                }
            }
        }
    }
}

/// The eight next samples of a like cell, for each sample of a stretch.
struct Eight {
    /// Second highest of them.
    second: [u16; STRETCH],
    /// Height of the sample above that.
    above: [u16; STRETCH],
    lowest: [u16; STRETCH],
}

/// Looks at the eight; `rows` are those above, of and below the stretch, from `dx` columns before. `None` for what is left at
/// the end of a row.
fn eight(rows: [&[u16]; 3], dx: usize) -> Option<Eight> {
    let chunk = |row: usize, from: usize| rows[row].get(from..).and_then(|v| v.first_chunk::<STRETCH>());
    let [a, b, c] = [chunk(0, 0)?, chunk(0, dx)?, chunk(0, 2 * dx)?];
    let [d, here, e] = [chunk(1, 0)?, chunk(1, dx)?, chunk(1, 2 * dx)?];
    let [f, g, h] = [chunk(2, 0)?, chunk(2, dx)?, chunk(2, 2 * dx)?];
    let mut eight = Eight { second: [0; STRETCH], above: [0; STRETCH], lowest: [0; STRETCH] };
    for i in 0..STRETCH {
        // Highest, second and lowest of two pairs of pairs, then of all.
        let (p, q, r, s) = (a[i].max(b[i]), c[i].max(d[i]), e[i].max(f[i]), g[i].max(h[i]));
        let (t, u, v, w) = (a[i].min(b[i]), c[i].min(d[i]), e[i].min(f[i]), g[i].min(h[i]));
        let (high_one, second_one) = (p.max(q), p.min(q).max(t.max(u)));
        let (high_two, second_two) = (r.max(s), r.min(s).max(v.max(w)));
        let second = high_one.min(high_two).max(second_one.max(second_two));
        eight.second[i] = second;
        eight.above[i] = here[i].saturating_sub(second);
        eight.lowest[i] = t.min(u).min(v.min(w));
    }
    Some(eight)
}

impl Eight {
    /// Takes the steps of those samples away that do not stand out of their eight as [`super::hot_sites`] asks for at the
    /// least: by the noise (`from_here`: its least by level, 16 codes a step) and by half of what the eight differ beyond
    /// the noise (`up_to_here`: four standard deviations at the most).
    fn sift(&self, step: &mut [u16], from_here: &[u16], up_to_here: &[u16]) {
        let lowest = self.lowest.iter().fold(u16::MAX, |least, &v| least.min(v));
        let highest = self.second.iter().fold(0, |most, &v| most.max(v));
        let least_dn = from_here[usize::from(lowest >> 4)];
        let range_noise_dn = up_to_here[usize::from(highest >> 4)];
        for (i, step) in step.iter_mut().enumerate().take(STRETCH) {
            let range = (self.second[i] - self.lowest[i]).saturating_sub(range_noise_dn);
            let out = self.above[i] > least_dn && self.above[i] >= range / 2;
            *step = if out { *step } else { 0 };
        }
    }
}

/// Places spread evenly over the picture and over the cells of the array.
fn tried(frame: &Frame, (margin_x, margin_y): (usize, usize), around: &mut Surroundings<'_>) -> Vec<Site> {
    let area = picture_area(frame);
    let (width, height) = (area.width - 2 * margin_x, area.height - 2 * margin_y);
    // One more than a multiple of six: the places go through all cells of arrays of 1, 2, 3 and 6.
    let step = ((width * height / TRIED) as f64).sqrt() as usize / 6 * 6 + 1;
    let mut sites = Vec::new();
    for (row, y) in (0..height).step_by(step).enumerate() {
        for x in (row % 6 % step..width).step_by(step) {
            sites.extend(around.site(area.x + margin_x + x, area.y + margin_y + y));
        }
    }
    sites
}

/// A count and its standard deviation by chance.
struct Reckoned {
    count: f64,
    chance: f64,
}

/// How many there are, each that is found weighted by one over the share of the places at which its like is seen.
fn reckoned(found: &[(Site, bool)], open: &[(Site, f64)], strictness: f64) -> Reckoned {
    // Alone, and beside another one.
    let kinds = [false, true].map(|beside| Places::new(open, strictness, beside));
    let (mut sum, mut variance) = (0.0, 0.0);
    for (site, clipped) in found.iter().filter(|(s, _)| s.height_dn >= s.least_dn(strictness, s.beside_hot)) {
        let places = &kinds[usize::from(site.beside_hot)];
        let weight = if *clipped { places.weight_clipped(site.height_dn) } else { places.weight(site.height_dn) };
        sum += weight;
        variance += weight * (weight - 1.0);
    }
    Reckoned { count: sum, chance: variance.sqrt() }
}

/// At which places hot pixels show. All heights in DN, each list in rising order.
struct Places {
    /// Height at which one counts, the height at which it is seen, and the height at which it clips; the last two also for
    /// the places alone where one is seen before it clips.
    tall: Vec<f64>,
    room: Vec<f64>,
    seen: Vec<f64>,
    seen_room: Vec<f64>,
    /// In the order of `room`: how many of the places before see one that clips.
    seen_before: Vec<usize>,
}

impl Places {
    fn new(open: &[(Site, f64)], strictness: f64, beside_hot: bool) -> Self {
        let sorted = |mut v: Vec<f64>| {
            v.sort_by(f64::total_cmp);
            v
        };
        let mut by_room: Vec<(f64, f64)> =
            open.iter().map(|(site, room)| (*room, site.least_dn(strictness, beside_hot))).collect();
        by_room.sort_by(|a, b| a.0.total_cmp(&b.0));
        let shown = || by_room.iter().filter(|(room, least)| least <= room);
        let mut seen_before = vec![0];
        for (room, least) in &by_room {
            seen_before.push(seen_before[seen_before.len() - 1] + usize::from(least <= room));
        }
        Self {
            tall: sorted(open.iter().map(|(site, _)| TALL * site.noise_dn).collect()),
            seen: sorted(shown().map(|(_, least)| *least).collect()),
            seen_room: shown().map(|(room, _)| *room).collect(),
            room: by_room.iter().map(|(room, _)| *room).collect(),
            seen_before,
        }
    }

    /// Of one that is not clipped: of the places where it would not clip either.
    fn weight(&self, height_dn: f64) -> f64 {
        let upto = |v: &[f64]| v.partition_point(|&h| h <= height_dn);
        let under = |v: &[f64]| v.partition_point(|&h| h < height_dn);
        ratio(upto(&self.tall) - under(&self.room), upto(&self.seen).saturating_sub(under(&self.seen_room)))
    }

    /// Of one that is clipped: of the places with about as much room. How tall it would be elsewhere is not known.
    fn weight_clipped(&self, height_dn: f64) -> f64 {
        let here = self.room.partition_point(|&room| room < height_dn);
        let (first, end) = (here.saturating_sub(LIKE_ROOM), (here + LIKE_ROOM).min(self.room.len()));
        ratio(end - first, self.seen_before[end] - self.seen_before[first])
    }
}

fn ratio(all: usize, seen: usize) -> f64 {
    (all as f64 / seen.max(1) as f64).clamp(1.0, GREATEST_WEIGHT)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    fn scene(x: usize, y: usize) -> f64 {
        let i = (x / 90 * 7 + y / 70 * 13) % 11;
        8_000.0 * 2_f64.powf(-0.6 * i as f64)
    }

    #[test]
    fn planted_hot_pixels_are_counted_and_stars_are_not() {
        let sensor = Sensor { width: 800, height: 600, ..Sensor::default() };
        let mut rng = Noise::new(8);
        let mut frame = sensor.shoot(|x, y, _| scene(x, y));
        for k in 0..120_usize {
            let (x, y) = (20 + (k * 331) % 760, 20 + (k * 173) % 560);
            let i = y * 800 + x;
            frame.samples[i] = (f64::from(frame.samples[i]) + 1_500.0 + 9_000.0 * rng.uniform()).min(16_383.0) as u16;
        }
        let found = measure(&frame).noise.hot_pixels.unwrap();
        assert!((114..=126).contains(&found), "{found} of 120");

        // Stars: Gaussian spots of 0.6 px with the pixel's own width, at places between the pixels.
        let mut stars = vec![0.0; 800 * 600];
        for k in 0..300_usize {
            let (cx, cy) = (20.0 + 760.0 * rng.uniform(), 20.0 + 560.0 * rng.uniform());
            let light = 20_000.0 * rng.uniform();
            for y in cy as usize - 4..cy as usize + 5 {
                for x in cx as usize - 4..cx as usize + 5 {
                    let r2 = (x as f64 - cx).powi(2) + (y as f64 - cy).powi(2);
                    stars[y * 800 + x] += light * (-r2 / (2.0 * 0.36)).exp() / (std::f64::consts::TAU * 0.36);
                }
            }
            let _ = k;
        }
        let sky = sensor.shoot(|x, y, p| (200.0 + stars[y * 800 + x]) * [0.6, 1.0, 1.0, 0.7][p]);
        let found = measure(&sky).noise.hot_pixels.unwrap_or(0);
        assert!(found <= 6, "{found} stars taken for hot pixels");
        let clean = measure(&sensor.shoot(|x, y, _| scene(x, y)));
        assert_eq!(clean.noise.hot_pixels, Some(0));
    }
}
