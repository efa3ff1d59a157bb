//! Offsets of whole rows or columns beyond what independent noise explains.
//!
//! Measures: standard deviation of the offsets, DN. Method: independent offsets by [`super::line_offsets`], a wave over the
//! lines by [`super::line_waves`]; neither level nor slope nor structure of the scene counts. Lines of the scene itself are
//! told by two signs: the lens draws them over more than one line, and they go with the light.
//! Source: own derivation, docs/measures.md.
//! Fails when: fewer than 128 lines, or too little of the frame is even.

use rawassay_decode::Frame;

use super::flat_blocks::Usable;
use super::line_offsets::{Offsets, TELLS, offsets};
use super::line_spectrum::{SHORTEST, response};
use super::line_steps::LineSteps;
use super::line_waves::{self, Wave, Waves, left_by_block};
use super::lines_shown::{PARTS, Shown};
use super::variance::Variance;

/// Banding is stated from this many standard errors on; below it is zero.
const SIGNIFICANT: f64 = 3.5;

/// From so many on it is sized to a tenth; what lies between is unknown.
const SIZED: f64 = 5.0;

/// So many standard errors make a variance sure enough to look no further.
const WELL_KNOWN: f64 = 8.0;

/// Variance of the offsets where structure is let in, over that where it is not, from which on neither is trusted.
const LEAKS: f64 = 2.0;

/// Goes over a large frame, each over an even part of it.
const MOST_GOES: usize = 4;

/// Least that the middle group of lines shows of the mean of all: bands are everywhere, lines of the scene are not.
const EVERYWHERE: f64 = 0.3;

/// Most of it that offsets of the sensor leave, of two tests.
const FITS: f64 = 9.0;

/// Lines apart at which longer waves are looked for, from as long to four times as long.
const APART_FOR_WAVES: [usize; 2] = [6, 18];

/// Most correlation of neighbours, in standard deviations of one block's, along and across the lines: offsets of whole
/// lines correlate the samples along them, slow waves of them those across too; edges of the scene do more.
const ALONG: f64 = 8.0;
const ACROSS: f64 = 4.5;

/// A block whose rows may be looked at, by its correlations at [`super::patches::OFFSETS`].
pub(crate) fn shows_rows(c: &[f64; 6]) -> bool {
    [0, 4].iter().all(|&k| c[k].abs() < ALONG) && [1, 2, 3, 5].iter().all(|&k| c[k].abs() < ACROSS)
}

/// A block whose columns may be looked at.
pub(crate) fn shows_columns(c: &[f64; 6]) -> bool {
    [1, 5].iter().all(|&k| c[k].abs() < ALONG) && [0, 2, 3, 4].iter().all(|&k| c[k].abs() < ACROSS)
}

/// What the frame shows of the lines' offsets.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
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
    /// True where most of the picture shows no structure.
    pub(crate) plain: bool,
    /// What of the offsets' variance is of independent lines, DN squared; and period and variance of the wave.
    pub(crate) random_dn2: f64,
    pub(crate) wave: Option<(f64, f64)>,
}

impl Spread {
    /// Offsets of independent lines, as a masked border shows them.
    pub(crate) fn of_independent(dn: f64) -> Self {
        Self { dn, random_dn2: dn * dn, sure: true, ..Self::default() }
    }

    /// Variance that is left of them in a block of `side` lines, those of one kind so far apart, level and slope taken out.
    pub(crate) fn left_in_block_dn2(&self, side: usize, apart: usize) -> f64 {
        let of_independent = 1.0 - 2.0 * apart as f64 / side as f64;
        let of_wave = |(period, dn2): (f64, f64)| dn2 * left_by_block(period, side / apart, apart as f64);
        self.random_dn2 * of_independent + self.wave.map_or(0.0, of_wave)
    }
}

/// What the steps between the lines of one direction are measured with.
#[derive(Clone, Copy)]
pub(crate) struct Search<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) usable: &'a [Usable],
    pub(crate) variances: &'a [Variance],
}

