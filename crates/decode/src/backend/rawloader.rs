//! rawloader: for what rawler refuses, and never for DNG, CR3 or RAF.

use std::io::Cursor;

use rawloader::{RawImage, RawImageData};

use super::{Backend, Decoded, Gaps, directory_walk};
use crate::DecodeError;
use crate::container::{Container, Kind};
use crate::content::Content;
use crate::error::one_line;
use crate::frame::{Area, FilterArray, Reader};
use crate::limits::check_size;
use crate::panics::guarded;

pub(super) struct Rawloader;

impl Backend for Rawloader {
    fn reader(&self) -> Reader {
        Reader { name: "rawloader".into(), version: "0.37.2".into() }
    }

    fn takes(&self, container: &Container) -> bool {
        !matches!(container.kind, Kind::Dng | Kind::Cr3 | Kind::X3f)
    }

    fn decode(&self, _container: &Container, content: &mut Content, _whole: bool) -> Result<Decoded, DecodeError> {
        let bytes = &content.shared();
        if !directory_walk::ends(bytes) {
            return Err(DecodeError::LimitExceeded {
                what: "a tree of directories".into(),
                limit: "what any camera writes".into(),
            });
        }
        let image = guarded(|| rawloader::decode(&mut Cursor::new(bytes.as_slice())))
            .map_err(|panic| DecodeError::Decoder(format!("rawloader stopped: {}", one_line(&panic))))?
            .map_err(|error| DecodeError::Decoder(one_line(&error.to_string())))?;
        assemble(image)
    }
}

fn assemble(image: RawImage) -> Result<Decoded, DecodeError> {
    let (width, height) = (image.width, image.height);
    check_size(width as u64, height as u64, image.cpp as u64)?;
    let filter = if image.cpp == 3 {
        FilterArray::linear_rgb()
    } else if image.is_monochrome() {
        FilterArray::monochrome()
    } else {
        let letters = image.cfa.to_string().replace('E', "C");
        FilterArray::mosaic(image.cfa.width, image.cfa.height, &letters)
            .ok_or_else(|| DecodeError::Unsupported(format!("filter array {}", image.cfa)))?
    };
    let [top, right, bottom, left] = image.crops;
    let cropped = Area::new(left, top, width.saturating_sub(left + right), height.saturating_sub(top + bottom));
    let full = Area::new(0, 0, width, height);
    let active = if cropped.is_empty() { full } else { cropped };
    // rawloader's levels go by colour (red, green, blue, second green or fourth colour).
    let index = |plane: usize| match filter.planes[plane].name.as_bytes() {
        [b'R', ..] => 0,
        [b'B', ..] => 2,
        [b'G', b'2'] => 3,
        [b'G', ..] => 1,
        _ => 0,
    };
    let planes = 0..filter.planes.len();
    let or_first = |levels: &[u16; 4], i: usize| f64::from(if levels[i] == 0 { levels[0] } else { levels[i] });
    let black = planes.clone().map(|p| or_first(&image.blacklevels, index(p))).collect();
    let white = planes.map(|p| or_first(&image.whitelevels, index(p))).collect();
    let text = |s: &str| Some(s.trim().to_string()).filter(|s| !s.is_empty());
    let gaps = Gaps { make: text(&image.make), model: text(&image.model), ..Gaps::default() };
    let RawImageData::Integer(samples) = image.data else {
        return Err(DecodeError::Unsupported("floating-point samples".into()));
    };
    if samples.len() != width * height * filter.samples_per_pixel {
        return Err(DecodeError::Decoder(format!("rawloader gave {} samples for {width} x {height}", samples.len())));
    }
    Ok(Decoded {
        samples,
        width,
        height,
        filter,
        active,
        masked: Vec::new(),
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
