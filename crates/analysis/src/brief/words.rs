//! A brief in the words of a command line: `100 x 75 cm at 1 m`, `A2 from 60cm`, `A3`.

use super::length::{self, Size};
use super::write::quoted;
use super::{Brief, BriefError};

/// Words between size and distance.
const BETWEEN: [&str; 5] = [" seen from ", " from ", " at ", " @ ", "@"];

/// True where the text begins as a size does: no name of a brief and hardly one of a file.
pub(super) fn is_meant(text: &str) -> bool {
    let text = text.trim().to_lowercase();
    let mut chars = text.chars();
    let first = chars.next();
    let second = chars.next();
    let third = chars.next();
    let sheet =
        first == Some('a') && second.is_some_and(|c| c.is_ascii_digit()) && third.is_none_or(|c| c == ' ' || c == '@');
    sheet || first.is_some_and(|c| c.is_ascii_digit() || c == '.')
}

/// Reads a size and, where it is there, a distance; without one the picture is seen from its diagonal.
pub(super) fn parse(text: &str) -> Result<Brief, BriefError> {
    let fail = |what: String| BriefError::Words { text: text.into(), what };
    let lower = text.trim().to_lowercase();
    let cut = BETWEEN.iter().find_map(|word| lower.find(word).map(|at| (at, word.len())));
    let (size, distance) = match cut {
        Some((at, length)) => (lower[..at].trim(), Some(lower[at + length..].trim())),
        None => (lower.as_str(), None),
    };
    let read = length::size(size).map_err(fail)?;
    let stated = distance.filter(|d| !matches!(*d, "diagonal" | "its diagonal"));
    if let Some(distance) = stated {
        length::distance(distance).map_err(fail)?;
    }
    let kind = if matches!(read, Size::Pixels(..)) { "screen" } else { "print" };
    // Quoted: inches may be written as `"`.
    let (size, distance) = (quoted(size), quoted(stated.unwrap_or("diagonal")));
    let toml = format!("[output]\nkind = \"{kind}\"\nsize = {size}\ndistance = {distance}\n");
    let mut brief = super::parse::parse(&toml, text)?;
    brief.name = match stated {
        Some(_) => format!("{} from {}", brief.size_text(), brief.distance_text()),
        None => format!("{} from its diagonal ({})", brief.size_text(), brief.distance_text()),
    };
    Ok(brief)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn sizes_and_distances_in_words() {
        for (text, name, mm, distance_mm) in [
            ("100 x 75 cm at 1 m", "100 x 75 cm from 1 m", (1000.0, 750.0), 1000.0),
            ("A2 from 60cm", "A2 from 60 cm", (420.0, 594.0), 600.0),
            (" a3 seen from 40 cm", "A3 from 40 cm", (297.0, 420.0), 400.0),
            ("30x40in@30in", "30 x 40 in from 30 in", (762.0, 1016.0), 762.0),
            ("40 x 30 cm", "40 x 30 cm from its diagonal (50 cm)", (400.0, 300.0), 500.0),
            ("20x30\" at 6 ft", "20 x 30 in from 6 ft", (508.0, 762.0), 1828.8),
            ("2 x 3 feet from 10'", "24 x 36 in from 10 ft", (609.6, 914.4), 3048.0),
            ("60 x 80 cm from diagonal", "60 x 80 cm from its diagonal (100 cm)", (600.0, 800.0), 1000.0),
        ] {
            let brief = Brief::find(text).unwrap();
            assert_eq!(brief.name, name);
            let o = &brief.output;
            assert!((o.width_mm - mm.0).abs() < 1e-9 && (o.height_mm - mm.1).abs() < 1e-9, "{text}: {o:?}");
            assert!((brief.output.distance_mm - distance_mm).abs() < 1e-9, "{text}");
        }
        let feet = Brief::find("2 x 3 ft at 10 ft").unwrap().to_toml();
        assert!(feet.contains("\"24 in x 36 in\"") && feet.contains("\"10 ft\""), "{feet}");
        let screen = Brief::find("2560 x 1440 px at 60 cm").unwrap();
        assert_eq!(screen.output.screen.unwrap().width_px, 2560.0);
    }

    #[test]
    fn what_is_wrong_is_said_with_how_to_write_it() {
        for (text, words) in [
            ("100x75", "the unit is missing"),
            ("100 x 75 cm at 1", "the unit is missing"),
            ("100 x 75 cm at noon", "not a number with a unit"),
            ("100 cm", "not a size"),
            ("a9", "not a size"),
        ] {
            let error = Brief::find(text).unwrap_err().to_string();
            assert!(error.contains(words) && error.contains("\"100 x 75 cm at 1 m\""), "{text}: {error}");
            assert!(!error.contains('\n'), "{error}");
        }
    }
}
