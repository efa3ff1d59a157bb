//! Offsets of whole rows or columns beyond what independent noise explains.
//!
//! Measures: standard deviation of the offsets, DN. Method: independent offsets by [`super::line_offsets`], a wave over the
//! lines by [`super::line_waves`]; neither level nor slope nor structure of the scene counts. Lines of the scene itself are
//! told by three signs: the lens draws them over more than one line, they go with the light, and the lines next to them are not
//! as even as others.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than 128 lines, or too little of the frame is even.

use rawassay_decode::Frame;

use super::flat_blocks::Usable;
use super::line_evenness::MoreEven;
use super::line_offsets::{Offsets, SIGNIFICANT, TELLS, offsets};
use super::line_parts;
use super::line_singles::{CLOSELY, Singles, singles};
use super::line_spectrum::{SHORTEST, response};
use super::line_steps::LineSteps;
use super::line_waves::{Wave, left_by_block, mean_over_block};
use super::lines_seen::LinesSeen;
use super::lines_shown::{PARTS, Shown};
use super::several_waves::SeveralWaves;
use super::variance::Variance;

/// From so many on it is sized to a tenth; what lies between is unknown.
const SIZED: f64 = 5.0;

/// So many standard errors make a variance sure enough to look no further.
const WELL_KNOWN: f64 = 8.0;

/// Variance of the offsets where structure is let in, over that where it is not, from which on neither is trusted.
const LEAKS: f64 = 2.0;

/// Goes over a large frame, each over an even part of it.
const MOST_GOES: usize = 4;

/// Least that the middle group of lines shows of the mean of all: bands are everywhere, lines of the scene are not. (Those of few
/// lines are not in every group; they are in even lines as well as in others.)
const EVERYWHERE: f64 = 0.3;

/// Lines apart at which longer waves are looked for, from as long to four times as long, and so many next lines are also taken
/// together; and the same where something is found but a higher wave may hide: between the joints of a wall and the lines of
/// print fewer lines lie even.
const APART_FOR_WAVES: [(usize, usize); 2] = [(6, 2), (18, 4)];
const APART_FOR_HIDDEN: (usize, usize) = (12, 4);

/// Single far lines matter that add so much to the variance of all, or to that of half a read noise.
const SINGLES_MATTER: f64 = 0.44;

/// What the frame shows of the lines' offsets.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Spread {
    /// Standard deviation of the offsets, DN; zero where it is not told from noise.
    pub(crate) dn: f64,
    /// Variance that would have been told from noise, DN squared.
    pub(crate) least_dn2: f64,
    /// Variance of a wave that may hide in the scene, DN squared.
    pub(crate) unseen_wave_dn2: f64,
    /// False where nothing tells whether it is the sensor's or the scene's.
    pub(crate) sure: bool,
    /// True where the scene has such lines itself, and they hide the sensor's, or may have the wave itself.
    pub(crate) scene: bool,
    /// True where what is found is not known well enough.
    pub(crate) unsure_size: bool,
    /// Single lines that stand far off, where they matter and may be defective ones or the scene's.
    pub(crate) single: usize,
    /// What of the offsets' variance is of independent lines, DN squared; and period and variance of each wave.
    pub(crate) random_dn2: f64,
    pub(crate) waves: Vec<(f64, f64)>,
}

impl Spread {
    /// Offsets of independent lines, as a masked border shows them.
    pub(crate) fn of_independent(dn: f64) -> Self {
        Self { dn, random_dn2: dn * dn, sure: true, ..Self::default() }
    }

    /// With single far lines, which were taken out before and add so much to the variance, DN squared.
    fn with_singles(self, dn2: f64) -> Self {
        let all = self.dn.powi(2) + dn2;
        let hidden = self.dn == 0.0 && self.least_dn2 > SINGLES_MATTER * all;
        let unsure_size = self.unsure_size && self.random_dn2 > 0.2 * all || hidden;
        Self { dn: all.sqrt(), random_dn2: self.random_dn2 + dn2, unsure_size, ..self }
    }

    /// Variance that is left of them in a block of `side` lines, those of one kind so far apart, level and slope taken out.
    pub(crate) fn left_in_block_dn2(&self, side: usize, apart: usize) -> f64 {
        let of_independent = 1.0 - 2.0 * apart as f64 / side as f64;
        let of_wave = |(period, dn2): &(f64, f64)| dn2 * left_by_block(*period, side / apart, apart as f64);
        self.random_dn2 * of_independent + self.waves.iter().map(of_wave).sum::<f64>()
    }

