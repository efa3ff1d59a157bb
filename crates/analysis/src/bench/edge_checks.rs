//! Whether an edge meets what the method asks for: one straight edge, both sides plain and wide enough for its blur, more
//! step than noise (the conditions of ISO 12233 on the region, from memory; the standard gives no tolerances).
//!
//! Measures: how far position along the edge, levels along it and levels across it leave those of one straight step on plain
//! sides, each as what it does to the figures; and the standard errors over the figures. Unit: shares.
//! Method: own derivation (docs/measures.md); what noise alone would show is taken off in every one.
//! Fails when: a target is no perfect step in a way that a straight, plain, sharp edge would show as well (a shadow's edge, a
//! rounded ridge): nothing in the picture tells these from blur.

use std::collections::BTreeMap;

use serde::Serialize;

use super::edge_bins::{BINS_PER_PX, Sample};
use super::edge_errors::StandardErrors;
use super::edge_line::Line;
use super::edge_profile::{Figures, Profile};

/// What the figures of an edge are worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// All conditions are met.
    Measured,
    /// Something may have moved the figures by more than their standard errors say.
    Doubtful,
    /// The figures would mean nothing, and are not given.
    Undetermined,
}

impl Standing {
    /// The word that is written.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Doubtful => "doubtful",
            Self::Undetermined => "undetermined",
        }
    }
}

/// Shares of the step, or of the width, from which an edge is doubtful, and from which undetermined. The rise is read between
/// 10 and 90 % of the step: levels that are a tenth off leave it without meaning; a third of that is told.
const LIMITS: (f64, f64) = (0.03, 0.1);
/// Standard error over the figure from which it is doubtful, and from which it is within three of nothing.
const ERROR_LIMITS: (f64, f64) = (0.1, 1.0 / 3.0);
/// What is taken for more than noise, standard errors.
const SIGNIFICANT: f64 = 3.0;
/// Pieces along the edge that are looked at, px long.
const PIECE_PX: f64 = 16.0;
/// Bands across the sides that are looked at, px wide.
const BAND_PX: f64 = 4.0;
/// Samples that a piece needs to tell.
const LEAST_SAMPLES: f64 = 6.0;
/// Share of the side that is wanted below which its levels are not known: a third of what is wanted, 12 sigma
/// + 6 px (10 at least, 48 at most), is where the spread ends.
const LEAST_SIDE: f64 = 1.0 / 3.0;
/// An edge shorter than this is doubtful, px: of its pieces, a tenth each, the standard errors are not known well either.
const SHORT_PX: f64 = 80.0;

/// What was found, and the figures that are left.
pub(super) struct Checked {
    pub(super) standing: Standing,
    pub(super) reasons: Vec<String>,
    pub(super) figures: Figures,
    pub(super) errors: Figures,
}

/// One edge in one colour, as measured.
pub(super) struct Taken<'a> {
    pub(super) profile: &'a Profile,
    pub(super) samples: &'a [Sample],
    pub(super) line: &'a Line,
    /// Half-width of the band, px; wanted for the spread, px.
    pub(super) half: f64,
    pub(super) wanted: f64,
}

