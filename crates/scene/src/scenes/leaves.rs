//! Scenes of overlapping shapes.
//!
//! Source of the statistics: Lee, Mumford, Huang 2001 (occlusion models for natural images): radii with density r^-3.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Layer, tone};
use crate::geometry::Shape;
use crate::paint::Paint;

struct Leaves {
    /// Smallest and largest half axis, px.
    radii: (f64, f64),
    /// Times that the leaves would cover the frame side by side.
    cover: f64,
    /// Range of tones, EV below white.
    tones: (f64, f64),
    /// Strength of colour, 0 to 1.
    colour: f32,
    /// Share of leaves that carry a gradient.
    shaded: f64,
    /// Share of large leaves that carry a texture.
    textured: f64,
}

fn scatter(rng: &mut ChaCha8Rng, w: f64, h: f64, leaves: &Leaves) -> Vec<Shape> {
    let (lo, hi) = leaves.radii;
    // Mean area of ellipses with density r^-3 between lo and hi, axis ratio 0.45 to 1.
    let mean = std::f64::consts::PI * 0.72 * 2.0 * (hi / lo).ln() / (1.0 / (lo * lo) - 1.0 / (hi * hi));
    let count = (leaves.cover * (w + hi) * (h + hi) / mean) as usize;
    (0..count)
        .map(|_| {
            let u: f64 = rng.random();
            // Inverse of the distribution function of r^-3 on lo..hi.
            let r = 1.0 / (1.0 / (lo * lo) - u * (1.0 / (lo * lo) - 1.0 / (hi * hi))).sqrt();
            let (x, y) = (rng.random_range(-hi / 2.0..w + hi / 2.0), rng.random_range(-hi / 2.0..h + hi / 2.0));
            let ratio = rng.random_range(0.45..1.0);
            let turn = rng.random_range(0.0..180.0);
            let paint = leaf_paint(rng, leaves, [x, y], r);
            if rng.random_bool(0.25) {
                // Some angular things among the round ones.
                Shape::rectangle(x, y, 1.8 * r, 1.8 * r * ratio, turn, paint)
            } else {
                Shape::ellipse(x, y, r, r * ratio, turn, paint)
            }
        })
        .collect()
}

fn leaf_paint(rng: &mut ChaCha8Rng, leaves: &Leaves, at: [f64; 2], r: f64) -> Paint {
    let ev = rng.random_range(leaves.tones.0..leaves.tones.1);
    let tint = std::array::from_fn(|_| 1.0 + leaves.colour * rng.random_range(-0.6f32..0.3));
    let radiance = tone(ev, tint);
    let kind: f64 = rng.random();
    if r > 12.0 && kind < leaves.textured {
        let size_px = rng.random_range(6.0..20.0f32);
        Paint::Texture { radiance, amplitude: rng.random_range(0.1..0.5), size_px, stretch: 1.0, seed: rng.random() }
    } else if kind < leaves.textured + leaves.shaded {
        let slope = 0.25 / r as f32;
        let per_px = [rng.random_range(-slope..slope), rng.random_range(-slope..slope)];
        Paint::Slope { radiance, at: [at[0] as f32, at[1] as f32], per_px }
    } else {
        Paint::Flat(radiance)
    }
}

pub(super) fn dead_leaves(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let largest = (w.min(h) / 5.0).clamp(20.0, 260.0);
    let leaves =
        Leaves { radii: (2.0, largest), cover: 3.0, tones: (0.3, 5.5), colour: 0.8, shaded: 0.3, textured: 0.1 };
    let mut shapes = vec![Shape::everywhere(Paint::Flat(tone(2.5, [1.0; 3])))];
    shapes.extend(scatter(rng, w, h, &leaves));
    vec![Layer::sharp(shapes)]
}

pub(super) fn deep_leaves(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let largest = (w.min(h) / 5.0).clamp(20.0, 260.0);
    let leaves =
        Leaves { radii: (3.0, largest), cover: 2.5, tones: (0.3, 5.0), colour: 0.7, shaded: 0.3, textured: 0.1 };
    let mut back = vec![Shape::everywhere(Paint::Flat(tone(2.0, [1.0; 3])))];
    back.extend(scatter(rng, w, h, &leaves));
    let mut layers = vec![Layer { shapes: back, defocus_px: rng.random_range(3.0..8.0), motion: None }];
    for (defocus_px, cover) in [(rng.random_range(1.0..2.5), 0.4), (0.0, 1.0), (rng.random_range(1.5..5.0), 0.15)] {
        let shapes = scatter(rng, w, h, &Leaves { cover, radii: (3.0, largest), ..leaves });
        layers.push(Layer { shapes, defocus_px, motion: None });
    }
    layers
}

pub(super) fn gravel(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let leaves = Leaves { radii: (1.5, 16.0), cover: 3.0, tones: (1.2, 4.0), colour: 0.3, shaded: 0.3, textured: 0.0 };
    let mut shapes = vec![Shape::everywhere(Paint::Flat(tone(3.0, [1.0, 0.95, 0.85])))];
    shapes.extend(scatter(rng, w, h, &leaves));
    vec![Layer::sharp(shapes)]
}

pub(super) fn haze(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let largest = (w.min(h) / 4.0).clamp(20.0, 300.0);
    let leaves =
        Leaves { radii: (4.0, largest), cover: 2.5, tones: (1.0, 1.7), colour: 0.12, shaded: 0.5, textured: 0.1 };
    let mut shapes = vec![Shape::everywhere(Paint::Flat(tone(1.3, [1.0; 3])))];
    shapes.extend(scatter(rng, w, h, &leaves));
    vec![Layer::sharp(shapes)]
}
