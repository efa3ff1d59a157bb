//! A wave that runs over the rows (or columns) of the whole frame, however long or short.
//!
//! Measures: its period, lines, and its standard deviation, DN. Method: within each even block every line is compared with
//! the next of its kind (one period of the filter array further on); a wave of period P and amplitude A makes these
//! differences a wave of amplitude 2 A sin(pi s / P), s lines apart, while level and even slope of the scene drop out. A
//! sine is fitted by weighted least squares at each frequency (Lomb 1976, Scargle 1982). It counts where it stands alone in
//! the spectrum, runs alike through the eight parts of the frame, and adds the same DN to bright and dark colours and parts:
//! what the scene itself repeats (blinds, a wall, pales) goes with the tone.
//! Source: Lomb, Astrophysics and Space Science 39 (1976); the rest is our own derivation, docs/measures.md.
//! Fails when: too few even blocks: then no wave is found.

use rawassay_decode::{Colour, Frame};
use rawassay_fourier::{Complex64, forward64};

use super::line_steps::PARTS;
use super::patches::{BlockShape, PlaneStat};

/// Periods that are looked for, lines.
const SHORTEST: f64 = 2.2;
const LONGEST: f64 = 72.0;

/// Lines on either side over which the scene's slow change is averaged.
const SLOW: usize = 64;

/// Power over its expectation from noise alone; and over the median of the frequencies near by.
const OVER_NOISE: f64 = 30.0;
const OVER_NEAR: f64 = 25.0;

/// Share of the parts that must show the same wave, within this share of it and three standard errors.
const PARTS_ALIKE: f64 = 0.75;
const ALIKE: f64 = 0.5;

/// Longest side of a block, lines.
const MOST_SIDE: usize = 18;

/// What goes with the tone may be so much of the wave at the mean tone.
const WITH_TONE: f64 = 0.35;

/// The least of 2 sin(pi s / P) at which a wave can be sized.
const LEAST_RESPONSE: f64 = 0.15;

/// Most blocks that are looked at.
const MOST_BLOCKS: usize = 24_000;

/// Green samples and those of the other colours go with different tones.
const KINDS: usize = 2;
const CLASSES: usize = PARTS * KINDS;

/// A wave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Wave {
    pub(crate) period: f64,
    /// False where the tones do not tell whether it is added to all of them.
    pub(crate) sure: bool,
}

/// The wave as one class shows it: cosine, sine, level above black, variance of either.
struct Shown {
    re: f64,
    im: f64,
    level: f64,
    variance: f64,
}

/// What the differences of one line of a block are made of: planes with their kind and number, and samples of each kind.
#[derive(Debug, Default)]
struct Line {
    planes: Vec<(usize, usize, f64)>,
    samples: [f64; KINDS],
}

/// Differences between lines, by line, part of the frame and kind of colour.
pub(crate) struct Waves {
    rows: bool,
    /// Lines apart.
    apart: usize,
    /// Length of a line.
    across: usize,
    /// Weighted sum and weight.
    sums: Vec<(f64, f64)>,
    /// Level above black of each class, weighted, and weight.
    levels: [(f64, f64); CLASSES],
    kind_of: Vec<usize>,
    /// Of each place of a block: 1 where its colour is not green.
    others: Vec<i32>,
    /// What each line's differences are made of.
    lines: Vec<Line>,
    every: usize,
    seen: usize,
}

impl Waves {
    /// For `count` lines of `across` pixels; `blocks` are to come at the most.
    pub(crate) fn new(frame: &Frame, rows: bool, count: usize, across: usize, blocks: usize) -> Self {
        let filter = &frame.filter;
        let kind_of = filter.planes.iter().map(|p| usize::from(p.colour != Colour::Green)).collect();
        Self {
            rows,
            apart: if rows { filter.rows } else { filter.columns },
            across: across.max(1),
            sums: vec![(0.0, 0.0); count * CLASSES],
            levels: [(0.0, 0.0); CLASSES],
            kind_of,
            others: Vec::new(),
            lines: Vec::new(),
            every: blocks.div_ceil(MOST_BLOCKS).max(1),
            seen: 0,
        }
    }

