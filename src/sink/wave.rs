//! A copy of a recording as WAV: written under a hidden name beside its place, named when it is whole.
//!
//! In: how samples are stored, bytes of whole frames, then marks (see `wave_form`). Nothing that stands there is ever
//! replaced. Edge cases: a full disk, a killed program: nothing stands under the final name.

use std::fs::{self, File};
use std::io::{self, BufWriter, ErrorKind, Seek, Write};
use std::path::{Path, PathBuf};

use super::wave_form::{COPIED, Mark, WaveShape, tail};

/// A copy in the making; dropped before `finish`, it leaves nothing.
pub struct WaveCopy {
    file: BufWriter<File>,
    shape: WaveShape,
    beside: PathBuf,
    target: PathBuf,
    /// Bytes of sound so far.
    written: u64,
    data_at: u64,
    done: bool,
}

impl WaveCopy {
    pub fn begin(target: &Path, shape: WaveShape) -> io::Result<Self> {
        if target.symlink_metadata().is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        let (file, beside) = create_beside(target)?;
        let target = target.to_owned();
        let file = BufWriter::with_capacity(256 << 10, file);
        let head = shape.head(COPIED);
        let mut copy = Self { file, shape, beside, target, written: 0, data_at: head.len() as u64, done: false };
        copy.file.write_all(&head)?;
        Ok(copy)
    }

    /// Bytes of whole frames, as they are stored.
    pub fn push(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.written += bytes.len() as u64;
        self.file.write_all(bytes)
    }

    /// Ends it, with these marks, and gives it its name.
    pub fn finish(mut self, marks: &[Mark]) -> io::Result<()> {
        self.file.write_all(&tail(self.written, marks))?;
        self.file.flush()?;
        let end = self.file.stream_position()?;
        self.shape.put_sizes(self.file.get_mut(), self.data_at, self.written, end)?;
        self.file.get_ref().sync_all()?;
        if self.target.symlink_metadata().is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        fs::rename(&self.beside, &self.target)?;
        self.done = true;
        Ok(())
    }
}

impl Drop for WaveCopy {
    fn drop(&mut self) {
        if !self.done {
            // A leftover does no harm; the first failure has been told.
            let _ = fs::remove_file(&self.beside);
        }
    }
}

/// A hidden name in the same folder, so that renaming cannot cross file systems.
fn create_beside(target: &Path) -> io::Result<(File, PathBuf)> {
    let name = target.file_name().ok_or(ErrorKind::InvalidFilename)?;
    for attempt in 0..100 {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{attempt}.part", std::process::id()));
        let beside = target.with_file_name(hidden);
        match File::create_new(&beside) {
            Ok(file) => return Ok((file, beside)),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(ErrorKind::AlreadyExists.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::SeekFrom;

    fn mark(at: u64, length: u64, text: &str) -> Mark {
        Mark { at, length, text: text.into() }
    }

    /// Read back with the library's reader; the chunks behind the sound by hand.
    #[test]
    fn sound_and_marks_stand_where_the_specification_says() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("копия 一.wav");
        let mut copy = WaveCopy::begin(&path, WaveShape::integers(1, 48_000, 24, None)).unwrap();
        copy.push(&[1, 0, 0, 2, 0, 0, 0xff, 0xff, 0xff]).unwrap();
        assert!(!path.exists(), "nothing stands there before it is whole");
        copy.finish(&[mark(1, 2, "clipped"), mark(2, 0, "é")]).unwrap();
        let names: Vec<_> = fs::read_dir(folder.path()).unwrap().collect();
        assert_eq!(names.len(), 1);
        let mut wav = hound::WavReader::open(&path).unwrap();
        assert_eq!(wav.samples::<i32>().map(Result::unwrap).collect::<Vec<_>>(), [1, 2, -1]);
        let bytes = fs::read(&path).unwrap();
        let find = |id: &[u8]| bytes.windows(id.len()).position(|part| part == id).unwrap();
        let le32 = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!(le32(4) as usize, bytes.len() - 8);
        let cue = find(b"cue ");
        assert_eq!((le32(cue + 4), le32(cue + 8)), (4 + 2 * 24, 2));
        // The first cue: identifier 1, its frame at the end of its 24 bytes.
        assert_eq!((le32(cue + 12), le32(cue + 12 + 20), le32(cue + 36 + 20)), (1, 1, 2));
        let labl = find(b"labl");
        assert_eq!((le32(labl + 4), le32(labl + 8), &bytes[labl + 12..labl + 20]), (12, 1, &b"clipped\0"[..]));
        let span = find(b"ltxt");
        assert_eq!((le32(span + 8), le32(span + 12), &bytes[span + 16..span + 20]), (1, 2, &b"rgn "[..]));
        // One LIST tells what made it, another ends the file.
        assert_eq!(&bytes[find(b"ISFT") + 8..][..11], b"beforedoors");
        let list = bytes.windows(4).rposition(|part| part == b"LIST").unwrap();
        assert_eq!(list + 8 + le32(list + 4) as usize, bytes.len());
    }

    #[test]
    fn what_stands_there_stays_and_a_broken_copy_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        fs::write(&path, "mine").unwrap();
        let shape = WaveShape::integers(2, 48_000, 16, Some(3));
        assert_eq!(WaveCopy::begin(&path, shape).err().unwrap().kind(), ErrorKind::AlreadyExists);
        let other = folder.path().join("other.wav");
        let mut copy = WaveCopy::begin(&other, shape).unwrap();
        copy.push(&[0; 400]).unwrap();
        drop(copy);
        // Somebody puts a file there meanwhile.
        let copy = WaveCopy::begin(&other, shape).unwrap();
        fs::write(&other, "theirs").unwrap();
        assert_eq!(copy.finish(&[]).unwrap_err().kind(), ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"mine");
        assert_eq!(fs::read(&other).unwrap(), b"theirs");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
    }

    /// 4 GB and more in a file with a hole: the sizes move to `ds64`.
    #[cfg(unix)]
    #[test]
    fn beyond_four_gigabytes_it_is_rf64() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.wav");
        let mut copy = WaveCopy::begin(&path, WaveShape::integers(1, 48_000, 16, None)).unwrap();
        let long = (5u64 << 30) / 2 * 2;
        copy.file.flush().unwrap();
        copy.file.get_ref().set_len(copy.data_at + long).unwrap();
        copy.file.seek(SeekFrom::End(0)).unwrap();
        copy.written = long;
        copy.finish(&[]).unwrap();
        let mut head = vec![0; 100];
        io::Read::read_exact(&mut File::open(&path).unwrap(), &mut head).unwrap();
        assert_eq!((&head[..4], &head[12..16]), (&b"RF64"[..], &b"ds64"[..]));
        assert_eq!(u64::from_le_bytes(head[28..36].try_into().unwrap()), long);
        assert_eq!(u64::from_le_bytes(head[36..44].try_into().unwrap()), long / 2);
    }
}
