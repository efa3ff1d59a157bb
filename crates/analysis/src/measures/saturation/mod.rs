//! The level at which a plane really clips, from the top of its histogram.
//!
//! Measures: saturation, DN absolute, and the lowest level that counts as clipped.
//! Method: own derivation, docs/measures.md. Samples that a full well or the converter stopped pile up at the end of the
//! histogram in a peak narrower than photon noise allows for any tone below saturation. The narrowest window that
//! holds such a peak, with next to nothing above it and far less below it, is taken.
//! Fails when: too few samples are clipped to make a peak. The declared white level then stands.

mod pile;

use super::SaturationFrom;
use super::histogram::Histogram;
use pile::{density, shape};

/// Least number of samples in a pile-up: fewer are a few hot pixels or glints at any level.
const LEAST_PILE: f64 = 12.0;

/// A pile-up holds this many times what any equal span of codes a little below it holds.
const STANDS_OUT: f64 = 1.6;

/// A pile-up no wider than this share of its level (standard deviation) is narrower than photon noise at a quarter of a
/// million electrons, more than any photosite holds: no unclipped tone is so narrow.
const CERTAIN_WIDTH: f64 = 0.0016;

/// A wider pile-up counts only where its variance stays below this share of what the frame's own noise has at lower
/// tones, carried up to that level.
const NOISE_SHARE: f64 = 0.5;

/// Share of a pile-up on its own code from which that is the converter's end, with nothing above; and the share that lies above
/// the centre of any other.
const SPIKE: f64 = 0.3;
const LEAST_ABOVE: f64 = 0.2;

/// A pile-up below a few samples at the converter's end is that of full wells from so many times as many on.
const FAR_LARGER: f64 = 10.0;

/// Saturation of one plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Saturation {
    /// Level, DN absolute.
    pub(crate) level_dn: f64,
    /// Samples at or above this code are clipped.
    pub(crate) clipped_from: u32,
    /// Where the level comes from.
    pub(crate) from: SaturationFrom,
    /// Clipped samples, the unclipped ones that fall into the width of the pile-up taken off.
    pub(crate) clipped: f64,
    /// Samples above the declared white without any pile-up: the declared level is not where this plane clips.
    pub(crate) white_too_low: bool,
}

/// What the patches of the frame say of its noise, as far as it is needed here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum RoughNoise {
    /// Nothing is known.
    Unknown,
    /// Flat patches hold no noise at all: a drawn or heavily smoothed frame.
    Absent,
    /// Variance per DN above black, DN.
    Slope(f64),
}

/// Finds the saturation of a plane from its histogram, its black and declared white level (DN absolute).
/// `block_means` are the means of the plane's blocks, DN absolute; empty where there are none.
pub(crate) fn find(
    hist: &Histogram,
    black_dn: f64,
    white_dn: f64,
    noise: RoughNoise,
    block_means: &[f32],
) -> Saturation {
    if let Some(pile) = find_pile(hist, black_dn, white_dn, noise, block_means) {
        return pile;
    }
    let declared = white_dn.round().clamp(1.0, 65535.0) as usize;
    let above = hist.between(declared + 1, usize::MAX);
    // A few hot pixels may stand above the white level of a camera that subtracts black; a visible share may not.
    if above as f64 > (1e-4 * hist.total() as f64).max(LEAST_PILE) {
        let top = hist.highest().unwrap_or(declared);
        return Saturation {
            level_dn: top as f64,
            clipped_from: top as u32 + 1,
            from: SaturationFrom::Observed,
            clipped: 0.0,
            white_too_low: true,
        };
    }
    Saturation {
        level_dn: white_dn,
        clipped_from: declared as u32,
        from: SaturationFrom::Declared,
        clipped: hist.between(declared, usize::MAX) as f64,
        white_too_low: false,
    }
}

fn find_pile(
    hist: &Histogram,
    black_dn: f64,
    white_dn: f64,
    noise: RoughNoise,
    block_means: &[f32],
) -> Option<Saturation> {
    let counts = hist.counts();
    let top = hist.highest()?;
    let span = (white_dn - black_dn).max(1.0);
    let lowest_level = black_dn + 0.1 * span;
    if (top as f64) < lowest_level {
        return None;
    }
    let widest = ((0.04 * (top as f64 - black_dn)) as usize).max(1);
    let mut few: Option<Saturation> = None;
    let mut width = 1;
    while width <= widest {
        if let Some(window_top) = best_window(counts, top, width, lowest_level, hist.total())
            && let Some(found) = examine(hist, window_top, width, (black_dn, white_dn), noise, block_means)
        {
            // So few may be hot pixels that reach the converter's end above full wells: a far larger pile-up below them counts.
            let plenty = found.clipped > most_above(hist.total()) as f64;
            if plenty && few.is_none_or(|few| found.clipped > FAR_LARGER * few.clipped) {
                return Some(found);
            }
            if plenty || !matches!(noise, RoughNoise::Slope(_)) {
                return few.or(Some(found));
            }
            few = few.or(Some(found));
        }
        width = if width < 4 { width + 1 } else { width * 3 / 2 };
    }
    few
}

/// Hot pixels may stand above saturation; more than one in two thousand samples may not.
fn most_above(total: u64) -> u64 {
    (total / 2000).max(3)
}

