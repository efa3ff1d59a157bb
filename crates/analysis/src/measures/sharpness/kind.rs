//! What blurred the frame: nothing, motion, missed focus, both, or cannot be told.

use super::psf::{GAUSSIAN_RISE, PointSpread};
use super::shape::{Parts, ShapeFit, ShapeFitter};
use super::stack::Stack;

/// Gaussian that a sound lens, an anti-alias filter and good focus may leave beyond diffraction, px.
///
/// Own choice: at 100 % on a screen an edge of sigma 1.1 px (rise 2.9 px with the pixel) is what good lenses give on
/// sensors of 20 to 60 megapixels; wider than that in every direction is a fault worth a name.
pub(crate) const LENS_ALLOWANCE_PX: f64 = 1.1;
/// Shortest motion that is called one, px.
const LEAST_MOTION_PX: f64 = 1.5;
/// Variance of the motion over that of the rest, at least: lenses and filters are not quite round themselves.
const LEAST_MOTION_SHARE: f64 = 0.30;
/// Smallest disc that is called missed focus, px radius.
const LEAST_DEFOCUS_PX: f64 = 1.3;
/// Standard deviation of a square pixel, px: 1 / sqrt 12.
const PIXEL_SIGMA_PX: f64 = 0.288_675;
/// The round part beside a motion must pass the allowance by this factor to be called missed focus as well.
const MIXED_MARGIN: f64 = 1.08;
/// Fall of chi^2 (at one per degree of freedom) that a part must bring.
const LEAST_EVIDENCE: f64 = 20.0;

/// What the stacked edges say.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Verdict {
    /// As sharp as lens and pixel allow.
    None,
    /// Missed focus.
    Defocus,
    /// Motion.
    Motion,
    /// Both.
    Mixed,
    /// Cannot be told, with the reason.
    Undetermined(&'static str),
}

/// Kind, point spread and confidence.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KindReading {
    pub(crate) verdict: Verdict,
    /// The point spread that explains the edges.
    pub(crate) psf: PointSpread,
    /// Radius of the disc, or of a disc of the same variance where the spread is wide without the shape of one.
    pub(crate) defocus_px: Option<f64>,
    pub(crate) confidence: f64,
    /// Edges face one way only: a motion along them would not show.
    pub(crate) one_way: bool,
}

/// Directions covered: separate 15-degree bins with a stack, and the largest gap between neighbours in degrees.
fn coverage(stacks: &[Stack]) -> (usize, f64) {
    let mut bins = [false; 12];
    let mut degs: Vec<f64> = stacks.iter().map(|s| s.deg).collect();
    degs.sort_by(f64::total_cmp);
    for deg in &degs {
        bins[((deg / 15.0) as usize).min(11)] = true;
    }
    let mut gap: f64 = match (degs.first(), degs.last()) {
        (Some(first), Some(last)) => first + 180.0 - last,
        _ => 180.0,
    };
    for pair in degs.windows(2) {
        gap = gap.max(pair[1] - pair[0]);
    }
    (bins.iter().filter(|b| **b).count(), gap)
}

/// Motion and round part from the variances alone: s^2 = a + b cos 2 (theta - phi), b = L^2 / 24.
fn from_variances(stacks: &[Stack]) -> PointSpread {
    let mut m = [[0.0_f64; 4]; 3];
    for stack in stacks {
        // A box or a disc is about 8 % wider to a fitted Gaussian; good enough to start from.
        let s2 = stack.sigma_px.powi(2);
        let weight = (stack.edges as f64).min(30.0) / (s2 * s2);
        let row = [1.0, stack.double_angle.0, stack.double_angle.1];
        for i in 0..3 {
            for j in 0..3 {
                m[i][j] += weight * row[i] * row[j];
            }
            m[i][i] += 1e-9;
            m[i][3] += weight * row[i] * s2;
        }
    }
    for i in 0..3 {
        for k in i + 1..3 {
            let factor = m[k][i] / m[i][i];
            for j in i..4 {
                m[k][j] -= factor * m[i][j];
            }
        }
    }
    let s = m[2][3] / m[2][2];
    let c = (m[1][3] - m[1][2] * s) / m[1][1];
    let a = (m[0][3] - m[0][1] * c - m[0][2] * s) / m[0][0];
    let b = c.hypot(s).min(a.abs());
    PointSpread {
        sigma_px: (a - b - 1.0 / 12.0).max(0.09).sqrt(),
        motion_px: (24.0 * b).sqrt(),
        motion_deg: (0.5 * s.atan2(c)).to_degrees().rem_euclid(180.0),
        defocus_px: 0.0,
    }
}

