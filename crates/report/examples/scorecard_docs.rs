//! Writes docs/scorecard.schema.json and the tables of docs/scorecard.md from the list of fields.

use std::error::Error;
use std::fs;
use std::path::Path;

use rawassay_report::schema::{json_schema, markdown};

const START: &str = "<!-- made by `cargo run -p rawassay-report --example scorecard_docs` -->\n";

fn main() -> Result<(), Box<dyn Error>> {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    fs::write(docs.join("scorecard.schema.json"), serde_json::to_string_pretty(&json_schema())? + "\n")?;
    let page = docs.join("scorecard.md");
    let text = fs::read_to_string(&page)?;
    let before = text.split(START).next().unwrap_or(&text);
    fs::write(&page, format!("{before}{START}\n{}", markdown()))?;
    Ok(())
}
