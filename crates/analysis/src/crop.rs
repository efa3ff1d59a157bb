//! Crops as they are asked for: `WxH+X+Y`, in picture pixels.
//!
//! Column and row 0 are the top left of the picture (the active area) **as stored**, before the orientation turns it
//! upright: the sensor's own pixels, as in `sharpness.map`. For a frame with orientation "stand upright by a quarter
//! turn" the crop is turned along with the picture, so a wide crop of the stored frame becomes a tall picture.

use rawassay_decode::Area;

/// Reads `WxH+X+Y`, for example `3600x2400+1200+800`.
///
/// # Errors
/// One line that says what is wrong with the text.
pub fn parse(text: &str) -> Result<Area, String> {
    let wrong = || {
        format!(
            "crop `{text}`: write WxH+X+Y in pixels of the frame as stored, for example 3600x2400+1200+800 (columns x rows + first column + first row)"
        )
    };
    let (size, place) = text.trim().split_once('+').ok_or_else(wrong)?;
    let (width, height) = size.split_once(['x', 'X', '\u{d7}']).ok_or_else(wrong)?;
    let (x, y) = place.split_once('+').ok_or_else(wrong)?;
    let number = |part: &str| {
        let digits = !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
        if digits { part.parse::<u32>().map(|n| n as usize).map_err(|_| wrong()) } else { Err(wrong()) }
    };
    let area = Area::new(number(x)?, number(y)?, number(width)?, number(height)?);
    if area.is_empty() {
        return Err(format!("crop `{text}`: holds no pixel; width and height must be 1 or more"));
    }
    Ok(area)
}

/// True where the crop lies wholly inside a picture of that size.
#[must_use]
pub fn inside(crop: &Area, width_px: usize, height_px: usize) -> bool {
    !crop.is_empty()
        && crop.x.checked_add(crop.width).is_some_and(|right| right <= width_px)
        && crop.y.checked_add(crop.height).is_some_and(|bottom| bottom <= height_px)
}

/// The crop as it is written.
#[must_use]
pub fn text(crop: &Area) -> String {
    format!("{}x{}+{}+{}", crop.width, crop.height, crop.x, crop.y)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn reads_and_writes() {
        let area = parse(" 3600x2400+1200+800 ").unwrap();
        assert_eq!(area, Area::new(1200, 800, 3600, 2400));
        assert_eq!(text(&area), "3600x2400+1200+800");
    }

    #[test]
    fn refuses_what_is_no_crop() {
        for bad in [
            "",
            "100",
            "100x100",
            "100x100+1",
            "0x100+0+0",
            "100x0+0+0",
            "-1x100+0+0",
            "100x100+-1+0",
            "1e3x10+0+0",
            "100x100+0+0+0",
            "99999999999x10+0+0",
            "10.5x10+0+0",
        ] {
            let error = parse(bad).unwrap_err();
            assert!(error.contains(bad) && error.contains("crop"), "{bad}: {error}");
        }
    }

    #[test]
    fn inside_is_exact() {
        let area = Area::new(1, 1, 9, 9);
        assert!(inside(&area, 10, 10));
        assert!(!inside(&area, 9, 10));
        assert!(!inside(&area, 10, 9));
        assert!(!inside(&Area::new(usize::MAX, 0, 2, 2), 10, 10));
        assert!(!inside(&Area::new(0, 0, 0, 2), 10, 10));
    }
}
