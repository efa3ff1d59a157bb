//! Briefs: what is read, what is refused and how.
#![allow(clippy::unwrap_used)]

use super::length::{Size, distance, size};
use super::*;

#[test]
fn built_in_ones_stand_and_write_themselves() {
    for name in Brief::built_in_names() {
        let brief = Brief::built_in(name).unwrap();
        assert_eq!(&brief.name, name);
        let text = brief.to_toml();
        assert_eq!(Brief::parse(&text, "x.toml").unwrap(), brief, "{text}");
        assert_eq!(&Brief::find(name).unwrap(), &brief);
    }
    assert_eq!(Brief::default(), Brief::built_in("portfolio").unwrap());
    assert!(Brief::built_in("Portfolio").is_none() && Brief::built_in("").is_none());
}

#[test]
fn any_brief_writes_itself_back() {
    for (size, distance) in [
        ("60 x 90 cm", "60 cm"),
        ("1 x 1.5 m", "2 m"),
        ("297 x 420 mm", "40 cm"),
        ("A2", "0.7 m"),
        ("8.5 x 11 in", "12.5 in"),
        ("3840 x 2160 px", "28 in"),
        ("1/3", "1 m"),
    ] {
        let text = format!(
            "name = \"a \\\"b\\\" \\\\ c\"\nneeds = []\n[output]\nsize = \"{size}\"\ndistance = \"{distance}\""
        );
        let Ok(brief) = Brief::parse(&text, "x") else {
            assert_eq!(size, "1/3");
            continue;
        };
        assert_eq!(Brief::parse(&brief.to_toml(), "y").unwrap(), brief, "{}", brief.to_toml());
    }
}

#[test]
fn the_example_of_the_docs() {
    let text = r#"
name = "gallery 60x90"
[output]
kind = "print"
size = "60 x 90 cm"
distance = "60 cm"
ppi_wanted = 240
ppi_least = 150
[limits]
blown_area_pct = { borderline = 0.2, fails = 1.0 }
rise_eye_limits = { borderline = 1.5, fails = 3.0 }
[handling]
shutter_rule = 3
"#;
    let brief = Brief::parse(text, "gallery.toml").unwrap();
    assert_eq!(brief.name, "gallery 60x90");
    assert_eq!((brief.output.width_mm, brief.output.height_mm, brief.output.distance_mm), (600.0, 900.0, 600.0));
    assert_eq!((brief.output.ppi_wanted, brief.output.ppi_least), (240.0, 150.0));
    // Lengths on the paper follow the distance; all else that is left out is as it is by default.
    let at_60_cm = Limits { blown_patch_cm2: Limit::new(5.0, 25.0), specular_spot_mm: 4.0, ..Limits::default() };
    assert_eq!((brief.limits, brief.handling), (at_60_cm, Handling::default()));
    assert_eq!((brief.size_text().as_str(), brief.distance_text().as_str()), ("60 x 90 cm", "60 cm"));
}

#[test]
fn what_is_left_out_has_its_default() {
    let brief = Brief::parse("[output]\nsize = \"24 x 36 in\"\ndistance = \"24 in\"", "x").unwrap();
    // What the eye resolves at 24 in: 3438 / 24 = 143 ppi (references, section 5); two thirds at the least.
    assert_eq!((brief.output.ppi_wanted, brief.output.ppi_least), (143.0, 95.3));
    assert_eq!(brief.name, "24 x 36 in");
    assert_eq!(brief.needs, vec![Need::Sharpness, Need::Motion, Need::Noise]);
    // One of a limit's two values.
    let brief =
        Brief::parse("[output]\nsize=\"A3\"\ndistance=\"40cm\"\n[limits]\nsnr_midtone = { fails = 5 }", "x").unwrap();
    assert_eq!(brief.limits.snr_midtone, Limit::new(20.0, 5.0));
    let brief = Brief::parse("[output]\nsize=\"3840 x 2160 px\"\ndistance=\"60cm\"\nscreen_ppi=160", "x").unwrap();
    assert_eq!((brief.output.kind, brief.output.ppi_wanted), (OutputKind::Screen, 160.0));
    assert!((brief.output.width_mm - 24.0 * 25.4).abs() < 1e-9);
}

