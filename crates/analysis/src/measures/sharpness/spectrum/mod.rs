//! Nulls in the spectrum: a second witness of what blurred the frame, for where plain edges are few or contradict.
//!
//! The mean log power spectrum of many small tiles is that of the scene (a smooth fall with frequency) times the square
//! of the transfer function. A motion leaves parallel dark stripes across its direction, a disc leaves dark rings.
//! Method: docs/measures.md, "Sharpness and blur". Cost: some hundred transforms of 64 x 64, however large the frame.

mod fine_detail;

use super::power::{Picture, Power};
use super::psf::PointSpread;
use super::spectrum_fit::{Fitter, SpectrumFit, points, reach_cy_px, sound};

/// Least cost per point that the best model is taken to leave.
const LEAST_COST: f64 = 0.012;
/// What a blur must leave beyond what is left without it, in units of what the better of the two leaves, to be refuted.
const REFUTED: f64 = 0.5;
/// Lengths over that of a motion, and angles to it in degrees, at which it is looked for too.
const NEARLY_AS_LONG: [f64; 5] = [1.0, 0.9, 1.11, 0.8, 1.25];
const NEARLY_SO_DEG: [f64; 5] = [0.0, -6.0, 6.0, -12.0, 12.0];
/// Angles to a direction at which a motion along it is looked for, degrees, and its greatest length, pixels of the picture.
const ALONG_DEG: [f64; 5] = [0.0, -7.0, 7.0, -14.0, 14.0];
const LONGEST: f64 = 12.0;
/// Gain of a motion or a disc below which both together are not looked for.
const NOTHING_SEEN: f64 = 0.05;
/// Gain of the best of a grid below which it is not looked for between its places: these are so close that it would not come
/// to [`NOTHING_SEEN`].
const NOTHING_NEAR: f64 = 0.02;
/// Fewest points at which the scene stands out of the floor.
const LEAST_POINTS: usize = 20;

/// What the spectrum says.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spectrum {
    /// Without nulls.
    pub(crate) plain: SpectrumFit,
    /// With the rings of a disc.
    pub(crate) disc: SpectrumFit,
    /// With the stripes of a motion.
    pub(crate) motion: SpectrumFit,
    /// With both.
    pub(crate) both: SpectrumFit,
    /// Width of a pixel of the picture, sensor pixels.
    pub(crate) step_px: f64,
    /// Highest frequency at which a null may lie to be seen, cycles per pixel of the picture.
    pub(crate) last_null: f64,
    /// Highest frequency at which the scene stands clear of the noise, cycles per sensor pixel.
    pub(crate) reach_cy_px: f64,
    /// What the motion that another picture shows best explains of this one.
    pub(crate) others_motion: f64,
    /// Cost that counts as one.
    unit: f64,
}

impl Spectrum {
    /// Made of its fits (plain; disc, motion, both) with a unit cost; pixel, last null and reach.
    #[cfg(test)]
    pub(super) fn of(plain: SpectrumFit, [disc, motion, both]: [SpectrumFit; 3], of: (f64, f64, f64)) -> Self {
        let (step_px, last_null, reach_cy_px) = of;
        Self { plain, disc, motion, both, step_px, last_null, reach_cy_px, others_motion: 0.0, unit: 1.0 }
    }

    /// What the richer fit explains beyond the plainer one, in units of what the best leaves unexplained.
    pub(crate) fn gain(&self, plainer: &SpectrumFit, richer: &SpectrumFit) -> f64 {
        (plainer.cost - richer.cost) / self.unit
    }
}

/// By how much more `one` explains of the spectrum of a picture than `other`. `None` where it cannot be read.
pub(crate) fn preference(picture: &Picture<'_, '_>, one: &PointSpread, other: &PointSpread) -> Option<f64> {
    let power = Power::read(picture)?;
    let points = points(&power);
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    if points.iter().filter(|p| p.stands_out).count() < LEAST_POINTS {
        return None;
    }
    let fitter = Fitter::new(points.iter(), power.floor());
    let (one, other) = (fitter.fit(one), fitter.fit(other));
    Some((other.cost - one.cost) / worth.max(one.cost.min(other.cost)))
}

/// True where the scene shows beyond the first null that `blur` would have, and the spectrum is far better explained without it.
pub(crate) fn refutes(picture: &Picture<'_, '_>, blur: &PointSpread) -> bool {
    let Some(power) = Power::read(picture) else { return false };
    let points = points(&power);
    if blur.first_null_cy_px() > reach_cy_px(&points, |p| p.stands_out) {
        return false;
    }
    let fitter = Fitter::new(points.iter(), power.floor());
    let (plain, blurred) = (fitter.fit(&PointSpread::default()), fitter.fit(blur));
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    blurred.cost - plain.cost > REFUTED * worth.max(plain.cost.min(blurred.cost))
}

/// A picture's spectrum, ready for more blurs to be held against it.
pub(crate) struct Read {
    pub(crate) spectrum: Spectrum,
    /// It shows detail that no blur would have left.
    pub(crate) fine_detail: bool,
    fitter: Fitter,
    /// Every other point.
    coarse: Fitter,
    /// Least cost of these that the best model is taken to leave.
    worth: f64,
}

impl Read {
    /// What the spectrum is better explained by without that blur, in units of what it leaves without.
    pub(crate) fn without(&self, psf: &PointSpread) -> f64 {
        let plain = &self.spectrum.plain;
        (self.fitter.fit(psf).cost - plain.cost) / (2.0 * self.worth).max(plain.cost)
    }

