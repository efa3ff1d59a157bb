//! Crops as they are asked for: `WxH+X+Y` in picture pixels, a ratio such as `4:3`, or a share such as `50%`.
//!
//! Column and row 0 are the top left of the picture (the active area) **as stored**, before the orientation turns it
//! upright: the sensor's own pixels, as in `sharpness.map`. For a frame with orientation "stand upright by a quarter
//! turn" the crop is turned along with the picture, so a wide crop of the stored frame becomes a tall picture;
//! `upright:WxH+X+Y` counts in the upright picture instead. A ratio and a share lie in the middle of the frame, and suit
//! frames of any size and direction.

use rawassay_decode::{Area, Orientation, Shot};

/// A crop as asked for: for one frame it becomes an area of its stored pixels ([`Crop::of`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crop {
    /// Pixels of the picture as stored.
    Stored(Area),
    /// Pixels of the upright picture.
    Upright(Area),
    /// The largest in the middle whose sides stand in this ratio; the longer one lies along the picture's longer side.
    Ratio(f64, f64),
    /// This share of each side, 0..1, in the middle.
    Share(f64),
}

impl Crop {
    /// Reads a crop.
    ///
    /// # Errors
    /// One line that says what is wrong with the text.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "crop `{text}`: write WxH+X+Y in pixels of the frame as stored (upright:WxH+X+Y in those of the upright picture), a ratio such as 4:3, or a share of each side such as 50%"
            )
        };
        let plain = text.trim();
        let number = |part: &str| part.trim().parse::<f64>().ok().filter(|n| n.is_finite() && *n > 0.0);
        let pixels =
            |area: &str| parse(area).map_err(|error| if error.contains("holds no pixel") { error } else { wrong() });
        if let Some(area) = plain.strip_prefix("upright:") {
            return pixels(area).map(Self::Upright);
        }
        if let Some(share) = plain.strip_suffix('%') {
            let share = number(share).filter(|s| *s <= 100.0).ok_or_else(wrong)?;
            return Ok(Self::Share(share / 100.0));
        }
        if let Some((a, b)) = plain.split_once(':') {
            let (a, b) = (number(a).ok_or_else(wrong)?, number(b).ok_or_else(wrong)?);
            // Slimmer than any panorama is a slip.
            return if (0.01..=100.0).contains(&(a / b)) { Ok(Self::Ratio(a, b)) } else { Err(wrong()) };
        }
        pixels(plain).map(Self::Stored)
    }

    /// The area of a frame's stored pixels; it may lie outside the picture.
    #[must_use]
    pub fn area(&self, width_px: usize, height_px: usize, orientation: Orientation) -> Area {
        let middle = |w: f64, h: f64| {
            let side = |wanted: f64, whole: usize| (wanted.round() as usize).clamp(1, whole.max(1));
            let (w, h) = (side(w, width_px), side(h, height_px));
            Area::new(width_px.saturating_sub(w) / 2, height_px.saturating_sub(h) / 2, w, h)
        };
        let (width, height) = (width_px as f64, height_px as f64);
        match *self {
            Self::Stored(area) => area,
            Self::Upright(area) => stored(&area, width_px, height_px, orientation),
            Self::Ratio(a, b) => {
                let along = a.max(b) / a.min(b);
                let ratio = if width_px >= height_px { along } else { 1.0 / along };
                if width / height > ratio { middle(height * ratio, height) } else { middle(width, width / ratio) }
            }
            Self::Share(share) => middle(width * share, height * share),
        }
    }

    /// The area in a frame; `None` where its size is unknown.
    #[must_use]
    pub fn of(&self, shot: Option<&Shot>) -> Option<Area> {
        shot.map(|s| self.area(s.width_px, s.height_px, s.orientation))
    }

    /// The crop as it is written.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Self::Stored(area) => text(area),
            Self::Upright(area) => format!("upright:{}", text(area)),
            Self::Ratio(a, b) => format!("{a}:{b}"),
            Self::Share(share) => format!("{}%", crate::brief::length::short(share * 100.0)),
        }
    }
}

/// An area of the upright picture in stored pixels. One that lies outside stays outside.
fn stored(area: &Area, width_px: usize, height_px: usize, orientation: Orientation) -> Area {
    let (x, y, w, h) = (area.x, area.y, area.width, area.height);
    let swaps = orientation.swaps_sides();
    let (upright_w, upright_h) = if swaps { (height_px, width_px) } else { (width_px, height_px) };
    if !inside(area, upright_w, upright_h) {
        return Area::new(usize::MAX / 2, usize::MAX / 2, w, h);
    }
    let (right, below) = (upright_w - x - w, upright_h - y - h);
    match orientation.exif() {
        2 => Area::new(right, y, w, h),
        3 => Area::new(right, below, w, h),
        4 => Area::new(x, below, w, h),
        5 => Area::new(y, x, h, w),
        6 => Area::new(y, right, h, w),
        7 => Area::new(below, right, h, w),
        8 => Area::new(below, x, h, w),
        _ => *area,
    }
}

