//! What each part of the lines of one direction shows of their offsets, and which places of it count.
//!
//! Gives: sums of the steps between lines ([`super::line_steps`]) and of what an offset of one adds to them, by line and part.
//! Source: own derivation, docs/measures.md.

use super::line_offsets::cross;
use super::line_stretch::{Folded, STRETCH};
use super::line_weights::weigh;
use super::lines_seen::taken_together;

/// Parts of a line.
pub(super) const PARTS: usize = 8;

/// Response over weight of noise alone (mean of the redescending weight's derivative over a normal distribution), less what
/// chance takes of it in the mean of some fifty stretches: what is missing to it is structure.
pub(super) const EVEN: f32 = 0.715 - 0.015;

/// The same, of the next stretches on both sides, for one that is as good as without structure: one in ten of noise alone lies
/// below. Where these are enough, only they are used: along walls and tiles the faint ends of blurred joints pass for
/// even places otherwise, in many lines alike.
const WITHOUT_STRUCTURE: f32 = 0.62;

/// Least share of what all even stretches show that is enough.
const ENOUGH: f64 = 0.5;

/// Mean square of the lines' own differences, in units of that of noise in dark tones, from which on they make places uneven
/// themselves: those that seem without structure would be those where the lines stand out least. (Samples without their like count in
/// the mean: over three lines of a 6 x 6 array, where four in nine have none, it is 0.054.)
const OWN_UNEVENNESS: f64 = 0.03;

/// Sums over places, each with a weight: value and response times it, and response times it once more.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Weighed<T> {
    pub(super) value: T,
    pub(super) response: f64,
    pub(super) again: f64,
}

impl Weighed<f64> {
    pub(super) fn add(&mut self, weight: f64, value: f64, response: f64) {
        self.value += weight * value;
        self.response += weight * response;
        self.again += weight * weight * response;
    }

    fn take(&mut self, other: &Self) {
        self.value += other.value;
        self.response += other.response;
        self.again += other.again;
    }

    fn scale(&mut self, by: f64) {
        [&mut self.value, &mut self.response, &mut self.again].into_iter().for_each(|v| *v *= by);
    }
}

/// What one part of a line shows: differences, and what an offset of one adds to them, as they are and with each place weighed
/// by its level and by its unevenness.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Shown {
    pub(super) own: Weighed<f64>,
    pub(super) by_level: Weighed<f64>,
    pub(super) by_unevenness: Weighed<f64>,
}

impl Shown {
    /// Adds samples of a place of that evenness.
    fn add(&mut self, [value, response, weight, level]: Folded, evenness: f32) {
        if weight > 0.0 {
            let (value, response) = (f64::from(value), f64::from(response));
            self.own.add(1.0, value, response);
            self.by_level.add(f64::from(level / weight), value, response);
            self.by_unevenness.add(f64::from((EVEN - evenness).max(0.0)), value, response);
        }
    }

    /// Adds what other places show.
    pub(super) fn take(&mut self, other: &Self) {
        self.own.take(&other.own);
        self.by_level.take(&other.by_level);
        self.by_unevenness.take(&other.by_unevenness);
    }

    /// Counts all that is shown so many times.
    pub(super) fn scale(&mut self, by: f64) {
        [&mut self.own, &mut self.by_level, &mut self.by_unevenness].into_iter().for_each(|sums| sums.scale(by));
    }
}

/// What the stretches of the lines show.
pub(super) struct LinesShown {
    /// Those without structure, and the other even ones.
    without: Vec<[Shown; PARTS]>,
    others: Vec<[Shown; PARTS]>,
    /// Of all of them: samples, and the samples' weights, one over DN squared.
    samples: f64,
    weight: f64,
    /// Of each line: the stretches' weight, and the same times how even those next to them are at the least.
    next_even: Vec<(f64, f64)>,
}

impl LinesShown {
    /// Nothing yet, of so many lines.
    pub(super) fn none(lines: usize) -> Self {
        let none = || vec![[Shown::default(); PARTS]; lines];
        Self { without: none(), others: none(), samples: 0.0, weight: 0.0, next_even: vec![(0.0, 0.0); lines] }
    }

    /// Adds a stretch, by colour, to a part of a line: in a place that is usually so even, between stretches that are at least so
    /// even.
    pub(super) fn add(&mut self, (line, part): (usize, usize), stretch: &[Folded; 2], [usual, least]: [f32; 2]) {
        self.samples += STRETCH as f64;
        let weight = f64::from(stretch[0][2] + stretch[1][2]);
        self.weight += weight;
        self.next_even[line].0 += weight;
        self.next_even[line].1 += weight * f64::from(least);
        let lines = if least > WITHOUT_STRUCTURE { &mut self.without } else { &mut self.others };
        stretch.iter().for_each(|&f| lines[line][part].add(f, usual));
    }

    /// What the lines show, each part counted by how little it scatters: the stretches without structure, where these are
    /// enough, else all even ones.
    pub(super) fn lines(&self) -> Vec<[Shown; PARTS]> {
        weighed(self.even())
    }

    /// The same of so many next lines together.
    pub(super) fn taken_together(&self, together: usize) -> Vec<[Shown; PARTS]> {
        weighed(taken_together(&self.even(), together))
    }

    /// How even each line is next to the stretches that count.
    pub(super) fn evenness(&self) -> Vec<f64> {
        self.next_even.iter().map(|(weight, even)| even / weight.max(f64::MIN_POSITIVE)).collect()
    }

    fn even(&self) -> Vec<[Shown; PARTS]> {
        if self.show_without_structure() { self.without.clone() } else { self.all() }
    }

    /// What all even stretches show, where [`lines`](Self::lines) are those without structure.
    pub(super) fn with_structure(&self) -> Option<Vec<[Shown; PARTS]>> {
        self.show_without_structure().then(|| weighed(self.all()))
    }

    fn show_without_structure(&self) -> bool {
        let response = |lines: &[[Shown; PARTS]]| lines.iter().flatten().map(|s| s.own.response).sum::<f64>();
        let (without, others) = (response(&self.without), response(&self.others));
        without > ENOUGH * (without + others) && self.own_unevenness() < OWN_UNEVENNESS
    }

    fn all(&self) -> Vec<[Shown; PARTS]> {
        self.each().collect()
    }

    /// What all even stretches of each line show.
    fn each(&self) -> impl Iterator<Item = [Shown; PARTS]> {
        self.without.iter().zip(&self.others).map(|(without, others)| {
            let mut all = *without;
            all.iter_mut().zip(others).for_each(|(to, other)| to.take(other));
            all
        })
    }

    /// Mean square of what the parts of the lines show alike, in units of the noise's in dark tones: one over the mean weight.
    fn own_unevenness(&self) -> f64 {
        let (values, responses) = self.each().fold((0.0, 0.0), |(values, responses), line| {
            (values + cross(&line, &line, |s| s.own.value), responses + cross(&line, &line, |s| s.own.response))
        });
        values / responses * self.weight / (6.0 * self.samples)
    }
}

fn weighed(mut lines: Vec<[Shown; PARTS]>) -> Vec<[Shown; PARTS]> {
    weigh(&mut lines);
    lines
}
