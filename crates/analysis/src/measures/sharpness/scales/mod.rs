//! What the spectra of pictures of several scales show together: the mosaic, and pictures halved once or twice.
//!
//! The nulls of a blur lie at the same frequencies in every picture. What looks like one where the scene's structure or the band
//! ends moves with the size of the pixels; so a blur is believed where no other picture shows another.

use super::psf::{DISC_NULL, PointSpread};
use super::spectrum::{Read, Spectrum};

/// Gain from which stripes or rings are taken for real. Sharp frames of streets, leaves, print, random texture and of
/// the photographs that come with scikit-image stay below 0.13, blurred ones lie above 0.2 (own simulations).
const LEAST_GAIN: f64 = 0.17;
/// The same of stripes along the rows or columns of the frame: rows of windows and of waves leave such stripes too (lit windows in
/// noise reach 0.28, own simulations).
pub(super) const LEAST_GAIN_UPRIGHT: f64 = 0.45;
/// Longest motion that is read, halved pixels: what repeats in a scene (rows of bricks) looks like a longer one.
const LONGEST_MOTION: f64 = 12.0;
/// Widest disc that a picture is searched for, radius in pixels of the picture, less a step of the search.
const WIDEST_DISC: f64 = 6.2;
/// The other shape must explain less than this share of it.
const RIVAL_SHARE: f64 = 0.7;
/// Gain from which a picture contradicts the others.
pub(super) const LEAST_CLAIM: f64 = 0.12;
/// Gain of motion and of disc alike from which one of them is there.
const SOMETHING: f64 = 0.3;
/// Share of what one shape explains that both together may explain beyond it where only that one is there.
const NOTHING_MORE: f64 = 0.15;
/// Lengths or radii that two pictures show are the same within this, ln, and directions within the angle of this sine: 17
/// degrees.
const SAME_NULL_LN: f64 = 0.22;
const SAME_STRIPES: f64 = 0.3;
/// Share of what the better of a motion and a disc explains that both together must explain beyond either.
const PAIR_SHARE: f64 = 0.25;
/// Lengths and radii of both together are the same in two pictures within this, ln.
const SAME_PAIR_LN: f64 = 0.12;
/// Length from which a picture's tiles show a motion only roughly, pixels of the picture.
const LONG_MOTION: f64 = 7.0;
/// Least radius of a disc beside a motion, share of the length.
const LEAST_DISC_SHARE: f64 = 0.25;
/// A halved pixel, sensor pixels.
const HALVED_PX: f64 = 2.0;
/// Angle to the rows or columns within which a motion is called upright, degrees: the spectrum gives it to a step or two of 2.
const UPRIGHT_DEG: f64 = 4.0;
/// Share of what its own best motion explains that the other picture's must explain too where both show the same.
const CONFIRMED: f64 = 0.5;

/// What the other picture says of a motion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Witness {
    /// It shows the same one: the best motion of either explains the other too.
    Agrees,
    /// It is too coarse to show it, or there is none.
    Silent,
    /// Its band holds the first null, but another motion, or none, explains it best.
    Doubts,
}

/// What the nulls show.
#[derive(Clone, Copy)]
pub(super) enum Seen {
    Motion {
        psf: PointSpread,
        gain: f64,
        /// Gain times length in pixels of the picture, of halved ones at least.
        stripes: f64,
        witness: Witness,
    },
    Disc {
        psf: PointSpread,
        /// Two pictures show it.
        twice: bool,
        /// A motion beside it explains nothing more in any of them.
        alone: bool,
    },
    /// Motion or disc, perhaps both.
    OneOrBoth,
    /// No nulls in a spectrum that is clear enough to show them.
    None(Texture),
}

/// A scene's texture behind a plain Gaussian.
#[derive(Clone, Copy)]
pub(super) struct Texture {
    /// Standard deviation of the Gaussian, px.
    pub(super) sigma_px: f64,
    /// Highest frequency at which the texture stands clear of the noise, cycles per pixel.
    pub(super) reach_cy_px: f64,
}

/// What one picture shows, and by how much it explains its spectrum.
struct Claim {
    seen: Seen,
    gain: f64,
    /// The first null lies within the band.
    in_band: bool,
    /// Width of the picture's pixel, sensor pixels.
    step_px: f64,
}

/// What the spectra of all pictures show together. `None` where they contradict each other, or none can be read.
///
/// The nulls of a blur lie at the same frequencies in every picture; what looks like one where a scene's structure or the band
/// ends moves with the size of the pixels.
pub(super) fn seen(read: &[Read]) -> Option<Seen> {
    let spectra: Vec<Spectrum> = read.iter().map(|r| r.spectrum).collect();
    together(&spectra)
}

