//! What edges and spectra as one make of a kind that either left open, or named without asking for a second part.

use super::super::along;
use super::super::psf::PointSpread;
use super::super::scales::{LEAST_CLAIM, LEAST_GAIN_UPRIGHT, same_disc, same_motion, upright, wide};
use super::super::shape::{Parts, ShapeFitter};
use super::super::spectrum::{Read, Spectrum};
use super::super::stack::Stack;
use super::blind;
use super::jointly::{Jointly, PER_LN, refined as refined_psf};
use super::{
    CLEANEST, CLEARLY_SHARP, KindReading, LEAST_EVIDENCE, LEAST_MOTION_PX, MIXED_MARGIN, PIXEL_SIGMA_PX, SOME_EVIDENCE,
    Verdict, disc_counts, face_one_way, motion_counts,
};

/// Evidence by which a blur must explain more than the others. Of 117 frames of other simulators that were left open, 10 of 40
/// with motion and disc reach it for both, one of those with less, which a plain Gaussian explains better still.
const SURE: f64 = 30.0;
/// ... against a kind that was named, or where no edge speaks, and of it in each of the spectra: scenes of one direction reach
/// 40, or much in one spectrum alone.
const OVERRULES: f64 = 45.0;
const IN_EACH: f64 = 12.0;
/// Evidence of the edges for a motion that is short against the disc beside it: frames of a disc alone reach 16.
const PLAINLY: f64 = 90.0;
/// Angle to the rows and columns within which a motion may be the scene's own: its rows leave stripes too, degrees.
const BESIDE_ROWS_DEG: f64 = 8.0;
/// Share of what the best round spread leaves that a motion may leave of edges of which one direction alone is wide: the rest must
/// be its doing.
const MOSTLY_EXPLAINED: f64 = 0.25;
/// Cosine of the angle to a motion within which edges show it (30 degrees), and ratio to the narrowest from which they are looked at.
const WITHIN: f64 = 0.866;
const WIDER: f64 = 1.08;
/// Gain of a motion beside a disc from which it is looked at where no edge would show it.
const UNSEEN_CLAIM: f64 = 0.05;
/// The round part of a spectrum's blur and the edges along its motion are as wide within this, ln.
const AS_WIDE_LN: f64 = 0.25;
/// Confidence in what only both witnesses together show.
const TOGETHER: f64 = 0.6;

