//! What a frame is made from.

use serde::Serialize;

use crate::{Camera, Optics, PointSpread, SceneKind};

/// How much light, and at what ISO.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Exposure {
    /// ISO.
    pub iso: f64,
    /// Where a white surface (radiance 1) falls in green, EV against the saturation of this ISO: 0 is just clipped.
    pub white_ev: f64,
}

impl Default for Exposure {
    fn default() -> Self {
        Self { iso: 100.0, white_ev: -0.5 }
    }
}

/// What the camera writes about the shot; nothing here changes a pixel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShotData {
    /// Lens model.
    pub lens: String,
    /// Exposure time, s.
    pub shutter_s: f64,
    /// f-number.
    pub f_number: f64,
    /// Focal length, mm.
    pub focal_mm: f64,
    /// Exposure bias, EV.
    pub exposure_bias_ev: f64,
    /// Date and time, "2031:05:14 05:12:09".
    pub taken_at: String,
    /// Fraction of the second, digits.
    pub sub_seconds: String,
    /// Offset from UTC, "+02:00".
    pub offset: String,
    /// Exif orientation, 1 to 8.
    pub orientation: u16,
    /// A line about the picture.
    pub description: String,
}

impl Default for ShotData {
    fn default() -> Self {
        Self {
            lens: "Simulated 50 mm".into(),
            shutter_s: 0.008,
            f_number: 5.6,
            focal_mm: 50.0,
            exposure_bias_ev: 0.0,
            taken_at: "2031:05:14 05:12:09".into(),
            sub_seconds: "250".into(),
            offset: "+02:00".into(),
            orientation: 1,
            description: "Simulated frame".into(),
        }
    }
}

/// Everything that makes a frame. Equal recipes give equal frames, whatever the number of threads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Recipe {
    /// The scene.
    pub scene: SceneKind,
    /// Contrast: radiances are raised to this power (1 as the scene is, 0.3 for flat light).
    pub contrast: f64,
    /// Lens, focus, movement.
    pub optics: Optics,
    /// Camera.
    pub camera: Camera,
    /// Light and ISO.
    pub exposure: Exposure,
    /// Shot data.
    pub shot: ShotData,
    /// Columns of the active area.
    pub width: usize,
    /// Rows of the active area.
    pub height: usize,
    /// Cells of the fine grid along a pixel's side (3 to 8).
    pub oversampling: usize,
    /// Seed of the scene: where its shapes lie.
    pub scene_seed: u64,
    /// Seed of the noise.
    pub seed: u64,
}

impl Recipe {
    /// A scene of 900 x 600 px by the default camera, Gaussian spread of 0.5 px.
    #[must_use]
    pub fn new(scene: SceneKind) -> Self {
        Self {
            scene,
            contrast: 1.0,
            optics: Optics::gaussian(0.5),
            camera: Camera::default(),
            exposure: Exposure::default(),
            shot: ShotData::default(),
            width: 900,
            height: 600,
            oversampling: 4,
            scene_seed: 1,
            seed: 1,
        }
    }

    /// With another size of the active area.
    #[must_use]
    pub fn size(mut self, width: usize, height: usize) -> Self {
        (self.width, self.height) = (width, height);
        self
    }

    /// With other optics.
    #[must_use]
    pub fn optics(mut self, optics: Optics) -> Self {
        self.optics = optics;
        self
    }

    /// With another camera.
    #[must_use]
    pub fn camera(mut self, camera: Camera) -> Self {
        self.camera = camera;
        self
    }

    /// With another exposure.
    #[must_use]
    pub fn exposure(mut self, iso: f64, white_ev: f64) -> Self {
        self.exposure = Exposure { iso, white_ev };
        self
    }

    /// With another scene layout and other noise.
    #[must_use]
    pub fn seeds(mut self, scene_seed: u64, seed: u64) -> Self {
        (self.scene_seed, self.seed) = (scene_seed, seed);
        self
    }

    /// Point spread of the plane of focus at a place of the active area, px.
    #[must_use]
    pub fn spread_at(&self, x: f64, y: f64) -> PointSpread {
        let (w, h) = (self.width as f64, self.height as f64);
        self.optics.at(2.0 * x / w - 1.0, 2.0 * y / h - 1.0, h / w)
    }

    /// Columns of the full frame.
    #[must_use]
    pub fn full_width(&self) -> usize {
        self.width + self.camera.border.left + self.camera.border.right
    }

    /// Rows of the full frame.
    #[must_use]
    pub fn full_height(&self) -> usize {
        self.height + self.camera.border.top + self.camera.border.bottom
    }
}
