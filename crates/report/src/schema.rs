//! The JSON Schema (2020-12) of a scorecard and the field table of docs/scorecard.md, made from [`FIELDS`].

use std::fmt::Write as _;

use serde_json::{Map, Value, json};

use crate::csv::columns;
use crate::fields::{CONTAINERS, FIELDS, Field, Kind};
use crate::scorecard::SCHEMA;

/// The schema. Every field is required; further fields may come, so they are allowed.
#[must_use]
pub fn json_schema() -> Value {
    let mut root = object("One raw frame: what was measured and what it means for a print.", false);
    for field in FIELDS {
        let parts: Vec<&str> = field.path.split('.').collect();
        insert(&mut root, &parts, "", field);
    }
    root["properties"]["schema"] = json!({ "const": SCHEMA, "description": FIELDS[0].text });
    root["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    root["title"] = json!("rawassay scorecard");
    root
}

fn object(text: &str, nullable: bool) -> Value {
    let kind = if nullable { json!(["object", "null"]) } else { json!("object") };
    json!({ "description": text, "type": kind, "properties": {}, "required": [] })
}

/// Puts a field below `node`, making the objects and lists on the way.
fn insert(node: &mut Value, parts: &[&str], above: &str, field: &Field) {
    let Some((first, rest)) = parts.split_first() else { return };
    let (name, list) = match first.split_once('[') {
        Some((name, list)) => (name, Some(list.trim_end_matches(']'))),
        None => (*first, None),
    };
    let path = if above.is_empty() { name.to_owned() } else { format!("{above}.{name}") };
    let container = CONTAINERS.iter().find(|c| c.path == path);
    let nullable = container.is_some_and(|c| c.nullable);
    let text = container.map_or("", |c| c.text);
    if let Some(required) = node["required"].as_array_mut()
        && !required.iter().any(|r| r == name)
    {
        required.push(json!(name));
    }
    let slot = &mut node["properties"][name];
    if slot.is_null() {
        *slot = match list {
            Some(length) => {
                let items = if rest.is_empty() { leaf(field) } else { object("", false) };
                let mut list =
                    json!({ "type": if nullable { json!(["array", "null"]) } else { json!("array") }, "items": items });
                if let Ok(length) = length.parse::<usize>() {
                    list["minItems"] = json!(length);
                    list["maxItems"] = json!(length);
                }
                list["description"] = json!(if text.is_empty() { field.text } else { text });
                list
            }
            None if rest.is_empty() => leaf(field),
            None => object(text, nullable),
        };
    }
    if !rest.is_empty() {
        insert(if list.is_some() { &mut slot["items"] } else { slot }, rest, &path, field);
    }
}

fn leaf(field: &Field) -> Value {
    let mut schema = Map::new();
    schema.insert("description".into(), json!(field.text));
    match field.kind {
        Kind::Word(words) => {
            let mut words: Vec<Value> = words.iter().map(|w| json!(w)).collect();
            if field.nullable {
                words.push(Value::Null);
            }
            schema.insert("enum".into(), json!(words));
        }
        kind => {
            let word = match kind {
                Kind::Integer => "integer",
                Kind::Number => "number",
                Kind::Flag => "boolean",
                _ => "string",
            };
            schema.insert("type".into(), if field.nullable { json!([word, "null"]) } else { json!(word) });
        }
    }
    Value::Object(schema)
}

/// The table of docs/scorecard.md, as Markdown.
#[must_use]
pub fn markdown() -> String {
    let mut page = String::from("| field | holds | meaning |\n| --- | --- | --- |\n");
    for field in FIELDS {
        let kind = match field.kind {
            Kind::Integer => "whole number",
            Kind::Number => "number",
            Kind::Text => "text",
            Kind::Flag => "true or false",
            Kind::Word(_) => "word",
        };
        let words = match field.kind {
            Kind::Word(words) => format!(" One of: {}.", words.join(", ")),
            _ => String::new(),
        };
        let null = if field.nullable { " or null" } else { "" };
        let _ = writeln!(page, "| `{}` | {kind}{null} | {}{words} |", field.path, field.text);
    }
    page.push_str("\n## Columns of the CSV\n\n");
    for column in columns() {
        let _ = writeln!(page, "- `{}`", column.name);
    }
    page
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::samples;

    /// The schema with nothing further allowed: a field that the list lacks is found out.
    fn strict(mut node: Value) -> Value {
        if let Some(map) = node.as_object_mut() {
            if map.contains_key("properties") {
                map.insert("additionalProperties".into(), json!(false));
            }
            for value in map.values_mut() {
                *value = strict(value.take());
            }
        }
        node
    }

    #[test]
    fn the_list_knows_every_field_and_the_schema_is_valid() {
        let schema = strict(json_schema());
        jsonschema::meta::validate(&schema).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        for card in [samples::full(), samples::unreadable()] {
            let mut line = Vec::new();
            crate::numbers::write_json_line(&mut line, &card).unwrap();
            let value: Value = serde_json::from_slice(&line).unwrap();
            let errors: Vec<String> =
                validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
            assert!(errors.is_empty(), "{errors:#?}");
        }
        let mut wrong = serde_json::to_value(samples::full()).unwrap();
        wrong["verdict"]["outcome"] = json!("great");
        assert!(!validator.is_valid(&wrong));
        wrong["verdict"]["outcome"] = json!("fails");
        assert!(validator.is_valid(&wrong));
        wrong["file_id"].as_object_mut().unwrap().remove("hash");
        assert!(!validator.is_valid(&wrong));
    }

    /// docs/scorecard.schema.json and the tables of docs/scorecard.md come from the list; to write them anew:
    /// `cargo run -p rawassay-report --example scorecard_docs`.
    #[test]
    fn the_docs_are_up_to_date() {
        let docs = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
        let schema: Value =
            serde_json::from_str(&std::fs::read_to_string(docs.join("scorecard.schema.json")).unwrap()).unwrap();
        assert_eq!(schema, json_schema());
        let page = std::fs::read_to_string(docs.join("scorecard.md")).unwrap().replace("\r\n", "\n");
        assert!(page.contains(&markdown()));
    }
}
