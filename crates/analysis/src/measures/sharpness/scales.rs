//! What the spectra of pictures of several scales show together: the mosaic, and pictures halved once or twice.
//!
//! The nulls of a blur lie at the same frequencies in every picture. What looks like one where the scene's structure or the band
//! ends moves with the size of the pixels; so a blur is believed where no other picture shows another.

use super::power::Picture;
use super::psf::{DISC_NULL, PointSpread};
use super::spectrum::{self, Spectrum};

/// Gain from which stripes or rings are taken for real. Sharp frames of streets, leaves, print, random texture and of
/// the photographs that come with scikit-image stay below 0.13, blurred ones lie above 0.2 (own simulations).
const LEAST_GAIN: f64 = 0.17;
/// Longest motion that is read, halved pixels: what repeats in a scene (rows of bricks) looks like a longer one.
const LONGEST_MOTION: f64 = 12.0;
/// Widest disc that a picture is searched for, radius in pixels of the picture, less a step of the search.
const WIDEST_DISC: f64 = 6.2;
/// The other shape must explain less than this share of it.
const RIVAL_SHARE: f64 = 0.7;
/// Gain from which a picture contradicts the others.
const LEAST_CLAIM: f64 = 0.12;
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
pub(super) fn seen(pictures: &[Picture<'_, '_>]) -> Option<Seen> {
    // Two of them are enough to hold against each other.
    let spectra: Vec<Spectrum> = spectrum::read_two(pictures);
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
    Some(match first.seen {
        Seen::Disc { psf, .. } => Seen::Disc { psf, twice },
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
    let confirms = |s: &Spectrum| {
        let own = s.gain(&s.plain, &s.motion);
        own > LEAST_GAIN && s.others_motion > CONFIRMED * own
    };
    if same_motion(&one.motion.psf, &other.motion.psf, SAME_NULL_LN, SAME_STRIPES) {
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
fn wide(spectrum: &Spectrum, psf: &PointSpread) -> bool {
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
        seen: Seen::Disc { psf: disc.psf, twice: false },
        gain: for_disc,
        in_band,
        step_px: *step_px,
    })
}

impl Seen {
    /// True where two pictures show the same blur.
    fn agrees(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Motion { psf: a, .. }, Self::Motion { psf: b, .. }) => same_motion(a, b, SAME_NULL_LN, SAME_STRIPES),
            (Self::Disc { psf: a, .. }, Self::Disc { psf: b, .. }) => near(a.defocus_px, b.defocus_px, SAME_NULL_LN),
            (Self::OneOrBoth, Self::OneOrBoth) => true,
            _ => false,
        }
    }
}

fn near(a: f64, b: f64, ln: f64) -> bool {
    (a / b).ln().abs() < ln
}

fn same_motion(a: &PointSpread, b: &PointSpread, ln: f64, sine: f64) -> bool {
    near(a.motion_px, b.motion_px, ln) && (a.motion_deg - b.motion_deg).to_radians().sin().abs() < sine
}

/// The same motion and disc; `finest_px` is the pixel of the finer picture.
fn same_pair(a: &PointSpread, b: &PointSpread, finest_px: f64) -> bool {
    let long = a.motion_px > LONG_MOTION * finest_px;
    let ln = if long { SAME_NULL_LN } else { SAME_PAIR_LN };
    same_motion(a, b, ln, SAME_STRIPES) && near(a.defocus_px, b.defocus_px, SAME_PAIR_LN)
}

/// True for stripes along the rows or columns of the frame.
pub(super) fn upright(psf: &PointSpread) -> bool {
    let off = psf.motion_deg.rem_euclid(90.0);
    off.min(90.0 - off) < UPRIGHT_DEG
}

#[cfg(test)]
mod tests {
    use super::super::spectrum_fit::SpectrumFit;
    use super::*;

    fn fit(motion_px: f64, motion_deg: f64, defocus_px: f64, cost: f64) -> SpectrumFit {
        SpectrumFit {
            psf: PointSpread { sigma_px: 0.6, motion_px, motion_deg, defocus_px, ..PointSpread::default() },
            cost,
        }
    }

    /// A spectrum of which disc, motion and both explain so much.
    fn spectrum(step_px: f64, disc: (f64, f64), motion: (f64, f64, f64), both: (f64, f64, f64, f64)) -> Spectrum {
        let last_null = if step_px > 1.0 { 0.4 } else { 0.297 };
        let fits = [
            fit(0.0, 0.0, disc.0, 10.0 - disc.1),
            fit(motion.0, motion.1, 0.0, 10.0 - motion.2),
            fit(both.0, both.1, both.2, 10.0 - both.3),
        ];
        Spectrum::of(fit(0.0, 0.0, 0.0, 10.0), fits, (step_px, last_null, 0.2))
    }

    fn motion(step_px: f64, length_px: f64, deg: f64, gain: f64) -> Spectrum {
        spectrum(step_px, (2.0, 0.1), (length_px, deg, gain), (length_px, deg, 1.0, gain + 0.05))
    }

    #[test]
    fn nulls_that_move_with_the_size_of_the_pixels_are_no_blur() {
        // Level waves of a sea: the end of each band looks like a motion along them.
        let waves = [motion(1.0, 4.5, 178.0, 0.86), motion(2.0, 6.6, 171.0, 0.3)];
        assert!(together(&waves).is_none());
        let same = [motion(1.0, 7.7, 110.0, 1.6), motion(2.0, 8.2, 112.0, 0.9)];
        assert!(matches!(together(&same), Some(Seen::Motion { psf, .. }) if psf.motion_px == 7.7));
        // Nor is what tiles show that are too short for the motion.
        let long = [motion(1.0, 12.7, 20.0, 0.3), motion(2.0, 17.5, 41.0, 1.0)];
        assert!(matches!(together(&long), Some(Seen::Motion { psf, .. }) if psf.motion_px == 17.5));
        // Nothing in the other picture is no contradiction.
        let alone = [motion(1.0, 5.1, 40.0, 0.7), motion(2.0, 7.0, 90.0, 0.05)];
        assert!(matches!(together(&alone), Some(Seen::Motion { .. })));
    }

