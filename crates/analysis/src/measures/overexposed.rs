//! How far clipped places lie beyond saturation, told by another colour that is not clipped there.
//!
//! Measures: EV of less exposure at which only specular spots of a plane would still clip.  Unit: EV.
//! Method: in places of one light the levels of two colours keep their ratio, however bright it is. The ratio is read
//! where the clipped colour lies less than 1 EV below saturation; times the other colour's level it gives what the clipped
//! one would have been.
//! Source: own derivation, docs/measures.md.
//! Fails when: no colour is left unclipped there, the tones below saturation have many colours, or the clipped places
//! are of another colour than they (most would then come out below saturation, or two colours tell different things):
//! `None`. Another colour that changes the ratios of both alike, a grey sky over green leaves, is not noticed.

use rawassay_decode::Frame;

use super::clipping::{Thresholds, cell_side};
use super::histogram::picture_area;

/// Cells that are looked at, at the most about.
const CELLS: usize = 1 << 16;
/// Cells below saturation, and clipped ones, that tell something.
const LEAST_CELLS: usize = 50;
/// The lightest and the darkest tone whose colours are compared, share of saturation.
const NEAR: (f64, f64) = (0.5, 0.92);
/// The other colour must stand as far above black, share of its saturation: noise and rounding tell no ratio.
const TELLING: f64 = 0.02;
/// Half of the ratios lie within this, EV, or the tones have many colours.
const ONE_COLOUR_EV: f64 = 0.7;
/// Clipped cells that come out below saturation by more than this are of another colour, EV.
const BELOW_EV: f64 = 0.3;
/// Of a hundred clipped cells at least so many must not.
const ALIKE: f64 = 0.85;
/// What two other colours tell agrees within this, EV: else the clipped places are of another colour than the tones below.
const AGREE_EV: f64 = 0.3;

/// EV by which plane `p` is overexposed, the share `spared` of its clipped samples left to specular spots.
pub(crate) fn beyond(frame: &Frame, thresholds: &[Thresholds], p: usize, spared: f64) -> Option<f64> {
    let planes = &frame.filter.planes;
    let others = (0..planes.len()).filter(|&q| planes[q].colour != planes[p].colour);
    let told: Vec<(f64, f64)> = others.filter_map(|q| told_by(frame, thresholds, p, q, spared)).collect();
    let (least, most) = told.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), t| (a.min(t.1), b.max(t.1)));
    // The colour that tells the most of the clipped cells.
    let fullest = told.iter().min_by(|a, b| a.0.total_cmp(&b.0)).filter(|_| most - least <= AGREE_EV);
    fullest.map(|found| found.1)
}

/// Share of the clipped cells of `p` in which `q` is clipped too, and the EV by which `p` is overexposed.
fn told_by(frame: &Frame, thresholds: &[Thresholds], p: usize, q: usize, spared: f64) -> Option<(f64, f64)> {
    let mut near: Vec<f64> = Vec::new();
    // log2 of the other colour's level where this one is clipped.
    let mut over: Vec<f64> = Vec::new();
    let mut both = 0_usize;
    for (a, b) in pairs(frame, thresholds, p, q) {
        match (a, b) {
            (None, None) => both += 1,
            (None, Some(b)) => over.push(b.max(TELLING).log2()),
            (Some(a), Some(b)) if a > NEAR.0 && a < NEAR.1 && b > TELLING => near.push((a / b).log2()),
            _ => {}
        }
    }
    let clipped = over.len() + both;
    if near.len() < LEAST_CELLS || over.len() < LEAST_CELLS {
        return None;
    }
    near.sort_unstable_by(f64::total_cmp);
    over.sort_unstable_by(f64::total_cmp);
    let quarter = |part: usize| near[(near.len() * part / 4).min(near.len() - 1)];
    if quarter(3) - quarter(1) > ONE_COLOUR_EV {
        return None;
    }
    let ratio = quarter(2);
    let alike = both + over.iter().filter(|b| *b + ratio >= -BELOW_EV).count();
    if (alike as f64) < ALIKE * clipped as f64 {
        return None;
    }
    // The brightest cells are those in which both are clipped.
    let rank = ((1.0 - spared.clamp(0.0, 1.0)) * clipped as f64) as usize;
    let brightest = over.get(rank.min(clipped - 1))?;
    // What is clipped cannot have had room.
    super::known(brightest + ratio).filter(|ev| *ev > 0.0).map(|ev| (both as f64 / clipped as f64, ev))
}

