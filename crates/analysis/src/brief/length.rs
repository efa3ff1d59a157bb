//! Lengths in a brief: inches, feet, centimetres, millimetres, metres; pixels for screens. Kept in millimetres.

use serde::{Deserialize, Serialize};

/// Millimetres in an inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;

/// Smallest and largest side of a print, mm: a postage stamp, and a wall.
const SIDE_MM: (f64, f64) = (10.0, 50_000.0);
/// Smallest and largest viewing distance, mm.
const DISTANCE_MM: (f64, f64) = (50.0, 1_000_000.0);
/// Smallest and largest side of a screen, pixels.
const SIDE_PX: (f64, f64) = (16.0, 100_000.0);

/// Unit of a length.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LengthUnit {
    /// Inch.
    In,
    /// Foot: 12 inches, exactly.
    Ft,
    /// Centimetre.
    Cm,
    /// Millimetre.
    Mm,
    /// Metre.
    M,
}

impl LengthUnit {
    /// Millimetres in one.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::In => MM_PER_INCH,
            Self::Ft => 304.8,
            Self::Cm => 10.0,
            Self::Mm => 1.0,
            Self::M => 1000.0,
        }
    }

    /// Its sign.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::In => "in",
            Self::Ft => "ft",
            Self::Cm => "cm",
            Self::Mm => "mm",
            Self::M => "m",
        }
    }
}

/// What the sides of a picture are told in: a length on paper, a pixel on a screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PictureUnit {
    /// A unit of length.
    Length(LengthUnit),
    /// A pixel of the screen.
    Pixel {
        /// Its side, mm.
        mm: f64,
    },
}

impl PictureUnit {
    /// Millimetres in one.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::Length(unit) => unit.mm(),
            Self::Pixel { mm } => mm,
        }
    }

    /// Its sign.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Length(unit) => unit.sign(),
            Self::Pixel { .. } => "px",
        }
    }

    /// The unit that stands beside it: centimetres beside inches and pixels, inches beside metric units.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Length(LengthUnit::In | LengthUnit::Ft) | Self::Pixel { .. } => Self::Length(LengthUnit::Cm),
            Self::Length(_) => Self::Length(LengthUnit::In),
        }
    }

    /// Words of paper and prints turned into those of a screen where it is one.
    #[must_use]
    pub fn says(self, words: &str) -> String {
        if !self.is_pixel() {
            return words.to_string();
        }
        words
            .replace("make a proof print", "look at it at full size")
            .replace("a proof print", "a look at full size")
            .replace("make a proof of the shadows", "look at the shadows at full size")
            .replace("make a smaller print", "show it smaller")
            .replace("black in the print", "black")
            .replace("for this print", "for this screen")
            .replace("the paper", "the screen")
            .replace("largest print", "largest size")
    }

    /// True on a screen.
    #[must_use]
    pub const fn is_pixel(self) -> bool {
        matches!(self, Self::Pixel { .. })
    }
}

impl From<LengthUnit> for PictureUnit {
    fn from(unit: LengthUnit) -> Self {
        Self::Length(unit)
    }
}

/// A size as written: on paper or in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Size {
    /// Width and height, mm, and the unit used.
    Paper(f64, f64, LengthUnit),
    /// Pixels across and down.
    Pixels(f64, f64),
}

/// ISO 216 A sizes, mm.
const ISO_216: [(&str, f64, f64); 7] = [
    ("a0", 841.0, 1189.0),
    ("a1", 594.0, 841.0),
    ("a2", 420.0, 594.0),
    ("a3", 297.0, 420.0),
    ("a4", 210.0, 297.0),
    ("a5", 148.0, 210.0),
    ("a6", 105.0, 148.0),
];

/// Said of units where pixels are one.
const PIXELS: &str = " (px for screens)";

#[derive(Clone, Copy)]
enum Sign {
    Length(LengthUnit),
    Pixels,
}

/// A number whose decimals stand behind a point, also where they were written behind a comma. `None` where a comma may part
/// thousands.
fn decimals(number: &str) -> Option<String> {
    let Some((whole, decimals)) = number.split_once(',') else { return Some(number.into()) };
    let plain = !whole.contains('.') && matches!(decimals.len(), 1 | 2) && decimals.chars().all(|c| c.is_ascii_digit());
    plain.then(|| format!("{whole}.{decimals}"))
}

