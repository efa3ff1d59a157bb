//! Edges that face one way: only the shape of their spread tells a motion from missed focus.

use super::kind::{
    CLEARLY_SHARP, KindReading, LEAST_DEFOCUS_PX, LEAST_EVIDENCE, PIXEL_SIGMA_PX, Verdict, allowance_px, motion_counts,
};
use super::psf::{GAUSSIAN_RISE, PointSpread};
use super::shape::{Parts, ShapeFit, ShapeFitter};
use super::stack::Stack;

/// Least share of the error that stacks are taken to have which edges may show.
const CLEANEST: f64 = 0.02;
/// Evidence for one shape and against another that is asked for: these edges bear their own measure of what is noise.
const SHAPE_EVIDENCE: f64 = 6.0;
/// ... from which a disc beside a motion is ruled out.
const PLAIN_SHAPE: f64 = 12.0;
/// Radius of a disc that softens edges of one direction, which as a whole are sharp, so that it shows, px.
const LEAST_SOFTENED_PX: f64 = 1.2;
/// Round part, over what a lens may leave, from which a disc beside a motion is likely.
const NEARLY: f64 = 0.8;
/// Gaussian that a lens in focus leaves beside diffraction, px, and the ratio, ln, by which one in six is wider: own choice, our own
/// allowance (1.1 px) lies 2.3 of it out. A disc of radius r leaves the edge of a motion of 1.65 r whose Gaussian is wider by 0.022 r^2.
const USUAL_LENS_PX: f64 = 0.5;
const LENSES_DIFFER_LN: f64 = 0.35;
/// Edges of one direction that are softer than this, as [`beyond_a_lens`] counts, are not called sharp: only one lens in twelve
/// is so soft.
const SOFTER_THAN_MOST: f64 = 2.0;
/// The most that lenses may add to the evidence of shape, and the least evidence of shape they may be added to.
const MOST_OF_LENSES: f64 = 3.0;
const LEAST_OF_SHAPE: f64 = 3.0;
const ALIKE: &str = "edges run in one direction only: motion and missed focus look alike there";
const SOFTENED: &str = "edges run in one direction only, and are softer than a lens leaves them: a short motion or a slightly missed focus";

/// The shapes fitted to the edges of one direction alone, motion taken across them.
struct Own {
    gauss: ShapeFit,
    disc: ShapeFit,
    motion: ShapeFit,
    both: ShapeFit,
    /// chi^2 that counts as one: what the best shape leaves shows how clean these edges are.
    unit: f64,
    trust: f64,
}

impl Own {
    fn of(stack: &Stack) -> Self {
        let fitter = ShapeFitter::new(std::slice::from_ref(stack));
        let across = PointSpread { motion_deg: stack.deg, ..PointSpread::default() };
        let best = |a: ShapeFit, b: ShapeFit| if b.chi2 < a.chi2 { b } else { a };
        let wide = stack.sigma_px;
        let fit = |motion: bool, disc: bool, start: PointSpread| fitter.fit(Parts { motion, turn: false, disc }, start);
        let gauss = fit(false, false, PointSpread { sigma_px: wide, ..across });
        let two = |motion: bool, disc: bool| {
            [0.3, 0.7]
                .map(|share| {
                    let parts = if motion && disc { 0.7 } else { 1.0 };
                    let rest = wide * (1.0_f64 - share * share).sqrt() * parts;
                    let (motion_px, defocus_px) = (12.0_f64.sqrt() * rest, 2.0 * rest);
                    fit(motion, disc, PointSpread { sigma_px: share * wide, motion_px, defocus_px, ..across })
                })
                .into_iter()
                .reduce(best)
                .unwrap_or(gauss)
        };
        let (disc, motion, both) = (two(false, true), two(true, false), two(true, true));
        let both = best(both, best(disc, motion));
        let unit = (both.chi2 / both.freedom).max(CLEANEST);
        Self { gauss, disc, motion, both, unit, trust: stack.trust }
    }

