//! Reads a brief from TOML. Errors name the line and the key, with the nearest valid key.

use toml::de::{DeTable, DeValue};

use super::length::{self, Size};
use super::{Brief, BriefError, Limit, Need, Output, OutputKind, Screen, Worse, derived, keys};

type Spanned<T> = toml::Spanned<T>;

/// Resolution of a screen that does not state its own (references: screens are near 110 ppi).
const SCREEN_PPI: f64 = 110.0;
/// Nearest distance at which the eye reads comfortably, mm. Common practice, no source.
pub(crate) const NEAREST_MM: f64 = 250.0;
/// Least and largest resolution that a brief may ask for.
const PPI: (f64, f64) = (1.0, 5000.0);

/// Where a text stands, for errors.
struct Source<'a> {
    file: &'a str,
    text: &'a str,
}

impl Source<'_> {
    fn line(&self, offset: usize) -> usize {
        let upto = &self.text.as_bytes()[..offset.min(self.text.len())];
        upto.iter().filter(|&&b| b == b'\n').count() + 1
    }

    fn at<T>(&self, span: &std::ops::Range<usize>, what: impl Into<String>) -> Result<T, BriefError> {
        Err(BriefError::Line { file: self.file.into(), line: self.line(span.start), what: what.into() })
    }

    fn unknown<'k, T>(
        &self,
        key: &Spanned<std::borrow::Cow<'_, str>>,
        place: &str,
        known: impl Iterator<Item = &'k str> + Clone,
    ) -> Result<T, BriefError> {
        let word: &str = key.get_ref();
        let hint = match keys::nearest(word, known.clone()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("known are {}", known.collect::<Vec<_>>().join(", ")),
        };
        self.at(&key.span(), format!("unknown key `{word}`{place}; {hint}"))
    }

    fn table<'v, 'i>(&self, key: &str, value: &'v Spanned<DeValue<'i>>) -> Result<&'v DeTable<'i>, BriefError> {
        match value.get_ref() {
            DeValue::Table(table) => Ok(table),
            other => self.at(&value.span(), format!("`{key}` must be a table, not {}", kind(other))),
        }
    }

    fn string<'v>(&self, key: &str, value: &'v Spanned<DeValue<'_>>) -> Result<&'v str, BriefError> {
        match value.get_ref() {
            DeValue::String(text) => Ok(text),
            other => self.at(&value.span(), format!("`{key}` must be text in quotes, not {}", kind(other))),
        }
    }

    fn number(&self, key: &str, value: &Spanned<DeValue<'_>>, (least, most): (f64, f64)) -> Result<f64, BriefError> {
        let read = match value.get_ref() {
            DeValue::Integer(i) if i.radix() == 10 => i.as_str().replace('_', "").parse().ok(),
            DeValue::Float(f) => f.as_str().replace('_', "").parse().ok(),
            other => return self.at(&value.span(), format!("`{key}` must be a number, not {}", kind(other))),
        };
        match read {
            Some(n) if f64::is_finite(n) && n >= least && n <= most => Ok(n),
            Some(n) => self.at(&value.span(), format!("`{key}` is {n}; it must be from {least} to {most}")),
            None => self.at(&value.span(), format!("`{key}` is not a decimal number")),
        }
    }
}

fn kind(value: &DeValue<'_>) -> String {
    let word = value.type_str();
    let article = if word.starts_with(['a', 'i', 'o']) { "an" } else { "a" };
    format!("{article} {word}")
}

pub(super) fn parse(text: &str, file: &str) -> Result<Brief, BriefError> {
    let source = Source { file, text };
    let top = DeTable::parse(text).or_else(|error| {
        let message = error.message().lines().collect::<Vec<_>>().join(", ");
        source.at(&error.span().unwrap_or(0..0), format!("not TOML: {message}"))
    })?;
    let mut brief = Brief::default();
    let mut name = None;
    let mut output = None;
    // Size and distance first: what the limits are where they are left out follows from them.
    for (key, value) in top.get_ref() {
        if key.get_ref().as_ref() == "output" {
            let read = read_output(&source, source.table("output", value)?, &value.span())?;
            brief.limits.blown_patch_cm2 = derived::blown_patch_cm2(&read);
            brief.limits.specular_spot_mm = derived::specular_spot_mm(&read);
            output = Some(read);
        }
    }
    for (key, value) in top.get_ref() {
        match key.get_ref().as_ref() {
            "name" => name = Some(named(&source, value)?),
            "needs" => brief.needs = needs(&source, value)?,
            "output" => {}
            "limits" => limits(&source, source.table("limits", value)?, &mut brief)?,
            "handling" => handling(&source, source.table("handling", value)?, &mut brief)?,
            word => {
                // A key of a table that was put at the top is the likeliest slip.
                let place = if keys::output().any(|k| k == word) {
                    Some("[output]")
                } else if keys::limits().any(|k| k == word) {
                    Some("[limits]")
                } else if keys::handling().any(|k| k == word) {
                    Some("[handling]")
                } else {
                    None
                };
                return match place {
                    Some(place) => source.at(&key.span(), format!("`{word}` belongs below {place}")),
                    None => source.unknown(key, "", keys::top()),
                };
            }
        }
    }
    let Some(output) = output else {
        return source.at(
            &(text.len()..text.len()),
            "[output] is missing; it needs size and distance (see `brief show portfolio`)",
        );
    };
    brief.output = output;
    brief.name = name.unwrap_or_else(|| brief.size_text());
    Ok(brief)
}