#[test]
fn lengths() {
    assert_eq!(distance("60 cm"), Ok((600.0, LengthUnit::Cm)));
    assert_eq!(distance("18in"), Ok((457.2, LengthUnit::In)));
    assert_eq!(distance("1.5 m"), Ok((1500.0, LengthUnit::M)));
    assert_eq!(distance("1,5 m"), Ok((1500.0, LengthUnit::M)));
    assert_eq!(size("59,4 x 84,1 cm"), Ok(Size::Paper(594.0, 841.0, LengthUnit::Cm)));
    assert_eq!(distance("1 meter"), Ok((1000.0, LengthUnit::M)));
    // A foot is 12 inches of 25.4 mm (international yard and pound agreement, 1959).
    for text in ["6 ft", "6 Feet", "6'"] {
        let (mm, unit) = distance(text).unwrap();
        assert!((mm - 6.0 * 12.0 * 25.4).abs() < 1e-9 && unit == LengthUnit::Ft, "{text}: {mm}");
    }
    assert_eq!(distance("2 yards").unwrap_err(), "`2 yards`: `yards` is no unit here; use in, ft, cm, mm or m");
    assert_eq!(length::size_text(297.0, 420.0, LengthUnit::Cm), "A3");
    assert_eq!(size("8 x 10 in"), Ok(Size::Paper(203.2, 254.0, LengthUnit::In)));
    assert_eq!(size("60cmx90cm"), Ok(Size::Paper(600.0, 900.0, LengthUnit::Cm)));
    assert_eq!(size("60 \u{d7} 90 CM"), Ok(Size::Paper(600.0, 900.0, LengthUnit::Cm)));
    // ISO 216.
    assert_eq!(size("A3"), Ok(Size::Paper(297.0, 420.0, LengthUnit::Cm)));
    assert_eq!(size("2560 x 1440 px"), Ok(Size::Pixels(2560.0, 1440.0)));
    assert_eq!(size("2560px x 1440px"), Ok(Size::Pixels(2560.0, 1440.0)));
}

/// A brief whose [output] holds one line more, or another size or distance.
fn output(size: &str, distance: &str, more: &str) -> String {
    format!("[output]\nsize = \"{size}\"\ndistance = \"{distance}\"\n{more}")
}