impl Taken<'_> {
    /// Holds the edge against the conditions.
    pub(super) fn checked(&self, figures: Figures, errors: StandardErrors) -> Checked {
        let mut found = Checked { standing: Standing::Measured, reasons: Vec::new(), figures, errors: errors.of };
        let room = self.half / self.wanted;
        if self.half < self.wanted - 0.5 {
            let standing = if room < LEAST_SIDE { Standing::Undetermined } else { Standing::Doubtful };
            found.add(
                standing,
                format!(
                    "its sides are plain for only {:.0} px, and {:.0} would hold its whole spread",
                    self.half, self.wanted
                ),
            );
        }
        let length = self.line.length_px();
        if length < SHORT_PX {
            found.add(Standing::Doubtful, format!("it is only {length:.0} px long: {SHORT_PX} or more tell something"));
        }
        // A scatter of the position in quadrature with the spread: the width grows by this share.
        let scatter = self.roughness_px();
        let widening = 0.5 * (scatter / self.line.sigma_px).powi(2);
        found.limit(widening, || format!("it is not straight: it leaves its line by {scatter:.2} px"));
        let along = self.unevenness_along();
        found.limit(along, || {
            format!("its sides are not plain: levels change along it by {:.0} % of its step", 100.0 * along)
        });
        let across = self.fall_across();
        found.limit(across, || {
            format!("its sides are not plain: beside it the level falls back by {:.0} % of its step", 100.0 * across)
        });
        let rising = self.still_rising();
        found.limit(rising, || {
            format!(
                "its blur goes beyond its sides: far out the level still changes by {:.0} % of its step",
                100.0 * rising
            )
        });
        found.hold_against(errors);
        if found.standing == Standing::Undetermined {
            (found.figures, found.errors) = (Figures::default(), Figures::default());
        }
        found
    }

    /// Residual of a sample from the profile.
    fn residual(&self, s: &Sample) -> f64 {
        s.2 - self.profile.level(s.0)
    }

    fn piece(&self, u: f64) -> usize {
        ((u - self.line.along.0) / PIECE_PX).max(0.0) as usize
    }

    /// Scatter of the edge's position along its length beyond that of noise, px.
    fn roughness_px(&self) -> f64 {
        // Residuals over the profile's slope, by least squares: sum of slope x residual, of slope^2, of residual^2, count.
        let mut pieces: BTreeMap<usize, [f64; 4]> = BTreeMap::new();
        let reach = 2.0 * self.line.sigma_px + 1.0;
        for s in self.samples.iter().filter(|s| s.0.abs() < reach) {
            let (slope, residual) = (self.profile.slope_at(s.0), self.residual(s));
            let add = [slope * residual, slope * slope, residual * residual, 1.0];
            pieces.entry(self.piece(s.1)).or_default().iter_mut().zip(add).for_each(|(sum, v)| *sum += v);
        }
        let told = pieces.values().filter(|p| p[3] >= LEAST_SAMPLES && p[1] > 0.0);
        // Place of the piece, and its variance by noise, from what is left without the shift.
        let places = told.map(|p| {
            let shift = p[0] / p[1];
            let variance = ((p[2] - shift * p[0]) / (p[3] - 1.0)).max(0.0) / p[1];
            (-shift, variance)
        });
        beyond_noise(places)
    }

    /// Scatter of the levels along the worse of the sides beyond that of noise, share of the step.
    fn unevenness_along(&self) -> f64 {
        self.unevenness(|t| t < 0.0).max(self.unevenness(|t| t > 0.0)) / self.profile.step()
    }

    /// The same of one side, DN.
    fn unevenness(&self, on_it: impl Fn(f64) -> bool) -> f64 {
        let from = 3.0 * self.line.sigma_px + 2.0;
        let mut blocks: BTreeMap<(i64, usize), [f64; 3]> = BTreeMap::new();
        for s in self.samples.iter().filter(|s| s.0.abs() > from && on_it(s.0)) {
            let r = self.residual(s);
            let block = ((s.0 / BAND_PX).floor() as i64, self.piece(s.1));
            blocks.entry(block).or_default().iter_mut().zip([1.0, r, r * r]).for_each(|(sum, v)| *sum += v);
        }
        beyond_noise(blocks.values().filter(|b| b[0] >= LEAST_SAMPLES).map(|b| {
            let mean = b[1] / b[0];
            (mean, (b[2] / b[0] - mean * mean).max(0.0) / (b[0] - 1.0))
        }))
    }

    /// How far the profile falls back on its way from dark to bright, beyond noise, share of the step. The light of a lens adds
    /// up: behind a lens no edge does that by itself.
    fn fall_across(&self) -> f64 {
        let (levels, error) = self.smooth();
        let mut most = f64::NEG_INFINITY;
        let mut fall = 0.0_f64;
        for v in levels {
            most = most.max(v);
            fall = fall.max(most - v);
        }
        // The greatest of many differences of two.
        (fall - 2.0 * SIGNIFICANT * error).max(0.0) / self.profile.step()
    }

    /// How much the levels still rise in the outer third of both sides, beyond noise, share of the step.
    fn still_rising(&self) -> f64 {
        let (levels, error) = self.smooth();
        let n = levels.len();
        let mean = |from: usize, to: usize| levels[from..to].iter().sum::<f64>() / (to - from) as f64;
        let (outer, inner) = (n / 12, n / 6);
        if outer == 0 {
            return 0.0;
        }
        let dark = mean(outer, inner) - mean(0, outer);
        let bright = mean(n - outer, n) - mean(n - inner, n - outer);
        (dark.max(bright) - SIGNIFICANT * error).max(0.0) / self.profile.step()
    }

    /// The profile in means of 2 px, and the standard error of one.
    fn smooth(&self) -> (Vec<f64>, f64) {
        let window = (2.0 * BINS_PER_PX) as usize;
        let levels: Vec<f64> =
            self.profile.esf().windows(window).map(|w| w.iter().sum::<f64>() / window as f64).collect();
        let per_mean = self.samples.len() as f64 / self.half;
        (levels, self.profile.noise / per_mean.max(1.0).sqrt())
    }
}

