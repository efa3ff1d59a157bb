//! A kind of blur with its figures, held against what else is known of the edges.

use super::super::LEAST_EDGES;
use super::super::directions::directions;
use super::super::psf::PointSpread;
use super::super::stack::{HARDLY_ANY_EDGES, Stack};
use super::CLEARLY_SHARP;

/// Spread of a frame's sharp end over the allowance above which its edges contradict the finding that nothing is wrong.
const NOT_SHARP: f64 = 1.3;
/// Spread of clearly sharp edges along a motion, over that of the round part beside it, below which they contradict it.
const SHARPER: f64 = 0.9;
/// Least spread of the flank of a thin line behind a disc, share of its radius.
const FLANK: f64 = 0.25;
/// Spread of the sharp end over that of the fitted blur below which the blur is that of what lies out of the plane of focus.
const IN_FOCUS: f64 = 0.6;
/// Spread of hardly any edges over the allowance from which they are called soft for their width alone.
const SURELY_SOFT: f64 = 1.15;

/// What the stacked edges say.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Verdict {
    /// As sharp as lens and pixel allow.
    None,
    /// Missed focus.
    Defocus,
    /// Motion.
    Motion,
    /// Both.
    Mixed,
    /// No plain edge tells, but the texture reaches to the pixels.
    SharpTexture,
    /// Sharp as a whole: plain edges show a motion, but only those of a subject.
    SubjectMoved,
    /// Sharp: edges of two directions across each other are so all over the frame, whatever those of others show.
    SharpAllOver,
    /// Sharp where it counts: a subject in focus before a background that is not.
    SubjectInFocus,
    /// The edges are soft, but the texture beside them holds finer detail: nothing is known of the blur.
    SceneSoft,
    /// Cannot be told, with the reason.
    Undetermined(&'static str),
}

/// Kind, point spread and confidence.
#[derive(Debug, Clone, Copy)]
pub(crate) struct KindReading {
    pub(crate) verdict: Verdict,
    /// The point spread that explains the edges.
    pub(crate) psf: PointSpread,
    /// Radius of the disc, or of a disc of the same variance where the spread is wide without the shape of one.
    pub(crate) defocus_px: Option<f64>,
    pub(crate) confidence: f64,
    /// Edges face one way only: a motion along them would not show.
    pub(crate) one_way: bool,
    /// Another motion that explains the edges as well: those of two directions at right angles have two, and such as are equally
    /// wide may be behind a disc or behind a motion half-way between them.
    pub(crate) mirrored: Option<PointSpread>,
    /// Read from the nulls of the spectrum: the edges could not tell.
    pub(crate) from_nulls: bool,
    /// The spectrum of the whole frame shows the same motion as the edges: no subject moved alone.
    pub(crate) whole_frame: bool,
}

/// Spread of the sharp end of a frame's edges, px.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SharpEnds {
    /// Of all.
    pub(crate) all_px: f64,
    /// Of those that are no flanks of thin lines; `None` where they are too few.
    pub(crate) plain_px: Option<f64>,
}

impl KindReading {
    /// A kind read from edges of several directions.
    pub(crate) fn of(verdict: Verdict, psf: PointSpread, confidence: f64) -> Self {
        Self {
            verdict,
            psf,
            defocus_px: (psf.defocus_px > 0.0).then_some(psf.defocus_px),
            confidence: confidence.clamp(0.0, 0.99),
            one_way: false,
            mirrored: None,
            from_nulls: false,
            whole_frame: false,
        }
    }

    /// One of two motions that explain the edges alike, as `preferred` has it; without it, length and direction stay open.
    pub(crate) fn settled(self, preferred: impl FnOnce(&PointSpread, &PointSpread) -> Option<PointSpread>) -> Self {
        let Some(other) = self.mirrored.filter(|_| !self.from_nulls && !self.whole_frame) else { return self };
        if !matches!(self.verdict, Verdict::Motion | Verdict::Mixed) {
            return self;
        }
        match preferred(&self.psf, &other) {
            Some(psf) => Self { psf, ..self },
            None => Self { one_way: true, ..self },
        }
    }

    /// Missed focus that edges of two directions show may be a motion half-way between them: not where the spectrum speaks for
    /// that rather than for the disc.
    pub(crate) fn or_half_way(self, speaks_for: impl Fn(&PointSpread, &PointSpread) -> bool) -> Self {
        let Some(motion) = self.mirrored.filter(|_| matches!(self.verdict, Verdict::Defocus) && !self.from_nulls)
        else {
            return self;
        };
        // The other half-way lies at right angles.
        let across = PointSpread { motion_deg: (motion.motion_deg + 90.0).rem_euclid(180.0), ..motion };
        if speaks_for(&motion, &self.psf) || speaks_for(&across, &self.psf) {
            let why = "edges of two directions are equally wide, and the texture shows a motion half-way between them";
            return Self { verdict: Verdict::Undetermined(why), defocus_px: None, confidence: 0.3, ..self };
        }
        self
    }