    fn plain(&self) -> &ShapeFit {
        if self.disc.chi2 < self.motion.chi2 { &self.disc } else { &self.motion }
    }

    /// What the richer shape explains beyond the plainer.
    fn gain(&self, plainer: &ShapeFit, richer: &ShapeFit) -> f64 {
        (plainer.chi2 - richer.chi2) / self.unit
    }
}

/// What the edges of all directions, each fitted by itself, say together.
struct Shapes {
    /// Evidence that the edges have the shape of a disc or a motion at all.
    shaped: f64,
    /// Evidence for a disc and against a motion; negative for a motion.
    for_disc: f64,
    /// The same where what the best shapes of all directions leave counts as one.
    for_disc_pooled: f64,
    /// Evidence for both together and against either alone.
    for_both: f64,
    /// The shapes as the cleanest direction has them.
    disc: PointSpread,
    motion: PointSpread,
    both: PointSpread,
}

impl Shapes {
    /// `None` without stacks.
    fn of(stacks: &[Stack]) -> Option<Self> {
        let all: Vec<Own> = stacks.iter().map(Own::of).collect();
        let cleanest = all.iter().max_by(|a, b| (a.trust / a.unit).total_cmp(&(b.trust / b.unit)))?;
        let sum = |one: &dyn Fn(&Own) -> f64| all.iter().map(one).sum::<f64>();
        let pooled = (sum(&|own| own.both.chi2) / sum(&|own| own.both.freedom)).max(CLEANEST);
        Some(Self {
            shaped: sum(&|own| own.gain(&own.gauss, own.plain())),
            for_disc: sum(&|own| own.gain(&own.motion, &own.disc)),
            for_disc_pooled: sum(&|own| own.motion.chi2 - own.disc.chi2) / pooled,
            for_both: sum(&|own| own.gain(own.plain(), &own.both)),
            disc: cleanest.disc.psf,
            motion: cleanest.motion.psf,
            both: cleanest.both.psf,
        })
    }
}

/// True where the edges, each direction by itself, have the shape of a disc rather than of a motion. No direction may say so
/// alone because it is cleaner than the others: all are held against one motion here.
pub(super) fn shows_a_disc(stacks: &[Stack]) -> bool {
    Shapes::of(stacks).is_some_and(|shapes| shapes.for_disc_pooled > SHAPE_EVIDENCE)
}

/// True where they have the shape of a motion rather than of a disc.
pub(super) fn shows_a_motion(stacks: &[Stack]) -> bool {
    Shapes::of(stacks).is_some_and(|shapes| -shapes.for_disc > SHAPE_EVIDENCE)
}

/// True where they plainly have, all held against one measure of noise.
pub(super) fn plainly_a_motion(stacks: &[Stack]) -> bool {
    Shapes::of(stacks).is_some_and(|shapes| -shapes.for_disc_pooled > PLAIN_SHAPE)
}

