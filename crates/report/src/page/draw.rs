//! All pictures of one frame, made from the decoded raw file, and what the page must know about them.

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder, RgbImage, imageops};
use rawassay_analysis::Channel;
use rawassay_analysis::measures::scatter;
use rawassay_decode::{Frame, Preview};
use serde::{Deserialize, Serialize};

use super::tones::{self, Mask, PlaneHistogram};
use super::{render, upright};
use crate::record::Record;

/// Rises whenever a picture may come out differently for the same file.
const DRAWING_VERSION: u32 = 5;
/// Most patches in the noise plot.
const MOST_PATCHES: usize = 80;
/// Longest side of the small picture, pixels: twice the size at which the overview shows it.
const SMALL_SIDE: u32 = 216;
/// A preview whose sides' ratio differs by more than this from the active area's shows another part of the picture:
/// overlays would not lie on it.
const ASPECT_TOLERANCE: f64 = 0.015;

/// Limits that keep the folder small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sizes {
    /// Longest side of the frame page's picture, pixels.
    pub long_side: u32,
    /// Most bytes of that picture.
    pub picture_bytes: usize,
    /// Most bytes of the overview's picture.
    pub small_bytes: usize,
    /// Side of a crop at 100 %, sensor pixels.
    pub crop_side: usize,
    /// Most bytes of a crop.
    pub crop_bytes: usize,
}

impl Sizes {
    /// Sizes for a shoot of so many frames: generous for a few, and under 120 MB with 2000.
    #[must_use]
    pub fn for_frames(frames: usize) -> Self {
        let sizes = |long_side, picture_bytes, small_bytes, crop_side, crop_bytes| Self {
            long_side,
            picture_bytes,
            small_bytes,
            crop_side,
            crop_bytes,
        };
        match frames {
            0..=600 => sizes(1280, 39_000, 9_000, 256, 24_000),
            601..=1200 => sizes(1100, 24_000, 6_000, 224, 9_000),
            _ => sizes(640, 9_000, 3_000, 128, 2_200),
        }
    }
}

/// Where the picture comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// The JPEG that the camera put into the raw file.
    Preview,
    /// A plain rendering of the mosaic.
    Mosaic,
}

/// A crop at 100 %.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Crop {
    /// Where it lies in the upright picture: left, top, width, height, each a share of the picture's sides, 0..1.
    pub place: [f64; 4],
    /// Size, sensor pixels, upright.
    pub size_px: [usize; 2],
    /// Brightening, EV.
    pub lift_ev: f64,
    /// Sensor pixels per pixel drawn, along a side; 1 at 100 %.
    pub shrunk: f64,
}

/// What was drawn of one frame; kept in the folder so that a later run need not open the raw file again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drawn {
    /// File, measures and settings that it was drawn from: see [`key`].
    pub key: String,
    /// Where the picture comes from.
    pub source: Source,
    /// Size of the picture, pixels, upright.
    pub picture_px: [u32; 2],
    /// Brightening of a rendering, EV; 0 for a preview.
    pub lift_ev: f64,
    /// Planes with a mask of clipped samples (those without any have none), with the marked cells.
    pub clipped: Vec<(String, usize)>,
    /// Marked cells of the mask of blocked shadows; `None` where read noise is unknown.
    pub blocked: Option<usize>,
    /// Side of a mask cell, sensor pixels.
    pub cell_px: f64,
    /// Histogram of each plane.
    pub histograms: Vec<PlaneHistogram>,
    /// Flat patches of the green (or first) plane, the middle one of each tone: (mean above black, variance), DN and DN².
    pub patches: Vec<(f32, f32)>,
    /// Crop at the sharpest measured edge.
    pub sharpest: Option<Crop>,
    /// Crop at the least sharp measured edge.
    pub softest: Option<Crop>,
    /// Crop about the largest clipped patch.
    pub patch: Option<Crop>,
    /// Square term of the noise over the patches: see [`scatter::unevenness`].
    pub unevenness: f64,
}

impl Drawn {
    /// The picture files of the page with that id, relative to the top of the folder.
    #[must_use]
    pub fn files(&self, id: &str) -> Vec<String> {
        let mut suffixes: Vec<String> = vec![".jpg".into(), "-small.jpg".into()];
        suffixes.extend(self.clipped.iter().map(|(plane, _)| format!("-clipped-{}.png", mask_name(plane))));
        suffixes.extend(self.blocked.filter(|&n| n > 0).map(|_| "-blocked.png".into()));
        suffixes.extend(self.sharpest.map(|_| "-sharpest.jpg".into()));
        suffixes.extend(self.softest.map(|_| "-softest.jpg".into()));
        suffixes.extend(self.patch.map(|_| "-patch.jpg".into()));
        suffixes.into_iter().map(|suffix| format!("pictures/{id}{suffix}")).collect()
    }
}

