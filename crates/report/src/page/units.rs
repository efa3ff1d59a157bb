//! Values as a photographer writes them, always with the unit.

use rawassay_analysis::brief::PictureUnit;
use rawassay_analysis::brief::length::{MM_PER_INCH, most_sides};
use rawassay_analysis::optics;

/// Places after the point with so many significant digits that nobody is misled: three, and none from 100 on.
#[must_use]
pub fn places(value: f64) -> usize {
    match value.abs() {
        v if v >= 99.95 => 0,
        v if v >= 9.995 => 1,
        v if v >= 0.0995 || v == 0.0 => 2,
        _ => 4,
    }
}

/// A number with so many [`places`], without zeros at its end.
#[must_use]
pub fn number(value: f64) -> String {
    let text = format!("{value:.0$}", places(value));
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text };
    if text == "-0" { "0".into() } else { text.replace('-', "\u{2212}") }
}

/// Exposure time: `1/400 s`, `0.6 s`, `2 s`.
#[must_use]
pub fn shutter(seconds: f64) -> String {
    if !(seconds.is_finite() && seconds > 0.0) {
        return "unknown".into();
    }
    optics::shutter_text(seconds)
}

/// f-number: `f/5.6`.
#[must_use]
pub fn aperture(f_number: f64) -> String {
    format!("f/{}", number((f_number * 10.0).round() / 10.0))
}

/// A picture's sides, given in inches, in the unit of the brief and never rounded up: `100 × 75 cm`.
#[must_use]
pub fn print_most(width_in: f64, height_in: f64, unit: PictureUnit) -> String {
    let [width, height] = most_sides(width_in * MM_PER_INCH, height_in * MM_PER_INCH, unit);
    format!("{width} \u{d7} {height} {}", unit.sign())
}

/// Date and time of the camera as people read them: `2026-10-04 07:12:09`. The text comes from a file: it is only
/// rearranged, and must still be escaped.
#[must_use]
pub fn moment(rfc3339: &str) -> String {
    rfc3339.chars().take(19).map(|c| if c == 'T' { ' ' } else { c }).collect()
}

/// Seconds since the epoch of the camera's time, for order and for the axis; the offset is used where it is stated.
#[must_use]
pub fn seconds(rfc3339: &str) -> Option<f64> {
    let civil = || rfc3339.parse::<jiff::civil::DateTime>().ok()?.to_zoned(jiff::tz::TimeZone::UTC).ok();
    let stamp = rfc3339.parse::<jiff::Timestamp>().ok().or_else(|| Some(civil()?.timestamp()))?;
    Some(stamp.as_nanosecond() as f64 / 1e9)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use rawassay_analysis::brief::LengthUnit;

    #[test]
    fn photographers_notation() {
        assert_eq!(shutter(0.0025), "1/400 s");
        assert_eq!(shutter(0.6), "0.6 s");
        assert_eq!(shutter(2.0), "2 s");
        assert_eq!(shutter(0.25), "1/4 s");
        assert_eq!(aperture(5.6), "f/5.6");
        assert_eq!(aperture(8.0), "f/8");
        assert_eq!(print_most(24.0, 36.0, LengthUnit::Cm.into()), "60 \u{d7} 91 cm");
        assert_eq!(print_most(13.99, 9.33, LengthUnit::In.into()), "13.9 \u{d7} 9.3 in");
        assert_eq!(print_most(8.0, 10.0, LengthUnit::In.into()), "8 \u{d7} 10 in");
        // A screen's own pixels come whole: 9.68 in at 110 per inch are 1064.8.
        let pixel = PictureUnit::Pixel { mm: 25.4 / 110.0 };
        assert_eq!(print_most(9.68, 0.05, pixel), "1064 \u{d7} 5 px");
        assert_eq!(print_most(9.68, 6.47, LengthUnit::In.into()), "9.6 \u{d7} 6.4 in");
    }

    #[test]
    fn numbers_keep_three_digits() {
        for (value, text) in [
            (0.0, "0"),
            (0.012_34, "0.0123"),
            (1.234, "1.23"),
            (12.345, "12.3"),
            (99.99, "100"),
            (1234.5, "1234"),
            (-0.5, "\u{2212}0.5"),
            (-0.000_001, "0"),
        ] {
            assert_eq!(number(value), text, "{value}");
        }
    }

    #[test]
    fn camera_time_with_and_without_offset() {
        let utc = seconds("2026-10-04T07:00:00Z").unwrap();
        assert_eq!(seconds("2026-10-04T09:00:00.5+02:00").unwrap(), utc + 0.5);
        assert_eq!(seconds("2026-10-04T07:00:00").unwrap(), utc);
        assert_eq!(seconds("never"), None);
    }
}
