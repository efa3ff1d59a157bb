//! Where the surroundings of a pixel lie, for each cell of the filter array.

use rawassay_decode::Frame;

/// How far pixels are looked at.
pub(super) const RING: isize = 3;

/// Offsets from one cell of the filter array.
pub(super) struct Cell {
    pub(super) plane: usize,
    /// Next samples of its plane.
    pub(super) like: Vec<isize>,
    /// Samples two and three pixels away, by plane: its own first, then in order.
    pub(super) ring: Vec<(usize, Vec<isize>)>,
    /// The eight next pixels: offset, plane, weight.
    pub(super) next: [(isize, usize, f64); 8],
}

impl Cell {
    fn of(frame: &Frame, x: usize, y: usize) -> Self {
        let filter = &frame.filter;
        // Far enough in that no offset is negative.
        let (x, y) = (x + 2 * filter.columns * 3, y + 2 * filter.rows * 3);
        let plane_at = |dx: isize, dy: isize| filter.plane_at(x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
        let plane = plane_at(0, 0);
        let offset = |dx: isize, dy: isize| dy * frame.width as isize + dx;
        let reach = if (filter.columns, filter.rows) == (1, 1) { 1 } else { 2 };
        let (mut like, mut next) = (Vec::new(), [(0, 0, 0.0); 8]);
        let mut ring: Vec<(usize, Vec<isize>)> = (0..filter.planes.len()).map(|p| (p, Vec::new())).collect();
        let mut nexts = next.iter_mut();
        for dy in -RING..=RING {
            for dx in -RING..=RING {
                let far = dx.abs().max(dy.abs());
                let other = plane_at(dx, dy);
                if far > 0 && far <= reach && other == plane {
                    like.push(offset(dx, dy));
                }
                if far > 1 {
                    ring[other].1.push(offset(dx, dy));
                } else if far == 1 {
                    let weight = if dx == 0 || dy == 0 { 1.0 } else { 0.5 };
                    if let Some(to) = nexts.next() {
                        *to = (offset(dx, dy), other, weight);
                    }
                }
            }
        }
        ring.sort_by_key(|(p, _)| *p != plane);
        Self { plane, like, ring, next }
    }
}

/// All cells of an array.
pub(super) struct Cells {
    all: Vec<Cell>,
    columns: usize,
    rows: usize,
    alike: bool,
}

impl Cells {
    /// `None` where a sample has no two like it near by.
    pub(super) fn of(frame: &Frame) -> Option<Self> {
        let (columns, rows) = (frame.filter.columns, frame.filter.rows);
        let all: Vec<Cell> = (0..rows * columns).map(|i| Cell::of(frame, i % columns, i / columns)).collect();
        let alike = all.iter().all(|c| c.like == all[0].like);
        all.iter().all(|c| c.like.len() >= 2).then_some(Self { all, columns, rows, alike })
    }

    /// The cell of a place of the frame.
    pub(super) fn at(&self, x: usize, y: usize) -> &Cell {
        if (self.columns, self.rows) == (2, 2) {
            return &self.all[(y & 1) * 2 + (x & 1)];
        }
        &self.all[y % self.rows * self.columns + x % self.columns]
    }

    /// Offsets of the next samples of the same plane, where they are the same everywhere: then rows are looked at whole.
    pub(super) fn like(&self) -> Option<&[isize]> {
        self.alike.then(|| &self.all[0].like[..])
    }
}
