//! Gain and read noise from one ordinary frame.
//!
//! Measures: electrons per DN, read noise (DN, electrons). Method: variance against mean over many small blocks that hold
//! no structure ([`super::patches`]), a robust line through them ([`super::line_fit`]); the slope is one over the gain,
//! the offset the read variance and the rounding's 1/12 DN^2.
//! Source: Foi et al. 2008 (variance = a mean + b); Janesick, "Photon Transfer"; docs/measures.md.
//! Fails when: dithered or processed samples, linear files, too few flat blocks, tones too alike: `None` with a note.

use rawassay_decode::{Frame, PlaneLevels};

use super::banding::{Search, Spread};
use super::flat_blocks::{Blocks, Flat, Usable};
use super::line_fit::{Line, Point};
use super::lines_out::LinesOut;
use super::patches::BlockShape;
use super::plane_noise::{Fits, PlaneNoise};
use super::smoothing::{self, Neighbours};
use super::variance::Variance;

/// Fewest flat patches for a gain.
const FEWEST_PATCHES: usize = 60;

/// Most structure in blocks that are even only without their lines' levels, as [`Flat::structure`] gives it: from there
/// on their noise is read far too large.
const MOST_STRUCTURE: f64 = 0.7;

/// One block in so many tells whether a second look at all of them may find even ones.
const GLANCE: usize = 8;

/// Tones darker than this share of those of all even blocks are structured: the noise that they would have without says too much
/// for how well they show the lines, so they count as if they had that of tones so bright.
const DARKER: f64 = 0.5;

/// Noise of the frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FrameNoise {
    pub(crate) planes: Vec<PlaneNoise>,
    pub(crate) flat_patches: u64,
    pub(crate) r2: Option<f64>,
    /// Noise of the darkest flat blocks, DN.
    pub(crate) dark_noise_dn: Option<f64>,
    /// Offsets of rows and of columns as the picture shows them.
    pub(crate) rows: Option<Spread>,
    pub(crate) columns: Option<Spread>,
    /// The same with what the border shows, standard deviation, DN.
    pub(crate) row_banding_dn: Option<f64>,
    pub(crate) column_banding_dn: Option<f64>,
    pub(crate) notes: Vec<String>,
}

/// Measures gain, read noise and the offsets of rows and of columns, those that the masked border does not show (`border_dn`).
pub(crate) fn noise(frame: &Frame, blocks: &Blocks, usable: &[Usable], border_dn: [Option<f64>; 2]) -> FrameNoise {
    let mut out = FrameNoise { planes: vec![PlaneNoise::default(); usable.len()], ..FrameNoise::default() };
    if frame.filter.is_linear() {
        out.notes
            .push("gain and read noise: not measurable, the file holds interpolated colours, not the mosaic".into());
        return out;
    }
    if frame.dithered {
        out.notes.push("gain and read noise: not measurable, the reader dithered the samples through a curve".into());
        return out;
    }
    let Some(shape) = &blocks.shape else {
        out.notes.push("gain and read noise: not measurable with this filter array".into());
        return out;
    };
    let Looked { flat, objection, without_lines } = Looked::at(frame, blocks, shape, usable);
    let pooled = flat.pooled();
    if let Some(why) = objection.objection() {
        out.notes.push(format!("gain and read noise: not measurable, {why}"));
        return out;
    }
    out.flat_patches = pooled.len() as u64;
    out.dark_noise_dn = dark_noise(&pooled);
    if pooled.len() < FEWEST_PATCHES {
        out.notes.push("gain and read noise: not measurable, too few areas without structure".into());
        if border_dn.contains(&None) {
            out.find_lines_weighed((frame, blocks, shape, usable), &flat, border_dn);
        }
        return out;
    }
    let fits = Fits::of(shape, &flat, without_lines);
    out.r2 = fits.all.and_then(|line| explained(&pooled, &line));
    out.planes = fits.planes(&flat, 0.0);
    let blacks: Vec<f64> = usable.iter().map(|u| u.black_dn).collect();
    let [rows, columns] = out.find_lines((frame, shape, usable), &blacks, border_dn);
    if !without_lines {
        // Offsets of whole rows and columns are in every block's variance too; they are told apart from read noise. Those of
        // the sensor are taken out, as the tests of structure prefer blocks that show little of them.
        let without = LinesOut::of(frame, shape.side, [rows.sensor, columns.sensor])
            .map(|lines| Flat::of(frame, blocks, shape, usable, Some(&lines)))
            .filter(|flat| flat.tones.len() * shape.planes >= FEWEST_PATCHES);
        let of_means_dn2 = rows.of_means_dn2 + columns.of_means_dn2;
        out.planes = match without {
            Some(flat) => {
                let left_dn2 = [rows, columns].iter().filter(|l| !l.sensor).map(|l| l.in_blocks_dn2).sum();
                Fits::of(shape, &flat, false).with_means_off(&flat, of_means_dn2).planes(&flat, left_dn2)
            }
            None => {
                // Bands that stay in the blocks correlate neighbours as structure does, and are taken off by their own size.
                let left_dn2 = rows.in_blocks_dn2 + columns.in_blocks_dn2;
                let fits = if left_dn2 > 0.0 { Fits::with_structure(shape, &flat) } else { fits };
                fits.with_means_off(&flat, of_means_dn2).planes(&flat, left_dn2)
            }
        };
    }
    if out.planes.iter().all(|p| p.gain_e_per_dn.is_none()) {
        out.notes.push(if out.planes.iter().any(|p| p.holds) {
            "gain: not measurable, the areas that seem without structure hold faint structure all the same".into()
        } else {
            "gain: not measurable, the areas without structure have tones too alike to tell the noise of light from \
             differences between pixels"
                .into()
        });
    }
    if out.planes.iter().all(|p| p.read_noise_dn.is_none()) {
        out.notes.push("read noise: not measurable from the picture, it has no dark areas without structure".into());
    }
    out
}