    /// Variance that they give the mean of such a block.
    pub(crate) fn of_block_means_dn2(&self, side: usize, apart: usize) -> f64 {
        let lines = side / apart;
        let of_wave = |(period, dn2): &(f64, f64)| dn2 * mean_over_block(*period, lines, apart as f64).powi(2);
        self.random_dn2 / lines as f64 + self.waves.iter().map(of_wave).sum::<f64>()
    }
}

/// The steps between lines so far apart and what they show.
struct Look<'a> {
    steps: LineSteps<'a>,
    lines: Vec<[Shown; PARTS]>,
    seen: Offsets,
}

/// What the steps between the lines of one direction are measured with.
#[derive(Clone, Copy)]
pub(crate) struct Search<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) usable: &'a [Usable],
    pub(crate) variances: &'a [Variance],
}

impl Search<'_> {
    /// Offsets of the rows (or columns), single far ones too; `None` where too little is seen.
    pub(crate) fn spread(&self, rows: bool) -> Option<Spread> {
        let apart = self.apart(rows).pop()?;
        let look = |times| singles(self.frame, self.usable, rows, apart, times);
        let first = look(1);
        if let Some(singles) = first.as_ref().filter(|s| s.sure) {
            return self.without(singles, rows);
        }
        let found = self.of_all(rows)?;
        // In more noise than a few places see through there may be far lines still, which the weight has cut short: looked for where
        // lines are about to be stated.
        let singles = if found.random_dn2 > 0.0 { look(CLOSELY).or(first) } else { first };
        let Some(singles) = singles else { return Some(found) };
        if singles.sure {
            return self.without(&singles, rows);
        }
        let dark = self.variances.iter().map(|v| v.line.offset).fold(f64::INFINITY, f64::min);
        let of_all = found.dn.powi(2);
        let least = if singles.drawn { of_all } else { f64::max(of_all, 0.25 * dark) };
        let matter = least > 0.0 && singles.dn2() > SINGLES_MATTER * least;
        Some(Spread { single: if matter { singles.offsets.len() } else { 0 }, ..found })
    }

    /// Offsets with such single lines taken out and their squares added.
    fn without(&self, singles: &Singles, rows: bool) -> Option<Spread> {
        let without = singles.taken_out(self.frame, self.usable, rows);
        let rest = Search { frame: &without, ..*self }.of_all(rows)?;
        Some(rest.with_singles(singles.dn2()))
    }

    fn of_all(&self, rows: bool) -> Option<Spread> {
        let looks: Vec<Look> = self.apart(rows).into_iter().filter_map(|apart| self.look(rows, apart)).collect();
        // Of an array that has them at several distances the differences that know most.
        let best = looks.iter().min_by(|a, b| a.seen.variance_dn2.1.total_cmp(&b.seen.variance_dn2.1))?;
        let Look { steps, lines, seen } = best;
        let apart = steps.apart;
        // Where the faint ends of the scene's own lines weigh so much, some are left in what seems without structure.
        let leaks = || {
            let all = steps.shown.with_structure().and_then(|all| offsets(&all, apart));
            all.is_some_and(|all| all.variance_dn2.0 - LEAKS * seen.variance_dn2.0 > 3.0 * all.variance_dn2.1)
        };
        let variance = seen.variance_dn2.0;
        let lacks = line_parts::lacks(lines, apart, variance);
        let more_even = || MoreEven::of(lines, &steps.shown.evenness(), apart);
        let everywhere =
            seen.middle_dn2 > EVERYWHERE * variance || seen.of_few && more_even().shows(variance, SIGNIFICANT);
        let near = |look: &Look| LinesSeen {
            lines: look.lines.clone(),
            apart: look.steps.apart,
            together: 1,
            shortest: SHORTEST,
        };
        let near = looks.iter().map(near).collect();
        let (found, unseen_wave_dn2) = self.waves(rows, near, |waves| together(seen, apart, everywhere, waves));
        let uneven = || more_even().lacks(variance, found.random_dn2);
        let scene = found.scene || found.random_dn2 > 0.0 && (lacks || leaks() || uneven());
        Some(Spread { scene, unseen_wave_dn2, ..found })
    }

    /// What differences of that distance show; `None` where it is too little.
    fn look(&self, rows: bool, apart: usize) -> Option<Look<'_>> {
        let mut steps = LineSteps::new(self.frame, self.usable, self.variances, rows, apart)?;
        let (mut lines, mut seen) = (Vec::new(), None);
        for _ in 0..MOST_GOES {
            if !steps.go_on() {
                break;
            }
            lines = steps.shown.lines();
            seen = offsets(&lines, apart);
            if seen.is_some_and(|s| self.told(&s)) {
                break;
            }
        }
        Some(Look { steps, lines, seen: seen? })
    }

    /// Distances at which at least half of the samples have their like on both sides, up to that at which all have; without
    /// filters next lines are left out to tell what the lens drew.
    fn apart(&self, rows: bool) -> Vec<usize> {
        let filter = &self.frame.filter;
        let (all, like) = (filter.cells.len(), |d| filter.like_samples(if rows { (0, d) } else { (d, 0) }));
        let repeats = if rows { filter.rows } else { filter.columns }.max(2);
        (2..=repeats).filter(|&d| 2 * like(d) >= all).collect()
    }

    /// True where more of the frame would not tell more: the offsets are sized and whose they are, or half a read noise of
    /// them would have been seen.
    fn told(&self, seen: &Offsets) -> bool {
        let (variance, error) = seen.variance_dn2;
        let dark = self.variances.iter().map(|v| v.line.offset).fold(f64::INFINITY, f64::min);
        let (sensor, scene) = seen.how_unlike();
        let nothing = variance < SIGNIFICANT * error && SIGNIFICANT * error < 0.2 * dark;
        nothing || variance > WELL_KNOWN * error && (scene - sensor).abs() > TELLS
    }

    /// What is found, together with the waves, looked for in these lines and in differences of lines further apart, for longer
    /// ones; and the variance of one that may go unseen, DN squared.
    fn waves(&self, rows: bool, near: Vec<LinesSeen>, with: impl Fn(&[Wave]) -> Spread) -> (Spread, f64) {
        let apart = near.iter().map(|near| near.apart).max().unwrap_or(0);
        let mut seen = near;
        // Multiples of all arrays; those of large arrays lie so far apart anyway.
        let look = |(apart, together): (usize, usize)| {
            let mut steps = LineSteps::new(self.frame, self.usable, self.variances, rows, apart)?;
            steps.go_on();
            let of = |together| {
                let lines = steps.shown.taken_together(together);
                LinesSeen { lines, apart, together, shortest: apart as f64 }
            };
            Some([1, together].map(of))
        };
        seen.extend(APART_FOR_WAVES.into_iter().filter(|further| further.0 > apart).filter_map(look).flatten());
        let waves = SeveralWaves::of(&seen);
        let (found, unseen_dn2) = (with(&waves.found), waves.unseen_dn2);
        let again = found.dn > 0.0 && unseen_dn2 > found.dn.powi(2);
        let Some(between) = again.then(|| look(APART_FOR_HIDDEN)).flatten() else { return (found, unseen_dn2) };
        seen.extend(between);
        let waves = SeveralWaves::of(&seen);
        (with(&waves.found), waves.unseen_dn2)
    }
}

