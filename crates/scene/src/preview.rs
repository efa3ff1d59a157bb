//! A small picture of the frame, as a camera embeds it.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};

use crate::Raw;

/// Eight-bit RGB pixels.
pub(crate) struct Picture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) rgb: Vec<u8>,
}

/// The active area averaged over blocks down to at most `longest` pixels a side, white balanced, gamma coded.
pub(crate) fn picture(raw: &Raw, longest: usize) -> Picture {
    let camera = &raw.recipe.camera;
    let filter = &camera.filter;
    let spp = filter.samples_per_pixel();
    let [x0, y0, w, h] = raw.active();
    let step = w.max(h).div_ceil(longest).max(filter.columns).max(filter.rows);
    let (width, height) = ((w / step).max(1), (h / step).max(1));
    // Sum and count per letter family: red, green, blue, all.
    let mut rgb = Vec::with_capacity(width * height * 3);
    for j in 0..height {
        for i in 0..width {
            let mut sums = [[0.0f64; 2]; 3];
            for y in (j * step..(j + 1) * step).filter(|y| *y < h) {
                for x in (i * step..(i + 1) * step).filter(|x| *x < w) {
                    for s in 0..spp {
                        let (fx, fy) = (x + x0, y + y0);
                        let letter = filter.letter_at(fx, fy, s);
                        let weights = camera.sensitivity(letter);
                        let total: f64 = weights.iter().sum();
                        let level = (f64::from(raw.at(fx, fy, s)) - camera.black_at(fx, fy, s)) / total;
                        for c in 0..3 {
                            sums[c][0] += level * weights[c] / total;
                            sums[c][1] += weights[c] / total;
                        }
                    }
                }
            }
            let range = f64::from(camera.saturation_dn) - camera.mean_black_dn();
            for [sum, count] in sums {
                let linear = (sum / count.max(1e-9) / range).clamp(0.0, 1.0);
                // A little lift, as a camera's own rendering gives.
                let lifted = 1.0 - (1.0 - linear).powf(1.6);
                rgb.push((lifted.powf(1.0 / 2.2) * 255.0).round() as u8);
            }
        }
    }
    Picture { width, height, rgb }
}

/// The picture as a JPEG stream; empty where it cannot be coded.
pub(crate) fn jpeg(picture: &Picture) -> Vec<u8> {
    let mut bytes = Vec::new();
    let done = JpegEncoder::new_with_quality(&mut bytes, 88).write_image(
        &picture.rgb,
        picture.width as u32,
        picture.height as u32,
        ExtendedColorType::Rgb8,
    );
    if done.is_err() {
        bytes.clear();
    }
    bytes
}