/// The kind that edges and spectra as one show, where `told` (`None`: the edges are too few) is open or overruled by it.
pub(crate) fn together(
    told: Option<&KindReading>,
    stacks: &[Stack],
    spectra: &[Read],
    allowance_px: f64,
) -> Option<KindReading> {
    let unable = |k: &&KindReading| match k.verdict {
        Verdict::None => k.one_way,
        Verdict::Undetermined(_) => !stacks.is_empty() && face_one_way(stacks),
        _ => false,
    };
    if let Some(k) = told.filter(unable)
        && let Some(along) = blind::moved_along(stacks, spectra)
    {
        let found = beside_edges(k, &along.psf, spectra, allowance_px).filter(|_| along.sure);
        if found.is_some() || matches!(k.verdict, Verdict::None) {
            let why = "the edges face one way and look sharp, but the texture may have moved along them";
            let open = KindReading { verdict: Verdict::Undetermined(why), confidence: 0.3, ..*k };
            return found.or(Some(open));
        }
    }
    if told.is_some_and(|k| matches!(k.verdict, Verdict::None) && !k.one_way)
        && let Some(motion) = one_wide_direction(stacks, spectra, allowance_px)
    {
        return Some(KindReading::of(Verdict::Motion, motion, TOGETHER));
    }
    if let Some(k) = told.filter(|k| matches!(k.verdict, Verdict::None | Verdict::Undetermined(_)) && !k.one_way)
        && let Some(motion) = shown_by_both(k, stacks, spectra, allowance_px)
    {
        return Some(KindReading::of(Verdict::Motion, motion, TOGETHER));
    }
    let open = told.is_none_or(|k| matches!(k.verdict, Verdict::Undetermined(_)));
    let hinted = |k: &KindReading| spectra.iter().any(|read| hints_at_more(k, &read.spectrum, stacks));
    if !open && !told.is_some_and(hinted) {
        return None;
    }
    let found = Jointly::of(stacks, spectra)?;
    let weak = open && !stacks.is_empty();
    let plainer = found.plainer();
    let pair = found.pair.psf;
    let (more, by_edges) = (plainer.all() - found.pair.all(), found.pair.by_edges(plainer));
    let in_each = found.pair.in_each_spectrum(plainer) > IN_EACH;
    // The directions of the edges alone may differ as scenes do.
    let sure = if weak { more > SURE && more - by_edges > SOME_EVIDENCE } else { more > OVERRULES && in_each };
    // A disc whose first ring lies beyond what the spectra show only changes how they fall off: edges must show it then.
    let shows = spectra.iter().any(|read| wide(&read.spectrum, &pair)) || by_edges > SOME_EVIDENCE;
    // Along the rows or columns all three must show it.
    let of_all = more > OVERRULES && in_each && by_edges > SOME_EVIDENCE;
    // What is short against the disc counts where the edges have much of it, and each spectrum some.
    let short = pair.motion_px >= LEAST_MOTION_PX
        && by_edges > PLAINLY
        && found.pair.in_each_spectrum(plainer) > SOME_EVIDENCE
        && soft(&pair, allowance_px);
    if shows && (sure && wide_and_moved(&pair, allowance_px) || short) && (of_all || !beside_rows(&pair)) {
        return Some(named(Verdict::Mixed, pair));
    }
    let disc = told.filter(|k| matches!(k.verdict, Verdict::Defocus));
    let hidden = motion_counts(&pair) && unseen(stacks, pair.motion_deg) && !beside_rows(&pair);
    if let Some(k) = disc.filter(|_| in_each && hidden) {
        let why = "the edges show missed focus and the texture a motion beside it, across which no edge was found";
        return Some(KindReading { verdict: Verdict::Undetermined(why), defocus_px: None, confidence: 0.3, ..*k });
    }
    if (weak || disc.is_some()) && found.moved() {
        return Some(named(Verdict::Motion, found.motion.psf));
    }
    // Edges of soft texture that lie along a motion are wide as well, but without the shape of a disc.
    if let Some(k) = disc.filter(|k| k.psf.defocus_px <= 0.0)
        && found.round.all().min(found.disc.all()) - found.motion.all() > LEAST_EVIDENCE
    {
        let why = "the edges are wide, but a motion explains them and the texture better than missed focus";
        return Some(KindReading { verdict: Verdict::Undetermined(why), defocus_px: None, confidence: 0.3, ..*k });
    }
    let one_way = told.is_some_and(|k| k.one_way && matches!(k.verdict, Verdict::Motion | Verdict::Mixed));
    if !(weak || one_way) || !disc_counts(&found.disc.psf) {
        return None;
    }
    // A motion so short against the disc that it would not be named is none.
    let rivals = found.round.all().min(found.motion.all());
    let rivals = if motion_counts(&found.pair.psf) { rivals.min(found.pair.all()) } else { rivals };
    let least = if weak { SURE } else { OVERRULES };
    let disc = found.disc.psf;
    // How wide the edges are they tell best themselves.
    let edges = told.map(|k| k.psf).filter(|psf| psf.motion_px <= 0.0).unwrap_or(disc);
    (rivals - found.disc.all() > least)
        .then(|| KindReading { defocus_px: Some(disc.defocus_px), ..named(Verdict::Defocus, edges) })
}

/// The kind of a frame that moved along its edges: what these show is the focus. Wide ones need a disc that a spectrum shows as
/// wide beside that motion.
fn beside_edges(edges: &KindReading, motion: &PointSpread, spectra: &[Read], allowance_px: f64) -> Option<KindReading> {
    let focus = PointSpread { motion_px: 0.0, ..edges.psf };
    let focus_px = focus.variance(0.0).sqrt();
    if focus_px < CLEARLY_SHARP * allowance_px {
        let psf = PointSpread { sigma_px: focus.sigma_px, ..*motion };
        return Some(KindReading::of(Verdict::Motion, psf, TOGETHER));
    }
    let pair = spectra.iter().map(|read| read.spectrum.both.psf).find(|pair| {
        let round_px = PointSpread { motion_px: 0.0, ..*pair }.variance(0.0).sqrt();
        same_motion(pair, motion) && disc_counts(pair) && (round_px / focus_px).ln().abs() < AS_WIDE_LN
    })?;
    (focus_px > MIXED_MARGIN * allowance_px).then(|| named(Verdict::Mixed, pair))
}

