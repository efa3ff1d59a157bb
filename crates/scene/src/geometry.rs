//! Shapes with sub-pixel positions, and their area coverage of the cells of a fine grid.
//!
//! Coordinates are sensor pixels of the active area: `x` to the right, `y` down, the centre of the first pixel at
//! (0.5, 0.5). A shape is painted over what was painted before it.

use crate::paint::Paint;

/// Outline of a shape.
#[derive(Debug, Clone, PartialEq)]
pub enum Outline {
    /// Everywhere (the ground of a layer).
    All,
    /// An ellipse.
    Ellipse {
        /// Centre, px.
        centre: [f64; 2],
        /// Half axes, px.
        radii: [f64; 2],
        /// Cosine and sine of the turn of the first axis (x right, y down).
        turn: [f64; 2],
    },
    /// A convex polygon as half planes: inside is `a x + b y <= c` for each `[a, b, c]`, (a, b) of length 1.
    Convex(Vec<[f64; 3]>, [f64; 4]),
}

/// One painted shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// Where it is.
    pub outline: Outline,
    /// How it looks.
    pub paint: Paint,
}

impl Shape {
    /// The ground of a layer.
    #[must_use]
    pub fn everywhere(paint: Paint) -> Self {
        Self { outline: Outline::All, paint }
    }

    /// A circle of radius `r` px.
    #[must_use]
    pub fn circle(x: f64, y: f64, r: f64, paint: Paint) -> Self {
        Self { outline: Outline::Ellipse { centre: [x, y], radii: [r, r], turn: [1.0, 0.0] }, paint }
    }

    /// An ellipse with half axes `rx`, `ry`, its first axis turned by `turn_deg` anticlockwise as seen.
    #[must_use]
    pub fn ellipse(x: f64, y: f64, rx: f64, ry: f64, turn_deg: f64, paint: Paint) -> Self {
        let (sin, cos) = (-turn_deg.to_radians()).sin_cos();
        Self { outline: Outline::Ellipse { centre: [x, y], radii: [rx, ry], turn: [cos, sin] }, paint }
    }

    /// A convex polygon from its corners (either way round).
    #[must_use]
    pub fn polygon(corners: &[[f64; 2]], paint: Paint) -> Self {
        let n = corners.len();
        let area: f64 = (0..n)
            .map(|i| {
                let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % n]);
                x0 * y1 - x1 * y0
            })
            .sum();
        let side = if area >= 0.0 { 1.0 } else { -1.0 };
        let mut planes = Vec::with_capacity(n);
        for i in 0..n {
            let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % n]);
            let (dx, dy) = (x1 - x0, y1 - y0);
            let length = dx.hypot(dy);
            if length > 1e-12 {
                let (a, b) = (side * dy / length, -side * dx / length);
                planes.push([a, b, a * x0 + b * y0]);
            }
        }
        let mut bounds = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
        for &[x, y] in corners {
            bounds = [bounds[0].min(x), bounds[1].min(y), bounds[2].max(x), bounds[3].max(y)];
        }
        Self { outline: Outline::Convex(planes, bounds), paint }
    }

    /// A rectangle by its centre, sides and turn (anticlockwise as seen).
    #[must_use]
    pub fn rectangle(x: f64, y: f64, width: f64, height: f64, turn_deg: f64, paint: Paint) -> Self {
        let (sin, cos) = (-turn_deg.to_radians()).sin_cos();
        let corner = |u: f64, v: f64| [x + u * cos - v * sin, y + u * sin + v * cos];
        let (w, h) = (width / 2.0, height / 2.0);
        Self::polygon(&[corner(-w, -h), corner(w, -h), corner(w, h), corner(-w, h)], paint)
    }

    /// A straight bar of `thickness` px from one point to another (a mast, a rope, a stroke of a letter).
    #[must_use]
    pub fn bar(from: [f64; 2], to: [f64; 2], thickness: f64, paint: Paint) -> Self {
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let turn = (-dy).atan2(dx).to_degrees();
        Self::rectangle((from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0, dx.hypot(dy), thickness, turn, paint)
    }

    /// Left, top, right, bottom, px. `None` for a shape that is everywhere.
    #[must_use]
    pub fn bounds(&self) -> Option<[f64; 4]> {
        match &self.outline {
            Outline::All => None,
            Outline::Ellipse { centre, radii, turn } => {
                let w = (radii[0] * turn[0]).hypot(radii[1] * turn[1]);
                let h = (radii[0] * turn[1]).hypot(radii[1] * turn[0]);
                Some([centre[0] - w, centre[1] - h, centre[0] + w, centre[1] + h])
            }
            Outline::Convex(_, bounds) => Some(*bounds),
        }
    }
}

