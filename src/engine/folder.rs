//! What lies in a folder, for a person who picks: folders first, then recordings, in the order of their names.
//!
//! Hidden entries, and files whose names promise no sound, are left out. What can't be looked at says why and how to
//! mend it.

use std::path::{Path, PathBuf};

use super::takes::{GatherError, in_order, looks_like_sound};

/// One line of a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    pub path: PathBuf,
    pub name: String,
    pub is_folder: bool,
}

pub fn look(folder: &Path) -> Result<Vec<Entry>, GatherError> {
    let say = |error| GatherError::Unreadable(folder.to_owned(), error);
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(say)? {
        let entry = entry.map_err(say)?;
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        // A link is taken for what it leads to.
        let is_folder = path.is_dir();
        if !name.starts_with('.') && (is_folder || looks_like_sound(&path)) {
            entries.push(Entry { path, name, is_folder });
        }
    }
    entries.sort_by_cached_key(|entry| (!entry.is_folder, in_order(&entry.name.to_lowercase())));
    Ok(entries)
}

/// Where recordings may lie: the person's music, else their documents.
pub fn music() -> PathBuf {
    home("Music").unwrap_or_else(documents)
}

/// Where a person keeps what they write: their documents, else their home, else here.
pub fn documents() -> PathBuf {
    let home_itself = || std::env::home_dir().filter(|home| home.is_dir()).unwrap_or_else(|| PathBuf::from("."));
    home("Documents").unwrap_or_else(home_itself)
}

fn home(name: &str) -> Option<PathBuf> {
    std::env::home_dir().map(|home| home.join(name)).filter(|folder| folder.is_dir())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_stand_before_recordings_and_nothing_else_is_there() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["b.wav", "A.flac", ".hidden.wav", "notes.txt"] {
            std::fs::write(folder.path().join(name), b"").unwrap();
        }
        for name in ["takes", "Another", ".cache"] {
            std::fs::create_dir(folder.path().join(name)).unwrap();
        }
        let names: Vec<String> = look(folder.path()).unwrap().into_iter().map(|entry| entry.name).collect();
        assert_eq!(names, ["Another", "takes", "A.flac", "b.wav"]);
        let said = look(&folder.path().join("gone")).unwrap_err().to_string();
        assert!(said.contains("can’t be read") && said.contains("Check that you may open it"), "{said}");
    }
}
