//! Long straight edges, as test targets have them: found from the edges of the frame, followed along their length.

use rawassay_decode::{Area, Frame};

use super::collect::collect;
use super::edge::Edge;
use super::samples::{ColourSamples, colour_groups};
use super::step_fit::fit_line;
use super::window::{Place, Source, Window};
use crate::bench::slanted_edge::Line;
use crate::measures::Channel;

/// Step over noise that an edge of a target has at least.
const LEAST_CONTRAST: f32 = 5.0;
/// Step along an edge when it is followed, px.
const STRIDE_PX: f64 = 6.0;
/// Change of the step along the edge at which it ends, share of it.
const FADE: f64 = 0.3;
/// Change of a side's level across the edge at which its plain part ends, share of the step.
const UNEVEN: f64 = 0.08;
/// Farthest that a side is followed, px.
const ROOM_PX: f64 = 52.0;
/// Longest lines that are kept.
const MOST_LINES: usize = 8;
/// Bend of the edge over its length that its profile bears, px.
const MOST_BEND_PX: f64 = 0.25;

/// Samples of one filter colour, for a target's edges.
pub struct OneColour<'a>(ColourSamples<'a>);

impl<'a> OneColour<'a> {
    /// Every colour of the filter array, that with most samples first.
    #[must_use]
    pub fn all(frame: &'a Frame, channels: &[Channel]) -> Vec<Self> {
        colour_groups(frame).iter().map(|planes| Self(ColourSamples::new(frame, channels, planes))).collect()
    }

    /// Name of the colour.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.0.name
    }

    /// Samples within `half` px of the line: distance across, place along, level above black (DN).
    ///
    /// # Errors
    /// Where the band leaves the picture or holds clipped samples.
    pub fn band(&self, line: &Line, half: f64) -> Result<Vec<(f64, f64, f64)>, String> {
        let mut window = Window::default();
        let middle = f64::midpoint(line.along.0, line.along.1);
        let (nx, ny) = line.normal;
        let at = Place {
            x: (line.at.0 - middle * ny) as f32,
            y: (line.at.1 + middle * nx) as f32,
            nx: nx as f32,
            ny: ny as f32,
        };
        window.gather(&Source::Mosaic(&self.0), at, half as f32, (line.length_px() / 2.0) as f32);
        if window.outside {
            return Err("the edge lies too near the border of the picture".into());
        }
        if window.clipped {
            return Err("the bright side is clipped: expose the target less".into());
        }
        let samples = window.samples();
        if samples.len() < 200 {
            return Err("the edge is too short".into());
        }
        Ok(samples)
    }

    /// The line moved and turned onto the edge (least squares of a blurred step over all samples of the band).
    ///
    /// # Errors
    /// Where there is no edge, or a bent one.
    pub fn straighten(&self, line: &Line, samples: &[(f64, f64, f64)]) -> Result<Line, String> {
        let fit = fit_line(samples, line.sigma_px as f32).ok_or("no single straight edge")?;
        let half = line.length_px() / 2.0;
        if fit.bend.abs() * half * half > MOST_BEND_PX.max(0.3 * fit.sigma) {
            return Err(
                "the edge is bent (lens distortion, or a target that is not flat): give a shorter region".into()
            );
        }
        if fit.shift.abs() > 6.0 || fit.slope.abs() > 0.2 {
            return Err("no single straight edge".into());
        }
        let (nx, ny) = line.normal;
        let middle = f64::midpoint(line.along.0, line.along.1);
        let at = (line.at.0 - middle * ny + fit.shift * nx, line.at.1 + middle * nx + fit.shift * ny);
        let (s, c) = fit.slope.atan().sin_cos();
        Ok(Line {
            at,
            normal: (nx * c + ny * s, ny * c - nx * s),
            along: (-half, half),
            sigma_px: fit.sigma,
            room_px: line.room_px,
        })
    }

    /// Mean level and count of samples round a place of the line, `t` across and `u` along, within 2 and 4 px.
    fn mean_at(&self, line: &Line, t: f64, u: f64, within: &Area) -> Option<f64> {
        let (nx, ny) = line.normal;
        let (x, y) = (line.at.0 + t * nx - u * ny, line.at.1 + t * ny + u * nx);
        let inside = x >= within.x as f64 + 3.0
            && y >= within.y as f64 + 3.0
            && x < within.right() as f64 - 4.0
            && y < within.bottom() as f64 - 4.0;
        if !inside {
            return None;
        }
        let (x0, y0) = (x.round() as usize - 3, y.round() as usize - 3);
        let spp = self.0.frame.filter.samples_per_pixel;
        let (mut sum, mut n) = (0.0, 0.0);
        for row in y0..=y0 + 6 {
            for column in x0..=x0 + 6 {
                let (dx, dy) = (column as f64 - x, row as f64 - y);
                let (across, along) = (dx * nx + dy * ny, dy * nx - dx * ny);
                if across.abs() > 1.6 || along.abs() > 3.0 {
                    continue;
                }
                if let Some(cell) = self.0.cell_at(column, row) {
                    let dn = self.0.frame.row(row)[column * spp + self.0.sample];
                    sum += f64::from((f32::from(dn) - cell.black_dn) * cell.scale);
                    n += 1.0;
                }
            }
        }
        (n > 0.0).then(|| sum / n)
    }
}

