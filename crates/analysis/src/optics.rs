//! Closed forms of optics and seeing, and the steps in which cameras set shutter, f-number and ISO.

/// Wavelength for which diffraction is told, micrometres: green, where the eye is most sensitive.
pub const WAVELENGTH_UM: f64 = 0.55;

/// Minutes of arc in a radian, 10800 / pi (3437.75).
pub const MINUTES_PER_RADIAN: f64 = 10_800.0 / std::f64::consts::PI;

/// 10-90 % rise of the edge of a perfect lens over wavelength x f-number (closed form of the diffraction edge).
pub const DIFFRACTION_RISE: f64 = 1.332_87;

/// What the eye resolves at a distance, mm: one minute of arc. Common practice for normal sight (20/20).
#[must_use]
pub fn eye_limit_mm(distance_mm: f64) -> f64 {
    distance_mm * (1.0 / MINUTES_PER_RADIAN).tan()
}

/// Diameter of the Airy disc to its first dark ring, micrometres: 2.44 w N.
#[must_use]
pub fn airy_um(f_number: f64) -> f64 {
    2.44 * WAVELENGTH_UM * f_number
}

/// 10-90 % rise that diffraction alone leaves, micrometres on the sensor: 1.33287 w N.
#[must_use]
pub fn diffraction_rise_um(f_number: f64) -> f64 {
    DIFFRACTION_RISE * WAVELENGTH_UM * f_number
}

/// Slowest hand-held shutter, seconds: 1/(k f35). Common practice, no source.
#[must_use]
pub fn hand_held_s(rule: f64, focal35_mm: f64) -> f64 {
    1.0 / (rule * focal35_mm)
}

/// Shutter times of cameras in thirds of a stop, as they are written, slowest first.
const SHUTTERS: [(f64, &str); 55] = [
    (30.0, "30 s"),
    (25.0, "25 s"),
    (20.0, "20 s"),
    (15.0, "15 s"),
    (13.0, "13 s"),
    (10.0, "10 s"),
    (8.0, "8 s"),
    (6.0, "6 s"),
    (5.0, "5 s"),
    (4.0, "4 s"),
    (3.2, "3.2 s"),
    (2.5, "2.5 s"),
    (2.0, "2 s"),
    (1.6, "1.6 s"),
    (1.3, "1.3 s"),
    (1.0, "1 s"),
    (0.8, "0.8 s"),
    (0.6, "0.6 s"),
    (0.5, "0.5 s"),
    (0.4, "0.4 s"),
    (0.3, "0.3 s"),
    (1.0 / 4.0, "1/4 s"),
    (1.0 / 5.0, "1/5 s"),
    (1.0 / 6.0, "1/6 s"),
    (1.0 / 8.0, "1/8 s"),
    (1.0 / 10.0, "1/10 s"),
    (1.0 / 13.0, "1/13 s"),
    (1.0 / 15.0, "1/15 s"),
    (1.0 / 20.0, "1/20 s"),
    (1.0 / 25.0, "1/25 s"),
    (1.0 / 30.0, "1/30 s"),
    (1.0 / 40.0, "1/40 s"),
    (1.0 / 50.0, "1/50 s"),
    (1.0 / 60.0, "1/60 s"),
    (1.0 / 80.0, "1/80 s"),
    (1.0 / 100.0, "1/100 s"),
    (1.0 / 125.0, "1/125 s"),
    (1.0 / 160.0, "1/160 s"),
    (1.0 / 200.0, "1/200 s"),
    (1.0 / 250.0, "1/250 s"),
    (1.0 / 320.0, "1/320 s"),
    (1.0 / 400.0, "1/400 s"),
    (1.0 / 500.0, "1/500 s"),
    (1.0 / 640.0, "1/640 s"),
    (1.0 / 800.0, "1/800 s"),
    (1.0 / 1000.0, "1/1000 s"),
    (1.0 / 1250.0, "1/1250 s"),
    (1.0 / 1600.0, "1/1600 s"),
    (1.0 / 2000.0, "1/2000 s"),
    (1.0 / 2500.0, "1/2500 s"),
    (1.0 / 3200.0, "1/3200 s"),
    (1.0 / 4000.0, "1/4000 s"),
    (1.0 / 5000.0, "1/5000 s"),
    (1.0 / 6400.0, "1/6400 s"),
    (1.0 / 8000.0, "1/8000 s"),
];

/// The slowest shutter of a camera's dial that is not slower than asked (within 2 %), with its writing; `None` where
/// the dial has none so fast.
#[must_use]
pub fn shutter_not_slower(seconds: f64) -> Option<(f64, &'static str)> {
    SHUTTERS.iter().copied().find(|(s, _)| *s <= seconds * 1.02)
}

/// A shutter time as a camera writes it.
#[must_use]
pub fn shutter_text(seconds: f64) -> String {
    let near = SHUTTERS.iter().find(|(s, _)| (s / seconds - 1.0).abs() < 0.04);
    match near {
        Some((_, text)) => (*text).into(),
        None if seconds < 0.3 => format!("1/{} s", (1.0 / seconds).round()),
        None => format!("{} s", crate::brief::length::short(seconds)),
    }
}

