//! Scenes of things that people made: straight edges.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Layer, tone};
use crate::Motion;
use crate::geometry::Shape;
use crate::paint::Paint;

/// Walls with windows, each wall turned a little (perspective), and beams at all angles.
pub(super) fn buildings(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let sky = Paint::Sky {
        top: tone(0.9, [0.75, 0.9, 1.1]),
        bottom: tone(0.2, [1.0, 0.98, 0.95]),
        y0: 0.0,
        y1: h as f32 * 0.7,
        along_x: false,
    };
    let mut shapes = vec![Shape::everywhere(sky)];
    let size = w.max(h);
    let walls = 10 + (w * h / 60_000.0) as usize;
    for _ in 0..walls.min(160) {
        let (ww, wh) = (rng.random_range(0.05..0.3) * size.min(2400.0), rng.random_range(0.08..0.4) * size.min(2400.0));
        let (x, y) = (rng.random_range(0.0..w), rng.random_range(0.2 * h..1.05 * h));
        let turn: f64 =
            if rng.random_bool(0.7) { rng.random_range(-12.0..12.0) } else { rng.random_range(-45.0..45.0) };
        wall(rng, &mut shapes, [x, y, ww, wh], turn);
    }
    for _ in 0..walls / 2 {
        let (x, y) = (rng.random_range(0.0..w), rng.random_range(0.0..h));
        let angle: f64 = rng.random_range(0.0..std::f64::consts::PI);
        let length = rng.random_range(40.0..240.0);
        let paint = Paint::Flat(tone(rng.random_range(0.5..6.5), [1.0, 0.95, 0.9]));
        let to = [x + length * angle.cos(), y - length * angle.sin()];
        shapes.push(Shape::bar([x, y], to, rng.random_range(2.0..16.0), paint));
    }
    vec![Layer::sharp(shapes)]
}

fn wall(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, [x, y, ww, wh]: [f64; 4], turn: f64) {
    let ev = rng.random_range(0.6..4.5);
    let tint = [1.0, rng.random_range(0.75..1.0f32), rng.random_range(0.55..1.0f32)];
    let paint = if rng.random_bool(0.3) {
        let size_px = rng.random_range(5.0..15.0);
        Paint::Texture { radiance: tone(ev, tint), amplitude: 0.15, size_px, stretch: 1.0, seed: rng.random() }
    } else {
        Paint::Flat(tone(ev, tint))
    };
    shapes.push(Shape::rectangle(x, y, ww, wh, turn, paint));
    let step = rng.random_range(22.0..60.0);
    let (sin, cos) = (-turn.to_radians()).sin_cos();
    let glass = ev + if rng.random_bool(0.8) { rng.random_range(1.0..3.0) } else { -rng.random_range(0.3..0.6) };
    let (nx, ny) = ((ww / step) as i32, (wh / (1.4 * step)) as i32);
    for j in 0..ny {
        for i in 0..nx {
            let u = (f64::from(i) - f64::from(nx - 1) / 2.0) * step;
            let v = (f64::from(j) - f64::from(ny - 1) / 2.0) * 1.4 * step;
            let (cx, cy) = (x + u * cos - v * sin, y + u * sin + v * cos);
            let ev = glass + rng.random_range(-0.4..0.4);
            let paint = Paint::Flat(tone(ev, [0.8, 0.9, 1.0]));
            shapes.push(Shape::rectangle(cx, cy, 0.45 * step, 0.7 * step, turn, paint));
        }
    }
}

