//! Read noise, and offsets of rows and columns, from the masked (optically black) pixels of the frame.
//!
//! Measures: standard deviation of each plane's masked samples about the mean of their line, DN, outliers beyond four
//! standard deviations left out, the rounding's 1/12 DN^2 taken off: read noise by definition, no light reaches these
//! pixels. And the standard deviation of the lines' means beyond what that noise explains (analysis of variance): rows
//! in borders at the sides, columns in those above and below.
//! Where the noise is cut off at code zero, [`masked_cut`] measures it.
//! Fails when: fewer than 256 masked samples of the plane; for lines, fewer than 64 of 8 samples each; the samples were smoothed, or
//! what is left of noise cut off at zero, or of coarse codes, is too little.
//! Source: Janesick, "Photon Transfer" (noise in the dark); analysis of variance is textbook.

use rawassay_decode::{Area, Frame, is_cut_off};

use super::line_singles::FEWEST_FAR;
use super::masked_between::Between;
use super::masked_codes::{self, codes_apart};
use super::masked_cut;
use super::masked_far::{Far, LineSample, far_lines};
use super::rounding::{ROUNDING, at_one_level};

/// Fewest samples.
pub(super) const FEWEST: f64 = 256.0;

/// Fewest samples of a line for its offset.
pub(super) const FEWEST_IN_LINE: usize = 8;

/// Stretches of a border at the most; lines and samples of each plane of one at the least: a wave of 72 lines is no slope in it, and
/// its variance is known to 3 %.
const MOST_STRETCHES: usize = 12;
const STRETCH_LINES: usize = 150;
const STRETCH_SAMPLES: usize = 2000;

/// A border's variance is like the quietest border's up to this factor.
const LIKE_QUIETEST: f64 = 1.3;

/// What the masked pixels say.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Masked {
    /// Read noise of each plane, DN.
    pub(crate) read_noise_dn: Vec<Option<f64>>,
    /// Offsets of rows and of columns, standard deviation, DN.
    pub(crate) row_banding_dn: Option<f64>,
    pub(crate) column_banding_dn: Option<f64>,
    /// Why no read noise is known.
    pub(crate) why: Option<&'static str>,
    /// Rows, and columns, that stand so far off that no banding is stated from the border.
    pub(crate) unsized_lines: [Option<Unsized>; 2],
}

/// Why single lines far off give no size, and how many they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unsized {
    /// So few that they may be defective.
    Few(usize),
    /// Cut off at code zero.
    CutOff(usize),
}

/// Fewer lines far off than are banding are its tails where they make it no more than so many times what the other lines show.
const TAILS: f64 = 1.5;

/// What is read over the least variance that may read so once it is rounded, and the greatest over what is read, at the most: a tenth
/// of read noise.
const MOST_ROUNDED: f64 = 1.21;

