//! The masked (optically black) border: which part of it is black, and its level and noise.
//!
//! Borders hold more than black pixels: lines that light reaches, lines without pixels, reference lines at another
//! level. A line of a border counts only if its median lies with the others'; a stretch of its lines only if no amplifier's
//! glow lights it. Source: own derivation.

use super::cut_off;
use crate::backend::Decoded;
use crate::frame::Area;

/// Fewest masked samples of a plane from which a level is taken.
const FEWEST: usize = 256;
/// Fewest lines (columns or rows) of a border.
const FEWEST_LINES: usize = 4;
/// Most samples of one area that are looked at.
const MOST: usize = 1 << 20;
/// Stretches of a border at the most; their lines and samples at the least (the variance of one is known to 3 %), and samples of
/// one that are looked at, about.
const MOST_STRETCHES: usize = 12;
const STRETCH_LINES: usize = 150;
const STRETCH_SAMPLES: usize = 2000;
const LOOKED_AT: usize = 8000;
/// A stretch is lit where its variance is so many times the quietest one's and its level higher by so much, DN: light brings
/// both, a border of other photosites noise alone.
const LIT_NOISE: f64 = 1.3;
const LIT_DN: f64 = 0.5;

/// Offsets of a border's lines count as its own up to so many times the middle one (3.5 standard deviations of a normal
/// distribution), and up to so many times a line's own noise.
const OFFSETS: f64 = 5.2;
const MOST_OFFSETS: f64 = 4.0;

/// Standard deviation of the middle 96 % of a normal distribution, in that of the whole: (1 - 2 z phi(z) / 0.96)^(1/2) at
/// z = 2.0537.
const MIDDLE_SPREAD: f64 = 0.8904;

/// Level and noise of one plane's masked samples.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    pub(super) level_dn: f64,
    pub(super) noise_dn: f64,
}

/// Replaces `decoded.masked` by what of it, or of the border around the active area, is black.
pub(super) fn settle(decoded: &mut Decoded) {
    if decoded.filter.is_linear() {
        decoded.masked.clear();
        return;
    }
    let named = !decoded.masked.is_empty();
    let candidates = if named { std::mem::take(&mut decoded.masked) } else { border(decoded) };
    let mut settled = Vec::new();
    for area in candidates {
        match black_part(decoded, &area, named) {
            Some(part) => settled.push(part),
            None if named => decoded.notes.push(format!(
                "a masked area named in the file ({} x {} at {},{}) is not black and was left out",
                area.width, area.height, area.x, area.y
            )),
            None => {}
        }
    }
    decoded.masked = settled;
}

/// The strips left, right, above and below the active area.
fn border(decoded: &Decoded) -> Vec<Area> {
    let (a, width, height) = (&decoded.active, decoded.width, decoded.height);
    let strips = [
        Area::new(0, a.y, a.x, a.height),
        Area::new(a.right(), a.y, width - a.right(), a.height),
        Area::new(0, 0, width, a.y),
        Area::new(0, a.bottom(), width, height - a.bottom()),
    ];
    strips.into_iter().filter(|s| s.width.min(s.height) >= FEWEST_LINES).collect()
}

/// One line (column or row) of a border: median and robust spread over all its planes, each against its declared black.
#[derive(Debug, Clone, Copy)]
struct Line {
    median_dn: f64,
    spread_dn: f64,
}