/// What the blocks show, as they are or without the levels of their rows and columns.
struct Looked {
    flat: Flat,
    objection: Neighbours,
    without_lines: bool,
}

impl Looked {
    fn at(frame: &Frame, blocks: &Blocks, shape: &BlockShape, usable: &[Usable]) -> Self {
        let mut flat = Flat::of(frame, blocks, shape, usable, None);
        let objection = correlated(&mut flat);
        let enough = |flat: &Flat| flat.tones.len() * shape.planes >= FEWEST_PATCHES;
        if objection != Neighbours::Independent || !enough(&flat) {
            // Bands, and a scene that changes along one side only, correlate neighbours everywhere: seen without the lines'
            // levels the blocks may be even all the same. Most of what comes here is texture, and shows it in few blocks.
            let few = blocks.thinned(GLANCE);
            let without = LinesOut::of(frame, shape.side, [true; 2])
                .filter(|lines| Flat::of(frame, &few, shape, usable, Some(lines)).tones.len() > 1)
                .map(|lines| Flat::of(frame, blocks, shape, usable, Some(&lines)));
            if let Some(mut flat) = without
                && correlated(&mut flat) == Neighbours::Independent
                && enough(&flat)
                && flat.structure(shape) < MOST_STRUCTURE
            {
                return Self { flat, objection: Neighbours::Independent, without_lines: true };
            }
        }
        Self { flat, objection, without_lines: false }
    }
}

/// Whether like-coloured neighbours are correlated in the blocks.
fn correlated(flat: &mut Flat) -> Neighbours {
    let scatter = smoothing::scatter(&mut std::mem::take(&mut flat.alike));
    let of = std::mem::take(&mut flat.same_colour).map(|mut of| smoothing::neighbours(&mut of, flat.looked, scatter));
    of.into_iter().max().unwrap_or(Neighbours::Independent)
}

/// What offsets of lines do to blocks.
#[derive(Debug, Clone, Copy, Default)]
struct InBlocks {
    /// Variance that they leave in a block, DN squared, and that they give its mean.
    in_blocks_dn2: f64,
    of_means_dn2: f64,
    /// True where they surely are the sensor's.
    sensor: bool,
}