/// Root of the variance of values beyond what their own variances explain; 0 where that is no more than chance.
fn beyond_noise(values: impl Iterator<Item = (f64, f64)>) -> f64 {
    let values: Vec<(f64, f64)> = values.collect();
    let n = values.len() as f64;
    if n < 4.0 {
        return 0.0;
    }
    let mean = values.iter().map(|v| v.0).sum::<f64>() / n;
    let spread = values.iter().map(|v| (v.0 - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let noise = values.iter().map(|v| v.1).sum::<f64>() / n;
    // The square of a normal deviate of variance v scatters by sqrt(2) v: values of great variance make most of the chance.
    let chance = (2.0 * values.iter().map(|v| v.1 * v.1).sum::<f64>()).sqrt() / n;
    if spread < noise + SIGNIFICANT * chance { 0.0 } else { (spread - noise).sqrt() }
}

impl Checked {
    fn add(&mut self, standing: Standing, reason: String) {
        self.standing = self.standing.max(standing);
        self.reasons.push(reason);
    }

    fn limit(&mut self, share: f64, reason: impl FnOnce() -> String) {
        if share >= LIMITS.1 {
            self.add(Standing::Undetermined, reason());
        } else if share >= LIMITS.0 {
            self.add(Standing::Doubtful, reason());
        }
    }

    /// Holds the figures against their standard errors, if there are any.
    fn hold_against(&mut self, errors: StandardErrors) {
        self.errors = errors.of;
        if errors.thin {
            let reason = "no standard error can be told: too few samples in a tenth of it; take a longer edge";
            self.add(Standing::Doubtful, reason.into());
        } else {
            self.scatter();
        }
    }

    /// Holds the figures against their own standard errors, and takes those back that are lost in them. MTF10 lies where
    /// little contrast is left: what noise does to it says nothing of the others, and the reason alone tells why it is null.
    fn scatter(&mut self) {
        let (mut lost, mut weak) = (Vec::new(), Vec::new());
        let Self { figures: f, errors: e, .. } = self;
        for (name, value, error, main) in [
            ("rise", &mut f.rise_px, &mut e.rise_px, true),
            ("MTF50", &mut f.mtf50_cy_px, &mut e.mtf50_cy_px, true),
            ("MTF10", &mut f.mtf10_cy_px, &mut e.mtf10_cy_px, false),
        ] {
            let Some(read) = *value else { continue };
            let share = error.map_or(f64::INFINITY, |error| error / read);
            if share >= ERROR_LIMITS.1 {
                (*value, *error) = (None, None);
                lost.push((name, main));
            } else if share > ERROR_LIMITS.0 && main {
                weak.push(name);
            }
        }
        if self.figures.rise_px.is_none() && self.figures.mtf50_cy_px.is_none() {
            self.add(Standing::Undetermined, "noise hides it: its pieces do not agree on a rise or an MTF50".into());
            return;
        }
        for (name, main) in lost {
            let standing = if main { Standing::Doubtful } else { Standing::Measured };
            self.add(standing, format!("noise hides its {name}"));
        }
        for name in weak {
            self.add(Standing::Doubtful, format!("the standard error of its {name} is more than 10 % of it"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where no standard error can be told the figures stand, and the reason is not noise.
    #[test]
    fn no_standard_error_is_not_noise() {
        let figures = Figures { rise_px: Some(1.7), mtf50_cy_px: Some(0.3), mtf10_cy_px: Some(0.5) };
        let mut found =
            Checked { standing: Standing::Measured, reasons: Vec::new(), figures, errors: Figures::default() };
        found.hold_against(StandardErrors { of: Figures::default(), thin: true });
        assert_eq!((found.standing, found.figures, found.errors), (Standing::Doubtful, figures, Figures::default()));
        assert!(found.reasons.len() == 1 && found.reasons[0].contains("too few samples"), "{:?}", found.reasons);
        // That a figure cannot be read without a piece is noise.
        found.hold_against(StandardErrors { of: Figures::default(), thin: false });
        assert_eq!(found.standing, Standing::Undetermined);
    }

    /// Pieces of very unequal noise, one of them short: noise alone is rarely taken for more.
    #[test]
    fn one_noisy_piece_is_no_unevenness() {
        let mut state = 5_u32;
        let mut normal = || -> f64 {
            let mut uniform = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5
            };
            (0..12).map(|_| uniform()).sum()
        };
        let found = |at: &mut dyn FnMut(usize) -> f64| {
            let variance = |k: usize| -> f64 { if k == 7 { 100.0 } else { 1.0 } };
            beyond_noise((0..20).map(|k| (variance(k).sqrt() * at(k), variance(k)))) > 0.0
        };
        let by_chance = (0..1000).filter(|_| found(&mut |_| normal())).count();
        assert!(by_chance < 60, "{by_chance} of 1000");
        // And what is far beyond it is seen.
        assert!(found(&mut |k| if k % 2 == 0 { 10.0 } else { -10.0 }));
    }
}