/// The longest run of lines of `area` that are black; `None` where there are too few.
fn black_part(decoded: &Decoded, area: &Area, named: bool) -> Option<Area> {
    let upright = area.height >= area.width;
    let count = if upright { area.width } else { area.height };
    let lines: Vec<Line> = (0..count).map(|i| line(decoded, area, upright, i)).collect();
    // The level of most lines, from the quieter half (lit lines are the loud ones).
    let mut by_spread: Vec<&Line> = lines.iter().filter(|l| l.spread_dn > 0.0 || !named).collect();
    by_spread.sort_by(|a, b| a.spread_dn.total_cmp(&b.spread_dn));
    let quiet = &by_spread[..by_spread.len().div_ceil(2)];
    let level = median(quiet.iter().map(|l| l.median_dn).collect())?;
    let spread = median(quiet.iter().map(|l| l.spread_dn).collect())?;
    let white = decoded.white.iter().copied().fold(f64::MAX, f64::min);
    let declared = decoded.black.iter().sum::<f64>() / decoded.black.len().max(1) as f64;
    // Medians of lines scatter by little; fixed-pattern offsets of columns add a few DN, banding as much as it is. That shows on
    // the lower side too, where light brings no line unless it lights most of them: it falls off across the border then.
    let lower = median(quiet.iter().map(|l| level - l.median_dn).filter(|d| *d >= 0.0).collect()).unwrap_or(0.0);
    let third = |k: usize| median(lines[k * count / 3..(k + 1) * count / 3].iter().map(|l| l.median_dn).collect());
    let falls_off = match [third(0), third(1), third(2)] {
        [Some(a), Some(b), Some(c)] => (a - b) * (b - c) > 0.0 && (a - c).abs() > 2.0 * lower,
        _ => false,
    };
    let offsets = if falls_off { 0.0 } else { (OFFSETS * lower).min(MOST_OFFSETS * spread) };
    let tolerance = (0.5 * spread).max(1.5).max(offsets);
    let black = |l: &Line| (l.median_dn - level).abs() <= tolerance && l.spread_dn <= 2.0 * spread + 1.0;
    let (mut best, mut start) = (0..0, 0);
    for i in 0..=count {
        if !lines.get(i).is_some_and(black) {
            if i - start > best.len() {
                best = start..i;
            }
            start = i + 1;
        }
    }
    if best.len() < FEWEST_LINES {
        return None;
    }
    // Believed if near the declared black. A border that the file does not name has to be nearer; with no declared
    // black it has to be low and quiet.
    let range = (white - declared).max(1.0);
    let believed = if named {
        level.abs() <= 0.1 * range
    } else if declared > 0.0 {
        level.abs() <= (0.01 * range).max(4.0) && spread <= 0.02 * range
    } else {
        level <= 0.1 * range && level > 0.0 && spread > 0.0 && spread <= 0.02 * range
    };
    if !believed {
        return None;
    }
    // The lines next to the picture may hold a trace of light that the median does not show.
    let mut part = best;
    if part.len() > 4 * FEWEST_LINES {
        let inner_end = if upright { area.x < decoded.active.x } else { area.y < decoded.active.y };
        if inner_end && part.end == count {
            part.end -= 2;
        } else if !inner_end && part.start == 0 {
            part.start += 2;
        }
    }
    Some(if upright {
        Area::new(area.x + part.start, area.y, part.len(), area.height)
    } else {
        Area::new(area.x, area.y + part.start, area.width, part.len())
    })
}

/// A sample against the declared black of its plane, DN.
fn above_black(decoded: &Decoded, x: usize, y: usize) -> f64 {
    let plane = decoded.filter.plane_at(x, y);
    f64::from(decoded.samples[y * decoded.width + x]) - decoded.black.get(plane).copied().unwrap_or(0.0)
}

fn line(decoded: &Decoded, area: &Area, upright: bool, index: usize) -> Line {
    let length = if upright { area.height } else { area.width };
    let step = (length / 1024).max(1) | 1; // odd: both phases of the filter array are met
    let at = |i: usize| if upright { (area.x + index, area.y + i) } else { (area.x + i, area.y + index) };
    let values = (0..length).step_by(step).map(at).map(|(x, y)| above_black(decoded, x, y)).collect();
    Line::of(values).0
}

impl Line {
    /// Of these values, one at least; and the mean of their middle 96 %.
    fn of(mut values: Vec<f64>) -> (Self, f64) {
        // Quantiles of whole numbers give 0 for noise below half a DN: the deviation of the middle 96 % does not.
        let last = values.len() - 1;
        let (low, high) = (last / 50, last - last / 50);
        values.select_nth_unstable_by(high, f64::total_cmp);
        values[..=high].select_nth_unstable_by(low, f64::total_cmp);
        let middle = &mut values[low..=high];
        let median_dn = *middle.select_nth_unstable_by(last / 2 - low, f64::total_cmp).1;
        let mean = middle.iter().sum::<f64>() / middle.len() as f64;
        let variance = middle.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / middle.len() as f64;
        (Self { median_dn, spread_dn: variance.sqrt() / MIDDLE_SPREAD }, mean)
    }
}

/// What of the masked borders gives black: all but the stretches that an amplifier's glow lights.
pub(super) fn dark(decoded: &Decoded) -> Vec<Area> {
    decoded.masked.iter().flat_map(|area| unlit(decoded, area)).collect()
}

