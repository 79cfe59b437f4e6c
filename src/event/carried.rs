//! The program with all it needs in one folder, such as on a memory stick, for a machine where nothing may be installed.
//!
//! Started from there, it keeps its settings there. Copies are read back and compared byte by byte. Edge cases: nothing
//! that stands there is replaced; what fails half-way takes away what it had put there.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::error::EventError;
use super::rig;

/// Names a folder for the settings; the start script sets it.
const VARIABLE: &str = "BEFOREDOORS_SETTINGS";
/// The same beside the program.
pub const SETTINGS: &str = "beforedoors-settings";
pub const EXAMPLE: &str = "example";

/// Where settings are kept instead of with the person; `None`: the program was not carried.
pub(super) fn settings_folder() -> Option<PathBuf> {
    let told = std::env::var_os(VARIABLE).filter(|folder| !folder.is_empty()).map(PathBuf::from);
    told.or_else(|| {
        let beside = std::env::current_exe().ok()?.parent()?.join(SETTINGS);
        beside.is_dir().then_some(beside)
    })
}

/// Why a folder can't be made.
#[derive(Debug, thiserror::Error)]
pub enum CarryError {
    #[error(transparent)]
    Event(#[from] EventError),
    #[error("{}: the copy differs from what was written. The stick may be faulty: use another one", .0.display())]
    Differs(PathBuf),
}

/// A file of the folder.
pub struct Part<'a> {
    pub name: &'a str,
    pub bytes: &'a [u8],
    /// It can be started.
    pub starts: bool,
}

/// Puts these files and the worked example into a folder; gives what was put there.
pub fn carry(folder: &Path, parts: &[Part]) -> Result<Vec<PathBuf>, CarryError> {
    let example = folder.join(EXAMPLE);
    let files = parts.iter().map(|part| folder.join(part.name)).chain([example.clone()]);
    if let Some(there) = files.into_iter().find(|path| path.symlink_metadata().is_ok()) {
        return Err(EventError::AlreadyThere(there).into());
    }
    let mut made = Vec::new();
    let whole = parts.iter().try_for_each(|part| {
        let path = folder.join(part.name);
        let unwritable = |cause| EventError::Unwritable { path: path.clone(), cause };
        path.parent().map_or(Ok(()), fs::create_dir_all).map_err(unwritable)?;
        let mut file = File::create_new(&path).map_err(unwritable)?;
        made.push(path.clone());
        put(&mut file, part).map_err(unwritable)?;
        if holds(&path, part.bytes).map_err(unwritable)? { Ok(()) } else { Err(CarryError::Differs(path.clone())) }
    });
    let whole = whole.and_then(|()| {
        rig::write_example(&example)?;
        rig::FILES.iter().try_for_each(|(name, text)| {
            let path = example.join(name);
            match holds(&path, text.as_bytes()) {
                Ok(true) => made.push(path),
                Ok(false) => return Err(CarryError::Differs(path)),
                Err(cause) => return Err(EventError::Unwritable { path, cause }.into()),
            }
            Ok(())
        })
    });
    if whole.is_err() {
        // The first failure is the one to tell. Nothing of the example was there before.
        made.iter().for_each(|path| drop(fs::remove_file(path)));
        let _ = fs::remove_dir_all(&example);
    }
    whole.map(|()| made)
}

fn put(file: &mut File, part: &Part) -> io::Result<()> {
    io::Write::write_all(file, part.bytes)?;
    #[cfg(unix)]
    if part.starts {
        use std::os::unix::fs::PermissionsExt;
        // File systems without permissions let everything start, or nothing; the start script knows both.
        let _ = file.set_permissions(fs::Permissions::from_mode(0o755));
    }
    file.sync_all()
}

/// Whether a file holds just these bytes.
fn holds(path: &Path, bytes: &[u8]) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let mut rest = bytes;
    let mut read = vec![0; 256 << 10];
    loop {
        let count = file.read(&mut read)?;
        match rest.split_at_checked(count) {
            Some((expected, after)) if expected == &read[..count] => rest = after,
            _ => return Ok(false),
        }
        if count == 0 {
            return Ok(rest.is_empty());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_of_it_or_nothing_and_nothing_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let stick = folder.path().join("stick");
        let parts = [
            Part { name: "program", bytes: &[7; 300_000], starts: true },
            Part { name: "settings/kept.txt", bytes: b"here", starts: false },
        ];
        let made = carry(&stick, &parts).unwrap();
        assert_eq!(made.len(), 2 + rig::FILES.len());
        assert_eq!(fs::read(&made[0]).unwrap(), vec![7; 300_000]);
        let again = carry(&stick, &parts).unwrap_err();
        assert!(again.to_string().contains("is there already"), "{again}");
        // Something in the way of the second: the first is taken away again.
        let other = folder.path().join("other");
        fs::create_dir(&other).unwrap();
        fs::write(other.join("settings"), "mine").unwrap();
        assert!(carry(&other, &parts).is_err());
        assert_eq!(fs::read_dir(&other).unwrap().count(), 1);
        assert_eq!(fs::read(other.join("settings")).unwrap(), b"mine");
    }

    #[test]
    fn a_copy_that_differs_is_seen() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("copy");
        fs::write(&path, [1, 2, 3]).unwrap();
        for (bytes, same) in [(&[1, 2, 3][..], true), (&[1, 2], false), (&[1, 2, 3, 4], false), (&[1, 9, 3], false)] {
            assert_eq!(holds(&path, bytes).unwrap(), same, "{bytes:?}");
        }
    }
}