/// Measures the masked pixels. Of several borders, and of the stretches of each, those count whose noise is like the quietest one's:
/// photosites that leak or are wired otherwise, and those that an amplifier's glow lights, make a border noisier than the picture's
/// dark, never quieter.
pub(crate) fn measure(frame: &Frame) -> Masked {
    let planes = frame.filter.planes.len();
    if frame.masked.is_empty() || frame.filter.is_linear() {
        let stated = frame.levels.iter().map(|l| l.masked_noise_dn).collect();
        return Masked { read_noise_dn: stated, ..Masked::default() };
    }
    let whole = Area::new(0, 0, frame.width, frame.height);
    let areas: Vec<Area> = frame.masked.iter().map(|a| inner(a).intersect(&whole)).filter(|a| !a.is_empty()).collect();
    let apart = codes_apart(frame, &areas);
    let borders: Vec<Border> = areas
        .iter()
        .flat_map(|a| stretches(a, planes))
        .map(|(a, upright)| cut_border(frame, &a, upright, apart).unwrap_or_else(|| border(frame, &a, upright)))
        .collect();
    // What rounding does to whole DN it does to codes further apart in the square of their distance.
    let code2 = f64::from(apart).powi(2);
    let quietest = |of: &dyn Fn(&Border) -> bool| {
        borders.iter().filter(|b| of(b)).filter_map(Border::level).fold(f64::INFINITY, f64::min)
    };
    let like = |b: &Border, quietest: f64| b.level().is_some_and(|v| v < LIKE_QUIETEST * quietest);
    let of_all = quietest(&|_| true);
    // Light that falls off across a border makes neighbours alike: only what is dark is asked.
    let dark: Vec<Area> = borders.iter().filter(|b| like(b, of_all)).map(|b| b.area).collect();
    if masked_codes::smoothed(frame, &dark) {
        let none = vec![None; planes];
        return Masked { read_noise_dn: none, why: Some(masked_codes::SMOOTHED), ..Masked::default() };
    }
    let variance = |p: usize| {
        let known = borders.iter().filter(|b| like(b, of_all)).filter_map(|b| b.variances[p]);
        let (n, sum) = known.fold((0.0, 0.0), |s, (n, v)| (s.0 + n, s.1 + n * v));
        (n > 0.0).then(|| sum / n - ROUNDING * code2)
    };
    let variances: Vec<Option<f64>> = (0..planes).map(variance).collect();
    let shows = |v: &f64| *v > 0.1 * ROUNDING * code2 && shows_through_rounding(*v / code2);
    let read_noise_dn = variances.iter().map(|v| v.filter(shows).map(f64::sqrt)).collect();
    // What whole DN make of so little noise they make of the offsets too.
    let rounded = variances.iter().flatten().any(|v| !shows(v));
    let banding = |upright: bool| {
        // What lights a whole side lights all its lines alike.
        let quietest = quietest(&|b| b.upright == upright);
        let (mut without_far, mut with_far, mut far, mut at_zero) = (Between::default(), Between::default(), 0, false);
        for border in borders.iter().filter(|b| b.upright == upright && like(b, quietest)) {
            without_far.join(&border.lines);
            with_far.join(border.far.as_ref().map_or(&border.lines, |far| &far.lines));
            far += border.far.as_ref().map_or(0, |far| far.count);
            at_zero |= border.far.as_ref().is_some_and(|far| far.at_zero);
        }
        let [without_far, with_far] = [without_far, with_far].map(|lines| lines.spread_dn().filter(|_| !rounded));
        let tails = without_far.zip(with_far).is_none_or(|(without, with)| with <= TAILS * without);
        if at_zero {
            (None, Some(Unsized::CutOff(far)))
        } else if tails || far >= FEWEST_FAR {
            (with_far, None)
        } else {
            (None, Some(Unsized::Few(far)))
        }
    };
    let [(row_banding_dn, rows), (column_banding_dn, columns)] = [true, false].map(banding);
    Masked { read_noise_dn, row_banding_dn, column_banding_dn, why: None, unsized_lines: [rows, columns] }
}

/// A border cut across into stretches, as many as hold enough samples of each plane; and true where its lines are rows.
fn stretches(area: &Area, planes: usize) -> impl Iterator<Item = (Area, bool)> + use<> {
    let (area, upright) = (*area, area.height >= area.width);
    let (lines, length) = if upright { (area.height, area.width) } else { (area.width, area.height) };
    let count = (lines / STRETCH_LINES).min(lines * length / (planes * STRETCH_SAMPLES)).clamp(1, MOST_STRETCHES);
    (0..count).map(move |i| {
        let (from, to) = (i * lines / count, (i + 1) * lines / count);
        let stretch = if upright {
            Area::new(area.x, area.y + from, area.width, to - from)
        } else {
            Area::new(area.x + from, area.y, to - from, area.height)
        };
        (stretch, upright)
    })
}

/// True where whole DN leave no doubt of the noise: a border lies at one level, about which rounding may add more or less than it
/// does on average.
fn shows_through_rounding(variance: f64) -> bool {
    let (least, most) = at_one_level(variance);
    variance < MOST_ROUNDED * least && most < MOST_ROUNDED * variance
}

/// One stretch of a border.
struct Border {
    area: Area,
    /// Its lines are rows.
    upright: bool,
    /// Samples and variance of each plane.
    variances: Vec<Option<(f64, f64)>>,
    lines: Between,
    /// The same where lines stand far off.
    far: Option<Far>,
}