/// Reads the kind of blur from the stacks. `diffraction_rise_px` is what the aperture alone gives.
pub(crate) fn read(stacks: &[Stack], diffraction_rise_px: Option<f64>) -> KindReading {
    let fitter = ShapeFitter::new(stacks);
    let seen = from_variances(stacks);
    let round = (seen.sigma_px.powi(2) + seen.motion_px.powi(2) / 24.0).sqrt();
    let best = |a: ShapeFit, b: ShapeFit| if b.chi2 < a.chi2 { b } else { a };
    let gauss = fitter.fit(Parts { motion: false, disc: false }, PointSpread { sigma_px: round, ..seen });
    let narrow = (gauss.psf.sigma_px.powi(2) + 1.0 / 12.0).sqrt();
    let lens = 0.5_f64.min(round);
    let disc_from = |sigma_px: f64| {
        let r = 2.0 * (round * round - sigma_px * sigma_px).max(0.2).sqrt();
        fitter.fit(Parts { motion: false, disc: true }, PointSpread { sigma_px, defocus_px: r, ..seen })
    };
    let disc = best(disc_from(lens), disc_from(0.7 * round));
    let motion = fitter.fit(Parts { motion: true, disc: false }, seen);
    let both_from = |sigma_px: f64| {
        let r = 2.0 * (seen.sigma_px.powi(2) - sigma_px * sigma_px).max(0.2).sqrt();
        fitter.fit(Parts { motion: true, disc: true }, PointSpread { sigma_px, defocus_px: r, ..seen })
    };
    let both = best(both_from(0.5_f64.min(seen.sigma_px)), both_from(0.7 * seen.sigma_px));
    // chi^2 in units of what the best model leaves.
    let unit = (both.chi2.min(motion.chi2).min(disc.chi2) / both.freedom).max(1.0);
    let gain = |plain: &ShapeFit, richer: &ShapeFit| (plain.chi2 - richer.chi2) / unit;
    let (bins, gap) = coverage(stacks);
    let sure = |evidence: f64| 1.0 - 0.5 * (-evidence.max(0.0) / (2.0 * LEAST_EVIDENCE)).exp();

    let motion_counts = |fit: &ShapeFit| {
        let p = &fit.psf;
        let rest = p.sigma_px.powi(2) + p.defocus_px.powi(2) / 4.0 + 1.0 / 12.0;
        p.motion_px >= LEAST_MOTION_PX && p.motion_px.powi(2) / 12.0 >= LEAST_MOTION_SHARE * rest
    };
    let disc_counts = |fit: &ShapeFit| {
        let p = &fit.psf;
        p.defocus_px >= LEAST_DEFOCUS_PX && p.defocus_px.powi(2) / 4.0 >= 0.8 * p.sigma_px.powi(2)
    };
    let directions_seen = bins >= 2 && gap <= 125.0;

    // Motion: is the spread different between directions?
    let with_disc = gain(&motion, &both);
    let disc_gain = gain(&gauss, &disc);
    let round_best = best(gauss, disc);
    let moved_best = best(motion, both);
    let motion_gain = supported(&fitter, &round_best.psf, &moved_best.psf) / unit;
    let allowance = LENS_ALLOWANCE_PX.hypot(diffraction_rise_px.unwrap_or(0.0) / GAUSSIAN_RISE).hypot(PIXEL_SIGMA_PX);
    let wide = narrow > allowance;

    let reading = |verdict, psf: PointSpread, confidence: f64| KindReading {
        verdict,
        psf,
        defocus_px: (psf.defocus_px > 0.0).then_some(psf.defocus_px),
        confidence: confidence.clamp(0.0, 0.99),
        one_way: false,
    };
    if !directions_seen {
        return one_direction(&reading, &gauss, &disc, &motion, unit, narrow / allowance);
    }
    if motion_gain > LEAST_EVIDENCE && (motion_counts(&motion) || motion_counts(&both)) {
        if with_disc > LEAST_EVIDENCE && disc_counts(&both) && motion_counts(&both) {
            return reading(Verdict::Mixed, both.psf, sure(motion_gain.min(with_disc)));
        }
        // A wide round part without the shape of a disc is still no sharp frame.
        if motion.psf.sigma_px.hypot(PIXEL_SIGMA_PX) > MIXED_MARGIN * allowance && motion_counts(&motion) {
            if disc_counts(&both) {
                return reading(Verdict::Mixed, both.psf, 0.6);
            }
            let found = reading(Verdict::Mixed, motion.psf, 0.6);
            return KindReading { defocus_px: Some(2.0 * (motion.psf.sigma_px.powi(2) - 0.25).sqrt()), ..found };
        }
        return reading(Verdict::Motion, motion.psf, sure(motion_gain));
    }
    let disc_like = disc_gain > LEAST_EVIDENCE && disc_counts(&disc);
    if wide || disc_like {
        if disc_like {
            return reading(Verdict::Defocus, disc.psf, sure(disc_gain));
        }
        // Round and wide, without the shape of a disc: the radius is that of a disc of the same variance.
        let excess = (narrow * narrow - allowance * allowance).max(0.0) / (narrow * narrow);
        let found = reading(Verdict::Defocus, gauss.psf, 0.5 + 0.45 * excess);
        return KindReading { defocus_px: Some(2.0 * gauss.psf.sigma_px), ..found };
    }
    let excess = (narrow / allowance).powi(2);
    reading(Verdict::None, gauss.psf, (0.97 - 0.4 * excess.powi(2)).max(0.5))
}

