//! Writing a file so that it is always whole: beside the old one, on the disk, then in its place.
//!
//! The new text goes into a file of its own in the same folder, is pushed to the disk (`fsync`) and renamed
//! over the old one, which POSIX `rename` does in one step. Whatever fails before that leaves the old file
//! as it was. Edge cases: a link is followed, so that the file it names is replaced; permissions are kept;
//! a leftover of a killed run is stepped around.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::error::EventError;

/// Puts `bytes` in the file's place.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> Result<(), EventError> {
    replace_with(path, |file| file.write_all(bytes))
        .map_err(|cause| EventError::Unwritable { path: path.to_owned(), cause })
}

fn replace_with(path: &Path, write: impl FnOnce(&mut File) -> io::Result<()>) -> io::Result<()> {
    let target = if path.is_symlink() { path.canonicalize()? } else { path.to_owned() };
    let (mut file, beside) = create_beside(&target)?;
    let done = write(&mut file)
        .and_then(|()| match target.metadata() {
            Ok(old) => file.set_permissions(old.permissions()),
            Err(_) => Ok(()),
        })
        .and_then(|()| file.sync_all())
        .and_then(|()| fs::rename(&beside, &target));
    if done.is_err() {
        // The first failure is the one to tell; a leftover does no harm.
        let _ = fs::remove_file(&beside);
        return done;
    }
    sync_folder(&target)
}

/// A new hidden file in the same folder.
fn create_beside(target: &Path) -> io::Result<(File, PathBuf)> {
    let name = target.file_name().ok_or(io::ErrorKind::InvalidFilename)?.to_string_lossy();
    let mut attempt = 0;
    loop {
        let beside = target.with_file_name(format!(".{name}.{}-{attempt}.new", std::process::id()));
        match File::create_new(&beside) {
            Ok(file) => return Ok((file, beside)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && attempt < 100 => attempt += 1,
            Err(error) => return Err(error),
        }
    }
}

/// The new name itself must reach the disk too, where folders can be opened.
fn sync_folder(target: &Path) -> io::Result<()> {
    if cfg!(not(unix)) {
        return Ok(());
    }
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("the folder is there");
        let mut names: Vec<String> =
            entries.map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_write_that_breaks_off_leaves_the_old_file_and_nothing_else() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("event.toml");
        fs::write(&path, "old").expect("written");
        let broken = replace_with(&path, |file| {
            file.write_all(b"half of the n")?;
            Err(io::ErrorKind::StorageFull.into())
        });
        assert_eq!(broken.expect_err("the disk is full").kind(), io::ErrorKind::StorageFull);
        assert_eq!(fs::read_to_string(&path).expect("still there"), "old");
        assert_eq!(names(folder.path()), ["event.toml"]);
    }

    #[test]
    fn a_file_that_cannot_be_replaced_is_said_and_nothing_is_left() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("inputs.csv");
        fs::create_dir(&path).expect("a folder in its place");
        let error = replace(&path, b"new").expect_err("a folder is no file");
        assert!(error.to_string().contains("what stood there before is untouched"), "{error}");
        assert_eq!(names(folder.path()), ["inputs.csv"]);
    }

    #[test]
    fn leftovers_are_stepped_around_and_the_new_file_stands() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("event.toml");
        let leftover = folder.path().join(format!(".event.toml.{}-0.new", std::process::id()));
        fs::write(&leftover, "left over").expect("written");
        replace(&path, b"new").expect("replaced");
        assert_eq!(fs::read_to_string(&path).expect("there"), "new");
        assert_eq!(fs::read_to_string(&leftover).expect("there"), "left over");
    }

    #[cfg(unix)]
    #[test]
    fn links_and_permissions_are_kept() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let (real, link) = (folder.path().join("real.toml"), folder.path().join("event.toml"));
        fs::write(&real, "old").expect("written");
        fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).expect("set");
        std::os::unix::fs::symlink(&real, &link).expect("linked");
        replace(&link, b"new").expect("replaced");
        assert!(link.is_symlink());
        assert_eq!(fs::read_to_string(&real).expect("there"), "new");
        assert_eq!(real.metadata().expect("there").permissions().mode() & 0o777, 0o640);
    }
}
