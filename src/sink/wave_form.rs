//! The form of a WAV file that grows: RIFF WAVE, or RF64 beyond 4 GB (EBU Tech 3306: the place for `ds64` is kept by a
//! JUNK chunk of its size); the program's name in `LIST INFO` as `ISFT`, by which its copies are known again; marks as
//! `cue ` and `LIST adtl` with `labl` and `ltxt` (Multimedia Programming Interface and Data Specifications 1.0), their
//! texts in UTF-8.
//!
//! Sizes may be laid down as often as is liked; between any two of the writes the file can be opened. Edge cases: marks
//! behind 2³² frames, which that form can't hold, are left out.

use std::io::{self, Seek, SeekFrom, Write};

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

    pub(super) const fn frame_bytes(&self) -> u16 {
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

const JUNK: u32 = 28;
/// What made it: a copy of a recording, which is no take, or a recording.
pub(super) const COPIED: &str = concat!(env!("CARGO_PKG_NAME"), "\0");
pub(super) const RECORDED: &str = concat!(env!("CARGO_PKG_NAME"), " recording\0");
const FULL: u64 = u32::MAX as u64;

impl WaveShape {
    /// All that stands before the sound, of which there is none yet.
    pub(super) fn head(&self, maker: &str) -> Vec<u8> {
        let mut head = b"RIFF\0\0\0\0WAVEJUNK".to_vec();
        head.extend(JUNK.to_le_bytes());
        head.extend([0; JUNK as usize]);
        head.extend(b"fmt ");
        let extended = self.is_extended();
        head.extend(if extended { 40u32 } else { 16 }.to_le_bytes());
        head.extend(if extended { 0xfffe } else { self.tag }.to_le_bytes());
        head.extend(self.channels.to_le_bytes());
        head.extend(self.rate.to_le_bytes());
        head.extend((self.rate.saturating_mul(u32::from(self.frame_bytes()))).to_le_bytes());
        head.extend(self.frame_bytes().to_le_bytes());
        head.extend(self.bits.to_le_bytes());
        if extended {
            head.extend(22u16.to_le_bytes());
            head.extend(self.valid_bits.to_le_bytes());
            head.extend(self.channel_mask.unwrap_or(0).to_le_bytes());
            head.extend(self.tag.to_le_bytes());
            // The rest of the identifier that WAVE_FORMAT_EXTENSIBLE gives all plain codings.
            head.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
        }
        head.extend(chunk(b"LIST", &[b"INFO", chunk(b"ISFT", maker.as_bytes()).as_slice()].concat()));
        head.extend(b"data\0\0\0\0");
        let whole = head.len() as u32 - 8;
        head[4..8].copy_from_slice(&whole.to_le_bytes());
        head
    }

    /// Lays down the sizes: so many bytes of sound from `data_at` on, in a file that ends at `end`.
    pub(super) fn put_sizes<F: Write + Seek>(
        &self,
        file: &mut F,
        data_at: u64,
        sound: u64,
        end: u64,
    ) -> io::Result<()> {
        let whole = end - 8;
        let mut put = |place: u64, bytes: &[u8]| {
            file.seek(SeekFrom::Start(place))?;
            file.write_all(bytes)
        };
        if whole < FULL {
            put(4, &(whole as u32).to_le_bytes())?;
            return put(data_at - 4, &(sound as u32).to_le_bytes());
        }
        let frames = sound / u64::from(self.frame_bytes().max(1));
        let mut long = b"ds64".to_vec();
        long.extend(JUNK.to_le_bytes());
        long.extend([whole, sound, frames].iter().flat_map(|size| size.to_le_bytes()));
        // The long sizes stand before anything points to them.
        put(12, &long)?;
        put(0, b"RF64\xff\xff\xff\xff")?;
        put(data_at - 4, &u32::MAX.to_le_bytes())
    }
}

/// What stands behind so much sound: the byte that makes it even, and the marks.
pub(super) fn tail(sound: u64, marks: &[Mark]) -> Vec<u8> {
    let mut tail = vec![0; usize::from(!sound.is_multiple_of(2))];
    let marks: Vec<&Mark> = marks.iter().filter(|mark| mark.at < FULL).collect();
    if !marks.is_empty() {
        tail.extend(cue_chunk(&marks));
        tail.extend(list_chunk(&marks));
    }
    tail
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
