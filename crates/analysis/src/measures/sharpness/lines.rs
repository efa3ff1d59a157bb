//! Thin lines (wires, ropes, branches, strokes): behind a wide blur each flank of one reads as an edge narrower than the blur,
//! and nothing in the line itself tells. Plain edges beside them do.
//!
//! A line of no width behind a disc of radius r is half an ellipse, which a bar of 1.7 r with edges of a third of r resembles
//! within a few per cent of the step (own derivation). So flanks are taken out where edges with plain sides are wider.

use super::candidates::{DIRECTIONS, direction_bin};
use super::edge::Edge;
use super::kind::{CLEARLY_SHARP, allowance_px};
use super::stack::normal_deg;
use super::summary::{Reading, sharp_mean_ln};

/// Fewest plain edges of one direction that are held against flanks there.
const LEAST_ALIKE: usize = 3;
/// Fewest plain edges of all directions that are held against flanks of directions that have none.
const LEAST_PLAIN: usize = 6;
/// A direction is one of lines where at least one in so many of its edges has shown to be a flank.
const MANY_LINES: usize = 4;
/// Cosine of the greatest angle between edges of one direction: 15 degrees.
const SAME_WAY: f64 = 0.966;
/// Ratio of the spread of plain edges to that of a flank from which the flank is one of a line: 1.6 for a line of no width.
const NARROWER: f64 = 1.3;

/// Takes out the flanks of lines that are narrower than the plain edges of their direction, or of the frame. Those as sharp as a
/// good lens leaves them stay: no wide blur lies over them.
pub(super) fn take_out(edges: &mut Vec<Edge>) {
    if !edges.iter().any(|e| e.line) {
        return;
    }
    let of_lines = directions_of_lines(edges);
    let of_lines = |e: &Edge| of_lines[direction_bin(e.normal.0, e.normal.1)];
    let plain: Vec<(f64, Reading)> =
        edges.iter().filter(|e| !e.line && !of_lines(e)).map(|e| (normal_deg(e), e.reading())).collect();
    let sharp_px = |readings: &[Reading], least: usize| {
        sharp_mean_ln(readings).filter(|_| readings.len() >= least).map(|(ln, _)| ln.exp())
    };
    let all: Vec<Reading> = plain.iter().map(|p| p.1).collect();
    let of_frame = sharp_px(&all, LEAST_PLAIN);
    let lens_px = CLEARLY_SHARP * allowance_px(None);
    edges.retain(|edge| {
        let sigma_px = f64::from(edge.sigma_px);
        let among_lines = of_lines(edge);
        if !(edge.line || among_lines) || sigma_px * f64::from(edge.error_ln).exp() < lens_px {
            return true;
        }
        let deg = normal_deg(edge);
        let alike: Vec<Reading> =
            plain.iter().filter(|p| (p.0 - deg).to_radians().cos().abs() > SAME_WAY).map(|p| p.1).collect();
        let there = sharp_px(&alike, LEAST_ALIKE).filter(|_| !among_lines);
        there.or(of_frame).is_none_or(|px| sigma_px * NARROWER > px)
    });
}

/// Directions in which many edges have shown to be flanks: more of them will not have shown that they are.
fn directions_of_lines(edges: &[Edge]) -> [bool; DIRECTIONS] {
    let mut counts = [(0, 0); DIRECTIONS];
    for edge in edges {
        let (all, lines) = &mut counts[direction_bin(edge.normal.0, edge.normal.1)];
        *all += 1;
        *lines += usize::from(edge.line);
    }
    counts.map(|(all, lines)| lines > 0 && MANY_LINES * lines >= all)
}

/// The edges that neither are flanks of lines nor face as many of them do.
pub(super) fn plain(edges: &[Edge]) -> Vec<&Edge> {
    let of_lines = directions_of_lines(edges);
    edges.iter().filter(|e| !e.line && !of_lines[direction_bin(e.normal.0, e.normal.1)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(deg: f32, sigma_px: f32, line: bool) -> Edge {
        Edge { line, ..Edge::facing(deg, sigma_px) }
    }

    /// What is left of some flanks at 90 degrees among twelve plain edges at that angle.
    fn left(flank: &Edge, plain_deg: f32, plain_px: f32) -> usize {
        let mut edges = vec![flank.clone(); 2];
        edges.extend(vec![edge(plain_deg, plain_px, false); 12]);
        take_out(&mut edges);
        edges.len()
    }

    #[test]
    fn flanks_narrower_than_plain_edges_are_taken_out() {
        // A disc of 6 px: plain edges of 3 px, flanks of a line of no width of 2.
        let flank = edge(90.0, 2.0, true);
        assert_eq!(left(&flank, 90.0, 3.0), 12);
        // With no plain edges of their direction, those of the frame speak.
        assert_eq!(left(&flank, 0.0, 3.0), 12);
        // As wide as the plain ones, or not shown to be a flank: they stay.
        assert_eq!(left(&edge(90.0, 2.6, true), 90.0, 3.0), 14);
        assert_eq!(left(&edge(90.0, 2.0, false), 90.0, 3.0), 14);
    }

    #[test]
    fn flanks_stay_where_nothing_contradicts_them() {
        // As sharp as a good lens leaves them: the wide edges are the background.
        assert_eq!(left(&edge(90.0, 0.8, true), 90.0, 3.0), 14);
        let mut alone = vec![edge(90.0, 2.0, true); 5];
        take_out(&mut alone);
        assert_eq!(alone.len(), 5);
    }

    #[test]
    fn edges_that_face_as_flanks_do_are_not_plain() {
        let mut edges = vec![edge(90.0, 0.8, true); 2];
        edges.extend(vec![edge(90.0, 0.8, false); 4]);
        edges.extend(vec![edge(0.0, 3.0, false); 5]);
        assert_eq!(plain(&edges).len(), 5);
        // One flank among many is chance.
        edges.extend(vec![edge(90.0, 0.8, false); 6]);
        assert_eq!(plain(&edges).len(), 15);
    }

    #[test]
    fn all_edges_of_a_direction_of_lines_are_held_against_the_frame() {
        let mut edges = vec![edge(90.0, 2.0, true); 2];
        edges.extend(vec![edge(90.0, 2.0, false); 4]);
        edges.extend(vec![edge(0.0, 3.0, false); 12]);
        take_out(&mut edges);
        assert_eq!(edges.len(), 12);
    }
}
