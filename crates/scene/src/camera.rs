//! The camera: filter array, borders, levels, noise.

use serde::Serialize;

/// The filter array over the full stored frame (phase at its first sample, not at the active area's).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Filter {
    /// Columns of the repeating pattern.
    pub columns: usize,
    /// Rows of the repeating pattern.
    pub rows: usize,
    /// Letters of the cells by row, of `R G B C M Y W`.
    pub letters: String,
    /// True for a linear file: red, green and blue at every pixel.
    pub linear: bool,
}

impl Filter {
    /// Two columns by two rows, for example `"RGGB"` or `"CYGM"`.
    #[must_use]
    pub fn two_by_two(letters: &str) -> Self {
        Self { columns: 2, rows: 2, letters: letters.into(), linear: false }
    }

    /// A 6x6 array in which every row and column holds all colours.
    #[must_use]
    pub fn six_by_six() -> Self {
        let letters = ["GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG"].concat();
        Self { columns: 6, rows: 6, letters, linear: false }
    }

    /// No filters.
    #[must_use]
    pub fn monochrome() -> Self {
        Self { columns: 1, rows: 1, letters: "W".into(), linear: false }
    }

    /// Red, green and blue at every pixel.
    #[must_use]
    pub fn linear_rgb() -> Self {
        Self { columns: 1, rows: 1, letters: "RGB".into(), linear: true }
    }

    /// Samples stored per pixel.
    #[must_use]
    pub fn samples_per_pixel(&self) -> usize {
        if self.linear { 3 } else { 1 }
    }

    /// Letter of the sample at a column and row of the full frame (sample `s` of its pixel).
    #[must_use]
    pub fn letter_at(&self, x: usize, y: usize, s: usize) -> char {
        let i = if self.linear { s } else { (y % self.rows) * self.columns + x % self.columns };
        char::from(self.letters.as_bytes()[i])
    }

    /// Names of the planes that are measured together, and the plane of each cell: one per cell of a 2x2 array (equal
    /// letters numbered), one per letter of a larger one, one per sample of a linear file.
    #[must_use]
    pub fn planes(&self) -> (Vec<String>, Vec<usize>) {
        let letters: Vec<char> = self.letters.chars().collect();
        let mut names: Vec<String> = Vec::new();
        let mut cells = Vec::new();
        for (i, letter) in letters.iter().enumerate() {
            let count = letters.iter().filter(|l| *l == letter).count();
            let name = if letters.len() == 4 && count > 1 {
                format!("{letter}{}", letters[..=i].iter().filter(|l| *l == letter).count())
            } else {
                letter.to_string()
            };
            if let Some(known) = names.iter().position(|n| *n == name) {
                cells.push(known);
            } else {
                cells.push(names.len());
                names.push(name);
            }
        }
        (names, cells)
    }
}

/// Masked columns and rows round the active area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Border {
    /// Columns at the left.
    pub left: usize,
    /// Rows at the top.
    pub top: usize,
    /// Columns at the right.
    pub right: usize,
    /// Rows at the bottom.
    pub bottom: usize,
}

/// A pattern in whole rows or columns, before rounding.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Banding {
    /// Standard deviation of an independent offset of each line, DN.
    pub random_dn: f64,
    /// One line in so many has one, at random; of 0 or 1 each.
    pub one_in: u32,
    /// Amplitude of a sine over the lines, DN.
    pub periodic_dn: f64,
    /// Its period, lines.
    pub period_px: f64,
}

