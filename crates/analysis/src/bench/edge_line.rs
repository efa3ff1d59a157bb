//! A straight or slightly bent edge on the frame, as a line with ends.

use crate::measures::sharpness::target::turned;

/// Lines nearer to each other than this are one edge, px and degrees.
const SAME_EDGE: (f64, f64) = (3.0, 0.5);

/// A straight edge on the full frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// A place on it: column, row.
    pub at: (f64, f64),
    /// Unit normal from dark to bright, y down.
    pub normal: (f64, f64),
    /// From where to where along it, px from `at`.
    pub along: (f64, f64),
    /// Bend: it lies at `bend` u^2 from the straight line at u px along it, towards the bright side, 1/px.
    pub bend: f64,
    /// Standard deviation of the spread, first guess, px.
    pub sigma_px: f64,
    /// Room across: how far the plain sides reach at least, px.
    pub room_px: f64,
}

impl Line {
    /// Angle of the normal, degrees anticlockwise (y up), 0..180.
    #[must_use]
    pub fn normal_deg(&self) -> f64 {
        (-self.normal.1).atan2(self.normal.0).to_degrees().rem_euclid(180.0)
    }

    /// Length, px.
    #[must_use]
    pub fn length_px(&self) -> f64 {
        self.along.1 - self.along.0
    }

    /// How far the edge leaves the straight line at most, px.
    #[must_use]
    pub fn sagitta_px(&self) -> f64 {
        self.bend.abs() * self.along.0.powi(2).max(self.along.1.powi(2))
    }

    /// The same line with its place in its middle.
    #[must_use]
    pub fn centred(&self) -> Self {
        let middle = f64::midpoint(self.along.0, self.along.1);
        let half = self.length_px() / 2.0;
        let (nx, ny) = self.normal;
        let across = self.bend * middle * middle;
        Self {
            at: (self.at.0 + across * nx - middle * ny, self.at.1 + across * ny + middle * nx),
            normal: turned(self.normal, 2.0 * self.bend * middle),
            along: (-half, half),
            ..*self
        }
    }

    /// The same line between other ends, with its place in its middle; `None` where they leave nothing.
    #[must_use]
    pub fn reaching(&self, along: (f64, f64)) -> Option<Self> {
        (along.1 > along.0).then(|| Self { along, ..*self }.centred())
    }

    /// True where both lie on one edge: in one direction, one beside the other's ends.
    #[must_use]
    pub fn same_edge(&self, other: &Self) -> bool {
        let (nx, ny) = self.normal;
        let cos = nx * other.normal.0 + ny * other.normal.1;
        let (dx, dy) = (other.at.0 - self.at.0, other.at.1 - self.at.1);
        let u = dy * nx - dx * ny;
        let across = dx * nx + dy * ny - self.bend * u * u;
        cos > SAME_EDGE.1.to_radians().cos()
            && across.abs() < SAME_EDGE.0
            && u + other.along.1 > self.along.0
            && u + other.along.0 < self.along.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(at: (f64, f64), degrees: f64) -> Line {
        let (sin, cos) = degrees.to_radians().sin_cos();
        Line { at, normal: (cos, sin), along: (-100.0, 100.0), bend: 0.0, sigma_px: 0.6, room_px: 40.0 }
    }

    #[test]
    fn lines_on_one_edge_are_one() {
        let one = line((300.0, 200.0), 5.0);
        // Two pixels beside, and farther along.
        assert!(one.same_edge(&line((302.0, 200.0), 5.3)));
        let (sin, cos) = f64::to_radians(5.0).sin_cos();
        assert!(one.same_edge(&line((300.0 - 150.0 * sin, 200.0 + 150.0 * cos), 5.0)));
        // A bar's other side, one farther off, one turned, one beyond the end.
        assert!(!one.same_edge(&line((302.0, 200.0), 185.0)));
        assert!(!one.same_edge(&line((304.0, 200.0), 5.0)));
        assert!(!one.same_edge(&line((300.0, 200.0), 6.0)));
        assert!(!one.same_edge(&line((300.0 - 250.0 * sin, 200.0 + 250.0 * cos), 5.0)));
    }

    #[test]
    fn a_bent_line_stays_on_its_arc_when_its_ends_move() {
        let bent = Line { bend: 1e-4, ..line((0.0, 0.0), 0.0) };
        let moved = bent.reaching((50.0, 150.0)).unwrap_or(bent);
        // On the arc x = 1e-4 y^2, normal to it, half of the new length to either side.
        assert!((moved.at.0 - 1.0).abs() < 1e-9 && (moved.at.1 - 100.0).abs() < 1e-9, "{moved:?}");
        assert!((moved.normal.1 / moved.normal.0 + 0.02).abs() < 1e-6, "{moved:?}");
        assert!((moved.along.0 + 50.0).abs() < 1e-9 && (moved.along.1 - 50.0).abs() < 1e-9, "{moved:?}");
    }
}