/// With edges of one direction only, the shape alone can speak: a disc is rounder than a box, and neither can pass for the
/// other where the edges are clean. How long a motion is and where it points cannot be known then.
pub(super) fn told(stacks: &[Stack], gauss: &PointSpread, diffraction_rise_px: Option<f64>) -> KindReading {
    let allowance = allowance_px(diffraction_rise_px);
    let open = |why| KindReading::of(Verdict::Undetermined(why), *gauss, 0.3);
    let one_way = |verdict, psf, confidence| KindReading { one_way: true, ..KindReading::of(verdict, psf, confidence) };
    let Some(shapes) = Shapes::of(stacks) else { return open(ALIKE) };
    let shaped = shapes.shaped > LEAST_EVIDENCE;
    let lens = (allowance.powi(2) - PIXEL_SIGMA_PX.powi(2)).sqrt();
    let diffraction_px = diffraction_rise_px.map(|rise| rise / GAUSSIAN_RISE);
    if gauss.variance(0.0).sqrt() < CLEARLY_SHARP * allowance {
        let softened = shaped && shapes.disc.defocus_px > LEAST_SOFTENED_PX
            || beyond_a_lens(gauss.sigma_px, diffraction_px.unwrap_or(0.0)) > SOFTER_THAN_MOST;
        return if softened { open(SOFTENED) } else { one_way(Verdict::None, *gauss, 0.5) };
    }
    let round = shapes.disc.sigma_px.min(shapes.motion.sigma_px);
    // What either shape alone leaves to the lens is more than a lens does.
    if shaped
        && motion_counts(&shapes.both)
        && (round > lens || round > NEARLY * lens && shapes.for_both > SHAPE_EVIDENCE)
    {
        return one_way(Verdict::Mixed, shapes.both, 0.55);
    }
    let of_lenses = diffraction_px
        .map_or(0.0, |px| beyond_a_lens(shapes.motion.sigma_px, px) - beyond_a_lens(shapes.disc.sigma_px, px));
    let for_disc = with_lenses(shapes.for_disc, of_lenses);
    if for_disc > SHAPE_EVIDENCE && shapes.disc.defocus_px >= LEAST_DEFOCUS_PX {
        return KindReading::of(Verdict::Defocus, shapes.disc, 0.6);
    }
    if -for_disc > SHAPE_EVIDENCE && motion_counts(&shapes.motion) {
        return one_way(Verdict::Motion, shapes.motion, 0.6);
    }
    open(ALIKE)
}

/// Evidence of shape for a disc (negative: for a motion) with what lenses add to it. They help to decide where the shape does
/// not by itself, but not without it, and they take nothing away from what it says clearly.
fn with_lenses(of_shape: f64, of_lenses: f64) -> f64 {
    let clear = of_shape.abs() > SHAPE_EVIDENCE;
    if clear || of_shape.abs() < LEAST_OF_SHAPE {
        return of_shape;
    }
    of_shape + of_lenses.clamp(-MOST_OF_LENSES, MOST_OF_LENSES)
}

/// What counts against a shape that leaves the lens a Gaussian wider than lenses mostly have, units of evidence. Diffraction
/// widens that of a lens as well.
fn beyond_a_lens(sigma_px: f64, diffraction_px: f64) -> f64 {
    ((sigma_px / USUAL_LENS_PX.hypot(diffraction_px)).ln().max(0.0) / LENSES_DIFFER_LN).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lens_twice_as_wide_as_usual_is_unlikely_unless_it_is_stopped_down() {
        assert_eq!(beyond_a_lens(0.4, 0.0), 0.0);
        assert!((beyond_a_lens(0.5 * LENSES_DIFFER_LN.exp(), 0.0) - 1.0).abs() < 1e-9);
        assert!(beyond_a_lens(1.0, 0.0) > 3.0 && beyond_a_lens(1.0, 0.9) == 0.0);
    }

    #[test]
    fn lenses_decide_nothing_without_the_shape_and_nothing_against_it() {
        // Nearly a tie: the lens makes it a disc, or leaves it open.
        assert!(with_lenses(4.0, 2.5) > SHAPE_EVIDENCE && with_lenses(4.0, -2.5) < SHAPE_EVIDENCE);
        assert!(-with_lenses(-4.0, -2.5) > SHAPE_EVIDENCE);
        // However soft the lens: 1.18 px count 6 units.
        assert!(beyond_a_lens(1.18, 0.0) > SHAPE_EVIDENCE);
        assert_eq!(with_lenses(4.0, 100.0), 7.0);
        for of_shape in [2.9, 0.0, -2.9, 6.1, -6.1] {
            for of_lenses in [-100.0, 100.0] {
                assert_eq!(with_lenses(of_shape, of_lenses), of_shape);
            }
        }
    }
}