/// Fall of chi^2 from a round spread to one with motion, less the part of the direction that gains most: a single
/// direction with odd edges is no motion.
fn supported(fitter: &ShapeFitter, round: &PointSpread, moved: &PointSpread) -> f64 {
    let gains: Vec<f64> = fitter.by_stack(round).iter().zip(fitter.by_stack(moved)).map(|(a, b)| a - b).collect();
    let most = gains.iter().copied().fold(0.0, f64::max);
    2.0 * (gains.iter().sum::<f64>() - most)
}

/// With edges of one direction only, the shape alone can speak: a disc is rounder than a box. How long a motion is and
/// where it points cannot be known then.
fn one_direction(
    reading: &dyn Fn(Verdict, PointSpread, f64) -> KindReading,
    gauss: &ShapeFit,
    disc: &ShapeFit,
    motion: &ShapeFit,
    unit: f64,
    share_of_allowance: f64,
) -> KindReading {
    if share_of_allowance < 0.85 {
        return KindReading { one_way: true, ..reading(Verdict::None, gauss.psf, 0.5) };
    }
    let for_disc = (motion.chi2 - disc.chi2) / unit;
    if for_disc > LEAST_EVIDENCE && disc.psf.defocus_px >= LEAST_DEFOCUS_PX {
        return reading(Verdict::Defocus, disc.psf, 0.6);
    }
    reading(
        Verdict::Undetermined("edges run in one direction only: motion and missed focus look alike there"),
        gauss.psf,
        0.3,
    )
}
