//! Diffraction, seeing and hand-holding against handbook figures: the Airy disc (first zero of J1 at 3.8317, Abramowitz and
//! Stegun table 9.5: diameter 2.44 w N), the eye's minute of arc, and the rule of the shortest hand-held time.

use rawassay_analysis::optics::{airy_um, diffraction_rise_um, eye_limit_mm, hand_held_s};

use super::python;

#[test]
fn the_airy_disc_is_that_of_the_tables() {
    // Diameter at 0.55 um, micrometres, as tabled for photographic f-numbers.
    let table =
        [(2.8, 3.76), (4.0, 5.37), (5.6, 7.52), (8.0, 10.7), (11.0, 14.8), (16.0, 21.5), (22.0, 29.5), (32.0, 42.9)];
    for (f_number, um) in table {
        assert!((airy_um(f_number) / um - 1.0).abs() < 4e-3, "f/{f_number}: {}", airy_um(f_number));
    }
}

#[test]
fn the_airy_disc_and_its_edge_are_scipys() {
    let Some(python) = python::interpreter() else { return };
    let script = "
import numpy as np
from scipy.special import jn_zeros, struve, j1
from scipy.integrate import quad
from scipy.optimize import brentq
print(2 * jn_zeros(1, 1)[0] / np.pi)
# Line spread of a perfect lens in units of wavelength times f-number: H1(2 z) / z^2 with the Struve function.
line = lambda z: struve(1, 2 * z) / z ** 2
whole = quad(line, 1e-6, 4000, limit=20000)[0]
edge = lambda t: quad(line, 1e-6, np.pi * t, limit=2000)[0] / whole
print(2 * brentq(lambda t: edge(t) - 0.8, 0.1, 5))
";
    let said = python::run(&python, script, &[]);
    let other: Vec<f64> = said.split_whitespace().map(|v| v.parse().unwrap()).collect();
    // Diameter 2.4393 w N, and the 10-90 % rise of the diffraction edge over w N.
    assert!((airy_um(1.0) / 0.55 / other[0] - 1.0).abs() < 1e-3, "{other:?}");
    assert!((diffraction_rise_um(1.0) / 0.55 / other[1] - 1.0).abs() < 5e-3, "{other:?}");
}

#[test]
fn the_eye_resolves_a_minute_of_arc() {
    // d tan(1/60 degree) = d / 3437.75; pixels per inch that match it from so many inches: 3438 / d.
    for (inches, ppi) in [(10.0, 344.0), (12.0, 286.0), (18.0, 191.0), (24.0, 143.0), (36.0, 95.0)] {
        let limit_mm = eye_limit_mm(inches * 25.4);
        assert!((limit_mm * 3437.75 / (inches * 25.4) - 1.0).abs() < 1e-5);
        assert!((25.4 / limit_mm - ppi).abs() < 0.6, "{inches} in: {}", 25.4 / limit_mm);
    }
}

#[test]
fn the_shortest_hand_held_time_is_one_over_the_focal_length() {
    // Common practice, no source: 1/f on 36 x 24 mm film; two and three times as fast on finer pixels.
    for (rule, focal35_mm, denominator) in [(1.0, 50.0, 50.0), (2.0, 50.0, 100.0), (3.0, 200.0, 600.0)] {
        let seconds: f64 = hand_held_s(rule, focal35_mm);
        assert!((seconds * denominator - 1.0).abs() < 1e-12);
    }
}
