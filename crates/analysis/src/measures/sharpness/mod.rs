//! How sharp the frame is, and what blurred it, from the edges of the scene on the mosaic itself.
//!
//! Measures: 10-90 % edge rise, MTF50 and MTF10 of the sharpest quarter of the edges; rise by direction and over the
//! frame; kind of blur with its length, direction or radius. Unit: sensor pixels, cycles per pixel, degrees.
//! Method: docs/measures.md, "Sharpness and blur". Cost: one light pass over the pixels and a few thousand small fits.
//! Fails when: fewer than [`LEAST_EDGES`] good edges -> kind `undetermined` and no rise, with the reason in the notes.

#![allow(clippy::needless_range_loop, reason = "matrices and rows of pixels read better by index")]

mod all_over;
mod along;
mod aperture;
mod candidates;
mod collect;
mod detail;
mod directions;
mod edge;
mod erf;
mod fit;
mod glance;
mod in_focus;
mod kind;
mod lanes;
mod lines;
mod local_noise;
mod normal_equations;
mod nulls;
mod one_way;
mod power;
pub mod psf;
mod pyramid;
mod refine;
mod samples;
mod scales;
mod shape;
mod sharp_end;
mod spectrum;
mod spectrum_fit;
mod stack;
mod step_fit;
mod summary;
pub mod target;
mod tiles;
mod window;
mod witnesses;

use rawassay_decode::Frame;

use crate::measures::{Blur, BlurKind, Channel, Sharpness, known};
use collect::{Collected, collect};
pub use detail::{MeasuredEdge, SharpnessDetail, sharpness_detail};
use edge::Edge;
use kind::Verdict;
use samples::{ColourSamples, SampleNoise, colour_groups};
use sharp_end::{Sharp, fill_sharpness};
use witnesses::{Told, Witnesses};

/// Fewest good edges from which a frame is measured.
pub const LEAST_EDGES: usize = 12;
/// Fewest edges for the rise of one direction or tile.
const LEAST_IN_BIN: usize = 3;
const ALONG_THEM: &str = "nearly all edges face one way: a motion along them would not show";
/// Wavelength for the expected diffraction, micrometres.
const WAVELENGTH_UM: f64 = 0.55;

/// Sharpness, blur, and what a reader should know about them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SharpnessReading {
    /// Rise, MTF, map.
    pub sharpness: Sharpness,
    /// Kind of blur.
    pub blur: Blur,
    /// Reasons for what is unknown, and cautions.
    pub notes: Vec<String>,
}

/// Measures sharpness and blur. `channels` gives black and saturation and, where known, gain and read noise of each
/// plane of the frame's filter array, in its order; without gain the noise is estimated from the frame.
#[must_use]
pub fn measure_sharpness(frame: &Frame, channels: &[Channel]) -> SharpnessReading {
    measure(frame, channels).0
}

