//! The forms of the scorecards agree, and hold what the schema promises.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use serde_json::Value;

use super::{audit, cards, run, shoot};

fn schema() -> jsonschema::Validator {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/scorecard.schema.json");
    jsonschema::validator_for(&serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()).unwrap()
}

#[test]
fn csv_json_and_ndjson_say_the_same() {
    let folder = shoot(3);
    fs::write(folder.path().join("shoot/broken.dng"), "no frame").unwrap();
    let (_, lines) = audit(folder.path(), &[]);
    let ran = run(folder.path(), &["audit", "shoot", "--out", "cards.json"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert_eq!(ran.out, "", "the file has it");
    let array: Vec<Value> =
        serde_json::from_str(&fs::read_to_string(folder.path().join("cards.json")).unwrap()).unwrap();
    assert_eq!(array, lines);
    assert!(folder.path().join("cards.record.ndjson").exists(), "the record lies beside the output");

    let schema = schema();
    for card in &array {
        let errors: Vec<String> = schema.iter_errors(card).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(errors.is_empty(), "{errors:#?}");
    }

    let ran = run(folder.path(), &["audit", "shoot", "--format", "csv"]);
    let mut reader = csv::Reader::from_reader(ran.out.as_bytes());
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    assert_eq!(head[..3], ["file", "verdict_outcome", "print_largest_width_in"]);
    let mut compared = 0;
    for (row, card) in reader.records().zip(&array) {
        let row = row.unwrap();
        let flat = flattened(card);
        for (name, cell) in head.iter().zip(&row) {
            let Some(value) = flat.get(name) else { continue };
            match value {
                Value::Null => assert_eq!(cell, "", "{name}"),
                Value::Number(n) => assert_eq!(cell.parse::<f64>().unwrap(), n.as_f64().unwrap(), "{name}"),
                Value::String(text) => assert_eq!(cell, text, "{name}"),
                other => assert_eq!(cell, other.to_string(), "{name}"),
            }
            compared += 1;
        }
    }
    assert!(compared > 300, "{compared}");
}

/// Every plain value by its path joined with `_`.
fn flattened(card: &Value) -> HashMap<String, Value> {
    fn walk(name: &str, value: &Value, flat: &mut HashMap<String, Value>) {
        let below = |part: &str| if name.is_empty() { part.to_owned() } else { format!("{name}_{part}") };
        match value {
            Value::Object(members) => members.iter().for_each(|(part, value)| walk(&below(part), value, flat)),
            Value::Array(items) => items.iter().enumerate().for_each(|(i, v)| walk(&below(&i.to_string()), v, flat)),
            plain => drop(flat.insert(name.to_owned(), plain.clone())),
        }
    }
    let mut flat = HashMap::new();
    walk("", card, &mut flat);
    flat
}

#[test]
fn any_number_of_workers_gives_the_same_bytes() {
    let folder = shoot(6);
    for jobs in ["1", "3"] {
        for form in ["csv", "json"] {
            let name = format!("{jobs}.{form}");
            let record = format!("{jobs}.record");
            let ran =
                run(folder.path(), &["audit", "shoot", "--jobs", jobs, "--out", &name, "--record", &record, "-q"]);
            assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
        }
    }
    for form in ["csv", "json"] {
        let read = |jobs: &str| fs::read(folder.path().join(format!("{jobs}.{form}"))).unwrap();
        assert!(read("1") == read("3"), "{form}");
    }
}

#[test]
fn the_table_is_plain_text_where_stdout_is_no_terminal() {
    let folder = shoot(2);
    let ran = run(folder.path(), &["audit", "shoot", "--format", "table"]);
    assert!(!ran.out.contains('\u{1b}'));
    let lines: Vec<&str> = ran.out.lines().collect();
    assert!(lines[0].starts_with("frame") && lines[0].contains("largest print"));
    assert!(lines[0].starts_with("frame in shoot ") && lines[1].starts_with("F_0000.dng"));
    assert!(lines[4].starts_with("2 frames for portfolio: "), "{}", ran.out);
    let ran = run(folder.path(), &["audit", "shoot", "--format", "ndjson", "--crop", "300x200+10+10"]);
    assert!(cards(&ran.out).iter().all(|c| c["print"]["ppi"].as_f64().unwrap() < 30.0), "300 px on 13 inches or more");
}
