//! The decoded frame: samples, filter array, areas and levels.

use serde::{Deserialize, Serialize};

use crate::Shot;

/// A rectangle of samples; `x` is the column, `y` the row, both from the top left of the stored frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Area {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Area {
    /// An area from its first column and row and its size.
    #[must_use]
    pub const fn new(x: usize, y: usize, width: usize, height: usize) -> Self {
        Self { x, y, width, height }
    }

    /// Column after the last.
    #[must_use]
    pub const fn right(&self) -> usize {
        self.x + self.width
    }

    /// Row after the last.
    #[must_use]
    pub const fn bottom(&self) -> usize {
        self.y + self.height
    }

    /// Samples in it (one plane).
    #[must_use]
    pub const fn len(&self) -> usize {
        self.width * self.height
    }

    /// True where it holds no sample.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.width == 0 || self.height == 0
    }

    /// The part of `self` inside `other` (empty at `self`'s corner where they do not meet).
    #[must_use]
    pub fn intersect(&self, other: &Self) -> Self {
        let x = self.x.max(other.x);
        let y = self.y.max(other.y);
        Self {
            x,
            y,
            width: self.right().min(other.right()).saturating_sub(x),
            height: self.bottom().min(other.bottom()).saturating_sub(y),
        }
    }
}

/// The colour that a plane's filter passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Colour {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// Cyan.
    Cyan,
    /// Magenta.
    Magenta,
    /// Yellow.
    Yellow,
    /// No filter (monochrome).
    White,
    /// Anything else.
    Other,
}

/// One set of samples that is measured together.
///
/// A Bayer array has four planes, one per position by row ("R", "G1", "G2", "B" in the order of the array's
/// cells); a 6x6 array one per colour; a monochrome sensor one; a linear three-plane file three.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plane {
    /// Name: "R", "G1", "G2", "B", "G", "C", "M", "Y", "W" ...
    pub name: String,
    /// Colour of the filter.
    pub colour: Colour,
}

/// The filter array over the full stored frame (phase at sample 0,0 of the frame, not of the active area).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FilterArray {
    /// Columns after which the pattern repeats: 2 for Bayer, 6 for 6x6, 1 for monochrome and linear.
    pub columns: usize,
    /// Rows after which the pattern repeats.
    pub rows: usize,
    /// Index into `planes` of each cell of the pattern, by row. Empty cells do not exist.
    pub cells: Vec<u8>,
    /// The planes.
    pub planes: Vec<Plane>,
    /// Samples stored per pixel: 1 for every mosaic, 3 for a linear (already demosaiced) file. Samples of one
    /// pixel are neighbours in memory and plane `p` is sample `p` of its pixel.
    pub samples_per_pixel: usize,
}

impl FilterArray {
    /// Plane of the sample at column `x`, row `y` of the full frame. Mosaics only; for a linear file every pixel
    /// has all planes.
    #[must_use]
    #[inline]
    pub fn plane_at(&self, x: usize, y: usize) -> usize {
        usize::from(self.cells[(y % self.rows) * self.columns + x % self.columns])
    }

    /// True where the samples so far from that place along x and y, on both sides, are of its own plane.
    #[must_use]
    pub fn like_on_both_sides(&self, (x, y): (usize, usize), (along_x, along_y): (usize, usize)) -> bool {
        // Whole patterns are added, so that nothing lies before the first place.
        let (x, y) = (x + along_x * self.columns, y + along_y * self.rows);
        let plane = self.plane_at(x, y);
        self.plane_at(x - along_x, y - along_y) == plane && self.plane_at(x + along_x, y + along_y) == plane
    }

    /// How many places of the pattern have their like there.
    #[must_use]
    pub fn like_samples(&self, apart: (usize, usize)) -> usize {
        let places = (0..self.rows).flat_map(|y| (0..self.columns).map(move |x| (x, y)));
        places.filter(|&place| self.like_on_both_sides(place, apart)).count()
    }

    /// A Bayer array from the colours of its cells by row, for example `"RGGB"`. `None` for any other text.
    #[must_use]
    pub fn bayer(phase: &str) -> Option<Self> {
        Self::mosaic(2, 2, phase)
    }

    /// A mosaic from the letters of its cells by row (`R G B C M Y W`). A 2x2 array gets one plane per cell (equal
    /// letters are numbered: G1, G2); a larger one gets one plane per letter.
    #[must_use]
    pub fn mosaic(columns: usize, rows: usize, letters: &str) -> Option<Self> {
        let letters: Vec<char> = letters.chars().collect();
        if columns == 0 || rows == 0 || letters.len() != columns * rows {
            return None;
        }
        let colour = |c: char| {
            Some(match c {
                'R' => Colour::Red,
                'G' => Colour::Green,
                'B' => Colour::Blue,
                'C' => Colour::Cyan,
                'M' => Colour::Magenta,
                'Y' => Colour::Yellow,
                'W' => Colour::White,
                _ => return None,
            })
        };
        let per_cell = letters.len() == 4;
        let mut planes: Vec<Plane> = Vec::new();
        let mut cells = Vec::with_capacity(letters.len());
        for (i, &letter) in letters.iter().enumerate() {
            let colour = colour(letter)?;
            let known = planes.iter().position(|p| p.colour == colour);
            if let (false, Some(known)) = (per_cell, known) {
                cells.push(known as u8);
                continue;
            }
            let name = if per_cell && letters.iter().filter(|&&l| l == letter).count() > 1 {
                format!("{letter}{}", letters[..=i].iter().filter(|&&l| l == letter).count())
            } else {
                letter.to_string()
            };
            cells.push(planes.len() as u8);
            planes.push(Plane { name, colour });
        }
        Some(Self { columns, rows, cells, planes, samples_per_pixel: 1 })
    }

