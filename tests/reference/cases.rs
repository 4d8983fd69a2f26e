//! Reads a file of reference cases and writes what the core's model answers to each:
//! `cargo run --release --example reference-cases -- CASES.json`. It reads none of the answers
//! that such a file may hold.

use std::io::Write;

use serde_json::{Map, Value};

mod answering;

fn main() -> answering::Answer<()> {
    let path = std::env::args().nth(1).ok_or("expected the path of a file of cases")?;
    let cases: Vec<Value> = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let mut answers = Map::new();
    for case in &cases {
        let id = case.get("id").and_then(Value::as_str).ok_or("a case has no id")?;
        answers
            .insert(id.to_owned(), answering::answer(case).map_err(|why| format!("{id}: {why}"))?);
    }
    serde_json::to_writer(std::io::stdout().lock(), &answers)?;
    writeln!(std::io::stdout())?;
    Ok(())
}
