//! A view taken with the camera turned: the scene lies on its side in the stored frame.

use crate::geometry::{Outline, Shape};
use crate::paint::Paint;

/// Lays shapes built for an upright picture on their side, for a stored frame of `width` by `height` px and Exif
/// orientation 6 (stand it up by a quarter turn clockwise) or 8 (anticlockwise). Other orientations change nothing.
pub(crate) fn lay_down(shapes: &mut [Shape], orientation: u16, width: f64, height: f64) {
    if orientation != 6 && orientation != 8 {
        return;
    }
    let clockwise = orientation == 6;
    // From the upright place (u, v) to the stored one.
    let place = |u: f64, v: f64| if clockwise { [v, height - u] } else { [width - v, u] };
    let vector = |u: f64, v: f64| if clockwise { [v, -u] } else { [-v, u] };
    for shape in shapes {
        match &mut shape.outline {
            Outline::All => {}
            Outline::Ellipse { centre, turn, .. } => {
                *centre = place(centre[0], centre[1]);
                *turn = vector(turn[0], turn[1]);
            }
            Outline::Convex(planes, bounds) => {
                for plane in planes {
                    let [a, b, c] = *plane;
                    let [x, y] = vector(a, b);
                    *plane = [x, y, c + if clockwise { -a * height } else { -b * width }];
                }
                let (from, to) = (place(bounds[0], bounds[1]), place(bounds[2], bounds[3]));
                *bounds = [from[0].min(to[0]), from[1].min(to[1]), from[0].max(to[0]), from[1].max(to[1])];
            }
        }
        match &mut shape.paint {
            Paint::Flat(_) => {}
            Paint::Slope { at, per_px, .. } => {
                *at = place(f64::from(at[0]), f64::from(at[1])).map(|v| v as f32);
                *per_px = vector(f64::from(per_px[0]), f64::from(per_px[1])).map(|v| v as f32);
            }
            Paint::Sky { y0, y1, along_x, .. } => {
                *along_x = true;
                if !clockwise {
                    (*y0, *y1) = (width as f32 - *y0, width as f32 - *y1);
                }
            }
            Paint::Texture { size_px, stretch, .. } => {
                *size_px *= *stretch;
                *stretch = 1.0 / *stretch;
            }
        }
    }
}
