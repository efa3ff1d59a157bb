//! The masked (optically black) border: which part of it is black.
//!
//! Borders hold more than black pixels: lines that light reaches, lines without pixels, reference lines at another
//! level. A line of a border counts only if its median lies with the others'; a stretch of its lines only if no amplifier's
//! glow lights it. Source: own derivation.

use std::ops::Range;

use crate::backend::Decoded;
use crate::frame::Area;

/// Fewest lines (columns or rows) of a border.
const FEWEST_LINES: usize = 4;
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
    // The first of the longest.
    let best = runs(lines.iter().map(black)).into_iter().rev().max_by_key(Range::len).unwrap_or_default();
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
    let dark = runs(stretches.iter().map(|s| !higher(s)));
    dark.into_iter().map(|run| part(run.start, run.end)).collect()
}

/// Runs of what is true.
fn runs(all: impl Iterator<Item = bool>) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (i, _) in all.enumerate().filter(|(_, is)| *is) {
        match runs.last_mut() {
            Some(run) if run.end == i => run.end = i + 1,
            _ => runs.push(i..i + 1),
        }
    }
    runs
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests;