/// Straight edges of at least `shortest_px`, longest first; only within `region` (full frame) where one is given.
#[must_use]
pub fn target_edges(frame: &Frame, channels: &[Channel], region: Option<Area>, shortest_px: f64) -> Vec<Line> {
    let Some(planes) = colour_groups(frame).into_iter().next() else { return Vec::new() };
    let mut samples = ColourSamples::new(frame, channels, &planes);
    if let Some(region) = region {
        samples.area = samples.area.intersect(&region);
    }
    let within = samples.area;
    let mut edges = collect(&samples).edges;
    edges.retain(|e| e.contrast_to_noise >= LEAST_CONTRAST);
    edges.sort_by(|a, b| a.error_place_px.total_cmp(&b.error_place_px));
    let colour = OneColour(samples);
    let mut lines: Vec<Line> = Vec::new();
    for edge in &edges {
        let on_known = lines.iter().any(|line| on_line(line, edge));
        if on_known {
            continue;
        }
        if let Some(line) = follow(&colour, edge, &edges, &within).filter(|l| l.length_px() >= shortest_px) {
            lines.push(line);
        }
    }
    lines.sort_by(|a, b| b.length_px().total_cmp(&a.length_px()));
    // A target is what is long for the region looked at; short bits of scenery are not.
    let longest = lines.first().map_or(0.0, Line::length_px);
    lines.retain(|l| l.length_px() >= 0.5 * longest);
    lines.truncate(MOST_LINES);
    lines
}

fn on_line(line: &Line, edge: &Edge) -> bool {
    let (t, u) = across_along(line, edge);
    t.abs() < 3.0 && u > line.along.0 - 8.0 && u < line.along.1 + 8.0
}

fn across_along(line: &Line, edge: &Edge) -> (f64, f64) {
    let (dx, dy) = (f64::from(edge.x_px) - line.at.0, f64::from(edge.y_px) - line.at.1);
    (dx * line.normal.0 + dy * line.normal.1, dy * line.normal.0 - dx * line.normal.1)
}

/// Follows an edge both ways while its step stays what it is, and out to both sides while they stay plain.
fn follow(colour: &OneColour<'_>, seed: &Edge, edges: &[Edge], within: &Area) -> Option<Line> {
    let sigma = f64::from(seed.sigma_px);
    let mut line = Line {
        at: (f64::from(seed.x_px), f64::from(seed.y_px)),
        normal: (f64::from(seed.normal.0), f64::from(seed.normal.1)),
        along: (0.0, 0.0),
        sigma_px: sigma,
        room_px: ROOM_PX,
    };
    // Other measured places on the same line steady its direction.
    let mut reach = 40.0;
    for _ in 0..6 {
        let (mut tu, mut uu) = (0.0, 0.0);
        for edge in edges {
            let (t, u) = across_along(&line, edge);
            let same = f64::from(edge.normal.0) * line.normal.0 + f64::from(edge.normal.1) * line.normal.1 > 0.998;
            if same && u.abs() < reach && t.abs() < 0.5 + 0.02 * u.abs() {
                tu += t * u;
                uu += u * u;
            }
        }
        if uu > 0.0 {
            let (s, c) = (tu / uu).atan().sin_cos();
            let (nx, ny) = line.normal;
            line.normal = (nx * c + ny * s, ny * c - nx * s);
        }
        reach *= 2.0;
    }
    let off = 2.5 * sigma + 2.0;
    let step_at = |u: f64| Some((colour.mean_at(&line, -off, u, within)?, colour.mean_at(&line, off, u, within)?));
    let (low, high) = step_at(0.0)?;
    let step = high - low;
    if step <= 0.0 {
        return None;
    }
    let mut ends = [0.0_f64; 2];
    for (end, sign) in ends.iter_mut().zip([-1.0, 1.0]) {
        let mut u = 0.0;
        while let Some((a, b)) = step_at(u) {
            if (a - low).abs() > FADE * step || (b - high).abs() > FADE * step {
                break;
            }
            *end = u;
            u += sign * STRIDE_PX;
        }
    }
    // The ends of an edge are corners: keep clear of them.
    let clear = off + 2.0;
    line.along = (ends[0] + clear, ends[1] - clear);
    if line.length_px() < STRIDE_PX {
        return None;
    }
    line.room_px = room(colour, &line, off, (low, high), within);
    Some(line)
}

/// How far both sides stay at their level, px from the edge.
fn room(colour: &OneColour<'_>, line: &Line, from: f64, (low, high): (f64, f64), within: &Area) -> f64 {
    let mut t = from;
    let places = (line.length_px() / STRIDE_PX) as usize + 1;
    while t < ROOM_PX {
        for k in 0..places {
            let u = line.along.0 + k as f64 * STRIDE_PX;
            let plain = |side: f64, level: f64| {
                colour
                    .mean_at(line, side, u, within)
                    .is_some_and(|m| (m - level).abs() < UNEVEN.max(0.0) * (high - low) + 0.05 * level)
            };
            if !plain(-t, low) || !plain(t, high) {
                return t - 2.0;
            }
        }
        t += 2.0;
    }
    ROOM_PX
}
