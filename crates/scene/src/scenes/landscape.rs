//! Scenes with much sky, and the night.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Layer, tone};
use crate::geometry::Shape;
use crate::paint::Paint;

/// Sky, water, a far shore and a few boats.
pub(super) fn horizon(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let line = h * rng.random_range(0.45..0.6);
    let sky = Paint::Sky {
        top: tone(2.2, [0.6, 0.8, 1.1]),
        bottom: tone(0.1, [1.05, 0.95, 0.8]),
        y0: 0.0,
        y1: line as f32,
        along_x: false,
    };
    let mut shapes = vec![Shape::everywhere(sky)];
    let water = Paint::Texture {
        radiance: tone(2.4, [0.7, 0.85, 1.0]),
        amplitude: 0.18,
        size_px: 24.0,
        stretch: 6.0,
        seed: rng.random(),
    };
    shapes.push(Shape::polygon(
        &[[-10.0, line], [w + 10.0, line - 0.004 * w], [w + 10.0, h + 10.0], [-10.0, h + 10.0]],
        water,
    ));
    let mut x = rng.random_range(0.0..w * 0.3);
    while x < w {
        let width = rng.random_range(0.05..0.25) * w;
        let height = rng.random_range(0.01..0.05) * h;
        let top = [[x, line], [x + width * 0.4, line - height], [x + width, line]];
        shapes.push(Shape::polygon(&top, Paint::Flat(tone(rng.random_range(3.0..4.5), [0.9, 1.0, 1.1]))));
        x += width * rng.random_range(0.9..2.0);
    }
    for _ in 0..4 {
        let (x, y) = (rng.random_range(0.1..0.9) * w, line + rng.random_range(0.03..0.3) * h);
        let size = rng.random_range(0.02..0.06) * w;
        let hull = [
            [x - size, y - 0.2 * size],
            [x + size, y - 0.2 * size],
            [x + 0.7 * size, y + 0.15 * size],
            [x - 0.7 * size, y + 0.15 * size],
        ];
        shapes.push(Shape::polygon(&hull, Paint::Flat(tone(rng.random_range(3.5..5.0), [1.0, 0.8, 0.7]))));
        let mast = Paint::Flat(tone(4.8, [1.0; 3]));
        shapes.push(Shape::bar([x, y], [x + 0.05 * size, y - 1.6 * size], 2.5, mast));
    }
    vec![Layer::sharp(shapes)]
}

/// Nearly nothing but sky: a bird or two and a wire.
pub(super) fn sky(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let paint = Paint::Sky {
        top: tone(1.6, [0.55, 0.8, 1.1]),
        bottom: tone(0.3, [0.95, 1.0, 1.0]),
        y0: 0.0,
        y1: h as f32,
        along_x: false,
    };
    let mut shapes = vec![Shape::everywhere(paint)];
    for _ in 0..3 {
        let (x, y) = (rng.random_range(0.1..0.9) * w, rng.random_range(0.1..0.9) * h);
        let size = rng.random_range(10.0..25.0);
        let turn = rng.random_range(0.0..180.0);
        shapes.push(Shape::ellipse(x, y, size, 0.4 * size, turn, Paint::Flat(tone(4.0, [1.0; 3]))));
    }
    let y = rng.random_range(0.2..0.8) * h;
    shapes.push(Shape::bar(
        [-10.0, y],
        [w + 10.0, y + rng.random_range(-0.1..0.1) * h],
        4.0,
        Paint::Flat(tone(4.5, [1.0; 3])),
    ));
    vec![Layer::sharp(shapes)]
}

/// A street at night: dark walls, lit windows, lamps far above white.
pub(super) fn night(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let sky = Paint::Sky {
        top: tone(9.5, [0.7, 0.8, 1.2]),
        bottom: tone(7.0, [1.1, 0.9, 0.7]),
        y0: 0.0,
        y1: h as f32 * 0.6,
        along_x: false,
    };
    let mut shapes = vec![Shape::everywhere(sky)];
    let count = 12 + (w * h / 50_000.0) as usize;
    for _ in 0..count.min(120) {
        let (ww, wh) = (rng.random_range(0.06..0.2) * w, rng.random_range(0.15..0.5) * h);
        let (x, y) = (rng.random_range(0.0..w), h - wh / 2.0 + rng.random_range(0.0..0.1) * h);
        let ev = rng.random_range(4.5..7.5);
        shapes.push(Shape::rectangle(
            x,
            y,
            ww,
            wh,
            rng.random_range(-4.0..4.0),
            Paint::Flat(tone(ev, [1.0, 0.85, 0.65])),
        ));
        for _ in 0..(ww * wh / 2500.0).min(60.0) as usize {
            let (cx, cy) = (x + rng.random_range(-0.4..0.4) * ww, y + rng.random_range(-0.4..0.4) * wh);
            let ev = if rng.random_bool(0.35) { rng.random_range(-0.8..1.5) } else { rng.random_range(3.5..7.0) };
            shapes.push(Shape::rectangle(cx, cy, 14.0, 20.0, 0.0, Paint::Flat(tone(ev, [1.0, 0.8, 0.5]))));
        }
    }
    for _ in 0..6 + count / 4 {
        let (x, y) = (rng.random_range(0.0..w), rng.random_range(0.3..0.9) * h);
        let lamp = Paint::Flat(tone(-rng.random_range(2.0..5.0), [1.0, 0.9, 0.6]));
        shapes.push(Shape::circle(x, y, rng.random_range(0.7..6.0), lamp));
    }
    vec![Layer::sharp(shapes)]
}