fn unlit(decoded: &Decoded, area: &Area) -> Vec<Area> {
    let upright = area.height >= area.width;
    let lines = if upright { area.height } else { area.width };
    let count = (lines / STRETCH_LINES).min(area.len() / STRETCH_SAMPLES).clamp(1, MOST_STRETCHES);
    let part = |from: usize, to: usize| {
        let (from, to) = (from * lines / count, to * lines / count);
        if upright {
            Area::new(area.x, area.y + from, area.width, to - from)
        } else {
            Area::new(area.x + from, area.y, to - from, area.height)
        }
    };
    let stretches: Vec<(f64, f64)> = (0..count)
        .map(|i| {
            let stretch = part(i, i + 1);
            // Odd steps meet every phase of the filter array.
            let step = (stretch.len() / LOOKED_AT).max(1) | 1;
            let places = (0..stretch.len()).step_by(step);
            let places = places.map(|i| (stretch.x + i % stretch.width, stretch.y + i / stretch.width));
            let (line, mean) = Line::of(places.map(|(x, y)| above_black(decoded, x, y)).collect());
            (mean, line.spread_dn.powi(2))
        })
        .collect();
    let Some(quietest) = stretches.iter().min_by(|a, b| a.1.total_cmp(&b.1)) else { return vec![*area] };
    let higher = |s: &(f64, f64)| s.0 > quietest.0 + LIT_DN;
    if !stretches.iter().any(|s| higher(s) && s.1 > LIT_NOISE * quietest.1) {
        return vec![*area];
    }
    // Where light falls off along the border, a little of it lies on what is hardly noisier.
    let dark: Vec<bool> = stretches.iter().map(|s| !higher(s)).collect();
    let mut runs = Vec::new();
    let mut start = 0;
    for i in 0..=count {
        if !dark.get(i).is_some_and(|dark| *dark) {
            if i > start {
                runs.push(part(start, i));
            }
            start = i + 1;
        }
    }
    runs
}

/// Level and noise of one plane in these areas; `None` where they hold fewer than 256 of its samples.
pub(super) fn measure(decoded: &Decoded, areas: &[Area], plane: usize) -> Option<Measured> {
    let (mut sum, mut squares, mut weight, mut count) = (0.0, 0.0, 0.0, 0_usize);
    for area in areas {
        let Some(part) = measure_area(decoded, area, plane) else { continue };
        sum += part.level_dn * part.samples as f64;
        squares += part.noise_dn * part.noise_dn * part.samples as f64;
        weight += part.samples as f64;
        count += part.samples;
    }
    (count >= FEWEST)
        .then(|| Measured { level_dn: sum / weight, noise_dn: (squares / weight).sqrt() })
        .filter(|m| m.level_dn.is_finite() && m.noise_dn.is_finite())
}

struct Part {
    level_dn: f64,
    noise_dn: f64,
    samples: usize,
}

/// Level (mean of what lies within four deviations) and noise (deviation of the same, after taking out the offsets of
/// rows and columns) of one area.
fn measure_area(decoded: &Decoded, area: &Area, plane: usize) -> Option<Part> {
    let step = (area.len() / MOST).max(1);
    // Whole periods of the filter array are left out, so that every plane keeps rows.
    let mut values: Vec<(u32, u32, f64)> = Vec::new();
    let rows = decoded.filter.rows;
    for y in area.y..area.bottom() {
        if !((y - area.y) / rows).is_multiple_of(step) {
            continue;
        }
        let row = &decoded.samples[y * decoded.width..(y + 1) * decoded.width];
        let period = decoded.filter.columns.max(1);
        for first in area.x..area.right().min(area.x + period) {
            if decoded.filter.plane_at(first, y) == plane {
                let own = (first..area.right()).step_by(period);
                values.extend(own.map(|x| ((x - area.x) as u32, (y - area.y) as u32, f64::from(row[x]))));
            }
        }
    }
    if values.len() < 64 {
        return None;
    }
    let mut stored: Vec<u16> = values.iter().map(|v| v.2 as u16).collect();
    if cut_off::is_cut_off(&stored) {
        // Offsets of rows and columns are noise there.
        let samples = stored.len();
        return cut_off::level_and_noise(stored).map(|(level_dn, noise_dn)| Part { level_dn, noise_dn, samples });
    }
    let last = stored.len() - 1;
    let mut at = |q: f64| f64::from(*stored.select_nth_unstable((last as f64 * q) as usize).1);
    let (middle, spread) = (at(0.5), ((at(0.8413) - at(0.1587)) / 2.0).max(0.5));
    values.retain(|v| (v.2 - middle).abs() <= 4.0 * spread + 1.0);
    let level_dn = values.iter().map(|v| v.2).sum::<f64>() / values.len() as f64;
    let columns_used = offsets(&mut values, area.width, |v| v.0 as usize);
    let rows_used = offsets(&mut values, area.height, |v| v.1 as usize);
    let freedom = values.len() as f64 - columns_used as f64 - rows_used as f64 + 1.0;
    let squares: f64 = values.iter().map(|v| v.2 * v.2).sum();
    let noise_dn = if freedom >= 32.0 { (squares / freedom).sqrt() } else { spread };
    Some(Part { level_dn, noise_dn, samples: values.len() })
}

