//! Recordings: one source for everything that recorders, editors and phones save.
//!
//! In: a path, or any seekable stream. Out: blocks of planes, 1.0 = full scale, in memory that does not grow with
//! the length. What a file is, is told by its bytes, not by its name. WAV, RF64 and BW64 are read here (`riff`,
//! `wav`, `pcm`); everything else by the decoder library (`decoded`). NaN and ±∞ of a floating-point file pass
//! through, for the meters to count.
//!
//! A file that can be read in part gives that part and a warning; an error says what to do about it.

mod decoded;
mod edits;
mod error;
mod guard;
mod info;
mod names;
mod pcm;
mod riff;
mod sniff;
mod stored;
mod wav;

pub use error::FileError;
pub use error::FileWarning;
pub use info::FileInfo;
pub use stored::{Stored, maker_of};

use super::Flow;
use super::Source;
use crate::block::BlockBuf;
use crate::block::Format;
use crate::units::SampleRate;
use decoded::DecodedReader;
use pcm::Encoding;
use riff::Coding;
use riff::Wave;
use std::fs::File;
use std::io::Read;
use std::io::Seek;
use std::path::Path;
use wav::WavReader;

/// What a recording is read from.
pub trait Stream: Read + Seek + Send + Sync {}
impl<S: Read + Seek + Send + Sync> Stream for S {}

/// A recording, read from its beginning to its end.
pub struct FileSource {
    reader: Reader,
    info: FileInfo,
    warnings: Vec<FileWarning>,
}

enum Reader {
    Wav(WavReader<Box<dyn Stream>>),
    Decoded(Box<DecodedReader>),
}

impl FileSource {
    pub fn open(path: &Path) -> Result<Self, FileError> {
        let about = std::fs::metadata(path)?;
        if about.is_dir() {
            return Err(FileError::Folder);
        }
        if !about.is_file() {
            return Err(FileError::NotAFile);
        }
        Self::from_stream(Box::new(File::open(path)?))
    }

    /// From anything that can be read and wound back.
    pub fn from_stream(mut stream: Box<dyn Stream>) -> Result<Self, FileError> {
        let mut head = Vec::with_capacity(sniff::LOOK);
        stream.rewind()?;
        stream.by_ref().take(sniff::LOOK as u64).read_to_end(&mut head)?;
        match sniff::sniff(&head)? {
            sniff::Reader::Wave => Self::wave(stream),
            sniff::Reader::Decoder => Self::decoded(stream),
        }
    }

    pub fn info(&self) -> &FileInfo {
        &self.info
    }

    /// What was odd so far; it may grow while the file is read.
    pub fn warnings(&self) -> &[FileWarning] {
        &self.warnings
    }

    /// Passes over frames, where that is quicker than reading them; how many were passed is told by the next block.
    pub fn skip(&mut self, frames: u64) -> Result<(), FileError> {
        match &mut self.reader {
            Reader::Wav(wav) => wav.skip(frames),
            Reader::Decoded(_) => Ok(()),
        }
    }

    fn wave(mut stream: Box<dyn Stream>) -> Result<Self, FileError> {
        let wave = riff::read_header(&mut stream)?;
        let encoding = match wave.coding {
            Coding::Plain(encoding) => encoding,
            // The two that the library decodes: cheap recorders write them.
            Coding::Other(0x0002 | 0x0011) => return Self::decoded(stream),
            Coding::Other(tag) => return Err(FileError::Codec { codec: riff::codec_name(tag) }),
        };
        let reader = WavReader::new(stream, encoding, wave.channels, wave.data_start, wave.frames)?;
        let info = wave_info(&wave, encoding)?;
        Ok(Self { reader: Reader::Wav(reader), info, warnings: wave.warnings })
    }

    fn decoded(stream: Box<dyn Stream>) -> Result<Self, FileError> {
        let mut warnings = Vec::new();
        let (reader, info) = DecodedReader::open(stream, &mut warnings)?;
        Ok(Self { reader: Reader::Decoded(Box::new(reader)), info, warnings })
    }
}

impl Source for FileSource {
    type Error = FileError;

    fn format(&self) -> Format {
        self.info.format
    }

    /// `End` comes with an empty block, after the last frame.
    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, FileError> {
        debug_assert_eq!(block.channels(), self.info.format.channels);
        match &mut self.reader {
            Reader::Wav(wav) => wav.read(block, &mut self.warnings)?,
            Reader::Decoded(decoded) => decoded.read(block, &mut self.warnings)?,
        }
        Ok(if block.is_empty() { Flow::End } else { Flow::More })
    }
}

fn wave_info(wave: &Wave, encoding: Encoding) -> Result<FileInfo, FileError> {
    let rate = SampleRate::new(wave.rate).ok_or(FileError::Rate { hz: wave.rate })?;
    let (coding, bit_depth) = match encoding {
        Encoding::U8 | Encoding::S16 | Encoding::S24 | Encoding::S32 => {
            (format!("{}-bit", wave.valid_bits), Some(wave.valid_bits))
        }
        Encoding::F32 => ("32-bit float".into(), None),
        Encoding::F64 => ("64-bit float".into(), None),
        Encoding::ALaw => ("A-law".into(), None),
        Encoding::MuLaw => ("µ-law".into(), None),
    };
    Ok(FileInfo {
        kind: format!("{} {coding}", wave.family),
        format: Format { rate, channels: wave.channels },
        frames: Some(wave.frames),
        bit_depth,
        channel_mask: wave.channel_mask,
        stamp: wave.stamp,
        lossy: matches!(encoding, Encoding::ALaw | Encoding::MuLaw),
    })
}