/// A motion and a disc that edges and spectrum both show, with the figures that both together have.
///
/// They need two spectra, and have to be those of the same blur, still one of both parts: else the figures stay as they were.
pub(crate) fn refined(k: KindReading, stacks: &[Stack], spectra: &[Read], allowance_px: f64) -> KindReading {
    // Without a disc the edges by themselves are the finer measure.
    let none = PointSpread::default();
    let shown = |read: &Read| read.left_ln(&none) - read.left_ln(&k.psf) > LEAST_CLAIM;
    let open = k.one_way || k.from_nulls || !matches!(k.verdict, Verdict::Mixed) || k.psf.defocus_px <= 0.0;
    if open || !spectra.iter().any(shown) {
        return k;
    }
    let fitter = ShapeFitter::new(stacks);
    let freedom = stacks.iter().map(|s| s.points.len() as f64).sum::<f64>();
    match refined_psf(fitter, spectra, &k.psf, freedom) {
        Some(psf) if still(&k.psf, &psf, allowance_px) => {
            // Both together have chosen the direction: there is no other.
            KindReading { psf, defocus_px: Some(psf.defocus_px), mirrored: None, ..k }
        }
        _ => k,
    }
}

/// True where `found` is the motion and disc of `told` with better figures, and would be named as that was.
pub(super) fn still(told: &PointSpread, found: &PointSpread, allowance_px: f64) -> bool {
    same_motion(told, found)
        && same_disc(told, found)
        && (motion_counts(found) || !motion_counts(told))
        && (disc_counts(found) || !disc_counts(told))
        && (is_pair(found, allowance_px) || !is_pair(told, allowance_px))
}

/// The motion that widens one direction alone, of edges that as a whole look sharp, where the edges have it as a spectrum has it.
fn one_wide_direction(stacks: &[Stack], spectra: &[Read], allowance_px: f64) -> Option<PointSpread> {
    let shown = spectra.iter().map(|read| &read.spectrum).find(|s| {
        let least = if upright(&s.motion.psf) { LEAST_GAIN_UPRIGHT } else { LEAST_CLAIM };
        s.gain(&s.plain, &s.motion) > least && along::smeared(stacks, &s.motion.psf, MIXED_MARGIN * allowance_px)
    })?;
    let fitter = ShapeFitter::new(stacks).uncapped();
    let fit = |motion: bool| {
        let start = PointSpread { sigma_px: 0.5, defocus_px: 0.0, ..shown.motion.psf };
        let motion_px = if motion { start.motion_px } else { 0.0 };
        fitter.fit(Parts { motion, turn: motion, disc: false }, PointSpread { motion_px, ..start })
    };
    let (round, moved) = (fit(false), fit(true));
    let same = same_motion(&moved.psf, &shown.motion.psf);
    (moved.chi2 < MOSTLY_EXPLAINED * round.chi2 && same && motion_counts(&moved.psf)).then_some(moved.psf)
}

