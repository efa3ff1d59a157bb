//! Noise of flat crops against scikit-image `estimate_sigma` (Donoho's MAD on the finest wavelet band) and Immerkaer's
//! mask (1996), both on one plane of the mosaic; the range's closed form against scipy's root finder.

use rawassay_analysis::{measure, range};
use rawassay_scene::{Border, Camera, Compression, Recipe, SceneKind, render};

use super::python;

const SIGMA: &str = "
import sys, numpy as np
from scipy.ndimage import convolve
from skimage.restoration import estimate_sigma
w, h = int(sys.argv[2]), int(sys.argv[3])
a = np.fromfile(sys.argv[1], '<u2').reshape(h, w)[0::2, 1::2].astype(float)
m = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]])
r = convolve(a, m)[1:-1, 1:-1]
print(estimate_sigma(a), np.sqrt(np.pi / 2) / 6 * np.abs(r).mean())
";

#[test]
fn the_dark_frame_has_the_noise_that_others_find() {
    let Some(python) = python::interpreter() else { return };
    // Masked borders over most of the frame: read noise without any scene.
    let border = Border { left: 200, top: 100, right: 0, bottom: 0 };
    let camera = Camera { read_noise_e: 9.0, border, ..Camera::default() };
    let raw = render(&Recipe::new(SceneKind::Dark).size(600, 400).camera(camera));
    let frame = rawassay_decode::open_bytes("dark.dng".as_ref(), raw.to_dng(Compression::None)).unwrap();
    let ours = measure(&frame).noise.masked_read_noise_dn.unwrap();
    let file = tempfile::NamedTempFile::new().unwrap();
    let bytes: Vec<u8> = frame.samples.iter().flat_map(|v| v.to_le_bytes()).collect();
    std::fs::write(file.path(), bytes).unwrap();
    let (width, height) = (frame.width.to_string(), frame.height.to_string());
    let said = python::run(&python, SIGMA, &[file.path().to_str().unwrap(), &width, &height]);
    for other in said.split_whitespace().map(|v| v.parse::<f64>().unwrap()) {
        // Theirs holds the rounding's 1/12.
        let other = (other * other - 1.0 / 12.0).sqrt();
        assert!((ours / other - 1.0).abs() < 0.05, "{ours} and {other}");
    }
}

#[test]
fn the_limit_tone_is_scipys_root() {
    let Some(python) = python::interpreter() else { return };
    let script = "
import sys
from scipy.optimize import brentq
q, r, n = map(float, sys.argv[1:])
print(repr(brentq(lambda s: s * (n / (s + r * r)) ** 0.5 - q, 1e-9, 1e9, xtol=1e-10)))
";
    for (q, r, n) in [(1.0, 3.0, 1.0), (10.0, 2.5, 6.0), (20.0, 0.5, 0.7)] {
        let said = python::run(&python, script, &[&q.to_string(), &r.to_string(), &n.to_string()]);
        let root: f64 = said.trim().parse().unwrap();
        assert!((range::signal_for_snr(q, r, n) / root - 1.0).abs() < 1e-6);
    }
}
