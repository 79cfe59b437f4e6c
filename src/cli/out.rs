//! Lines to standard output; a closed pipe is an error that ends the program quietly.

use std::io::{self, Write};

use serde_json::Value;

/// A line of text.
pub fn line(text: &str) -> io::Result<()> {
    writeln!(io::stdout().lock(), "{text}")
}

/// A JSON line, at once.
pub fn json(record: &Value) -> io::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "{record}")?;
    out.flush()
}