/// Takes the mean of each line out of the values; how many lines there were.
fn offsets(values: &mut [(u32, u32, f64)], lines: usize, line: impl Fn(&(u32, u32, f64)) -> usize) -> usize {
    let mut sums = vec![(0.0, 0_u32); lines];
    for v in values.iter() {
        let s = &mut sums[line(v)];
        *s = (s.0 + v.2, s.1 + 1);
    }
    for v in values.iter_mut() {
        let (sum, count) = sums[line(v)];
        v.2 -= sum / f64::from(count);
    }
    sums.iter().filter(|s| s.1 > 0).count()
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::backend::Gaps;
    use crate::frame::FilterArray;

    /// A frame with a border of black noise, two lit columns next to the picture and a column of zeros at the edge.
    fn frame(noise_dn: f64) -> Decoded {
        let (width, height, border) = (400, 600, 40);
        let mut state = 1_u64;
        let mut normal = move || {
            let mut sum = 0.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
            }
            sum - 6.0
        };
        let mut samples = Vec::new();
        for y in 0..height {
            let row_offset = if y % 3 == 0 { 6.0 } else { -3.0 };
            for x in 0..width {
                let level: f64 = match x {
                    0 => -512.0,
                    38 | 39 => 200.0,
                    x if x >= border => 3000.0,
                    _ => row_offset,
                };
                samples.push((512.0 + level + normal() * noise_dn).round().clamp(0.0, 16_383.0) as u16);
            }
        }
        Decoded {
            samples,
            width,
            height,
            filter: FilterArray::bayer("RGGB").unwrap(),
            active: Area::new(border, 0, width - border, height),
            masked: Vec::new(),
            black: vec![510.0; 4],
            white: vec![16_383.0; 4],
            largest_code: None,
            missing: None,
            dithered: false,
            as_coded: false,
            noise_profile: Vec::new(),
            gaps: Gaps::default(),
            notes: Vec::new(),
        }
    }

    #[test]
    fn level_and_noise_without_row_offsets_and_lit_lines() {
        let mut decoded = frame(4.0);
        settle(&mut decoded);
        assert_eq!(decoded.masked.len(), 1);
        assert!(decoded.masked[0].x >= 1 && decoded.masked[0].right() <= 38, "{:?}", decoded.masked);
        for plane in 0..4 {
            let m = measure(&decoded, &dark(&decoded), plane).unwrap();
            assert!((m.level_dn - 512.0).abs() < 0.3, "{m:?}");
            // Planted 4 DN, and 1/12 DN^2 of rounding: 4.01 DN.
            assert!((m.noise_dn - 4.01).abs() < 0.12, "{m:?}");
        }
    }

    #[test]
    fn light_that_falls_off_across_a_border_is_not_taken_for_bands() {
        let (mut decoded, more) = (frame(4.0), frame(1.0));
        for (i, sample) in decoded.samples.iter_mut().enumerate().filter(|(i, _)| i % 400 < 40) {
            // Light has noise of its own.
            let light_dn = 60.0 * (((i % 400) as f64 - 39.0) / 12.0).exp();
            let noise = f64::from(more.samples[(i + 97) / 400 * 400 + 200 + i % 97]) - 3512.0;
            *sample += (light_dn + noise * light_dn.sqrt()).round().max(0.0) as u16;
        }
        settle(&mut decoded);
        // No column is without light: 2.5 DN reach the furthest, 10 DN the middle.
        for plane in 0..4 {
            let m = measure(&decoded, &dark(&decoded), plane).unwrap();
            assert!((m.level_dn - 512.0).abs() < 6.0, "{m:?}");
        }
    }

    #[test]
    fn noise_below_half_a_code_is_black_and_one_code_throughout_is_not() {
        let mut decoded = frame(0.4);
        decoded.black = vec![519.0; 4];
        decoded.masked = vec![Area::new(0, 0, 40, 600)];
        for y in 0..600 {
            for x in 1..40 {
                // No row offsets: they would hide that most samples are one code.
                let sample = &mut decoded.samples[y * 400 + x];
                *sample = (*sample as i32 - if y % 3 == 0 { 6 } else { -3 }) as u16;
            }
        }
        settle(&mut decoded);
        assert_eq!(decoded.masked.len(), 1, "{:?}", decoded.notes);
        let m = measure(&decoded, &dark(&decoded), 0).unwrap();
        assert!((m.level_dn - 512.0).abs() < 0.1, "{m:?}");
        // What was never read from the sensor says nothing of black.
        decoded.masked = vec![Area::new(0, 0, 40, 600)];
        for y in 0..600 {
            decoded.samples[y * 400..y * 400 + 40].fill(300);
        }
        settle(&mut decoded);
        assert!(decoded.masked.is_empty());
    }

    #[test]
    fn banding_takes_no_line_from_the_border() {
        // Columns that scatter by one and a half times the noise, and a wave of as much; the light's two columns stay out.
        for wave in [false, true] {
            let mut decoded = frame(4.0);
            let mut state = 7_u32;
            let mut offset = |x: usize| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let random = (f64::from(state) / f64::from(u32::MAX) - 0.5) * 12.0_f64.sqrt();
                6.0 * if wave { 1.41 * (x as f64 * 0.45).sin() } else { random }
            };
            let offsets: Vec<f64> = (0..400).map(&mut offset).collect();
            for (i, v) in decoded.samples.iter_mut().enumerate() {
                *v = (f64::from(*v) + offsets[i % 400]).round().max(0.0) as u16;
            }
            decoded.masked = vec![Area::new(0, 0, 40, 600)];
            settle(&mut decoded);
            let [area] = decoded.masked[..] else { panic!("{:?}", decoded.notes) };
            assert!(area.x <= 1 && (36..=38).contains(&area.right()), "{wave}: {area:?}");
            let m = measure(&decoded, &dark(&decoded), 0).unwrap();
            assert!((m.noise_dn - 4.01).abs() < 0.15, "{wave}: {m:?}");
        }
    }

    #[test]
    fn what_an_amplifier_lights_is_no_part_of_black() {
        for (glow_e, noisier) in [(0.0, 1.0), (60.0, 1.0), (0.0, 4.0)] {
            let mut decoded = frame(2.0);
            for y in 0..600 {
                for x in 0..40 {
                    // A DN per electron: its photon noise from the border's own, its rows without their offsets.
                    let glow: f64 = glow_e * (-(y as f64) / 100.0).exp();
                    let sample = &mut decoded.samples[y * 400 + x];
                    let row = 512.0 + if y % 3 == 0 { 6.0 } else { -3.0 };
                    let noise = (f64::from(*sample) - row) * (1.0 + glow / 4.0).sqrt();
                    *sample = (512.0 + glow + noise * if y < 200 { noisier } else { 1.0 }).round().max(0.0) as u16;
                }
            }
            decoded.masked = vec![Area::new(4, 0, 32, 600)];
            settle(&mut decoded);
            let lit = glow_e > 0.0;
            let from = dark(&decoded).first().map(|a| a.y);
            assert_eq!((from, decoded.masked.len()), (Some(if lit { 450 } else { 0 }), 1), "{glow_e} {noisier}");
            for plane in 0..4 {
                let m = measure(&decoded, &dark(&decoded), plane).unwrap();
                assert!((m.level_dn - 512.0).abs() < if lit { 0.6 } else { 0.2 }, "{glow_e} {noisier}: {m:?}");
            }
        }
    }

    #[test]
    fn a_lit_border_is_not_black() {
        let mut decoded = frame(4.0);
        decoded.active = Area::new(100, 0, 300, 600);
        for y in 0..600 {
            for x in 0..100 {
                decoded.samples[y * 400 + x] = 2500;
            }
        }
        settle(&mut decoded);
        assert!(decoded.masked.is_empty());
        decoded.masked = vec![Area::new(0, 0, 100, 600)];
        settle(&mut decoded);
        assert!(decoded.masked.is_empty());
        assert_eq!(decoded.notes.len(), 1);
    }
}
