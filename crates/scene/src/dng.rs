//! The frame as a DNG file.
//!
//! Source of the tags: Adobe Digital Negative Specification 1.4 to 1.7, TIFF 6.0, Exif 2.32 (CIPA DC-008).

use rawler::ljpeg92::LjpegCompressor;
use rayon::prelude::*;

use crate::preview::{jpeg, picture};
pub use crate::tiff::ByteOrder;
use crate::tiff::{Directory, Value, long, rational, short, text, write};
use crate::{Filter, Raw};

/// How the samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Compression {
    /// 16 bits a sample, strips.
    #[default]
    None,
    /// The camera's bits a sample without gaps (8 < bits < 16), most significant bit first, strips.
    Packed,
    /// Lossless JPEG (predictor 1), tiles.
    LosslessJpeg,
}

/// Details of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DngOptions {
    /// How the samples are stored.
    pub compression: Compression,
    /// Byte order.
    pub order: ByteOrder,
    /// Longest side of the embedded JPEG preview, px; 0 for none.
    pub preview_px: usize,
    /// State the focal plane resolution.
    pub focal_plane_resolution: bool,
    /// State the 35 mm equivalent focal length.
    pub focal35: bool,
    /// List the masked areas.
    pub masked_areas: bool,
}

impl Default for DngOptions {
    fn default() -> Self {
        Self {
            compression: Compression::None,
            order: ByteOrder::Little,
            preview_px: 1024,
            focal_plane_resolution: true,
            focal35: true,
            masked_areas: true,
        }
    }
}

/// Largest side of a tile of the lossless JPEG storage, px.
const TILE: usize = 512;

impl Raw {
    /// The file's bytes, little-endian, with preview and full Exif.
    #[must_use]
    pub fn to_dng(&self, compression: Compression) -> Vec<u8> {
        self.to_dng_with(&DngOptions { compression, ..DngOptions::default() })
    }

    /// The file's bytes.
    #[must_use]
    pub fn to_dng_with(&self, options: &DngOptions) -> Vec<u8> {
        let mut subs = vec![self.raw_directory(options)];
        if options.preview_px > 0 {
            let small = picture(self, options.preview_px);
            let mut preview = Directory::default();
            let stream = jpeg(&small);
            preview
                .set(254, long(1))
                .set(256, long(small.width))
                .set(257, long(small.height))
                .set(258, Value::Short(vec![8, 8, 8]))
                .set(259, short(7))
                .set(262, short(6))
                .set(277, short(3))
                .set(278, long(small.height))
                .set(279, long(stream.len()))
                .set(273, Value::Pieces(vec![stream]));
            subs.push(preview);
        }
        let mut root = self.root_directory();
        root.set(330, Value::Directories(subs));
        root.set(34665, Value::Directories(vec![self.exif_directory(options)]));
        write(options.order, root)
    }

    /// The first directory: thumbnail and what holds for the whole file.
    fn root_directory(&self) -> Directory {
        let camera = &self.recipe.camera;
        let shot = &self.recipe.shot;
        let thumbnail = picture(self, 160);
        let mut root = Directory::default();
        root.set(254, long(1))
            .set(256, long(thumbnail.width))
            .set(257, long(thumbnail.height))
            .set(258, Value::Short(vec![8, 8, 8]))
            .set(259, short(1))
            .set(262, short(2))
            .set(270, text(&shot.description))
            .set(271, text(&camera.make))
            .set(272, text(&camera.model))
            .set(273, Value::Pieces(vec![thumbnail.rgb.clone()]))
            .set(274, Value::Short(vec![shot.orientation]))
            .set(277, short(3))
            .set(278, long(thumbnail.height))
            .set(279, long(thumbnail.rgb.len()))
            .set(284, short(1))
            .set(305, text("rawassay-scene (simulated)"))
            .set(306, text(&shot.taken_at))
            .set(50706, Value::Byte(vec![1, 4, 0, 0]))
            .set(50707, Value::Byte(vec![1, 3, 0, 0]))
            .set(50708, text(&format!("{} {}", camera.make, camera.model)))
            .set(50735, text(&camera.serial));
        let matrix: &[i32] = match camera.filter.letters.chars().collect::<std::collections::BTreeSet<_>>().len() {
            1 => &[],
            4 => &[3_000, 9_000, -2_000, 8_000, 2_000, 3_000, 10_000, -1_000, 1_000, -1_000, 3_000, 9_000],
            // sRGB primaries, so that the radiances come out as painted.
            _ => &[32_405, -15_372, -4_985, -9_693, 18_760, 416, 556, -2_040, 10_573],
        };
        if !matrix.is_empty() {
            let matrix = matrix.iter().map(|v| (*v, 10_000)).collect();
            root.set(50721, Value::SignedRational(matrix)).set(50778, short(21));
            let colours = plane_codes(&camera.filter);
            let neutral = colours.iter().map(|c| {
                let letter = char::from(b"RGBCMYW"[usize::from(*c)]);
                rational(camera.sensitivity(letter).iter().sum())
            });
            root.set(50728, Value::Rational(neutral.collect()));
        }
        root
    }