/// A number and its unit's sign, where it has one.
fn quantity(text: &str, for_screens: &str) -> Result<(f64, Option<Sign>), String> {
    let text = text.trim();
    let split = text
        .char_indices()
        .find(|&(i, c)| {
            let exponent =
                matches!(c, 'e' | 'E') && text[i + 1..].starts_with(|d: char| d.is_ascii_digit() || d == '-');
            !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+') || exponent)
        })
        .map_or(text.len(), |(i, _)| i);
    let (number, sign) = (text[..split].trim(), text[split..].trim());
    let number = decimals(number).ok_or_else(|| format!("`{text}`: write decimals with a point, and no commas"))?;
    let sign = match sign {
        "" => None,
        "in" | "inch" | "inches" | "\"" | "\u{201d}" | "\u{2033}" => Some(Sign::Length(LengthUnit::In)),
        "ft" | "foot" | "feet" | "'" | "\u{2019}" | "\u{2032}" => Some(Sign::Length(LengthUnit::Ft)),
        "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Some(Sign::Length(LengthUnit::Cm)),
        "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Some(Sign::Length(LengthUnit::Mm)),
        "m" | "metre" | "metres" | "meter" | "meters" => Some(Sign::Length(LengthUnit::M)),
        "px" | "pixels" => Some(Sign::Pixels),
        // "noon" is no number with a unit at all.
        _ if number.is_empty() => return Err(format!("`{text}`: not a number with a unit, such as \"60 cm\"")),
        other => return Err(format!("`{text}`: `{other}` is no unit here; use in, ft, cm, mm or m{for_screens}")),
    };
    let value: f64 = number.parse().map_err(|_| format!("`{text}`: not a number with a unit, such as \"60 cm\""))?;
    if !value.is_finite() {
        return Err(format!("`{text}`: not a finite number"));
    }
    Ok((value, sign))
}

fn within(what: &str, text: &str, value: f64, (least, most): (f64, f64), unit: &str) -> Result<(), String> {
    if value <= 0.0 {
        Err(format!("`{text}`: {what} must be more than zero"))
    } else if value < least {
        Err(format!("`{text}`: {what} is too small; {least} {unit} is the least"))
    } else if value > most {
        Err(format!("`{text}`: {what} is too large; {most} {unit} is the most"))
    } else {
        Ok(())
    }
}

/// Reads a viewing distance; returns millimetres and the unit used.
///
/// # Errors
/// One line that says what is wrong, without file and line.
pub fn distance(text: &str) -> Result<(f64, LengthUnit), String> {
    match quantity(&text.to_lowercase(), "")? {
        (value, Some(Sign::Length(unit))) => {
            let mm = value * unit.mm();
            within("a viewing distance", text, mm, DISTANCE_MM, "mm")?;
            Ok((mm, unit))
        }
        (_, Some(Sign::Pixels)) => Err(format!("`{text}`: a distance is a length; use in, ft, cm, mm or m")),
        (_, None) => Err(format!("`{text}`: the unit is missing; use in, ft, cm, mm or m")),
    }
}

