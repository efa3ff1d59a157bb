//! Which directions the stacked edges face, and what each of them says of a point spread.

use super::psf::PointSpread;
use super::shape::{Parts, ShapeFitter};
use super::stack::Stack;

/// Cost of a stack (see the cap in the fit of shapes) up to which a point spread explains it: noise and the texture of
/// ordinary scenes give 5 to 40.
const EXPLAINED_COST: f64 = 48.0;
/// Gaussian part up to which a lens is called sharp where a motion is looked for behind it, px.
const SHARP_LENS_PX: f64 = 0.75;
/// Sine of the least angle between two motions that are not the same: 12 degrees.
const ANOTHER: f64 = 0.208;
/// Sine of the angle within which edges have one direction: 7.5 degrees.
const ONE_DIRECTION: f64 = 0.1305;

/// Directions covered: separate 15-degree bins with a stack, and the largest gap between neighbours in degrees.
pub(super) fn coverage(stacks: &[Stack]) -> (usize, f64) {
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

/// Directions more than twice [`ONE_DIRECTION`] apart.
pub(super) fn directions(stacks: &[Stack]) -> usize {
    let mut apart: Vec<f64> = Vec::new();
    for stack in stacks {
        if apart.iter().all(|deg| (deg - stack.deg).to_radians().sin().abs() > 2.0 * ONE_DIRECTION) {
            apart.push(stack.deg);
        }
    }
    apart.len()
}

/// Where the fits of the shapes start from.
pub(super) struct Starts {
    /// Spread of a round part alone.
    pub(super) round_px: f64,
    /// A round part and a motion.
    pub(super) moving: PointSpread,
    /// A motion behind a sharp lens.
    pub(super) sharpest: PointSpread,
}

/// The spreads that agree best with the widths of the stacks. Searched on a grid; a direction that disagrees altogether counts
/// for its cap.
pub(super) fn from_widths(stacks: &[Stack]) -> Starts {
    const CAP: f64 = 0.06;
    let cost = |psf: &PointSpread| -> f64 {
        let double = 2.0 * psf.motion_deg.to_radians();
        stacks
            .iter()
            .map(|s| {
                let along2 = 0.5 * (1.0 + s.double_angle.0 * double.cos() + s.double_angle.1 * double.sin());
                let motion2 = psf.motion_px.powi(2) * along2 / 12.0;
                let round2 = psf.sigma_px.powi(2) + 1.0 / 12.0;
                // A Gaussian fitted to a box is about 11 % wider than the box's own standard deviation.
                let wide = (round2 + motion2).sqrt() * (1.0 + 0.11 * motion2 / (round2 + motion2));
                let off = (wide / s.sigma_px).ln().powi(2);
                s.trust * off / (1.0 + off / CAP)
            })
            .sum()
    };
    let grid = |first: f64, last: f64, ratio: f64| {
        std::iter::successors(Some(first), move |v| Some(v * ratio)).take_while(move |v| *v < last)
    };
    let least = |a: (f64, PointSpread), b: (f64, PointSpread)| if b.0 < a.0 { b } else { a };
    let start = (f64::INFINITY, PointSpread { sigma_px: 1.0, ..PointSpread::default() });
    let try_one = |psf: PointSpread| (cost(&psf), psf);
    let round = grid(0.25, 20.0, 1.06)
        .map(|sigma_px| try_one(PointSpread { sigma_px, ..PointSpread::default() }))
        .fold(start, least)
        .1;
    let (mut moving, mut sharpest) = (start, start);
    for sigma_px in grid(0.3, 6.0, 1.25) {
        for motion_px in grid(1.0, 60.0, 1.2) {
            for k in 0..24 {
                let motion_deg = 7.5 * f64::from(k);
                let tried = try_one(PointSpread { sigma_px, motion_px, motion_deg, ..PointSpread::default() });
                moving = least(moving, tried);
                if sigma_px < SHARP_LENS_PX {
                    sharpest = least(sharpest, tried);
                }
            }
        }
    }
    Starts { round_px: round.sigma_px, moving: moving.1, sharpest: sharpest.1 }
}

/// The motion on the other side of the best known direction, where it explains the edges too: it must not cost
/// more by that much evidence.
pub(super) fn mirrored(
    fitter: &ShapeFitter,
    stacks: &[Stack],
    psf: &PointSpread,
    evidence: f64,
) -> Option<PointSpread> {
    let known = stacks.iter().max_by(|a, b| a.trust.total_cmp(&b.trust))?;
    let start = PointSpread { motion_deg: (2.0 * known.deg - psf.motion_deg).rem_euclid(180.0), ..*psf };
    let other = fitter.fit(Parts { motion: true, turn: true, disc: psf.defocus_px > 0.0 }, start);
    let turn = (other.psf.motion_deg - psf.motion_deg).to_radians().sin().abs();
    let cost: f64 = fitter.by_stack(psf).iter().sum();
    (turn > ANOTHER && other.chi2 - cost < evidence).then_some(other.psf)
}

/// Share of the directions (by what they count for) that a point spread explains.
pub(super) fn explained(fitter: &ShapeFitter, stacks: &[Stack], psf: &PointSpread) -> f64 {
    let costs = fitter.by_stack(psf);
    let total: f64 = stacks.iter().map(|s| s.trust).sum();
    stacks.iter().zip(costs).filter(|(_, cost)| *cost < EXPLAINED_COST).map(|(s, _)| s.trust).sum::<f64>()
        / total.max(1e-9)
}

/// Fall of chi^2 from a round spread to one with motion, less the part of the direction that gains most: a single
/// direction with odd edges is no motion, even where its edges fall into two stacks.
pub(super) fn supported(fitter: &ShapeFitter, stacks: &[Stack], round: &PointSpread, moved: &PointSpread) -> f64 {
    if directions(stacks) <= 2 {
        return of_two_directions(stacks, round, moved);
    }
    let gains = gains(fitter, round, moved);
    let about = |one: &Stack| -> f64 {
        let alike = |other: &(&Stack, &f64)| (other.0.deg - one.deg).to_radians().sin().abs() < ONE_DIRECTION;
        stacks.iter().zip(&gains).filter(alike).map(|(_, gain)| gain).sum()
    };
    without_most(&gains, stacks.iter().map(about).fold(0.0, f64::max))
}

/// The same for two directions, of which either may be the odd one: the round spread has to do for both, so that what the
/// motion explains shows in both.
fn of_two_directions(stacks: &[Stack], round: &PointSpread, moved: &PointSpread) -> f64 {
    let fitter = ShapeFitter::new(stacks).uncapped();
    let parts = Parts { motion: false, turn: false, disc: round.defocus_px > 0.0 };
    let gains = gains(&fitter, &fitter.fit(parts, *round).psf, moved);
    without_most(&gains, gains.iter().copied().fold(0.0, f64::max))
}

/// Fall of chi^2 of each stack.
fn gains(fitter: &ShapeFitter, round: &PointSpread, moved: &PointSpread) -> Vec<f64> {
    fitter.by_stack(round).iter().zip(fitter.by_stack(moved)).map(|(a, b)| a - b).collect()
}

/// Twice what is left without the greatest part: of two equal ones, all.
fn without_most(gains: &[f64], most: f64) -> f64 {
    2.0 * (gains.iter().sum::<f64>() - most)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facing(degs: &[f64]) -> Vec<Stack> {
        let stack = |&deg: &f64| {
            let (sin, cos) = (2.0 * deg.to_radians()).sin_cos();
            Stack { points: Vec::new(), double_angle: (cos, sin), deg, extra_px2: 0.0, sigma_px: 1.0, trust: 1.0 }
        };
        degs.iter().map(stack).collect()
    }

    #[test]
    fn stacks_that_lie_close_are_one_direction_across_the_end_of_the_circle_too() {
        assert_eq!(directions(&facing(&[1.0, 89.0, 91.0, 178.0])), 2);
        assert_eq!(directions(&facing(&[0.0, 60.0, 120.0])), 3);
        assert_eq!(coverage(&facing(&[10.0, 20.0, 170.0])), (3, 150.0));
        assert_eq!(coverage(&[]), (0, 180.0));
    }

    #[test]
    fn widths_of_a_motion_give_its_direction_back() {
        let truth = PointSpread { sigma_px: 0.8, motion_px: 8.0, motion_deg: 30.0, ..PointSpread::default() };
        let degs: Vec<f64> = (0..12).map(|k| 15.0 * f64::from(k)).collect();
        let mut stacks = facing(&degs);
        for s in &mut stacks {
            s.sigma_px = truth.variance(s.deg).sqrt();
        }
        let Starts { round_px: round, moving, .. } = from_widths(&stacks);
        assert!((moving.motion_deg - 30.0).abs() < 1.0 && (moving.motion_px / 8.0 - 1.0).abs() < 0.2, "{moving:?}");
        assert!(round > 0.8 && round < truth.variance(30.0).sqrt(), "{round}");
    }
}
