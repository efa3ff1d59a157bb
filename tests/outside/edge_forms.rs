//! Rise and MTF of blurred edges against scipy: the edge spread is integrated from the point spread itself in space (a
//! Gaussian, a box, a disc, each over a square pixel; a perfect lens by its MTF from scipy's quadrature), where the program
//! works from transfer functions. Terms after ISO 12233 (edge spread, its derivative, MTF); the tabled MTF50 are closed forms.

use rawassay_analysis::measures::sharpness::psf::PointSpread;

use super::python;

/// Line spread on a fine grid by the chord through each point spread, convolved; rise from the cumulated sum, MTF50 from
/// the cosine transform of the line spread.
const FORMS: &str = "
import sys, numpy as np
from scipy.signal import fftconvolve
from scipy.optimize import brentq
from scipy.integrate import quad
h = 0.005
x = np.arange(-16000, 16001) * h
def kernel(k):
    return k / k.sum()
for words in sys.argv[1:]:
    sigma, box, radius, lens = map(float, words.split(','))
    spread = kernel(np.abs(x) <= 0.5)
    if sigma: spread = fftconvolve(spread, kernel(np.exp(-x * x / 2 / sigma ** 2)), 'same')
    if box: spread = fftconvolve(spread, kernel(np.abs(x) <= box / 2), 'same')
    if radius: spread = fftconvolve(spread, kernel(np.sqrt(np.maximum(radius ** 2 - x * x, 0))), 'same')
    def mtf(f):
        v = abs((spread * np.cos(2 * np.pi * f * x)).sum())
        u = f * lens
        return v * (2 / np.pi * (np.arccos(u) - u * np.sqrt(1 - u * u)) if u < 1 else 0.0) if lens else v
    if lens:
        edge = lambda t: 0.5 + quad(lambda f: mtf(f) * np.sin(2 * np.pi * f * t) / (np.pi * f), 1e-9, 1 / lens, limit=400)[0]
        rise = 2 * brentq(lambda t: edge(t) - 0.9, 0.01, 40, xtol=1e-5)
    else:
        edge = np.cumsum(spread)
        rise = np.interp(0.9, edge, x) - np.interp(0.1, edge, x)
    f = np.arange(0, 1, 0.002)
    below = next(k for k in f if mtf(k) < 0.5)
    print(rise, brentq(lambda k: mtf(k) - 0.5, below - 0.002, below))
";

#[test]
fn rise_and_mtf50_are_those_integrated_in_space() {
    let Some(python) = python::interpreter() else { return };
    // Gaussian sigma, motion across the edge, disc radius, wavelength times f-number over the pitch; px.
    let spreads = [
        (0.4, 0.0, 0.0, 0.0),
        (1.5, 0.0, 0.0, 0.0),
        (0.45, 3.5, 0.0, 0.0),
        (0.5, 16.0, 0.0, 0.0),
        (0.4, 0.0, 2.0, 0.0),
        (0.6, 0.0, 7.0, 0.0),
        (0.5, 8.0, 3.0, 0.0),
        (0.3, 0.0, 0.0, 4.0),
    ];
    let words: Vec<String> = spreads.iter().map(|(s, m, r, a)| format!("{s},{m},{r},{a}")).collect();
    let said = python::run(&python, FORMS, &words.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(said.lines().count(), spreads.len());
    for (line, (sigma_px, motion_px, defocus_px, airy_px)) in said.lines().zip(spreads) {
        let other: Vec<f64> = line.split_whitespace().map(|v| v.parse().unwrap()).collect();
        let ours = PointSpread { sigma_px, motion_px, motion_deg: 0.0, defocus_px, airy_px };
        // Diffraction's tails reach beyond the window in which a rise is read here: 1 % there.
        let within = if airy_px > 0.0 { 0.01 } else { 0.003 };
        assert!((ours.rise_px(0.0) / other[0] - 1.0).abs() < within, "{ours:?}: {} and {line}", ours.rise_px(0.0));
        let mtf50 = ours.frequency_at(0.5, 0.0).unwrap();
        assert!((mtf50 / other[1] - 1.0).abs() < 0.003, "{ours:?}: {mtf50} and {line}");
    }
}

#[test]
fn a_gaussian_and_the_pixel_have_their_tabled_mtf50() {
    // exp(-2 pi^2 sigma^2 f^2) sin(pi f) / (pi f) = 1/2, solved: sigma in px, f in cycles per pixel.
    let table = [
        (0.3, 0.44234),
        (0.4, 0.37659),
        (0.5, 0.32309),
        (0.6, 0.28072),
        (0.7, 0.24711),
        (0.8, 0.22012),
        (1.0, 0.17996),
        (1.5, 0.12267),
        (2.0, 0.09273),
    ];
    for (sigma_px, mtf50) in table {
        let ours = PointSpread { sigma_px, ..PointSpread::default() }.frequency_at(0.5, 0.0).unwrap();
        assert!((ours - mtf50).abs() < 2e-5 && (ours / mtf50 - 1.0).abs() < 2e-4, "{sigma_px}: {ours} and {mtf50}");
    }
}