/// The levels of two planes in evenly spread cells, shares of saturation; `None` where clipped.
fn pairs<'a>(
    frame: &'a Frame,
    thresholds: &'a [Thresholds],
    p: usize,
    q: usize,
) -> impl Iterator<Item = (Option<f64>, Option<f64>)> + 'a {
    let area = picture_area(frame);
    let (side, spp) = (cell_side(frame), frame.filter.samples_per_pixel);
    let cells = (area.width / side) * (area.height / side);
    let step = side * ((cells as f64 / CELLS as f64).sqrt().ceil() as usize).max(1);
    let inside = move |from: usize, to: usize| (from..(to + 1).saturating_sub(side)).step_by(step);
    let (columns, rows) = (frame.filter.columns.max(1), frame.filter.rows.max(1));
    // Where a plane's first sample lies in a cell, by where the cell lies in the filter array: row and sample from its corner.
    let places = move |wanted: usize| -> Vec<Option<(usize, usize)>> {
        let place = |corner: usize| {
            (0..side * side * spp).find_map(|i| {
                let (u, v, s) = (i / spp % side, i / spp / side, i % spp);
                let here = || frame.filter.plane_at(corner % columns + u, corner / columns + v);
                (if spp > 1 { s } else { here() } == wanted).then_some((v, u * spp + s))
            })
        };
        (0..columns * rows).map(place).collect()
    };
    let (of_p, of_q) = (places(p), places(q));
    let share = |plane: usize, dn: u16| {
        let t = &thresholds[plane];
        let range = t.saturation_dn - t.black_dn;
        (u32::from(dn) < t.clipped_from && range > 0.0).then(|| (f64::from(dn) - t.black_dn) / range)
    };
    inside(area.y, area.bottom()).flat_map(move |y| inside(area.x, area.right()).map(move |x| (x, y))).filter_map(
        move |(x, y)| {
            let corner = y % rows * columns + x % columns;
            let level = |(row, sample): (usize, usize)| frame.row(y + row)[x * spp + sample];
            Some((share(p, level(of_p[corner]?)), share(q, level(of_q[corner]?))))
        },
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::measure;
    use crate::test_frames::Sensor;
    use rawassay_decode::FilterArray;

    const FULL_WELL_E: f64 = 2.0 * (16_383.0 - 512.0);

    /// A sky, a third of the frame, over a ground of the same colour or another; share of saturation of its lightest place.
    fn sky(top: f64, ground: [f64; 3]) -> impl Fn(usize, usize, usize) -> f64 {
        move |x, y, p| {
            let colour = [0, 1, 1, 2][p.min(3)];
            let (light, of) = if y < 128 {
                (top * (0.6 + 0.4 * x as f64 / 511.0), [0.5, 1.0, 0.75])
            } else {
                (0.9 * (x * 7 % 512) as f64 / 511.0, ground)
            };
            FULL_WELL_E * light * of[colour]
        }
    }

    #[test]
    fn the_colours_that_are_left_tell_how_far_a_sky_is_over() {
        // Its lightest place lies log2(top) beyond saturation; one in a thousand less.
        for (array, top) in [("RGGB", 1.3), ("GBRG", 1.6), ("BGGR", 1.9)] {
            let sensor = Sensor { filter: FilterArray::bayer(array).unwrap(), ..Sensor::default() };
            let planes: Vec<usize> = sensor.filter.planes.iter().map(|p| "RGB".find(&p.name[..1]).unwrap()).collect();
            let of = sky(top, [0.52, 1.0, 0.78]);
            let m = measure(&sensor.shoot(|x, y, p| of(x, y, [0, 1, 3][planes[p]])));
            let ev = m.exposure.brighter_by_ev.unwrap();
            assert!((ev + f64::log2(top)).abs() < 0.15, "{array} {top}: {ev}");
        }
    }

    #[test]
    fn what_the_colours_tell_does_not_hang_on_which_comes_first() {
        // A bluish sky over warm ground: red tells too little, blue too much.
        for array in ["RGGB", "BGGR"] {
            let sensor = Sensor { filter: FilterArray::bayer(array).unwrap(), ..Sensor::default() };
            let planes: Vec<usize> = sensor.filter.planes.iter().map(|p| "RGB".find(&p.name[..1]).unwrap()).collect();
            let of = sky(1.3, [0.62, 1.0, 0.45]);
            let frame = sensor.shoot(|x, y, p| of(x, y, [0, 1, 3][planes[p]]));
            assert_eq!(measure(&frame).exposure.brighter_by_ev, None, "{array}");
        }
    }

    #[test]
    fn nothing_is_told_where_every_colour_is_clipped_or_the_colours_are_others() {
        let sensor = Sensor::default();
        for (what, m) in [
            ("all clipped", measure(&sensor.shoot(sky(9.0, [0.55, 1.0, 0.8])))),
            // A red lamp among green leaves: the leaves' ratio says nothing of the lamp.
            (
                "another colour",
                measure(&sensor.shoot(|x, y, p| {
                    let lamp = y < 128;
                    let light = if lamp { 4.0 } else { 0.9 * (x * 7 % 512) as f64 / 511.0 };
                    FULL_WELL_E * light * if lamp { [1.0, 0.02, 0.02, 0.02][p] } else { [0.6, 1.0, 1.0, 0.5][p] }
                })),
            ),
        ] {
            assert!(m.exposure.brighter_by_ev.is_none(), "{what}: {:?}", m.exposure);
            assert!(m.notes.iter().any(|n| n.starts_with("brighter_by_ev: unknown")), "{what}: {:?}", m.notes);
            assert_eq!(m.exposure.lift_ev, Some(0.0), "{what}");
        }
    }
}