impl Search<'_> {
    /// Offsets of the rows (or columns); `None` where too little is seen.
    pub(crate) fn spread(&self, rows: bool) -> Option<Spread> {
        let apart = self.apart(rows);
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
        let seen = seen?;
        // Where the faint ends of the scene's own lines weigh so much, some are left in what seems without structure.
        let leaks = || {
            let all = steps.shown.with_structure().and_then(|all| offsets(&all, apart));
            all.is_some_and(|all| all.variance_dn2.0 - LEAKS * seen.variance_dn2.0 > 3.0 * all.variance_dn2.1)
        };
        let (wave, unseen_wave_dn2) = self.waves(rows, (apart, lines));
        let found = together(&seen, apart, wave.map(|w| (w.period, w.dn2)));
        // A wave that may go with the light is the scene's where it repeats itself, in text or in a fence.
        let scene = found.scene || found.random_dn2 > 0.0 && leaks() || wave.is_some_and(|w| !w.sure);
        Some(Spread { scene, unseen_wave_dn2, ..found })
    }

    /// Lines of one kind lie so far apart; without filters, next lines are left out to tell what the lens drew.
    fn apart(&self, rows: bool) -> usize {
        let filter = &self.frame.filter;
        if rows { filter.rows } else { filter.columns }.max(2)
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

    /// The highest wave, looked for in these lines and in differences of lines further apart, for longer ones; and the variance
    /// of one that may go unseen, DN squared.
    fn waves(&self, rows: bool, (near, lines): (usize, Vec<[Shown; PARTS]>)) -> (Option<Wave>, f64) {
        let mut seen = vec![(near, SHORTEST, lines)];
        for apart in APART_FOR_WAVES.into_iter().filter(|&apart| apart > near) {
            // Multiples of all arrays; those of large arrays lie so far apart anyway.
            if let Some(mut steps) = LineSteps::new(self.frame, self.usable, self.variances, rows, apart) {
                steps.go_on();
                seen.push((apart, apart as f64, steps.shown.lines()));
            }
        }
        let find = |seen: &[(usize, f64, Vec<[Shown; PARTS]>)]| -> Vec<Waves> {
            let alike = |wave: &Wave| seen.iter().all(|(apart, _, lines)| line_waves::agrees(wave, lines, *apart));
            let found = seen.iter().filter_map(|(apart, shortest, lines)| line_waves::find(lines, *apart, *shortest));
            found.map(|waves| waves.only(alike)).collect()
        };
        let told = |waves: &[Waves], also: Option<Wave>| {
            let found: Vec<Wave> = waves.iter().filter_map(|w| w.found).chain(also).collect();
            (highest(&found), Waves::unseen_dn2(waves))
        };
        let waves = find(&seen);
        let all = || waves.iter().filter_map(|w| w.found);
        let clearest = all().max_by(|a, b| a.over.total_cmp(&b.over));
        let Some(clearest) = clearest.filter(|clearest| !all().all(|wave| wave.same_as(clearest))) else {
            return told(&waves, None);
        };
        // Where what the scene leaves of the lines repeats itself, a wave shows at other periods too: those are looked for
        // without it.
        seen.iter_mut().for_each(|(apart, _, lines)| line_waves::take_out(lines, *apart, &clearest));
        told(&find(&seen), Some(clearest))
    }
}

/// The highest wave, as the differences give it that show it most clearly.
fn highest(waves: &[Wave]) -> Option<Wave> {
    let highest = waves.iter().max_by(|a, b| a.dn2.total_cmp(&b.dn2))?;
    let same = waves.iter().filter(|w| w.same_as(highest));
    same.max_by(|a, b| a.over.total_cmp(&b.over)).copied()
}

