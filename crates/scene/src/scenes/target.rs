//! Test targets.

use super::{Layer, tone};
use crate::geometry::Shape;
use crate::paint::Paint;

/// Patches of half an EV each, white at the top left, by row.
pub(super) fn wedge(w: f64, h: f64) -> Vec<Layer> {
    let (columns, rows) = (6, 4);
    let (pw, ph) = (w / f64::from(columns), h / f64::from(rows));
    let mut shapes = vec![Shape::everywhere(Paint::Flat([0.0; 3]))];
    for i in 0..columns * rows {
        let (x, y) = (f64::from(i % columns) * pw, f64::from(i / columns) * ph);
        let paint = Paint::Flat(tone(f64::from(i) * 0.5, [1.0; 3]));
        shapes.push(Shape::polygon(&[[x, y], [x + pw, y], [x + pw, y + ph], [x, y + ph]], paint));
    }
    vec![Layer::sharp(shapes)]
}

/// From white at the top to 10 EV below at the bottom, equal EV per row.
pub(super) fn ramp(h: f64) -> Vec<Layer> {
    let paint = Paint::Sky { top: [1.0; 3], bottom: tone(10.0, [1.0; 3]), y0: 0.0, y1: h as f32, along_x: false };
    vec![Layer::sharp(vec![Shape::everywhere(paint)])]
}

/// A dark square on white.
pub(super) fn slanted_square(w: f64, h: f64, turn_deg: f64, dark: f64) -> Vec<Layer> {
    let side = 0.55 * w.min(h);
    let square = Paint::Flat([dark as f32; 3]);
    vec![Layer::sharp(vec![
        Shape::everywhere(Paint::Flat([1.0; 3])),
        Shape::rectangle(w / 2.0, h / 2.0, side, side, turn_deg, square),
    ])]
}

/// One edge through the middle.
pub(super) fn single_edge(w: f64, h: f64, normal_deg: f64, dark: f64) -> Vec<Layer> {
    let (sin, cos) = normal_deg.to_radians().sin_cos();
    let (nx, ny) = (cos, -sin);
    let far = 4.0 * w.hypot(h);
    // A rectangle that ends at the edge and lies on the dark side.
    let (x, y) = (w / 2.0 - nx * far / 2.0, h / 2.0 - ny * far / 2.0);
    vec![Layer::sharp(vec![
        Shape::everywhere(Paint::Flat([1.0; 3])),
        Shape::rectangle(x, y, far, far, normal_deg, Paint::Flat([dark as f32; 3])),
    ])]
}