/// One file of the `pictures` folder: what follows the page's id in its name, and its bytes.
pub type PictureFile = (String, Vec<u8>);

/// What a drawing depends on. A folder whose [`Drawn`] has the same key is up to date.
#[must_use]
pub fn key(record: &Record, sizes: Sizes) -> String {
    format!(
        "{DRAWING_VERSION}-{}-{}-{}-{}-{}",
        record.measures_version, record.file_id.hash, record.file_id.size, sizes.long_side, sizes.picture_bytes
    )
}

/// Draws everything. `None` where the record does not fit the frame or nothing can be drawn.
#[must_use]
pub fn draw(
    frame: &Frame,
    preview: Option<&Preview>,
    record: &Record,
    sizes: Sizes,
) -> Option<(Drawn, Vec<PictureFile>)> {
    let measures = record.measures.as_ref()?;
    let orientation = frame.shot.orientation;
    let tones = tones::read(frame, &measures.channels)?;
    let ranges: Vec<render::PlaneRange> = measures.channels.iter().map(|c| (c.black_dn, c.saturation_dn)).collect();
    let mut files = Vec::new();

    let (rendered, toning) = render::whole(frame, &ranges, sizes.long_side as usize)?;
    let from_preview = preview.and_then(|p| fitting_preview(p, frame, sizes.long_side));
    let (source, picture) = match from_preview {
        Some(picture) => (Source::Preview, picture),
        None => (Source::Mosaic, upright::picture(orientation, rendered)),
    };
    let small = shrink(&picture, SMALL_SIDE);
    let (bytes, picture) = jpeg_within(picture, sizes.picture_bytes)?;
    files.push((".jpg".into(), bytes));
    files.push(("-small.jpg".into(), jpeg_within(small, sizes.small_bytes)?.0));

    let mut clipped = Vec::new();
    for (plane, mask) in frame.filter.planes.iter().zip(&tones.clipped) {
        if mask.marked() > 0 {
            files.push((format!("-clipped-{}.png", mask_name(&plane.name)), mask_png(mask, frame)?));
            clipped.push((plane.name.clone(), mask.marked()));
        }
    }
    if let Some(mask) = tones.blocked.as_ref().filter(|m| m.marked() > 0) {
        files.push(("-blocked.png".into(), mask_png(mask, frame)?));
    }

    let mut crop_at = |at: Option<(u32, u32)>, side: usize, suffix: &str| -> Option<Crop> {
        let (pixels, area, lift) = render::crop(frame, &ranges, at?, side, toning.balance)?;
        let whole = (frame.active.width as f64, frame.active.height as f64);
        let corner = |x: usize, y: usize| {
            let point = ((x - frame.active.x) as f64, (y - frame.active.y) as f64);
            upright::point(orientation, point, whole)
        };
        let ((x0, y0), (x1, y1)) = (corner(area.x, area.y), corner(area.right(), area.bottom()));
        let (width, height) = upright::size(orientation, whole.0, whole.1);
        let pixels = upright::picture(orientation, pixels);
        let size_px = [pixels.width() as usize, pixels.height() as usize];
        // A crop is shown pixel for pixel, compressed harder rather than scaled; only a patch larger than it is scaled.
        let pixels = shrink(&pixels, sizes.crop_side as u32);
        let shrunk = size_px[0] as f64 / f64::from(pixels.width().max(1));
        files.push((suffix.into(), jpeg_quality_within(&pixels, sizes.crop_bytes)?));
        Some(Crop {
            place: [x0.min(x1) / width, y0.min(y1) / height, (x0 - x1).abs() / width, (y0 - y1).abs() / height],
            size_px,
            lift_ev: lift.log2(),
            shrunk,
        })
    };
    let sharpest = crop_at(measures.sharpness.sharpest_at_px, sizes.crop_side, "-sharpest.jpg");
    let softest = crop_at(measures.sharpness.softest_at_px, sizes.crop_side, "-softest.jpg");
    let patch = measures.clipping.areas.first().and_then(|area| {
        let [x, y, width, height] = area.box_px;
        // With half as much again about it: what surrounds a patch tells what it is.
        let side = (width.max(height) * 3 / 2).max(sizes.crop_side);
        crop_at(Some(((x + width / 2) as u32, (y + height / 2) as u32)), side, "-patch.jpg")
    });

    let green = green_plane(&measures.channels);
    let patches = scatter::flat_patches(frame, &measures.channels, green, MOST_PATCHES);
    let model = measures.noise.gain_e_per_dn.zip(measures.noise.read_noise_dn);
    let drawn = Drawn {
        key: key(record, sizes),
        source,
        picture_px: [picture.width(), picture.height()],
        lift_ev: if source == Source::Mosaic { toning.lift.log2() } else { 0.0 },
        clipped,
        blocked: tones.blocked.as_ref().map(Mask::marked),
        cell_px: tones.cell_px,
        histograms: tones.histograms,
        unevenness: model.map_or(0.0, |(gain, read)| scatter::unevenness(&patches, gain, read)),
        patches: patches.into_iter().map(|(mean, variance)| (whole_digits(mean), whole_digits(variance))).collect(),
        sharpest,
        softest,
        patch,
    };
    Some((drawn, files))
}