/// The reading, with the edges and the spread it comes from.
fn measure(frame: &Frame, channels: &[Channel]) -> (SharpnessReading, Vec<Edge>, Option<Sharp>) {
    let mut reading = SharpnessReading::default();
    let diffraction = expected_diffraction_px(frame.shot.f_number, frame.shot.pixel_pitch_um);
    reading.blur.expected_diffraction_px = diffraction;
    let Some(Found { densest, collected, noise, colour, spectrum_of }) = best_colour(frame, channels) else {
        reading.notes.push("sharpness not measured: the frame holds no samples".into());
        return (reading, Vec::new(), None);
    };
    if let Some(name) = spectrum_of {
        reading.notes.push(format!("texture read on the {name} samples: less of them is clipped"));
    }
    let (cols, rows) = collected.tiles;
    reading.sharpness.edges = collected.edges.len() as u64;
    reading.sharpness.map.cols = cols;
    reading.sharpness.map.rows = rows;
    reading.sharpness.map.rise_px = vec![None; cols * rows];
    let seen = Witnesses::of(frame, &densest, &collected, noise, diffraction);
    let Some((ln_sigma, error_ln)) = sharp_end::of(&seen.edges, LEAST_EDGES) else {
        reading.notes.push(too_few(&collected));
        if let Some(kind) = seen.told_without_edges() {
            fill_blur(&mut reading, &kind, 1.0);
        }
        reading.sharpness.noise_limited = collected.mostly_noise();
        return (reading, collected.edges, None);
    };
    if colour.secondary {
        reading.notes.push(format!("sharpness measured on the {} samples: they hold the clearer edges", colour.name));
    }
    let Told { kind, share, subject } = seen.told(ln_sigma.exp());
    fill_blur(&mut reading, &kind, share);
    if matches!(kind.verdict, Verdict::Defocus) && !kind.from_nulls && kind::face_one_way(&seen.stacks) {
        reading.notes.push(ALONG_THEM.into());
    }
    let softer_than_texture =
        matches!(kind.verdict, Verdict::SharpTexture) && ln_sigma.exp() > kind::allowance_px(diffraction);
    if softer_than_texture {
        reading.notes.push("sharpness undetermined: the edges are soft, but finer detail lies beside them".into());
    }
    if softer_than_texture || matches!(kind.verdict, Verdict::SceneSoft) {
        return (reading, collected.edges, None);
    }
    let clear = if subject.is_empty() { &seen.clear } else { &subject };
    let sharpest = match kind.verdict {
        Verdict::Motion | Verdict::Mixed if !kind.one_way => {
            along::sharp(clear, kind.psf.motion_deg).or_else(|| sharp_end::of(clear, LEAST_EDGES))
        }
        _ => sharp_end::of(clear, LEAST_EDGES),
    };
    let (ln, error) = sharpest.unwrap_or((ln_sigma, error_ln));
    let sharp = Sharp::of(&aperture::shaped(clear, &kind.psf, diffraction), ln.exp());
    match sharpest {
        Some(_) => fill_sharpness(&mut reading.sharpness, frame, clear, error, &sharp),
        None => reading.notes.push(in_texture(clear.len())),
    }
    let moved = tiles::fill(&mut reading, &seen.area, seen.tiles, &seen.edges, &kind, &sharp);
    // Without a direction it is not known which edges a motion would smear.
    let direction_open = kind.one_way && kind.mirrored.is_none();
    let still = || tiles::still(&seen.area, seen.tiles, &seen.plain, &kind);
    if !direction_open && (!kind.whole_frame || still()) {
        part_that_moved(&mut reading);
    }
    if !kind.whole_frame && moved.is_some_and(|m| m.in_one_place()) {
        only_there(&mut reading);
    }
    (reading, collected.edges, sharpest.map(|_| sharp))
}

/// Motion that few tiles show is that of a subject: the frame as a whole is not shaken.
fn part_that_moved(reading: &mut SharpnessReading) {
    let Some(share) = reading.blur.motion_tiles_pct.filter(|share| *share < tiles::SUBJECT_TILES_PCT) else { return };
    let blur = &mut reading.blur;
    let (length, deg) = (blur.motion_px.unwrap_or(0.0), blur.motion_deg.unwrap_or(0.0));
    reading.notes.push(format!(
        "{share:.0} % of the tiles show motion of about {length:.1} px at {deg:.0} degrees, the others none: a moving subject, not the camera"
    ));
    (blur.kind, blur.motion_px, blur.motion_deg, blur.defocus_px) = (BlurKind::None, None, None, None);
    blur.confidence = blur.confidence.min(0.75);
}

/// Motion of edges that lie in one place of a frame, where those elsewhere lie along it, may be that of camera or subject.
fn only_there(reading: &mut SharpnessReading) {
    let blur = &mut reading.blur;
    if blur.kind == BlurKind::None {
        return;
    }
    reading.notes.push(format!(
        "kind of blur undetermined: motion of about {:.1} px at {:.0} degrees in one part of the frame, and no edge across it elsewhere: the camera or a subject moved",
        blur.motion_px.unwrap_or(0.0),
        blur.motion_deg.unwrap_or(0.0)
    ));
    (blur.kind, blur.motion_px, blur.motion_deg, blur.defocus_px) = (BlurKind::Undetermined, None, None, None);
    blur.confidence = blur.confidence.min(0.3);
}

struct ColourUsed {
    name: String,
    secondary: bool,
}

/// The edges of a frame and the samples they come from.
struct Found<'a> {
    /// Of the colour with most samples.
    densest: ColourSamples<'a>,
    collected: Collected,
    /// Of one sample of the colour of the halved pictures.
    noise: SampleNoise,
    colour: ColourUsed,
    /// The colour of the halved pictures, where it is another one.
    spectrum_of: Option<String>,
}

/// Another colour's texture is read where at most this share of what is clipped is clipped in it.
const LESS_CLIPPED: f64 = 0.5;

