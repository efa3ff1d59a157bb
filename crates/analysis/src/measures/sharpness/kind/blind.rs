//! Edges that all face one way are blind to a motion along them: the spectra are asked for one.

use super::super::psf::PointSpread;
use super::super::spectrum::{Read, Spectrum};
use super::super::stack::Stack;

/// Gain of a motion in the spectrum that shows it best, and in the other, from which it may be there: less would name one, but
/// edges that cannot see it do not speak against it. Rows of the scene leave as much in one picture, but of another length in the
/// other: of 16 sharp frames of other simulators whose edges face one way none reaches both, of 6 that moved along them 2 do.
const SHOWN: f64 = 0.4;
const IN_EACH: f64 = 0.05;
/// Lengths that two pictures show are one motion's within this, ln, and directions within this, degrees.
const SAME_LN: f64 = 0.1;
const SAME_DEG: f64 = 12.0;

/// Gains of both together, beyond those of a disc, from which it is there, rows of the scene or not: they have left 0.3 in sharp
/// frames, and motions of 6 px and more along them 1.4 and more.
const SURE: f64 = 1.0;

/// A motion along the edges that two spectra show.
pub(super) struct Along {
    /// As the picture that shows it best has it.
    pub(super) psf: PointSpread,
    /// It is no row or column of the scene.
    pub(super) sure: bool,
}

/// The same motion along the edges of these stacks that both spectra show.
pub(super) fn moved_along(stacks: &[Stack], spectra: &[Read]) -> Option<Along> {
    let [one, other] = spectra else { return None };
    let sum = |part: fn(&Stack) -> f64| stacks.iter().map(|s| s.trust * part(s)).sum::<f64>();
    let facing_deg = 0.5 * sum(|s| s.double_angle.1).atan2(sum(|s| s.double_angle.0)).to_degrees();
    let along = |read: &Read| {
        let found = read.best_along(facing_deg + 90.0);
        let Spectrum { plain, disc, both, .. } = &read.spectrum;
        let gain = |fit| read.spectrum.gain(plain, fit);
        // Beside a disc it may only show with that.
        let most = if same(&both.psf, &found.psf) { gain(&found).max(gain(both)) } else { gain(&found) };
        (gain(&found), most - gain(disc).max(0.0), found.psf)
    };
    let ((gain, beyond, psf), (others_gain, others_beyond, others)) = (along(one), along(other));
    let shown = gain.max(others_gain) > SHOWN && gain.min(others_gain) > IN_EACH && same(&psf, &others);
    let psf = if gain > others_gain { psf } else { others };
    shown.then_some(Along { psf, sure: beyond + others_beyond > SURE && beyond.min(others_beyond) > IN_EACH })
}

fn same(a: &PointSpread, b: &PointSpread) -> bool {
    let turn = (a.motion_deg - b.motion_deg + 90.0).rem_euclid(180.0) - 90.0;
    (a.motion_px / b.motion_px).ln().abs() < SAME_LN && turn.abs() < SAME_DEG
}
