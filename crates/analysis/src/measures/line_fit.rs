//! Robust fit of variance = square * mean^2 + slope * mean + offset over patches, some of which hold structure besides
//! noise. The square stands for differences of sensitivity between pixels, and for fine texture all over.
//!
//! A patch's variance of `f` degrees of freedom is its true variance times a chi-square variable over `f`. Patches far
//! above the line are left out, and the line is raised by exactly what leaving out the upper tail takes from the mean
//! of such a variable, so that clean patches give an unbiased line. Weights are the inverse variances f / (2 line^2). Where
//! tones, and with them the noise, differ within a patch, f is divided by one and the squared variation of the noise's variance:
//! of half the samples ten times the rest's, say, plain f would make the line 4 % too low, this one 0.2 % (simulated).
//! Source: weighted least squares and the chi-square distribution are textbook (Abramowitz & Stegun 26.4), and so are the
//! degrees of freedom of unequal variances (Satterthwaite, Biometrics Bulletin 1946; Welch, Biometrika 1947); the model is
//! that of Foi, Trimeche, Katkovnik, Egiazarian, IEEE TIP 2008.

use super::chi_square::Corrections;
use super::line_solve::{Offset, Weighted, solve};

/// One patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    /// Mean above black, DN.
    pub(crate) mean: f64,
    /// Variance, DN squared.
    pub(crate) variance: f64,
    /// Samples, and degrees of freedom of their variance.
    pub(crate) samples: f64,
    pub(crate) freedom: f64,
    /// Variance of the tones within the patch that were taken out of its samples, DN squared.
    pub(crate) spread: f64,
}

/// The curve and its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// Coefficients of 1, mean, mean squared.
    pub(crate) offset: f64,
    pub(crate) slope: f64,
    pub(crate) square: f64,
    /// Standard errors.
    pub(crate) offset_error: f64,
    pub(crate) slope_error: f64,
    pub(crate) square_error: f64,
    /// Points kept.
    pub(crate) used: usize,
}

impl Line {
    /// Variance at a mean above black.
    pub(crate) fn at(&self, mean: f64) -> f64 {
        (self.square * mean + self.slope) * mean + self.offset
    }

    /// Least mean above black from which on the variance is so large; all where it is so large at black.
    pub(crate) fn reaches(&self, variance: f64) -> f64 {
        let missing = variance - self.offset;
        if missing <= 0.0 {
            return f64::NEG_INFINITY;
        }
        // Of square x^2 + slope x = missing, in the form that stands where the square is zero.
        2.0 * missing / (self.slope + (self.slope.powi(2) + 4.0 * self.square * missing).sqrt())
    }

    /// Degrees of freedom of a patch's variance: of samples whose own noise differs, as where bright and dark lines were taken out of
    /// it, it scatters as if it had fewer.
    fn freedom(&self, p: &Point) -> f64 {
        let mean = p.mean.max(0.0);
        let slope = self.slope + 2.0 * self.square * mean;
        let (noise, noise2) = (slope.powi(2) * p.spread, self.at(mean).powi(2));
        if noise < 0.5 * FREEDOM_STEP * noise2 {
            return p.freedom;
        }
        let differs = noise / noise2.max(1e-300);
        // In steps, each of which is worked out once.
        p.freedom / (1.0 + FREEDOM_STEP * (differs.min(MOST_DIFFERENT) / FREEDOM_STEP).round())
    }

    fn with_errors_of(self, other: &Self) -> Self {
        let Self { offset_error, slope_error, square_error, .. } = *other;
        Self { offset_error, slope_error, square_error, ..self }
    }
}

/// What is known beforehand of the offset: read noise of some ten electrons at the most (common practice, no source), so the
/// read variance lies about zero with that many electrons squared as its deviation. Tones far from black do not tell the offset
/// from the slope: a fog would have read noise of hundreds of electrons, and too much gain. A camera of 27 electrons gets a gain up
/// to 5 % short by it where all tones lie so (simulated), none elsewhere.
const READ_BEFOREHAND_E2: f64 = 100.0;

/// The slope must be known to this many standard errors before it tells how many DN these electrons are.
const SLOPE_KNOWN: f64 = 3.0;

/// Variance of the noise variance of a patch's samples, over its mean squared: steps in which it counts, and most that counts.
const FREEDOM_STEP: f64 = 0.1;
const MOST_DIFFERENT: f64 = 5.0;

/// Most points that are fitted; more change nothing that shows.
const MOST_POINTS: usize = 60_000;

/// Fits the curve, keeping points below `cut` standard deviations above it. The square term is never negative; the errors
/// of slope and offset hold what it leaves open. `None` where there is no line: fewer than eight points, or all at one
/// mean.
pub(crate) fn fit(points: &[Point], cut: f64) -> Option<Line> {
    let few: Vec<Point>;
    let points = if points.len() > MOST_POINTS {
        few = points.iter().step_by(points.len().div_ceil(MOST_POINTS)).copied().collect();
        &few
    } else {
        points
    };
    let straight = settle(points, start(points)?, cut, Square::Fixed(0.0))?;
    match settle(points, straight, cut, Square::Open) {
        Some(bent) if bent.square > 0.0 => Some(bent),
        Some(bent) => Some(Line { square: 0.0, ..straight }.with_errors_of(&bent)),
        None => Some(straight),
    }
}

