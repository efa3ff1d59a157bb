//! A ladder of print sizes for one frame: what each asks for and what the frame has.
//!
//! The viewing distance stays that of the brief at every size, as a viewer who steps up to a large print stands where
//! they stood before a small one; [`Distance::Diagonal`] lets it grow with the print instead (common practice, no
//! source: a picture is seen whole from about its diagonal), never nearer than 25 cm.

use rawassay_decode::Area;
use serde::{Deserialize, Serialize};

use crate::brief::length::{self, LengthUnit, MM_PER_INCH};
use crate::brief::{Brief, NEAREST_MM, Output, OutputKind, PictureUnit};
use crate::judge::{Case, IfAccepted, LargestPrint, Outcome, Severity, Subject, tone_word};
use crate::print::{self, Aspect, Unknown};

/// From how far each rung is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distance {
    /// As the brief says.
    Brief,
    /// This far, mm.
    Fixed(f64),
    /// The diagonal of the picture on the paper, 25 cm at the least.
    Diagonal,
}

/// A size of the ladder: a sheet into which the picture is fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct PaperSize {
    /// As it is called.
    pub name: String,
    /// Short or first side, mm.
    pub width_mm: f64,
    /// Other side, mm.
    pub height_mm: f64,
}

impl PaperSize {
    /// A size from its two sides, called by them.
    #[must_use]
    pub fn new(width_mm: f64, height_mm: f64, unit: LengthUnit) -> Self {
        Self { name: length::size_text(width_mm, height_mm, unit), width_mm, height_mm }
    }

    /// A screen from its pixels and their side, mm, called by its pixels.
    #[must_use]
    pub fn screen(width_px: f64, height_px: f64, pixel_mm: f64) -> Self {
        Self {
            name: format!("{width_px} x {height_px} px"),
            width_mm: width_px * pixel_mm,
            height_mm: height_px * pixel_mm,
        }
    }
}

/// The usual sizes, smallest first: ISO 216 A4 to A1, and the inch sizes of papers and frames.
#[must_use]
pub fn usual_sizes() -> Vec<PaperSize> {
    let inch = |w: f64, h: f64| PaperSize::new(w * MM_PER_INCH, h * MM_PER_INCH, LengthUnit::In);
    let iso = |name: &str, width_mm, height_mm| PaperSize { name: name.into(), width_mm, height_mm };
    vec![
        inch(8.0, 10.0),
        iso("A4", 210.0, 297.0),
        inch(11.0, 14.0),
        iso("A3", 297.0, 420.0),
        inch(13.0, 19.0),
        inch(16.0, 20.0),
        iso("A2", 420.0, 594.0),
        inch(20.0, 30.0),
        iso("A1", 594.0, 841.0),
        inch(24.0, 36.0),
        inch(30.0, 40.0),
        inch(40.0, 60.0),
    ]
}

/// The usual screens, smallest first, by the side of their pixels, mm: ITU-R BT.709 and BT.2020 (1920, 3840 and 7680 pixels
/// across), and the sizes between that monitors have (common practice, no source).
#[must_use]
pub fn usual_screens(pixel_mm: f64) -> Vec<PaperSize> {
    [(1920.0, 1080.0), (2560.0, 1440.0), (3840.0, 2160.0), (5120.0, 2880.0), (7680.0, 4320.0)]
        .map(|(width_px, height_px)| PaperSize::screen(width_px, height_px, pixel_mm))
        .to_vec()
}

/// The usual sizes of what the brief is for.
#[must_use]
pub fn usual_of(output: &Output) -> Vec<PaperSize> {
    match output.picture_unit() {
        PictureUnit::Pixel { mm } => usual_screens(mm),
        PictureUnit::Length(_) => usual_sizes(),
    }
}

/// One rung.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rung {
    /// The sheet.
    pub paper: String,
    /// Width of the picture on it, upright, inches.
    pub width_in: f64,
    /// Height of the picture on it, inches.
    pub height_in: f64,
    /// Viewing distance, mm.
    pub distance_mm: f64,
    /// Picture pixels per inch.
    pub ppi: f64,
    /// Picture pixels that the wanted resolution asks for at this size, across and down.
    pub asks_px: [f64; 2],
    /// Edge rise on the paper, mm.
    pub rise_mm: Option<f64>,
    /// The rise that the brief allows before a proof print is due, mm.
    pub asks_rise_mm: f64,
    /// Motion on the paper, mm.
    pub motion_mm: Option<f64>,
    /// The motion that the brief allows before a proof print is due, mm.
    pub asks_motion_mm: f64,
    /// Mid-tone signal-to-noise on the paper, ratio.
    pub snr_midtone: Option<f64>,
    /// The same once a dark frame is lifted to a normal brightness, ratio.
    pub snr_lifted: Option<f64>,
    /// Outcome at this size, as `judge` would give it.
    pub outcome: Outcome,
    /// What is worst at this size: "pixels", "sharpness", "motion", "noise", "highlights", "shadows", "banding" or
    /// "damage"; `None` where it prints.
    pub limited_by: Option<String>,
}

