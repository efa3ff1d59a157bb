//! Whether two frames show the same framing, by their small pictures from the raw.
//!
//! Measures: correlation of the tone steps between neighbouring cells (log2 levels, so that exposure drops out), over
//! the cells that hold tone in both frames (neither saturated nor near the noise), at the best of small shifts; and by
//! how many EV the second is brighter. Steps rather than levels: two seascapes share "bright above, dark below", and
//! hardly a step. A hand moves a framing by parts of a cell: where the unshifted pictures do not agree, both are
//! softened (binomial, 3 x 3) and compared at half cells.
//! Source: own derivation (normalised cross-correlation of log luminance gradients).
//! Fails when: fewer than 8 % of the cells hold tone in both, or a picture has another number of cells.

use crate::Likeness;
use crate::pair_sums::PairSums;

/// Steps of the small picture per EV.
const STEPS_PER_EV: f32 = 16.0;
/// Cells nearer to saturation than this hold clipped samples, steps (1/8 EV).
const TOP: u8 = 2;
/// Cells further below saturation than this are near the noise, steps (11 EV).
const BOTTOM: u8 = 176;
/// Least share of cells that must hold tone in both.
const LEAST_CELLS: f64 = 0.08;
/// Variance of a step between two cells that comes of storing both in 1/16 EV, EV^2.
const STORED_EV2: f64 = 2.0 / 12.0 / 256.0;
/// Below this root mean square of the steps a picture is plain: there is nothing to compare, EV.
const PLAIN_EV: f64 = 0.03;
/// Two plain pictures that differ by this much, exposure taken out, are no likeness at all, EV.
const PLAIN_DIFFERS_EV: f64 = 0.12;
/// Unshifted pictures that agree this well need no search.
const ENOUGH: f64 = 0.95;
/// Pictures that agree less than this at every whole shift do not agree at half ones.
const HOPELESS: f64 = 0.3;
/// A shifted comparison counts where it agrees better than the unshifted one by this.
const WORTH: f64 = 0.05;
/// Exposures that differ by less than this clip alike, EV.
const UNLIKE_EV: f64 = 0.25;
/// Cells that should lie nearer to saturation than this are clipped in part, EV: tones of a cell differ by about so much.
const PARTLY_CLIPPED_EV: f32 = 0.5;
/// Shift that is searched: this part of the longer side.
const REACH: usize = 16;

/// How alike two frames are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// Correlation of the tone steps, -1..1; near 1 too for two plain pictures that differ by nothing but exposure.
    pub correlation: f64,
    /// Correlation of the levels themselves, -1..1; 1 for two plain pictures.
    pub levels: f64,
    /// Root mean square of what differs after exposure is taken out, EV.
    pub differs_ev: f64,
    /// By how much the second frame is brighter in the raw, EV.
    pub brighter_ev: f64,
    /// Share of the cells that hold tone in both, 0..1.
    pub cells: f64,
    /// Shift of the second picture, cells.
    pub shift: (f64, f64),
}

/// A small picture, EV below saturation; NaN where a cell holds no tone.
struct Picture {
    cols: usize,
    rows: usize,
    ev: Vec<f32>,
}

impl Picture {
    fn of(likeness: &Likeness) -> Option<Self> {
        let (cols, rows) = (likeness.cols, likeness.rows);
        if cols == 0 || rows == 0 || cols.checked_mul(rows)? != likeness.below_saturation.len() {
            return None;
        }
        let ev = |&v: &u8| if v > TOP && v < BOTTOM { f32::from(v) / STEPS_PER_EV } else { f32::NAN };
        Some(Self { cols, rows, ev: likeness.below_saturation.iter().map(ev).collect() })
    }