    /// Why length and direction of a motion do not show.
    pub(crate) fn why_open(&self) -> &'static str {
        if self.mirrored.is_some() {
            "edges of two directions were blurred by motion: two lengths and directions explain them alike"
        } else {
            "nearly all edges face one way: motion blurred them, its length and direction do not show"
        }
    }

    /// What hardly any edges show: a disc beside a motion in two directions, for those of one may be flanks of thin lines;
    /// and a width near the allowance, for flanks and texture look narrower than they were blurred.
    pub(crate) fn doubted_among_few(self, stacks: &[Stack], edges: usize, allowance_px: f64) -> Self {
        let why = match self.verdict {
            _ if edges > HARDLY_ANY_EDGES => return self,
            Verdict::Mixed if directions(stacks) <= 2 => {
                "few edges of two directions do not tell a disc beside a motion from thin lines behind a disc"
            }
            Verdict::None if !self.clearly_sharp(allowance_px) => {
                "the edges are few, and softer than a good lens leaves them"
            }
            Verdict::Defocus
                if self.psf.defocus_px <= 0.0 && self.psf.variance(0.0).sqrt() < SURELY_SOFT * allowance_px =>
            {
                "the edges are few, and hardly softer than a lens may leave them"
            }
            _ => return self,
        };
        Self { verdict: Verdict::Undetermined(why), confidence: 0.3, ..self }
    }

    /// What edges of fine texture show for their width alone (`clear` are clear of it): the grains of rock and cloud are soft edges
    /// themselves.
    pub(crate) fn doubted_in_texture(self, clear: usize) -> Self {
        if matches!(self.verdict, Verdict::Defocus) && self.psf.defocus_px <= 0.0 && clear < LEAST_EDGES {
            let why = "the edges are wide, but lie in fine texture, which may be soft by itself";
            return Self { verdict: Verdict::Undetermined(why), defocus_px: None, confidence: 0.3, ..self };
        }
        self
    }

    /// True where edges along the motion (plain ones, and all) are sharper than the disc beside it makes them: flanks of thin
    /// lines are down to a quarter of its radius wide.
    fn contradicted_along(&self, (plain_px, all_px): (Option<f64>, Option<f64>), allowance_px: f64) -> bool {
        let round_px = PointSpread { motion_px: 0.0, ..self.psf }.variance(0.0).sqrt();
        let sharp = |px: f64| px < CLEARLY_SHARP * allowance_px && px < SHARPER * round_px;
        let radius_px = self.defocus_px.unwrap_or(self.psf.defocus_px);
        plain_px.is_some_and(sharp) || all_px.is_some_and(|px| sharp(px) && px < FLANK * radius_px)
    }

    /// True for a spread that a good lens leaves.
    pub(super) fn clearly_sharp(&self, allowance_px: f64) -> bool {
        self.psf.variance(0.0).sqrt() < CLEARLY_SHARP * allowance_px
    }

    /// What is left where edges are sharp all over the frame.
    pub(crate) fn sharp_all_over(self, sharp: SharpEnds) -> Self {
        let psf = PointSpread { sigma_px: sharp.all_px, ..PointSpread::default() };
        Self { verdict: Verdict::SharpAllOver, psf, defocus_px: None, confidence: 0.6, ..self }
    }

    /// What is left where a subject's edges are sharp, `sigma_px` wide, and those of the background are not.
    pub(crate) fn subject_in_focus(sigma_px: f64) -> Self {
        let psf = PointSpread { sigma_px, ..PointSpread::default() };
        Self::of(Verdict::SubjectInFocus, psf, 0.6)
    }

    /// What the fine texture alone shows.
    pub(crate) fn sharp_texture() -> Self {
        Self { from_nulls: true, ..Self::of(Verdict::SharpTexture, PointSpread::default(), 0.6) }
    }

    /// The kind held against the spread of the sharp end of all edges, and of those along a motion: each direction alone may
    /// be led astray.
    pub(crate) fn held_against(
        self,
        sharp: SharpEnds,
        along_px: impl FnOnce(f64) -> (Option<f64>, Option<f64>),
        allowance_px: f64,
    ) -> Self {
        match self.verdict {
            Verdict::Mixed if !self.one_way && self.contradicted_along(along_px(self.psf.motion_deg), allowance_px) => {
                // Missed focus would have widened them too.
                let psf = PointSpread { defocus_px: 0.0, ..self.psf };
                Self { verdict: Verdict::Motion, psf, defocus_px: None, confidence: self.confidence.min(0.6), ..self }
            }
            Verdict::None if sharp.all_px > NOT_SHARP * allowance_px => {
                let why = "the edges of single directions look sharp, those of the frame as a whole do not";
                Self { verdict: Verdict::Undetermined(why), confidence: 0.2, ..self }
            }
            Verdict::Defocus => {
                let in_focus = allowance_px.min(IN_FOCUS * self.psf.variance(0.0).sqrt());
                let Some(sigma_px) = sharp.plain_px.filter(|px| *px < in_focus) else { return self };
                let psf = PointSpread { defocus_px: 0.0, sigma_px, ..self.psf };
                Self { verdict: Verdict::None, psf, defocus_px: None, confidence: 0.5, ..self }
            }
            _ => self,
        }
    }
}