/// Offsets and wave together.
fn together(seen: &Offsets, apart: usize, wave: Option<(f64, f64)>) -> Spread {
    let (variance, error) = seen.variance_dn2;
    // What the wave leaves in differences of so few lines, in the shape of independent offsets.
    let of_wave = wave.map_or(0.0, |(period, dn2)| dn2 * response(1.0 / period, apart).powi(4) / 70.0);
    let least_dn2 = SIGNIFICANT * error;
    let rest = variance - of_wave;
    // Of what a wave leaves, so much is by chance.
    let random = rest > least_dn2.max(0.15 * of_wave) && seen.middle_dn2 > EVERYWHERE * variance;
    let (sensor, scene) = seen.how_unlike();
    let (sure, drawn) = (scene - sensor > TELLS && sensor < FITS, sensor - scene > TELLS);
    let random_dn2 = if random && !drawn { rest } else { 0.0 };
    let all = random_dn2 + wave.map_or(0.0, |w| w.1);
    Spread {
        dn: all.sqrt(),
        least_dn2,
        unseen_wave_dn2: 0.0,
        sure: random_dn2 == 0.0 || sure,
        scene: random && drawn && wave.is_none(),
        unsure_size: random && !drawn && rest < SIZED * error && rest > 0.2 * all,
        plain: false,
        random_dn2,
        wave,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};
    use rawassay_fourier::Complex64;

    fn sensor() -> Sensor {
        Sensor { width: 1_024, height: 768, gain: 2.0, read_noise: 6.0, ..Sensor::default() }
    }

    /// A frame of patches, an offset (DN) added to each row and column.
    fn frame(row: impl Fn(usize) -> f64, column: impl Fn(usize) -> f64) -> rawassay_decode::Frame {
        let mut rng = Noise::new(5);
        sensor().draw(|x, y, _, s| {
            let i = (x / 100 * 7 + y / 90 * 13) % 17;
            let e = 20_000.0 * 2_f64.powf(-0.5 * i as f64);
            let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
            (v + row(y) + column(x)).round()
        })
    }

    #[test]
    fn half_a_read_noise_of_random_rows_is_found_and_sized() {
        let mut rng = Noise::new(11);
        let offsets: Vec<f64> = (0..768).map(|_| 1.5 * rng.normal()).collect();
        let m = measure(&frame(|y| offsets[y], |_| 0.0)).noise;
        let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
        assert!((row / 1.5 - 1.0).abs() < 0.2, "{row}");
        assert!(column < 0.2, "{column}");
    }

    #[test]
    fn half_a_read_noise_of_periodic_columns_is_found_and_sized() {
        for period in [3.0, 8.0, 11.0] {
            let wave = |x: usize| 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin();
            let m = measure(&frame(|_| 0.0, wave)).noise;
            let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
            assert!((column / 1.5 - 1.0).abs() < 0.25, "{column} at {period}");
            assert!(row < 0.2, "{row}");
        }
    }

    #[test]
    fn a_wave_over_a_scene_that_repeats_itself_is_not_taken_for_a_higher_one() {
        // Tiles of 80 pixels: their borders, left out, repeat the wave at other periods.
        for (period, amplitude) in [(31.0, 2.0), (26.0, 3.0), (23.0, 2.0), (40.0, 3.0)] {
            let mut rng = Noise::new(12);
            let frame = sensor().draw(|x, y, _, s| {
                let e = 8_000.0 * 2_f64.powf(-0.6 * ((x / 80 * 7 + y / 80 * 13) % 23) as f64);
                let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
                (v + amplitude * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin()).round()
            });
            let column = measure(&frame).noise.column_banding_dn;
            assert!(column.is_none_or(|dn| (dn / amplitude - 1.0).abs() < 0.2), "{column:?} at {period}");
        }
    }

    #[test]
    fn the_highest_wave_counts_and_not_the_one_that_stands_out_most() {
        let wave =
            |period: f64, dn2: f64, over: f64| Wave { period, dn2, over, sure: true, height: Complex64::default() };
        let (small, faint, clear) = (wave(2.7, 0.04, 135.0), wave(19.1, 0.95, 40.0), wave(18.9, 0.9, 85.0));
        assert_eq!(highest(&[small, faint, clear]), Some(clear));
        assert_eq!(highest(&[]), None);
    }

    #[test]
    fn a_clean_frame_and_lines_of_the_scene_are_not_banding() {
        assert!(measure(&frame(|_| 0.0, |_| 0.0)).noise.row_banding_dn.unwrap() < 0.2);
        // Blinds: lines over half of the frame.
        let mut rng = Noise::new(6);
        let blinds = sensor().draw(|x, y, _, s| {
            let e = if x < 500 && y % 14 < 5 { 3_000.0 } else { 6_000.0 };
            (s.black + (e + f64::sqrt(e) * rng.normal()) / s.gain).round()
        });
        assert!(measure(&blinds).noise.row_banding_dn.unwrap_or(0.0) < 1.0);
    }

    #[test]
    fn a_wave_over_fog_of_few_tones_is_the_sensors() {
        for (seed, period) in [(1, 9.7), (2, 17.0), (3, 31.0)] {
            let mut rng = Noise::new(seed);
            let sensor = Sensor { gain: 1.0, ..sensor() };
            let frame = sensor.draw(|x, y, _, s| {
                let fog = (x as f64 / 300.0).sin() * (y as f64 / 230.0).cos();
                let e = 1_500.0 * (1.0 + 0.35 * fog);
                let wave = 3.0 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin();
                (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + wave).round()
            });
            let column = measure(&frame).noise.column_banding_dn;
            assert!(column.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {column:?}");
        }
    }
}