/// The ladder of one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ladder {
    /// The brief whose limits are used.
    pub brief: String,
    /// Columns and rows of the picture after the crop, upright; `None` where there is no picture.
    pub picture_px: Option<[f64; 2]>,
    /// The rungs, in the order asked for.
    pub rungs: Vec<Rung>,
    /// The largest honest print at the brief's distance (or the fixed one).
    pub largest: Option<LargestPrint>,
    /// The largest that does not fail; between the two, make a proof print.
    pub largest_with_proof: Option<LargestPrint>,
    /// The largest by size alone, where highlights, shadows or bands keep it smaller or rule it out.
    #[serde(default)]
    pub if_accepted: Option<IfAccepted>,
    /// What could not be measured.
    pub not_measured: Vec<String>,
}

/// Builds the ladder. `ppi` takes the place of the brief's wanted resolution (and of its least one, where that is
/// higher). With [`Distance::Diagonal`] the largest print is the largest at which its own diagonal is the distance.
#[must_use]
pub fn ladder(
    subject: &Subject<'_>,
    brief: &Brief,
    crop: Option<Area>,
    ppi: Option<f64>,
    distance: Distance,
    sizes: &[PaperSize],
) -> Ladder {
    let brief = match distance {
        Distance::Fixed(mm) => brief.seen_from(mm),
        Distance::Brief | Distance::Diagonal => brief.clone(),
    };
    let brief = with_ppi(brief, ppi);
    let case = Case::new(subject, &brief, crop);
    let brings = case.paper.brings;
    let turn = brief.output.kind == OutputKind::Print;
    let rungs: Vec<Rung> = sizes.iter().filter_map(|size| rung(&case, size, distance, ppi, turn)).collect();
    let by_size = |fails: bool| match distance {
        _ if case.unreadable() => None,
        Distance::Diagonal => diagonal_largest(&case, ppi, fails),
        Distance::Brief | Distance::Fixed(_) => case.paper.largest(fails),
    };
    let within = |fails: bool| case.within_tones(by_size(fails)?);
    Ladder {
        brief: brief.name.clone(),
        picture_px: (!case.unreadable()).then_some([brings.width_px, brings.height_px]),
        rungs,
        largest: within(false),
        largest_with_proof: within(true),
        if_accepted: case.if_accepted(by_size(false)),
        not_measured: case.not_measured(),
    }
}

/// The brief with a resolution that the user asks for.
fn with_ppi(mut brief: Brief, ppi: Option<f64>) -> Brief {
    if let Some(ppi) = ppi {
        brief.output.ppi_wanted = ppi;
        brief.output.ppi_least = brief.output.ppi_least.min(ppi);
    }
    brief
}

fn rung(case: &Case<'_>, size: &PaperSize, distance: Distance, ppi: Option<f64>, turn: bool) -> Option<Rung> {
    let brings = case.paper.brings;
    let fit = print::fit(brings.width_px, brings.height_px, (size.width_mm, size.height_mm), turn)?;
    let distance_mm = match distance {
        Distance::Diagonal => fit.width_mm.hypot(fit.height_mm).max(NEAREST_MM),
        Distance::Brief | Distance::Fixed(_) => case.brief.output.distance_mm,
    };
    let brief = with_ppi(case.brief.seen_from(distance_mm), ppi);
    let at = case.under(&brief).at(fit.ppi);
    let (outcome, limited_by) = grade(&at, fit.ppi);
    let (width_in, height_in) = (fit.width_mm / MM_PER_INCH, fit.height_mm / MM_PER_INCH);
    let wanted = brief.output.ppi_wanted;
    let mm = |px: f64| crate::known(px * MM_PER_INCH / fit.ppi);
    Some(Rung {
        paper: size.name.clone(),
        width_in,
        height_in,
        distance_mm,
        ppi: fit.ppi,
        // Rounding must not ask for a pixel more.
        asks_px: [width_in, height_in].map(|inches| (inches * wanted - 1e-6).ceil()),
        rise_mm: brings.rise_px.and_then(mm),
        asks_rise_mm: brief.limits.rise_eye_limits.borderline * at.paper.seen.finest_mm,
        motion_mm: brings.motion_px.and_then(mm),
        asks_motion_mm: brief.limits.motion_eye_limits.borderline * at.paper.seen.finest_mm,
        snr_midtone: at.paper.value(Aspect::Noise, fit.ppi),
        snr_lifted: at.paper.snr(brings.snr_lifted_px, fit.ppi),
        outcome,
        limited_by,
    })
}