    /// Adds an even block at (x, y) of the active area, `corner` in the frame.
    pub(crate) fn add_block(
        &mut self,
        frame: &Frame,
        shape: &BlockShape,
        (place, corner): ((usize, usize), (u32, u32)),
        stats: &[PlaneStat],
        blacks: &[f64],
    ) {
        self.seen += 1;
        if !self.seen.is_multiple_of(self.every) {
            return;
        }
        if self.lines.is_empty() {
            self.learn(shape);
        }
        let (line, along) = if self.rows { (place.1, place.0) } else { (place.0, place.1) };
        let part = (along * PARTS / self.across).min(PARTS - 1);
        let differences = self.differences(frame, shape.side, (corner.0 as usize, corner.1 as usize));
        for (r, (differences, made_of)) in differences.iter().zip(&self.lines).enumerate() {
            let mut variances = [0.0_f64; KINDS];
            for &(plane, kind, n) in &made_of.planes {
                variances[kind] += n * 2.0 * f64::from(stats[plane].variance);
            }
            for kind in 0..KINDS {
                let (n, variance) = (made_of.samples[kind], variances[kind]);
                let class = part * KINDS + kind;
                if let Some(to) = self.sums.get_mut((line + r) * CLASSES + class).filter(|_| variance > 0.0) {
                    let weight = n * n / variance;
                    *to = (to.0 + weight * f64::from(differences[kind]) / n, to.1 + weight);
                }
            }
        }
        for (plane, stat) in stats.iter().enumerate() {
            let to = &mut self.levels[part * KINDS + self.kind_of[plane]];
            let weight = 1.0 / f64::from(stat.variance).max(1e-6);
            *to = (to.0 + weight * (f64::from(stat.mean) - blacks[plane]), to.1 + weight);
        }
    }

    /// Looks once at how a block is laid out: the same in all of them.
    fn learn(&mut self, shape: &BlockShape) {
        let side = shape.side;
        let plane_at = |x: usize, y: usize| usize::from(shape.planes_of_row(y)[x]);
        self.others = (0..side * side).map(|i| self.kind_of[plane_at(i % side, i / side)] as i32).collect();
        self.lines = (0..side.saturating_sub(self.apart))
            .map(|r| {
                let mut line = Line::default();
                for i in 0..side {
                    let plane = if self.rows { plane_at(i, r) } else { plane_at(r, i) };
                    let kind = self.kind_of[plane];
                    line.samples[kind] += 1.0;
                    match line.planes.iter_mut().find(|p| p.0 == plane) {
                        Some(known) => known.2 += 1.0,
                        None => line.planes.push((plane, kind, 1.0)),
                    }
                }
                line
            })
            .collect();
    }

    /// Sums of the differences between each line of a block and the next of its kind, green and other samples apart.
    fn differences(&self, frame: &Frame, side: usize, (x, y): (usize, usize)) -> [[i32; KINDS]; MOST_SIDE] {
        let mut found = [[0; KINDS]; MOST_SIDE];
        let row = |r: usize| &frame.row(y + r)[x..x + side];
        let step = |a: u16, b: u16| i32::from(b) - i32::from(a);
        if self.rows {
            for (r, found) in found.iter_mut().enumerate().take(self.lines.len()) {
                let others = &self.others[r * side..][..side];
                let (mut all, mut other) = (0, 0);
                for ((&a, &b), &is_other) in row(r).iter().zip(row(r + self.apart)).zip(others) {
                    all += step(a, b);
                    other += is_other * step(a, b);
                }
                *found = [all - other, other];
            }
            return found;
        }
        let (mut all, mut other) = ([0; MOST_SIDE], [0; MOST_SIDE]);
        for r in 0..side {
            let (row, others) = (row(r), &self.others[r * side..][..side]);
            let steps = row.iter().zip(row.get(self.apart..).unwrap_or_default()).zip(others);
            for ((((&a, &b), &is_other), all), other) in steps.zip(&mut all).zip(&mut other) {
                *all += step(a, b);
                *other += is_other * step(a, b);
            }
        }
        for (found, (all, other)) in found.iter_mut().zip(all.iter().zip(&other)) {
            *found = [all - other, *other];
        }
        found
    }

