//! Blur of overexposed frames, whose green samples clip first (daylight): red and blue still hold the scene.

use std::path::Path;

use rawassay_analysis::{BlurKind, Measures};
use rawassay_scene::{Camera, Compression, Filter, Motion, Optics, Recipe, SceneKind, render};

/// A frame whose white lies 1.8 EV above saturation. In frames of 700 rows noise is looked for in every other one.
fn overexposed(scene: SceneKind, phase: &str, optics: Optics) -> Measures {
    let recipe = Recipe::new(scene)
        .size(1000, 700)
        .optics(optics)
        .camera(Camera { filter: Filter::two_by_two(phase), ..Camera::default() })
        .exposure(400.0, 1.8)
        .seeds(5, 45);
    let file = render(&recipe).to_dng(Compression::None);
    let frame = rawassay_decode::open_bytes(Path::new("frame.dng"), file).unwrap();
    rawassay_analysis::measure(&frame)
}

#[test]
fn where_the_greens_clip_another_colour_shows_the_blur() {
    for phase in ["RGGB", "GBRG"] {
        let disc = Optics { defocus_px: 3.5, ..Optics::gaussian(0.5) };
        let blur = overexposed(SceneKind::Gravel, phase, disc).blur;
        assert_eq!(blur.kind, BlurKind::Defocus, "{phase}: {blur:?}");
        assert!(blur.defocus_px.is_some_and(|r| (r / 3.5 - 1.0).abs() < 0.1), "{phase}: {blur:?}");
        let motion = Motion::Straight { length_px: 8.0, direction_deg: 35.0 };
        for scene in [SceneKind::Gravel, SceneKind::DeadLeaves] {
            let blur =
                overexposed(scene.clone(), phase, Optics { motion: motion.clone(), ..Optics::gaussian(0.5) }).blur;
            assert_eq!(blur.kind, BlurKind::Motion, "{phase}, {scene:?}: {blur:?}");
            assert!(blur.motion_px.is_some_and(|l| (l / 8.0 - 1.0).abs() < 0.08), "{phase}, {scene:?}: {blur:?}");
            assert!(blur.motion_deg.is_some_and(|deg| (deg - 35.0).abs() < 3.0), "{phase}, {scene:?}: {blur:?}");
        }
        // What is too bright in every colour is no blurred frame made sharp.
        let sharp = overexposed(SceneKind::Gravel, phase, Optics::gaussian(0.5)).blur;
        assert!(matches!(sharp.kind, BlurKind::None | BlurKind::Undetermined), "{phase}: {sharp:?}");
    }
}