/// Four digits: more than a plot can show.
fn whole_digits(value: f64) -> f32 {
    format!("{value:.3e}").parse().unwrap_or(0.0)
}

/// The plane whose noise is told: green, else the first.
#[must_use]
pub fn green_plane(channels: &[Channel]) -> usize {
    channels.iter().position(|c| c.name.starts_with('G')).unwrap_or(0)
}

/// A plane's name in a file name (planes are named by the program, but a name may hold any letter one day).
#[must_use]
pub fn mask_name(plane: &str) -> String {
    plane.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase()
}

/// The embedded preview, upright and scaled, where it can be decoded and shows the same part of the scene.
fn fitting_preview(preview: &Preview, frame: &Frame, long_side: u32) -> Option<RgbImage> {
    let mut reader = image::ImageReader::with_format(std::io::Cursor::new(&preview.jpeg), image::ImageFormat::Jpeg);
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(30_000);
    limits.max_image_height = Some(30_000);
    limits.max_alloc = Some(1 << 30);
    reader.limits(limits);
    let decoded = reader.decode().ok()?;
    let (width, height) = (f64::from(decoded.width()), f64::from(decoded.height()));
    // Smaller than the small picture: a rendering shows more.
    if width.max(height) < f64::from(SMALL_SIDE) * 2.0 {
        return None;
    }
    let active = frame.active.width as f64 / frame.active.height as f64;
    let fits = |ratio: f64| (ratio / active).ln().abs() < ASPECT_TOLERANCE;
    // Most cameras store it as the sensor lies, some already upright.
    let turned = if fits(width / height) {
        let scaled = shrink(&decoded.into_rgb8(), long_side);
        upright::picture(frame.shot.orientation, scaled)
    } else if frame.shot.orientation.swaps_sides() && fits(height / width) {
        shrink(&decoded.into_rgb8(), long_side)
    } else {
        return None;
    };
    Some(turned)
}

/// Scaled down to at most `long_side`, never up.
fn shrink(picture: &RgbImage, long_side: u32) -> RgbImage {
    let longest = picture.width().max(picture.height());
    if longest <= long_side {
        return picture.clone();
    }
    let side = |n: u32| ((f64::from(n) * f64::from(long_side) / f64::from(longest)).round() as u32).max(1);
    imageops::thumbnail(picture, side(picture.width()), side(picture.height()))
}

fn encode(picture: &RgbImage, quality: u8) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(picture).ok()?;
    Some(bytes)
}

/// The best quality that stays within `most` bytes, without scaling; the lowest quality where none does.
fn jpeg_quality_within(picture: &RgbImage, most: usize) -> Option<Vec<u8>> {
    let mut last = None;
    for quality in [88, 80, 70, 60, 48, 36, 24] {
        let bytes = encode(picture, quality)?;
        if bytes.len() <= most {
            return Some(bytes);
        }
        last = Some(bytes);
    }
    last
}

/// A JPEG within `most` bytes: first quality gives way, then size.
fn jpeg_within(mut picture: RgbImage, most: usize) -> Option<(Vec<u8>, RgbImage)> {
    loop {
        for quality in [82, 72, 60] {
            let bytes = encode(&picture, quality)?;
            if bytes.len() <= most {
                return Some((bytes, picture));
            }
        }
        let longest = picture.width().max(picture.height());
        if longest < 64 {
            let bytes = encode(&picture, 40)?;
            return Some((bytes, picture));
        }
        picture = shrink(&picture, longest * 4 / 5);
    }
}

/// White where marked, upright; one pixel per cell.
fn mask_png(mask: &Mask, frame: &Frame) -> Option<Vec<u8>> {
    let orientation = frame.shot.orientation;
    let cells = upright::grid(orientation, &mask.cells, mask.cols, mask.rows);
    let (width, height) = if orientation.swaps_sides() { (mask.rows, mask.cols) } else { (mask.cols, mask.rows) };
    let grey: Vec<u8> = cells.iter().map(|&c| if c { 255 } else { 0 }).collect();
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Best, FilterType::NoFilter)
        .write_image(&grey, width as u32, height as u32, ExtendedColorType::L8)
        .ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests;
