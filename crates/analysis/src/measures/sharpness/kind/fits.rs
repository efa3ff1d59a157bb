//! The point spreads that are held against each other: a Gaussian, a disc, a motion, and motion and disc together.

use super::super::directions::{Starts, directions, from_widths};
use super::super::psf::PointSpread;
use super::super::shape::{Parts, ShapeFit, ShapeFitter};
use super::super::stack::Stack;
use super::CLEANEST;

/// Rise of a perfect lens over wavelength times f-number.
const AIRY_RISE: f64 = 1.33287;
/// Wavelength times f-number, px and over the standard deviation of the edges, from which diffraction changes their shape.
const LEAST_AIRY_PX: f64 = 0.25;
const LEAST_AIRY: f64 = 0.3;
/// Evidence for the aperture's shape that is asked for then. Of 66 simulated frames each with and without it the one of a sharp
/// lens reaches it in 51, a plain Gaussian in one.
const AIRY_EVIDENCE: f64 = 4.0;
/// ... and from which it makes most of them (its variance is then 0.6 of theirs), so that any evidence will do.
const MOSTLY_AIRY_PX: f64 = 2.0;
const MOSTLY_AIRY: f64 = 1.5;

/// The best fit of each kind of point spread to all stacks.
pub(super) struct Fits {
    pub(super) gauss: ShapeFit,
    pub(super) disc: ShapeFit,
    pub(super) motion: ShapeFit,
    pub(super) both: ShapeFit,
}

impl Fits {
    /// `diffraction_rise_px` is what the aperture alone gives.
    pub(super) fn of(fitter: &ShapeFitter, stacks: &[Stack], diffraction_rise_px: Option<f64>) -> Self {
        let Starts { round_px: round, moving: mut seen, sharpest } = from_widths(stacks);
        let round_parts = Parts { motion: false, turn: false, disc: false };
        let mut gauss = fitter.fit(round_parts, PointSpread { sigma_px: round, ..seen });
        let airy_px = diffraction_rise_px.map_or(0.0, |rise| rise / AIRY_RISE);
        if airy_px > LEAST_AIRY_PX.max(LEAST_AIRY * round) {
            // The aperture's own shape, where the edges have it: a Gaussian of the same width has no such tails.
            let diffracted = fitter.fit(round_parts, PointSpread { sigma_px: 0.5, airy_px, ..seen });
            let unit = (diffracted.chi2.min(gauss.chi2) / gauss.freedom).max(CLEANEST);
            let evidence = (gauss.chi2 - diffracted.chi2) / unit;
            let most_of_it = airy_px > MOSTLY_AIRY_PX.max(MOSTLY_AIRY * round);
            if evidence > if most_of_it { 0.0 } else { AIRY_EVIDENCE } {
                gauss = diffracted;
            }
            if evidence > 0.0 && most_of_it {
                seen.airy_px = airy_px;
            }
        }
        let lens = 0.5_f64.min(round);
        let disc_from = |sigma_px: f64| {
            let r = 2.0 * (round * round - sigma_px * sigma_px).max(0.2).sqrt();
            fitter
                .fit(Parts { motion: false, turn: false, disc: true }, PointSpread { sigma_px, defocus_px: r, ..seen })
        };
        let disc = disc_from(lens).or(disc_from(0.7 * round));
        let (moves, moves_with_disc) =
            (Parts { motion: true, turn: true, disc: false }, Parts { motion: true, turn: true, disc: true });
        let mut motion = fitter.fit(moves, seen);
        let both_from = |sigma_px: f64| {
            let r = 2.0 * (seen.sigma_px.powi(2) - sigma_px * sigma_px).max(0.2).sqrt();
            fitter.fit(moves_with_disc, PointSpread { sigma_px, defocus_px: r, ..seen })
        };
        let mut both = both_from(0.5_f64.min(seen.sigma_px)).or(both_from(0.7 * seen.sigma_px));
        if directions(stacks) <= 2 {
            // Two widths are those of a motion between the directions behind a sharp lens, or of a disc and a motion along
            // one of them: a fit that starts from the one does not reach the other.
            let sharpest = PointSpread { airy_px: seen.airy_px, ..sharpest };
            motion = motion.or(fitter.fit(moves, sharpest));
            both = both.or(fitter.fit(moves_with_disc, beside(&disc.psf, stacks)));
        }
        Self { gauss, disc, motion, both }
    }
}

/// A disc as wide as the narrowest direction has it, and the motion along the widest that makes that as wide as it is.
fn beside(disc: &PointSpread, stacks: &[Stack]) -> PointSpread {
    let px2 = |s: &Stack| s.sigma_px.powi(2);
    let narrowest = stacks.iter().map(px2).fold(f64::INFINITY, f64::min);
    let Some(widest) = stacks.iter().max_by(|a, b| a.sigma_px.total_cmp(&b.sigma_px)) else { return *disc };
    let round = (narrowest - disc.sigma_px.powi(2) - 1.0 / 12.0).max(0.2);
    PointSpread {
        defocus_px: 2.0 * round.sqrt(),
        motion_px: (12.0 * (px2(widest) - narrowest)).sqrt(),
        motion_deg: widest.deg,
        ..*disc
    }
}