/// Fits slope and offset with the square term of `like`: what one plane has of its own.
pub(crate) fn fit_like(points: &[Point], cut: f64, like: &Line) -> Option<Line> {
    let own = settle(points, *like, cut, Square::Fixed(like.square))?;
    // What the square term leaves open is open for the plane too.
    let open = |own: f64, all: f64| own.hypot(all);
    Some(Line {
        slope_error: open(own.slope_error, like.slope_error),
        offset_error: open(own.offset_error, like.offset_error),
        square_error: like.square_error,
        ..own
    })
}

/// What is done about the square term.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Square {
    Fixed(f64),
    Open,
}

fn settle(points: &[Point], mut line: Line, cut: f64, square: Square) -> Option<Line> {
    let mut corrections = Corrections::default();
    let mut kept = Vec::with_capacity(points.len());
    for _ in 0..30 {
        let next = step(points, &line, cut, square, (&mut corrections, &mut kept))?;
        let moved = (next.slope - line.slope).abs() / next.slope_error.max(1e-300)
            + (next.offset - line.offset).abs() / next.offset_error.max(1e-300);
        line = next;
        if moved < 2e-3 {
            break;
        }
    }
    let flattened = flattened(points, &line, 0.0) * line.slope;
    Some(Line { slope_error: line.slope_error.hypot(flattened), ..line })
}

/// Share by which the slope is too small because the means scatter themselves, by read noise and by `lines`, the variance that offsets
/// of rows and columns give them: where tones lie close together, much of their spread is chance. Light's own chance takes nothing
/// from the slope: a patch that by chance holds more light is noisier by as much as the slope says (the third cumulant of a Poisson
/// variable is its mean).
pub(super) fn flattened(points: &[Point], line: &Line, lines: f64) -> f64 {
    let (mut weights, mut means, mut squares, mut errors) = (0.0, 0.0, 0.0, 0.0);
    for p in points {
        let w = line.freedom(p) / line.at(p.mean.max(0.0)).powi(2);
        weights += w;
        means += w * p.mean;
        squares += w * p.mean.powi(2);
        errors += w * (line.offset / p.samples + lines);
    }
    let spread = squares - means.powi(2) / weights;
    if spread > errors { errors / spread } else { 1.0 }
}

/// A first line: the lower quartile of the patches' variances in eight groups by mean, through which a line of
/// non-negative coefficients goes.
fn start(points: &[Point]) -> Option<Line> {
    if points.len() < 8 {
        return None;
    }
    let mut sorted: Vec<(f64, f64)> = points.iter().map(|p| (p.mean, p.variance)).collect();
    sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let groups: Vec<(f64, f64)> = sorted
        .chunks_mut(points.len().div_ceil(8))
        .map(|group| {
            let mean = group.iter().map(|p| p.0).sum::<f64>() / group.len() as f64;
            let quarter = group.len() / 4;
            (mean, group.select_nth_unstable_by(quarter, |a, b| a.1.total_cmp(&b.1)).1.1)
        })
        .collect();
    let guess = groups.iter().map(|(_, variance)| variance).sum::<f64>() / groups.len() as f64;
    let mut line = Line {
        offset: guess.max(1e-6),
        slope: 0.0,
        square: 0.0,
        offset_error: 0.0,
        slope_error: 0.0,
        square_error: 0.0,
        used: 0,
    };
    for _ in 0..6 {
        let weighted = |&(mean, variance): &(f64, f64)| Weighted {
            mean,
            weight: points[0].freedom / (2.0 * line.at(mean).powi(2)),
            variance,
        };
        line = solve(&groups.iter().map(weighted).collect::<Vec<_>>(), 2, Offset::Unknown)?;
        let floor = 0.02 * groups.iter().map(|(_, variance)| *variance).fold(f64::INFINITY, f64::min).max(1e-6);
        line.slope = line.slope.max(0.0);
        line.offset = line.offset.max(floor);
    }
    Some(line)
}

/// One round of the fit; `kept` takes the points that it leaves.
fn step(
    points: &[Point],
    line: &Line,
    cut: f64,
    square: Square,
    (corrections, kept): (&mut Corrections, &mut Vec<Weighted>),
) -> Option<Line> {
    let fixed = if let Square::Fixed(fixed) = square { fixed } else { 0.0 };
    let limit = |f: f64| 1.0 + cut * (2.0 / f).sqrt();
    let floor = line.offset.max(1e-6);
    // Degrees of freedom, greatest variance and correction of the last point: most are alike.
    let mut last = (0.0, 0.0, 1.0);
    kept.clear();
    kept.extend(points.iter().filter_map(|p| {
        let e = line.at(p.mean.max(0.0)).max(floor);
        let freedom = line.freedom(p);
        if freedom != last.0 {
            last = (freedom, limit(freedom), corrections.of(freedom, limit(freedom)));
        }
        (p.variance < e * last.1).then(|| Weighted {
            mean: p.mean,
            weight: freedom / (2.0 * e * e),
            variance: p.variance / last.2 - fixed * p.mean * p.mean,
        })
    }));
    let terms = if square == Square::Open { 3 } else { 2 };
    let known = line.slope_error > 0.0 && line.slope > SLOPE_KNOWN * line.slope_error;
    let about = if known { Offset::About(READ_BEFOREHAND_E2 * line.slope.powi(2)) } else { Offset::Unknown };
    let mut next = solve(kept, terms, about)?;
    if next.offset <= 0.0 {
        // A negative read variance is a fit at the end of its means: slope and square are those of an offset of zero.
        next = solve(kept, terms, Offset::Zero)?.with_errors_of(&next);
    }
    next.square += fixed;
    next.slope = next.slope.max(0.0);
    next.offset = next.offset.max(1e-9);
    Some(next)
}

#[cfg(test)]
mod tests;
