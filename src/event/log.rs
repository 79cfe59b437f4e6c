//! `log.jsonl`: what happened at the event, a JSON object a line, only ever added to.
//!
//! Each line stands whole on the disk before the next; whatever ends the program, the lines before it can be read.
//! `at` is the hall's own clock in ISO 8601.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

use serde_json::{Value, json};

use super::error::EventError;
use super::when;

const NAME: &str = "log.jsonl";

/// Adds a line about `what` with its evidence.
pub fn add(folder: &Path, what: &str, evidence: &Value) -> Result<(), EventError> {
    let path = folder.join(NAME);
    let line = format!("{}\n", json!({ "at": when::now_text(), "event": what, "evidence": evidence }));
    OpenOptions::new()
        .create(true)
        .append(true)
        .open(&path)
        .and_then(|mut log| log.write_all(line.as_bytes()).and_then(|()| log.sync_data()))
        .map_err(|cause| EventError::Unwritable { path, cause })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_added_and_none_is_lost() {
        let folder = tempfile::tempdir().unwrap();
        add(folder.path(), "mark", &json!({ "view": "Show" })).unwrap();
        add(folder.path(), "mark", &Value::Null).unwrap();
        let text = std::fs::read_to_string(folder.path().join(NAME)).unwrap();
        let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert_eq!(lines.len(), 2);
        assert_eq!((&lines[0]["event"], &lines[0]["evidence"]["view"]), (&json!("mark"), &json!("Show")));
        assert!(add(&folder.path().join("missing"), "mark", &Value::Null).is_err());
    }
}
