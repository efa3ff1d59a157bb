//! Every code and every field of the scorecard is explained.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::judge::fixture::{measures, shot};
use crate::{Brief, FindingCode, Subject};

#[test]
fn every_finding_code_is_explained() {
    for code in FindingCode::ALL {
        let found = find(code.word()).unwrap();
        assert_eq!((found.word, found.kind), (code.word(), Kind::Finding));
        assert!(!found.means.is_empty() && !found.how.is_empty() && !found.next_time.is_empty());
    }
    for word in ["prints", "borderline", "fails", "unmeasured", "note"] {
        assert_eq!(find(word).unwrap().word, word);
    }
}

/// What `edge` adds to the words of the scorecard.
#[test]
fn what_edge_tells_is_explained() {
    for (asked, word) in [
        ("standing", "standing"),
        ("doubtful", "standing"),
        ("reasons", "standing"),
        ("slant_deg", "slanted edge"),
        ("mtf10_cy_px", "slanted edge"),
        ("rise_px", "sharpness.edge_rise_px"),
        ("rise_se_px", "standard error"),
    ] {
        assert_eq!(find(asked).unwrap().word, word, "{asked}");
    }
}

/// The limits of the default brief leave what the words say: closed forms of a Gaussian edge and of uniform motion, at 15
/// cycles per degree (a quarter of a cycle per minute of arc).
#[test]
fn the_contrast_that_a_limit_leaves_is_the_closed_form() {
    let limits = Brief::default().limits;
    let edge = |rise: f64| (-2.0 * (std::f64::consts::PI * rise / 2.563 / 4.0).powi(2)).exp();
    let motion = |length: f64| (std::f64::consts::PI * length / 4.0).sin() / (std::f64::consts::PI * length / 4.0);
    for (word, limit, left) in
        [("soft", limits.rise_eye_limits, &edge as &dyn Fn(f64) -> f64), ("shaken", limits.motion_eye_limits, &motion)]
    {
        let how = find(word).unwrap().how;
        for value in [limit.borderline, limit.fails] {
            let said = format!("{value:.1} leaves {:.0} %", 100.0 * left(value));
            assert!(how.contains(&said), "{said}: {how}");
        }
    }
}

/// Paths of every leaf and group that a value serialises to.
fn paths(value: &serde_json::Value, at: &str, into: &mut Vec<String>) {
    match value {
        serde_json::Value::Object(fields) => {
            for (key, value) in fields {
                let path = if at.is_empty() { key.clone() } else { format!("{at}.{key}") };
                paths(value, &path, into);
            }
        }
        serde_json::Value::Array(items) if items.first().is_some_and(serde_json::Value::is_object) => {
            paths(&items[0], at, into);
        }
        _ => into.push(at.to_string()),
    }
}

#[test]
fn every_field_that_is_measured_or_judged_is_explained() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let judgement = crate::judge::judge(&subject, &Brief::default(), None);
    let mut words = Vec::new();
    let mut add = |value: serde_json::Value, at: &str| paths(&value, at, &mut words);
    add(serde_json::to_value(&s).unwrap(), "shot");
    add(serde_json::to_value(&m.channels).unwrap(), "channels");
    add(serde_json::to_value(&m.exposure).unwrap(), "exposure");
    add(serde_json::to_value(&m.noise).unwrap(), "noise");
    add(serde_json::to_value(&m.blur).unwrap(), "blur");
    add(serde_json::to_value(&judgement.print).unwrap(), "print");
    let mut sharpness = serde_json::to_value(&m.sharpness).unwrap();
    sharpness["map"] = serde_json::Value::Null;
    add(sharpness, "sharpness");
    assert!(words.len() > 70, "{}", words.len());
    for word in words {
        let found = find(&word).unwrap_or_else(|| panic!("{word} is not explained"));
        assert_eq!(found.word, word);
        assert!(!found.means.is_empty() && !found.how.is_empty() && !found.source.is_empty(), "{word}");
        // The CSV column of the same field.
        assert_eq!(find(&word.replace('.', "_")).unwrap().word, word);
        // A unit in the name is told as unit.
        for (suffix, unit) in [("_px", "px"), ("_um", "um"), ("_mm", "mm"), ("_ev", "EV"), ("_pct", "%"), ("_dn", "DN")]
        {
            assert!(!word.ends_with(suffix) || found.unit.contains(unit), "{word}: {}", found.unit);
        }
    }
}

#[test]
fn other_spellings_are_found() {
    assert_eq!(find("ppi").unwrap().word, "print.ppi");
    assert_eq!(find("Slow Shutter").unwrap().word, "slow-shutter");
    assert_eq!(find("channels_0_clipped_pct").unwrap().word, "channels.clipped_pct");
    assert_eq!(find("channels.2.gain_e_per_dn").unwrap().word, "channels.gain_e_per_dn");
    assert_eq!(find("sharpness_rise_by_direction_px_3").map(|e| e.word), Some("sharpness.rise_by_direction_px"));
    assert!(find("nonsense").is_none() && find("").is_none());
    assert_eq!(nearest("shakn"), Some("shaken"));
    assert_eq!(nearest("edge_rise"), Some("edge_rise_px"));
    assert_eq!(nearest("zzzzqqq"), None);
}

#[test]
fn no_word_twice() {
    let mut seen = std::collections::HashSet::new();
    for e in all() {
        assert!(seen.insert(plain(e.word)), "{} stands twice", e.word);
    }
}

#[test]
fn every_other_way_to_ask_is_answered() {
    for (alias, meant) in super::words::ALIASES {
        let found = find(alias).map(|e| e.word);
        assert!(find(meant).is_some(), "{meant}");
        assert_eq!(found, find(meant).map(|e| e.word), "{alias}");
    }
    for word in ["proof", "SNR", "MTF", "dn", "ev", "read_noise", "row banding", "undetermined", "Largest honest print"]
    {
        assert!(find(word).is_some(), "{word}");
    }
    for (word, meant) in [("clipping", "blown"), ("dynamic range", "range.usable_ev"), ("brackets", "bracket")] {
        assert_eq!(find(word).map(|e| e.word), Some(meant));
    }
    // A word that holds the letters of another by chance is not like it.
    assert!(nearest("banana").is_none() && nearest("shipping") != Some("ppi"));
    for key in ["motion_eye_limits", "ppi wanted", "shutter_rule", "specular_spot_mm"] {
        assert!(super::key_of_a_brief(key).is_some_and(|(_, about)| !about.is_empty()), "{key}");
    }
    // Whatever stands in a brief as it is shown, as a value or as a comment that may be taken out.
    for name in ["exhibition", "screen"] {
        let shown = Brief::built_in(name).unwrap().to_toml();
        let keys: Vec<&str> = shown
            .lines()
            .filter_map(|line| {
                let line = line.trim_start_matches("# ");
                let key =
                    line.split_once(" = ").map(|(key, _)| key).or_else(|| line.strip_prefix('[')?.strip_suffix(']'));
                key.filter(|key| !key.contains(' '))
            })
            .collect();
        assert!(keys.contains(&"distance") && keys.contains(&"limits") && keys.len() > 20, "{keys:?}");
        for key in keys {
            let found = super::key_of_a_brief(key);
            assert!(found.is_some_and(|(found, about)| found == key && !about.is_empty()), "{key}");
        }
    }
    assert!(beginning_with("clip").len() > 1);
    assert!(beginning_with("x").is_empty());
}
