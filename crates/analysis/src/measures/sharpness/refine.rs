//! A blur moved to where the spectrum is explained best.

use super::psf::PointSpread;
use super::spectrum_fit::{Fitter, SpectrumFit, sound};

/// First steps of refining: ratio of lengths and radii, and turn of a direction, degrees.
const FIRST_RATIO: f64 = 1.06;
const FIRST_TURN_DEG: f64 = 4.0;
/// Share of these at which it ends.
const FINEST: f64 = 0.05;
/// Share of the cost that a round must gain for another with the same steps.
const WORTH_A_ROUND: f64 = 1e-4;

impl Fitter {
    /// Moves length, direction and radius to the least cost near by: to where parabolas through trials on both sides have theirs.
    pub(super) fn refine(&self, start: SpectrumFit) -> SpectrumFit {
        let mut now = start;
        let mut reach = 1.0;
        while reach > FINEST {
            let (mut best, mut all, mut far) = (now, now.psf, false);
            for part in [Part::Length, Part::Direction, Part::Radius] {
                if !part.is_in(&now.psf) {
                    continue;
                }
                let [back, on] = [-reach, reach].map(|steps| self.tried(&part.moved(&now.psf, steps)));
                let steps = lowest(back.cost, now.cost, on.cost);
                far |= steps.abs() > 0.5;
                all = part.moved(&all, steps * reach);
                best = [back, on].into_iter().fold(best, SpectrumFit::better);
            }
            best = best.better(self.tried(&all));
            let gained = now.cost - best.cost > WORTH_A_ROUND * now.cost;
            now = best;
            if !(far && gained) {
                reach *= 0.25;
            }
        }
        now
    }

    /// Fits it where it is sound.
    fn tried(&self, psf: &PointSpread) -> SpectrumFit {
        if sound(psf) { self.fit(psf) } else { SpectrumFit { psf: *psf, cost: f64::INFINITY } }
    }
}

/// Where the parabola through the costs one step back, here, and one step on is lowest, steps on; at the most two.
fn lowest(back: f64, here: f64, on: f64) -> f64 {
    let bend = back - 2.0 * here + on;
    match (back.is_finite(), on.is_finite()) {
        (true, true) if bend > 0.0 => (0.5 * (back - on) / bend).clamp(-2.0, 2.0),
        (true, true) => 2.0 * (back - on).signum(),
        (true, false) if back < here => -1.0,
        (false, true) if on < here => 1.0,
        _ => 0.0,
    }
}

/// One part of a blur that is refined.
#[derive(Debug, Clone, Copy)]
enum Part {
    Length,
    Direction,
    Radius,
}

impl Part {
    fn is_in(self, psf: &PointSpread) -> bool {
        match self {
            Self::Length | Self::Direction => psf.motion_px > 0.0,
            Self::Radius => psf.defocus_px > 0.0,
        }
    }

