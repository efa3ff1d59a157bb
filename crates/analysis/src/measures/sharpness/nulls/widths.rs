//! What the widths of the edges say of a blur that the spectrum shows.

use super::super::kind::{CLEARLY_SHARP, KindReading, MIXED_MARGIN, Verdict};
use super::super::lowered;
use super::super::psf::PointSpread;
use super::PLAINLY_SHARP;

/// Where edges leave the kind open or have the shape of a disc, those across a motion must be as wide as this share of what
/// it makes them, unless its stripes are many.
const CONTRADICTED: f64 = 0.5;
/// Spread of edges over the allowance (with its margin) from which they do not show a sharp frame for certain.
const NEAR_ALLOWANCE: f64 = 0.75;
/// A disc's standard deviation and that of the edges agree within this, ln.
const SAME_WIDTH_LN: f64 = 0.3;
/// The same for flanks of thin lines, whose spread is down to a quarter of the radius.
const FLANKS_LN: f64 = 0.74;

/// What the edges say by themselves: standard deviations by their direction against a motion's, in degrees (`None` where too few
/// have it).
pub(crate) struct Widths<'a> {
    /// To what share of itself their number lowers a confidence above one half.
    pub(crate) share: f64,
    /// Of those that lie along it, without what it widens them by.
    pub(crate) along_px: &'a dyn Fn(&PointSpread) -> Option<f64>,
    /// Of those that lie across it.
    pub(crate) across_px: &'a dyn Fn(f64) -> Option<f64>,
    /// Of the sharp end of those that are no flanks of thin lines; `None` where they are too few.
    pub(crate) plain_px: Option<f64>,
    /// True where those of some direction are as wide as it makes them.
    pub(crate) smeared: &'a dyn Fn(&PointSpread) -> bool,
}

impl Widths<'_> {
    /// True where the edges are as wide as the disc makes them. Where they leave the kind open they may be the flanks of thin
    /// lines, which are narrower.
    pub(super) fn allow(disc: &PointSpread, told: &KindReading) -> bool {
        let across = told.psf.variance(told.psf.motion_deg);
        let along = told.psf.variance(told.psf.motion_deg + 90.0);
        // Edges that face one way were fitted with a motion across them.
        let seen = if told.one_way { across } else { f64::midpoint(across, along) };
        let ratio_ln = 0.5 * (disc.variance(0.0) / seen).ln();
        let open = matches!(told.verdict, Verdict::Undetermined(_));
        ratio_ln.abs() < SAME_WIDTH_LN || open && (0.0..FLANKS_LN).contains(&ratio_ln)
    }

    /// True where the edges leave the kind open, but the sharp end of the plain ones is as wide as the disc makes it: those of
    /// single directions may be the flanks of thin lines.
    pub(super) fn end_allows(&self, disc: &PointSpread, told: &KindReading) -> bool {
        let as_wide = |px: f64| (px / disc.variance(0.0).sqrt()).ln().abs() < SAME_WIDTH_LN;
        matches!(told.verdict, Verdict::Undetermined(_)) && self.plain_px.is_some_and(as_wide)
    }

    /// True where plain edges are narrower than the disc alone makes every one of them, and as sharp as a good lens leaves them;
    /// `allowance_px` with its margin.
    pub(super) fn sharper_than(&self, disc: &PointSpread, allowance_px: f64) -> bool {
        let lens_px = CLEARLY_SHARP / MIXED_MARGIN * allowance_px;
        let alone = PointSpread { sigma_px: 0.0, ..*disc };
        self.plain_px.is_some_and(|px| px < lens_px && px < alone.variance(0.0).sqrt())
    }

    /// True for a frame that is called sharp near the allowance for a lens, or out of focus without the shape of a disc.
    pub(super) fn do_not_tell(&self, told: &KindReading, allowance_px: f64) -> bool {
        match told.verdict {
            Verdict::None => !told.one_way && told.psf.variance(0.0).sqrt() > NEAR_ALLOWANCE * allowance_px,
            Verdict::Defocus => told.psf.defocus_px <= 0.0 && lowered(told.confidence, self.share) < PLAINLY_SHARP,
            _ => false,
        }
    }

    /// True where edges across the motion are far narrower than it would make them.
    pub(super) fn contradict(&self, psf: &PointSpread) -> bool {
        (self.across_px)(psf.motion_deg).is_some_and(|px| px < CONTRADICTED * psf.motion_px / 12.0_f64.sqrt())
    }
}