/// Offsets and waves together.
fn together(seen: &Offsets, apart: usize, everywhere: bool, waves: &[Wave]) -> Spread {
    let (variance, error) = seen.variance_dn2;
    // What the waves leave in differences of so few lines, in the shape of independent offsets.
    let left = |w: &Wave| w.dn2 * response(1.0 / w.period, apart).powi(4) / 70.0;
    let of_waves: f64 = waves.iter().map(left).sum();
    // What a few groups of lines have is not known to be none.
    let of_few = if seen.of_few && !everywhere { variance } else { seen.left_out_dn2 };
    let least_dn2 = f64::max(SIGNIFICANT * error, of_few);
    let rest = variance - of_waves;
    // Of what a wave leaves, so much is by chance.
    let random = rest > f64::max(SIGNIFICANT * error, 0.15 * of_waves) && everywhere;
    let (sensor, scene) = seen.how_unlike();
    let (sure, drawn) = (seen.are_the_sensors(), sensor - scene > TELLS);
    let random_dn2 = if random && !drawn { rest } else { 0.0 };
    let all = random_dn2 + waves.iter().map(|w| w.dn2).sum::<f64>();
    Spread {
        dn: all.sqrt(),
        least_dn2,
        unseen_wave_dn2: 0.0,
        sure: random_dn2 == 0.0 || sure,
        // A wave that may go with the light is the scene's where it repeats itself, in text or in a fence.
        scene: if waves.is_empty() { random && drawn } else { waves.iter().any(|w| !w.sure) },
        single: 0,
        unsure_size: random && !drawn && (rest < SIZED * error && rest > 0.2 * all || seen.left_out_dn2 > 0.2 * all),
        random_dn2,
        waves: waves.iter().map(|w| (w.period, w.dn2)).collect(),
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_few;
