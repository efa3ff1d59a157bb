//! The level at which a plane really clips, from the top of its histogram.
//!
//! Measures: saturation, DN absolute, and the lowest level that counts as clipped.
//! Method: own derivation, docs/measures.md. Samples that a full well or the converter stopped pile up at the end of the
//! histogram in a peak narrower than photon noise allows for any tone below saturation. The narrowest window that
//! holds such a peak, with next to nothing above it and far less below it, is taken.
//! Fails when: too few samples are clipped to make a peak. The declared white level then stands.

use super::SaturationFrom;
use super::histogram::Histogram;
use super::line_fit::gamma_p;

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
    let mut width = 1;
    while width <= widest {
        if let Some(window_top) = best_window(counts, top, width, lowest_level, hist.total())
            && let Some(found) = examine(hist, window_top, width, (black_dn, white_dn), noise, block_means)
        {
            return Some(found);
        }
        width = if width < 4 { width + 1 } else { width * 3 / 2 };
    }
    None
}

/// The fullest window of `width` codes that has almost nothing above it. Gives its highest code.
fn best_window(counts: &[u32], top: usize, width: usize, lowest_level: f64, total: u64) -> Option<usize> {
    let lowest = lowest_level.max(0.0) as usize;
    let mut above = 0_u64;
    let mut sum: u64 = (0..width).filter_map(|i| top.checked_sub(i)).map(|c| u64::from(counts[c])).sum();
    let mut best: Option<(u64, usize)> = None;
    let mut at = top;
    // Hot pixels may stand above saturation; more than one in two thousand samples may not.
    let most_above = (total / 2000).max(3);
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
    if level <= 0.0 {
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

/// True where blocks of the picture that lie in the pile-up differ among themselves by more than its spread allows for
/// the mean of some 60 samples: a bright sky has a gradient, saturation has none.
fn uneven(block_means: &[f32], centre: f64, spread: f64) -> bool {
    let inside = block_means.iter().map(|&m| f64::from(m) - centre).filter(|d| d.abs() < spread);
    let (n, sum, squares) = inside.fold((0.0, 0.0, 0.0), |s, d| (s.0 + 1.0, s.1 + d, s.2 + d * d));
    n >= 12.0 && squares / n - (sum / n).powi(2) > (spread / 4.0).powi(2)
}

/// Density of samples per code from `from` up to `to`.
fn density(hist: &Histogram, from: f64, to: f64) -> f64 {
    let (from, to) = (from.max(0.0).round() as usize, to.max(1.0).round() as usize);
    if to <= from { 0.0 } else { hist.between(from, to) as f64 / (to - from) as f64 }
}

/// Centre and standard deviation (DN) of the pile-up that fills `first..=last`. The window was the narrowest that stood
/// out: it is widened until it holds the whole pile, the tones under it taken off at the density found below it.
fn shape(hist: &Histogram, first: usize, last: usize) -> (f64, f64) {
    let counts = hist.counts();
    // The converter's end: one code far above all that lie below it, next to nothing above. Tones close below it (a white
    // wall just short of saturation) are not part of it.
    if let Some(spike) = (first..=last).max_by_key(|&c| counts[c]) {
        if let Some(spread) = half_bell(hist, spike) {
            return (spike as f64, spread);
        }
        let most = u64::from(counts[spike]);
        let beside = counts[spike.saturating_sub(12)..spike].iter().copied().max().unwrap_or(0);
        if most > 4 * u64::from(beside) && 10 * hist.between(spike + 1, spike + 13) < most {
            return (spike as f64, 0.0);
        }
    }
    let mut centre = 0.5 * (first + last) as f64;
    let mut half = (0.5 * (last + 1 - first) as f64).max(1.0);
    let mut spread = 0.0;
    for _ in 0..8 {
        let reach = 2.0 * half + 1.0;
        let under = density(hist, centre - 3.0 * reach, centre - reach);
        let from = (centre - reach).max(0.0).round() as usize;
        let to = ((centre + reach).round() as usize).min(counts.len() - 1);
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        let (mut peak, mut most) = (first, 0);
        for (code, &count) in counts.iter().enumerate().take(to + 1).skip(from) {
            // Tones lie under the lower half of the pile only: above saturation there are none.
            let c = f64::from(count) - if (code as f64) < centre { under } else { 0.0 };
            let x = code as f64 - centre;
            n += c;
            sum += c * x;
            squares += c * x * x;
            if count >= most {
                (peak, most) = (code, count);
            }
        }
        if n <= 0.0 {
            return (last as f64, 0.0);
        }
        let mean = sum / n;
        spread = (squares / n - mean * mean).max(0.0).sqrt();
        // A converter's limit inside the noise leaves a spike at the top and half a bell below: the level is the spike.
        let next = if f64::from(most) > 0.4 * n { peak as f64 } else { centre + mean };
        let settled = (next - centre).abs() < 0.02 * reach && 1.6 * spread <= half;
        centre = next;
        half = half.max(1.6 * spread);
        if settled {
            break;
        }
    }
    (centre, spread)
}

/// Standard deviation of the read noise of full photosites where the converter stops at just that level: the upper half of
/// their bell is cut off and stands on the last code, the lower half falls away below it. `None` where the codes below
/// `spike` do not follow that law (a converter that stops earlier than the photosites leaves the scene's tones there).
fn half_bell(hist: &Histogram, spike: usize) -> Option<f64> {
    let counts = hist.counts();
    let at = |below: usize| spike.checked_sub(below).map_or(0.0, |c| f64::from(counts[c]));
    let most = at(0);
    if most < 200.0 || most < 2.2 * at(1) || 10.0 * hist.between(spike + 1, spike + 13) as f64 > most {
        return None;
    }
    let mut best: Option<(f64, f64)> = None;
    let mut sigma = 0.3;
    while sigma < 0.004 * spike as f64 {
        let reach = (3.2 * sigma) as usize + 1;
        let under = (reach + 1..=2 * reach + 3).map(at).sum::<f64>() / (reach + 3) as f64;
        let all = (most - under).max(0.0) / normal_below(0.5 / sigma);
        let (mut misfit, mut flank) = (0.0, 0.0);
        for k in 1..=reach {
            let (near, far) = ((k as f64 - 0.5) / sigma, (k as f64 + 0.5) / sigma);
            let expected = all * (normal_below(far) - normal_below(near)) + under;
            misfit += (at(k) - expected).powi(2) / (expected + 1.0 + (0.03 * expected).powi(2));
            flank += at(k) - under;
        }
        let misfit = misfit / reach as f64;
        if flank > 6.0 * (flank + 2.0 * under * reach as f64).max(1.0).sqrt()
            && best.is_none_or(|(least, _)| misfit < least)
        {
            best = Some((misfit, sigma));
        }
        sigma *= 1.04;
    }
    best.filter(|&(misfit, _)| misfit < 4.0).map(|(_, sigma)| sigma)
}

/// Share of a standard normal variable below a positive `x`: half of one plus P(1/2, x^2 / 2).
fn normal_below(x: f64) -> f64 {
    0.5 * (1.0 + gamma_p(0.5, 0.5 * x * x))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measures::histogram::CODES;
    use crate::test_frames::Noise;

    fn hist_of(values: impl Iterator<Item = f64>) -> Histogram {
        let mut counts = vec![0; CODES];
        for v in values {
            counts[v.round().clamp(0.0, 65535.0) as usize] += 1;
        }
        Histogram::new(counts)
    }

    /// A scene whose tones fall off towards the light, `share` of it beyond saturation.
    fn tones(rng: &mut Noise, n: usize, full_well_e: f64, share: f64) -> Vec<f64> {
        (0..n)
            .map(|_| if rng.uniform() < share { 1.5 * full_well_e } else { full_well_e * rng.uniform().powi(2) })
            .collect()
    }

    #[test]
    fn a_converter_limit_is_found_and_counted() {
        let mut rng = Noise::new(1);
        for (limit, white) in [(15_000.0, 16_383.0), (16_383.0, 16_383.0), (4095.0, 4095.0), (3_800.0, 4_095.0)] {
            let black = white / 32.0;
            let gain = 30_000.0 / (white - black);
            let scene = tones(&mut rng, 200_000, 30_000.0, 0.01);
            let mut clipped = 0;
            let h = hist_of(scene.iter().map(|&e| {
                let v = (black + (e + e.sqrt() * rng.normal() + 3.0 * rng.normal()) / gain).round();
                clipped += usize::from(v >= limit);
                v.min(limit)
            }));
            let s = find(&h, black, white, RoughNoise::Slope(1.0 / gain), &[]);
            assert_eq!(s.from, SaturationFrom::Observed);
            assert_eq!(s.level_dn, limit);
            assert!((s.clipped - clipped as f64).abs() < 100.0, "{} of {clipped}", s.clipped);
        }
    }

    #[test]
    fn a_full_well_below_the_white_level_with_noise_on_it_is_found() {
        let mut rng = Noise::new(2);
        for (full_well, read, prnu, white) in
            [(30_000.0, 3.0, 0.0, 16_383.0), (1_200.0, 3.0, 0.0, 4_095.0), (20_000.0, 2.0, 0.003, 16_383.0)]
        {
            let black = white / 16.0;
            let gain = full_well / (0.9 * (white - black));
            let scene = tones(&mut rng, 400_000, full_well, 0.01);
            let mut clipped = 0;
            let h = hist_of(scene.iter().map(|&e| {
                let e = e + e.sqrt() * rng.normal();
                let well = full_well * (1.0 + prnu * rng.normal());
                clipped += usize::from(e >= well);
                black + (e.min(well) + read * rng.normal()) / gain
            }));
            let s = find(&h, black, white, RoughNoise::Slope(1.0 / gain), &[]);
            assert_eq!(s.from, SaturationFrom::Observed, "{full_well}");
            let truth = black + full_well / gain;
            assert!((s.level_dn / truth - 1.0).abs() < 0.002, "{} for {truth}", s.level_dn);
            let off_pct = 100.0 * (s.clipped - clipped as f64).abs() / 400_000.0;
            // Within the width of a pile that pixel differences spread, clipped and unclipped tones mix.
            let tolerance = if prnu > 0.0 { 0.12 } else { 0.06 };
            assert!(off_pct < tolerance, "off by {off_pct} points at {full_well}");
        }
    }

    #[test]
    fn full_photosites_at_the_converters_end_count_whole() {
        let mut rng = Noise::new(12);
        for noise_dn in [0.6, 1.9, 12.0] {
            let (black, white, n) = (512.0, 15_236.0, 300_000);
            let h = hist_of((0..n).map(|i| {
                let signal = if i % 7 == 0 { white - black } else { (white - black) * rng.uniform().powi(2) };
                (black + signal + noise_dn * rng.normal()).round().min(white)
            }));
            let s = find(&h, black, 16_383.0, RoughNoise::Slope(1.0), &[]);
            let off = 100.0 * s.clipped / f64::from(n) - 100.0 / 7.0;
            assert!(s.level_dn == white && off.abs() < 0.15, "{noise_dn}: {s:?} off by {off} points");
        }
    }

    #[test]
    fn a_white_wall_just_short_of_saturation_is_not_counted_as_clipped() {
        let mut rng = Noise::new(9);
        let (black, gain, limit) = (512.0, 2.0, 14_000.0);
        let mut clipped = 0.0;
        let h = hist_of((0..300_000).map(|i| {
            let e = if i % 4 == 0 { 0.992 * gain * (limit - black) } else { 15_000.0 * rng.uniform() };
            let v = (black + (e + e.sqrt() * rng.normal()) / gain).round().min(limit);
            clipped += f64::from(v == limit);
            v
        }));
        let s = find(&h, black, 16_383.0, RoughNoise::Slope(1.0 / gain), &[]);
        assert_eq!((s.level_dn, s.clipped), (limit, clipped));
    }

    #[test]
    fn hot_pixels_above_saturation_do_not_hide_it() {
        let mut rng = Noise::new(3);
        let h = hist_of((0..300_000).map(|i| {
            if i % 4_000 == 0 { 16_383.0 } else { (15_000.0 * 1.01 * rng.uniform().sqrt()).min(15_000.0) + 512.0 }
        }));
        let s = find(&h, 512.0, 16_383.0, RoughNoise::Slope(0.5), &[]);
        assert_eq!((s.from, s.level_dn), (SaturationFrom::Observed, 15_512.0));
    }

    #[test]
    fn an_evenly_lit_frame_is_not_saturated() {
        let mut rng = Noise::new(4);
        for level in [0.3, 0.7, 0.95] {
            for full_well in [1_200.0, 60_000.0] {
                let (black, white) = (512.0, 16_383.0);
                let gain = full_well / (white - black);
                let e = full_well * level;
                let h = hist_of((0..200_000).map(|_| black + (e + f64::sqrt(e) * rng.normal()) / gain));
                for noise in [RoughNoise::Unknown, RoughNoise::Slope(1.0 / gain)] {
                    let s = find(&h, black, white, noise, &[]);
                    let allowed = if level > 0.9 && full_well < 2_000.0 { s.level_dn >= white } else { true };
                    assert!(s.from == SaturationFrom::Declared || allowed && level > 0.9, "{level} {full_well} {s:?}");
                }
            }
        }
    }

    #[test]
    fn a_bright_sky_below_saturation_is_not_saturated() {
        let mut rng = Noise::new(5);
        let (black, white) = (512.0, 16_383.0);
        let gain = 40_000.0 / (white - black);
        let h = hist_of((0..400_000).map(|i| {
            let e = if i % 3 == 0 { 34_000.0 } else { 20_000.0 * rng.uniform() };
            black + (e + f64::sqrt(e) * rng.normal()) / gain
        }));
        for noise in [RoughNoise::Unknown, RoughNoise::Slope(1.0 / gain)] {
            assert_eq!(find(&h, black, white, noise, &[]).from, SaturationFrom::Declared);
        }
    }

    #[test]
    fn a_single_clipped_sample_leaves_the_declared_level() {
        let mut values: Vec<f64> = (0..10_000).map(|i| 600.0 + f64::from(i % 3_000)).collect();
        values.push(4095.0);
        let s = find(&hist_of(values.into_iter()), 256.0, 4095.0, RoughNoise::Unknown, &[]);
        assert_eq!((s.from, s.level_dn, s.clipped), (SaturationFrom::Declared, 4095.0, 1.0));
    }

    #[test]
    fn saturation_above_the_declared_white_is_found() {
        let mut rng = Noise::new(6);
        let h = hist_of((0..200_000).map(|_| (256.0 + 4_000.0 * rng.uniform()).min(4_071.0)));
        let s = find(&h, 256.0, 3_398.0, RoughNoise::Slope(0.3), &[]);
        assert_eq!((s.from, s.level_dn), (SaturationFrom::Observed, 4_071.0));
        // Without a pile-up, tones well above the declared white still show that it is not the limit.
        let h = hist_of((0..200_000).map(|_| 256.0 + 3_600.0 * rng.uniform()));
        let s = find(&h, 256.0, 3_398.0, RoughNoise::Slope(0.3), &[]);
        assert!(s.white_too_low && s.clipped == 0.0 && s.level_dn > 3_800.0);
    }

    #[test]
    fn black_constant_and_empty_planes_have_the_declared_level() {
        for h in [hist_of(std::iter::empty()), hist_of((0..500).map(|_| 512.0)), hist_of((0..500).map(|_| 4_000.0))] {
            let s = find(&h, 512.0, 16_383.0, RoughNoise::Absent, &[]);
            assert_eq!((s.from, s.clipped), (SaturationFrom::Declared, 0.0));
        }
        let s = find(&hist_of((0..500).map(|_| 16_383.0)), 512.0, 16_383.0, RoughNoise::Absent, &[]);
        assert_eq!((s.level_dn, s.clipped), (16_383.0, 500.0));
    }
}