/// Reads a size: "8 x 10 in", "60cm x 90cm", "A3", "2560 x 1440 px".
///
/// # Errors
/// One line that says what is wrong, without file and line.
pub fn size(text: &str) -> Result<Size, String> {
    let lower = text.trim().to_lowercase();
    if let Some(&(_, width, height)) = ISO_216.iter().find(|(name, ..)| *name == lower) {
        return Ok(Size::Paper(width, height, LengthUnit::Cm));
    }
    // "px" holds the letter that parts the sides.
    let parted = lower.replace("px", "\u{1}").replace("pixels", "\u{1}").replace(['x', '\u{d7}', '*'], "\u{2}");
    let sides: Vec<String> = parted.split('\u{2}').map(|side| side.replace('\u{1}', "px")).collect();
    let [first, second] = sides.as_slice() else {
        return Err(format!(
            "`{text}`: not a size; write width x height with a unit, such as \"60 x 90 cm\", \"A2\" or \"2560 x 1440 px\""
        ));
    };
    let ((a, a_sign), (b, b_sign)) = (quantity(first, PIXELS)?, quantity(second, PIXELS)?);
    let Some(b_sign) = b_sign else {
        return Err(format!("`{text}`: the unit is missing; use in, ft, cm, mm or m (px for screens)"));
    };
    // Prints are told in inches where their size was asked for in feet: 2 x 3 ft, largest 17 x 26 in.
    let inches = |value: f64, sign: Sign| match sign {
        Sign::Length(LengthUnit::Ft) => (value * 12.0, Sign::Length(LengthUnit::In)),
        other => (value, other),
    };
    let ((a, a_sign), (b, b_sign)) = (inches(a, a_sign.unwrap_or(b_sign)), inches(b, b_sign));
    match (a_sign, b_sign) {
        (Sign::Length(a_unit), Sign::Length(b_unit)) => {
            let (width, height) = (a * a_unit.mm(), b * b_unit.mm());
            within("a side", text, width, SIDE_MM, "mm")?;
            within("a side", text, height, SIDE_MM, "mm")?;
            Ok(Size::Paper(width, height, b_unit))
        }
        (Sign::Pixels, Sign::Pixels) => {
            within("a side", text, a, SIDE_PX, "px")?;
            within("a side", text, b, SIDE_PX, "px")?;
            if a.fract() != 0.0 || b.fract() != 0.0 {
                return Err(format!("`{text}`: pixels come whole"));
            }
            Ok(Size::Pixels(a, b))
        }
        _ => Err(format!("`{text}`: one side in pixels, the other in a length")),
    }
}

/// A number short enough to read: three digits that count, no trailing zeros.
#[must_use]
pub fn short(value: f64) -> String {
    let places = match value.abs() {
        v if v >= 100.0 || v == 0.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 1.0 => 2,
        v if v >= 0.1 => 3,
        _ => 4,
    };
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').into() } else { text }
}

/// A length in words.
#[must_use]
pub fn text(mm: f64, unit: LengthUnit) -> String {
    format!("{} {}", short(mm / unit.mm()), unit.sign())
}

/// A size in words.
#[must_use]
pub fn size_text(width_mm: f64, height_mm: f64, unit: LengthUnit) -> String {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    if let Some((name, ..)) = ISO_216.iter().find(|(_, w, h)| near(*w, width_mm) && near(*h, height_mm)) {
        return name.to_uppercase();
    }
    format!("{} x {} {}", short(width_mm / unit.mm()), short(height_mm / unit.mm()), unit.sign())
}

/// The size of a print that is a most, in words: both sides rounded down alike, so that it holds and keeps its shape. All
/// that is said of the largest print goes through here, so that it is one number everywhere.
#[must_use]
pub fn most_text(width_mm: f64, height_mm: f64, unit: PictureUnit) -> String {
    let [width, height] = most_sides(width_mm, height_mm, unit);
    format!("{width} x {height} {}", unit.sign())
}

/// The two sides of [`most_text`], without their unit: to a tenth where the shorter one is less than fifty units, else
/// in whole numbers; pixels come whole.
#[must_use]
pub fn most_sides(width_mm: f64, height_mm: f64, unit: PictureUnit) -> [String; 2] {
    let sides = [width_mm / unit.mm(), height_mm / unit.mm()];
    let whole = unit.is_pixel() || sides[0].min(sides[1]) >= WHOLE_FROM;
    sides.map(|side| down(side, whole))
}

/// One side of a print that is a most, without its unit: as [`most_sides`] of a square.
#[must_use]
pub fn most(mm: f64, unit: PictureUnit) -> String {
    let [side, _] = most_sides(mm, mm, unit);
    side
}

/// From this many units on a side is told in whole ones: a unit of it is then 2 % at the most.
const WHOLE_FROM: f64 = 50.0;

/// A number rounded down to a tenth or a whole, without trailing zeros.
fn down(value: f64, whole: bool) -> String {
    // What is whole in inches is not in millimetres divided by 25.4.
    let tenths = if whole { (value + 1e-7).floor() * 10.0 } else { (10.0 * value + 1e-6).floor() };
    let text = format!("{:.1}", tenths / 10.0);
    text.trim_end_matches('0').trim_end_matches('.').into()
}
