//! Amplifier glow: the dark level of a long exposure growing towards a side or a corner.
//!
//! Measures: excess of the lightest stretch at a rim over the middle one, DN. Method: trimmed means of stretches along the
//! masked borders, which no light reaches; where a picture is dark nearly all over (and in dark frames of `sensor`), of its
//! tiles. Warm electronics beside the sensor light all filter colours alike, a scene does not: so a picture's tiles count
//! where the excess is the same in all colours. The lightest stretch must lie at the rim, the level must fall inwards, and
//! half of the stretches must know nothing of it.
//! Source: own derivation, docs/measures.md; that glow falls off from a rim is common practice, no source.
//! Fails when: no masked border and the picture is not dark, or one filter colour alone: nothing is said.

use rawassay_decode::{Area, Frame};

/// Exposures shorter than this show no glow worth a note, s.
const LONG_S: f64 = 1.0;

/// Stretches along a border.
const STRETCHES: usize = 16;

/// Tiles along the longer and the shorter side of a picture.
const TILES: (usize, usize) = (16, 12);

/// The excess stands out from this many times the scatter of neighbours.
const STANDS_OUT: f64 = 6.0;

/// It is worth a note from this share of the read noise.
const WORTH: f64 = 0.25;

/// Colours are lit alike where their excess agrees within this share.
const ALIKE: f64 = 0.15;

/// Two tiles differ by chance up to this many times their scatter.
const CHANCE: f64 = 4.0;

/// Samples left out at either end of a stretch: hot pixels.
const TRIMMED: f64 = 0.02;

/// Notes on glow.
pub(crate) fn notes(frame: &Frame, medians_dn: &[Option<f64>], read_noise_dn: Option<f64>, notes: &mut Vec<String>) {
    let Some(seconds) = frame.shot.shutter_s.filter(|s| s.is_finite() && *s >= LONG_S) else { return };
    let Some(read) = read_noise_dn.filter(|r| *r > 0.0) else { return };
    if frame.filter.is_linear() || frame.dithered {
        return;
    }
    let masked = frame.masked.iter().filter_map(|area| along_border(frame, area, WORTH * read));
    let masked = masked.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(dn, side)| (dn, side, "masked pixels"));
    let dark = frame
        .levels
        .iter()
        .zip(medians_dn)
        .all(|(l, median)| median.is_some_and(|m| (m - l.black_dn).abs() < 2.0 * read + 0.5));
    let found = masked.or_else(|| {
        let grown = if dark { Tiles::of(frame).growth_in_all_colours(frame)? } else { return None };
        (grown.0 > WORTH * read).then_some((grown.0, grown.1, "picture, which is dark otherwise"))
    });
    if let Some((dn, side, whence)) = found {
        notes.push(format!(
            "amplifier glow: in this exposure of {seconds:.0} s the dark level rises by {dn:.1} DN towards {side} ({whence}); a dark \
             frame of the same time and ISO, taken off, removes it"
        ));
    }
}

/// Mean of the samples without the ends; `None` where there are fewer than 64.
fn trimmed(values: &mut [i32]) -> Option<f64> {
    let n = values.len();
    let cut = (TRIMMED * n as f64).ceil() as usize;
    if n < 64 {
        return None;
    }
    values.select_nth_unstable(cut);
    values[cut..].select_nth_unstable(n - 2 * cut - 1);
    let kept = &values[cut..n - cut];
    Some(kept.iter().map(|&v| f64::from(v)).sum::<f64>() / kept.len() as f64)
}

/// Median of the values and the scatter of one, from the differences of neighbours.
fn middle_and_scatter(values: &[f64], differences: &mut [f64]) -> Option<(f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    differences.sort_by(f64::total_cmp);
    let scatter = differences.get(differences.len() / 2)? / 0.6745 / std::f64::consts::SQRT_2;
    Some((*sorted.get(sorted.len() / 2)?, scatter.max(1e-3)))
}

