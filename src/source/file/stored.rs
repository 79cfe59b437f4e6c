//! The sound of a WAV file as its bytes are stored, for a copy that changes nothing of it.
//!
//! In: a path. Out: how a sample is stored, and the bytes of whole frames. Other containers, and codings that are not read
//! here, have none: `None`. What the header gets wrong is put right as it is for reading (`riff`).

use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Take};
use std::path::Path;

use super::error::FileError;
use super::pcm::Encoding;
use super::riff::{self, Coding};
use super::sniff;

/// The stored sound of one file.
pub struct Stored {
    /// The format tag: 1 integers, 3 floating point, 6 and 7 the telephone codes.
    pub tag: u16,
    /// Of a sample as it is stored.
    pub bits: u16,
    /// Those that carry sound.
    pub valid_bits: u16,
    pub channels: u16,
    pub rate: u32,
    pub channel_mask: Option<u32>,
    pub frames: u64,
    bytes: Take<File>,
}

/// The program that made a WAV file, where it says so before its sound; `None` of any other file.
pub fn maker_of(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let mut head = Vec::with_capacity(sniff::LOOK);
    file.by_ref().take(sniff::LOOK as u64).read_to_end(&mut head).ok()?;
    match sniff::sniff(&head) {
        Ok(sniff::Reader::Wave) => riff::read_header(&mut file).ok()?.maker,
        _ => None,
    }
}

impl Stored {
    pub fn open(path: &Path) -> Result<Option<Self>, FileError> {
        let mut file = File::open(path)?;
        let mut head = Vec::with_capacity(sniff::LOOK);
        file.by_ref().take(sniff::LOOK as u64).read_to_end(&mut head)?;
        if !matches!(sniff::sniff(&head)?, sniff::Reader::Wave) {
            return Ok(None);
        }
        let wave = riff::read_header(&mut file)?;
        let Coding::Plain(encoding) = wave.coding else { return Ok(None) };
        file.seek(SeekFrom::Start(wave.data_start))?;
        let bits = 8 * encoding.bytes() as u16;
        let tag = match encoding {
            Encoding::U8 | Encoding::S16 | Encoding::S24 | Encoding::S32 => 1,
            Encoding::F32 | Encoding::F64 => 3,
            Encoding::ALaw => 6,
            Encoding::MuLaw => 7,
        };
        let frame_bytes = (encoding.bytes() * wave.channels) as u64;
        Ok(Some(Self {
            tag,
            bits,
            valid_bits: if tag == 1 { wave.valid_bits.min(u32::from(bits)) as u16 } else { bits },
            channels: wave.channels as u16,
            rate: wave.rate,
            channel_mask: wave.channel_mask,
            frames: wave.frames,
            bytes: file.take(wave.frames * frame_bytes),
        }))
    }
}

impl Read for Stored {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.bytes.read(buffer)
    }
}