/// The largest crop of the same shape that lies inside a picture of that size, from the same corner where that lies in
/// it, else in the middle.
#[must_use]
pub fn largest_inside(crop: &Area, width_px: usize, height_px: usize) -> Area {
    let corner = crop.x < width_px && crop.y < height_px;
    let (x, y) = if corner { (crop.x, crop.y) } else { (0, 0) };
    let (room_w, room_h) = ((width_px - x) as f64, (height_px - y) as f64);
    let scale = (room_w / crop.width.max(1) as f64).min(room_h / crop.height.max(1) as f64).min(1.0);
    let side = |length: usize| ((length as f64 * scale).floor() as usize).max(1);
    let (w, h) = (side(crop.width), side(crop.height));
    if corner { Area::new(x, y, w, h) } else { Area::new((width_px - w) / 2, (height_px - h) / 2, w, h) }
}

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
    fn ratios_and_shares_lie_in_the_middle() {
        let up = Orientation::NORMAL;
        let of = |text: &str, w, h| Crop::parse(text).unwrap().area(w, h, up);
        assert_eq!(of("4:3", 6000, 4000), Area::new(333, 0, 5333, 4000));
        assert_eq!(of("4:3", 4000, 6000), Area::new(0, 333, 4000, 5333));
        assert_eq!(of("3:4", 6000, 4000), of("4:3", 6000, 4000));
        assert_eq!(of("1:1", 6000, 4000), Area::new(1000, 0, 4000, 4000));
        assert_eq!(of("16:9", 6000, 4000), Area::new(0, 312, 6000, 3375));
        assert_eq!(of("50%", 6000, 4000), Area::new(1500, 1000, 3000, 2000));
        assert_eq!(of("100%", 6001, 4001), Area::new(0, 0, 6001, 4001));
        for good in ["4:3", "50%", "upright:30x20+1+2", "30x20+1+2"] {
            assert_eq!(Crop::parse(good).unwrap().text(), good);
        }
        for bad in ["4:0", "0%", "101%", ":", "%", "1000:1", "upright:", "4:3:2", "nan%", "9"] {
            assert!(Crop::parse(bad).unwrap_err().contains(bad), "{bad}");
        }
    }

    /// Each corner of the upright area, brought upright by Exif 2.32's table of orientations, is where it was asked for.
    #[test]
    fn upright_areas_are_found_in_the_stored_frame() {
        let (w, h) = (60, 40);
        for exif in 1..=8 {
            let orientation = Orientation::from_exif(exif);
            // Row 0 and column 0 of the stored frame lie: top left, top right, bottom right, bottom left, left top,
            // right top, right bottom, left bottom.
            let upright = |x: usize, y: usize| match exif {
                2 => (w - 1 - x, y),
                3 => (w - 1 - x, h - 1 - y),
                4 => (x, h - 1 - y),
                5 => (y, x),
                6 => (h - 1 - y, x),
                7 => (h - 1 - y, w - 1 - x),
                8 => (y, w - 1 - x),
                _ => (x, y),
            };
            let asked = Area::new(3, 5, 20, 12);
            let found = Crop::Upright(asked).area(w, h, orientation);
            let mut seen = Vec::new();
            for y in found.y..found.y + found.height {
                for x in found.x..found.x + found.width {
                    seen.push(upright(x, y));
                }
            }
            let range = |f: &dyn Fn(&(usize, usize)) -> usize| (seen.iter().map(f).min(), seen.iter().map(f).max());
            assert_eq!(range(&|p| p.0), (Some(3), Some(22)), "{exif}");
            assert_eq!(range(&|p| p.1), (Some(5), Some(16)), "{exif}");
            assert!(!inside(&Crop::Upright(Area::new(50, 30, 20, 20)).area(w, h, orientation), w, h));
        }
    }

    #[test]
    fn what_fits_of_a_crop_that_does_not() {
        let fits = |text: &str| super::text(&largest_inside(&parse(text).unwrap(), 6000, 4000));
        assert_eq!(fits("9000x3000+600+800"), "5400x1800+600+800");
        assert_eq!(fits("3000x3000+9000+0"), "3000x3000+1500+500");
        assert_eq!(fits("9000x9000+9000+0"), "4000x4000+1000+0");
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