    fn exif_directory(&self, options: &DngOptions) -> Directory {
        let shot = &self.recipe.shot;
        let camera = &self.recipe.camera;
        let mut exif = Directory::default();
        let bias = (shot.exposure_bias_ev * 6.0).round() as i32;
        exif.set(33434, Value::Rational(vec![rational(shot.shutter_s)]))
            .set(33437, Value::Rational(vec![rational(shot.f_number)]))
            .set(34855, short(self.recipe.exposure.iso as usize))
            .set(36864, Value::Undefined(b"0232".to_vec()))
            .set(36867, text(&shot.taken_at))
            .set(36868, text(&shot.taken_at))
            .set(36880, text(&shot.offset))
            .set(36881, text(&shot.offset))
            .set(37380, Value::SignedRational(vec![(bias, 6)]))
            .set(37385, short(0))
            .set(37386, Value::Rational(vec![rational(shot.focal_mm)]))
            .set(37521, text(&shot.sub_seconds))
            .set(42033, text(&camera.serial))
            .set(42036, text(&shot.lens));
        let pitch_mm = camera.pitch_um / 1000.0;
        let diagonal_mm = (self.recipe.width as f64).hypot(self.recipe.height as f64) * pitch_mm;
        if options.focal35 {
            exif.set(41989, short((shot.focal_mm * 43.27 / diagonal_mm).round() as usize));
        }
        if options.focal_plane_resolution {
            // Pixels per centimetre.
            let per_cm = (1_000_000, (camera.pitch_um * 100.0).round() as u32);
            exif.set(41486, Value::Rational(vec![per_cm]))
                .set(41487, Value::Rational(vec![per_cm]))
                .set(41488, short(3));
        }
        exif
    }

    fn raw_directory(&self, options: &DngOptions) -> Directory {
        let camera = &self.recipe.camera;
        let filter = &camera.filter;
        let spp = filter.samples_per_pixel();
        let [x, y, w, h] = self.active();
        let mut raw = Directory::default();
        raw.set(254, long(0))
            .set(256, long(self.width))
            .set(257, long(self.height))
            .set(277, short(spp))
            .set(284, short(1))
            .set(50714, Value::Rational(self.black_from_active()))
            .set(50717, Value::Long(vec![camera.white_declared_dn; spp]))
            .set(50719, Value::Long(vec![0, 0]))
            .set(50720, Value::Long(vec![w as u32, h as u32]))
            .set(50829, Value::Long(vec![y as u32, x as u32, (y + h) as u32, (x + w) as u32]));
        let repeat = if camera.black_dn.len() > 1 && !filter.linear { [filter.rows, filter.columns] } else { [1, 1] };
        raw.set(50713, Value::Short(repeat.map(|v| v as u16).to_vec()));
        if options.masked_areas && !self.masked().is_empty() {
            let areas = self.masked().into_iter().flat_map(|[x, y, w, h]| [y, x, y + h, x + w].map(|v| v as u32));
            raw.set(50830, Value::Long(areas.collect()));
        }
        if filter.linear {
            raw.set(262, Value::Short(vec![34892]));
        } else if filter.letters == "W" {
            // Monochrome: a linear file of one plane.
            raw.set(262, Value::Short(vec![34892]));
        } else {
            let codes = plane_codes(filter);
            // The pattern is stated from the active area's corner.
            let pattern = (0..filter.rows).flat_map(|j| (0..filter.columns).map(move |i| (i, j)));
            let pattern: Vec<u8> = pattern.map(|(i, j)| letter_code(filter.letter_at(x + i, y + j, 0))).collect();
            raw.set(262, Value::Short(vec![32803]))
                .set(33421, Value::Short(vec![filter.rows as u16, filter.columns as u16]))
                .set(33422, Value::Byte(pattern))
                .set(50710, Value::Byte(codes))
                .set(50711, short(1));
        }
        if camera.states_noise {
            let range = f64::from(camera.white_declared_dn) - camera.mean_black_dn();
            let gain = camera.gain_at(self.recipe.exposure.iso);
            let noise = camera.read_noise_dn_at(self.recipe.exposure.iso);
            raw.set(51041, Value::Double(vec![1.0 / (gain * range), (noise * noise + 1.0 / 12.0) / (range * range)]));
        }
        self.store(options, &mut raw);
        raw
    }

    /// Black levels in the order of the pattern as seen from the active area's corner.
    fn black_from_active(&self) -> Vec<(u32, u32)> {
        let camera = &self.recipe.camera;
        let filter = &camera.filter;
        let fraction = |v: f64| ((v * 100.0).round() as u32, 100);
        if filter.linear {
            return (0..3).map(|s| fraction(camera.black_at(0, 0, s))).collect();
        }
        if camera.black_dn.len() == 1 {
            return vec![fraction(camera.black_dn[0])];
        }
        let [x, y, ..] = self.active();
        let cells = (0..filter.rows).flat_map(|j| (0..filter.columns).map(move |i| (i, j)));
        cells.map(|(i, j)| fraction(camera.black_at(x + i, y + j, 0))).collect()
    }