/// Pales close together: nearly all edges face the same way.
pub(super) fn fence(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let ground = Paint::Texture {
        radiance: tone(3.0, [0.7, 1.0, 0.6]),
        amplitude: 0.25,
        size_px: 30.0,
        stretch: 1.0,
        seed: rng.random(),
    };
    let mut shapes = vec![Shape::everywhere(ground)];
    let lean = rng.random_range(-20.0..20.0);
    let mut x = -h * 0.4;
    while x < w + h * 0.4 {
        let width = rng.random_range(14.0..34.0);
        let own = lean + rng.random_range(-2.0..2.0);
        let paint = Paint::Flat(tone(rng.random_range(0.6..2.2), [1.0, 0.9, 0.75]));
        shapes.push(Shape::rectangle(x, h / 2.0, width, 2.0 * h, own, paint));
        x += width + rng.random_range(6.0..24.0);
    }
    vec![Layer::sharp(shapes)]
}

/// Lines of strokes like letters on white.
pub(super) fn text(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let mut shapes = vec![Shape::everywhere(Paint::Flat(tone(0.3, [1.0, 0.98, 0.94])))];
    let turn: f64 = rng.random_range(-6.0..6.0);
    let (sin, cos) = (-turn.to_radians()).sin_cos();
    let ink = Paint::Flat(tone(4.8, [1.0; 3]));
    let place = |u: f64, v: f64| [w / 2.0 + u * cos - v * sin, h / 2.0 + u * sin + v * cos];
    let reach = w.hypot(h) / 2.0;
    let mut v = -reach;
    while v < reach {
        let size = [18.0, 18.0, 24.0, 36.0, 60.0][rng.random_range(0..5)];
        let mut u = -reach + rng.random_range(0.0..60.0);
        while u < reach {
            if rng.random_bool(0.82) {
                letter(rng, &mut shapes, &|a, b| place(u + a * size, v + b * size), size, &ink);
            }
            u += 0.8 * size;
        }
        v += 1.6 * size;
    }
    shapes.retain(|s| s.bounds().is_none_or(|[l, t, r, b]| r > -50.0 && b > -50.0 && l < w + 50.0 && t < h + 50.0));
    vec![Layer::sharp(shapes)]
}

/// Two to four strokes within a box of 0.6 by 1.
fn letter(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, at: &dyn Fn(f64, f64) -> [f64; 2], size: f64, ink: &Paint) {
    let nodes = [(0.0, 0.0), (0.55, 0.0), (0.0, 0.5), (0.55, 0.5), (0.0, 1.0), (0.55, 1.0), (0.27, 0.0), (0.27, 1.0)];
    for _ in 0..rng.random_range(2..5) {
        let (a, b) = (nodes[rng.random_range(0..nodes.len())], nodes[rng.random_range(0..nodes.len())]);
        if a != b {
            shapes.push(Shape::bar(at(a.0, a.1), at(b.0, b.1), (0.13 * size).max(1.6), ink.clone()));
        }
    }
}

/// A resting street with a moving thing of a quarter of the frame's area.
pub(super) fn moving_subject(rng: &mut ChaCha8Rng, w: f64, h: f64, motion: &Motion) -> Vec<Layer> {
    let mut layers = buildings(rng, w, h);
    let mut shapes = Vec::new();
    let (x, y) = (w * rng.random_range(0.35..0.65), h * rng.random_range(0.45..0.65));
    let (sw, sh) = (0.5 * w, 0.5 * h);
    shapes.push(Shape::rectangle(x, y, sw, sh, rng.random_range(-8.0..8.0), Paint::Flat(tone(0.8, [1.0, 0.5, 0.35]))));
    for _ in 0..(sw * sh / 900.0) as usize {
        let (cx, cy) = (x + rng.random_range(-0.42..0.42) * sw, y + rng.random_range(-0.42..0.42) * sh);
        let r = rng.random_range(5.0..30.0);
        let paint = Paint::Flat(tone(rng.random_range(0.4..4.5), [1.0, 0.8, 0.7]));
        shapes.push(Shape::rectangle(cx, cy, r, r * rng.random_range(0.5..1.0), rng.random_range(0.0..90.0), paint));
    }
    layers.push(Layer { shapes, defocus_px: 0.0, motion: Some(motion.clone()) });
    layers
}
