//! A worked example of an event: an invented school's concert, ready to be checked, with a few faults to find.
//!
//! Edge cases: nothing is written over a file that is there already.

use std::fs;
use std::path::{Path, PathBuf};

use super::super::error::EventError;
use super::write;

/// Names and texts of its files.
pub const FILES: [(&str, &str); 5] = [
    ("event.toml", include_str!("example/event.toml")),
    ("inputs.csv", include_str!("example/inputs.csv")),
    ("patch.csv", include_str!("example/patch.csv")),
    ("gear.csv", include_str!("example/gear.csv")),
    ("venue.toml", include_str!("example/venue.toml")),
];

/// Writes the example into a folder that has none of its files yet.
pub fn write_example(folder: &Path) -> Result<(), EventError> {
    if let Some(there) = FILES.iter().map(|(name, _)| folder.join(name)).find(|path| path.exists()) {
        return Err(EventError::AlreadyThere(there));
    }
    let unwritable = |cause| EventError::Unwritable { path: PathBuf::from(folder), cause };
    fs::create_dir_all(folder).map_err(unwritable)?;
    for (name, text) in FILES {
        write(folder, name, text)?;
    }
    Ok(())
}