/// A camera and its sensor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Camera {
    /// Maker, for Exif.
    pub make: String,
    /// Model, for Exif.
    pub model: String,
    /// Serial number, for Exif.
    pub serial: String,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// Filter array.
    pub filter: Filter,
    /// Masked borders.
    pub border: Border,
    /// Bits of a stored sample.
    pub bits: u32,
    /// Black level, DN: one for all or one per cell of the filter array (or per sample of a linear pixel).
    pub black_dn: Vec<f64>,
    /// White level that the file declares, DN.
    pub white_declared_dn: u32,
    /// Level at which the converter stops, DN.
    pub saturation_dn: u32,
    /// Lowest ISO: here `gain_e_per_dn` holds.
    pub base_iso: f64,
    /// Electrons per DN at the base ISO; falls in proportion as ISO rises.
    pub gain_e_per_dn: f64,
    /// Electrons that a photosite holds. Above the converter's range, the converter limits.
    pub full_well_e: f64,
    /// Read noise before the amplifier, electrons.
    pub read_noise_e: f64,
    /// Read noise behind the amplifier, DN.
    pub converter_noise_dn: f64,
    /// Spread of the photosites' sensitivity, percent (fixed pattern).
    pub prnu_pct: f64,
    /// Row banding.
    pub row_banding: Banding,
    /// Column banding.
    pub column_banding: Banding,
    /// Hot pixels in the active area.
    pub hot_pixels: usize,
    /// Electrons of amplifier glow at the lower right corner, falling to 1/e within a fifth of the width.
    pub glow_e: f64,
    /// Spread of the photosites' dark level (fixed pattern), electrons.
    pub dark_spread_e: f64,
    /// Spread of the columns' dark level (fixed pattern), electrons.
    pub dark_columns_e: f64,
    /// Sensitivity of the red, green and blue filters to white light, relative to green's 1.
    pub response: [f64; 3],
    /// Standard deviation (in samples of the plane) of a blur of each plane before storage: a file that was smoothed
    /// by the camera. 0 for none.
    pub smoothing: f64,
    /// Write the DNG NoiseProfile tag.
    pub states_noise: bool,
    /// Store square-root-coded samples of so many bits with a DNG LinearizationTable.
    pub coded_bits: Option<u32>,
    /// Seed of the fixed pattern (sensitivity, hot pixels): the same for all frames of one camera.
    pub sensor_seed: u64,
}

impl Default for Camera {
    /// 14 bit RGGB, black 512, 4.3 um, 50 000 e-, read noise 3 e-, saturation below the declared white.
    fn default() -> Self {
        Self {
            make: "Simulated".into(),
            model: "Test Camera".into(),
            serial: "SIM-0001".into(),
            pitch_um: 4.3,
            filter: Filter::two_by_two("RGGB"),
            border: Border { left: 32, top: 16, right: 0, bottom: 0 },
            bits: 14,
            black_dn: vec![512.0],
            white_declared_dn: 16383,
            saturation_dn: 15600,
            base_iso: 100.0,
            gain_e_per_dn: 3.3,
            full_well_e: f64::INFINITY,
            read_noise_e: 3.0,
            converter_noise_dn: 0.5,
            prnu_pct: 0.3,
            row_banding: Banding::default(),
            column_banding: Banding::default(),
            hot_pixels: 0,
            glow_e: 0.0,
            dark_spread_e: 0.0,
            dark_columns_e: 0.0,
            response: [0.55, 1.0, 0.7],
            smoothing: 0.0,
            states_noise: false,
            coded_bits: None,
            sensor_seed: 1,
        }
    }
}

impl Camera {
    /// Gain at an ISO, electrons per DN.
    #[must_use]
    pub fn gain_at(&self, iso: f64) -> f64 {
        self.gain_e_per_dn * self.base_iso / iso
    }

    /// Black of a sample of the full frame, DN.
    #[must_use]
    pub fn black_at(&self, x: usize, y: usize, s: usize) -> f64 {
        if self.black_dn.len() == 1 {
            return self.black_dn[0];
        }
        let i =
            if self.filter.linear { s } else { (y % self.filter.rows) * self.filter.columns + x % self.filter.columns };
        self.black_dn[i]
    }

    /// Mean of the black levels, DN.
    #[must_use]
    pub fn mean_black_dn(&self) -> f64 {
        self.black_dn.iter().sum::<f64>() / self.black_dn.len() as f64
    }

    /// Read noise at an ISO in DN, both sources, without rounding.
    #[must_use]
    pub fn read_noise_dn_at(&self, iso: f64) -> f64 {
        (self.read_noise_e / self.gain_at(iso)).hypot(self.converter_noise_dn)
    }

    /// Electrons at which a sample stops rising at an ISO: the converter's range or the full well.
    #[must_use]
    pub fn saturation_e_at(&self, iso: f64) -> f64 {
        ((f64::from(self.saturation_dn) - self.mean_black_dn()) * self.gain_at(iso)).min(self.full_well_e)
    }

    /// Sensitivity of a filter to the three radiances (red, green, blue).
    #[must_use]
    pub fn sensitivity(&self, letter: char) -> [f64; 3] {
        let [r, g, b] = self.response;
        match letter {
            'R' => [r, 0.0, 0.0],
            'B' => [0.0, 0.0, b],
            'C' => [0.0, 0.6 * g, 0.6 * b],
            'M' => [0.7 * r, 0.0, 0.7 * b],
            'Y' => [0.6 * r, 0.6 * g, 0.0],
            'W' => [0.45 * r, 0.45 * g, 0.45 * b],
            _ => [0.0, g, 0.0],
        }
    }
}