/// Rise of a border's level towards one of its ends, DN, and the side.
fn along_border(frame: &Frame, area: &Area, least_dn: f64) -> Option<(f64, &'static str)> {
    let area = area.intersect(&Area::new(0, 0, frame.width, frame.height));
    let upright = area.height >= area.width;
    let length = if upright { area.height } else { area.width };
    if area.is_empty() || length < 4 * STRETCHES {
        return None;
    }
    let mut levels = Vec::with_capacity(STRETCHES);
    let mut values = Vec::new();
    for i in 0..STRETCHES {
        let (from, to) = (i * length / STRETCHES, (i + 1) * length / STRETCHES);
        let part = if upright {
            Area::new(area.x, area.y + from, area.width, to - from)
        } else {
            Area::new(area.x + from, area.y, to - from, area.height)
        };
        values.clear();
        for y in part.y..part.bottom() {
            let row = &frame.row(y)[part.x..part.right()];
            values.extend(row.iter().enumerate().map(|(x, &v)| {
                // In 1/16 DN above the plane's own black.
                let black = frame.levels[frame.filter.plane_at(part.x + x, y)].black_dn;
                16 * i32::from(v) - (16.0 * black).round() as i32
            }));
        }
        levels.push(trimmed(&mut values)? / 16.0);
    }
    let mut differences: Vec<f64> = levels.windows(2).map(|w| (w[0] - w[1]).abs()).collect();
    let (middle, scatter) = middle_and_scatter(&levels, &mut differences)?;
    let rises = |values: &[f64]| {
        let excess = values[0] - middle;
        let falls =
            values[0] > values[1] && values[1] > values[2] - 2.0 * scatter && values[1] > middle - 2.0 * scatter;
        let even = values.iter().filter(|v| (**v - middle).abs() < (4.0 * scatter).max(0.15 * excess)).count();
        (excess > (STANDS_OUT * scatter).max(least_dn) && falls && 2 * even >= values.len()).then_some(excess)
    };
    let reversed: Vec<f64> = levels.iter().rev().copied().collect();
    let (first, last) = if upright { ("the top", "the bottom") } else { ("the left", "the right") };
    let ends = [rises(&levels).map(|dn| (dn, first)), rises(&reversed).map(|dn| (dn, last))];
    ends.into_iter().flatten().max_by(|a, b| a.0.total_cmp(&b.0))
}

/// A rise towards the rim.
struct Rise {
    dn: f64,
    side: &'static str,
    /// Where it is highest.
    tile: usize,
}

/// Levels of a picture's tiles, one grid per plane.
pub(crate) struct Tiles {
    cols: usize,
    rows: usize,
    /// DN, `cols * rows` per plane.
    levels: Vec<Vec<Option<f64>>>,
}

impl Tiles {
    pub(crate) fn of(frame: &Frame) -> Self {
        let area = super::histogram::picture_area(frame);
        let (cols, rows) = if area.width >= area.height { TILES } else { (TILES.1, TILES.0) };
        let planes = frame.filter.planes.len();
        let mut levels = vec![vec![None; cols * rows]; planes];
        let mut values: Vec<Vec<i32>> = vec![Vec::new(); planes];
        for tile in 0..cols * rows {
            let (col, row) = (tile % cols, tile / cols);
            values.iter_mut().for_each(Vec::clear);
            let (x0, x1) = (area.x + col * area.width / cols, area.x + (col + 1) * area.width / cols);
            for y in area.y + row * area.height / rows..area.y + (row + 1) * area.height / rows {
                for (x, &v) in frame.row(y)[x0..x1].iter().enumerate() {
                    values[frame.filter.plane_at(x0 + x, y)].push(i32::from(v));
                }
            }
            for (levels, values) in levels.iter_mut().zip(&mut values) {
                levels[tile] = trimmed(values);
            }
        }
        Self { cols, rows, levels }
    }

    /// Adds those of another frame of the same sensor.
    pub(crate) fn add(&mut self, other: &Self) {
        for (a, b) in self.levels.iter_mut().flatten().zip(other.levels.iter().flatten()) {
            *a = a.zip(*b).map(|(a, b)| a + b);
        }
    }

