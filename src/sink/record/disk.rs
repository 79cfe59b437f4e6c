//! Where recordings go: a folder on a disk, whose free space can be asked for.
//!
//! Names carry date and time of the hall's own clock; what stands there is never replaced.

use std::fs::{self, File};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use chrono::Local;

use super::growing::Stored;

pub trait Disk: Send + 'static {
    type File: Stored;

    /// A new file; one that is there already is an error.
    fn create(&mut self, path: &Path) -> io::Result<Self::File>;

    /// Bytes that may still be written into this folder.
    fn free(&mut self, folder: &Path) -> io::Result<u64>;
}

/// The machine's own.
pub struct RealDisk;

impl Disk for RealDisk {
    type File = File;

    fn create(&mut self, path: &Path) -> io::Result<File> {
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        File::create_new(path)
    }

    fn free(&mut self, folder: &Path) -> io::Result<u64> {
        fs4::available_space(folder)
    }
}

/// A new file whose name tells when it began: `show-2027-03-12-183000.wav`, then `…-2.wav`.
pub(super) fn create_dated<D: Disk>(disk: &mut D, folder: &Path, stem: &str) -> io::Result<(D::File, PathBuf)> {
    let dated = format!("{stem}-{}", Local::now().format("%Y-%m-%d-%H%M%S"));
    for number in 1..100 {
        let name = if number == 1 { format!("{dated}.wav") } else { format!("{dated}-{number}.wav") };
        let path = folder.join(name);
        match disk.create(&path) {
            Ok(file) => return Ok((file, path)),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(ErrorKind::AlreadyExists.into())
}
