//! How far a pixel stands out of what surrounds it, and how far it has to so that only a hot pixel can do it.
//!
//! A spot that passed the lens lights the next pixels too, of whatever colours; a hot pixel does not. A neighbour that is
//! hot itself is told by standing out alone. Where the surroundings differ among themselves, or hold other single samples
//! that stand out, the pixel must stand out by more than those do.
//! Source: own derivation, docs/measures.md.

use rawassay_decode::{Colour, Frame};

use super::few_samples::{ALONE, Sorted};
use super::hot_cells::{Cell, Cells, RING};
use super::hot_vicinity::{Ground, KEPT, Vicinity, least_noise};

/// Height of a hot pixel over its surroundings at the least, standard deviations of the noise there.
pub(super) const TALL: f64 = 8.0;

/// Height over the highest neighbour of its colour, in standard deviations.
const OVER_HIGHEST: f64 = 4.0;

/// The same where there is structure: in differences between those neighbours beyond what noise makes (standard
/// deviations), and in heights of other samples near by that stand alone.
const OVER_RANGE: f64 = 0.5;
pub(super) const RANGE_NOISE: f64 = 4.0;
const OVER_LONE: f64 = 2.0;
const LONE_NOISE: f64 = 3.0;

/// In differences of the other colours round it; and where a neighbour was taken for hot.
const OVER_RING: f64 = 1.0;
const RING_NOISE: f64 = 5.0;
const BESIDE_HOT: f64 = 5.0;

/// Share of the height by which the eight next pixels may move together; the sharpest lens moves them by a third of a
/// white spot. And what noise may make of it, standard deviations. The second pair is for pixels beside another hot one.
const MOVED: (f64, f64) = (0.12, 1.6);
const MOVED_BESIDE_HOT: (f64, f64) = (0.06, 0.8);

/// Share of the height by which three of the four next pixels may all rise, beyond one standard deviation.
const RISE: f64 = 0.08;

/// A place of the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Site {
    pub(super) plane: usize,
    /// Level of the surroundings in its colour, DN absolute; noise of that tone, DN.
    pub(super) level_dn: f64,
    pub(super) noise_dn: f64,
    /// The sample above that level, DN.
    pub(super) height_dn: f64,
    /// True where a pixel next to it is hot too.
    pub(super) beside_hot: bool,
    /// Height needed over its neighbours, and that of the highest one with what structure adds to it: for a pixel alone
    /// and for one beside another.
    over_scene_dn: [f64; 2],
    highest_dn: f64,
    structure_dn: [f64; 2],
}

impl Site {
    /// Height over its level at which a pixel here is told from the scene, DN; `strictness` is asked of it over all that
    /// the scene itself could make.
    pub(super) fn least_dn(&self, strictness: f64, beside_hot: bool) -> f64 {
        let kind = usize::from(beside_hot);
        let scene = self.over_scene_dn[kind].max(self.highest_dn + self.structure_dn[kind]);
        (TALL * self.noise_dn).max(strictness * scene)
    }

    fn stands_out(&self) -> bool {
        self.height_dn >= self.least_dn(1.0, self.beside_hot)
    }
}

/// The frame as the surroundings of its pixels.
pub(super) struct Surroundings<'a> {
    frame: &'a Frame,
    cells: Cells,
    /// Number of each plane's colour.
    colours: Vec<usize>,
    variance: &'a dyn Fn(usize, f64) -> f64,
    least_noise: Vec<f64>,
    vicinity: Vicinity,
}

/// What is known of one plane in the ring.
#[derive(Clone, Copy, Default)]
struct Level {
    mean: f64,
    low: f64,
    high: f64,
    noise: f64,
}

/// Most planes of a mosaic.
const PLANES: usize = 8;

impl<'a> Surroundings<'a> {
    /// `None` for linear files and arrays that are not looked at.
    pub(super) fn of(frame: &'a Frame, variance: &'a dyn Fn(usize, f64) -> f64) -> Option<Self> {
        let filter = &frame.filter;
        if filter.is_linear() || filter.planes.len() > PLANES || filter.columns == 0 || filter.rows == 0 {
            return None;
        }
        let mut known: Vec<Colour> = Vec::new();
        let colours = filter.planes.iter().map(|p| number_of(&mut known, p.colour)).collect();
        Some(Self {
            frame,
            cells: Cells::of(frame)?,
            colours,
            variance,
            least_noise: least_noise(filter.planes.len(), variance),
            vicinity: Vicinity::of(frame),
        })
    }