    /// A sensor without filters.
    #[must_use]
    pub fn monochrome() -> Self {
        let planes = vec![Plane { name: "W".into(), colour: Colour::White }];
        Self { columns: 1, rows: 1, cells: vec![0], planes, samples_per_pixel: 1 }
    }

    /// A linear file: three samples (red, green, blue) at every pixel.
    #[must_use]
    pub fn linear_rgb() -> Self {
        let plane = |name: &str, colour| Plane { name: name.into(), colour };
        let planes = vec![plane("R", Colour::Red), plane("G", Colour::Green), plane("B", Colour::Blue)];
        Self { columns: 1, rows: 1, cells: vec![0], planes, samples_per_pixel: 3 }
    }

    /// True for a file whose pixels hold all colours.
    #[must_use]
    pub fn is_linear(&self) -> bool {
        self.samples_per_pixel > 1
    }

    /// The scorecard's word: "RGGB", "GBRG", "xtrans" (any 6x6), "mono", "linear", or the cells' letters.
    #[must_use]
    pub fn word(&self) -> String {
        if self.is_linear() {
            "linear".into()
        } else if self.planes.len() == 1 {
            "mono".into()
        } else if (self.columns, self.rows) == (6, 6) {
            "xtrans".into()
        } else {
            self.cells.iter().filter_map(|&c| self.planes[usize::from(c)].name.chars().next()).collect()
        }
    }
}

/// Where a black level comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BlackFrom {
    /// The file states it.
    Declared,
    /// The median of the masked (optically black) pixels of this frame.
    Masked,
}

/// Levels of one plane, in DN as stored (absolute).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlaneLevels {
    /// Black level.
    pub black_dn: f64,
    /// Where it comes from.
    pub black_from: BlackFrom,
    /// White level that the file or the reader states.
    pub white_declared_dn: f64,
    /// Standard deviation of this plane's masked pixels, robust, where there are at least 256 of them.
    pub masked_noise_dn: Option<f64>,
}

/// Which back end read the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reader {
    /// Crate name.
    pub name: String,
    /// Crate version.
    pub version: String,
}

/// What the look at container and pixels says of completeness.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase", tag = "state")]
pub enum Integrity {
    /// Nothing is missing as far as can be seen.
    Whole,
    /// Part of the sensor data is missing or constant: the reason, one line.
    Damaged {
        /// What is missing.
        reason: String,
    },
}

/// DNG NoiseProfile of one plane: on values scaled to 0..1, sigma = sqrt(scale * x + offset).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoiseProfile {
    /// S of the DNG specification.
    pub scale: f64,
    /// O of the DNG specification.
    pub offset: f64,
}

/// The embedded preview, a JPEG stream as it stands in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    /// JPEG bytes.
    pub jpeg: Vec<u8>,
}

/// A decoded raw frame.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Samples as stored, by row, `samples_per_pixel` per pixel: `samples[(y * width + x) * spp + s]`.
    pub samples: Vec<u16>,
    /// Columns of the full stored frame.
    pub width: usize,
    /// Rows of the full stored frame.
    pub height: usize,
    /// The filter array (phase of the full frame).
    pub filter: FilterArray,
    /// The exposed, picture-bearing area.
    pub active: Area,
    /// Masked (optically black) areas, outside `active`; may be empty.
    pub masked: Vec<Area>,
    /// Levels of each plane, in the order of `filter.planes`.
    pub levels: Vec<PlaneLevels>,
    /// Shot data.
    pub shot: Shot,
    /// Which back end read it.
    pub reader: Reader,
    /// True where the samples passed a curve that the reader dithered: noise figures would be wrong.
    pub dithered: bool,
    /// Completeness.
    pub integrity: Integrity,
    /// The file's own statement of its noise (DNG NoiseProfile): one entry for all planes or one per colour.
    pub noise_profile: Vec<NoiseProfile>,
    /// What a reader of the scorecard should know.
    pub notes: Vec<String>,
}

impl Frame {
    /// One row of the full frame (`width * samples_per_pixel` samples).
    #[must_use]
    #[inline]
    pub fn row(&self, y: usize) -> &[u16] {
        let n = self.width * self.filter.samples_per_pixel;
        &self.samples[y * n..(y + 1) * n]
    }

    /// Columns and rows of the picture (active area), the `width_px` and `height_px` of the scorecard.
    #[must_use]
    pub fn picture_size(&self) -> (usize, usize) {
        (self.active.width, self.active.height)
    }
}
