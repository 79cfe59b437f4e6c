//! Lines to standard output; a closed pipe is an error that ends the program quietly.

use std::io::{self, Write};

use serde_json::Value;

/// A line of text, at once.
pub fn line(text: &str) -> io::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "{}", text.trim_end())?;
    out.flush()
}

/// A JSON line, at once.
pub fn json(record: &Value) -> io::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "{record}")?;
    out.flush()
}

/// A line beside the output; nobody reading it is no error.
pub fn note(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}
