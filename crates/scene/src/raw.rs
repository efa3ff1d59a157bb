//! The finished frame.

use crate::{Recipe, Truth};

/// A simulated raw frame: what a perfect reader of its file would deliver, and the truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Raw {
    /// Samples of the full frame by row, `samples_per_pixel` per pixel (linear DN where the file is coded).
    pub samples: Vec<u16>,
    /// Columns of the full frame.
    pub width: usize,
    /// Rows of the full frame.
    pub height: usize,
    /// What it was made from.
    pub recipe: Recipe,
    /// Linearisation table of a coded file: code to sample.
    pub code_table: Option<Vec<u16>>,
    /// The truth.
    pub truth: Truth,
}

impl Raw {
    /// Active area: first column, first row, columns, rows.
    #[must_use]
    pub fn active(&self) -> [usize; 4] {
        let b = self.recipe.camera.border;
        [b.left, b.top, self.recipe.width, self.recipe.height]
    }

    /// Masked areas (first column, first row, columns, rows): the borders, corners with the rows above and below.
    #[must_use]
    pub fn masked(&self) -> Vec<[usize; 4]> {
        let [x, y, w, h] = self.active();
        [
            [0, 0, self.width, y],
            [0, y, x, h],
            [x + w, y, self.width - x - w, h],
            [0, y + h, self.width, self.height - y - h],
        ]
        .into_iter()
        .filter(|a| a[2] > 0 && a[3] > 0)
        .collect()
    }

    /// Sample `s` of the pixel at a column and row of the full frame.
    #[must_use]
    pub fn at(&self, x: usize, y: usize, s: usize) -> u16 {
        let spp = self.recipe.camera.filter.samples_per_pixel();
        self.samples[(y * self.width + x) * spp + s]
    }
}
