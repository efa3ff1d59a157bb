//! rawler: everything but DNG (whose tags are read by our own code).

use std::sync::Arc;

use rawler::cfa::CFAColor;
use rawler::decoders::{RawDecodeParams, RawMetadata};
use rawler::formats::tiff::Rational;
use rawler::imgop::Rect;
use rawler::rawimage::RawPhotometricInterpretation;
use rawler::rawsource::RawSource;
use rawler::{RawImage, RawImageData, RawlerError};

use super::{Backend, Decoded, Gaps};
use crate::container::{Container, Kind};
use crate::content::Content;
use crate::error::one_line;
use crate::frame::{Area, FilterArray, Reader};
use crate::limits::check_size;
use crate::panics::guarded;
use crate::streams::{self, Rows};
use crate::{DecodeError, arw, nef};

/// What a reader of an IIQ's figures should know.
const IIQ_NOTE: &str = "rawler subtracts black and applies the digital back's own calibration: samples below black are cut off, and noise in the shadows may read too low";

pub(super) struct Rawler;

impl Backend for Rawler {
    fn reader(&self) -> Reader {
        Reader { name: "rawler".into(), version: "0.8.0".into() }
    }

    fn takes(&self, container: &Container) -> bool {
        container.kind != Kind::Dng
    }

    fn decode(&self, container: &Container, content: &mut Content, whole: bool) -> Result<Decoded, DecodeError> {
        let bytes = &content.shared();
        let cr2 = if container.kind == Kind::Tiff { streams::check_cr2(bytes, container)? } else { None };
        let own = match &cr2 {
            Some(cr2) => beside(bytes, whole, || cr2.decode(bytes)),
            None if container.kind == Kind::Tiff => coded_here(bytes, container, whole),
            None => None,
        };
        let mut decoded = match own {
            Some(decoded) => decoded,
            None => {
                let (image, metadata) = read(bytes, false, whole)?;
                assemble(image, metadata, None)?
            }
        };
        if bytes.get(8..12) == Some(b"IIII") {
            decoded.notes.push(IIQ_NOTE.into());
        }
        if let Some(cr2) = cr2 {
            decoded.missing = cr2.checked.missing.or(decoded.missing);
            decoded.largest_code = cr2.checked.largest_code.filter(|_| !decoded.filter.is_linear());
        }
        if container.kind == Kind::Crw {
            // The decompressor does not stop at the code's end; broken data run over it.
            let white = decoded.white.iter().copied().fold(0.0, f64::max) as u32;
            decoded.largest_code = u16::try_from((white + 1).next_power_of_two() - 1).ok();
        }
        Ok(decoded)
    }
}

/// Reads a file with rawler; without its samples where `bare`, without its records of the shot where the Exif is `whole`.
fn read(bytes: &Arc<Vec<u8>>, bare: bool, whole: bool) -> Result<(RawImage, Option<RawMetadata>), DecodeError> {
    let source = RawSource::new_from_shared_vec(Arc::clone(bytes));
    let params = RawDecodeParams::default();
    guarded(|| {
        let decoder = rawler::get_decoder(&source)?;
        let image = decoder.raw_image(&source, &params, bare)?;
        // A failure here costs the gaps in the Exif, not the frame.
        let records = || guarded(|| decoder.raw_metadata(&source, &params).ok()).ok().flatten();
        Ok((image, if whole { None } else { records() }))
    })
    .map_err(|panic| DecodeError::Decoder(format!("rawler stopped: {}", one_line(&panic))))?
    .map_err(refusal)
}

/// A NEF or ARW whose samples the readers would change at random. `None` for others.
fn coded_here(bytes: &Arc<Vec<u8>>, container: &Container, whole: bool) -> Option<Decoded> {
    let (mut decoded, note) = if let Some(nef) = nef::find(bytes, container) {
        (beside(bytes, whole, || Some(nef.decode()))?, nef.note())
    } else {
        let arw = arw::find(bytes, container)?;
        (beside(bytes, whole, || Some(arw.decode()))?, Some(arw::NOTE.into()))
    };
    decoded.notes.extend(note);
    Some(Decoded { as_coded: true, ..decoded })
}

/// A file whose samples are decoded here, beside rawler's reading of everything else: its tables of cameras and lenses take
/// as long to load as the samples to decode. `None` where it is for rawler alone.
fn beside(bytes: &Arc<Vec<u8>>, whole: bool, decode: impl FnOnce() -> Option<Rows>) -> Option<Decoded> {
    let (rows, read) = std::thread::scope(|scope| {
        let reading = std::thread::Builder::new().spawn_scoped(scope, || read(bytes, true, whole));
        let rows = decode();
        (rows, reading.ok().and_then(|thread| thread.join().ok()))
    });
    let (image, metadata) = read?.ok()?;
    // The hint of one old camera whose samples pass a curve.
    let plain = image.cpp == 1 && !image.camera.find_hint("linearization");
    let rows = rows.filter(|rows| plain && (rows.width, rows.height) == (image.width, image.height))?;
    let missing = rows.missing;
    let mut decoded = assemble(image, metadata, Some(rows.samples)).ok()?;
    decoded.missing = missing;
    Some(decoded)
}

fn refusal(error: RawlerError) -> DecodeError {
    match error {
        RawlerError::Unsupported { what, make, model, mode } => {
            let camera = [make.trim(), model.trim(), mode.trim()].join(" ");
            DecodeError::Unsupported(one_line(&format!("rawler: {what} {camera}")))
        }
        RawlerError::DecoderFailed(what) => DecodeError::Decoder(one_line(&format!("rawler: {what}"))),
    }
}

fn area(rect: &Rect) -> Area {
    Area::new(rect.p.x, rect.p.y, rect.d.w, rect.d.h)
}

