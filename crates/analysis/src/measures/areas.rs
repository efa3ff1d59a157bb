//! Connected areas of marked cells, found row by row from runs (union-find over runs, eight neighbours).
//!
//! Memory: the runs of two rows and one entry per area begun; a frame of any size needs no label per cell.

/// Fewer cells than this are glints or hot pixels, not an area.
pub(crate) const LEAST_CELLS: u64 = 3;

/// One connected area, in cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CellArea {
    pub(crate) cells: u64,
    /// Cells in which a second colour is clipped too.
    pub(crate) lost: u64,
    pub(crate) left: u32,
    pub(crate) top: u32,
    pub(crate) right: u32,
    pub(crate) bottom: u32,
}

impl CellArea {
    fn join(&mut self, other: &Self) {
        self.cells += other.cells;
        self.lost += other.lost;
        self.left = self.left.min(other.left);
        self.top = self.top.min(other.top);
        self.right = self.right.max(other.right);
        self.bottom = self.bottom.max(other.bottom);
    }
}

#[derive(Debug, Clone, Copy)]
struct Run {
    first: u32,
    last: u32,
    area: u32,
}

/// Collects rows of cells.
#[derive(Debug)]
pub(crate) struct Areas {
    width: usize,
    row: u32,
    above: Vec<Run>,
    here: Vec<Run>,
    parent: Vec<u32>,
    found: Vec<CellArea>,
    lost: [bool; 256],
}

impl Areas {
    /// Nothing yet; rows will have `width` cells. `lost` tells which marks stand for two colours or more.
    pub(crate) fn new(width: usize, lost: [bool; 256]) -> Self {
        Self { lost, width, row: 0, above: Vec::new(), here: Vec::new(), parent: Vec::new(), found: Vec::new() }
    }

    fn root(&mut self, mut at: u32) -> u32 {
        while self.parent[at as usize] != at {
            // Halving the path keeps it short.
            self.parent[at as usize] = self.parent[self.parent[at as usize] as usize];
            at = self.parent[at as usize];
        }
        at
    }

    /// Adds the next row: cells that are not zero are marked.
    pub(crate) fn add_row(&mut self, cells: &[u8]) {
        debug_assert_eq!(cells.len(), self.width);
        self.here.clear();
        let mut x = 0;
        let mut candidate = 0;
        while let Some(first) = cells[x..].iter().position(|&c| c != 0).map(|i| x + i) {
            let end = cells[first..].iter().position(|&c| c == 0).map_or(cells.len(), |i| first + i);
            x = end;
            let (left, right) = (first as u32, end as u32 - 1);
            let lost = cells[first..end].iter().filter(|&&c| self.lost[usize::from(c)]).count() as u64;
            let piece = CellArea { cells: (end - first) as u64, lost, left, top: self.row, right, bottom: self.row };
            while candidate < self.above.len() && self.above[candidate].last + 1 < left {
                candidate += 1;
            }
            let mut area: Option<u32> = None;
            let mut touching = candidate;
            while touching < self.above.len() && self.above[touching].first <= right + 1 {
                let other = self.root(self.above[touching].area);
                area = Some(match area {
                    None => other,
                    Some(mine) if mine == other => mine,
                    Some(mine) => {
                        let (keep, drop) = (mine.min(other), mine.max(other));
                        self.parent[drop as usize] = keep;
                        let dropped = self.found[drop as usize];
                        self.found[keep as usize].join(&dropped);
                        keep
                    }
                });
                touching += 1;
            }
            let area = match area {
                Some(area) => {
                    self.found[area as usize].join(&piece);
                    area
                }
                None => {
                    let new = self.parent.len() as u32;
                    self.parent.push(new);
                    self.found.push(piece);
                    new
                }
            };
            self.here.push(Run { first: left, last: right, area });
        }
        std::mem::swap(&mut self.above, &mut self.here);
        self.row += 1;
    }

    /// Adds a row without a mark.
    pub(crate) fn add_empty_row(&mut self) {
        self.above.clear();
        self.row += 1;
    }

    /// All areas of at least [`LEAST_CELLS`] cells, largest first.
    pub(crate) fn finish(self) -> Vec<CellArea> {
        let mut areas: Vec<CellArea> = self
            .parent
            .iter()
            .zip(&self.found)
            .enumerate()
            .filter(|&(i, (&parent, area))| parent as usize == i && area.cells >= LEAST_CELLS)
            .map(|(_, (_, &area))| area)
            .collect();
        areas.sort_by_key(|a| (std::cmp::Reverse(a.cells), a.top, a.left));
        areas
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Marks 1 and 2 are one colour each, 3 is both.
    const TWO: [bool; 256] = {
        let mut two = [false; 256];
        two[3] = true;
        two
    };

    fn areas_of(rows: &[&str]) -> Vec<CellArea> {
        let mut areas = Areas::new(rows[0].len(), TWO);
        for row in rows {
            areas.add_row(
                &row.bytes()
                    .map(|b| match b {
                        b'#' => 1,
                        b'@' => 3,
                        _ => 0,
                    })
                    .collect::<Vec<_>>(),
            );
        }
        areas.finish()
    }

    #[test]
    fn arms_that_meet_below_are_one_area() {
        let found = areas_of(&["#.#.#", "#.#.#", "#####", ".....", "##..#"]);
        assert_eq!(found, [CellArea { cells: 11, lost: 0, left: 0, top: 0, right: 4, bottom: 2 }]);
    }

    #[test]
    fn cells_of_two_colours_are_counted_through_joins() {
        let found = areas_of(&["#.@", "@.#", "###"]);
        assert_eq!((found[0].cells, found[0].lost), (7, 2));
    }

    #[test]
    fn corners_connect_and_pairs_do_not_count() {
        let found = areas_of(&["#....##", ".#.....", "..#....", "......#"]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].cells, 3);
    }

    /// The same by flooding from every cell.
    fn flooded(cells: &[Vec<u8>]) -> Vec<u64> {
        let (h, w) = (cells.len(), cells[0].len());
        let mut seen = vec![false; w * h];
        let mut sizes = Vec::new();
        for start in 0..w * h {
            if cells[start / w][start % w] == 0 || seen[start] {
                continue;
            }
            let mut stack = vec![start];
            seen[start] = true;
            let mut n = 0;
            while let Some(at) = stack.pop() {
                n += 1;
                let (x, y) = (at % w, at / w);
                for (nx, ny) in (x.saturating_sub(1)..=(x + 1).min(w - 1))
                    .flat_map(|nx| (y.saturating_sub(1)..=(y + 1).min(h - 1)).map(move |ny| (nx, ny)))
                {
                    if cells[ny][nx] != 0 && !seen[ny * w + nx] {
                        seen[ny * w + nx] = true;
                        stack.push(ny * w + nx);
                    }
                }
            }
            if n >= LEAST_CELLS {
                sizes.push(n);
            }
        }
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        sizes
    }

    proptest! {
        #[test]
        fn equals_flooding(cells in (1_usize..24, 1_usize..24).prop_flat_map(|(w, h)| {
            prop::collection::vec(prop::collection::vec(0_u8..=1, w), h)
        })) {
            let mut areas = Areas::new(cells[0].len(), TWO);
            for row in &cells {
                areas.add_row(row);
            }
            let sizes: Vec<u64> = areas.finish().iter().map(|a| a.cells).collect();
            prop_assert_eq!(sizes, flooded(&cells));
        }
    }
}
