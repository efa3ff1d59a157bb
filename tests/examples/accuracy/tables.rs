//! The page of tables.

use std::fmt::Write;

use rawassay_analysis::BlurKind;

use crate::Outcome;
use crate::cases::Part;

/// A truth and a reading of one frame, and how far apart they are.
pub(crate) struct Pair<'a> {
    /// Frame.
    pub(crate) of: &'a Outcome,
    /// Truth.
    pub(crate) truth: f64,
    /// Reading; `None` where the frame was not measurable.
    pub(crate) read: Option<f64>,
}

impl Pair<'_> {
    fn relative_pct(&self) -> Option<f64> {
        self.read.map(|read| 100.0 * (read / self.truth - 1.0))
    }

    fn difference(&self) -> Option<f64> {
        self.read.map(|read| read - self.truth)
    }
}

/// Truth and reading of one measure over the frames where it has a truth.
pub(crate) fn pairs<'a>(outcomes: &'a [Outcome], of: impl Fn(&Outcome) -> Option<(f64, Option<f64>)>) -> Vec<Pair<'a>> {
    outcomes.iter().filter_map(|o| of(o).map(|(truth, read)| Pair { of: o, truth, read })).collect()
}

/// Mean over directions of an edge's truth.
fn edge_mean(o: &Outcome, of: impl Fn(&rawassay_scene::EdgeTruth) -> f64) -> f64 {
    o.truth.edges.iter().map(of).sum::<f64>() / o.truth.edges.len() as f64
}

/// Edge rise.
pub(crate) fn rise(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Sharpness).then(|| (edge_mean(o, |e| e.rise_px), o.measures.sharpness.edge_rise_px))
}

/// MTF50.
pub(crate) fn mtf50(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Sharpness).then(|| (edge_mean(o, |e| e.mtf50_cy_px), o.measures.sharpness.mtf50_cy_px))
}

/// Length of the movement.
pub(crate) fn motion(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Motion).then_some((o.truth.motion_px, o.measures.blur.motion_px))
}

/// Direction of the movement, the reading brought within 90 degrees of the truth.
pub(crate) fn direction(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Motion).then(|| {
        let truth = o.truth.motion_deg;
        let near = |read: f64| truth + (read - truth + 90.0).rem_euclid(180.0) - 90.0;
        (truth, o.measures.blur.motion_deg.map(near))
    })
}

/// Radius of the defocus disc.
pub(crate) fn defocus(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Defocus).then_some((o.truth.defocus_px, o.measures.blur.defocus_px))
}

/// The green or only plane.
fn green(o: &Outcome) -> usize {
    o.truth.planes.iter().position(|p| p.name.starts_with('G')).unwrap_or(0)
}

/// Gain.
pub(crate) fn gain(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part != Part::Fixed).then(|| (o.truth.planes[green(o)].gain_e_per_dn, o.measures.noise.gain_e_per_dn))
}

/// Read noise; what rounding adds is none of it.
pub(crate) fn read_noise(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part != Part::Fixed).then(|| (o.truth.planes[green(o)].read_noise_dn, o.measures.noise.read_noise_dn))
}

/// Saturation level of the green plane, where the frame clips.
pub(crate) fn saturation(o: &Outcome) -> Option<(f64, Option<f64>)> {
    let i = green(o);
    let plane = &o.truth.planes[i];
    (plane.clipped_sample_pct > 0.05)
        .then(|| (plane.saturation_dn, o.measures.channels.get(i).map(|c| c.saturation_dn)))
}

/// Clipped share of the green plane.
pub(crate) fn clipped(o: &Outcome) -> Option<(f64, Option<f64>)> {
    let i = green(o);
    let read = o.measures.channels.get(i).map(|c| c.clipped_pct);
    (o.case.part == Part::Clipping).then(|| (o.truth.planes[i].clipped_sample_pct, read))
}

/// Row banding.
pub(crate) fn rows(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Fixed).then_some((o.truth.row_banding_dn, o.measures.noise.row_banding_dn))
}

/// Column banding.
pub(crate) fn columns(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Fixed).then_some((o.truth.column_banding_dn, o.measures.noise.column_banding_dn))
}

