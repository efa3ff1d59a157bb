//! Standard errors of what is read from the profile of an edge.

use super::edge_bins::Sample;
use super::edge_line::Line;
use super::edge_profile::{Figures, Profile};
use crate::known;

/// Pieces along the edge from which the standard errors are told.
const PIECES: usize = 10;
/// Groups of samples, dealt out by chance, from which that of noise is told: within 1 / sqrt(2 x 29) of itself.
const GROUPS: usize = 30;
/// What the rise may be off by where levels lie far apart, px per px^2 of their distance: seen on simulated edges of known
/// rise with slants of tan 1/3 (0.01 px at 0.63 px).
const JOINS: f64 = 0.03;

/// Standard errors of the figures.
#[derive(Clone, Copy, PartialEq, Default)]
pub(super) struct StandardErrors {
    /// Each `None` where its figure cannot be read without one of the pieces.
    pub(super) of: Figures,
    /// The rest of the edge makes no profile without one of its pieces: none can be told.
    pub(super) thin: bool,
}

/// What is read without each of the pieces in turn; `None` where the others make no profile.
fn without<T>(
    samples: &[Sample],
    pieces: usize,
    read: impl Fn(&[Sample]) -> Option<T>,
    piece: impl Fn(usize, &Sample) -> usize,
) -> Option<Vec<T>> {
    (0..pieces)
        .map(|left_out| {
            let kept = samples.iter().enumerate().filter(|(i, s)| piece(*i, s) != left_out);
            read(&kept.map(|(_, s)| *s).collect::<Vec<Sample>>())
        })
        .collect()
}

/// Standard error of a value, from what it is without each of the pieces.
fn jackknife<T>(without: &[T], value: impl Fn(&T) -> Option<f64>) -> Option<f64> {
    let values = without.iter().map(value).collect::<Option<Vec<f64>>>()?;
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    known(((n - 1.0) / n * squares).sqrt())
}

/// A number as good as drawn by chance (Steele, Lea and Flood 2014, the last steps of SplitMix64; from memory).
fn mixed(i: usize) -> usize {
    let mut z = (i as u64).wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as usize
}

/// Standard errors of the figures: the edge is cut into pieces along its length, each is left out in turn, and the spread
/// of what the others give is scaled to the whole (delete-a-group jackknife: Efron and Tibshirani, An Introduction to the
/// Bootstrap, chapter 11; from memory). The same with samples dealt out by chance, of more groups: they hold nothing but
/// noise, but tell it better than ten pieces, which by chance agree too well; the greater counts. A curve full of noise
/// takes a half where it happens to fall steeply, and seems sure of the place: so what noise does to the contrast at MTF50
/// counts as well, over how the curve falls at large. Not so for MTF10: where a curve first falls below a tenth leaps with noise,
/// and leaps without a thirtieth of the samples would come to twice the scatter of repeats.
pub(super) fn standard_errors(whole: &Profile, samples: &[Sample], line: &Line, half: f64) -> StandardErrors {
    let (now, more_tail) = (whole.figures(), whole.with_more_tail());
    let length = line.length_px();
    let along = |_: usize, s: &Sample| (((s.1 - line.along.0) / length * PIECES as f64) as usize).min(PIECES - 1);
    // The figures, and the contrast where the whole has MTF50.
    let read = |kept: &[Sample]| {
        let profile = Profile::of(kept, line.sigma_px, half).ok()?;
        Some((profile.figures(), now.mtf50_cy_px.map(|f| profile.mtf(f))))
    };
    let Some(pieces) = without(samples, PIECES, read, along) else {
        return StandardErrors { of: Figures::default(), thin: true };
    };
    let groups = without(samples, GROUPS, read, |i, _| mixed(i) % GROUPS).unwrap_or_default();
    let error = |figure: fn(&Figures) -> Option<f64>, noise: f64| {
        let roughness = jackknife(&pieces, |w| figure(&w.0))?;
        // What the tail beyond the window may be off by is the same in every piece.
        let tail = figure(&now).zip(figure(&more_tail)).map_or(0.0, |(a, b)| a - b);
        Some(roughness.max(noise).hypot(tail))
    };
    let of_noise = |figure: fn(&Figures) -> Option<f64>| jackknife(&groups, |w| figure(&w.0)).unwrap_or(0.0);
    let at_mtf50 = jackknife(&groups, |w| w.1).zip(whole.falls_by(0.5)).map_or(0.0, |(contrast, fall)| contrast / fall);
    let of = Figures {
        rise_px: error(|f| f.rise_px, of_noise(|f| f.rise_px))
            .map(|noise| noise.hypot(JOINS * whole.knot_px * whole.knot_px)),
        mtf50_cy_px: error(|f| f.mtf50_cy_px, of_noise(|f| f.mtf50_cy_px).max(at_mtf50)),
        mtf10_cy_px: error(|f| f.mtf10_cy_px, 0.0),
    };
    StandardErrors { of, thin: false }
}