    /// Light averaged over neighbours that hold tone, weights 1 2 1 both ways.
    fn softened(&self) -> Self {
        let light: Vec<f32> = self.ev.iter().map(|ev| (-ev).exp2()).collect();
        let mut ev = self.ev.clone();
        for y in 0..self.rows {
            for x in 0..self.cols {
                let (mut sum, mut weights) = (0.0, 0.0);
                for (v, wy) in [(y.wrapping_sub(1), 1.0), (y, 2.0), (y + 1, 1.0)] {
                    for (u, wx) in [(x.wrapping_sub(1), 1.0), (x, 2.0), (x + 1, 1.0)] {
                        if u < self.cols && v < self.rows && !light[v * self.cols + u].is_nan() {
                            sum += wy * wx * light[v * self.cols + u];
                            weights += wy * wx;
                        }
                    }
                }
                let here = &mut ev[y * self.cols + x];
                if !here.is_nan() {
                    *here = -(sum / weights).log2();
                }
            }
        }
        Self { ev, ..*self }
    }

    /// The picture moved by half cells to the right and down; NaN where nothing comes from.
    fn moved(&self, dx_halves: i32, dy_halves: i32) -> Self {
        let (cols, rows) = (self.cols as i32, self.rows as i32);
        let mut ev = vec![f32::NAN; self.ev.len()];
        // The cell to the left (above) of the half, and that to the right (below), in whole cells.
        let from = |at: i32, halves: i32| (at - halves.div_euclid(2) - halves.rem_euclid(2), at - halves.div_euclid(2));
        for y in 0..rows {
            let (y0, y1) = from(y, dy_halves);
            if y0 < 0 || y1 >= rows {
                continue;
            }
            for x in 0..cols {
                let (x0, x1) = from(x, dx_halves);
                if x0 >= 0 && x1 < cols {
                    let at = |u: i32, v: i32| self.ev[(v * cols + u) as usize];
                    ev[(y * cols + x) as usize] = 0.25 * (at(x0, y0) + at(x1, y0) + at(x0, y1) + at(x1, y1));
                }
            }
        }
        Self { ev, ..*self }
    }
}

/// Compares two small pictures. `None` where too few cells hold tone in both.
#[must_use]
pub fn compare(first: &Likeness, second: &Likeness) -> Option<Alike> {
    relate_pictures(Picture::of(first)?, Picture::of(second)?)
}

/// The same of two pictures of which the second should be brighter by so many EV. A cell's mean hides that a part of it is
/// clipped: where the darker picture says that the brighter one is near saturation the cells are left out, unless too few are
/// left.
#[must_use]
pub fn compare_exposed(first: &Likeness, second: &Likeness, brighter_ev: f64) -> Option<Alike> {
    let (mut a, mut b) = (Picture::of(first)?, Picture::of(second)?);
    let step = brighter_ev.abs() as f32;
    if f64::from(step) < UNLIKE_EV || a.ev.len() != b.ev.len() {
        return relate_pictures(a, b);
    }
    for (a, b) in a.ev.iter_mut().zip(&mut b.ev) {
        let darker = if brighter_ev > 0.0 { *a } else { *b };
        if darker - step < PARTLY_CLIPPED_EV {
            (*a, *b) = (f32::NAN, f32::NAN);
        }
    }
    relate_pictures(a, b).or_else(|| compare(first, second))
}

fn relate_pictures(first: Picture, second: Picture) -> Option<Alike> {
    if (first.cols, first.rows) != (second.cols, second.rows) {
        return None;
    }
    let mut still = relate(&first, &second, (0, 0))?;
    still.brighter_ev = brighter_ev(&first, &second).unwrap_or(still.brighter_ev);
    if still.correlation >= ENOUGH {
        return Some(still);
    }
    let (first, second) = (first.softened(), second.softened());
    let reach = 2 * (first.cols.max(first.rows) / REACH) as i32;
    let whole = |halves: (i32, i32)| halves.0 % 2 == 0 && halves.1 % 2 == 0;
    let shifts = || (-reach..=reach).flat_map(move |dy| (-reach..=reach).map(move |dx| (dx, dy)));
    let best_of = |wanted: &dyn Fn((i32, i32)) -> bool| {
        let related = shifts().filter(|s| wanted(*s)).filter_map(|s| relate(&first, &second.moved(s.0, s.1), s));
        related.max_by(|a, b| a.correlation.total_cmp(&b.correlation))
    };
    let mut best = best_of(&whole);
    if best.is_some_and(|b| b.correlation > HOPELESS) {
        let between = best_of(&|s| !whole(s));
        best = best.into_iter().chain(between).max_by(|a, b| a.correlation.total_cmp(&b.correlation));
    }
    // A shift must be worth it: softened pictures agree a little better by themselves. What it says of the exposure
    // comes of the cells that it leaves out.
    let best = best.filter(|best| best.correlation >= still.correlation + WORTH).unwrap_or(still);
    Some(Alike { brighter_ev: still.brighter_ev, ..best })
}