    /// A plane's levels, divided by `frames`.
    fn of_plane(&self, plane: usize, frames: f64) -> Option<Vec<f64>> {
        self.levels[plane].iter().map(|v| v.map(|v| v / frames)).collect()
    }

    /// Rise of one plane's level towards the rim over the middle tile: (DN, side).
    fn growth(&self, plane: usize) -> Option<(f64, &'static str)> {
        let levels = self.of_plane(plane, 1.0)?;
        self.rise(&levels, self.scatter(&levels, false)?).map(|rise| (rise.dn, rise.side))
    }

    /// Middle of the tiles and the scatter of one, from neighbours in a row; `both_ways`: in a column too, where that is more
    /// (rows with offsets of their own).
    fn scatter(&self, levels: &[f64], both_ways: bool) -> Option<(f64, f64)> {
        let at = |col: usize, row: usize| levels[row * self.cols + col];
        let (mut across, mut down) = (Vec::new(), Vec::new());
        for row in 0..self.rows {
            for col in 0..self.cols {
                if col > 0 {
                    across.push((at(col, row) - at(col - 1, row)).abs());
                }
                if row > 0 {
                    down.push((at(col, row) - at(col, row - 1)).abs());
                }
            }
        }
        let (middle, scatter) = middle_and_scatter(levels, &mut across)?;
        let other = if both_ways { middle_and_scatter(levels, &mut down)?.1 } else { 0.0 };
        Some((middle, scatter.max(other)))
    }

    fn rise(&self, levels: &[f64], (middle, scatter): (f64, f64)) -> Option<Rise> {
        let at = |col: usize, row: usize| levels[row * self.cols + col];
        let tile = (0..levels.len()).max_by(|a, b| levels[*a].total_cmp(&levels[*b]))?;
        let (col, row) = (tile % self.cols, tile / self.cols);
        let inwards = |at: usize, count: usize| match at {
            0 => 1,
            at if at + 1 == count => -1,
            _ => 0,
        };
        let (dx, dy) = (inwards(col, self.cols), inwards(row, self.rows));
        if (dx, dy) == (0, 0) {
            return None;
        }
        let step = |k: isize| at((col as isize + k * dx) as usize, (row as isize + k * dy) as usize);
        let excess = step(0) - middle;
        let falls = step(0) > step(1) && step(1) > step(2) - 2.0 * scatter && step(1) > middle - 2.0 * scatter;
        let even = levels.iter().filter(|v| (**v - middle).abs() < (4.0 * scatter).max(0.15 * excess)).count();
        let side = match (dx, dy) {
            (1, 0) => "the left",
            (-1, 0) => "the right",
            (0, 1) => "the top",
            (0, -1) => "the bottom",
            (1, 1) => "the upper left corner",
            (-1, 1) => "the upper right corner",
            (1, -1) => "the lower left corner",
            _ => "the lower right corner",
        };
        (excess > STANDS_OUT * scatter && falls && 2 * even >= levels.len()).then_some(Rise { dn: excess, side, tile })
    }

    /// Rise of each plane's level, DN, and its side, in the sum of `frames` dark frames: asked of the planes' mean, and all of
    /// them must show it alike (within `ALIKE`, or their scatter). One plane alone is more often chance.
    pub(crate) fn growth_of_planes(&self, frames: f64) -> Option<(Vec<f64>, &'static str)> {
        let planes: Vec<Vec<f64>> = (0..self.levels.len()).map(|p| self.of_plane(p, frames)).collect::<Option<_>>()?;
        let own: Vec<(f64, f64)> = planes.iter().map(|levels| self.scatter(levels, true)).collect::<Option<_>>()?;
        let mut mean = vec![0.0; planes.first()?.len()];
        for (levels, (middle, _)) in planes.iter().zip(&own) {
            mean.iter_mut().zip(levels).for_each(|(m, v)| *m += (v - middle) / planes.len() as f64);
        }
        let rise = self.rise(&mean, self.scatter(&mean, true)?)?;
        let each: Vec<f64> = planes.iter().zip(&own).map(|(levels, (middle, _))| levels[rise.tile] - middle).collect();
        let alike = each
            .iter()
            .zip(&own)
            .all(|(dn, (_, scatter))| *dn > 0.0 && (dn - rise.dn).abs() < (ALIKE * rise.dn).max(CHANCE * scatter));
        alike.then_some((each, rise.side))
    }