    /// Columns and rows at the rim that are left out.
    pub(super) fn margins(&self) -> (usize, usize) {
        let least = RING as usize;
        (least.max(self.frame.filter.columns), least.max(self.frame.filter.rows))
    }

    /// The place where the sample stands out as only a hot pixel does.
    pub(super) fn candidate(&mut self, x: usize, y: usize) -> Option<Site> {
        if self.refused_by_like(x, y) {
            return None;
        }
        let mut site = self.alone(x, y, true).filter(Site::stands_out)?;
        self.add_vicinity(&mut site, x, y, KEPT - 1);
        site.stands_out().then_some(site)
    }

    /// Any place, as a hot pixel there would be looked at.
    pub(super) fn site(&mut self, x: usize, y: usize) -> Option<Site> {
        let mut site = self.alone(x, y, false)?;
        self.add_vicinity(&mut site, x, y, KEPT - 2);
        Some(site)
    }

    fn at(&self, from: usize, offset: isize) -> u16 {
        self.frame.samples.get(from.wrapping_add_signed(offset)).copied().unwrap_or(0)
    }

    fn noise(&self, plane: usize, level: f64) -> f64 {
        (self.variance)(plane, level).max(1e-6).sqrt()
    }

    /// True where the next samples of its plane already say that the sample does not stand out: nearly everywhere. Asks
    /// for no more than [`alone`](Self::alone) does, the cheapest first.
    fn refused_by_like(&self, x: usize, y: usize) -> bool {
        let here = y * self.frame.width + x;
        let v = self.at(here, 0);
        let like = self.cells.like().unwrap_or_else(|| &self.cells.at(x, y).like);
        if like.iter().filter(|&&o| self.at(here, o) >= v).count() > 1 {
            return true;
        }
        let mut sorted = Sorted::default();
        like.iter().for_each(|&o| sorted.add(self.at(here, o)));
        let level = sorted.mean();
        let plane = self.cells.at(x, y).plane;
        let noise = self.noise(plane, level);
        let (highest, range) = extent(&sorted, noise);
        let height = f64::from(v) - level;
        let over = highest - level;
        if height < (TALL * noise).max(over + OVER_HIGHEST * noise).max(over + OVER_RANGE * range) {
            return true;
        }
        let second = self.second_of_cross(here);
        height < second - level + OVER_HIGHEST * self.noise(plane, second)
    }

    /// The place by its next pixels; where it is only to be known whether it stands out, `None` as soon as it does not.
    fn alone(&self, x: usize, y: usize, only_out: bool) -> Option<Site> {
        let here = y * self.frame.width + x;
        let cell = self.cells.at(x, y);
        let mut like = Sorted::default();
        cell.like.iter().for_each(|&o| like.add(self.at(here, o)));
        let level = like.mean();
        let noise = self.noise(cell.plane, level);
        let (highest, range) = extent(&like, noise);

        let height = f64::from(self.at(here, 0)) - level;
        let mut levels = [Level::default(); PLANES];
        let mut ring: f64 = 0.0;
        for (plane, offsets) in cell.ring.iter().filter(|(_, offsets)| offsets.len() > 2) {
            let mut samples = Sorted::default();
            offsets.iter().for_each(|&o| samples.add(self.at(here, o)));
            let mean = samples.mean();
            let noise = self.noise(*plane, mean);
            let (low, high) = (samples.low(), samples.highest(noise));
            levels[*plane] = Level { mean, low, high, noise };
            ring = ring.max(OVER_RING * (high - low - RING_NOISE * noise));
            if only_out && height < highest - level + ring {
                return None;
            }
        }
        let (moved, moved_noise, rise, beside_hot) = self.moved(here, cell, &levels, noise);
        let second = self.second_of_cross(here);
        let over_scene = (highest - level + OVER_HIGHEST * noise)
            .max(rise / RISE)
            .max(second - level + OVER_HIGHEST * self.noise(cell.plane, second));
        Some(Site {
            plane: cell.plane,
            level_dn: level,
            noise_dn: noise,
            height_dn: height,
            beside_hot,
            over_scene_dn: [MOVED, MOVED_BESIDE_HOT]
                .map(|(share, sigmas)| over_scene.max((moved - sigmas * moved_noise) / share)),
            highest_dn: highest - level,
            structure_dn: [1.0, BESIDE_HOT].map(|k| (OVER_RANGE * range).max(k * ring)),
        })
    }

