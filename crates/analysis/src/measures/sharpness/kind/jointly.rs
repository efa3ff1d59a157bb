//! One blur held against the edges and the spectra at once.
//!
//! The edges of a fence do not tell a disc from a motion that crosses them, and a spectrum of few stripes does not tell a
//! motion from both; but the motion and disc that explain both witnesses are often the one pair alone.

use super::super::psf::PointSpread;
use super::super::shape::{Parts, ShapeFitter};
use super::super::spectrum::{Read, Spectrum};
use super::super::stack::Stack;
use super::{CLEANEST, motion_counts};

/// Evidence of a spectrum: what one unit of ln of its cost counts in units of that of the edges. What is asked of a spectrum
/// alone (a gain of 0.17) then counts about as much as what is asked of edges alone (20).
pub(super) const PER_LN: f64 = 100.0;
/// Gaussian parts from which the fits begin, px.
const BEGIN_PX: [f64; 6] = [0.35, 0.5, 0.75, 1.1, 1.6, 2.4];

/// Evidence of the edges, of each spectrum and of all from which none of them is led astray alone. Of 1080 frames of other
/// simulators five that were left open, or given another name, prefer a motion so: all of them moved.
const BY_EDGES: f64 = 8.0;
const BY_EACH_SPECTRUM: f64 = 4.0;
const BY_ALL: f64 = 40.0;
/// ... and what a disc beside the motion may explain more where there is none.
const LITTLE_MORE: f64 = 12.0;

/// A blur and what it leaves of both witnesses.
#[derive(Debug, Clone, Copy)]
pub(super) struct Left {
    pub(super) psf: PointSpread,
    /// Of the edges, chi^2 in units of what the best blur leaves.
    edges: f64,
    /// Of each spectrum.
    spectra: [f64; 2],
}

impl Left {
    pub(super) fn all(&self) -> f64 {
        self.edges + self.spectra[0] + self.spectra[1]
    }

    /// True where this leaves less than `other` of every witness, of each clearly, and far less of all.
    pub(super) fn preferred_by_each(&self, other: &Self) -> bool {
        other.edges - self.edges > BY_EDGES
            && self.in_each_spectrum(other) > BY_EACH_SPECTRUM
            && other.all() - self.all() > BY_ALL
    }

    /// How much more `other` leaves of the edges.
    pub(super) fn by_edges(&self, other: &Self) -> f64 {
        other.edges - self.edges
    }

    /// How much more `other` leaves of that spectrum which prefers this one least.
    pub(super) fn in_each_spectrum(&self, other: &Self) -> f64 {
        (other.spectra[0] - self.spectra[0]).min(other.spectra[1] - self.spectra[1])
    }
}

/// Both witnesses.
struct Witnesses<'a> {
    edges: ShapeFitter,
    spectra: [&'a Read; 2],
    unit: f64,
}

impl Witnesses<'_> {
    fn edges(&self, psf: &PointSpread) -> f64 {
        self.edges.by_stack(psf).iter().sum::<f64>() / self.unit
    }

    /// The Gaussian part of a spectrum is the scene's as well as the lens's, and is its own.
    fn spectra(&self, psf: &PointSpread) -> [f64; 2] {
        self.spectra.map(|read| PER_LN * read.left_ln(psf))
    }

    /// A motion and disc with the Gaussian that suits the edges best, of a few.
    fn begin(&self, psf: PointSpread) -> Left {
        let spectra = self.spectra(&psf);
        let with = |sigma_px| {
            let psf = PointSpread { sigma_px, ..psf };
            Left { psf, edges: self.edges(&psf), spectra }
        };
        let first = with(BEGIN_PX[0]);
        BEGIN_PX[1..].iter().map(|&sigma_px| with(sigma_px)).fold(first, less)
    }

    /// The least that is left near the best of these.
    fn least(&self, from: &[PointSpread]) -> Option<Left> {
        Some(self.least_from(from.iter().map(|psf| self.begin(*psf)).reduce(less)?, 1.2))
    }

    /// The same from one of them, with steps of this ratio at first.
    fn least_from(&self, begin: Left, ratio: f64) -> Left {
        let mut now = begin;
        let (mut ratio, mut turn) = (ratio, 50.0 * (ratio - 1.0));
        while ratio > 1.01 {
            let p = now.psf;
            let widths = [ratio, 1.0 / ratio];
            let mut best = now;
            for by in widths {
                // The spectra do not change with the Gaussian.
                let psf = PointSpread { sigma_px: (p.sigma_px * by).clamp(0.2, 60.0), ..p };
                best = less(best, Left { psf, edges: self.edges(&psf), spectra: now.spectra });
            }
            let mut trials = Vec::new();
            if p.motion_px > 0.0 {
                trials.extend(widths.map(|by| PointSpread { motion_px: p.motion_px * by, ..p }));
                let turned = |by: f64| PointSpread { motion_deg: (p.motion_deg + by).rem_euclid(180.0), ..p };
                trials.extend([turned(turn), turned(-turn)]);
            }
            if p.defocus_px > 0.0 {
                trials.extend(widths.map(|by| PointSpread { defocus_px: p.defocus_px * by, ..p }));
            }
            for psf in trials {
                best = less(best, Left { psf, edges: self.edges(&psf), spectra: self.spectra(&psf) });
            }
            if best.all() < now.all() - 0.05 {
                now = best;
            } else {
                ratio = ratio.sqrt();
                turn *= 0.5;
            }
        }
        now
    }
}

