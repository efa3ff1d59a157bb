//! Long straight edges, as test targets have them: found from the edges of the frame, followed along their length.

use rawassay_decode::{Area, Frame};

use super::collect::collect;
use super::edge::Edge;
use super::samples::{ColourSamples, SATURATED, colour_groups};
use super::step_fit::fit_line;
use super::window::crossing;
use crate::bench::edge_line::Line;
use crate::measures::Channel;

/// Step over noise that an edge of a target has at least.
const LEAST_CONTRAST: f32 = 5.0;
/// Step along an edge when it is followed, px.
const STRIDE_PX: f64 = 6.0;
/// Change of the step along the edge at which it ends, share of it.
const FADE: f64 = 0.3;
/// Change of a side's level across the edge at which its plain part ends, share of the step.
const UNEVEN: f64 = 0.08;
/// Standard deviations of one median by which two of them may differ by chance: 3.5 of their difference, one pair in
/// 2500. Of the some hundred pairs beside an edge one would in 4 % of edges, but for what levels may differ by all the same.
const CHANCE: f64 = 5.0;
/// Farthest that a side is followed, px.
const ROOM_PX: f64 = 52.0;
/// Longest lines that are kept.
const MOST_LINES: usize = 8;
/// Bend of the edge over its length that is taken off, px from its middle to its ends.
const MOST_BEND_PX: f64 = 8.0;
/// Rounds in which a bent edge is followed farther.
const BEND_ROUNDS: usize = 3;

/// Share of clipped samples in the region looked at that tells why no edge was found.
const MANY_CLIPPED: f64 = 0.05;
/// Share of clipped samples up to which they are taken for defective pixels.
const MOST_CLIPPED: f64 = 0.005;

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

    /// Samples within `half` px of the line: distance across, place along, level above black (DN). Single
    /// clipped samples are left out: defective pixels.
    ///
    /// # Errors
    /// Where the band leaves the picture or holds more clipped samples.
    pub fn band(&self, line: &Line, half: f64) -> Result<Vec<(f64, f64, f64)>, String> {
        let middle = f64::midpoint(line.along.0, line.along.1);
        let half_length = line.length_px() / 2.0;
        let (nx, ny) = line.normal;
        let (x0, y0) = (line.at.0 - middle * ny, line.at.1 + middle * nx);
        // A bent edge leaves its line by so much.
        let across = half + line.sagitta_px();
        let (reach_x, reach_y) =
            (across * nx.abs() + half_length * ny.abs(), across * ny.abs() + half_length * nx.abs());
        let area = &self.0.area;
        let outside = x0 - reach_x < area.x as f64
            || y0 - reach_y < area.y as f64
            || x0 + reach_x > area.right() as f64 - 1.0
            || y0 + reach_y > area.bottom() as f64 - 1.0;
        if outside {
            return Err("the edge lies too near the border of the picture".into());
        }
        let spp = self.0.frame.filter.samples_per_pixel;
        let (mut samples, mut clipped) = (Vec::new(), 0_usize);
        for row in (y0 - reach_y).ceil() as usize..=(y0 + reach_y).floor() as usize {
            let dy = row as f64 - y0;
            let (a, b) = crossing(nx as f32, (ny * dy) as f32, across as f32);
            let (c, d) = crossing(-ny as f32, (nx * dy) as f32, half_length as f32);
            let first = (x0 + f64::from(a.max(c)).max(-reach_x)).ceil();
            let last = (x0 + f64::from(b.min(d)).min(reach_x)).floor();
            if first > last {
                continue;
            }
            let dn = self.0.frame.row(row);
            for column in first as usize..=last as usize {
                let Some(cell) = self.0.cell_at(column, row) else { continue };
                let (dn, dx) = (dn[column * spp + self.0.sample], column as f64 - x0);
                let u = dy * nx - dx * ny + middle;
                let t = (dx * nx + dy * ny - line.bend * u * u) / (2.0 * line.bend * u).hypot(1.0);
                if t.abs() > half {
                    continue;
                }
                if dn >= cell.clip_dn {
                    clipped += 1;
                    continue;
                }
                let level = (f32::from(dn) - cell.black_dn) * cell.scale;
                samples.push((t, u, f64::from(level)));
            }
        }
        if clipped as f64 > MOST_CLIPPED * (samples.len() + clipped) as f64 {
            return Err("the bright side is clipped: expose the target less".into());
        }
        if samples.len() < 200 {
            return Err("the edge is too short".into());
        }
        Ok(samples)
    }

    /// The line moved, turned and bent onto the edge (least squares of a blurred step over all samples of the band). It
    /// begins and ends equally far from its place.
    ///
    /// # Errors
    /// Where there is no edge, or one too bent.
    pub fn straighten(&self, line: &Line, samples: &[(f64, f64, f64)]) -> Result<Line, String> {
        let fit = fit_line(samples, line.sigma_px as f32).ok_or("no single straight edge")?;
        if fit.shift.abs() > 6.0 || fit.slope.abs() > 0.2 {
            return Err("no single straight edge".into());
        }
        let (nx, ny) = line.normal;
        let straight = Line {
            at: (line.at.0 + fit.shift * nx, line.at.1 + fit.shift * ny),
            normal: turned(line.normal, fit.slope),
            bend: line.bend + fit.bend,
            sigma_px: fit.sigma,
            ..*line
        };
        if straight.sagitta_px() > MOST_BEND_PX {
            return Err(
                "the edge is bent (lens distortion, or a target that is not flat): give a shorter region".into()
            );
        }
        Ok(straight.centred())
    }

    /// Median level of the samples round a place of the line, `t` across and `u` along, within 1.6 and 3 px: a defective
    /// pixel does not count.
    fn level_at(&self, line: &Line, t: f64, u: f64, within: &Area) -> Option<f64> {
        let (nx, ny) = line.normal;
        let t = t + line.bend * u * u;
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
        let mut levels = Vec::new();
        for row in y0..=y0 + 6 {
            for column in x0..=x0 + 6 {
                let (dx, dy) = (column as f64 - x, row as f64 - y);
                let (across, along) = (dx * nx + dy * ny, dy * nx - dx * ny);
                if across.abs() > 1.6 || along.abs() > 3.0 {
                    continue;
                }
                if let Some(cell) = self.0.cell_at(column, row) {
                    let dn = self.0.frame.row(row)[column * spp + self.0.sample];
                    levels.push((f32::from(dn) - cell.black_dn) * cell.scale);
                }
            }
        }
        levels.sort_by(f32::total_cmp);
        let n = levels.len();
        (n > 0).then(|| f64::from(f32::midpoint(levels[(n - 1) / 2], levels[n / 2])))
    }
}