/// Outcome of a size, and the aspect that is worst there.
fn grade(case: &Case<'_>, ppi: f64) -> (Outcome, Option<String>) {
    if case.unreadable() {
        return (Outcome::Unmeasured, None);
    }
    let paper = &case.paper;
    // Tones stand at their own limit: an aspect of size that is further past its own is named before them.
    let mut worst: Option<(Severity, f64, &str)> =
        case.tones().map(|(severity, code)| (severity, 1.0, tone_word(code)));
    let mut unknown = case.lacks_what_is_needed();
    for aspect in Aspect::ALL {
        match paper.grade(aspect, ppi) {
            Ok(Some(severity)) => {
                // How far past its limit, to name the one that limits first.
                let past = paper.least_ppi(aspect, severity == Severity::Fails).map_or(1.0, |least| least / ppi);
                if worst.is_none_or(|(s, p, _)| (severity, past) > (s, p)) {
                    worst = Some((severity, past, paper.cause(aspect)));
                }
            }
            Ok(None) => {}
            Err(Unknown) => unknown |= paper.needs(aspect),
        }
    }
    match worst {
        Some((Severity::Fails, _, word)) => (Outcome::Fails, Some(word.into())),
        _ if unknown => (Outcome::Unmeasured, None),
        Some((_, _, word)) => (Outcome::Borderline, Some(word.into())),
        None => (Outcome::Prints, None),
    }
}