/// Area of the part of a square cell of side 1, centred at the origin, on the inner side of a straight edge at signed
/// distance `d` from the centre (positive: the centre is inside) whose normal has components `a`, `b` (length 1).
/// Exact: the cell projected on the normal is a trapezoid, and this is its integral.
#[inline]
pub(crate) fn half_plane_coverage(d: f64, a: f64, b: f64) -> f64 {
    let (a, b) = (a.abs(), b.abs());
    let (long, short) = if a > b { (a, b) } else { (b, a) };
    let outer = (long + short) / 2.0;
    let inner = (long - short) / 2.0;
    if d >= outer {
        1.0
    } else if d <= -outer {
        0.0
    } else if d.abs() <= inner {
        0.5 + d / long
    } else {
        let corner = (outer - d.abs()).powi(2) / (2.0 * long * short);
        if d > 0.0 { 1.0 - corner } else { corner }
    }
}

/// The part of a row of cells that a shape touches and the part that it covers wholly.
pub(crate) struct Span {
    /// First and one past the last cell touched.
    pub(crate) touched: (usize, usize),
    /// First and one past the last cell wholly covered (empty where equal).
    pub(crate) whole: (usize, usize),
}

/// A shape in cells of the fine grid.
pub(crate) enum CellShape {
    All,
    Ellipse { centre: [f64; 2], radii: [f64; 2], turn: [f64; 2], half_height: f64 },
    Convex { planes: Vec<[f64; 3]>, top: f64, bottom: f64 },
}

impl CellShape {
    /// Moves `outline` to a grid whose cell (0, 0) starts at (`x0`, `y0`) px and has 1/`scale` px.
    pub(crate) fn new(outline: &Outline, x0: f64, y0: f64, scale: f64) -> Self {
        match outline {
            Outline::All => Self::All,
            Outline::Ellipse { centre, radii, turn } => {
                let radii = radii.map(|r| r * scale);
                Self::Ellipse {
                    centre: [(centre[0] - x0) * scale, (centre[1] - y0) * scale],
                    radii,
                    turn: *turn,
                    half_height: (radii[0] * turn[1]).hypot(radii[1] * turn[0]),
                }
            }
            Outline::Convex(planes, bounds) => Self::Convex {
                planes: planes.iter().map(|&[a, b, c]| [a, b, (c - a * x0 - b * y0) * scale]).collect(),
                top: (bounds[1] - y0) * scale,
                bottom: (bounds[3] - y0) * scale,
            },
        }
    }

    /// Rows touched, of `n`.
    pub(crate) fn rows(&self, n: usize) -> (usize, usize) {
        let limit = |top: f64, bottom: f64| {
            (top.floor().clamp(0.0, n as f64) as usize, bottom.ceil().clamp(0.0, n as f64) as usize)
        };
        match self {
            Self::All => (0, n),
            Self::Ellipse { centre, half_height, .. } => {
                limit(centre[1] - half_height - 1.0, centre[1] + half_height + 1.0)
            }
            Self::Convex { top, bottom, .. } => limit(top - 1.0, bottom + 1.0),
        }
    }

    /// What the shape does to row `row` of `n` cells.
    pub(crate) fn span(&self, row: usize, n: usize) -> Span {
        let y = row as f64 + 0.5;
        let cells = |lo: f64, hi: f64| {
            // Cells whose centre lies in lo..hi.
            let first = (lo - 0.5).ceil().clamp(0.0, n as f64) as usize;
            let end = ((hi - 0.5).floor() + 1.0).clamp(0.0, n as f64) as usize;
            (first, end.max(first))
        };
        match self {
            Self::All => Span { touched: (0, n), whole: (0, n) },
            Self::Ellipse { centre, radii, turn, .. } => {
                let chord = |grow: f64| {
                    let (rx, ry) = (radii[0] + grow, radii[1] + grow);
                    if rx <= 0.0 || ry <= 0.0 {
                        return None;
                    }
                    ellipse_chord(y - centre[1], rx, ry, *turn).map(|(l, r)| (l + centre[0], r + centre[0]))
                };
                let touched = chord(0.75).map_or((0, 0), |(l, r)| cells(l, r));
                let whole = chord(-0.75).map_or((touched.0, touched.0), |(l, r)| cells(l, r));
                Span { touched, whole }
            }
            Self::Convex { planes, .. } => {
                let chord = |grow: f64| {
                    let (mut lo, mut hi) = (f64::MIN, f64::MAX);
                    for &[a, b, c] in planes {
                        // Every cell whose centre is deeper than half its own width along the normal is whole.
                        let bound = c - b * y + grow * (a.abs() + b.abs()) / 2.0;
                        if a.abs() < 1e-12 {
                            if bound < 0.0 {
                                return None;
                            }
                        } else if a > 0.0 {
                            hi = hi.min(bound / a);
                        } else {
                            lo = lo.max(bound / a);
                        }
                    }
                    (lo <= hi).then_some((lo, hi))
                };
                let touched = chord(1.0).map_or((0, 0), |(l, r)| cells(l, r));
                let whole = chord(-1.0).map_or((touched.0, touched.0), |(l, r)| cells(l, r));
                Span { touched, whole }
            }
        }
    }