/// Straight edges of a target.
pub struct Targets {
    /// Longest first.
    pub lines: Vec<Line>,
    /// Further ones that are short for the region looked at, or too many.
    pub left_out: usize,
    /// Much of the region looked at is clipped.
    pub clipped: bool,
}

/// Straight edges of at least `shortest_px`; only within `region` (full frame) where one is given.
#[must_use]
pub fn target_edges(frame: &Frame, channels: &[Channel], region: Option<Area>, shortest_px: f64) -> Targets {
    let mut found = Targets { lines: Vec::new(), left_out: 0, clipped: false };
    let Some(planes) = colour_groups(frame).into_iter().next() else { return found };
    let mut samples = ColourSamples::new(frame, channels, &planes);
    if let Some(region) = region {
        samples.area = samples.area.intersect(&region);
    }
    let within = samples.area;
    found.clipped = clipped_share(&samples) > MANY_CLIPPED;
    let mut edges = collect(&samples).edges;
    edges.retain(|e| e.contrast_to_noise >= LEAST_CONTRAST);
    edges.sort_by(|a, b| a.error_place_px.total_cmp(&b.error_place_px));
    let colour = OneColour(samples);
    let mut lines: Vec<Line> = Vec::new();
    for edge in &edges {
        if lines.iter().any(|line| on_line(line, edge)) {
            continue;
        }
        // One edge is told once, also where two places on it led to lines a little apart.
        let line = follow(&colour, edge, &edges, &within)
            .filter(|l| l.length_px() >= shortest_px && !lines.iter().any(|known| known.same_edge(l)));
        lines.extend(line);
    }
    lines.sort_by(|a, b| b.length_px().total_cmp(&a.length_px()));
    // A target is what is long for the region looked at; short bits of scenery are not.
    let longest = lines.first().map_or(0.0, Line::length_px);
    let all = lines.len();
    lines.retain(|l| l.length_px() >= 0.5 * longest);
    lines.truncate(MOST_LINES);
    Targets { left_out: all - lines.len(), lines, ..found }
}

/// Share of clipped samples.
fn clipped_share(samples: &ColourSamples<'_>) -> f64 {
    let area = &samples.area;
    let mut row = vec![0.0; area.width];
    let mut clipped = 0;
    for y in area.y..area.bottom() {
        samples.fill_row(area.x, y, &mut row);
        clipped += row.iter().filter(|v| **v >= SATURATED).count();
    }
    clipped as f64 / (f64::from(samples.density()) * (area.width * area.height).max(1) as f64)
}