/// Hot pixels.
pub(crate) fn hot(o: &Outcome) -> Option<(f64, Option<f64>)> {
    (o.case.part == Part::Fixed)
        .then(|| (o.truth.hot_pixels.len() as f64, o.measures.noise.hot_pixels.map(|n| n as f64)))
}

/// Median, 90th percentile of the absolute value, and worst of a list.
fn spread(mut values: Vec<f64>) -> Option<(f64, f64, f64)> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let median = values[values.len() / 2];
    let worst = values.iter().copied().max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    values.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    Some((median, values[(values.len() * 9 / 10).min(values.len() - 1)].abs(), worst))
}

fn table(out: &mut String, title: &str, unit: &str, all: &[Pair<'_>], relative: bool) {
    let error = |p: &Pair<'_>| if relative { p.relative_pct() } else { p.difference() };
    let unit = if relative { "%" } else { unit };
    let _ = writeln!(out, "\n### {title}\n");
    let _ = writeln!(out, "| frames | measured | median error, {unit} | 9 of 10 within, {unit} | worst, {unit} |");
    let _ = writeln!(out, "| --- | --- | --- | --- | --- |");
    let mut row = |name: &str, of: &dyn Fn(&Pair<'_>) -> bool| {
        let some: Vec<&Pair<'_>> = all.iter().filter(|p| of(p)).collect();
        if some.is_empty() {
            return;
        }
        let errors: Vec<f64> = some.iter().filter_map(|p| error(p)).collect();
        let counted = format!("{} of {}", errors.len(), some.len());
        let _ = match spread(errors) {
            Some((median, most, worst)) => {
                writeln!(out, "| {name} | {counted} | {median:+.2} | {most:.2} | {worst:+.2} |")
            }
            None => writeln!(out, "| {name} | {counted} | | | |"),
        };
    };
    row("all", &|_| true);
    let mut scenes: Vec<&str> = all.iter().map(|p| p.of.case.scene).collect();
    scenes.dedup();
    let mut seen = Vec::new();
    for scene in scenes {
        if !seen.contains(&scene) {
            seen.push(scene);
            row(scene, &|p| p.of.case.scene == scene);
        }
    }
    let mut isos: Vec<u64> = all.iter().map(|p| p.of.case.recipe.exposure.iso as u64).collect();
    isos.sort_unstable();
    isos.dedup();
    if isos.len() > 1 {
        for iso in isos {
            row(&format!("ISO {iso}"), &|p| p.of.case.recipe.exposure.iso as u64 == iso);
        }
    }
    let mut worst: Vec<(&Pair<'_>, f64)> = all.iter().filter_map(|p| error(p).map(|e| (p, e))).collect();
    worst.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    if !worst.is_empty() {
        let _ = writeln!(out, "\nFarthest off:\n");
    }
    for (pair, error) in worst.iter().take(3) {
        let read = pair.read.unwrap_or(f64::NAN);
        let _ = writeln!(out, "- {error:+.2} {unit} (true {:.3}, read {read:.3}): {}", pair.truth, pair.of.case.name);
    }
}

/// The kind of blur that a case has. `None` where words do not tell (a soft lens).
fn kind(o: &Outcome) -> Option<&'static str> {
    match o.case.part {
        Part::Sharpness if o.case.recipe.optics.sigma_px <= 0.5 => Some("none"),
        Part::Motion => Some("motion"),
        Part::Defocus => Some("defocus"),
        Part::Mixed => Some("mixed"),
        _ => None,
    }
}

fn kinds(out: &mut String, outcomes: &[Outcome]) {
    let _ = writeln!(out, "\n### Kind of blur\n");
    let _ = writeln!(
        out,
        "| true kind | none | defocus | motion | mixed | undetermined |\n| --- | --- | --- | --- | --- | --- |"
    );
    let named = [BlurKind::None, BlurKind::Defocus, BlurKind::Motion, BlurKind::Mixed, BlurKind::Undetermined];
    for truth in ["none", "defocus", "motion", "mixed"] {
        let counts = named.map(|k| {
            outcomes.iter().filter(|o| kind(o) == Some(truth) && o.measures.blur.kind == k).count().to_string()
        });
        let _ = writeln!(out, "| {truth} | {} |", counts.join(" | "));
    }
    let wrong = |o: &&Outcome| match (kind(o), o.measures.blur.kind) {
        (_, BlurKind::Undetermined) | (None, _) => false,
        (Some("none"), k) => k != BlurKind::None,
        (Some("motion"), k) => k != BlurKind::Motion,
        (Some("defocus"), k) => k != BlurKind::Defocus,
        (_, k) => k != BlurKind::Mixed,
    };
    let wrong: Vec<&Outcome> = outcomes.iter().filter(wrong).collect();
    if !wrong.is_empty() {
        let _ = writeln!(out, "\nTaken for another kind:\n");
    }
    for o in wrong {
        let k = o.measures.blur.kind;
        let _ = writeln!(out, "- {k:?} (confidence {:.2}): {}", o.measures.blur.confidence, o.case.name);
    }
}

/// The whole page.
pub(crate) fn page(outcomes: &[Outcome]) -> String {
    let mut out = String::from(
        "# Accuracy\n\nMade by `cargo run --release -p rawassay-tests --example accuracy`, from simulated frames whose truth is \
         known; do not edit. The simulator (crates/scene) shares no code with the measures.\n\nHow to read it: `measured` says in \
         how many frames the program gave a number (elsewhere it says that it cannot tell); the median error is the bias; nine of \
         ten readings lie within the next column; the last is the worst. Real lenses, sensors and scenes differ from simulated \
         ones: take these figures as the best case.\n",
    );
    let _ = writeln!(
        out,
        "\n{} frames of 1000 x 750 px over eight scenes, each with its own seed; all Bayer phases, a 6x6 array and none, \
         12 and 14 bits, ISO 100 to 12800. A recipe names scene, seeds of scene and noise, filter array, and optics.\n",
        outcomes.len()
    );
    let _ = writeln!(out, "## Sharpness\n\n![rise](accuracy/rise.svg) ![MTF50](accuracy/mtf50.svg)");
    table(&mut out, "Edge rise, 10-90 %, pixel included", "px", &pairs(outcomes, rise), true);
    table(&mut out, "MTF50", "cycles/px", &pairs(outcomes, mtf50), true);
    let _ = writeln!(
        out,
        "\n## Blur\n\n![movement](accuracy/motion.svg) ![direction](accuracy/direction.svg) ![defocus](accuracy/defocus.svg)"
    );
    kinds(&mut out, outcomes);
    table(&mut out, "Length of the movement", "px", &pairs(outcomes, motion), true);
    table(&mut out, "Direction of the movement", "degrees", &pairs(outcomes, direction), false);
    table(&mut out, "Radius of the defocus disc", "px", &pairs(outcomes, defocus), true);
    let _ = writeln!(out, "\n## Noise\n\n![gain](accuracy/gain.svg) ![read noise](accuracy/read_noise.svg)");
    let _ = writeln!(
        out,
        "\nThe simulated sensors have a fixed pattern of 0.3 % (its photosites differ in sensitivity). One frame cannot tell it \
         from shot noise, so that bright tones at base ISO read as noisier, and the gain as lower, than the electrons alone would \
         say; `sensor` separates the two with pairs of flats."
    );
    table(&mut out, "Gain, electrons per DN", "e/DN", &pairs(outcomes, gain), true);
    table(&mut out, "Read noise, rounding taken off", "DN", &pairs(outcomes, read_noise), true);
    let _ = writeln!(out, "\n## Levels\n\n![clipped](accuracy/clipped.svg)");
    table(&mut out, "Saturation level of green", "DN", &pairs(outcomes, saturation), false);
    table(&mut out, "Clipped share of green, percentage points", "points", &pairs(outcomes, clipped), false);
    let _ = writeln!(out, "\n## Fixed pattern\n\n![rows](accuracy/rows.svg)");
    table(&mut out, "Row banding", "DN", &pairs(outcomes, rows), false);
    table(&mut out, "Column banding", "DN", &pairs(outcomes, columns), false);
    table(&mut out, "Hot pixels", "pixels", &pairs(outcomes, hot), false);
    out
}