impl Border {
    /// Variance over the planes; `None` where a plane's is unknown, zero where one does not show its noise: it is quieter than any
    /// that does, and of those that do the ones would be taken that light lifts.
    fn level(&self) -> Option<f64> {
        let all: Option<Vec<f64>> = self.variances.iter().map(|v| v.map(|v| v.1)).collect();
        all.map(|all| if all.contains(&0.0) { 0.0 } else { all.iter().sum::<f64>() / all.len().max(1) as f64 })
    }
}

/// A stretch whose noise is cut off at code zero, its codes so many DN apart; `None` of any other.
fn cut_border(frame: &Frame, area: &Area, upright: bool, apart: u16) -> Option<Border> {
    let (count, length) = if upright { (area.height, area.width) } else { (area.width, area.height) };
    let codes: Vec<u16> =
        (area.y..area.bottom()).flat_map(|y| frame.row(y).iter().take(area.right()).skip(area.x)).copied().collect();
    if !is_cut_off(&codes) {
        return None;
    }
    let period = if upright { frame.filter.rows } else { frame.filter.columns }.max(1);
    let mut samples = Vec::with_capacity(area.len());
    for y in area.y..area.bottom() {
        for (x, &code) in frame.row(y).iter().enumerate().take(area.right()).skip(area.x) {
            let (along, across) = if upright { (y - area.y, x - area.x) } else { (x - area.x, y - area.y) };
            // With two converters a line across has an offset for each colour.
            let across = along % period * length + across;
            samples.push((along as u32, across as u32, frame.filter.plane_at(x, y) as u32, code / apart));
        }
    }
    let cut = masked_cut::measure(&samples, frame.filter.planes.len(), [count, period * length], period);
    let (step, step2) = (f64::from(apart), f64::from(apart).powi(2));
    let variances = cut.variances.iter().map(|v| v.map(|(n, variance)| (n, variance * step2))).collect();
    let lines: Vec<[f64; 3]> = cut.lines.iter().map(|l| [l[0], l[1] * step, l[2] * step2]).collect();
    Some(Border { area: *area, upright, variances, lines: Between::of(&lines), far: None })
}

