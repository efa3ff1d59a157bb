//! Scenes of what repeats: tiles in courses, and a bridge of cables.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Layer, tone};
use crate::geometry::Shape;
use crate::paint::Paint;

/// Corners of the rounded lower end of a tile.
const ROUND: usize = 9;

/// A roof of tiles in courses, each over the next: straight sides of one direction, rounded ends across them.
pub(super) fn tiles(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let shadow = Paint::Flat(tone(5.0, [1.0; 3]));
    let mut shapes = vec![Shape::everywhere(shadow.clone())];
    let turn: f64 = rng.random_range(-14.0..14.0);
    let (sin, cos) = turn.to_radians().sin_cos();
    let (wide, high) = (rng.random_range(30.0..46.0), rng.random_range(34.0..52.0));
    let reach = 0.5 * w.hypot(h) + 2.0 * high;
    let courses = (2.0 * reach / high) as usize;
    // The lowest first: each course lies over the one beneath.
    for course in (0..courses).rev() {
        let top = course as f64 * high - reach;
        let first = -reach - 0.5 * wide * (course % 2) as f64;
        for k in 0..(2.0 * reach / wide) as usize + 2 {
            let left = first + k as f64 * wide + rng.random_range(-0.6..0.6);
            let paint = Paint::Flat(tone(rng.random_range(1.0..3.2), [1.0, 0.7, 0.55]));
            let mut corners = vec![[left, top], [left + wide - 1.5, top]];
            for step in 0..=ROUND {
                let (down, across) = (std::f64::consts::PI * step as f64 / ROUND as f64).sin_cos();
                corners.push([left + 0.5 * (wide - 1.5) * (1.0 + across), top + high + 0.3 * wide * down]);
            }
            let place = |u: f64, v: f64| [w / 2.0 + u * cos - v * sin, h / 2.0 + u * sin + v * cos];
            let [x, y] = place(left, top);
            if x < -2.0 * high || y < -2.0 * high || x > w + 2.0 * high || y > h + 2.0 * high {
                continue;
            }
            let under: Vec<[f64; 2]> = corners.iter().map(|&[u, v]| place(u + 1.0, v + 3.0)).collect();
            let over: Vec<[f64; 2]> = corners.iter().map(|&[u, v]| place(u, v)).collect();
            shapes.push(Shape::polygon(&under, shadow.clone()));
            shapes.push(Shape::polygon(&over, paint));
        }
    }
    vec![Layer::sharp(shapes)]
}

/// A bridge before the sky: two towers, a deck, and cables no wider than two pixels.
pub(super) fn cables(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let sky = tone(0.6, [0.8, 0.95, 1.1]);
    let texture =
        |radiance, amplitude, size_px, seed| Paint::Texture { radiance, amplitude, size_px, stretch: 1.0, seed };
    let mut shapes = vec![Shape::everywhere(texture(sky, 0.05, 60.0, rng.random()))];
    let steel = |rng: &mut ChaCha8Rng| Paint::Flat(tone(rng.random_range(3.0..4.5), [1.0; 3]));
    let deck = h * rng.random_range(0.62..0.7);
    for _ in 0..40 {
        let (x, width, top) = (rng.random_range(0.0..w), rng.random_range(10.0..50.0), rng.random_range(0.06..0.2));
        let paint = Paint::Flat(tone(rng.random_range(1.2..2.6), [1.0, 0.95, 0.9]));
        shapes.push(Shape::rectangle(x, h * (1.05 - top / 2.0), width, h * (top + 0.1), 0.0, paint));
    }
    let towers = [w * rng.random_range(0.2..0.3), w * rng.random_range(0.7..0.8)];
    let top = h * 0.12;
    shapes.push(Shape::rectangle(w / 2.0, deck + 7.0, 1.1 * w, 14.0, 0.2, steel(rng)));
    for x in towers {
        let paint = steel(rng);
        shapes.push(Shape::polygon(&[[x - 7.0, top], [x + 7.0, top], [x + 12.0, h * 0.9], [x - 12.0, h * 0.9]], paint));
    }
    let hangs = |t: f64| {
        let x = towers[0] + (towers[1] - towers[0]) * t;
        [x, top + (deck - top - 20.0) * (1.0 - (2.0 * t - 1.0).powi(2))]
    };
    for k in 0..60 {
        let (from, to) = (hangs(f64::from(k) / 60.0), hangs(f64::from(k + 1) / 60.0));
        shapes.push(Shape::bar(from, to, 2.6, steel(rng)));
        if k % 2 == 1 {
            shapes.push(Shape::bar(from, [from[0], deck], rng.random_range(0.8..1.8), steel(rng)));
        }
    }
    for (x, side) in [(towers[0], -1.0), (towers[1], 1.0)] {
        for k in 1..12 {
            let k = f64::from(k);
            let to = [x + side * k * 0.03 * w, deck];
            shapes.push(Shape::bar([x, top + 6.0 * k], to, rng.random_range(0.9..2.0), steel(rng)));
        }
    }
    vec![Layer::sharp(shapes)]
}