    /// The blur with that part moved by so many of the first steps.
    fn moved(self, psf: &PointSpread, steps: f64) -> PointSpread {
        match self {
            Self::Length => PointSpread { motion_px: psf.motion_px * FIRST_RATIO.powf(steps), ..*psf },
            Self::Direction => {
                PointSpread { motion_deg: (psf.motion_deg + FIRST_TURN_DEG * steps).rem_euclid(180.0), ..*psf }
            }
            Self::Radius => PointSpread { defocus_px: psf.defocus_px * FIRST_RATIO.powf(steps), ..*psf },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::power::{Picture, Power};
    use super::super::spectrum::tests::{NOISE, texture};
    use super::super::spectrum_fit::points;
    use super::super::window::Source;
    use super::*;

    /// The least of a fine scan about that blur: steps of a quarter of a per cent and of a degree.
    fn scanned(fitter: &Fitter, about: &PointSpread) -> SpectrumFit {
        let ratios = || (-16..=16).map(|k| 1.0 + 0.0025 * f64::from(k));
        let mut all = Vec::new();
        if about.motion_px > 0.0 {
            for turn in (-12..=12).map(|k| 0.25 * f64::from(k)) {
                all.extend(ratios().map(|by| PointSpread {
                    motion_px: by * about.motion_px,
                    motion_deg: about.motion_deg + turn,
                    ..*about
                }));
            }
        } else {
            all.extend(ratios().map(|by| PointSpread { defocus_px: by * about.defocus_px, ..*about }));
        }
        let fits = all.iter().map(|psf| fitter.fit(psf));
        fits.reduce(SpectrumFit::better).expect("a fit")
    }

    #[test]
    fn from_eight_per_cent_and_five_degrees_off_it_comes_to_the_least_of_a_fine_scan() {
        let sharp = PointSpread { sigma_px: 0.6, ..PointSpread::default() };
        let moved = |motion_px, motion_deg| PointSpread { motion_px, motion_deg, ..sharp };
        let blurs = [moved(9.5, 75.0), moved(14.0, 140.0), PointSpread { defocus_px: 5.0, ..sharp }];
        for (seed, truth) in (81..).zip(blurs) {
            let level = texture(&truth, seed);
            let power = Power::read(&Picture { source: Source::Level(&level), noise: NOISE }).expect("tiles");
            let points = points(&power);
            let fitter = Fitter::new(points.iter(), power.floor());
            let least = scanned(&fitter, &truth);
            for (ratio, turn) in [(1.08, 5.0), (1.08, -5.0), (0.92, 5.0), (0.92, -5.0)] {
                let off = PointSpread {
                    motion_px: ratio * truth.motion_px,
                    motion_deg: truth.motion_deg + turn,
                    defocus_px: ratio * truth.defocus_px,
                    ..truth
                };
                let found = fitter.refine(fitter.fit(&off)).psf;
                let apart = |of: fn(&PointSpread) -> f64| (of(&found) - of(&least.psf)).abs() / of(&least.psf).max(0.1);
                assert!(apart(|p| p.motion_px) < 0.01 && apart(|p| p.defocus_px) < 0.01, "{found:?} {least:?}");
                assert!(truth.motion_px <= 0.0 || (found.motion_deg - least.psf.motion_deg).abs() < 1.0, "{found:?}");
            }
        }
    }

    #[test]
    fn the_lowest_place_is_that_of_the_parabola() {
        // (x - 0.3)^2 at -1, 0 and 1; the same so far off that two steps are the most; and a straight fall.
        assert!((lowest(1.69, 0.09, 0.49) - 0.3).abs() < 1e-12);
        assert_eq!(lowest(36.0, 25.0, 16.0), 2.0);
        assert_eq!(lowest(1.0, 2.0, 3.0), -2.0);
    }

    #[test]
    fn a_side_that_is_not_sound_is_not_gone_to() {
        assert_eq!(lowest(1.0, 2.0, f64::INFINITY), -1.0);
        assert_eq!(lowest(f64::INFINITY, 2.0, 1.0), 1.0);
        assert_eq!(lowest(3.0, 2.0, f64::INFINITY), 0.0);
        assert_eq!(lowest(f64::INFINITY, 2.0, f64::INFINITY), 0.0);
    }

    #[test]
    fn each_part_is_moved_by_itself() {
        let psf = PointSpread { motion_px: 5.0, motion_deg: 178.0, defocus_px: 2.0, ..PointSpread::default() };
        let turned = Part::Direction.moved(&psf, 1.0);
        assert!((turned.motion_deg - 2.0).abs() < 1e-9 && turned.motion_px == 5.0 && turned.defocus_px == 2.0);
        assert!((Part::Length.moved(&psf, -1.0).motion_px - 5.0 / FIRST_RATIO).abs() < 1e-9);
        assert!((Part::Radius.moved(&psf, 2.0).defocus_px - 2.0 * FIRST_RATIO * FIRST_RATIO).abs() < 1e-9);
        assert!(!Part::Radius.is_in(&PointSpread { motion_px: 3.0, ..PointSpread::default() }));
    }
}