/// Measures on the colour with most samples; on another where that one has too few good edges, or clipping hides its own.
fn best_colour<'a>(frame: &'a Frame, channels: &[Channel]) -> Option<Found<'a>> {
    let mut found: Option<Found<'a>> = None;
    for planes in colour_groups(frame) {
        let samples = ColourSamples::new(frame, channels, &planes);
        let collected = collect(&samples);
        let hidden = collected.hidden();
        let colour = |secondary| ColourUsed { name: samples.name.clone(), secondary };
        let noise = samples.noise;
        match &mut found {
            None => {
                let colour = colour(false);
                found = Some(Found { densest: samples, collected, noise, colour, spectrum_of: None });
            }
            Some(best) if collected.edges.len() > 2 * best.collected.edges.len() + 4 => {
                best.colour = colour(true);
                (best.collected, best.noise, best.spectrum_of) = (collected, noise, None);
            }
            // Where clipping hides the texture, that of another colour is looked at.
            Some(best)
                if best.collected.hidden()
                    && collected.clipped_share() < LESS_CLIPPED * best.collected.clipped_share() =>
            {
                best.spectrum_of = Some(samples.name.clone());
                (best.collected.halved, best.noise) = (collected.halved, noise);
            }
            Some(_) => {}
        }
        if !hidden && found.as_ref().is_some_and(|best| best.collected.edges.len() >= LEAST_EDGES) {
            break;
        }
    }
    found
}

/// 10-90 % rise of a perfect lens, px: 1.33287 w N / pitch, w = 0.55 um.
fn expected_diffraction_px(f_number: Option<f64>, pitch_um: Option<f64>) -> Option<f64> {
    known(psf::AIRY_RISE * WAVELENGTH_UM * f_number.filter(|n| *n > 0.0)? / pitch_um.filter(|p| *p > 0.0)?)
}

fn in_texture(clear: usize) -> String {
    format!(
        "sharpness undetermined: {clear} edges clear of fine texture, and {LEAST_EDGES} are needed; flanks of its thin lines are narrower than the blur"
    )
}

fn too_few(collected: &Collected) -> String {
    let why = if collected.tried == 0 {
        "nothing in the frame stands out of its noise like an edge".to_string()
    } else {
        format!(
            "{} of {} places that looked like edges passed the tests ({})",
            collected.edges.len(),
            collected.tried,
            collected.main_reason()
        )
    };
    format!("sharpness undetermined: fewer than {LEAST_EDGES} good edges; {why}")
}

/// A confidence of which the part above one half is lowered to `share` of itself.
fn lowered(confidence: f64, share: f64) -> f64 {
    confidence.min(0.5) + (confidence - 0.5).max(0.0) * share
}

/// Fills in the kind of blur; confidence above one half is lowered to `share` of itself.
fn fill_blur(reading: &mut SharpnessReading, kind: &kind::KindReading, share: f64) {
    let blur = &mut reading.blur;
    blur.confidence = lowered(kind.confidence, share);
    let psf = &kind.psf;
    let notes = &mut reading.notes;
    let mut motion = |blur: &mut Blur| {
        if kind.one_way {
            notes.push(kind.why_open().into());
        } else {
            blur.motion_px = known(psf.motion_px);
            blur.motion_deg = known(psf.motion_deg);
        }
    };
    match kind.verdict {
        Verdict::None => {
            blur.kind = BlurKind::None;
            if kind.one_way {
                reading.notes.push(ALONG_THEM.into());
            }
        }
        Verdict::Defocus => {
            blur.kind = BlurKind::Defocus;
            blur.defocus_px = kind.defocus_px.and_then(known);
        }
        Verdict::Motion => {
            blur.kind = BlurKind::Motion;
            motion(blur);
        }
        Verdict::Mixed => {
            blur.kind = BlurKind::Mixed;
            motion(blur);
            blur.defocus_px = kind.defocus_px.and_then(known);
        }
        Verdict::SharpTexture => {
            blur.kind = BlurKind::None;
            let note = "the fine texture shows neither missed focus nor a movement of 4 px or more";
            reading.notes.push(note.into());
        }
        Verdict::SubjectMoved => {
            blur.kind = BlurKind::None;
            notes.push(format!(
                "plain edges show motion of about {:.1} px at {:.0} degrees, the texture of the frame as a whole none: a moving subject, not the camera",
                psf.motion_px, psf.motion_deg
            ));
        }
        Verdict::SharpAllOver => {
            blur.kind = BlurKind::None;
            let note = "edges of two directions are sharp all over the frame, those of others are soft: a part of the scene moved or is out of focus, not the frame";
            reading.notes.push(note.into());
        }
        Verdict::SubjectInFocus => {
            blur.kind = BlurKind::None;
            let note = "some edges of all directions are as sharp as a good lens leaves them, the others far wider: a subject in focus before a soft background";
            reading.notes.push(note.into());
        }
        Verdict::SceneSoft => {
            blur.kind = BlurKind::Undetermined;
            let note = "sharpness undetermined: the edges are soft, but finer detail lies beside them, so the scene itself may be soft there";
            reading.notes.push(note.into());
        }
        Verdict::Undetermined(why) => {
            blur.kind = BlurKind::Undetermined;
            reading.notes.push(format!("kind of blur undetermined: {why}"));
        }
    }
}
