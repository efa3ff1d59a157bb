//! The scenes.

mod built;
mod harbour;
mod landscape;
mod leaves;
mod repeated;
mod target;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use crate::geometry::Shape;
use crate::paint::{Paint, Radiance};
use crate::{Motion, Recipe};

/// Shapes at one distance from the camera, painted one over the other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layer {
    /// The shapes, the later over the earlier.
    pub shapes: Vec<Shape>,
    /// Defocus beyond that of the plane of focus, px.
    pub defocus_px: f64,
    /// Movement of its own.
    pub motion: Option<Motion>,
}

impl Layer {
    /// A layer in the plane of focus.
    #[must_use]
    pub fn sharp(shapes: Vec<Shape>) -> Self {
        Self { shapes, ..Self::default() }
    }
}

/// What is in front of the camera.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SceneKind {
    /// Overlapping ellipses of all sizes (density of radii r^-3), the statistics of natural pictures; about 6 EV.
    DeadLeaves,
    /// The same with leaves in front of and behind the plane of focus.
    DeepLeaves,
    /// Walls, windows, beams: many straight edges at many angles; about 7 EV.
    Buildings,
    /// Pales: nearly all edges face one way.
    Fence,
    /// Sky, water and a far shore: few edges.
    Horizon,
    /// Mostly smooth sky with two or three things in it.
    Sky,
    /// Haze: low contrast everywhere.
    Haze,
    /// Fine texture all over (leaves, gravel).
    Gravel,
    /// A night street: black, lamps and lit windows that clip; about 12 EV.
    Night,
    /// One even radiance.
    Flat,
    /// Steps of half an EV, from white downwards.
    Wedge,
    /// A smooth ramp of 10 EV.
    Ramp,
    /// A dark square on white, its sides turned by so many degrees against the pixel grid.
    SlantedSquare {
        /// Turn, degrees.
        turn_deg: f64,
        /// Radiance of the square relative to the white ground.
        dark: f64,
    },
    /// One straight edge through the middle, white right of it.
    SingleEdge {
        /// Direction of the normal (towards white), degrees anticlockwise as seen.
        normal_deg: f64,
        /// Radiance of the dark side relative to the white.
        dark: f64,
    },
    /// A page of strokes like print.
    Text,
    /// Buildings at rest and one thing that moves.
    MovingSubject {
        /// Its movement.
        motion: Motion,
    },
    /// A harbour at dawn.
    Harbour,
    /// A roof of tiles: edges of two directions across each other.
    Tiles,
    /// A bridge of thin cables before the sky.
    Cables,
    /// Nothing: a closed shutter.
    Dark,
}

/// The layers of a recipe's scene, from the farthest to the nearest.
#[must_use]
pub fn build(recipe: &Recipe) -> Vec<Layer> {
    let mut rng = ChaCha8Rng::seed_from_u64(recipe.scene_seed);
    let (stored_w, stored_h) = (recipe.width as f64, recipe.height as f64);
    let on_side = matches!(recipe.shot.orientation, 6 | 8) && recipe.scene == SceneKind::Harbour;
    let (w, h) = if on_side { (stored_h, stored_w) } else { (stored_w, stored_h) };
    let mut layers = match &recipe.scene {
        SceneKind::DeadLeaves => leaves::dead_leaves(&mut rng, w, h),
        SceneKind::DeepLeaves => leaves::deep_leaves(&mut rng, w, h),
        SceneKind::Gravel => leaves::gravel(&mut rng, w, h),
        SceneKind::Haze => leaves::haze(&mut rng, w, h),
        SceneKind::Buildings => built::buildings(&mut rng, w, h),
        SceneKind::Fence => built::fence(&mut rng, w, h),
        SceneKind::Text => built::text(&mut rng, w, h),
        SceneKind::MovingSubject { motion } => built::moving_subject(&mut rng, w, h, motion),
        SceneKind::Horizon => landscape::horizon(&mut rng, w, h),
        SceneKind::Sky => landscape::sky(&mut rng, w, h),
        SceneKind::Night => landscape::night(&mut rng, w, h),
        SceneKind::Harbour => harbour::harbour(&mut rng, w, h),
        SceneKind::Tiles => repeated::tiles(&mut rng, w, h),
        SceneKind::Cables => repeated::cables(&mut rng, w, h),
        SceneKind::Flat => vec![Layer::sharp(vec![Shape::everywhere(Paint::Flat([1.0; 3]))])],
        SceneKind::Dark => vec![Layer::sharp(vec![Shape::everywhere(Paint::Flat([0.0; 3]))])],
        SceneKind::Wedge => target::wedge(w, h),
        SceneKind::Ramp => target::ramp(h),
        SceneKind::SlantedSquare { turn_deg, dark } => target::slanted_square(w, h, *turn_deg, *dark),
        SceneKind::SingleEdge { normal_deg, dark } => target::single_edge(w, h, *normal_deg, *dark),
    };
    if on_side {
        for layer in &mut layers {
            crate::upright::lay_down(&mut layer.shapes, recipe.shot.orientation, stored_w, stored_h);
        }
    }
    if recipe.contrast != 1.0 {
        let power = recipe.contrast as f32;
        for shape in layers.iter_mut().flat_map(|l| &mut l.shapes) {
            match &mut shape.paint {
                Paint::Flat(r) | Paint::Slope { radiance: r, .. } => *r = r.map(|v| v.powf(power)),
                Paint::Sky { top, bottom, .. } => {
                    *top = top.map(|v| v.powf(power));
                    *bottom = bottom.map(|v| v.powf(power));
                }
                Paint::Texture { radiance, amplitude, .. } => {
                    *radiance = radiance.map(|v| v.powf(power));
                    *amplitude *= power;
                }
            }
        }
    }
    layers
}

/// A radiance `ev` stops below white with a tint.
pub(crate) fn tone(ev: f64, tint: Radiance) -> Radiance {
    tint.map(|t| t * (-ev).exp2() as f32)
}