fn filter_of(image: &RawImage) -> Result<FilterArray, DecodeError> {
    match (&image.photometric, image.cpp) {
        (RawPhotometricInterpretation::LinearRaw, 3) => Ok(FilterArray::linear_rgb()),
        (RawPhotometricInterpretation::BlackIsZero | RawPhotometricInterpretation::LinearRaw, 1) => {
            Ok(FilterArray::monochrome())
        }
        (RawPhotometricInterpretation::Cfa(config), 1) => {
            let cfa = &config.cfa;
            if cfa.width == 0 || cfa.height == 0 || cfa.unique_colors() == 1 {
                return Ok(FilterArray::monochrome());
            }
            let letter = |index: &u8| match CFAColor::try_from(*index) {
                Ok(CFAColor::RED) => 'R',
                Ok(CFAColor::GREEN | CFAColor::FUJI_GREEN) => 'G',
                Ok(CFAColor::BLUE) => 'B',
                Ok(CFAColor::CYAN) => 'C',
                Ok(CFAColor::MAGENTA) => 'M',
                Ok(CFAColor::YELLOW) => 'Y',
                Ok(CFAColor::WHITE) => 'W',
                _ => '?',
            };
            let letters: String = cfa.flat_pattern().iter().map(letter).collect();
            FilterArray::mosaic(cfa.width, cfa.height, &letters)
                .ok_or_else(|| DecodeError::Unsupported(format!("filter array {}", cfa.name)))
        }
        (_, cpp) => Err(DecodeError::Unsupported(format!("{cpp} samples per pixel"))),
    }
}

/// `samples`: those of the image, where it came without.
fn assemble(image: RawImage, metadata: Option<RawMetadata>, samples: Option<Vec<u16>>) -> Result<Decoded, DecodeError> {
    let (width, height) = (image.width, image.height);
    check_size(width as u64, height as u64, image.cpp as u64)?;
    if image.fuji_rotation_width.is_some() {
        return Err(DecodeError::Unsupported("the rows of its sensor stand at 45 degrees".into()));
    }
    let filter = filter_of(&image)?;
    let full = Area::new(0, 0, width, height);
    let inside = |a: &Area| !a.is_empty() && a.right() <= width && a.bottom() <= height;
    let stated = image.active_area.or(image.crop_area).map(|r| area(&r)).filter(inside);
    let active = stated.unwrap_or(full);
    let masked = image.blackareas.iter().map(area).filter(inside).collect();
    let planes = filter.planes.len();

    // Levels come by position of the filter array, or one for all.
    let black_cells = &image.blacklevel;
    let finite = |v: f64| if v.is_finite() { v } else { 0.0 };
    let mut black = vec![0.0; planes];
    let mut count = vec![0_u32; planes];
    for y in 0..filter.rows.max(black_cells.height) {
        for x in 0..filter.columns.max(black_cells.width) {
            for s in 0..filter.samples_per_pixel {
                let plane = if filter.is_linear() { s } else { filter.plane_at(x, y) };
                let (bw, bh, cpp) = (black_cells.width.max(1), black_cells.height.max(1), black_cells.cpp.max(1));
                let index = (y % bh * bw + x % bw) * cpp + s.min(cpp - 1);
                let level: Option<&Rational> = black_cells.levels.get(index).or(black_cells.levels.first());
                black[plane] += finite(level.map_or(0.0, |l| f64::from(l.as_f32())));
                count[plane] += 1;
            }
        }
    }
    for (b, n) in black.iter_mut().zip(&count) {
        *b /= f64::from((*n).max(1));
    }
    let whites = &image.whitelevel.0;
    let white = (0..planes).map(|p| f64::from(*whites.get(p).or(whites.first()).unwrap_or(&65_535)).min(65_535.0));
    let white = white.collect();
    let gaps = gaps(&image, metadata);
    let samples = match (samples, image.data) {
        (Some(samples), _) | (None, RawImageData::Integer(samples)) => samples,
        _ => return Err(DecodeError::Unsupported("floating-point samples".into())),
    };
    if samples.len() != width * height * filter.samples_per_pixel {
        return Err(DecodeError::Decoder(format!("rawler gave {} samples for {width} x {height}", samples.len())));
    }
    Ok(Decoded {
        samples,
        width,
        height,
        filter,
        active,
        masked,
        black,
        white,
        largest_code: None,
        missing: None,
        dithered: false,
        as_coded: false,
        noise_profile: Vec::new(),
        gaps,
        notes: Vec::new(),
    })
}

fn gaps(image: &RawImage, metadata: Option<RawMetadata>) -> Gaps {
    let text = |s: &str| Some(s.trim().trim_end_matches('\0').to_string()).filter(|s| !s.is_empty());
    let mut gaps = Gaps { make: text(&image.make), model: text(&image.model), ..Gaps::default() };
    let Some(metadata) = metadata else { return gaps };
    let exif = metadata.exif;
    let ratio = |r: Option<Rational>| r.filter(|r| r.d != 0 && r.n != 0).map(|r| f64::from(r.n) / f64::from(r.d));
    gaps.lens = exif.lens_model.as_deref().and_then(text);
    gaps.serial = exif.serial_number.as_deref().and_then(text);
    gaps.iso = exif.iso_speed_ratings.map(f64::from).filter(|&i| i > 0.0);
    gaps.shutter_s = ratio(exif.exposure_time);
    gaps.f_number = ratio(exif.fnumber);
    gaps.focal_mm = ratio(exif.focal_length);
    gaps.exposure_bias_ev = exif.exposure_bias.filter(|r| r.d != 0).map(|r| f64::from(r.n) / f64::from(r.d));
    gaps.taken = exif.date_time_original.as_deref().and_then(text);
    gaps.orientation = exif.orientation.map(u32::from);
    gaps
}