    /// The wave, where there is one.
    pub(crate) fn find(&self) -> Option<Wave> {
        let all = self.profile(|_| true);
        let total: f64 = all.iter().map(|p| p.1).sum();
        let lines = all.len() as f64;
        if total <= 0.0 || lines < 4.0 * LONGEST {
            return None;
        }
        // Four points to each independent frequency.
        let length = (4 * all.len()).next_power_of_two();
        let mut spectrum: Vec<Complex64> =
            all.iter().map(|&(value, weight)| Complex64::new(value * weight, 0.0)).collect();
        spectrum.resize(length, Complex64::default());
        forward64(length).process(&mut spectrum);
        let frequency = |i: usize| i as f64 / length as f64;
        let (first, last) = ((length as f64 / LONGEST).ceil() as usize, (length as f64 / SHORTEST) as usize);
        let powers: Vec<f64> = spectrum[first..=last]
            .iter()
            .enumerate()
            .map(|(i, v)| 2.0 * v.norm_sqr() / total / self.noise_share(frequency(first + i)))
            .collect();
        let best = (0..powers.len())
            .filter(|&i| self.response(frequency(first + i)) > LEAST_RESPONSE)
            .max_by(|&a, &b| powers[a].total_cmp(&powers[b]))?;
        let f = frequency(first + best);
        // The neighbourhood without the peak itself, which is some sixteen points wide on either side.
        let near: Vec<f64> =
            (0..powers.len()).filter(|&i| i.abs_diff(best) > 16 && i.abs_diff(best) < 400).map(|i| powers[i]).collect();
        if powers[best] < OVER_NOISE.max(OVER_NEAR * middle(near)) {
            return None;
        }
        Some(Wave { period: 1.0 / f, sure: self.added(f)? })
    }

    /// Amplitude of the differences for a wave of amplitude 1.
    fn response(&self, f: f64) -> f64 {
        (2.0 * (std::f64::consts::PI * f * self.apart as f64).sin()).abs()
    }

    /// Noise of the differences at a frequency over its mean: neighbouring differences share a line.
    fn noise_share(&self, f: f64) -> f64 {
        (0.5 * self.response(f).powi(2)).max(0.1)
    }

    /// Amplitude of the differences that is added to every tone alike, and whether that is sure; `None` where the wave goes with the tone, or is not
    /// the same everywhere.
    fn added(&self, f: f64) -> Option<bool> {
        let mut seen: Vec<Shown> = Vec::new();
        for class in 0..CLASSES {
            let (level, weight) = self.levels[class];
            let own = self.profile(|c| c == class);
            let total: f64 = own.iter().map(|p| p.1).sum();
            if weight > 0.0 && total > 0.0 {
                let (re, im) = amplitude(&own, f);
                seen.push(Shown { re, im, level: level / weight, variance: 2.0 * self.noise_share(f) / total });
            }
        }
        if seen.len() < 4 {
            return None;
        }
        let weights: f64 = seen.iter().map(|s| 1.0 / s.variance).sum();
        let mean = |value: &dyn Fn(&Shown) -> f64| seen.iter().map(|s| value(s) / s.variance).sum::<f64>() / weights;
        let (re, im, level) = (mean(&|s| s.re), mean(&|s| s.im), mean(&|s| s.level));
        let size = re.hypot(im);
        let apart = |s: &Shown| (s.re - re).hypot(s.im - im);
        let alike = seen.iter().filter(|s| apart(s) < ALIKE * size + 3.0 * (2.0 * s.variance).sqrt()).count();
        if (alike as f64) < PARTS_ALIKE * seen.len() as f64 || size < 4.0 * (2.0 / weights).sqrt() {
            return None;
        }
        // The wave along the mean's phase against the level: what goes with the tone has a slope through zero.
        let along = |s: &Shown| (s.re * re + s.im * im) / size;
        let spread = mean(&|s| (s.level - level).powi(2)).max(1e-12);
        let slope = mean(&|s| (s.level - level) * (along(s) - size)) / spread;
        let error = level * (1.0 / (weights * spread)).sqrt();
        let sure = error < 0.25 * size;
        let goes = slope * level > WITH_TONE * size + 2.0 * error;
        (!(sure && goes)).then_some(sure)
    }