impl FrameNoise {
    /// Finds the offsets of rows and of columns, those that the border does not show; says what both do to blocks.
    fn find_lines(
        &mut self,
        (frame, shape, usable): (&Frame, &BlockShape, &[Usable]),
        blacks: &[f64],
        border_dn: [Option<f64>; 2],
    ) -> [InBlocks; 2] {
        let Some(variances) = self.variances_for_lines(blacks) else { return Default::default() };
        let search = Search { frame, usable, variances: &variances };
        let of_border = border_dn.map(|dn| dn.map(Spread::of_independent));
        let found = [0, 1].map(|k| if of_border[k].is_none() { search.spread(k == 0) } else { None });
        let in_blocks = [0, 1].map(|k| {
            let apart = [frame.filter.rows, frame.filter.columns][k];
            of_border[k].as_ref().or(found[k].as_ref()).map_or_else(InBlocks::default, |lines| {
                let in_blocks_dn2 = lines.left_in_block_dn2(shape.side, apart);
                let of_means_dn2 = lines.of_block_means_dn2(shape.side, apart);
                InBlocks { in_blocks_dn2, of_means_dn2, sensor: in_blocks_dn2 > 0.0 && lines.sure && !lines.scene }
            })
        });
        [self.rows, self.columns] = found;
        in_blocks
    }

    /// Finds them in a frame with hardly any even block, `looked` being all of it: the noise, which stays unknown, is needed only to
    /// weigh by, and 0.7 to 2.5 times as much changes little.
    fn find_lines_weighed(
        &mut self,
        (frame, blocks, shape, usable): (&Frame, &Blocks, &BlockShape, &[Usable]),
        looked: &Flat,
        border_dn: [Option<f64>; 2],
    ) {
        let flat = Flat::least_structured(frame, blocks, shape, usable, looked);
        if flat.tones.len() * shape.planes < FEWEST_PATCHES {
            return;
        }
        let planes = Fits::of(shape, &flat, false).planes(&flat, 0.0);
        let blacks: Vec<f64> = usable.iter().map(|u| u.black_dn).collect();
        let mut weighed = Self { planes, ..Self::default() };
        weighed.find_lines((frame, shape, usable), &blacks, border_dn);
        (self.rows, self.columns) = (weighed.rows, weighed.columns);
    }

    /// Noise by level of each plane; `None` where it is unknown.
    pub(crate) fn variances(&self, levels: &[PlaneLevels]) -> Option<Vec<Variance>> {
        self.variances_above(&levels.iter().map(|l| l.black_dn).collect::<Vec<f64>>())
    }

    /// The same for the search of lines' offsets, where tones darker than those of even blocks are structured.
    fn variances_for_lines(&self, blacks: &[f64]) -> Option<Vec<Variance>> {
        let mut variances = self.variances_above(blacks)?;
        for (variance, plane) in variances.iter_mut().zip(&self.planes) {
            let from = plane.tones_dn.filter(|(low, _)| *low > 0.0).map(|(low, _)| (DARKER * low, f64::INFINITY));
            variance.tones_dn = variance.tones_dn.or(from);
        }
        Some(variances)
    }

    fn variances_above(&self, blacks: &[f64]) -> Option<Vec<Variance>> {
        let variance = |(p, &black_dn): (&PlaneNoise, &f64)| {
            let tones_dn = if p.holds { None } else { Some(p.tones_dn?) };
            Some(Variance { line: p.line?, black_dn, tones_dn })
        };
        self.planes.iter().zip(blacks).map(variance).collect()
    }
}

/// Noise of the darkest twentieth of the flat blocks, standard deviation, DN.
fn dark_noise(points: &[Point]) -> Option<f64> {
    let mut points = points.to_vec();
    points.sort_unstable_by(|a, b| a.mean.total_cmp(&b.mean));
    let dark = &points[..(points.len() / 20).max(points.len().min(8))];
    (!dark.is_empty()).then(|| (dark.iter().map(|p| p.variance).sum::<f64>() / dark.len() as f64).sqrt())
}

/// Coefficient of determination over groups of patches of like mean.
fn explained(points: &[Point], line: &Line) -> Option<f64> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    let groups: Vec<(f64, f64)> = sorted
        .chunks(sorted.len().div_ceil(24))
        .map(|g| {
            let mut variances: Vec<f64> = g.iter().map(|p| p.variance).collect();
            variances.sort_by(f64::total_cmp);
            (g.iter().map(|p| p.mean).sum::<f64>() / g.len() as f64, variances[g.len() / 2])
        })
        .collect();
    let mean = groups.iter().map(|g| g.1).sum::<f64>() / groups.len() as f64;
    let total: f64 = groups.iter().map(|g| (g.1 - mean).powi(2)).sum();
    let left: f64 = groups.iter().map(|g| (g.1 - line.at(g.0)).powi(2)).sum();
    (total > 0.0).then(|| (1.0 - left / total).max(0.0)).filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests;