fn named(source: &Source<'_>, value: &Spanned<DeValue<'_>>) -> Result<String, BriefError> {
    let name = source.string("name", value)?.trim();
    if name.is_empty() || name.chars().count() > 80 || name.chars().any(char::is_control) {
        return source.at(&value.span(), "`name` must be one line of 1 to 80 characters");
    }
    Ok(name.into())
}

fn needs(source: &Source<'_>, value: &Spanned<DeValue<'_>>) -> Result<Vec<Need>, BriefError> {
    let DeValue::Array(items) = value.get_ref() else {
        return source.at(&value.span(), "`needs` must be a list, such as [\"sharpness\", \"noise\"]");
    };
    let mut needs = Vec::new();
    for item in items {
        let word = source.string("needs", item)?;
        let Some(need) = Need::ALL.into_iter().find(|n| n.word() == word) else {
            let known = Need::ALL.map(Need::word);
            let hint = keys::nearest(word, known.into_iter())
                .map_or_else(|| format!("known are {}", known.join(", ")), |n| format!("did you mean `{n}`?"));
            return source.at(&item.span(), format!("`needs` does not know `{word}`; {hint}"));
        };
        if !needs.contains(&need) {
            needs.push(need);
        }
    }
    Ok(needs)
}

fn read_output(source: &Source<'_>, table: &DeTable<'_>, place: &std::ops::Range<usize>) -> Result<Output, BriefError> {
    let (mut kind_stated, mut size, mut distance) = (None, None, None);
    let (mut ppi_wanted, mut ppi_least, mut screen_ppi) = (None, None, None);
    for (key, value) in table {
        match key.get_ref().as_ref() {
            "kind" => match source.string("kind", value)? {
                "print" => kind_stated = Some(OutputKind::Print),
                "screen" => kind_stated = Some(OutputKind::Screen),
                other => {
                    return source
                        .at(&value.span(), format!("`kind` is `{other}`; it must be \"print\" or \"screen\""));
                }
            },
            "size" => {
                let read = length::size(source.string("size", value)?);
                size = Some((read.or_else(|e| source.at(&value.span(), format!("`size` {e}")))?, value.span()));
            }
            "distance" => {
                let text = source.string("distance", value)?;
                distance = Some(if text.trim() == "diagonal" {
                    None
                } else {
                    Some(length::distance(text).or_else(|e| source.at(&value.span(), format!("`distance` {e}")))?)
                });
            }
            "ppi_wanted" => ppi_wanted = Some(source.number("ppi_wanted", value, PPI)?),
            "ppi_least" => ppi_least = Some((source.number("ppi_least", value, PPI)?, value.span())),
            "screen_ppi" => screen_ppi = Some((source.number("screen_ppi", value, PPI)?, value.span())),
            _ => return source.unknown(key, " in [output]", keys::output()),
        }
    }
    let Some((size, size_span)) = size else {
        return source.at(place, "`size` is missing in [output]; write for example size = \"60 x 90 cm\"");
    };
    let Some(distance) = distance else {
        return source.at(
            place,
            "`distance` is missing in [output]; from how far is it seen? write for example distance = \"60 cm\", or \"diagonal\"",
        );
    };
    let kind = kind_stated.unwrap_or(match size {
        Size::Paper(..) => OutputKind::Print,
        Size::Pixels(..) => OutputKind::Screen,
    });
    let distance_unit = distance.map(|(_, unit)| unit);
    let (width_mm, height_mm, screen, unit) = match (kind, size) {
        (OutputKind::Print, Size::Paper(width, height, unit)) => (width, height, None, unit),
        (OutputKind::Screen, Size::Pixels(width_px, height_px)) => {
            let ppi = screen_ppi.as_ref().map_or(SCREEN_PPI, |(ppi, _)| *ppi);
            let screen = Screen { width_px, height_px, ppi };
            let mm = |px: f64| px / ppi * length::MM_PER_INCH;
            (mm(width_px), mm(height_px), Some(screen), distance_unit.unwrap_or(length::LengthUnit::Cm))
        }
        (OutputKind::Print, Size::Pixels(..)) => {
            return source.at(
                &size_span,
                "`size` of a print is a length (in, ft, cm, mm), not pixels; for a screen write kind = \"screen\"",
            );
        }
        (OutputKind::Screen, Size::Paper(..)) => {
            return source.at(&size_span, "`size` of a screen is in pixels, such as \"2560 x 1440 px\"");
        }
    };
    if let (OutputKind::Print, Some((_, span))) = (kind, &screen_ppi) {
        return source.at(span, "`screen_ppi` is for screens only; a print takes ppi_wanted and ppi_least");
    }
    let (distance_mm, distance_unit) = distance.unwrap_or_else(|| {
        let unit = if unit == length::LengthUnit::In { unit } else { length::LengthUnit::Cm };
        // Nobody looks from nearer than the eye reads at ease.
        (((width_mm.hypot(height_mm) * 10.0).round() / 10.0).max(NEAREST_MM), unit)
    });
    let mut output =
        Output { kind, width_mm, height_mm, screen, distance_mm, ppi_wanted: 0.0, ppi_least: 0.0, unit, distance_unit };
    let least = ppi_least.as_ref().map(|(least, _)| *least);
    let wanted = ppi_wanted.unwrap_or_else(|| {
        let wanted = derived::ppi_wanted(&output);
        least.map_or(wanted, |least| wanted.max(least))
    });
    let least_used = least.unwrap_or_else(|| derived::ppi_least(wanted));
    if let (true, Some((least, span))) = (least_used > wanted, &ppi_least) {
        return source.at(span, format!("`ppi_least` ({least}) is above `ppi_wanted` ({wanted})"));
    }
    (output.ppi_wanted, output.ppi_least) = (wanted, least_used);
    Ok(output)
}