#[test]
fn what_is_wrong_is_named_with_its_line_and_the_nearest_key() {
    let good = output("8 x 10 in", "30 cm", "");
    for (text, line, words) in [
        (output("8 x 10", "30 cm", ""), 2, vec!["`size`", "unit is missing"]),
        (output("8 x 10 inchs", "30 cm", ""), 2, vec!["`size`", "`inchs` is no unit", "in, ft, cm, mm"]),
        (output("-8 x 10 in", "30 cm", ""), 2, vec!["`size`", "more than zero"]),
        (output("0 x 10 in", "30 cm", ""), 2, vec!["`size`", "more than zero"]),
        (output("8 x 1e9 in", "30 cm", ""), 2, vec!["`size`", "too large"]),
        (output("8 x 1e999 in", "30 cm", ""), 2, vec!["`size`", "not a finite number"]),
        (output("0.001 x 10 in", "30 cm", ""), 2, vec!["`size`", "too small"]),
        (output("nan x 10 in", "30 cm", ""), 2, vec!["`size`"]),
        (output("8 in", "30 cm", ""), 2, vec!["`size`", "width x height"]),
        (output("8 x 10 x 12 in", "30 cm", ""), 2, vec!["`size`", "width x height"]),
        (output("1,000 x 3,000 mm", "30 cm", ""), 2, vec!["`size`", "point"]),
        (output("20,5,5 x 30 cm", "30 cm", ""), 2, vec!["`size`", "point"]),
        (output("800 x 600 px", "30 cm", "kind = \"print\""), 2, vec!["`size`", "not pixels"]),
        (output("8 x 10 in", "30 cm", "kind = \"screen\""), 2, vec!["`size`", "pixels"]),
        (output("800.5 x 600 px", "30 cm", ""), 2, vec!["`size`", "whole"]),
        (output("800 px x 60 cm", "30 cm", ""), 2, vec!["`size`", "one side in pixels"]),
        (output("8 x 10 in", "30", ""), 3, vec!["`distance`", "unit is missing"]),
        (output("8 x 10 in", "30 px", ""), 3, vec!["`distance`", "a length"]),
        (output("8 x 10 in", "-1 m", ""), 3, vec!["`distance`", "more than zero"]),
        (output("8 x 10 in", "9999 km", ""), 3, vec!["`distance`", "`km` is no unit"]),
        (
            output("8 x 10 in", "30 cm", "ppi_wnted = 240"),
            4,
            vec!["unknown key `ppi_wnted`", "did you mean `ppi_wanted`?"],
        ),
        (output("8 x 10 in", "30 cm", "zzz = 1"), 4, vec!["unknown key `zzz`", "known are kind, size"]),
        (output("8 x 10 in", "30 cm", "ppi_wanted = 100\nppi_least = 200"), 5, vec!["`ppi_least` (200)", "above"]),
        (output("8 x 10 in", "30 cm", "ppi_wanted = 0"), 4, vec!["`ppi_wanted` is 0", "from 1 to 5000"]),
        (output("8 x 10 in", "30 cm", "ppi_wanted = nan"), 4, vec!["`ppi_wanted`"]),
        (output("8 x 10 in", "30 cm", "ppi_wanted = \"240\""), 4, vec!["`ppi_wanted` must be a number, not a string"]),
        (output("8 x 10 in", "30 cm", "kind = \"paper\""), 4, vec!["`kind` is `paper`", "\"print\" or \"screen\""]),
        (output("8 x 10 in", "30 cm", "screen_ppi = 110"), 4, vec!["`screen_ppi`", "screens only"]),
        (good.clone() + "[limits]\nrise_eye_limit = { borderline = 1 }", 5, vec!["did you mean `rise_eye_limits`?"]),
        (good.clone() + "[limits]\nrise_eye_limits = 2", 5, vec!["needs two values", "borderline = 1.5, fails = 3"]),
        (
            good.clone() + "[limits]\nrise_eye_limits = { border = 1 }",
            5,
            vec!["unknown key `border` in rise_eye_limits", "did you mean `borderline`?"],
        ),
        (good.clone() + "[limits]\nrise_eye_limits = { borderline = 4 }", 5, vec!["borderline (4)", "fails (3)"]),
        (good.clone() + "[limits]\nsnr_midtone = { borderline = 5 }", 5, vec!["borderline (5)", "not be below"]),
        (good.clone() + "[limits]\nblown_area_pct = { fails = 101 }", 5, vec!["blown_area_pct.fails", "0 to 100"]),
        (good.clone() + "[limits]\nblown_area_pct = { fails = -1 }", 5, vec!["from 0 to 100"]),
        (good.clone() + "[handling]\nshutter_rule = 0", 5, vec!["`shutter_rule` is 0"]),
        (good.clone() + "[handling]\nvibration_fastest_s = 2", 5, vec!["must not be longer"]),
        (good.clone() + "[handling]\nshuter_rule = 2", 5, vec!["did you mean `shutter_rule`?"]),
        ("ppi_wanted = 3\n".to_string() + &good, 1, vec!["`ppi_wanted` belongs below [output]"]),
        ("neds = []\n".to_string() + &good, 1, vec!["did you mean `needs`?"]),
        ("needs = [\"sharpnes\"]\n".to_string() + &good, 1, vec!["did you mean `sharpness`?"]),
        ("needs = \"noise\"\n".to_string() + &good, 1, vec!["must be a list"]),
        ("name = \"\"\n".to_string() + &good, 1, vec!["`name`"]),
        ("output = 3".to_string(), 1, vec!["`output` must be a table, not an integer"]),
        ("name = \"a\"".to_string(), 1, vec!["[output] is missing"]),
        ("[output]\nsize = \"8 x 10 in\"".to_string(), 1, vec!["`distance` is missing"]),
        ("[output]\ndistance = \"8 in\"".to_string(), 1, vec!["`size` is missing"]),
        ("[output]\nsize = \"8 x 10 in\ndistance = 3".to_string(), 2, vec!["not TOML"]),
        ("a = 1\nb = = 2\n".to_string(), 2, vec!["not TOML"]),
        ("[output]\nsize = \"A4\"\nsize = \"A3\"\n".to_string(), 3, vec!["not TOML", "duplicate key"]),
    ] {
        let error = Brief::parse(&text, "my.toml").map(|b| b.name).unwrap_err().to_string();
        assert!(error.starts_with(&format!("my.toml: line {line}: ")), "{text}\n{error}");
        assert!(!error.contains('\n'), "{error}");
        for word in words {
            assert!(error.contains(word), "{text}\n{error}\nlacks {word}");
        }
    }
}