/// True for a time that cameras set, written as [`shutter_text`] writes it.
pub(crate) fn is_set(text: &str) -> bool {
    SHUTTERS.iter().any(|(_, written)| *written == text)
}

/// f-numbers of lenses in thirds of a stop, as they are written.
const F_NUMBERS: [f64; 31] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0,
    13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
];

/// The largest written f-number that is not above the one asked (within 2 %).
#[must_use]
pub fn f_number_not_above(f_number: f64) -> Option<f64> {
    F_NUMBERS.iter().rev().copied().find(|n| *n <= f_number * 1.02)
}

/// ISO settings of cameras in thirds of a stop, as they are written.
const ISOS: [f64; 40] = [
    25.0, 32.0, 40.0, 50.0, 64.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 320.0, 400.0, 500.0, 640.0, 800.0, 1000.0,
    1250.0, 1600.0, 2000.0, 2500.0, 3200.0, 4000.0, 5000.0, 6400.0, 8000.0, 10_000.0, 12_800.0, 16_000.0, 20_000.0,
    25_600.0, 32_000.0, 40_000.0, 51_200.0, 64_000.0, 80_000.0, 102_400.0, 128_000.0, 160_000.0, 204_800.0,
];

/// The highest ISO that cameras set, in thirds of a stop, which is not above the one asked (within 2 %); `None` below ISO 25.
#[must_use]
pub fn iso_not_above(iso: f64) -> Option<f64> {
    ISOS.into_iter().rev().find(|step| *step <= iso * 1.02)
}

/// The ISO that cameras set nearest to the one asked; the one asked where it lies outside what they set.
#[must_use]
pub fn iso_nearest(iso: f64) -> f64 {
    let away = |step: f64| (step / iso).log2().abs();
    ISOS.into_iter().min_by(|a, b| away(*a).total_cmp(&away(*b))).filter(|step| away(*step) < 0.2).unwrap_or(iso)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn airy_disc_of_the_table() {
        // 2.44 w N at 0.55 um, references section 4 (closed form).
        for (n, um) in
            [(2.8, 3.76), (4.0, 5.37), (5.6, 7.52), (8.0, 10.7), (11.0, 14.8), (16.0, 21.5), (22.0, 29.5), (32.0, 42.9)]
        {
            assert!((airy_um(n) / um - 1.0).abs() < 4e-3, "f/{n}: {}", airy_um(n));
        }
    }

    #[test]
    fn one_minute_of_arc() {
        // d / 3437.75 and 3438 / d(in) ppi, references section 5.
        assert!((eye_limit_mm(3437.75) - 1.0).abs() < 1e-5);
        for (inches, ppi) in [(10.0, 344.0), (12.0, 286.0), (18.0, 191.0), (24.0, 143.0), (36.0, 95.0)] {
            let got = 25.4 / eye_limit_mm(inches * 25.4);
            assert!((got - ppi).abs() < 0.6, "{inches} in: {got}");
        }
    }

    #[test]
    fn shutters_and_stops_as_they_are_written() {
        // Hand-holding 1/(k f35): common practice, no source.
        assert!((hand_held_s(1.0, 50.0) - 0.02).abs() < 1e-12);
        assert_eq!(shutter_not_slower(1.0 / 150.0).unwrap().1, "1/160 s");
        assert_eq!(shutter_not_slower(1.0 / 500.0).unwrap().1, "1/500 s");
        assert_eq!(shutter_not_slower(1e-6), None);
        assert_eq!(shutter_text(1.0 / 251.0), "1/250 s");
        assert_eq!(shutter_text(0.3), "0.3 s");
        assert_eq!(shutter_text(1.0 / 45.0), "1/45 s");
        assert_eq!(shutter_text(60.0), "60 s");
        assert_eq!(shutter_text(0.08), "1/13 s");
        assert_eq!(shutter_text(1.0 / 60.0), "1/60 s");
        assert_eq!(shutter_text(0.5), "0.5 s");
        assert_eq!(shutter_text(2.0), "2 s");
        assert_eq!(f_number_not_above(9.7), Some(9.0));
        assert_eq!(f_number_not_above(0.5), None);
        // ISO settings in thirds of a stop as ISO 12232 lists them (from memory).
        for (asked, iso) in [
            (2119.0, 2000.0),
            (1448.0, 1250.0),
            (1600.0, 1600.0),
            (1250.0, 1250.0),
            (330.0, 320.0),
            (32.0, 32.0),
            (99.0, 100.0),
            (640.0, 640.0),
        ] {
            assert_eq!(iso_not_above(asked), Some(iso), "{asked}");
        }
        assert_eq!(iso_not_above(10.0), None);
        assert_eq!((iso_nearest(256.0), iso_nearest(3180.0), iso_nearest(7.0)), (250.0, 3200.0, 7.0));
    }
}