    /// Adds the samples.
    fn store(&self, options: &DngOptions, raw: &mut Directory) {
        let camera = &self.recipe.camera;
        let spp = camera.filter.samples_per_pixel();
        let codes: Option<Vec<u16>> = self.code_table.as_ref().map(|table| {
            raw.set(50712, Value::Short(table.clone()));
            self.samples.par_iter().map(|s| crate::sensor::nearest(table, *s) as u16).collect()
        });
        let samples = codes.as_deref().unwrap_or(&self.samples);
        let bits = camera.coded_bits.unwrap_or(camera.bits);
        let row = self.width * spp;
        // No wider than the frame: LibRaw misreads tiles that are. Sides are multiples of 16 (TIFF 6.0).
        let wide = TILE.min(self.width / 16 * 16);
        if options.compression == Compression::LosslessJpeg && wide > 0 {
            let (across, down) = (self.width.div_ceil(wide), self.height.div_ceil(TILE));
            let tiles: Vec<Vec<u8>> = (0..across * down)
                .into_par_iter()
                .map(|i| {
                    let tile = self.tile(samples, (i % across) * wide, wide, (i / across) * TILE);
                    // Two components side by side keep each filter colour's differences small.
                    let (width, parts) = if spp == 3 { (wide, 3) } else { (wide / 2, 2) };
                    LjpegCompressor::new(&tile, width, TILE, parts, bits as u8, 1, 0, 0)
                        .and_then(LjpegCompressor::encode)
                        .unwrap_or_default()
                })
                .collect();
            raw.set(258, Value::Short(vec![bits as u16; spp]))
                .set(259, short(7))
                .set(322, long(wide))
                .set(323, long(TILE))
                .set(325, Value::Long(tiles.iter().map(|t| t.len() as u32).collect()))
                .set(324, Value::Pieces(tiles));
            return;
        }
        const ROWS: usize = 64;
        let packed = options.compression == Compression::Packed && bits < 16;
        let strips: Vec<Vec<u8>> = samples
            .par_chunks(row * ROWS)
            .map(|strip| {
                if packed {
                    strip.chunks(row).flat_map(|line| pack(line, bits)).collect()
                } else {
                    match options.order {
                        ByteOrder::Little => strip.iter().flat_map(|s| s.to_le_bytes()).collect(),
                        ByteOrder::Big => strip.iter().flat_map(|s| s.to_be_bytes()).collect(),
                    }
                }
            })
            .collect();
        raw.set(258, Value::Short(vec![if packed { bits as u16 } else { 16 }; spp]))
            .set(259, short(1))
            .set(278, long(ROWS))
            .set(279, Value::Long(strips.iter().map(|s| s.len() as u32).collect()))
            .set(273, Value::Pieces(strips));
    }

    /// One tile; beyond the frame the last column and row are repeated, keeping the filter array's phase.
    fn tile(&self, samples: &[u16], x0: usize, wide: usize, y0: usize) -> Vec<u16> {
        let spp = self.recipe.camera.filter.samples_per_pixel();
        let inside = |i: usize, n: usize| if i < n { i } else { n - 1 - (i - n) % 2 };
        let mut tile = Vec::with_capacity(wide * TILE * spp);
        for y in y0..y0 + TILE {
            let row = inside(y, self.height) * self.width;
            for x in x0..x0 + wide {
                let at = (row + inside(x, self.width)) * spp;
                tile.extend_from_slice(&samples[at..at + spp]);
            }
        }
        tile
    }
}

/// Samples of one row, most significant bit first, padded to whole bytes.
fn pack(line: &[u16], bits: u32) -> Vec<u8> {
    let mut out = Vec::with_capacity(line.len() * bits as usize / 8 + 1);
    let (mut buffer, mut held) = (0u32, 0u32);
    for sample in line {
        buffer = (buffer << bits) | u32::from(*sample);
        held += bits;
        while held >= 8 {
            held -= 8;
            out.push((buffer >> held) as u8);
            buffer &= (1 << held) - 1;
        }
    }
    if held > 0 {
        out.push((buffer << (8 - held)) as u8);
    }
    out
}

/// Code of a filter colour in CFAPattern.
fn letter_code(letter: char) -> u8 {
    "RGBCMYW".find(letter).unwrap_or(1) as u8
}

/// Codes of the colours of the array, each once, red, green, blue first.
fn plane_codes(filter: &Filter) -> Vec<u8> {
    let codes: std::collections::BTreeSet<u8> = filter.letters.chars().map(letter_code).collect();
    codes.into_iter().collect()
}