#[test]
fn what_cannot_be_found_says_what_there_is() {
    let error = Brief::find("portfolo").unwrap_err().to_string();
    assert!(error.contains("did you mean `portfolio`?") && error.contains("exhibition"), "{error}");
    let error = Brief::find("/nowhere/at/all.toml").unwrap_err().to_string();
    assert!(error.starts_with("/nowhere/at/all.toml: no such brief or file"), "{error}");
    assert!(error.contains("100 x 75 cm at 1 m"), "{error}");
    let error = Brief::find("/").unwrap_err().to_string();
    assert!(error.starts_with("/: cannot be read"), "{error}");
}

#[test]
fn a_changed_copy_of_a_built_in_brief_does_not_pass_for_it() {
    let folder = std::env::temp_dir().join(format!("brief-copy-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("wall.toml");
    let text = Brief::built_in("exhibition").unwrap().to_toml();
    std::fs::write(&path, &text).unwrap();
    assert_eq!(Brief::find(path.to_str().unwrap()).unwrap().name, "exhibition");
    std::fs::write(&path, text.replace("ppi_wanted = 180", "ppi_wanted = 150")).unwrap();
    assert_eq!(Brief::find(path.to_str().unwrap()).unwrap().name, "exhibition (wall.toml)");
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn from_its_diagonal() {
    let brief = Brief::parse("[output]\nsize = \"60 x 80 cm\"\ndistance = \"diagonal\"", "x").unwrap();
    assert_eq!((brief.output.distance_mm, brief.distance_text().as_str()), (1000.0, "100 cm"));
    // Nobody stands nearer than the eye reads at ease.
    let small = Brief::parse("[output]\nsize = \"6 x 8 cm\"\ndistance = \"diagonal\"", "x").unwrap();
    assert_eq!(small.output.distance_mm, 250.0);
    assert_eq!(Brief::parse(&small.to_toml(), "y").unwrap(), small);
}

/// A size that is a most is rounded down, both sides alike: it holds, and keeps its shape.
#[test]
fn a_largest_size_holds_and_keeps_its_shape() {
    use super::length::{PictureUnit, most_sides, most_text};
    let inches = PictureUnit::from(LengthUnit::In);
    let told = |w: f64, h: f64, unit| most_text(w * 25.4, h * 25.4, unit);
    assert_eq!(told(13.99, 9.33, inches), "13.9 x 9.3 in");
    assert_eq!(told(14.0, 9.33, inches), "14 x 9.3 in");
    assert_eq!(told(60.0, 90.0, LengthUnit::Cm.into()), "152 x 228 cm");
    assert_eq!(told(105.99, 9.0, inches), "105.9 x 9 in");
    for tenths in 20..2000 {
        let (w, h) = (f64::from(tenths) * 0.1003, f64::from(tenths) * 0.1003 / 1.5);
        for unit in [inches, LengthUnit::Cm.into(), LengthUnit::Mm.into()] {
            let sides =
                most_sides(w * 25.4, h * 25.4, unit).map(|side| side.parse::<f64>().unwrap() * unit.mm() / 25.4);
            assert!(sides[0] <= w + 1e-6 && sides[1] <= h + 1e-6, "{w} x {h}: {sides:?}");
            // Within a tenth of an inch in a small one, and 2 % in any.
            assert!(w - sides[0] < 0.1 + 0.02 * w && h - sides[1] < 0.1 + 0.02 * h, "{w} x {h}: {sides:?}");
            assert!((sides[0] / sides[1] / 1.5 - 1.0).abs() < 0.03 + 0.1 / h, "{w} x {h}: {sides:?}");
        }
    }
}

#[test]
fn whoever_steps_nearer_to_a_built_in_print_asks_for_no_less() {
    for name in ["album", "portfolio", "exhibition"] {
        let brief = Brief::built_in(name).unwrap();
        let own = brief.output.distance_mm;
        let asked = |distance_mm: f64| {
            let output = brief.seen_from(distance_mm).output;
            (output.ppi_wanted, output.ppi_least)
        };
        let mut farther = asked(4.0 * own);
        for step in (0..=380_u32).rev() {
            let nearer = asked(own * (0.2 + 0.01 * f64::from(step)));
            assert!(nearer.0 >= farther.0 && nearer.1 >= farther.1, "{name}: {nearer:?} after {farther:?}");
            farther = nearer;
        }
        let (beside, at) = (asked(own - 1.0), (brief.output.ppi_wanted, brief.output.ppi_least));
        assert!((beside.0 - at.0).abs() <= 1.0 && (beside.1 - at.1).abs() <= 1.0, "{name}: {beside:?} beside {at:?}");
    }
}