    /// Differences of the lines of some classes, the scene's slow change taken out, with their weights.
    fn profile(&self, of: impl Fn(usize) -> bool) -> Vec<(f64, f64)> {
        let raw: Vec<(f64, f64)> = self
            .sums
            .chunks_exact(CLASSES)
            .map(|line| {
                let sum = line
                    .iter()
                    .enumerate()
                    .filter(|(c, _)| of(*c))
                    .fold((0.0, 0.0), |t, (_, s)| (t.0 + s.0, t.1 + s.1));
                (if sum.1 > 0.0 { sum.0 / sum.1 } else { 0.0 }, sum.1)
            })
            .collect();
        let mut until = vec![(0.0, 0.0)];
        for &(value, weight) in &raw {
            let last = until[until.len() - 1];
            until.push((last.0 + value * weight, last.1 + weight));
        }
        raw.iter()
            .enumerate()
            .map(|(i, &(value, weight))| {
                let (from, to) = (i.saturating_sub(SLOW), (i + SLOW + 1).min(raw.len()));
                let total = until[to].1 - until[from].1;
                let slow = if total > 0.0 { (until[to].0 - until[from].0) / total } else { 0.0 };
                // At the ends the average lies to one side of the line.
                let whole = i >= SLOW && i + SLOW < raw.len();
                (value - slow, if whole { weight } else { 0.0 })
            })
            .collect()
    }
}

/// Cosine and sine of a frequency (cycles per line), fitted by weighted least squares.
fn amplitude(profile: &[(f64, f64)], f: f64) -> (f64, f64) {
    let turn = std::f64::consts::TAU * f;
    let (step_sin, step_cos) = turn.sin_cos();
    let (mut sin, mut cos) = (0.0_f64, 1.0_f64);
    let [mut cc, mut ss, mut cs, mut cv, mut sv] = [0.0; 5];
    for &(value, weight) in profile {
        let (wc, ws) = (weight * cos, weight * sin);
        cc += wc * cos;
        ss += ws * sin;
        cs += wc * sin;
        cv += wc * value;
        sv += ws * value;
        (cos, sin) = (cos * step_cos - sin * step_sin, cos * step_sin + sin * step_cos);
    }
    let det = cc * ss - cs * cs;
    if det <= 1e-12 * cc * ss { (0.0, 0.0) } else { ((ss * cv - cs * sv) / det, (cc * sv - cs * cv) / det) }
}

/// The middle one; zero of none.
pub(super) fn middle(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let at = values.len() / 2;
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}

/// Share of a wave's variance that fitting level and slope to `lines` equally spaced lines, `apart` apart, leaves.
pub(crate) fn left_by_block(period: f64, lines: usize, apart: f64) -> f64 {
    let n = lines as f64;
    let x = |i: usize| (i as f64 - 0.5 * (n - 1.0)) * apart;
    let sxx: f64 = (0..lines).map(|i| x(i).powi(2)).sum();
    // Cosine and sine together stand for all phases.
    let part = |wave: &dyn Fn(f64) -> f64| {
        let v: Vec<f64> = (0..lines).map(|i| wave(std::f64::consts::TAU * x(i) / period)).collect();
        let mean = v.iter().sum::<f64>() / n;
        let slope = (0..lines).map(|i| x(i) * v[i]).sum::<f64>() / sxx;
        (0..lines).map(|i| (v[i] - mean - slope * x(i)).powi(2)).sum::<f64>() / n
    };
    part(&f64::cos) + part(&f64::sin)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_waves_pass_a_block_and_long_ones_do_not() {
        // Averaged over all periods two of eight degrees of freedom are lost; of a long wave nothing is left.
        let periods: Vec<f64> = (1..400).map(|i| 800.0 / (f64::from(i) * 0.5 + 200.0)).collect();
        let mean = periods.iter().map(|&p| left_by_block(p, 8, 2.0)).sum::<f64>() / periods.len() as f64;
        assert!((0.7..=1.0).contains(&mean), "{mean}");
        assert!(left_by_block(64.0, 8, 2.0) < 0.01, "{}", left_by_block(64.0, 8, 2.0));
        assert!(left_by_block(16.0, 8, 2.0) > left_by_block(24.0, 8, 2.0));
    }

    #[test]
    fn a_sine_is_fitted_exactly_through_gaps() {
        let profile: Vec<(f64, f64)> = (0..400)
            .map(|i| {
                ((0.05 * std::f64::consts::TAU * f64::from(i) + 0.7).cos() * 3.0, if i % 16 < 14 { 2.0 } else { 0.0 })
            })
            .collect();
        let (re, im) = amplitude(&profile, 0.05);
        assert!((re.hypot(im) - 3.0).abs() < 1e-9);
    }
}
