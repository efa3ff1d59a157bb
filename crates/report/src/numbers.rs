//! Numbers as they are written: seven significant digits, more than any measure here is good for.
//!
//! Records and scorecards stay short and readable, and a value read back from a record is the value that every
//! format shows.

use std::io;

use serde::Serialize;
use serde_json::ser::Formatter;

use crate::error::ReportError;

/// Significant digits kept.
const DIGITS: i32 = 7;

/// The value with seven significant digits (the nearest number to that decimal).
#[must_use]
pub fn rounded(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let places = DIGITS - 1 - value.abs().log10().floor() as i32;
    // An integer of seven digits divided by a power of ten that is exact (up to 22) is the nearest double of the
    // decimal, so it prints with seven digits at most; beyond that the value goes through its text.
    if (0..=22).contains(&places) {
        let scale = 10f64.powi(places);
        (value * scale).round() / scale
    } else if (-22..0).contains(&places) {
        let scale = 10f64.powi(-places);
        (value / scale).round() * scale
    } else {
        format!("{value:.6e}").parse().unwrap_or(value)
    }
}

/// Writes JSON on one line with [`rounded`] numbers.
#[derive(Debug, Clone, Copy)]
struct Rounded;

impl Formatter for Rounded {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        serde_json::ser::CompactFormatter.write_f64(writer, rounded(value))
    }
}

/// The same in lines, indented.
struct RoundedPretty(serde_json::ser::PrettyFormatter<'static>);

macro_rules! as_pretty {
    ($($name:ident($($argument:ident: $kind:ty),*);)*) => {
        $(fn $name<W: ?Sized + io::Write>(&mut self, writer: &mut W $(, $argument: $kind)*) -> io::Result<()> {
            self.0.$name(writer $(, $argument)*)
        })*
    };
}

impl Formatter for RoundedPretty {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        self.0.write_f64(writer, rounded(value))
    }

    as_pretty! {
        begin_array();
        end_array();
        begin_array_value(first: bool);
        end_array_value();
        begin_object();
        end_object();
        begin_object_key(first: bool);
        begin_object_value();
        end_object_value();
    }
}

/// Writes a value as indented JSON, numbers [`rounded`], without a line feed at the end.
///
/// # Errors
/// Where writing fails.
pub fn write_json_pretty<T: Serialize>(out: impl io::Write, value: &T) -> Result<(), ReportError> {
    write_json(out, value, RoundedPretty(serde_json::ser::PrettyFormatter::new()))
}

/// Writes a value as one line of JSON, numbers [`rounded`], without a line feed.
///
/// # Errors
/// Where writing fails.
pub fn write_json_line<T: Serialize>(out: impl io::Write, value: &T) -> Result<(), ReportError> {
    write_json(out, value, Rounded)
}

fn write_json<T: Serialize>(out: impl io::Write, value: &T, form: impl Formatter) -> Result<(), ReportError> {
    let mut serializer = serde_json::Serializer::with_formatter(out, form);
    value.serialize(&mut serializer).map_err(|source| match source.io_error_kind() {
        Some(kind) => ReportError::Write(io::Error::new(kind, source)),
        None => ReportError::Format(source),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn seven_digits_stay() {
        for (value, text) in [
            (std::f64::consts::PI, "3.141593"),
            (-1_234.567_891, "-1234.568"),
            (1.0 / 400.0, "0.0025"),
            (1.0 / 3.0, "0.3333333"),
            (123_456_789.0, "123456800.0"),
            (1e-30 / 3.0, "3.333333e-31"),
            (0.0, "0.0"),
            (9_999_999.6, "10000000.0"),
        ] {
            let mut line = Vec::new();
            write_json_line(&mut line, &value).unwrap();
            assert_eq!(String::from_utf8(line).unwrap(), text);
        }
    }

    proptest! {
        #[test]
        fn close_and_stable(value in proptest::num::f64::NORMAL) {
            let once = rounded(value);
            prop_assert!((once - value).abs() <= 5.1e-7 * value.abs());
            prop_assert_eq!(rounded(once), once);
        }
    }
}
