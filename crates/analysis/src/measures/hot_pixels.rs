//! Single pixels that stand alone far above what surrounds them.
//!
//! Measures: their count. A pixel is hot where it stands at least eight standard deviations of the noise above its
//! surroundings. It is seen where the scene cannot have made it ([`super::hot_sites`]): no spot that passed a lens lights
//! one pixel alone, and no structure near it is like it. Fine structure hides some: those of each height are seen in a
//! known share of the frame, which is tried at places spread evenly over it, and each that is seen counts one over that share.
//! Source: own derivation (the weights are those of Horvitz and Thompson, 1952); docs/measures.md.
//! Fails when: the noise of the frame is unknown, or of so many tones that it decides the count; structure hides so many that
//! the count would be a guess: `None` with a note.

use rawassay_decode::Frame;

use super::histogram::picture_area;
use super::hot_pass::look_over;
use super::hot_sites::{Site, Surroundings, TALL};

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

/// Counts hot pixels. `bounds(plane, level)` are the least and greatest noise that a tone at a level (DN absolute) may have,
/// DN squared; from `clipped_from` on a plane's samples are clipped.
///
/// # Errors
/// Why they cannot be counted, as a note.
pub(crate) fn count(
    frame: &Frame,
    clipped_from: &[f64],
    bounds: impl Fn(usize, f64) -> (f64, f64),
) -> Result<Option<u64>, &'static str> {
    let few = count_in(frame, clipped_from, |p, level| bounds(p, level).1)?;
    let known = |p: usize| (0..4096).map(|i| bounds(p, 16.0 * f64::from(i))).all(|(least, most)| least == most);
    if (0..frame.filter.planes.len()).all(known) {
        return Ok(few);
    }
    let many = count_in(frame, clipped_from, |p, level| bounds(p, level).0)?;
    let apart = many.unwrap_or(0).abs_diff(few.unwrap_or(0)) as f64;
    if apart > CHANCE_PIXELS.max(CHANCE_SHARE * many.unwrap_or(0) as f64) { Err(FAINT) } else { Ok(few) }
}

/// The same where the noise of all tones is `variance`.
fn count_in(
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
