//! Edges that all face one way are blind to a motion along them: the spectra are asked for one.

use super::super::psf::PointSpread;
use super::super::spectrum::Read;
use super::super::stack::Stack;

/// Gain of a motion in the spectrum that shows it best, and in the other, from which it may be there: less would name one, but
/// edges that cannot see it do not speak against it. Rows of the scene leave as much in one picture, but of another length in the
/// other: of 16 sharp frames of other simulators whose edges face one way none reaches both, of 6 that moved along them 2 do.
const SHOWN: f64 = 0.4;
const IN_EACH: f64 = 0.05;
/// Lengths that two pictures show are one motion's within this, ln, and directions within this, degrees.
const SAME_LN: f64 = 0.1;
const SAME_DEG: f64 = 12.0;

/// True where both spectra show the same motion along the edges of these stacks.
pub(super) fn moved_along(stacks: &[Stack], spectra: &[Read]) -> bool {
    let [one, other] = spectra else { return false };
    let sum = |part: fn(&Stack) -> f64| stacks.iter().map(|s| s.trust * part(s)).sum::<f64>();
    let facing_deg = 0.5 * sum(|s| s.double_angle.1).atan2(sum(|s| s.double_angle.0)).to_degrees();
    let along = |read: &Read| {
        let found = read.best_along(facing_deg + 90.0);
        (read.spectrum.gain(&read.spectrum.plain, &found), found.psf)
    };
    let ((gain, psf), (others_gain, others)) = (along(one), along(other));
    gain.max(others_gain) > SHOWN && gain.min(others_gain) > IN_EACH && same(&psf, &others)
}

fn same(a: &PointSpread, b: &PointSpread) -> bool {
    let turn = (a.motion_deg - b.motion_deg + 90.0).rem_euclid(180.0) - 90.0;
    (a.motion_px / b.motion_px).ln().abs() < SAME_LN && turn.abs() < SAME_DEG
}
