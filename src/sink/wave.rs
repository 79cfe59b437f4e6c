//! A copy of a recording as WAV: written under a hidden name beside its place, named when it is whole.
//!
//! In: how samples are stored, bytes of whole frames, then marks. Out: RIFF WAVE, or RF64 where it grows beyond 4 GB
//! (EBU Tech 3306: the place for `ds64` is kept by a JUNK chunk of its size); the program's name in `LIST INFO` as `ISFT`,
//! by which its copies are known again; marks as `cue ` and `LIST adtl` with `labl`
//! and `ltxt` (Multimedia Programming Interface and Data Specifications 1.0), their texts in UTF-8. Nothing that stands
//! there is ever replaced. Edge cases: a full disk, a killed program: nothing stands under the final name; marks behind
//! 2³² frames, which that form can't hold, are left out.

use std::fs::{self, File};
use std::io::{self, BufWriter, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// How samples are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WaveShape {
    /// 1 integers, 3 floating point, 6 and 7 the telephone codes.
    pub tag: u16,
    pub channels: u16,
    pub rate: u32,
    /// Of a sample as it is stored.
    pub bits: u16,
    pub valid_bits: u16,
    pub channel_mask: Option<u32>,
}

impl WaveShape {
    /// Integers of this width.
    pub const fn integers(channels: u16, rate: u32, bits: u16, channel_mask: Option<u32>) -> Self {
        Self { tag: 1, channels, rate, bits, valid_bits: bits, channel_mask }
    }

    const fn frame_bytes(&self) -> u16 {
        self.channels * (self.bits / 8)
    }

    fn is_extended(&self) -> bool {
        self.channel_mask.is_some() || self.valid_bits != self.bits
    }
}

/// A mark in the sound; positions are frames.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    pub at: u64,
    pub length: u64,
    pub text: String,
}

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

const JUNK: u32 = 28;
/// What made it.
const MAKER: &[u8] = concat!(env!("CARGO_PKG_NAME"), "\0").as_bytes();
const FULL: u64 = u32::MAX as u64;

impl WaveCopy {
    pub fn begin(target: &Path, shape: WaveShape) -> io::Result<Self> {
        if target.symlink_metadata().is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        let (file, beside) = create_beside(target)?;
        let target = target.to_owned();
        let file = BufWriter::with_capacity(256 << 10, file);
        let mut copy = Self { file, shape, beside, target, written: 0, data_at: 0, done: false };
        copy.head()?;
        Ok(copy)
    }

    /// Bytes of whole frames, as they are stored.
    pub fn push(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.written += bytes.len() as u64;
        self.file.write_all(bytes)
    }

    /// Ends it, with these marks, and gives it its name.
    pub fn finish(mut self, marks: &[Mark]) -> io::Result<()> {
        if !self.written.is_multiple_of(2) {
            self.file.write_all(&[0])?;
        }
        let marks: Vec<&Mark> = marks.iter().filter(|mark| mark.at < FULL).collect();
        if !marks.is_empty() {
            self.file.write_all(&cue_chunk(&marks))?;
            self.file.write_all(&list_chunk(&marks))?;
        }
        self.file.flush()?;
        self.sizes()?;
        self.file.get_ref().sync_all()?;
        if self.target.symlink_metadata().is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        fs::rename(&self.beside, &self.target)?;
        self.done = true;
        Ok(())
    }

    fn head(&mut self) -> io::Result<()> {
        let shape = self.shape;
        let mut head = b"RIFF\0\0\0\0WAVEJUNK".to_vec();
        head.extend(JUNK.to_le_bytes());
        head.extend([0; JUNK as usize]);
        head.extend(b"fmt ");
        let extended = shape.is_extended();
        head.extend(if extended { 40u32 } else { 16 }.to_le_bytes());
        head.extend(if extended { 0xfffe } else { shape.tag }.to_le_bytes());
        head.extend(shape.channels.to_le_bytes());
        head.extend(shape.rate.to_le_bytes());
        head.extend((shape.rate.saturating_mul(u32::from(shape.frame_bytes()))).to_le_bytes());
        head.extend(shape.frame_bytes().to_le_bytes());
        head.extend(shape.bits.to_le_bytes());
        if extended {
            head.extend(22u16.to_le_bytes());
            head.extend(shape.valid_bits.to_le_bytes());
            head.extend(shape.channel_mask.unwrap_or(0).to_le_bytes());
            head.extend(shape.tag.to_le_bytes());
            // The rest of the identifier that WAVE_FORMAT_EXTENSIBLE gives all plain codings.
            head.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
        }
        head.extend(chunk(b"LIST", &[b"INFO", chunk(b"ISFT", MAKER).as_slice()].concat()));
        head.extend(b"data\0\0\0\0");
        self.data_at = head.len() as u64;
        self.file.write_all(&head)
    }

    /// All sizes are known now.
    fn sizes(&mut self) -> io::Result<()> {
        let whole = self.file.stream_position()? - 8;
        let file = self.file.get_mut();
        let mut put = |place: u64, bytes: &[u8]| {
            file.seek(SeekFrom::Start(place))?;
            file.write_all(bytes)
        };
        if whole < FULL {
            put(4, &(whole as u32).to_le_bytes())?;
            return put(self.data_at - 4, &(self.written as u32).to_le_bytes());
        }
        let frames = self.written / u64::from(self.shape.frame_bytes().max(1));
        let mut long = b"ds64".to_vec();
        long.extend(JUNK.to_le_bytes());
        long.extend([whole, self.written, frames].iter().flat_map(|size| size.to_le_bytes()));
        put(0, b"RF64\xff\xff\xff\xff")?;
        put(12, &long)?;
        put(self.data_at - 4, &u32::MAX.to_le_bytes())
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

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend((body.len() as u32).to_le_bytes());
    bytes.extend(body);
    bytes.extend(vec![0; body.len() % 2]);
    bytes
}

/// Identifier, order, chunk, its start, block start, frame of each.
fn cue_chunk(marks: &[&Mark]) -> Vec<u8> {
    let mut body = (marks.len() as u32).to_le_bytes().to_vec();
    for (mark, id) in marks.iter().zip(1u32..) {
        body.extend(id.to_le_bytes());
        body.extend((mark.at as u32).to_le_bytes());
        body.extend(b"data");
        body.extend([0; 8]);
        body.extend((mark.at as u32).to_le_bytes());
    }
    chunk(b"cue ", &body)
}

fn list_chunk(marks: &[&Mark]) -> Vec<u8> {
    let mut body = b"adtl".to_vec();
    for (mark, id) in marks.iter().zip(1u32..) {
        let mut label = id.to_le_bytes().to_vec();
        label.extend(mark.text.bytes().filter(|byte| *byte != 0));
        label.push(0);
        body.extend(chunk(b"labl", &label));
        if mark.length > 0 {
            let mut span = id.to_le_bytes().to_vec();
            span.extend((mark.length.min(FULL) as u32).to_le_bytes());
            span.extend(b"rgn ");
            span.extend([0; 8]);
            body.extend(chunk(b"ltxt", &span));
        }
    }
    chunk(b"LIST", &body)
}

#[cfg(test)]
mod tests {
    use super::*;

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