fn limits(source: &Source<'_>, table: &DeTable<'_>, brief: &mut Brief) -> Result<(), BriefError> {
    for (key, value) in table {
        let word: &str = key.get_ref();
        if let Some(known) = keys::LIMITS.iter().find(|k| k.key == word) {
            let limit = limit(source, known, value, (known.get)(&brief.limits))?;
            (known.set)(&mut brief.limits, limit);
        } else if let Some(known) = keys::LIMIT_NUMBERS.iter().find(|k| k.key == word) {
            (known.set)(&mut brief.limits, source.number(word, value, known.range)?);
        } else {
            return source.unknown(key, " in [limits]", keys::limits().collect::<Vec<_>>().into_iter());
        }
    }
    Ok(())
}

fn limit(
    source: &Source<'_>,
    known: &keys::LimitKey,
    value: &Spanned<DeValue<'_>>,
    default: Limit,
) -> Result<Limit, BriefError> {
    let key = known.key;
    let DeValue::Table(table) = value.get_ref() else {
        return source.at(
            &value.span(),
            format!(
                "`{key}` needs two values: {key} = {{ borderline = {}, fails = {} }}",
                default.borderline, default.fails
            ),
        );
    };
    let mut limit = default;
    for (part, number) in table {
        match part.get_ref().as_ref() {
            "borderline" => limit.borderline = source.number(&format!("{key}.borderline"), number, known.range)?,
            "fails" => limit.fails = source.number(&format!("{key}.fails"), number, known.range)?,
            _ => return source.unknown(part, &format!(" in {key}"), ["borderline", "fails"].into_iter()),
        }
    }
    let (wrong, must) = match known.worse {
        Worse::Above => (limit.borderline > limit.fails, "not be above"),
        Worse::Below => (limit.borderline < limit.fails, "not be below"),
    };
    if wrong {
        return source.at(
            &value.span(),
            format!("`{key}`: borderline ({}) must {must} fails ({})", limit.borderline, limit.fails),
        );
    }
    Ok(limit)
}

fn handling(source: &Source<'_>, table: &DeTable<'_>, brief: &mut Brief) -> Result<(), BriefError> {
    for (key, value) in table {
        let word: &str = key.get_ref();
        let Some(known) = keys::HANDLING.iter().find(|k| k.key == word) else {
            return source.unknown(key, " in [handling]", keys::handling().collect::<Vec<_>>().into_iter());
        };
        (known.set)(&mut brief.handling, source.number(word, value, known.range)?);
    }
    let h = &brief.handling;
    if h.vibration_fastest_s > h.vibration_slowest_s {
        let span = table.iter().next().map_or(0..0, |(key, _)| key.span());
        return source.at(
            &span,
            format!(
                "`vibration_fastest_s` ({}) must not be longer than `vibration_slowest_s` ({})",
                h.vibration_fastest_s, h.vibration_slowest_s
            ),
        );
    }
    Ok(())
}
