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

impl Rung {
    /// Picture pixels that this size is held against: those of the wanted resolution, or those of the edges where these are
    /// more; and whether it is the edges.
    #[must_use]
    pub fn held_against_px(&self) -> ([f64; 2], bool) {
        match self.edges_ask_px {
            Some(edges) if edges[0] > self.asks_px[0] || edges[1] > self.asks_px[1] => (edges, true),
            _ => (self.asks_px, false),
        }
    }
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
    /// Picture pixels, across and down, at which edges as sharp, pixel by pixel, as this frame's are as fine on the paper as
    /// the brief allows; `None` where the frame is not sharp pixel by pixel. Where they are more than `asks_px` the size is
    /// held against them.
    #[serde(default)]
    pub edges_ask_px: Option<[f64; 2]>,
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
    /// What makes a size up to the largest one no plain print all the same, as bands do, which stand out more in smaller
    /// prints: `largest` is then one as to size.
    #[serde(default)]
    pub held_back_by: Option<String>,
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
    let largest = within(false);
    let held_back_by = largest.as_ref().and_then(|most| {
        let up_to = rungs.iter().filter(|rung| rung.width_in <= most.width_in * 1.0001);
        let held = up_to.filter(|rung| matches!(rung.outcome, Outcome::Borderline | Outcome::Fails));
        held.filter_map(|rung| rung.limited_by.clone()).next()
    });
    Ladder {
        brief: brief.name.clone(),
        picture_px: (!case.unreadable()).then_some([brings.width_px, brings.height_px]),
        rungs,
        largest,
        held_back_by,
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
    // Rounding must not ask for a pixel more.
    let pixels = |ppi: f64| [width_in, height_in].map(|inches| (inches * ppi - 1e-6).ceil());
    let by_edges = brings.pixel_sharp.then(|| at.paper.least_ppi(Aspect::Sharpness, false)).flatten();
    let mm = |px: f64| crate::known(px * MM_PER_INCH / fit.ppi);
    Some(Rung {
        paper: size.name.clone(),
        width_in,
        height_in,
        distance_mm,
        ppi: fit.ppi,
        asks_px: pixels(brief.output.ppi_wanted),
        edges_ask_px: by_edges.map(pixels),
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
mod tests;