/// The motion that edges of several directions have as a spectrum has it, where both together explain far more with it than
/// without, a disc explains no more instead of it or beside it, and no spectrum prefers one. The edges of most directions may be as
/// wide behind a softer lens, so that one alone speaks for it, and what noise leaves of them may be most of what they leave at all.
fn shown_by_both(told: &KindReading, stacks: &[Stack], spectra: &[Read], allowance_px: f64) -> Option<PointSpread> {
    if spectra.iter().any(|read| read.spectrum.gain(&read.spectrum.motion, &read.spectrum.disc) > 0.0) {
        return None;
    }
    let least = if matches!(told.verdict, Verdict::None) { OVERRULES } else { SURE };
    spectra.iter().map(|read| &read.spectrum).find_map(|s| {
        let shown = s.motion.psf;
        let gain = s.gain(&s.plain, &s.motion);
        let claims = gain > if upright(&shown) { LEAST_GAIN_UPRIGHT } else { LEAST_CLAIM };
        if !claims || !wider_along(stacks, shown.motion_deg) {
            return None;
        }
        let fitter = ShapeFitter::new(stacks);
        let fit = |motion: bool, disc: bool| {
            let motion_px = if motion { shown.motion_px } else { 0.0 };
            let start = PointSpread { sigma_px: 0.5, motion_px, defocus_px: 1.5, ..shown };
            fitter.fit(Parts { motion, turn: motion, disc }, start)
        };
        let moved = fit(true, false);
        let sharp = moved.psf.sigma_px.hypot(PIXEL_SIGMA_PX) < allowance_px;
        if !(sharp && same_motion(&moved.psf, &shown) && motion_counts(&moved.psf)) {
            return None;
        }
        let (round, both) = (fit(false, false).or(fit(false, true)), fit(true, true));
        let unit = (moved.chi2.min(both.chi2) / moved.freedom).max(CLEANEST);
        let of_edges = (round.chi2 - moved.chi2) / unit;
        (of_edges > LEAST_EVIDENCE
            && of_edges + PER_LN * gain.ln_1p() > least
            && moved.chi2 - both.chi2 < SOME_EVIDENCE * unit)
            .then_some(moved.psf)
    })
}

/// True where edges that a motion in that direction would widen are wider than the narrowest ones.
fn wider_along(stacks: &[Stack], motion_deg: f64) -> bool {
    let narrowest_px = stacks.iter().map(|s| s.sigma_px).fold(f64::INFINITY, f64::min);
    stacks.iter().any(|s| {
        let near = (s.deg - motion_deg).to_radians().cos().abs() > WITHIN;
        near && s.sigma_px > WIDER * narrowest_px
    })
}

/// True where there are edges, but none across a motion in that direction, so that none would show it.
fn unseen(stacks: &[Stack], motion_deg: f64) -> bool {
    !stacks.is_empty() && !stacks.iter().any(|s| (s.deg - motion_deg).to_radians().cos().abs() > WITHIN)
}

/// True where the spectrum by itself has more than the kind that was named, or another. Where the edges would not show that, less
/// is looked at.
fn hints_at_more(told: &KindReading, spectrum: &Spectrum, stacks: &[Stack]) -> bool {
    let Spectrum { plain, disc, motion, both, .. } = spectrum;
    let least = if unseen(stacks, both.psf.motion_deg) { UNSEEN_CLAIM } else { LEAST_CLAIM };
    match told.verdict {
        Verdict::Motion | Verdict::Mixed if told.one_way && spectrum.gain(motion, disc) > LEAST_CLAIM => true,
        Verdict::Motion => spectrum.gain(motion, both) > LEAST_CLAIM,
        Verdict::Defocus => spectrum.gain(disc, both) > least && spectrum.gain(plain, both) > least,
        _ => false,
    }
}

/// True for a motion that is no row of the scene, and a round part that is wider than lenses are.
fn is_pair(psf: &PointSpread, allowance_px: f64) -> bool {
    wide_and_moved(psf, allowance_px) && !beside_rows(psf)
}

fn wide_and_moved(psf: &PointSpread, allowance_px: f64) -> bool {
    soft(psf, allowance_px) && motion_counts(psf)
}

/// True for a round part that is wider than lenses are.
fn soft(psf: &PointSpread, allowance_px: f64) -> bool {
    psf.sigma_px.hypot(0.5 * psf.defocus_px).hypot(PIXEL_SIGMA_PX) > MIXED_MARGIN * allowance_px
}

/// True for a motion that may be a row or column of the scene.
fn beside_rows(psf: &PointSpread) -> bool {
    let off = psf.motion_deg.rem_euclid(90.0);
    off.min(90.0 - off) < BESIDE_ROWS_DEG
}

fn named(verdict: Verdict, psf: PointSpread) -> KindReading {
    KindReading { from_nulls: true, whole_frame: true, ..KindReading::of(verdict, psf, TOGETHER) }
}