/// By how much the second picture is brighter, EV: the median over the cells, since cells in which a part is clipped
/// differ by less.
fn brighter_ev(first: &Picture, second: &Picture) -> Option<f64> {
    let mut differences: Vec<f32> = first.ev.iter().zip(&second.ev).map(|(a, b)| a - b).collect();
    differences.retain(|d| !d.is_nan());
    differences.sort_by(f32::total_cmp);
    differences.get(differences.len() / 2).map(|d| f64::from(*d))
}

/// Adds a pair of cells or steps, where both are known.
fn add_known(sums: &mut PairSums, a: f32, b: f32) {
    if !a.is_nan() && !b.is_nan() {
        sums.add(f64::from(a), f64::from(b));
    }
}

/// The comparison of two pictures as they lie.
fn relate(first: &Picture, second: &Picture, halves: (i32, i32)) -> Option<Alike> {
    let (cols, rows) = (first.cols, first.rows);
    let (mut across, mut down, mut levels) = (PairSums::default(), PairSums::default(), PairSums::default());
    for y in 0..rows {
        let row = y * cols;
        for x in 0..cols {
            let i = row + x;
            let (a, b) = (first.ev[i], second.ev[i]);
            add_known(&mut levels, a, b);
            if x + 1 < cols {
                add_known(&mut across, first.ev[i + 1] - a, second.ev[i + 1] - b);
            }
            if y + 1 < rows {
                add_known(&mut down, first.ev[i + cols] - a, second.ev[i + cols] - b);
            }
        }
    }
    let share = levels.n / (cols * rows) as f64;
    let n = across.n + down.n;
    if share < LEAST_CELLS || levels.n < 12.0 || n < 12.0 {
        return None;
    }
    let [va, vb, covariance] = levels.about_means();
    let differs_ev = ((va + vb - 2.0 * covariance).max(0.0) / levels.n).sqrt();
    // The overall slope of each direction is taken out: a sky's is in every sky.
    let [x, y] = [across.about_means(), down.about_means()];
    let of = |sum: f64| (sum - n * STORED_EV2).max(0.0);
    let (aa, bb) = (of(x[0] + y[0]), of(x[1] + y[1]));
    let plain = n * PLAIN_EV * PLAIN_EV;
    let correlation = if aa < plain && bb < plain {
        1.0 - differs_ev / PLAIN_DIFFERS_EV
    } else if aa <= 0.0 || bb <= 0.0 {
        0.0
    } else {
        ((x[2] + y[2]) / (aa * bb).sqrt()).min(1.0)
    };
    // Spread of the levels below which they are plain too: that of the steps, many times over.
    let level = if va.min(vb) < levels.n * PLAIN_DIFFERS_EV.powi(2) { 1.0 } else { covariance / (va * vb).sqrt() };
    Some(Alike {
        correlation,
        levels: level,
        differs_ev,
        brighter_ev: (levels.a - levels.b) / levels.n,
        cells: share,
        shift: (f64::from(halves.0) / 2.0, f64::from(halves.1) / 2.0),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Cells of a made-up picture: a function of the place, in EV below saturation.
    fn picture(ev: impl Fn(f64, f64) -> f64) -> Likeness {
        let at = |i: usize| ev((i % 32) as f64, (i / 32) as f64);
        let stored = |ev: f64| (ev * 16.0).round().clamp(0.0, 255.0) as u8;
        Likeness { cols: 32, rows: 24, below_saturation: (0..768).map(|i| stored(at(i))).collect() }
    }

    /// Soft hills of a few cells, their places by a phase.
    fn hills(x: f64, y: f64, phase: f64) -> f64 {
        4.0 + (0.45 * x + phase).sin() * (0.3 * y + 2.3 * phase).cos() + 0.6 * (0.02 * y * x + 0.1 * y + phase).sin()
    }

    #[test]
    fn exposure_drops_out_and_is_told() {
        let (a, b) = (picture(|x, y| hills(x, y, 0.0)), picture(|x, y| hills(x, y, 0.0) - 1.5));
        let alike = compare(&a, &b).unwrap();
        assert!(alike.correlation > 0.99 && (alike.brighter_ev - 1.5).abs() < 0.01, "{alike:?}");
        assert!(alike.differs_ev < 0.02 && alike.shift == (0.0, 0.0));
    }

    /// Cells of light and dark parts side by side: in the brighter frame the light part clips first, and the mean lags
    /// behind. Truth: the exposure step that was put in.
    #[test]
    fn what_is_clipped_in_part_does_not_lower_the_step() {
        let parts = |x: f64, y: f64| (hills(x, y, 0.0) - 2.5, hills(x, y, 0.0) - 0.5);
        let exposed = |ev: f64| {
            picture(move |x, y| {
                let (light, dark) = parts(x, y);
                let clipped = |below: f64| (ev - below).exp2().min(1.0);
                -(0.5 * (clipped(light) + clipped(dark))).log2()
            })
        };
        for step in [1.0, 2.0] {
            let (a, b) = (exposed(0.0), exposed(step));
            let alike = compare_exposed(&a, &b, step).unwrap();
            assert!((alike.brighter_ev - step).abs() < 0.06, "{step}: {alike:?}");
            let lag = step - compare(&a, &b).unwrap().brighter_ev;
            assert!(step < 2.0 || lag > 0.1, "{step}: without it, {lag} EV less");
            let back = compare_exposed(&b, &a, -step).unwrap();
            assert!((back.brighter_ev + step).abs() < 0.06, "{step}: {back:?}");
        }
        assert!(compare_exposed(&exposed(0.0), &exposed(6.0), 6.0).is_none(), "all of it is white");
    }

    #[test]
    fn shifts_of_parts_of_a_cell_are_found() {
        let a = picture(|x, y| hills(x, y, 0.0));
        for (dx, dy) in [(0.5, 0.0), (-1.0, 0.5), (1.5, -1.0)] {
            // What is at (x, y) in the first lies at (x + dx, y + dy) in the second.
            let alike = compare(&a, &picture(|x, y| hills(x - dx, y - dy, 0.0))).unwrap();
            assert!(alike.correlation > 0.97, "{dx} {dy}: {alike:?}");
        }
        let other = compare(&a, &picture(|x, y| hills(x, y, 1.9))).unwrap();
        assert!(other.correlation < 0.7, "{other:?}");
    }

    /// One sky, other things in it: the levels correlate by 0.98 and more, the steps do not.
    #[test]
    fn a_shared_sky_is_no_likeness() {
        let thing = |x: f64, y: f64, cx: f64| if (x - cx).hypot(y - 17.0) < 3.0 { 1.5 } else { 0.0 };
        let scene = |cx: f64| picture(move |x, y| 2.0 + 0.12 * y + thing(x, y, cx));
        assert!(compare(&scene(8.0), &scene(8.0)).unwrap().correlation > 0.95);
        assert!(compare(&scene(8.0), &scene(22.0)).unwrap().correlation < 0.4);
    }

    #[test]
    fn plain_pictures_agree_and_clipped_ones_tell_nothing() {
        assert!(compare(&picture(|_, _| 3.0), &picture(|_, _| 5.0)).unwrap().correlation > 0.95);
        assert!(compare(&picture(|_, _| 3.0), &picture(|_, _| 0.0)).is_none());
        assert!(compare(&Likeness::default(), &picture(|_, _| 3.0)).is_none());
    }
}
