//! A WAV file that can be opened at every moment while it grows, and after whatever ends the program.
//!
//! In: bytes of whole frames, and frames of silence. Out: RIFF, RF64 beyond 4 GB (see `wave_form`). Sound is laid down
//! first, then the sizes that count it in. Edge cases: a write that breaks off half-way leaves what was counted before;
//! a disk too full for the marks leaves them out.

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};

use crate::sink::wave_form::{Mark, RECORDED, WaveShape, tail};

/// What a file that grows is written to.
pub trait Stored: Write + Seek + Send + 'static {
    /// Longer by zeros, or shorter.
    fn set_length(&mut self, bytes: u64) -> io::Result<()>;
    /// Lets go on only when it would outlive the machine's power.
    fn settle(&mut self) -> io::Result<()>;
}

impl Stored for File {
    fn set_length(&mut self, bytes: u64) -> io::Result<()> {
        self.set_len(bytes)
    }

    fn settle(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

pub struct GrowingWave<F> {
    file: F,
    shape: WaveShape,
    data_at: u64,
    /// Bytes of sound.
    sound: u64,
    /// Of which the header tells.
    told: u64,
}

impl<F: Stored> GrowingWave<F> {
    pub fn begin(mut file: F, shape: WaveShape) -> io::Result<Self> {
        let head = shape.head(RECORDED);
        file.write_all(&head)?;
        Ok(Self { file, shape, data_at: head.len() as u64, sound: 0, told: 0 })
    }

    pub fn frames(&self) -> u64 {
        self.sound / self.frame_bytes()
    }

    /// Frames that would be lost if the program ended now.
    pub fn untold(&self) -> u64 {
        (self.sound - self.told) / self.frame_bytes()
    }

    pub fn push(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.file.write_all(bytes)?;
        self.sound += bytes.len() as u64;
        Ok(())
    }

    /// A hole where the file system can have holes: no time is lost with writing zeros.
    pub fn silence(&mut self, frames: u64) -> io::Result<()> {
        let sound = self.sound + frames * self.frame_bytes();
        self.file.set_length(self.data_at + sound)?;
        self.sound = sound;
        self.go_to_end()
    }

    /// Counts in what has come since.
    pub fn tell(&mut self) -> io::Result<()> {
        self.shape.put_sizes(&mut self.file, self.data_at, self.sound, self.data_at + self.sound)?;
        self.go_to_end()?;
        self.file.settle()?;
        self.told = self.sound;
        Ok(())
    }

    /// Ends it, with these marks if they fit.
    pub fn finish(&mut self, marks: &[Mark]) -> io::Result<()> {
        let end = self.data_at + self.sound;
        self.file.set_length(end)?;
        self.go_to_end()?;
        let tail = tail(self.sound, marks);
        let written = self.file.write_all(&tail);
        let end = if written.is_ok() { end + tail.len() as u64 } else { end };
        self.file.set_length(end)?;
        self.shape.put_sizes(&mut self.file, self.data_at, self.sound, end)?;
        self.file.settle()?;
        written
    }

    fn go_to_end(&mut self) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(self.data_at + self.sound)).map(drop)
    }

    fn frame_bytes(&self) -> u64 {
        u64::from(self.shape.frame_bytes().max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn le(bytes: &[u8]) -> u64 {
        bytes.iter().rev().fold(0, |number, &byte| number << 8 | u64::from(byte))
    }

    /// From a little under 4 GB, in a file with a hole, over the border while it grows: what `ds64` says is the file's size.
    #[cfg(unix)]
    #[test]
    fn it_grows_over_four_gigabytes() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.wav");
        let shape = WaveShape::integers(2, 48_000, 24, Some(0));
        let mut wave = GrowingWave::begin(File::create_new(&path).unwrap(), shape).unwrap();
        let head = || {
            let mut head = vec![0; 128];
            io::Read::read_exact(&mut File::open(&path).unwrap(), &mut head).unwrap();
            head
        };
        let nearly = ((1u64 << 32) - 1000) / 6;
        wave.silence(nearly).unwrap();
        wave.tell().unwrap();
        assert_eq!((&head()[..4], le(&head()[4..8])), (&b"RIFF"[..], wave.data_at + nearly * 6 - 8));
        wave.push(&[1; 6 * 400]).unwrap();
        assert_eq!(wave.untold(), 400);
        wave.tell().unwrap();
        let (frames, size) = (nearly + 400, path.metadata().unwrap().len());
        let head_now = head();
        assert_eq!((&head_now[..8], &head_now[12..16]), (&b"RF64\xff\xff\xff\xff"[..], &b"ds64"[..]));
        let long: Vec<u64> = head_now[20..44].chunks(8).map(le).collect();
        assert_eq!(long, [size - 8, frames * 6, frames]);
        wave.push(&[2; 6 * 5]).unwrap();
        wave.finish(&[]).unwrap();
        assert_eq!(le(&head()[36..44]), frames + 5);
        let mut last = [0; 6];
        let mut file = File::open(&path).unwrap();
        file.seek(SeekFrom::Start(wave.data_at + (frames + 5) * 6 - 6)).unwrap();
        io::Read::read_exact(&mut file, &mut last).unwrap();
        assert_eq!(last, [2; 6]);
    }
}