/// What these spectra show together.
fn together(spectra: &[Spectrum]) -> Option<Seen> {
    let pairs: Vec<&Spectrum> = spectra.iter().filter(|s| shows_both(s)).collect();
    if let [one, other] = pairs[..]
        // The finest of them has the first nulls of both in its band.
        && wide(one, &one.both.psf)
        && same_pair(&one.both.psf, &other.both.psf, one.step_px)
    {
        // Its tiles are short for a long motion: the one that explains more is the better measure.
        let explained = |s: &Spectrum| s.gain(&s.plain, &s.both);
        let best = if explained(one) > explained(other) { one } else { other };
        return Some(moving(best.both.psf, best.gain(&best.plain, &best.motion), best.step_px));
    }
    let mut claims: Vec<Claim> = spectra.iter().filter_map(claim).collect();
    claims.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let Some(first) = claims.iter().find(|c| c.in_band && c.gain > LEAST_GAIN) else {
        if spectra.iter().any(shows_something) {
            return Some(Seen::OneOrBoth);
        }
        // A halved picture shows the texture of all filter arrays alike.
        let halved = spectra.iter().find(|s| s.step_px > 1.0)?;
        return Some(Seen::None(Texture { sigma_px: halved.plain.psf.sigma_px, reach_cy_px: halved.reach_cy_px }));
    };
    // A picture whose tiles are short for a motion shows a shorter one, or none.
    let too_long =
        |step_px: f64| matches!(first.seen, Seen::Motion { psf, .. } if psf.motion_px > LONGEST_MOTION * step_px);
    let too_wide =
        |step_px: f64| matches!(first.seen, Seen::Disc { psf, .. } if psf.defocus_px > WIDEST_DISC * step_px);
    let alike = |other: &Claim| other.seen.agrees(&first.seen) || too_long(other.step_px) || too_wide(other.step_px);
    if !claims.iter().all(alike) {
        return None;
    }
    let twice = claims.iter().filter(|c| c.in_band && c.gain > LEAST_GAIN).count() > 1;
    // A motion beside a disc: along the rows, where the scene leaves stripes too, only if two pictures show the same.
    let pair = matches!(spectra, [one, other] if same_motion(&one.both.psf, &other.both.psf)
        && same_disc(&one.both.psf, &other.both.psf));
    // What is hardly more than rings alone explain is the scene's.
    let least = |s: &Spectrum| LEAST_GAIN.max(NOTHING_MORE * s.gain(&s.plain, &s.disc));
    let more = |s: &Spectrum| s.gain(&s.disc, &s.both) > least(s) && (pair || !upright(&s.both.psf));
    let alone = !spectra.iter().any(|s| more(s) && !too_wide(s.step_px));
    Some(match first.seen {
        Seen::Disc { psf, .. } => Seen::Disc { psf, twice, alone },
        Seen::Motion { psf, gain, stripes, .. } => {
            let witness = witness(spectra, first.step_px, &psf);
            // Where both pictures show it, what they explain adds up.
            let all = || spectra.iter().map(|s| stripes_of(s.gain(&s.plain, &s.motion), &psf, s.step_px)).sum();
            let stripes = if witness == Witness::Agrees { all() } else { stripes };
            Seen::Motion { psf, gain, stripes, witness }
        }
        seen => seen,
    })
}

/// What the other picture says of the motion that the one of pixels of `step_px` shows.
fn witness(spectra: &[Spectrum], step_px: f64, psf: &PointSpread) -> Witness {
    let [one, other] = spectra else { return Witness::Silent };
    // Rows of the scene leave stripes in both pictures.
    let least = if upright(psf) { LEAST_GAIN_UPRIGHT } else { LEAST_GAIN };
    let confirms = |s: &Spectrum| {
        let own = s.gain(&s.plain, &s.motion);
        own > least && s.others_motion > CONFIRMED * own
    };
    if same_motion(&one.motion.psf, &other.motion.psf) {
        return if confirms(one) && confirms(other) { Witness::Agrees } else { Witness::Silent };
    }
    let second = if one.step_px == step_px { other } else { one };
    let shows = (1.0 / second.last_null..LONGEST_MOTION).contains(&(psf.motion_px / second.step_px));
    if shows { Witness::Doubts } else { Witness::Silent }
}

/// True where motion and disc together explain clearly more than either.
fn shows_both(spectrum: &Spectrum) -> bool {
    let Spectrum { plain, disc, motion, both, .. } = spectrum;
    let more = spectrum.gain(motion, both).min(spectrum.gain(disc, both));
    let most = spectrum.gain(plain, motion).max(spectrum.gain(plain, disc));
    more > LEAST_GAIN.max(PAIR_SHARE * most)
        && both.psf.motion_px < LONGEST_MOTION * spectrum.step_px
        && both.psf.defocus_px > LEAST_DISC_SHARE * both.psf.motion_px
        && !upright(&both.psf)
}