/// A normal turned by a slope of its line.
pub(crate) fn turned((nx, ny): (f64, f64), slope: f64) -> (f64, f64) {
    let (s, c) = slope.atan().sin_cos();
    (nx * c + ny * s, ny * c - nx * s)
}

fn on_line(line: &Line, edge: &Edge) -> bool {
    let (t, u) = across_along(line, edge);
    t.abs() < 3.0 && u > line.along.0 - 8.0 && u < line.along.1 + 8.0
}

fn across_along(line: &Line, edge: &Edge) -> (f64, f64) {
    let (dx, dy) = (f64::from(edge.x_px) - line.at.0, f64::from(edge.y_px) - line.at.1);
    let u = dy * line.normal.0 - dx * line.normal.1;
    (dx * line.normal.0 + dy * line.normal.1 - line.bend * u * u, u)
}

/// Follows an edge both ways while its step stays what it is, and out to both sides while they stay plain.
fn follow(colour: &OneColour<'_>, seed: &Edge, edges: &[Edge], within: &Area) -> Option<Line> {
    let sigma = f64::from(seed.sigma_px);
    let mut line = Line {
        at: (f64::from(seed.x_px), f64::from(seed.y_px)),
        normal: (f64::from(seed.normal.0), f64::from(seed.normal.1)),
        along: (0.0, 0.0),
        bend: 0.0,
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
            line.normal = turned(line.normal, tu / uu);
        }
        reach *= 2.0;
    }
    let off = 2.5 * sigma + 2.0;
    line = line.reaching(ends(colour, &line, off, within)?)?;
    for _ in 0..BEND_ROUNDS {
        // An edge that is bent goes on where the straight line has left it.
        let band = colour.band(&line, off + 2.0);
        let Ok(fitted) = band.and_then(|samples| colour.straighten(&line, &samples)) else { break };
        let fitted = Line { sigma_px: sigma, ..fitted };
        let Some(longer) = ends(colour, &fitted, off, within).and_then(|ends| fitted.reaching(ends)) else { break };
        let done = longer.length_px() < line.length_px() + STRIDE_PX;
        line = longer;
        if done {
            break;
        }
    }
    line.room_px = room(colour, &line, off, within);
    Some(line)
}

/// From where to where along a line its step stays what it is, clear of the corners.
fn ends(colour: &OneColour<'_>, line: &Line, off: f64, within: &Area) -> Option<(f64, f64)> {
    let step_at = |u: f64| Some((colour.level_at(line, -off, u, within)?, colour.level_at(line, off, u, within)?));
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
    let clear = off + 2.0;
    (ends[1] - ends[0] - 2.0 * clear >= STRIDE_PX).then_some((ends[0] + clear, ends[1] - clear))
}

/// Standard deviation of values about their neighbours: from the median of their differences, so that a few steps do not count.
fn scatter(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    let mut steps: Vec<f64> = values.windows(2).map(|p| (p[1] - p[0]).abs()).collect();
    if steps.len() < 4 {
        return 0.0;
    }
    let middle = steps.len() / 2;
    // Median of |difference| of a normal distribution: 0.6745 x sqrt(2) standard deviations.
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1 / 0.954
}

/// How far both sides keep the level that they have beside the edge at the same place along it, px from the edge.
fn room(colour: &OneColour<'_>, line: &Line, from: f64, within: &Area) -> f64 {
    let places = (line.length_px() / STRIDE_PX) as usize + 1;
    let beside: Vec<(f64, f64, f64)> = (0..places)
        .filter_map(|k| {
            let u = line.along.0 + k as f64 * STRIDE_PX;
            Some((u, colour.level_at(line, -from, u, within)?, colour.level_at(line, from, u, within)?))
        })
        .collect();
    // Medians of few samples scatter with the noise: where there is much, the side would seem to end by chance.
    let noise = CHANCE * scatter(beside.iter().map(|b| b.1)).max(scatter(beside.iter().map(|b| b.2)));
    let mut t = from;
    while t < ROOM_PX {
        let plain = beside.iter().all(|&(u, low, high)| {
            let keeps = |side: f64, level: f64| {
                colour
                    .level_at(line, side, u, within)
                    .is_some_and(|m| (m - level).abs() < UNEVEN * (high - low).max(0.0) + 0.05 * level + noise)
            };
            keeps(-t, low) && keeps(t, high)
        });
        if !plain {
            return t - 2.0;
        }
        t += 2.0;
    }
    ROOM_PX
}
