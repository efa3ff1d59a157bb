//! One blur held against the edges and the spectra at once, where either alone leaves the kind open.
//!
//! The edges of a fence do not tell a disc from a motion that crosses them, and a spectrum of few stripes does not tell a
//! motion from both; but the motion and disc that explain both witnesses are often the one pair alone.

use super::super::psf::PointSpread;
use super::super::shape::{Parts, ShapeFitter};
use super::super::spectrum::{Read, Spectrum};
use super::super::stack::Stack;
use super::{CLEANEST, KindReading, MIXED_MARGIN, PIXEL_SIGMA_PX, Verdict, motion_counts};

/// Evidence of a spectrum: what one unit of ln of its cost counts in units of that of the edges. What is asked of a spectrum
/// alone (a gain of 0.17) then counts about as much as what is asked of edges alone (20).
const PER_LN: f64 = 100.0;
/// Evidence by which a motion and a disc together must explain more than either. Of 117 frames of other simulators that were
/// left open, 10 of 40 with both reach it, one of those with less, which a plain Gaussian explains better still.
const SURE: f64 = 30.0;
/// Angle to the rows and columns within which a motion may be the scene's own: its rows leave stripes too, degrees.
const BESIDE_ROWS_DEG: f64 = 8.0;
/// Confidence in what only both witnesses together show.
const TOGETHER: f64 = 0.6;
/// Gaussian parts from which the fits begin, px.
const BEGIN_PX: [f64; 6] = [0.35, 0.5, 0.75, 1.1, 1.6, 2.4];

/// A blur and what it leaves of both witnesses.
#[derive(Debug, Clone, Copy)]
struct Left {
    psf: PointSpread,
    /// Of the edges, chi^2 in units of what the best blur leaves.
    edges: f64,
    /// Of the spectra.
    spectra: f64,
}

impl Left {
    fn all(&self) -> f64 {
        self.edges + self.spectra
    }
}

/// Both witnesses.
struct Witnesses<'a> {
    edges: ShapeFitter,
    spectra: &'a [Read],
    unit: f64,
}

impl Witnesses<'_> {
    fn edges(&self, psf: &PointSpread) -> f64 {
        self.edges.by_stack(psf).iter().sum::<f64>() / self.unit
    }

    /// The Gaussian part of a spectrum is the scene's as well as the lens's, and is its own.
    fn spectra(&self, psf: &PointSpread) -> f64 {
        PER_LN * self.spectra.iter().map(|read| read.left_ln(psf)).sum::<f64>()
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
        let mut now = from.iter().map(|psf| self.begin(*psf)).reduce(less)?;
        let (mut ratio, mut turn) = (1.2_f64, 10.0);
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
        Some(now)
    }
}

fn less(a: Left, b: Left) -> Left {
    if b.all() < a.all() { b } else { a }
}

/// A motion and a disc together, where edges and spectra as one have both and nothing less. `None` where they do not.
pub(crate) fn jointly(stacks: &[Stack], spectra: &[Read], allowance_px: f64) -> Option<KindReading> {
    let ([_, _], false) = (spectra, stacks.is_empty()) else { return None };
    let edges = ShapeFitter::new(stacks);
    let wide = stacks.iter().map(|s| s.sigma_px).sum::<f64>() / stacks.len() as f64;
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
    let best = motions.first().map_or(start, |seen| PointSpread { sigma_px: 0.5, ..*seen });
    let of_edges = fit(true, true, start).or(fit(true, true, best));
    let unit = (of_edges.chi2 / of_edges.freedom).max(CLEANEST);
    motions.push(fit(true, false, start).psf);
    discs.push(fit(false, true, start).psf);
    pairs.push(of_edges.psf);
    let both = Witnesses { edges, spectra, unit };
    let (motion, disc) = (both.least(&motions)?, both.least(&discs)?);
    pairs.push(PointSpread { defocus_px: disc.psf.defocus_px, ..motion.psf });
    pairs.push(PointSpread {
        defocus_px: 0.9 * disc.psf.defocus_px,
        motion_px: 1.5 * disc.psf.defocus_px,
        ..motion.psf
    });
    let round = PointSpread { sigma_px: edges_alone(&both.edges, wide), ..PointSpread::default() };
    let round = Left { psf: round, edges: both.edges(&round), spectra: both.spectra(&round) };
    let pair = both.least(&pairs)?;
    let plainer = motion.all().min(disc.all()).min(round.all());
    let off = pair.psf.motion_deg.rem_euclid(90.0);
    let beside_rows = off.min(90.0 - off) < BESIDE_ROWS_DEG;
    let focus_px = pair.psf.sigma_px.hypot(0.5 * pair.psf.defocus_px).hypot(PIXEL_SIGMA_PX);
    let named = plainer - pair.all() > SURE
        && !beside_rows
        && focus_px > MIXED_MARGIN * allowance_px
        && motion_counts(&pair.psf);
    named.then(|| KindReading {
        from_nulls: true,
        whole_frame: true,
        ..KindReading::of(Verdict::Mixed, pair.psf, TOGETHER)
    })
}

/// The Gaussian that explains the edges best.
fn edges_alone(edges: &ShapeFitter, wide_px: f64) -> f64 {
    let parts = Parts { motion: false, turn: false, disc: false };
    edges.fit(parts, PointSpread { sigma_px: wide_px, ..PointSpread::default() }).psf.sigma_px
}
