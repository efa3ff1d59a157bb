//! From the frame as stored to the picture as it stands: pixels, points and directions by the Exif orientation.

use image::{DynamicImage, RgbImage};
use rawassay_decode::Orientation;

/// Width and height after standing it upright.
#[must_use]
pub fn size(orientation: Orientation, width: f64, height: f64) -> (f64, f64) {
    if orientation.swaps_sides() { (height, width) } else { (width, height) }
}

/// Where a point of the stored picture (`width` x `height`, y down) lies in the upright one.
#[must_use]
pub fn point(orientation: Orientation, (x, y): (f64, f64), (width, height): (f64, f64)) -> (f64, f64) {
    match orientation.exif() {
        2 => (width - x, y),
        3 => (width - x, height - y),
        4 => (x, height - y),
        5 => (y, x),
        6 => (height - y, x),
        7 => (height - y, width - x),
        8 => (y, width - x),
        _ => (x, y),
    }
}

/// A direction (degrees anticlockwise from the horizontal of the stored frame) in the upright picture, 0..180.
#[must_use]
pub fn direction_deg(orientation: Orientation, stored_deg: f64) -> f64 {
    let (sin, cos) = stored_deg.to_radians().sin_cos();
    // y grows downwards in pixel coordinates; a direction is the difference of two points.
    let (x0, y0) = point(orientation, (0.0, 0.0), (0.0, 0.0));
    let (x1, y1) = point(orientation, (cos, -sin), (0.0, 0.0));
    (y0 - y1).atan2(x1 - x0).to_degrees().rem_euclid(180.0)
}

/// The pixels, upright.
#[must_use]
pub fn picture(orientation: Orientation, stored: RgbImage) -> RgbImage {
    use image::imageops::{flip_horizontal, flip_vertical, rotate90, rotate180, rotate270};
    match orientation.exif() {
        2 => flip_horizontal(&stored),
        3 => rotate180(&stored),
        4 => flip_vertical(&stored),
        5 => flip_horizontal(&rotate90(&stored)),
        6 => rotate90(&stored),
        7 => flip_horizontal(&rotate270(&stored)),
        8 => rotate270(&stored),
        _ => stored,
    }
}

/// A grid of flags or levels by row, upright.
#[must_use]
pub fn grid<T: Copy + Default>(orientation: Orientation, cells: &[T], cols: usize, rows: usize) -> Vec<T> {
    let (width, _) = if orientation.swaps_sides() { (rows, cols) } else { (cols, rows) };
    let mut out = vec![T::default(); cols * rows];
    for y in 0..rows {
        for x in 0..cols {
            let centre = (x as f64 + 0.5, y as f64 + 0.5);
            let (u, v) = point(orientation, centre, (cols as f64, rows as f64));
            out[v as usize * width + u as usize] = cells[y * cols + x];
        }
    }
    out
}

/// As [`picture`], for a decoded preview of any pixel kind.
#[must_use]
pub fn any(orientation: Orientation, stored: DynamicImage) -> RgbImage {
    picture(orientation, stored.into_rgb8())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const W: u32 = 5;
    const H: u32 = 3;

    /// Exif 2.32, tag 274: where row 0 and column 0 of the stored frame lie in the upright picture.
    /// 1 top/left, 2 top/right, 3 bottom/right, 4 bottom/left, 5 left/top, 6 right/top, 7 right/bottom, 8 left/bottom.
    fn stored_origin_in_upright(exif: u32, (w, h): (u32, u32)) -> (u32, u32) {
        match exif {
            1 | 5 => (0, 0),
            2 | 6 => (w - 1, 0),
            3 | 7 => (w - 1, h - 1),
            _ => (0, h - 1),
        }
    }

    #[test]
    fn all_eight_orientations_by_the_exif_table() {
        for exif in 1..=8 {
            let orientation = Orientation::from_exif(exif);
            let stored = RgbImage::from_fn(W, H, |x, y| image::Rgb([x as u8, y as u8, 7]));
            let up = picture(orientation, stored.clone());
            assert_eq!(up.dimensions(), if exif >= 5 { (H, W) } else { (W, H) });
            let origin = stored_origin_in_upright(exif, up.dimensions());
            assert_eq!(up.get_pixel(origin.0, origin.1).0, [0, 0, 7], "orientation {exif}");
            // The stored row 0 runs along the side the table names: horizontal for 1..4, vertical for 5..8.
            let (dx, dy) = if exif < 5 { (1, 0) } else { (0, 1) };
            let next = (origin.0.abs_diff(dx), origin.1.abs_diff(dy));
            assert_eq!(up.get_pixel(next.0, next.1).0, [1, 0, 7], "orientation {exif}");
            for (x, y, pixel) in stored.enumerate_pixels() {
                let at = (f64::from(x) + 0.5, f64::from(y) + 0.5);
                let (u, v) = point(orientation, at, (f64::from(W), f64::from(H)));
                assert_eq!(up.get_pixel(u as u32, v as u32), pixel, "orientation {exif}");
            }
            let cells: Vec<u8> = stored.pixels().map(|p| p.0[0] * 10 + p.0[1]).collect();
            let turned = grid(orientation, &cells, W as usize, H as usize);
            let expected: Vec<u8> = up.pixels().map(|p| p.0[0] * 10 + p.0[1]).collect();
            assert_eq!(turned, expected, "orientation {exif}");
        }
    }

    #[test]
    fn directions_turn_with_the_picture() {
        // Worked by hand: a quarter turn makes horizontal vertical; a mirror image mirrors the angle.
        for (exif, deg, expected) in [
            (1, 30.0, 30.0),
            (2, 30.0, 150.0),
            (3, 30.0, 30.0),
            (4, 30.0, 150.0),
            (6, 0.0, 90.0),
            (6, 30.0, 120.0),
            (8, 30.0, 120.0),
            (5, 30.0, 60.0),
            (7, 30.0, 60.0),
        ] {
            let got = direction_deg(Orientation::from_exif(exif), deg);
            assert!((got - expected).abs() < 1e-9, "orientation {exif}: {deg} gave {got}, not {expected}");
        }
    }
}
