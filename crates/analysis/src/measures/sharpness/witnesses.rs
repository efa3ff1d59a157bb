//! What speaks of the blur of a frame, its edges and the spectra of its texture, and the kind that they tell together.

use rawassay_decode::{Area, Frame};

use super::collect::Collected;
use super::edge::Edge;
use super::kind::{self, KindReading, Verdict};
use super::power::Picture;
use super::psf::PointSpread;
use super::samples::{ColourSamples, SampleNoise};
use super::spectrum::{self, Read};
use super::stack::{Stack, stacks};
use super::window::Source;
use super::{LEAST_EDGES, all_over, along, in_focus, lines, nulls, sharp_end};
use crate::measures::histogram::picture_area;

/// Edges of a frame at which the confidence above one half is halved.
const FEW_EDGES: f64 = 25.0;

/// Edges and spectra of a frame.
pub(super) struct Witnesses<'a, 'b> {
    /// All edges.
    pub(super) edges: Vec<&'b Edge>,
    /// Those clear of fine texture. Where noise is not measured, edges of texture pass for edges in noise: flanks of its thin
    /// lines, narrower than the blur.
    pub(super) clear: Vec<&'b Edge>,
    /// Those that are no flanks of thin lines, which are sharp behind any blur: they do not speak against one.
    pub(super) plain: Vec<&'b Edge>,
    /// All of them by direction.
    pub(super) stacks: Vec<Stack>,
    /// Tiles of the frame across and down, and the area they divide.
    pub(super) tiles: (usize, usize),
    pub(super) area: Area,
    pictures: Vec<Picture<'a, 'b>>,
    spectra: Vec<Read>,
    diffraction_rise_px: Option<f64>,
}

/// The kind that all witnesses tell.
pub(super) struct Told<'b> {
    pub(super) kind: KindReading,
    /// Share to which a confidence above one half is lowered.
    pub(super) share: f64,
    /// The edges of a subject in focus, where the kind rests on them.
    pub(super) subject: Vec<&'b Edge>,
}

impl<'a, 'b> Witnesses<'a, 'b> {
    /// Those of a frame. Only the densest colour shows the spectrum up to the frequencies of the mosaic itself; `noise` is that of
    /// a sample of the halved pictures.
    pub(super) fn of(
        frame: &Frame,
        densest: &'b ColourSamples<'a>,
        collected: &'b Collected,
        noise: SampleNoise,
        diffraction_rise_px: Option<f64>,
    ) -> Self {
        let edges: Vec<&Edge> = collected.edges.iter().collect();
        let mosaic = Picture { source: Source::Mosaic(densest), noise: densest.noise };
        let halved = collected.halved.iter().map(|level| Picture { source: Source::Level(level), noise });
        let pictures: Vec<Picture<'_, '_>> = std::iter::once(mosaic).chain(halved).collect();
        Self {
            clear: edges.iter().copied().filter(|e| !e.in_texture).collect(),
            plain: lines::plain(&collected.edges),
            stacks: stacks(&edges),
            tiles: collected.tiles,
            area: picture_area(frame),
            spectra: spectrum::read_two(&pictures),
            edges,
            pictures,
            diffraction_rise_px,
        }
    }

    /// The kind that the spectra alone tell, of a frame with too few edges.
    pub(super) fn told_without_edges(&self) -> Option<KindReading> {
        let told = self.weighed(None);
        let told = kind::together(told.as_ref(), &[], &self.spectra, self.allowance_px()).or(told);
        let open = told.is_none_or(|k| matches!(k.verdict, Verdict::Undetermined(_)));
        if open && self.fine_detail() { Some(KindReading::sharp_texture()) } else { told }
    }

    /// The kind that edges and spectra tell, where the sharp end of all edges is `all_px` wide (standard deviation).
    pub(super) fn told(&self, all_px: f64) -> Told<'b> {
        let (edges, plain, stacks, pictures) = (&self.edges, &self.plain, &self.stacks, &self.pictures);
        let allowance_px = self.allowance_px();
        let told = kind::read(stacks, self.diffraction_rise_px)
            .doubted_among_few(stacks, edges.len(), allowance_px)
            .doubted_in_texture(self.clear.len());
        let share = if matches!(told.verdict, Verdict::Undetermined(_)) { 1.0 } else { self.edge_share() };
        let many_along = |of: &[&Edge], deg: f64| along::sharp(of, deg).map(|(ln, _)| ln.exp());
        let many_along = |deg: f64| (many_along(plain, deg), many_along(edges, deg));
        let sharp_ends = kind::SharpEnds { all_px, plain_px: self.plain_px() };
        let kind = self.weighed(Some(told)).unwrap_or(told).held_against(sharp_ends, many_along, allowance_px);
        let kind = kind
            .settled(|one, other| nulls::preferred(one, other, pictures))
            .or_half_way(|motion, disc| nulls::speak_for(motion, disc, pictures));
        let open = matches!(kind.verdict, Verdict::Undetermined(_));
        let kind = match open {
            true if all_over::sharp(plain, &self.area, self.tiles, allowance_px) => kind.sharp_all_over(sharp_ends),
            _ => kind::together(Some(&kind), stacks, &self.spectra, allowance_px).unwrap_or(kind),
        };
        let kind = kind::refined(kind, stacks, &self.spectra, allowance_px);
        if matches!(kind.verdict, Verdict::Undetermined(_) | Verdict::SceneSoft) && self.fine_detail() {
            return Told { kind: KindReading::sharp_texture(), share: 1.0, subject: Vec::new() };
        }
        if matches!(kind.verdict, Verdict::Defocus) {
            let blur_px = kind.psf.variance(0.0).sqrt();
            let subject = in_focus::subject(plain, &self.area, self.tiles, blur_px, self.diffraction_rise_px);
            if let Some((ln, _)) = sharp_end::of(&subject, LEAST_EDGES) {
                return Told { kind: KindReading::subject_in_focus(ln.exp()), share, subject };
            }
        }
        Told { kind, share, subject: Vec::new() }
    }

    /// True where the texture holds detail that no blur would have left.
    fn fine_detail(&self) -> bool {
        self.spectra.iter().any(|read| read.fine_detail)
    }

    /// What the edges tell weighed against the spectra.
    fn weighed(&self, told: Option<KindReading>) -> Option<KindReading> {
        let allowance_px = kind::MIXED_MARGIN * self.allowance_px();
        let along = |psf: &PointSpread| along::left(&self.edges, psf);
        let across = |deg: f64| along::across(&self.edges, deg);
        let smeared = |psf: &PointSpread| along::smeared(&self.stacks, psf, allowance_px);
        let widths = nulls::Widths {
            share: self.edge_share(),
            along_px: &along,
            across_px: &across,
            plain_px: self.plain_px(),
            smeared: &smeared,
        };
        nulls::weigh(told, &widths, allowance_px, &self.pictures, &self.spectra)
    }

    /// Standard deviation of the sharp end of the plain edges.
    fn plain_px(&self) -> Option<f64> {
        sharp_end::of(&self.plain, LEAST_EDGES).map(|(ln, _)| ln.exp())
    }

    /// What few edges say may be the doing of one odd thing in the scene.
    fn edge_share(&self) -> f64 {
        self.edges.len() as f64 / (self.edges.len() as f64 + FEW_EDGES)
    }

    fn allowance_px(&self) -> f64 {
        kind::allowance_px(self.diffraction_rise_px)
    }
}