    /// Second highest of the four next samples of a like cell.
    fn second_of_cross(&self, here: usize) -> f64 {
        let (dx, dy) = (self.frame.filter.columns as isize, (self.frame.filter.rows * self.frame.width) as isize);
        let mut cross = [-dx, dx, -dy, dy].map(|o| self.at(here, o));
        cross.sort_unstable();
        f64::from(cross[2])
    }

    /// How far the eight next pixels move out of the levels round them, colours apart, and its noise; the second least rise of
    /// the four nearest; and true where one of them stands out alone and so is hot itself: then it is left out.
    fn moved(&self, here: usize, cell: &Cell, levels: &[Level; PLANES], noise: f64) -> (f64, f64, f64, bool) {
        let mut each = [0.0; 8];
        let mut rises = [0.0; 4];
        let mut nearest = 0;
        for (to, &(offset, plane, weight)) in each.iter_mut().zip(&cell.next) {
            let (v, ring) = (f64::from(self.at(here, offset)), levels[plane]);
            // On an even ground against its mean; on an uneven one only what lies beyond all of it is sure.
            let even = ring.high - ring.low < 7.0 * ring.noise;
            *to = weight * if even { v - ring.mean } else { (v - ring.high).max(0.0) - (ring.low - v).max(0.0) };
            if weight == 1.0 {
                rises[nearest] = v - ring.mean - ring.noise;
                nearest += 1;
            }
        }
        rises.sort_by(f64::total_cmp);
        let (mut most, mut second) = ((0, 0.0_f64), 0.0_f64);
        for (i, v) in each.iter().enumerate() {
            if v.abs() > most.1 {
                second = most.1;
                most = (i, v.abs());
            } else {
                second = second.max(v.abs());
            }
        }
        let beside_hot = most.1 > ALONE.0 * second && most.1 > ALONE.1 * noise;
        if beside_hot {
            each[most.0] = 0.0;
        }
        let (mut sums, mut variances) = ([0.0; PLANES], [0.0; PLANES]);
        for (v, &(_, plane, weight)) in each.iter().zip(&cell.next) {
            let colour = self.colours[plane];
            sums[colour] += v;
            variances[colour] += 1.1 * (weight * levels[plane].noise).powi(2);
        }
        let moved = sums.iter().map(|s: &f64| s.abs()).sum();
        let moved_noise = variances.iter().map(|v: &f64| v.sqrt()).sum();
        (moved, moved_noise, rises[1], beside_hot)
    }

    /// Adds what other samples that stand alone near by ask for: the largest but `which`, for so many may be hot.
    fn add_vicinity(&mut self, site: &mut Site, x: usize, y: usize, which: usize) {
        let margins = self.margins();
        let Self { frame, cells, variance, least_noise, vicinity, .. } = self;
        let ground = Ground { frame, margins, cells, variance, least_noise };
        let largest = vicinity.largest(&ground, x, y);
        let lone = (f64::from(largest[which]) - LONE_NOISE).max(0.0) * site.noise_dn;
        site.structure_dn = site.structure_dn.map(|s| s.max(OVER_LONE * lone));
    }
}

/// The highest of the next samples, and their differences beyond what noise makes.
fn extent(like: &Sorted, noise: f64) -> (f64, f64) {
    let highest = like.highest(noise);
    (highest, (highest - like.low() - RANGE_NOISE * noise).max(0.0))
}

fn number_of(known: &mut Vec<Colour>, colour: Colour) -> usize {
    known.iter().position(|&k| k == colour).unwrap_or_else(|| {
        known.push(colour);
        known.len() - 1
    })
}