/// Length, direction and radius that edges and spectra as one have, reached from those of `psf` by small steps, however many.
/// `None` without two spectra.
pub(super) fn refined(fitter: ShapeFitter, spectra: &[Read], psf: &PointSpread, freedom: f64) -> Option<PointSpread> {
    let [one, other] = spectra else { return None };
    let unit = (fitter.by_stack(psf).iter().sum::<f64>() / freedom).max(CLEANEST);
    let both = Witnesses { edges: fitter, spectra: [one, other], unit };
    Some(both.least_from(Left { psf: *psf, edges: both.edges(psf), spectra: both.spectra(psf) }, 1.04).psf)
}

fn less(a: Left, b: Left) -> Left {
    if b.all() < a.all() { b } else { a }
}

/// The blur of each kind that explains edges and spectra as one best.
pub(super) struct Jointly {
    pub(super) round: Left,
    pub(super) disc: Left,
    pub(super) motion: Left,
    /// A motion and a disc.
    pub(super) pair: Left,
}

impl Jointly {
    /// `None` without two spectra.
    pub(super) fn of(stacks: &[Stack], spectra: &[Read]) -> Option<Self> {
        let [one, other] = spectra else { return None };
        let edges = ShapeFitter::new(stacks);
        let wide = stacks.iter().map(|s| s.sigma_px).sum::<f64>() / stacks.len().max(1) as f64;
        // Where each begins: as the spectra have it by themselves, and as the edges have it.
        let of_spectra = |of: fn(&Spectrum) -> PointSpread| spectra.iter().map(move |read| of(&read.spectrum));
        let facing = stacks.iter().max_by(|a, b| a.sigma_px.total_cmp(&b.sigma_px)).map_or(0.0, |s| s.deg);
        let start = PointSpread { sigma_px: 0.5, motion_px: 3.0 * wide, motion_deg: facing, ..PointSpread::default() };
        let fit = |motion: bool, disc: bool, start: PointSpread| {
            edges.fit(Parts { motion, turn: motion, disc }, PointSpread { defocus_px: 1.8 * wide, ..start })
        };
        let mut motions: Vec<PointSpread> = of_spectra(|s| s.motion.psf).collect();
        let mut discs: Vec<PointSpread> = of_spectra(|s| s.disc.psf).collect();
        let mut pairs: Vec<PointSpread> =
            of_spectra(|s| s.both.psf).filter(|psf| psf.motion_px > 0.0 && psf.defocus_px > 0.0).collect();
        let mut unit = CLEANEST;
        if !stacks.is_empty() {
            let best = motions.first().map_or(start, |seen| PointSpread { sigma_px: 0.5, ..*seen });
            let of_edges = fit(true, true, start).or(fit(true, true, best));
            unit = (of_edges.chi2 / of_edges.freedom).max(CLEANEST);
            motions.push(fit(true, false, start).psf);
            discs.push(fit(false, true, start).psf);
            pairs.push(of_edges.psf);
        }
        let both = Witnesses { edges, spectra: [one, other], unit };
        let (motion, disc) = (both.least(&motions)?, both.least(&discs)?);
        pairs.push(PointSpread { defocus_px: disc.psf.defocus_px, ..motion.psf });
        pairs.push(PointSpread {
            defocus_px: 0.9 * disc.psf.defocus_px,
            motion_px: 1.5 * disc.psf.defocus_px,
            ..motion.psf
        });
        let round = PointSpread { sigma_px: edges_alone(&both.edges, wide), ..PointSpread::default() };
        let round = Left { psf: round, edges: both.edges(&round), spectra: both.spectra(&round) };
        Some(Self { round, disc, motion, pair: both.least(&pairs)? })
    }

    /// True where edges and both spectra, each by itself, prefer a motion to a disc and to a Gaussian, and a disc beside it adds
    /// little.
    pub(super) fn moved(&self) -> bool {
        [&self.disc, &self.round].iter().all(|other| self.motion.preferred_by_each(other))
            && self.motion.all() - self.pair.all() < LITTLE_MORE
            && motion_counts(&self.motion.psf)
    }

    /// What the best of all but the pair leaves.
    pub(super) fn plainer(&self) -> &Left {
        [&self.disc, &self.motion].into_iter().fold(&self.round, |a, b| if b.all() < a.all() { b } else { a })
    }
}

/// The Gaussian that explains the edges best.
fn edges_alone(edges: &ShapeFitter, wide_px: f64) -> f64 {
    let parts = Parts { motion: false, turn: false, disc: false };
    edges.fit(parts, PointSpread { sigma_px: wide_px, ..PointSpread::default() }).psf.sigma_px
}