/// The fullest window of `width` codes that has almost nothing above it. Gives its highest code.
fn best_window(counts: &[u32], top: usize, width: usize, lowest_level: f64, total: u64) -> Option<usize> {
    let lowest = lowest_level.max(0.0) as usize;
    let mut above = 0_u64;
    let mut sum: u64 = (0..width).filter_map(|i| top.checked_sub(i)).map(|c| u64::from(counts[c])).sum();
    let mut best: Option<(u64, usize)> = None;
    let mut at = top;
    let most_above = most_above(total);
    while at > lowest && at >= width && above <= most_above {
        // What lies above the window must be far less than what is in it, the window's own fringe apart.
        let beyond = above.saturating_sub(fringe(counts, at, width));
        if sum as f64 >= LEAST_PILE && (beyond as f64) < 0.1 * sum as f64 && best.is_none_or(|(most, _)| sum > most) {
            best = Some((sum, at));
        }
        above += u64::from(counts[at]);
        sum = sum - u64::from(counts[at]) + u64::from(counts[at - width]);
        at -= 1;
    }
    best.map(|(_, at)| at)
}

/// Samples in the one window above `at`: they belong to the pile-up's own upper flank.
fn fringe(counts: &[u32], at: usize, width: usize) -> u64 {
    counts.iter().skip(at + 1).take(width).map(|&c| u64::from(c)).sum()
}

/// Is the window a pile-up at the end of the plane's tones?
fn examine(
    hist: &Histogram,
    window_top: usize,
    width: usize,
    (black_dn, white_dn): (f64, f64),
    noise: RoughNoise,
    block_means: &[f32],
) -> Option<Saturation> {
    let first = (window_top + 1).saturating_sub(width);
    let pile = hist.between(first, window_top + 1) as f64;
    // Densities below: windows of the same width, one width of gap for the pile's own lower flank.
    let reach = (0.03 * (window_top as f64 - black_dn)).max(8.0 * width as f64) as usize;
    let mut below = 0_f64;
    let mut end = first.saturating_sub(width);
    let last = first.saturating_sub(reach);
    while end > last && end >= width {
        below = below.max(hist.between(end - width, end) as f64);
        end -= width;
    }
    if pile < STANDS_OUT * below || pile < below + 6.0 * below.sqrt() || pile < LEAST_PILE {
        return None;
    }
    let (centre, spread) = shape(hist, first, window_top);
    let level = centre - black_dn;
    if level <= 0.0 || !ends_above(hist, centre, spread, pile) {
        return None;
    }
    let at_white = (centre - white_dn).abs() <= (0.002 * level).max(1.5);
    let narrow = spread <= (CERTAIN_WIDTH * level).max(0.35);
    if !narrow && uneven(block_means, centre, spread) {
        return None;
    }
    let believable = match noise {
        RoughNoise::Slope(slope) => {
            spread * spread < NOISE_SHARE * slope * level && level > 0.2 * (white_dn - black_dn) || at_white && narrow
        }
        RoughNoise::Absent => {
            // Without noise every even area is a spike: only a level that no other comes near is saturation.
            let others = hist.counts()[..first.saturating_sub(width)].iter().copied().max().unwrap_or(0);
            narrow && (at_white || pile > 4.0 * f64::from(others))
        }
        RoughNoise::Unknown => narrow && (at_white || level > 0.2 * (white_dn - black_dn)),
    };
    // A plane that is one single peak below the declared white is an evenly lit frame, unless it is a spike.
    let all_in_one = pile > 0.9 * hist.total() as f64 && !at_white;
    if !believable || all_in_one && spread > 0.35 && !narrow || all_in_one && level < 0.5 * (white_dn - black_dn) {
        return None;
    }
    // Three standard deviations below, or the spike alone where it has no width.
    let clipped_from = (centre - (3.0 * spread - 0.2).max(0.0).ceil()).round().max(1.0);
    let inside = hist.between(clipped_from as usize, usize::MAX) as f64;
    // Unclipped tones in the lower half of the pile: the density below it, carried on along its slope.
    let flank = (4.0 * spread).max(4.0);
    let near = density(hist, clipped_from - flank, clipped_from);
    let far = density(hist, clipped_from - 2.0 * flank, clipped_from - flank);
    let band = centre - clipped_from;
    let under = band * (near + (near - far) * (0.5 * (flank + band) / flank)).clamp(0.5 * near, 1.5 * near);
    Some(Saturation {
        level_dn: centre,
        clipped_from: clipped_from as u32,
        from: SaturationFrom::Observed,
        clipped: (inside - under).max(0.0),
        white_too_low: false,
    })
}

/// True where the samples above the centre of a pile-up are those of its own upper half: few samples of a bright tone, the
/// scene's tones under them taken off, may look narrower than they are, but they reach as far up as their noise does.
fn ends_above(hist: &Histogram, centre: f64, spread: f64, pile: f64) -> bool {
    let from = (centre + 0.5).max(0.0) as usize;
    if hist.counts().get(from).is_some_and(|&n| f64::from(n) > SPIKE * pile) {
        return true;
    }
    let above = hist.between(from + 1, usize::MAX) as f64;
    let near = (centre + (1.2 * spread).max(1.0)).ceil() as usize;
    // Of a bell 0.77 of the upper half lies within 1.2 standard deviations.
    above > LEAST_ABOVE * pile && hist.between(from + 1, near + 1) as f64 > 0.5 * above
}

/// True where blocks of the picture that lie in the pile-up differ among themselves by more than its spread allows for
/// the mean of some 60 samples: a bright sky has a gradient, saturation has none.
fn uneven(block_means: &[f32], centre: f64, spread: f64) -> bool {
    let inside = block_means.iter().map(|&m| f64::from(m) - centre).filter(|d| d.abs() < spread);
    let (n, sum, squares) = inside.fold((0.0, 0.0, 0.0), |s, d| (s.0 + 1.0, s.1 + d, s.2 + d * d));
    n >= 12.0 && squares / n - (sum / n).powi(2) > (spread / 4.0).powi(2)
}

#[cfg(test)]
mod tests;