/// The largest print seen from its own diagonal: found by halving, as what is allowed grows with the distance.
fn diagonal_largest(case: &Case<'_>, asked_ppi: Option<f64>, fails: bool) -> Option<LargestPrint> {
    let brings = case.paper.brings;
    let diagonal_px = brings.width_px.hypot(brings.height_px);
    let at = |ppi: f64| {
        let distance_mm = (diagonal_px / ppi * MM_PER_INCH).max(NEAREST_MM);
        let brief = with_ppi(case.brief.seen_from(distance_mm), asked_ppi);
        case.under(&brief).paper.largest(fails)
    };
    // `at(ppi)` needs a resolution; the print stands where it needs no more than it has.
    let (mut low, mut high) = (0.1f64, 100_000.0f64);
    if at(high)?.ppi > high {
        return None;
    }
    for _ in 0..100 {
        let middle = (low * high).sqrt();
        if at(middle)?.ppi <= middle { high = middle } else { low = middle }
    }
    let found = at(high)?;
    Some(LargestPrint {
        width_in: brings.width_px / high,
        height_in: brings.height_px / high,
        ppi: high,
        limited_by: found.limited_by,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::judge::fixture::{measures, shot};

    #[test]
    fn the_ladder_agrees_with_the_judgement_at_every_size() {
        let (m, s) = (measures(), shot());
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let brief = Brief::default();
        let sizes = usual_sizes();
        let ladder = ladder(&subject, &brief, None, None, Distance::Brief, &sizes);
        assert_eq!(ladder.rungs.len(), sizes.len());
        for (rung, size) in ladder.rungs.iter().zip(&sizes) {
            let mut at = brief.clone();
            (at.output.width_mm, at.output.height_mm) = (size.width_mm, size.height_mm);
            let judgement = crate::judge::judge(&subject, &at, None);
            assert_eq!(judgement.verdict.outcome, rung.outcome, "{}", rung.paper);
            assert!((judgement.print.ppi.unwrap() - rung.ppi).abs() < 1e-9);
            assert_eq!(rung.limited_by.is_none(), rung.outcome == Outcome::Prints);
            let fits = rung.width_in <= ladder.largest.as_ref().unwrap().width_in * (1.0 + 1e-9);
            assert_eq!(fits, rung.outcome == Outcome::Prints, "{}", rung.paper);
        }
        // Both ends are there: small prints, large fails.
        assert_eq!(ladder.rungs[0].outcome, Outcome::Prints);
        assert_eq!(ladder.rungs[11].outcome, Outcome::Fails);
        // 6000 px over 240 ppi are 25 in; edges allow 2.44 px: 315.8 x 1.8 / 2.44 = 232.9 ppi, so pixels limit.
        let largest = ladder.largest.unwrap();
        assert!((largest.width_in - 25.0).abs() < 1e-9 && largest.limited_by == "pixels", "{largest:?}");
    }

    /// A screen is not turned: sizes of paper, which are written with the short side first, would stand upright.
    #[test]
    fn a_screen_has_screens_for_its_ladder() {
        let (m, s) = (measures(), shot());
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let brief = Brief::built_in("screen").unwrap();
        let ladder = ladder(&subject, &brief, None, None, Distance::Brief, &usual_of(&brief.output));
        // 6000 x 4000 px fill the height: 1440 of them on a screen of 2560 x 1440, at 110 x 4000 / 1440 pixels per inch.
        let own = ladder.rungs.iter().find(|r| r.paper == brief.size_text()).unwrap();
        assert_eq!(own.asks_px, [2160.0, 1440.0]);
        assert!((own.ppi - 110.0 * 4000.0 / 1440.0).abs() < 1e-6, "{}", own.ppi);
        assert!(ladder.rungs.iter().all(|r| r.paper.ends_with(" px") && r.width_in > r.height_in));
        let largest = ladder.largest.unwrap();
        let told = |unit| length::most_text(largest.width_in * 25.4, largest.height_in * 25.4, unit);
        let [w, h] = [largest.width_in, largest.height_in].map(|side| (side * 110.0 + 1e-4).floor());
        assert_eq!(told(brief.output.picture_unit()), format!("{w} x {h} px"));
    }

    #[test]
    fn highlights_shadows_and_damage_stand_in_the_ladder() {
        let (mut m, s) = (measures(), shot());
        m.exposure.floor_pct = Some(50.0);
        let brief = Brief::default();
        let sizes = usual_sizes();
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let blocked = ladder(&subject, &brief, None, None, Distance::Diagonal, &sizes);
        assert!(blocked.rungs.iter().all(|r| r.outcome == Outcome::Fails));
        assert_eq!(blocked.rungs[0].limited_by.as_deref(), Some("shadows"));
        assert!(blocked.largest.is_none() && blocked.if_accepted.is_some());
        let m = measures();
        let damaged = Subject { shot: Some(&s), measures: Some(&m), damaged: Some("rows are missing") };
        let damaged = ladder(&damaged, &brief, None, None, Distance::Brief, &sizes);
        assert!(damaged.rungs.iter().all(|r| r.outcome == Outcome::Fails));
        assert!(damaged.largest.is_none() && damaged.if_accepted.is_none());
    }

    #[test]
    fn a_resolution_takes_the_place_of_the_briefs() {
        let (m, s) = (measures(), shot());
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        // 6000 x 4000 px at 20 x 13.33 in is 300 ppi (references, section 5).
        let sizes = [PaperSize::new(20.0 * 25.4, 40.0 / 3.0 * 25.4, LengthUnit::In)];
        let at = ladder(&subject, &Brief::default(), None, Some(300.0), Distance::Brief, &sizes);
        assert!((at.rungs[0].ppi - 300.0).abs() < 1e-9);
        assert_eq!(at.rungs[0].outcome, Outcome::Prints);
        assert_eq!(at.rungs[0].asks_px, [6000.0, 4000.0]);
        assert!((at.largest.unwrap().width_in - 20.0).abs() < 1e-9);
        let past = ladder(&subject, &Brief::default(), None, Some(301.0), Distance::Brief, &sizes);
        assert_eq!(past.rungs[0].limited_by.as_deref(), Some("pixels"));
        // A lower one than the brief's least asks no more than itself.
        let low = ladder(&subject, &Brief::default(), None, Some(100.0), Distance::Fixed(5000.0), &sizes);
        assert!((low.largest.unwrap().width_in - 60.0).abs() < 1e-9);
    }

    #[test]
    fn from_its_diagonal_only_pixels_limit_a_sharp_frame() {
        let (m, s) = (measures(), shot());
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let at = ladder(&subject, &Brief::default(), None, Some(1.0), Distance::Diagonal, &usual_sizes());
        // Pixels ask nothing: a blur stays the same angle at every size beyond 25 cm.
        let last = at.rungs.last().unwrap();
        assert!((last.distance_mm - last.width_in.hypot(last.height_in) * 25.4).abs() < 1e-6);
        assert_eq!(last.outcome, Outcome::Prints);
        assert_eq!(at.largest.unwrap().limited_by, "pixels");
    }

    #[test]
    fn unreadable_or_outside_has_no_ladder_to_stand_on() {
        let nothing = ladder(&Subject::default(), &Brief::default(), None, None, Distance::Brief, &usual_sizes());
        assert!(nothing.rungs.is_empty() && nothing.largest.is_none() && !nothing.not_measured.is_empty());
        let (m, s) = (measures(), shot());
        let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
        let crop = Some(Area::new(0, 0, 7000, 10));
        let outside = ladder(&subject, &Brief::default(), crop, None, Distance::Diagonal, &usual_sizes());
        assert!(outside.rungs.is_empty() && outside.largest.is_none());
    }
}