    /// The same where all filter colours show it alike, towards one side: no scene, then.
    fn growth_in_all_colours(&self, frame: &Frame) -> Option<(f64, &'static str)> {
        let planes = &frame.filter.planes;
        if planes.iter().all(|p| p.colour == planes[0].colour) {
            return None;
        }
        let grown: Vec<(f64, &'static str)> = (0..planes.len()).map(|p| self.growth(p)).collect::<Option<_>>()?;
        let mean = grown.iter().map(|g| g.0).sum::<f64>() / grown.len() as f64;
        let alike = grown.iter().all(|g| g.1 == grown[0].1 && (g.0 / mean - 1.0).abs() < ALIKE);
        alike.then_some((mean, grown[0].1))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Sensor;

    /// A frame of 30 s with a border at the left and top; glow at the lower right, electrons, in picture and border.
    fn shot(glow_e: f64, scene: impl Fn(usize, usize, usize) -> f64) -> Frame {
        let sensor = Sensor { width: 640, height: 480, ..Sensor::default() };
        let mut frame = sensor.shoot(|x, y, p| {
            let glow = glow_e * (-((639 - x) as f64).hypot((479 - y) as f64) / 90.0).exp();
            glow + if x < 32 || y < 16 { 0.0 } else { scene(x, y, p) }
        });
        frame.active = Area::new(32, 16, 608, 464);
        frame.masked = vec![Area::new(0, 16, 32, 464), Area::new(32, 0, 608, 16)];
        frame.shot.shutter_s = Some(30.0);
        frame
    }

    fn told(frame: &Frame) -> Vec<String> {
        let medians: Vec<Option<f64>> =
            super::super::histogram::histograms(frame).iter().map(|h| h.quantile(0.5)).collect();
        let mut told = Vec::new();
        notes(frame, &medians, Some(1.5), &mut told);
        told
    }

    #[test]
    fn glow_in_a_dark_picture_is_told_and_a_scene_is_not() {
        let mut frame = shot(200.0, |_, _, _| 0.0);
        frame.masked.clear();
        let notes = told(&frame);
        assert!(notes[0].contains("lower right corner") && notes[0].contains("30 s"), "{notes:?}");
        // The same rise as light through filters, or in a short exposure.
        let mut lit = shot(0.0, |x, y, p| {
            200.0 * [0.5, 1.0, 1.0, 0.7][p] * (-((639 - x) as f64).hypot((479 - y) as f64) / 90.0).exp()
        });
        lit.masked.clear();
        assert_eq!(told(&lit), Vec::<String>::new());
        frame.shot.shutter_s = Some(0.5);
        assert_eq!(told(&frame), Vec::<String>::new());
        let mut none = shot(0.0, |_, _, _| 0.0);
        assert_eq!(told(&none), Vec::<String>::new());
        none.masked.clear();
        assert_eq!(told(&none), Vec::<String>::new());
    }

    #[test]
    fn the_masked_border_tells_it_under_any_scene() {
        let scene = |x: usize, y: usize, _: usize| 300.0 + 9.0 * x as f64 + 5.0 * y as f64;
        let mut frame = shot(400.0, scene);
        // Towards the glow's end of the border above it is farther off than a border at the bottom would be.
        frame.masked = vec![Area::new(32, 440, 608, 40)];
        frame.active = Area::new(32, 16, 608, 424);
        for y in 440..480 {
            for x in 32..640 {
                let glow = 400.0 * (-((639 - x) as f64).hypot((479 - y) as f64) / 90.0).exp();
                frame.samples[y * 640 + x] = (512.0 + glow / 2.0).round() as u16 + u16::from((x * 7 + y * 3) % 3 == 0);
            }
        }
        let notes = told(&frame);
        assert!(notes[0].contains("the right") && notes[0].contains("masked"), "{notes:?}");
        assert_eq!(told(&shot(0.0, scene)), Vec::<String>::new());
    }
}