    /// Share of the cell at (`column`, `row`) that the shape covers. Exact for straight edges away from corners; for
    /// ellipses the edge is taken as straight within one cell.
    pub(crate) fn coverage(&self, column: usize, row: usize) -> f64 {
        let (x, y) = (column as f64 + 0.5, row as f64 + 0.5);
        match self {
            Self::All => 1.0,
            Self::Ellipse { centre, radii, turn, .. } => {
                let (dx, dy) = (x - centre[0], y - centre[1]);
                let (u, v) = (dx * turn[0] + dy * turn[1], -dx * turn[1] + dy * turn[0]);
                let k = (u / radii[0]).hypot(v / radii[1]);
                let (gu, gv) = (u / (radii[0] * radii[0]), v / (radii[1] * radii[1]));
                let slope = gu.hypot(gv);
                if slope < 1e-12 {
                    // At the centre: a shape smaller than the cell covers its own area.
                    return (std::f64::consts::PI * radii[0] * radii[1]).min(1.0);
                }
                // First-order distance to the outline: (k - 1) k / |gradient of k^2 / 2|.
                let d = (1.0 - k) * k / slope;
                let (nu, nv) = (gu / slope, gv / slope);
                half_plane_coverage(d, nu * turn[0] - nv * turn[1], nu * turn[1] + nv * turn[0])
            }
            Self::Convex { planes, .. } => {
                let cut: f64 = planes.iter().map(|&[a, b, c]| 1.0 - half_plane_coverage(c - a * x - b * y, a, b)).sum();
                (1.0 - cut).max(0.0)
            }
        }
    }
}

/// The x range of an ellipse (centre at the origin) on the row at `y`.
fn ellipse_chord(y: f64, rx: f64, ry: f64, turn: [f64; 2]) -> Option<(f64, f64)> {
    let [cos, sin] = turn;
    // (x cos + y sin)^2 / rx^2 + (-x sin + y cos)^2 / ry^2 = 1
    let (p, q) = (1.0 / (rx * rx), 1.0 / (ry * ry));
    let a = cos * cos * p + sin * sin * q;
    let b = 2.0 * y * sin * cos * (p - q);
    let c = y * y * (sin * sin * p + cos * cos * q) - 1.0;
    let discriminant = b * b - 4.0 * a * c;
    (discriminant >= 0.0).then(|| {
        let root = discriminant.sqrt();
        ((-b - root) / (2.0 * a), (-b + root) / (2.0 * a))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Coverage against a count of points in the cell.
    #[test]
    fn coverage_of_a_cell_by_a_half_plane_is_its_area() {
        for i in 0..36 {
            let (a, b) = (f64::from(i) * 10.0).to_radians().sin_cos();
            for d in [-0.8, -0.5, -0.21, 0.0, 0.1, 0.33, 0.62] {
                let n = 400;
                let mut inside = 0;
                for v in 0..n {
                    for u in 0..n {
                        let (x, y) = ((f64::from(u) + 0.5) / 400.0 - 0.5, (f64::from(v) + 0.5) / 400.0 - 0.5);
                        inside += u32::from(a * x + b * y <= d);
                    }
                }
                let counted = f64::from(inside) / f64::from(n * n);
                assert!((half_plane_coverage(d, a, b) - counted).abs() < 3e-3, "d {d} a {a} b {b}");
            }
        }
    }

    /// The cells' coverages add up to the area of the shape.
    #[test]
    fn coverages_add_up_to_the_area() {
        let area = |shape: &Shape| {
            let cell = CellShape::new(&shape.outline, 0.0, 0.0, 4.0);
            let mut sum = 0.0;
            for row in 0..400 {
                let span = cell.span(row, 400);
                for column in span.touched.0..span.touched.1 {
                    let whole = column >= span.whole.0 && column < span.whole.1;
                    let share = cell.coverage(column, row);
                    assert!(!whole || share > 0.985, "whole cell has {share}");
                    sum += if whole { 1.0 } else { share };
                }
            }
            sum / 16.0
        };
        let paint = Paint::Flat([1.0; 3]);
        let circle = area(&Shape::circle(50.2, 49.7, 20.3, paint.clone()));
        assert!((circle / (std::f64::consts::PI * 20.3 * 20.3) - 1.0).abs() < 1e-3, "{circle}");
        let ellipse = area(&Shape::ellipse(50.2, 49.7, 30.0, 8.0, 33.0, paint.clone()));
        assert!((ellipse / (std::f64::consts::PI * 240.0) - 1.0).abs() < 4e-3, "{ellipse}");
        let bar = area(&Shape::rectangle(50.3, 50.1, 60.0, 1.3, 27.0, paint));
        assert!((bar / 78.0 - 1.0).abs() < 3e-3, "{bar}");
    }
}
