//! Detail so fine, in all directions, that no blur would have left it.
//!
//! The power of a scene does not rise with frequency, textures of one size aside. What of it is left near the end of what the
//! samples show, over what stands at low frequencies, is therefore no more than the lens passes there. A disc of radius r
//! passes nothing at 0.61 / r cycles per pixel and hardly anything beyond; a motion of length l nothing at 1 / l along it, so
//! that one direction then has far less than the others.

use std::ops::Range;

use super::super::power::{Power, TILE};

/// Where fine detail stands, and where coarse: shares of the sampling frequency.
const FINE: Range<f64> = 0.26..0.36;
const COARSE: Range<f64> = 0.06..0.12;
/// Rings between which the ring of a small disc would lie, and the most that power falls from one to the next, ln. A lens with a
/// Gaussian spread of 0.7 px and a scene that falls with the square or the cube of frequency leave 2.0 to 2.3; a disc of 1.5 px as
/// much again, one of 1.8 px more than twice that.
const BEFORE: Range<f64> = 0.22..0.26;
const BEHIND: Range<f64> = 0.3..0.36;
const DEEPEST_LN: f64 = 3.2;
/// Where directions are compared: a chequered pattern shows all of them up to here.
const BAND: Range<f64> = 0.22..0.3;
/// Directions that are compared, over 180 degrees.
const SECTORS: usize = 6;
/// Fine detail over the outermost ring, ln: noise is alike in both, a texture goes on falling. What the noise is held to be says
/// nothing here, as texture all over a frame passes for noise.
const OVER_OUTERMOST_LN: f64 = 0.336;
/// Power of fine detail over that of coarse. A disc of 2 px leaves less than 0.005 of a scene of points, 0.0005 of one that falls
/// like most with the square of frequency; of such a scene a lens with a Gaussian spread of 0.4 to 0.7 px leaves 0.02 to 0.06.
const LEAST_LEFT: f64 = 0.004;
/// Most that one direction falls further than another, ln: a motion of 2.5 px adds 1.6.
const ALIKE_LN: f64 = 0.8;

/// True where the spectrum of the mosaic itself shows such detail.
pub(super) fn shown(power: &Power) -> bool {
    if power.step_px > 1.0 {
        return false;
    }
    let outermost_ln = power.outermost_ln();
    let fine_ln = mean_ln(power, &FINE, None);
    if fine_ln - outermost_ln < OVER_OUTERMOST_LN {
        return false;
    }
    // What the outermost ring holds may be noise everywhere.
    let scene = |ring: &Range<f64>, sector| mean_ln(power, ring, sector).exp() - outermost_ln.exp();
    if scene(&FINE, None) < LEAST_LEFT * scene(&COARSE, None) {
        return false;
    }
    if (scene(&BEFORE, None) / scene(&BEHIND, None).max(1e-9)).ln() > DEEPEST_LN {
        return false;
    }
    let left = (0..SECTORS).map(|k| scene(&BAND, Some(k)).max(0.0) / scene(&COARSE, Some(k)));
    let (least, most) = left.fold((f64::INFINITY, 0.0_f64), |(least, most), x| (least.min(x), most.max(x)));
    least > 0.0 && (most / least).ln() < ALIKE_LN
}

/// Mean ln power over the noise in a ring, or in one of its sectors (the first from 90 degrees below the rows on). Without a point
/// the least there is.
fn mean_ln(power: &Power, ring: &Range<f64>, sector: Option<usize>) -> f64 {
    let half = (TILE / 2) as i32;
    let (mut sum, mut n) = (0.0, 0.0);
    for u in 0..half {
        for v in -half..half {
            let (x, y) = (f64::from(u), f64::from(v));
            let here = || (SECTORS as f64 * (0.5 + y.atan2(x) / std::f64::consts::PI)) as usize;
            if ring.contains(&(x.hypot(y) / TILE as f64)) && power.readable(u, v) && sector.is_none_or(|k| k == here())
            {
                sum += power.at(u, v);
                n += 1.0;
            }
        }
    }
    if n > 0.0 { sum / n } else { f64::NEG_INFINITY }
}
