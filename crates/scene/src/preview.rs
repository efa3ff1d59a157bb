//! A small picture of the frame, as a camera embeds it.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use rayon::prelude::*;

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
    let range = f64::from(camera.saturation_dn) - camera.mean_black_dn();
    // Black and share of red, green and blue of each sample of the array, from the active area's corner.
    let (across, down) = (filter.columns.max(1), filter.rows.max(1));
    let parts: Vec<(f64, [f64; 3])> = (0..down * across * spp)
        .map(|k| {
            let (fx, fy, s) = (k / spp % across + x0, k / spp / across + y0, k % spp);
            let weights = camera.sensitivity(filter.letter_at(fx, fy, s));
            let total: f64 = weights.iter().sum();
            (camera.black_at(fx, fy, s), weights.map(|w| w / total))
        })
        .collect();
    let totals: Vec<f64> = (0..down * across * spp)
        .map(|k| {
            let (fx, fy, s) = (k / spp % across + x0, k / spp / across + y0, k % spp);
            camera.sensitivity(filter.letter_at(fx, fy, s)).iter().sum()
        })
        .collect();
    let row = |j: usize| -> Vec<u8> {
        let mut line = Vec::with_capacity(width * 3);
        // Sum and count of the samples of each place of the array, then of red, green and blue.
        let mut sums = vec![(0_u64, 0_u64); down * across * spp];
        for i in 0..width {
            sums.fill((0, 0));
            for y in j * step..((j + 1) * step).min(h) {
                let start = (y + y0) * raw.width + x0;
                for x in i * step..((i + 1) * step).min(w) {
                    for s in 0..spp {
                        let sum = &mut sums[(y % down * across + x % across) * spp + s];
                        sum.0 += u64::from(raw.samples[(start + x) * spp + s]);
                        sum.1 += 1;
                    }
                }
            }
            let mut colours = [[0.0f64; 2]; 3];
            for (((sum, count), (black, share)), total) in sums.iter().zip(&parts).zip(&totals) {
                let level = (*sum as f64 - *count as f64 * black) / total;
                for c in 0..3 {
                    colours[c][0] += level * share[c];
                    colours[c][1] += *count as f64 * share[c];
                }
            }
            for [sum, count] in colours {
                let linear = (sum / count.max(1e-9) / range).clamp(0.0, 1.0);
                // A little lift, as a camera's own rendering gives.
                let lifted = 1.0 - (1.0 - linear).powf(1.6);
                line.push((lifted.powf(1.0 / 2.2) * 255.0).round() as u8);
            }
        }
        line
    };
    let rgb = (0..height).into_par_iter().flat_map_iter(row).collect();
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
