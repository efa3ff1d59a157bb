//! Place and width of a pile-up in a histogram.

use super::super::chi_square::gamma_p;
use super::super::histogram::Histogram;

/// Half a window over the spread of what it holds, from which it is narrowed: it ends at 1.6 to 2.5.
const FAR_TOO_WIDE: f64 = 3.0;
/// Mean squared deviation of the codes from the law of a cut bell, in units of what is expected of them, that is still borne.
const LAW_MISFIT: f64 = 4.0;

/// Density of samples per code from `from` up to `to`.
pub(super) fn density(hist: &Histogram, from: f64, to: f64) -> f64 {
    let (from, to) = (from.max(0.0).round() as usize, to.max(1.0).round() as usize);
    if to <= from { 0.0 } else { hist.between(from, to) as f64 / (to - from) as f64 }
}

/// Centre and standard deviation (DN) of the pile-up that fills `first..=last`. The window was the narrowest that stood
/// out: it is widened until it holds the whole pile, the tones under it taken off at the density found below it.
pub(super) fn shape(hist: &Histogram, first: usize, last: usize) -> (f64, f64) {
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
        let too_wide = half > (FAR_TOO_WIDE * spread).max(1.0);
        let settled = (next - centre).abs() < 0.02 * reach && 1.6 * spread <= half && !too_wide;
        centre = next;
        // Far too wide a start: where the tones end before the pile, more is taken off its lower half than lies there, and it
        // looks narrow.
        half = if too_wide { (2.0 * spread).max(1.0) } else { half.max(1.6 * spread) };
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
    let mut best: Option<f64> = None;
    let mut least = LAW_MISFIT;
    let mut sigma = 0.3;
    while sigma < 0.004 * spike as f64 {
        let reach = (3.2 * sigma) as usize + 1;
        let under = (reach + 1..=2 * reach + 3).map(at).sum::<f64>() / (reach + 3) as f64;
        let flank: f64 = (1..=reach).map(|k| at(k) - under).sum();
        if flank > 6.0 * (flank + 2.0 * under * reach as f64).max(1.0).sqrt() {
            let mut below = normal_below(0.5 / sigma);
            let all = (most - under).max(0.0) / below;
            let mut misfit = 0.0;
            for k in 1..=reach {
                let further = normal_below((k as f64 + 0.5) / sigma);
                let expected = all * (further - below) + under;
                misfit += (at(k) - expected).powi(2) / (expected + 1.0 + (0.03 * expected).powi(2));
                if misfit >= least * reach as f64 {
                    break;
                }
                below = further;
            }
            let misfit = misfit / reach as f64;
            if misfit < least {
                (best, least) = (Some(sigma), misfit);
            }
        }
        sigma *= 1.04;
    }
    best
}

/// Share of a standard normal variable below a positive `x`: half of one plus P(1/2, x^2 / 2).
fn normal_below(x: f64) -> f64 {
    0.5 * (1.0 + gamma_p(0.5, 0.5 * x * x))
}