    /// True where it is better explained by so much without that motion, and without any nearly as long and nearly in its
    /// direction: what the edges give has its errors.
    pub(crate) fn has_none_like(&self, psf: &PointSpread, gain: f64) -> bool {
        let like = NEARLY_AS_LONG.iter().flat_map(|by| {
            let motion_px = by * psf.motion_px;
            NEARLY_SO_DEG.iter().map(move |turn| PointSpread { motion_px, motion_deg: psf.motion_deg + turn, ..*psf })
        });
        let mut gains = like.map(|psf| self.spectrum.gain(&self.fitter.fit(&psf), &self.spectrum.plain));
        gains.all(|without| without > gain)
    }

    /// The motion that explains it best among those within some degrees of that direction.
    pub(crate) fn best_along(&self, deg: f64) -> SpectrumFit {
        let step = self.spectrum.step_px;
        let lengths = (0..20).map(|k| 1.6 * step * (LONGEST / 1.6_f64).powf(f64::from(k) / 19.0));
        let all = lengths.flat_map(|motion_px| {
            ALONG_DEG.iter().map(move |turn| PointSpread {
                motion_px,
                motion_deg: deg + turn,
                ..PointSpread::default()
            })
        });
        let best = all.map(|psf| self.coarse.fit(&psf)).min_by(|a, b| a.cost.total_cmp(&b.cost));
        best.map_or(self.spectrum.plain, |found| self.fitter.refine(self.fitter.fit(&found.psf)))
    }

    /// ln of what a motion and a disc leave of every other point.
    pub(crate) fn left_ln(&self, psf: &PointSpread) -> f64 {
        self.coarse.fit(psf).cost.max(self.worth).ln()
    }
}

/// Reads the spectra of the first two pictures that can be read, each held against what the other shows.
pub(crate) fn read_two(pictures: &[Picture<'_, '_>]) -> Vec<Read> {
    let mut found: Vec<Read> = pictures.iter().filter_map(read).take(2).collect();
    if let [one, other] = &mut found[..] {
        let others = |of: &Read, by: &Read| {
            let Spectrum { plain, .. } = &of.spectrum;
            of.spectrum.gain(plain, &of.fitter.fit(&by.spectrum.motion.psf))
        };
        (one.spectrum.others_motion, other.spectrum.others_motion) = (others(one, other), others(other, one));
    }
    found
}

/// Reads the spectrum of a picture. `None` where too few tiles hold anything but noise.
fn read(picture: &Picture<'_, '_>) -> Option<Read> {
    let power = Power::read(picture)?;
    let points = points(&power);
    if points.iter().filter(|p| p.stands_out).count() < LEAST_POINTS {
        return None;
    }
    // Aliasing and what the noise model does not hold fill the nulls: the outermost ring shows how much.
    let floor = power.floor();
    let fitter = Fitter::new(points.iter(), floor);
    // The grids are searched on every other point.
    let coarse = Fitter::new(points.iter().step_by(2), floor);
    let step = power.step_px;
    let (shortest, longest) = (1.6 * step, 14.0 * step);
    let none = PointSpread::default();
    let plain = fitter.fit(&none);

    let grid =
        |first: f64, last: f64, n: i32| (0..=n).map(move |k| first * (last / first).powf(f64::from(k) / f64::from(n)));
    let best = |all: &mut dyn Iterator<Item = PointSpread>| {
        all.map(|psf| coarse.fit(&psf))
            .min_by(|a, b| a.cost.total_cmp(&b.cost))
            .map_or(plain, |found| fitter.fit(&found.psf))
    };
    let radii = || grid(0.5 * shortest, 0.5 * longest, 22);
    let disc = best(&mut radii().map(|defocus_px| PointSpread { defocus_px, ..none }));
    // The shorter a motion, the wider its stripes and the coarser may its directions be: `n` for the longest.
    let directions = |n: i32, motion_px: f64| {
        let n = (f64::from(n) * motion_px / longest).ceil().max(f64::from(n / 3)) as i32;
        (0..n).map(move |k| 180.0 * f64::from(k) / f64::from(n))
    };
    let lengths = |n: i32| grid(shortest, longest, n);
    let motion = best(&mut lengths(22).flat_map(|motion_px| {
        directions(24, motion_px).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..none })
    }));
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    let gains = |fit: &SpectrumFit, least: f64| plain.cost - fit.cost >= least * worth.max(fit.cost);
    let refined = |fit: SpectrumFit| if gains(&fit, NOTHING_NEAR) { fitter.refine(fit) } else { fit };
    let (disc, motion) = (refined(disc), refined(motion));
    let better = if disc.cost < motion.cost { disc } else { motion };
    let both = if !gains(&better, NOTHING_SEEN) {
        // Where neither leaves a trace, both together leave none either.
        better
    } else {
        let from_motion = best(&mut radii().map(|defocus_px| PointSpread { defocus_px, ..motion.psf }).filter(sound));
        let from_disc = best(
            &mut lengths(14)
                .flat_map(|motion_px| {
                    directions(12, motion_px).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..disc.psf })
                })
                .filter(sound),
        );
        fitter.refine(if from_disc.cost < from_motion.cost { from_disc } else { from_motion })
    };
    let least = plain.cost.min(disc.cost).min(motion.cost).min(both.cost);
    let spectrum = Spectrum {
        plain,
        disc,
        motion,
        both,
        step_px: step,
        last_null: power.last_null(),
        reach_cy_px: reach_cy_px(&points, |p| p.clear),
        others_motion: 0.0,
        unit: least.max(worth),
    };
    Some(Read { spectrum, fine_detail: fine_detail::shown(&power), fitter, coarse, worth: 0.5 * worth })
}

#[cfg(test)]
pub(crate) mod tests;
