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
    use super::*;

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
