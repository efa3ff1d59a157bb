//! A brief as commented TOML.

use std::fmt::Write;

use super::length::LengthUnit;
use super::{Brief, Need, OutputKind, derived, keys};

/// A TOML basic string.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A length that reads back to the same number of millimetres; in the unit asked for where that is exact.
fn exact(mm: f64, unit: LengthUnit) -> (String, LengthUnit) {
    let value = mm / unit.mm();
    let rounded = (value * 1e6).round() / 1e6;
    if (rounded * unit.mm()).to_bits() == mm.to_bits() {
        (rounded.to_string(), unit)
    } else if (value * unit.mm()).to_bits() == mm.to_bits() {
        (value.to_string(), unit)
    } else {
        (mm.to_string(), LengthUnit::Mm)
    }
}

pub(super) fn to_toml(brief: &Brief) -> String {
    let mut t = String::new();
    let o = &brief.output;
    let _ = writeln!(t, "name = {}", quoted(&brief.name));
    let needs: Vec<String> = brief.needs.iter().map(|n| format!("\"{}\"", n.word())).collect();
    let all = Need::ALL.map(Need::word).join(", ");
    let about = |key: &str| keys::about(key).unwrap_or_default();
    let _ = writeln!(t, "# {}: any of {all}", about("needs"));
    let _ = writeln!(t, "needs = [{}]\n\n[output]", needs.join(", "));
    let kind = if o.kind == OutputKind::Screen { "screen" } else { "print" };
    let _ = writeln!(t, "# {}\nkind = \"{kind}\"\n# {}", about("kind"), about("size"));
    match o.screen {
        Some(s) => {
            let _ = writeln!(t, "size = \"{} x {} px\"", s.width_px, s.height_px);
            let _ = writeln!(t, "# {}\nscreen_ppi = {}", about("screen_ppi"), s.ppi);
        }
        None => {
            let ((w, w_unit), (h, h_unit)) = (exact(o.width_mm, o.unit), exact(o.height_mm, o.unit));
            let _ = writeln!(t, "size = \"{w} {} x {h} {}\"", w_unit.sign(), h_unit.sign());
        }
    }
    let (d, d_unit) = exact(o.distance_mm, o.distance_unit);
    let _ = writeln!(t, "# {}\ndistance = \"{d} {}\"", about("distance"), d_unit.sign());
    // What follows from size and distance is shown, not stated: with another distance it must follow that.
    let open = |follows: bool| if follows { "# " } else { "" };
    let wanted_follows = o.ppi_wanted.to_bits() == derived::ppi_wanted(o).to_bits();
    let least_follows = o.ppi_least.to_bits() == derived::ppi_least(o.ppi_wanted).to_bits();
    let to_change = match (wanted_follows, least_follows) {
        (true, true) => "these follow from the distance; state them only to ask for something else",
        (false, true) => "meant for this distance: with another one take this line out, and it follows from it",
        (true, false) => "meant for this distance: with another one take ppi_least out, and it follows from it",
        (false, false) => "meant for this distance: with another one take these two lines out, and they follow from it",
    };
    let _ = writeln!(t, "# {to_change}");
    let _ = writeln!(t, "{}ppi_wanted = {}      # {}", open(wanted_follows), o.ppi_wanted, about("ppi_wanted"));
    // Whoever changes the line above must not read an old number as what holds.
    let of = if least_follows {
        format!("; not stated: two thirds of ppi_wanted, here of {}", o.ppi_wanted)
    } else {
        String::new()
    };
    let _ = writeln!(t, "{}ppi_least = {}       # {}{of}", open(least_follows), o.ppi_least, about("ppi_least"));
    let _ = writeln!(t, "\n[limits]");
    for key in &keys::LIMITS {
        let limit = (key.get)(&brief.limits);
        let follows = key.key == "blown_patch_cm2" && limit == derived::blown_patch_cm2(o);
        let follows_too = if follows { "; follows from the distance" } else { "" };
        let _ = writeln!(t, "# {}{follows_too}", key.about);
        let _ = writeln!(
            t,
            "{}{} = {{ borderline = {}, fails = {} }}",
            open(follows),
            key.key,
            limit.borderline,
            limit.fails
        );
    }
    for key in &keys::LIMIT_NUMBERS {
        let value = (key.get)(&brief.limits);
        let follows = key.key == "specular_spot_mm" && value.to_bits() == derived::specular_spot_mm(o).to_bits();
        let follows_too = if follows { "; follows from the distance" } else { "" };
        let _ = writeln!(t, "# {}{follows_too}\n{}{} = {value}", key.about, open(follows), key.key);
    }
    let _ = writeln!(t, "\n[handling]");
    for key in &keys::HANDLING {
        let _ = writeln!(t, "# {}\n{} = {}", key.about, key.key, (key.get)(&brief.handling));
    }
    t
}
