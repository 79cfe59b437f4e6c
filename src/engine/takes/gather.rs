//! The recordings that are meant: files as they are named, folders with everything in them.
//!
//! In: paths. Out: files in the order of their names, numbers as they count, folder by folder; hidden ones, names that
//! promise no sound, and copies that this program made ([`Gathered::own`]) are left out, unless they are named themselves. A link is taken for what it leads to, each file and folder once, so that links in a circle end. Where a folder
//! can't be opened the others are read all the same, and it is told ([`Gathered::troubles`]).

use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::source::file::maker_of;

/// Why a folder gives no recordings.
#[derive(Debug, thiserror::Error)]
pub enum GatherError {
    #[error("{0}: the folder can’t be read ({1}). Check that you may open it")]
    Unreadable(PathBuf, std::io::Error),
    #[error("{0}: no recordings in this folder. Name another")]
    Empty(PathBuf),
}

/// What was found.
#[derive(Debug, Default)]
pub struct Gathered {
    pub files: Vec<PathBuf>,
    /// Copies that this program made: no takes of their own.
    pub own: Vec<PathBuf>,
    pub troubles: Vec<GatherError>,
}

/// Everything that these paths mean; an error where that is nothing.
pub fn gather(paths: &[PathBuf]) -> Result<Gathered, GatherError> {
    let mut all = Gathered::default();
    let mut seen = HashSet::new();
    for path in paths {
        if !path.is_dir() {
            all.files.push(path.clone());
            continue;
        }
        let (before, troubles) = (all.files.len(), all.troubles.len());
        all.enter(path, &mut seen);
        if all.files.len() == before && all.troubles.len() == troubles {
            all.troubles.push(GatherError::Empty(path.clone()));
        }
        all.set_own_apart(before);
    }
    match all.troubles.pop() {
        Some(trouble) if all.files.is_empty() && all.own.is_empty() => Err(trouble),
        trouble => {
            all.troubles.extend(trouble);
            Ok(all)
        }
    }
}

/// Whether the name promises a recording: what a folder is searched for.
pub fn looks_like_sound(path: &Path) -> bool {
    const ENDINGS: [&str; 22] = [
        "wav", "wave", "rf64", "bw64", "w64", "bwf", "flac", "mp3", "m4a", "mp4", "mov", "aac", "ogg", "oga", "opus",
        "aif", "aiff", "aifc", "caf", "alac", "mka", "webm",
    ];
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    ENDINGS.contains(&ending.as_str())
}

/// Runs of digits by what they count, everything else by its letters: 2 stands before 10.
pub fn in_order(name: &str) -> Vec<(u128, String)> {
    let chars: Vec<char> = name.chars().collect();
    let run = |run: &[char]| {
        let text: String = run.iter().collect();
        // Longer numbers than that are names.
        match text.parse() {
            Ok(number) if text.bytes().all(|byte| byte.is_ascii_digit()) => (number, text),
            _ => (u128::MAX, text),
        }
    };
    chars.chunk_by(|a, b| a.is_ascii_digit() == b.is_ascii_digit()).map(run).collect()
}

impl Gathered {
    /// What lies in a folder, copies that this program made among it; no file is opened.
    pub fn of_folder(folder: &Path) -> Self {
        let mut all = Self::default();
        all.enter(folder, &mut HashSet::new());
        all
    }

    /// Takes the copies that this program made out of the files from place `first` on, by what stands in them.
    pub fn set_own_apart(&mut self, first: usize) {
        let is_own = |path: &PathBuf| maker_of(path).is_some_and(|maker| maker == env!("CARGO_PKG_NAME"));
        let (own, others) = self.files.drain(first..).partition::<Vec<_>, _>(is_own);
        self.own.extend(own);
        self.files.extend(others);
    }

    fn enter(&mut self, folder: &Path, seen: &mut HashSet<PathBuf>) {
        if !fs::canonicalize(folder).is_ok_and(|real| seen.insert(real)) && folder.exists() {
            return;
        }
        let entries = fs::read_dir(folder).and_then(Iterator::collect::<Result<Vec<_>, _>>);
        let mut entries = match entries {
            Ok(entries) => entries,
            Err(error) => return self.troubles.push(GatherError::Unreadable(folder.to_owned(), error)),
        };
        entries.sort_by_cached_key(|entry| in_order(&entry.file_name().to_string_lossy()));
        for entry in entries {
            let path = entry.path();
            if entry.file_name().to_string_lossy().starts_with('.') {
                continue;
            }
            if path.is_dir() {
                self.enter(&path, seen);
            } else if path.is_file() && looks_like_sound(&path) {
                let is_link = entry.file_type().is_ok_and(|kind| kind.is_symlink());
                let real = if is_link { fs::canonicalize(&path).ok() } else { None };
                if real.is_none_or(|real| seen.insert(real)) {
                    self.files.push(path);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(gathered: &Gathered) -> Vec<String> {
        gathered.files.iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect()
    }

    #[test]
    fn folders_in_order_without_what_is_hidden_or_no_sound() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("b")).unwrap();
        for name in ["c.wav", "A.FLAC", ".hidden.wav", "notes.txt", "b/зал.wav", "b/合唱.m4a"] {
            fs::write(folder.path().join(name), b"").unwrap();
        }
        let found = gather(&[folder.path().to_owned()]).unwrap();
        assert_eq!(names(&found), ["A.FLAC", "зал.wav", "合唱.m4a", "c.wav"]);
        assert!(found.troubles.is_empty());
        let empty = tempfile::tempdir().unwrap();
        assert!(gather(&[empty.path().to_owned()]).unwrap_err().to_string().contains("no recordings in this folder"));
        let both = gather(&[empty.path().to_owned(), folder.path().to_owned()]).unwrap();
        assert_eq!((both.files.len(), both.troubles.len()), (4, 1));
    }

    #[test]
    fn numbers_stand_as_they_count() {
        let folder = tempfile::tempdir().unwrap();
        let wanted = ["1.wav", "02.wav", "2.wav", "10.wav", "Take 9b.wav", "Take 10a.wav", "зал 3.wav", "зал 20.wav"];
        for name in wanted.iter().rev() {
            fs::write(folder.path().join(name), b"").unwrap();
        }
        assert_eq!(names(&gather(&[folder.path().to_owned()]).unwrap()), wanted);
    }

    #[cfg(unix)]
    #[test]
    fn links_in_a_circle_end_and_a_closed_folder_stops_nothing() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let within = |name: &str| folder.path().join(name);
        fs::create_dir_all(within("a/deep")).unwrap();
        fs::create_dir(within("closed")).unwrap();
        fs::write(within("a/deep/take.wav"), b"").unwrap();
        fs::write(within("z.wav"), b"").unwrap();
        symlink(folder.path(), within("a/round")).unwrap();
        symlink(within("a"), within("again")).unwrap();
        symlink(within("z.wav"), within("a/z link.wav")).unwrap();
        symlink(within("nowhere.wav"), within("dangling.wav")).unwrap();
        fs::set_permissions(within("closed"), fs::Permissions::from_mode(0o000)).unwrap();
        let found = gather(&[folder.path().to_owned()]).unwrap();
        fs::set_permissions(within("closed"), fs::Permissions::from_mode(0o700)).unwrap();
        assert_eq!(names(&found)[..2], ["take.wav", "z link.wav"]);
        assert!(found.files.len() <= 3);
        // Root may open everything.
        assert!(found.troubles.len() <= 1);
    }
}
