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
use super::plane_noise::{self, Fits, PlaneNoise};
use super::smoothing::{self, Neighbours};
use super::variance::Variance;

/// Fewest flat patches for a gain.
const FEWEST_PATCHES: usize = 60;

/// Most structure in blocks that are even only without their lines' levels, as [`plane_noise::structure`] gives it: from there
/// on their noise is read far too large.
const MOST_STRUCTURE: f64 = 0.7;

/// One block in so many tells whether a second look at all of them may find even ones.
const GLANCE: usize = 8;

/// Share of the blocks that show no structure of their own in a plain scene.
const PLAIN: f64 = 0.6;

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
        return out;
    }
    let fits = Fits::of(shape, &flat, without_lines);
    out.r2 = fits.all.and_then(|line| explained(&pooled, &line));
    out.planes = fits.planes(&flat, 0.0);
    let blacks: Vec<f64> = usable.iter().map(|u| u.black_dn).collect();
    let plain = flat.shown.map(|n| n as f64 > PLAIN * flat.looked as f64);
    let [rows, columns] = out.find_lines((frame, shape, usable), &blacks, (border_dn, plain));
    if !without_lines {
        // Offsets of whole rows and columns are in every block's variance too; they are told apart from read noise. Those of
        // the sensor are taken out, as the tests of structure prefer blocks that show little of them.
        let without = LinesOut::of(frame, shape.side, [rows.sensor, columns.sensor])
            .map(|lines| Flat::of(frame, blocks, shape, usable, Some(&lines)))
            .filter(|flat| flat.tones.len() * shape.planes >= FEWEST_PATCHES);
        out.planes = match without {
            Some(flat) => {
                let left_dn2 = [rows, columns].iter().filter(|l| !l.sensor).map(|l| l.in_blocks_dn2).sum();
                Fits::of(shape, &flat, false).planes(&flat, left_dn2)
            }
            None => fits.planes(&flat, rows.in_blocks_dn2 + columns.in_blocks_dn2),
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
                && plane_noise::structure(&flat.tones) < MOST_STRUCTURE
            {
                flat.shown = [0; 2];
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
    /// Variance that they leave in a block, DN squared.
    in_blocks_dn2: f64,
    /// True where they surely are the sensor's.
    sensor: bool,
}

impl FrameNoise {
    /// Finds the offsets of rows and of columns, those that the border does not show; says what both do to blocks.
    fn find_lines(
        &mut self,
        (frame, shape, usable): (&Frame, &BlockShape, &[Usable]),
        blacks: &[f64],
        (border_dn, plain): ([Option<f64>; 2], [bool; 2]),
    ) -> [InBlocks; 2] {
        let Some(variances) = self.variances_above(blacks) else { return Default::default() };
        let search = Search { frame, usable, variances: &variances };
        let of_border = border_dn.map(|dn| dn.map(Spread::of_independent));
        let look = |k: usize| search.spread(k == 0).map(|s| Spread { plain: plain[k], ..s });
        let found = [0, 1].map(|k| if of_border[k].is_none() { look(k) } else { None });
        [self.rows, self.columns] = found;
        [0, 1].map(|k| {
            let apart = [frame.filter.rows, frame.filter.columns][k];
            of_border[k].or(found[k]).map_or_else(InBlocks::default, |lines| {
                let in_blocks_dn2 = lines.left_in_block_dn2(shape.side, apart);
                InBlocks { in_blocks_dn2, sensor: in_blocks_dn2 > 0.0 && lines.sure && !lines.scene }
            })
        })
    }

    /// Noise by level of each plane; `None` where it is unknown.
    pub(crate) fn variances(&self, levels: &[PlaneLevels]) -> Option<Vec<Variance>> {
        self.variances_above(&levels.iter().map(|l| l.black_dn).collect::<Vec<f64>>())
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
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    /// Light by tiles of 80 pixels, electrons: from `top` down.
    fn steps(x: usize, y: usize, top: f64) -> f64 {
        top * 2_f64.powf(-0.6 * ((x / 80 * 7 + y / 80 * 13) % 23) as f64)
    }

    #[test]
    fn read_noise_under_bands_is_read_noise() {
        for (seed, columns) in [(1, false), (2, true), (3, false), (4, true)] {
            let mut rng = Noise::new(seed);
            let offsets: Vec<f64> = (0..1_024).map(|_| 2.4 * rng.normal()).collect();
            let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
            let frame = sensor.draw(|x, y, _, s| {
                let e = steps(x, y, 8_000.0);
                let noise = e.sqrt() * rng.normal() + s.read_noise * rng.normal();
                (s.black + e + noise + offsets[if columns { x } else { y }]).round()
            });
            let m = measure(&frame).noise;
            let banding = if columns { m.column_banding_dn } else { m.row_banding_dn };
            assert!(banding.is_some_and(|dn| (dn / 2.4 - 1.0).abs() < 0.2), "{seed}: {m:?}");
            assert!((m.read_noise_dn.unwrap() / 3.0 - 1.0).abs() < 0.05, "{seed}: {m:?}");
        }
    }

    #[test]
    fn dark_tones_below_half_a_dn_of_noise_do_not_bend_the_gain() {
        let cases = [(60.0, 8.0, 200), (60.0, 11.0, 400), (120.0, 8.0, 400), (500.0, 8.0, 200), (4_000.0, 11.0, 400)];
        for (seed, (top, gain, dark)) in cases.into_iter().enumerate() {
            let seed = 1 + seed as u64;
            let sensor = Sensor { width: 1_024, height: 768, gain, read_noise: 2.1, seed, ..Sensor::default() };
            // A part of the frame without light.
            let m = measure(&sensor.shoot(|x, y, _| if y < dark { 0.0 } else { steps(x, y, top) })).noise;
            assert!(m.gain_e_per_dn.is_none_or(|g| (g / gain - 1.0).abs() < 0.06), "{top} {gain}: {m:?}");
        }
    }

    #[test]
    fn bands_that_whole_dn_do_not_follow_are_not_taken_for_small_ones() {
        let mut rng = Noise::new(8);
        let sensor = Sensor { width: 1_024, height: 768, gain: 11.0, read_noise: 2.1, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let e = if y % 384 < 200 { 0.0 } else { steps(x, y, 4_000.0) };
            let wave = 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / 31.0).sin();
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + wave) / s.gain).round()
        });
        let m = measure(&frame).noise;
        assert!(m.column_banding_dn.is_none_or(|dn| (dn * 11.0 / 1.5 - 1.0).abs() < 0.2), "{m:?}");
    }

    #[test]
    fn faint_structure_all_over_is_not_taken_for_noise_of_light() {
        for seed in [1, 2, 3] {
            let sensor = Sensor { width: 1_024, height: 768, ..Sensor::default() };
            let mut rng = Noise::new(seed);
            let field: Vec<f64> = (0..1_030 * 774).map(|_| rng.normal()).collect();
            // As faint as a fifth of the noise in one block, and three times the noise in another.
            let height: Vec<f64> = (0..64 * 48).map(|_| 0.3 + 2.7 * rng.uniform()).collect();
            let frame = sensor.draw(|x, y, _, s| {
                let at = |dx: usize, dy: usize| field[(y + dy) * 1_030 + x + dx];
                let texture = (0..25).map(|i| at(i % 5, i / 5)).sum::<f64>() / 5.0 * height[y / 16 * 64 + x / 16];
                let e = steps(x, y, 20_000.0);
                (s.black + (e + texture * e.sqrt() + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain)
                    .round()
            });
            let gain = measure(&frame).noise.gain_e_per_dn;
            assert!(gain.is_none_or(|g| (g / sensor.gain - 1.0).abs() < 0.06), "{seed}: {gain:?}");
        }
    }

    #[test]
    fn bands_that_correlate_every_block_are_not_taken_for_smoothing() {
        for seed in [1, 2, 3] {
            let mut rng = Noise::new(seed);
            let offsets: Vec<f64> = (0..1_024).map(|_| 4.5 * rng.normal()).collect();
            let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
            // A dark picture: the bands are larger than its noise nearly everywhere.
            let frame = sensor.draw(|x, y, _, s| {
                let e = steps(x, y, 60.0);
                (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
            });
            let m = measure(&frame).noise;
            assert!((m.read_noise_dn.unwrap_or(0.0) / 3.0 - 1.0).abs() < 0.1, "{seed}: {m:?}");
            assert!(m.column_banding_dn.is_some_and(|dn| (dn / 4.5 - 1.0).abs() < 0.2), "{seed}: {m:?}");
        }
    }

    #[test]
    fn a_scene_that_changes_along_one_side_only_hides_neither_noise_nor_bands_of_the_other() {
        let blinds = |x: usize, y: usize| {
            let louver = 0.5 + 0.45 * (std::f64::consts::TAU * y as f64 / 23.0).sin();
            8_000.0 * louver * (0.3 + 0.7 * x as f64 / 1_024.0)
        };
        for seed in [1, 2, 3] {
            let mut rng = Noise::new(seed);
            let offsets: Vec<f64> = (0..1_024).map(|_| 3.0 * rng.normal()).collect();
            let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 6.0, ..Sensor::default() };
            let frame = sensor.draw(|x, y, _, s| {
                let e = blinds(x, y);
                (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
            });
            let m = measure(&frame).noise;
            assert!(m.gain_e_per_dn.is_none_or(|g| (g - 1.0).abs() < 0.06), "{seed}: {m:?}");
            assert!(m.column_banding_dn.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {m:?}");
            // Smoothed, each colour by itself: no gain for all that.
            let smoothed = sensor.draw(|x, y, _, _| {
                let at = |x: usize, y: usize| f64::from(frame.row(y.min(767))[x.min(1_023)]);
                (0.5 * at(x, y) + 0.25 * (at(x + 2, y) + at(x.saturating_sub(2), y))).round()
            });
            assert_eq!(measure(&smoothed).noise.gain_e_per_dn, None, "{seed}");
        }
    }

    #[test]
    fn bands_are_sized_between_the_blurred_joints_of_a_wall() {
        // Bricks of 63 by 29 pixels, every second row shifted, joints as wide as a lens of one pixel leaves them.
        let edge = |d: f64| 0.5 * (1.0 + (1.2 * d).tanh());
        let joint = |at: f64, size: f64, width: f64| {
            let d = (at.rem_euclid(size) - 0.5 * size).abs();
            edge(d - 0.5 * (size - width))
        };
        for (seed, contrast) in [(1, 0.2), (2, 0.5), (3, 1.0), (4, 1.5)] {
            let mut rng = Noise::new(seed);
            let offsets: Vec<f64> = (0..1_280).map(|_| 3.0 * rng.normal()).collect();
            let sensor = Sensor { width: 1_280, height: 900, gain: 1.0, read_noise: 6.0, ..Sensor::default() };
            let frame = sensor.draw(|x, y, _, s| {
                let (row, y) = ((y / 29) as f64, y as f64);
                let mortar = joint(y, 29.0, 4.0).max(joint(x as f64 + 31.0 * row, 63.0, 4.0));
                let e = (300.0 + 4_000.0 * (y / 900.0)) * (1.0 + contrast * mortar);
                (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
            });
            let column = measure(&frame).noise.column_banding_dn;
            assert!(column.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {column:?}");
        }
    }
}