fn border(frame: &Frame, area: &Area, upright: bool) -> Border {
    let planes = frame.filter.planes.len();
    let (count, length) = if upright { (area.height, area.width) } else { (area.width, area.height) };
    let period = if upright { frame.filter.rows } else { frame.filter.columns }.max(1);
    let mut limits = vec![(f64::NEG_INFINITY, f64::INFINITY); planes];
    let mut centres: Vec<f64> = frame.levels.iter().map(|l| l.black_dn).collect();
    let mut variances: Vec<Option<(f64, f64)>> = vec![None; planes];
    // Mean of each line across: a narrow border's rows carry offsets of their own, with two converters one for each colour.
    let mut across = vec![vec![0.0; length]; period];
    let mut means: Vec<[f64; 3]> = Vec::with_capacity(count);
    let place = |line: usize, i: usize| if upright { (area.x + i, area.y + line) } else { (area.x + line, area.y + i) };
    let plane_of = |line: usize, i: usize| {
        let (x, y) = place(line, i);
        frame.filter.plane_at(x, y)
    };
    let planes_of: Vec<Vec<usize>> = (0..period).map(|line| (0..length).map(|i| plane_of(line, i)).collect()).collect();
    for round in 0..4 {
        // Per plane: samples, lines, sum, squares, squares about the lines' means.
        let mut sums = vec![[0.0_f64; 5]; planes];
        let mut own = vec![[0.0_f64; 3]; planes];
        let mut next = vec![vec![(0.0, 0.0); length]; period];
        means.clear();
        for line in 0..count {
            own.iter_mut().for_each(|o| *o = [0.0; 3]);
            for (i, &plane) in planes_of[line % period].iter().enumerate() {
                let (x, y) = place(line, i);
                let Some(&v) = frame.row(y).get(x) else { continue };
                let v = f64::from(v);
                if v >= limits[plane].0 && v <= limits[plane].1 {
                    let d = v - centres[plane];
                    let next = &mut next[line % period][i];
                    *next = (next.0 + 1.0, next.1 + d);
                    let d = d - across[line % period][i];
                    own[plane] = [own[plane][0] + 1.0, own[plane][1] + d, own[plane][2] + d * d];
                }
            }
            let (mut n, mut sum, mut noise) = (0.0, 0.0, 0.0);
            for (plane, own) in own.iter().enumerate().filter(|(_, o)| o[0] > 0.0) {
                let about = own[2] - own[1] * own[1] / own[0];
                let add = [own[0], 1.0, own[1], own[2], about];
                sums[plane].iter_mut().zip(add).for_each(|(s, a)| *s += a);
                (n, sum) = (n + own[0], sum + own[1]);
                noise += own[0] * variances[plane].map_or(0.0, |v| v.1);
            }
            if n as usize >= FEWEST_IN_LINE {
                means.push([line as f64, sum / n, noise / (n * n)]);
            }
        }
        for (p, &[n, lines, sum, squares, about]) in sums.iter().enumerate() {
            variances[p] = None;
            if n < FEWEST || n <= lines {
                continue;
            }
            let mean = sum / n;
            let spread = (squares / n - mean * mean).max(0.0).sqrt().max(0.5);
            // The centre is settled with the limits: the last round takes its differences from it.
            if round < 3 {
                centres[p] += mean;
                limits[p] = (centres[p] - 4.0 * spread - 0.5, centres[p] + 4.0 * spread + 0.5);
            }
            // What the means of the lines across cost in degrees of freedom, shared by the planes.
            let kept = 1.0 - ((length * period) as f64 - 1.0) / (length * count).max(2) as f64;
            variances[p] = Some((n, about / ((n - lines) * if round > 0 { kept } else { 1.0 })));
        }
        if round < 3 {
            for (across, next) in across.iter_mut().zip(&next) {
                let all = next.iter().fold((0.0, 0.0), |s, n| (s.0 + n.0, s.1 + n.1));
                let mean = all.1 / f64::max(all.0, 1.0);
                across.iter_mut().zip(next).for_each(|(a, n)| *a = if n.0 > 0.0 { n.1 / n.0 - mean } else { 0.0 });
            }
        }
    }
    let far = far_lines(count, &|line| {
        let sample = |i: usize| {
            let ((x, y), plane) = (place(line, i), planes_of[line % period][i]);
            let v = f64::from(*frame.row(y).get(x)?);
            let counts = v >= limits[plane].0 && v <= limits[plane].1;
            Some(LineSample {
                off: v - centres[plane] - across[line % period][i],
                variance: variances[plane]?.1,
                counts,
                zero: v == 0.0,
            })
        };
        (0..length).filter_map(sample).collect()
    });
    Border { area: *area, upright, variances, lines: Between::of(&means), far }
}

/// The area without the two pixels at its rim that light of the picture may reach, where it is wide enough.
fn inner(area: &Area) -> Area {
    let (dx, dy) = (if area.width > 8 { 2 } else { 0 }, if area.height > 8 { 2 } else { 0 });
    Area::new(area.x + dx, area.y + dy, area.width - 2 * dx, area.height - 2 * dy)
}

