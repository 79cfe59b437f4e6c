//! Streams the samples of a WAV, RF64 or BW64 file into planes.
//!
//! Plain buffered reads, so that a file that is cut while it is read ends early instead of bringing the program
//! down. One buffer, allocated when the file is opened; memory does not grow with the length.

use super::error::FileError;
use super::error::FileWarning;
use super::pcm;
use super::pcm::Encoding;
use crate::block::BlockBuf;
use crate::units::FrameCount;
use std::io::ErrorKind;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;

/// Large enough that a system call costs nothing beside it, small enough to stay in the cache.
const BUFFER: usize = 128 << 10;

pub struct WavReader<R> {
    stream: R,
    encoding: Encoding,
    frame_bytes: usize,
    buffer: Vec<u8>,
    done: u64,
    frames: u64,
}

impl<R: Read + Seek> WavReader<R> {
    /// `frames` whole frames lie from the byte `start` on.
    pub fn new(mut stream: R, encoding: Encoding, channels: usize, start: u64, frames: u64) -> Result<Self, FileError> {
        stream.seek(SeekFrom::Start(start))?;
        let frame_bytes = encoding.bytes() * channels;
        let buffer = vec![0; BUFFER / frame_bytes * frame_bytes];
        Ok(Self { stream, encoding, frame_bytes, buffer, done: 0, frames })
    }

    /// Passes over frames without reading them; at most to the end.
    pub fn skip(&mut self, frames: u64) -> Result<(), FileError> {
        let frames = frames.min(self.frames - self.done);
        let bytes = i64::try_from(frames.saturating_mul(self.frame_bytes as u64)).unwrap_or(i64::MAX);
        self.stream.seek(SeekFrom::Current(bytes))?;
        self.done += frames;
        Ok(())
    }

    /// Fills `block` up to its capacity; it stays empty at the end.
    pub fn read(&mut self, block: &mut BlockBuf, warnings: &mut Vec<FileWarning>) -> Result<(), FileError> {
        block.restart(FrameCount::new(self.done), FrameCount::ZERO);
        while block.frames() < block.capacity() && self.done < self.frames {
            let room = (block.capacity() - block.frames()) * self.frame_bytes;
            let left = (self.frames - self.done).saturating_mul(self.frame_bytes as u64);
            let wanted = room.min(self.buffer.len()).min(usize::try_from(left).unwrap_or(usize::MAX));
            let got = fill(&mut self.stream, &mut self.buffer[..wanted])?;
            let frames = got / self.frame_bytes;
            pcm::deinterleave(self.encoding, &self.buffer[..frames * self.frame_bytes], block.planes_mut());
            self.done += frames as u64;
            if got < wanted {
                warnings.push(FileWarning::CutWhileRead { promised: self.frames, held: self.done });
                self.frames = self.done;
            }
        }
        Ok(())
    }
}

/// Reads until `buffer` is full or the stream ends.
fn fill(stream: &mut impl Read, buffer: &mut [u8]) -> Result<usize, FileError> {
    let mut got = 0;
    while got < buffer.len() {
        match stream.read(&mut buffer[got..]) {
            Ok(0) => break,
            Ok(count) => got += count,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(got)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn blocks_of_any_size_give_the_same_samples() {
        let bytes: Vec<u8> = (0..1_000_i16).flat_map(i16::to_le_bytes).collect();
        for capacity in [1, 7, 333, 2_000] {
            let mut reader = WavReader::new(Cursor::new(bytes.clone()), Encoding::S16, 2, 0, 500).unwrap();
            let (mut block, mut heard, mut warnings) = (BlockBuf::new(2, capacity), Vec::new(), Vec::new());
            loop {
                reader.read(&mut block, &mut warnings).unwrap();
                if block.is_empty() {
                    break;
                }
                assert_eq!(block.as_block().start().get(), heard.len() as u64);
                heard.extend_from_slice(block.as_block().channel(1));
            }
            assert_eq!(heard.len(), 500);
            assert!(heard.iter().enumerate().all(|(i, &x)| x == (2 * i + 1) as f32 / 32_768.0));
            assert!(warnings.is_empty());
        }
    }

    #[test]
    fn frames_that_were_passed_over_are_counted_and_not_read() {
        let bytes: Vec<u8> = (0..100_i16).flat_map(i16::to_le_bytes).collect();
        let mut reader = WavReader::new(Cursor::new(bytes), Encoding::S16, 1, 0, 100).unwrap();
        let (mut block, mut warnings) = (BlockBuf::new(1, 10), Vec::new());
        reader.skip(42).unwrap();
        reader.read(&mut block, &mut warnings).unwrap();
        assert_eq!((block.as_block().start().get(), block.as_block().channel(0)[0]), (42, 42.0 / 32_768.0));
        reader.skip(u64::MAX).unwrap();
        reader.read(&mut block, &mut warnings).unwrap();
        assert!(block.is_empty() && warnings.is_empty());
    }

    #[test]
    fn a_file_cut_while_it_is_read_ends_with_a_warning() {
        let mut reader = WavReader::new(Cursor::new(vec![0; 101]), Encoding::S16, 1, 0, 500).unwrap();
        let (mut block, mut warnings) = (BlockBuf::new(1, 40), Vec::new());
        for expected in [40, 10, 0, 0] {
            reader.read(&mut block, &mut warnings).unwrap();
            assert_eq!(block.frames(), expected);
        }
        assert_eq!(warnings, [FileWarning::CutWhileRead { promised: 500, held: 50 }]);
    }
}