/// True where motion and disc explain much, each as well as the other.
fn shows_something(spectrum: &Spectrum) -> bool {
    let Spectrum { plain, disc, motion, .. } = spectrum;
    let least = spectrum.gain(plain, motion).min(spectrum.gain(plain, disc));
    least > SOMETHING && wide(spectrum, &disc.psf)
}

fn moving(psf: PointSpread, gain: f64, step_px: f64) -> Seen {
    Seen::Motion { psf, gain, stripes: stripes_of(gain, &psf, step_px), witness: Witness::Agrees }
}

/// The longer the motion, the more stripes of it lie in the band.
fn stripes_of(gain: f64, psf: &PointSpread, step_px: f64) -> f64 {
    gain * psf.motion_px / step_px.max(HALVED_PX)
}

/// True for a disc whose first null lies within the band.
pub(super) fn wide(spectrum: &Spectrum, psf: &PointSpread) -> bool {
    psf.defocus_px >= DISC_NULL / spectrum.last_null * spectrum.step_px
}

/// The shape that explains clearly more than the other, or with which the other adds nothing. `None` where neither does.
fn claim(spectrum: &Spectrum) -> Option<Claim> {
    let Spectrum { plain, disc, motion, both, step_px, last_null, .. } = spectrum;
    let for_motion = spectrum.gain(plain, motion);
    let for_disc = spectrum.gain(plain, disc);
    if for_motion.max(for_disc) < LEAST_CLAIM {
        return None;
    }
    let alone = |gain: f64, rival: f64, beyond: f64| {
        rival < RIVAL_SHARE * gain || gain - rival > LEAST_GAIN && beyond < NOTHING_MORE * gain
    };
    if alone(for_motion, for_disc, spectrum.gain(motion, both)) {
        let in_band = (1.0 / last_null..LONGEST_MOTION).contains(&(motion.psf.motion_px / step_px));
        return Some(Claim {
            seen: moving(motion.psf, for_motion, *step_px),
            gain: for_motion,
            in_band,
            step_px: *step_px,
        });
    }
    if shows_both(spectrum) {
        return Some(Claim { seen: Seen::OneOrBoth, gain: for_motion.max(for_disc), in_band: true, step_px: *step_px });
    }
    let in_band = wide(spectrum, &disc.psf);
    alone(for_disc, for_motion, spectrum.gain(disc, both)).then_some(Claim {
        seen: Seen::Disc { psf: disc.psf, twice: false, alone: true },
        gain: for_disc,
        in_band,
        step_px: *step_px,
    })
}

impl Seen {
    /// True where two pictures show the same blur.
    fn agrees(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Motion { psf: a, .. }, Self::Motion { psf: b, .. }) => same_motion(a, b),
            (Self::Disc { psf: a, .. }, Self::Disc { psf: b, .. }) => same_disc(a, b),
            (Self::OneOrBoth, Self::OneOrBoth) => true,
            _ => false,
        }
    }
}

fn near(a: f64, b: f64, ln: f64) -> bool {
    (a / b).ln().abs() < ln
}

/// The same length, within a ratio, and direction.
fn motions_within(ln: f64, a: &PointSpread, b: &PointSpread) -> bool {
    near(a.motion_px, b.motion_px, ln) && (a.motion_deg - b.motion_deg).to_radians().sin().abs() < SAME_STRIPES
}

/// One motion by two witnesses.
pub(super) fn same_motion(a: &PointSpread, b: &PointSpread) -> bool {
    motions_within(SAME_NULL_LN, a, b)
}

/// One disc by two witnesses.
pub(super) fn same_disc(a: &PointSpread, b: &PointSpread) -> bool {
    near(a.defocus_px, b.defocus_px, SAME_NULL_LN)
}

/// The same motion and disc; `finest_px` is the pixel of the finer picture.
fn same_pair(a: &PointSpread, b: &PointSpread, finest_px: f64) -> bool {
    let long = a.motion_px > LONG_MOTION * finest_px;
    let ln = if long { SAME_NULL_LN } else { SAME_PAIR_LN };
    motions_within(ln, a, b) && near(a.defocus_px, b.defocus_px, SAME_PAIR_LN)
}

/// True for stripes along the rows or columns of the frame.
pub(super) fn upright(psf: &PointSpread) -> bool {
    let off = psf.motion_deg.rem_euclid(90.0);
    off.min(90.0 - off) < UPRIGHT_DEG
}

#[cfg(test)]
mod tests;