    #[test]
    fn motion_and_disc_are_both_there_where_two_pictures_show_the_same_pair() {
        let pair = |step_px, defocus_px| spectrum(step_px, (3.0, 0.9), (8.0, 60.0, 0.8), (7.5, 60.0, defocus_px, 1.7));
        assert!(
            matches!(together(&[pair(1.0, 3.0), pair(2.0, 3.1)]), Some(Seen::Motion { psf, .. }) if psf.defocus_px > 0.0)
        );
        // A disc that grows with the pixels is not: what is there stays open.
        assert!(matches!(together(&[pair(1.0, 2.3), pair(2.0, 3.3)]), Some(Seen::OneOrBoth)));
    }

    #[test]
    fn a_long_pair_is_that_of_the_picture_that_explains_more() {
        let mosaic = spectrum(1.0, (4.9, 2.2), (8.2, 44.0, 1.2), (9.4, 122.0, 4.8, 3.7));
        let halved = spectrum(2.0, (5.0, 5.3), (11.4, 130.0, 2.8), (10.9, 128.0, 4.9, 8.9));
        assert!(matches!(together(&[mosaic, halved]), Some(Seen::Motion { psf, .. }) if psf.motion_px == 10.9));
        // A short one is measured well by both: lengths so far apart are not one motion's.
        let short = |step_px, motion_px| spectrum(step_px, (3.0, 0.9), (6.0, 60.0, 0.8), (motion_px, 60.0, 3.0, 1.7));
        assert!(matches!(together(&[short(1.0, 5.5), short(2.0, 6.4)]), Some(Seen::OneOrBoth)));
    }

    #[test]
    fn a_disc_counts_as_seen_twice_where_both_pictures_show_it() {
        let disc = |step_px, gain| spectrum(step_px, (4.0, gain), (7.0, 20.0, 0.05), (6.0, 20.0, 4.0, gain));
        let twice = |gain| match together(&[disc(1.0, 2.1), disc(2.0, gain)]) {
            Some(Seen::Disc { twice, .. }) => twice,
            _ => panic!("a disc"),
        };
        assert!(twice(3.1) && !twice(0.1));
    }

    /// A motion of 8 px at 50 degrees that two pictures show, of whose spectra the other's motion explains that share.
    fn held(coarse_px: f64, coarse_deg: f64, gain: f64, share: f64) -> (Witness, f64) {
        let mut spectra = [motion(1.0, 8.0, 50.0, 0.9), motion(2.0, coarse_px, coarse_deg, gain)];
        for spectrum in &mut spectra {
            spectrum.others_motion = share * spectrum.gain(&spectrum.plain, &spectrum.motion);
        }
        match together(&spectra) {
            Some(Seen::Motion { witness, stripes, .. }) => (witness, stripes),
            _ => panic!("a motion"),
        }
    }

    #[test]
    fn another_picture_agrees_where_the_motion_of_either_explains_both() {
        let (witness, stripes) = held(8.3, 48.0, 0.5, 0.9);
        assert_eq!(witness, Witness::Agrees);
        // What both explain counts: (0.9 + 0.5) x 4 halved pixels.
        assert!((stripes - 5.6).abs() < 1e-9, "{stripes}");
        // The same by chance, too weak, or none of it: a motion of four halved pixels would show.
        assert_eq!(held(8.3, 48.0, 0.5, 0.3).0, Witness::Silent);
        assert_eq!(held(8.3, 48.0, 0.1, 0.9).0, Witness::Silent);
        assert_eq!(held(11.0, 95.0, 0.1, 0.9).0, Witness::Doubts);
    }

    #[test]
    fn a_disc_wider_than_a_picture_is_searched_for_is_not_contradicted_by_it() {
        let disc =
            |step_px, radius, gain| spectrum(step_px, (radius, gain), (5.0, 86.0, 0.05), (5.0, 86.0, radius, gain));
        let wide = [disc(1.0, 2.5, 0.23), disc(2.0, 7.9, 3.7)];
        assert!(matches!(together(&wide), Some(Seen::Disc { psf, .. }) if psf.defocus_px == 7.9));
        assert!(together(&[disc(1.0, 2.5, 0.23), disc(2.0, 5.0, 3.7)]).is_none());
    }

    #[test]
    fn shapes_that_explain_the_same_show_a_blur_of_unknown_kind() {
        let either = |least| spectrum(1.0, (2.3, least), (5.0, 20.0, least + 0.02), (4.8, 20.0, 1.2, least + 0.05));
        assert!(matches!(together(&[either(0.5)]), Some(Seen::OneOrBoth)));
        assert!(!matches!(together(&[either(0.2)]), Some(Seen::OneOrBoth)));
    }

    #[test]
    fn a_coarse_picture_has_fewer_stripes_of_a_motion_in_its_band() {
        let stripes = |step_px| match together(&[motion(step_px, 12.5, 8.5, 0.35)]) {
            Some(Seen::Motion { stripes, .. }) => stripes,
            _ => panic!("a motion"),
        };
        assert!((stripes(2.0) - 2.1875).abs() < 1e-9 && (stripes(4.0) - 1.09375).abs() < 1e-9);
    }

    #[test]
    fn a_null_outside_the_band_is_none() {
        assert!(!matches!(together(&[motion(1.0, 2.9, 33.0, 0.4)]), Some(Seen::Motion { .. })));
    }
}