#[cfg(test)]
mod changed_tests;

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Sensor;

    #[test]
    fn a_leaking_border_and_offsets_of_rows_are_not_read_noise() {
        let sensor = Sensor { width: 600, height: 400, gain: 2.0, read_noise: 3.0, ..Sensor::default() };
        let mut rng = crate::test_frames::Noise::new(21);
        let rows: Vec<f64> = (0..400).map(|_| 0.75 * rng.normal()).collect();
        let mut frame = sensor.draw(|x, y, _, s| {
            let noise = if x >= 560 { 4.0 } else { 1.5 };
            (s.black + noise * rng.normal() + rows[y]).round()
        });
        frame.active = Area::new(40, 40, 520, 360);
        frame.masked = vec![Area::new(0, 0, 40, 400), Area::new(560, 0, 40, 400), Area::new(40, 0, 520, 40)];
        let found = measure(&frame);
        for read in found.read_noise_dn {
            assert!((read.unwrap() / 1.5 - 1.0).abs() < 0.05, "{read:?}");
        }
        assert!((found.row_banding_dn.unwrap() / 0.75 - 1.0).abs() < 0.12, "{:?}", found.row_banding_dn);
        assert!(found.column_banding_dn.unwrap() < 0.1, "{:?}", found.column_banding_dn);
    }

    #[test]
    fn what_an_amplifier_lights_is_neither_read_noise_nor_an_offset() {
        // 60 electrons at the rim, falling to a third every 200 pixels; offsets of the lines, and none.
        for (seed, offsets_dn) in [(1, 0.0), (2, 0.9)] {
            let sensor = Sensor { width: 2_400, height: 1_600, gain: 1.25, ..Sensor::default() };
            for from_top in [false, true] {
                let mut rng = crate::test_frames::Noise::new(seed);
                let [rows, columns] =
                    [1_600, 2_400].map(|n| -> Vec<f64> { (0..n).map(|_| offsets_dn * rng.normal()).collect() });
                let mut frame = sensor.draw(|x, y, _, s| {
                    let glow = 60.0 * (-(if from_top { y } else { x } as f64) / 180.0).exp();
                    let e = glow + glow.sqrt() * rng.normal() + 2.5 * rng.normal();
                    (s.black + e / s.gain + rows[y] + columns[x]).round()
                });
                frame.active = Area::new(48, 36, 2_352, 1_564);
                frame.masked = vec![Area::new(0, 0, 48, 1_600), Area::new(48, 0, 2_352, 36)];
                let found = measure(&frame);
                for read in &found.read_noise_dn {
                    assert!((read.unwrap() / 2.0 - 1.0).abs() < 0.06, "{from_top} {offsets_dn}: {read:?}");
                }
                for (banding, offsets) in [(found.row_banding_dn, &rows), (found.column_banding_dn, &columns)] {
                    let drawn = (offsets.iter().map(|v| v * v).sum::<f64>() / offsets.len() as f64).sqrt();
                    let off = banding.unwrap() - drawn;
                    assert!(off.abs() < 0.1, "{from_top} {offsets_dn}: {banding:?} of {drawn}, {found:?}");
                }
            }
        }
    }

    #[test]
    fn what_whole_dn_do_not_show_is_no_offset() {
        // Half-way between two codes, offsets of a few hundredths of a DN move as much as whole codes.
        for noise in [0.05, 0.12, 0.25] {
            let sensor = Sensor { width: 600, height: 400, black: 512.5, ..Sensor::default() };
            let mut rng = crate::test_frames::Noise::new(5);
            let mut frame = sensor.draw(|_, y, _, s| {
                let wave = 0.5 * noise * (y as f64 * 0.9).sin();
                (s.black + noise * rng.normal() + wave).round()
            });
            frame.active = Area::new(40, 0, 560, 400);
            frame.masked = vec![Area::new(0, 0, 40, 400)];
            assert_eq!(measure(&frame).row_banding_dn, None, "{noise}");
        }
    }

    #[test]
    fn what_whole_dn_do_not_show_is_no_read_noise() {
        // At one level noise of 0.36 DN reads 20 % low, half-way between two codes 13 % high (Widrow and Kollar's series).
        for (black, noise) in [(512.0, 0.36), (512.5, 0.36), (512.0, 0.3), (512.5, 0.3), (512.0, 0.5), (512.5, 0.5)] {
            let sensor = Sensor { width: 600, height: 400, black, ..Sensor::default() };
            let mut rng = crate::test_frames::Noise::new(5);
            let mut frame = sensor.draw(|_, _, _, s| (s.black + noise * rng.normal()).round());
            frame.active = Area::new(40, 0, 560, 400);
            frame.masked = vec![Area::new(0, 0, 40, 400)];
            for found in measure(&frame).read_noise_dn {
                assert!(found.is_none_or(|read| (read / noise - 1.0).abs() < 0.1), "{black} {noise}: {found:?}");
                assert!(found.is_some() || noise < 0.4, "{black} {noise}: unknown");
            }
        }
    }

    #[test]
    fn the_border_gives_the_read_noise() {
        let sensor = Sensor { width: 600, height: 400, gain: 2.0, read_noise: 3.0, ..Sensor::default() };
        let mut frame = sensor.shoot(|x, _, _| if x < 40 { 0.0 } else { 5_000.0 });
        frame.active = Area::new(40, 0, 560, 400);
        frame.masked = vec![Area::new(0, 0, 40, 400)];
        for found in measure(&frame).read_noise_dn {
            assert!((found.unwrap() / 1.5 - 1.0).abs() < 0.05, "{found:?}");
        }
        frame.masked = vec![Area::new(0, 0, 4, 20)];
        assert!(measure(&frame).read_noise_dn.iter().all(Option::is_none));
    }
}
