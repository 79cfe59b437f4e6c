//! The chunks of a WAV file: RIFF, and RF64/BW64 beyond 4 GB.
//!
//! In: any seekable stream. Out: how a sample is stored, where the sound lies, how much of it there really is.
//! Sources: Multimedia Programming Interface and Data Specifications 1.0 (RIFF WAVE); WAVE_FORMAT_EXTENSIBLE as
//! published with it; EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64).
//!
//! The file's real size outranks the header. Sizes of 0 or 0xFFFFFFFF are those of a recorder that was
//! unplugged; a size that ends in the middle of sound (a header finalised every few seconds, or a length that ran
//! over 4 GB) is told from one that is followed by further chunks by walking on from there.

use super::error::FileError;
use super::error::FileWarning;
use super::pcm::Encoding;
use crate::units::SampleRate;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;

/// What the header and the file's size tell together.
#[derive(Clone, Debug, PartialEq)]
pub struct Wave {
    pub coding: Coding,
    pub rate: u32,
    pub channels: usize,
    /// Bits that carry sound; fewer than the container holds in 20-in-24 or 24-in-32.
    pub valid_bits: u32,
    pub channel_mask: Option<u32>,
    /// Where the first frame stands, in bytes.
    pub data_start: u64,
    /// Whole frames that the file holds; 0 for a coding that is not read here.
    pub frames: u64,
    /// "WAV", "RF64" or "BW64".
    pub family: &'static str,
    /// The time stamp of its first frame (`bext`, EBU Tech 3285), in frames since midnight.
    pub stamp: Option<u64>,
    /// The program that made it (`LIST INFO`, `ISFT`), where that stands before the sound.
    pub maker: Option<String>,
    pub warnings: Vec<FileWarning>,
}

/// Stored as plain samples, or by a codec with this format tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    Plain(Encoding),
    Other(u16),
}

/// More chunks than any recorder writes; a file of nothing but empty chunks ends here.
const MOST_CHUNKS: usize = 4_096;
/// Unknown bytes behind the sound up to this many are leavings of a tagger or a card's last sector; more is sound.
const LEAVINGS: u64 = 16 << 10;
const UNKNOWN_SIZE: u64 = u32::MAX as u64;
/// Where the time stamp stands in a `bext` chunk: behind description, originator, its reference, date and time.
const STAMP_AT: u64 = 256 + 32 + 32 + 10 + 8;

/// Reads the header of a stream that begins with RIFF, RF64 or BW64.
pub fn read_header<R: Read + Seek + ?Sized>(stream: &mut R) -> Result<Wave, FileError> {
    let file_len = stream.seek(SeekFrom::End(0))?;
    let mut walk = Walk { stream, file_len, sizes: Vec::new() };
    let head: [u8; 12] = walk.bytes_at(0)?.ok_or_else(|| damaged("it ends within the first 12 bytes"))?;
    let family = match &head[..4] {
        b"RIFF" => "WAV",
        b"RF64" => "RF64",
        b"BW64" => "BW64",
        b"RIFX" => return Err(FileError::Codec { codec: "big-endian samples (RIFX)".into() }),
        _ => return Err(FileError::Unknown),
    };
    match &head[8..] {
        b"WAVE" => {}
        kind => {
            let what = if kind == b"AVI " { "an AVI video" } else { "a RIFF file of another kind than WAV" };
            return Err(FileError::Foreign { what, mend: "Save its sound as WAV" });
        }
    }

    let mut fmt = None;
    let mut data = None;
    let (mut stamp, mut maker) = (None, None);
    let mut next = 12;
    for _ in 0..MOST_CHUNKS {
        if fmt.is_some() && data.is_some() {
            break;
        }
        let Some(chunk) = walk.chunk_at(next)? else { break };
        if !is_name(chunk.id) {
            break;
        }
        match &chunk.id {
            b"ds64" => walk.read_ds64(&chunk)?,
            b"fmt " if fmt.is_none() => fmt = Some(Fmt::read(&mut walk, &chunk)?),
            b"data" if data.is_none() => data = Some(chunk),
            b"bext" if chunk.len >= STAMP_AT + 8 => {
                stamp = walk.bytes_at::<8>(chunk.start + STAMP_AT)?.map(|n| le64(&n))
            }
            b"LIST" if maker.is_none() => maker = walk.maker(&chunk)?,
            _ => {}
        }
        next = chunk.padded_end();
    }
    let fmt = match (fmt, data) {
        (Some(fmt), Some(_)) => fmt,
        (Some(_), None) => return Err(FileError::NoSound),
        (None, _) => return Err(damaged("no fmt chunk says how the sound is stored")),
    };
    let Some(data) = data else { return Err(FileError::NoSound) };
    fmt.check()?;
    let mut warnings = Vec::new();
    let (coding, frame_bytes) = fmt.coding(&mut warnings)?;
    let frames = match coding {
        Coding::Plain(_) => frames_held(&mut walk, &data, frame_bytes, &mut warnings)?,
        Coding::Other(_) => 0,
    };
    Ok(Wave {
        coding,
        rate: fmt.rate,
        channels: fmt.channels,
        valid_bits: fmt.valid_bits,
        channel_mask: fmt.channel_mask,
        data_start: data.start,
        frames,
        family,
        stamp: stamp.filter(|&stamp| stamp > 0),
        maker,
        warnings,
    })
}

/// The name of a codec by its format tag, as registered in RFC 2361.
pub fn codec_name(tag: u16) -> String {
    let name = match tag {
        0x0002 => "MS ADPCM",
        0x0011 => "IMA ADPCM",
        0x0031 => "GSM 6.10",
        0x0050 => "MPEG layer 1 or 2",
        0x0055 => "MP3 inside WAV",
        0x00ff | 0x1600..=0x1610 => "AAC inside WAV",
        0x0161..=0x0163 => "Windows Media Audio",
        0x2000 => "AC-3",
        0x704f => "Opus inside WAV",
        _ => return format!("format 0x{tag:04X}"),
    };
    name.into()
}

#[derive(Clone, Copy, Debug)]
struct Chunk {
    id: [u8; 4],
    /// First byte behind its head.
    start: u64,
    len: u64,
}

impl Chunk {
    fn end(&self) -> u64 {
        self.start.saturating_add(self.len)
    }

    /// Chunks begin at even places.
    fn padded_end(&self) -> u64 {
        self.end().saturating_add(self.len & 1)
    }
}

struct Walk<'a, R: ?Sized> {
    stream: &'a mut R,
    file_len: u64,
    /// What `ds64` says of chunks whose own size field is full.
    sizes: Vec<([u8; 4], u64)>,
}

impl<R: Read + Seek + ?Sized> Walk<'_, R> {
    /// `None` where the file ends before that.
    fn bytes_at<const N: usize>(&mut self, place: u64) -> Result<Option<[u8; N]>, FileError> {
        let mut bytes = [0; N];
        self.stream.seek(SeekFrom::Start(place))?;
        match self.stream.read_exact(&mut bytes) {
            Ok(()) => Ok(Some(bytes)),
            Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    fn chunk_at(&mut self, place: u64) -> Result<Option<Chunk>, FileError> {
        if place.saturating_add(8) > self.file_len {
            return Ok(None);
        }
        let Some(head) = self.bytes_at::<8>(place)? else { return Ok(None) };
        let id = [head[0], head[1], head[2], head[3]];
        let mut len = u64::from(le32(&head[4..]));
        if len == UNKNOWN_SIZE {
            len = self.sizes.iter().find(|(known, _)| *known == id).map_or(len, |&(_, size)| size);
        }
        Ok(Some(Chunk { id, start: place + 8, len }))
    }

    /// riffSize, dataSize, sampleCount, then a table of other long chunks.
    fn read_ds64(&mut self, chunk: &Chunk) -> Result<(), FileError> {
        const MOST_ENTRIES: u64 = 64;
        let Some(head) = self.bytes_at::<16>(chunk.start)? else { return Ok(()) };
        self.sizes.push((*b"data", le64(&head[8..])));
        let entries = self.bytes_at::<4>(chunk.start + 24)?.map_or(0, |n| u64::from(le32(&n)));
        let room = chunk.len.saturating_sub(28) / 12;
        for entry in 0..entries.min(room).min(MOST_ENTRIES) {
            let Some(row) = self.bytes_at::<12>(chunk.start + 28 + 12 * entry)? else { break };
            self.sizes.push(([row[0], row[1], row[2], row[3]], le64(&row[4..])));
        }
        Ok(())
    }

    /// The `ISFT` of a list of kind `INFO`.
    fn maker(&mut self, list: &Chunk) -> Result<Option<String>, FileError> {
        const LONGEST: usize = 64;
        if self.bytes_at::<4>(list.start)? != Some(*b"INFO") {
            return Ok(None);
        }
        let mut next = list.start + 4;
        for _ in 0..MOST_CHUNKS {
            let Some(entry) = self.chunk_at(next)?.filter(|entry| entry.end() <= list.end()) else { break };
            if entry.id == *b"ISFT" {
                let mut name = vec![0; LONGEST.min(entry.len as usize)];
                self.stream.seek(SeekFrom::Start(entry.start))?;
                let got = self.stream.read(&mut name)?;
                let name = name[..got].split(|&byte| byte == 0).next().unwrap_or_default();
                return Ok(Some(String::from_utf8_lossy(name).into_owned()));
            }
            next = entry.padded_end();
        }
        Ok(None)
    }

    /// Whether the file from `place` to its end is a row of whole chunks (one pad byte may lack).
    fn only_chunks_from(&mut self, place: u64) -> Result<bool, FileError> {
        let mut next = place;
        for _ in 0..MOST_CHUNKS {
            if next >= self.file_len {
                return Ok(next <= self.file_len + 1);
            }
            match self.chunk_at(next)? {
                Some(chunk) if is_name(chunk.id) && chunk.end() <= self.file_len => next = chunk.padded_end(),
                _ => return Ok(false),
            }
        }
        Ok(false)
    }

    /// Some writers forget the pad byte behind an odd length.
    fn chunks_follow(&mut self, data: &Chunk) -> Result<bool, FileError> {
        Ok(self.only_chunks_from(data.padded_end())?
            || (data.len & 1 == 1 && self.only_chunks_from(data.end())?)
            || self.chunk_at(data.padded_end())?.is_some_and(|chunk| is_common(chunk.id)))
    }
}

/// Whole frames between the start of the sound and its real end.
fn frames_held<R: Read + Seek + ?Sized>(
    walk: &mut Walk<'_, R>,
    data: &Chunk,
    frame_bytes: u64,
    warnings: &mut Vec<FileWarning>,
) -> Result<u64, FileError> {
    let there = walk.file_len.saturating_sub(data.start);
    let all = there / frame_bytes;
    if there == 0 {
        return Err(FileError::NoSound);
    }
    if data.len == UNKNOWN_SIZE || (data.len == 0 && !walk.chunks_follow(data)?) {
        if all == 0 {
            return Err(FileError::NoSound);
        }
        warnings.push(FileWarning::Unfinished { frames: all });
        return Ok(all);
    }
    let stated = data.len / frame_bytes;
    if data.len > there {
        if all == 0 {
            return Err(FileError::NoSound);
        }
        warnings.push(FileWarning::Truncated { promised: stated, held: all });
        return Ok(all);
    }
    let behind = walk.file_len.saturating_sub(data.padded_end());
    if behind > 0 && !walk.chunks_follow(data)? {
        if behind > LEAVINGS && all > stated {
            warnings.push(FileWarning::LongerThanStated { stated, held: all });
            return Ok(all);
        }
        warnings.push(FileWarning::TrailingBytes { bytes: behind });
    }
    if !data.len.is_multiple_of(frame_bytes) {
        warnings.push(FileWarning::OddBytes { bytes: data.len % frame_bytes });
    }
    if stated == 0 { Err(FileError::NoSound) } else { Ok(stated) }
}

#[derive(Clone, Copy, Debug)]
struct Fmt {
    tag: u16,
    channels: usize,
    rate: u32,
    frame_bytes: u16,
    bits: u16,
    valid_bits: u32,
    channel_mask: Option<u32>,
}

impl Fmt {
    fn read<R: Read + Seek + ?Sized>(walk: &mut Walk<'_, R>, chunk: &Chunk) -> Result<Self, FileError> {
        let head = if chunk.len < 16 { None } else { walk.bytes_at::<16>(chunk.start)? };
        let head = head.ok_or_else(|| damaged("its fmt chunk is too short"))?;
        let bits = le16(&head[14..]);
        let mut fmt = Self {
            tag: le16(&head),
            channels: usize::from(le16(&head[2..])),
            rate: le32(&head[4..]),
            frame_bytes: le16(&head[12..]),
            bits,
            valid_bits: u32::from(bits),
            channel_mask: None,
        };
        if fmt.tag == 0xfffe {
            let more = if chunk.len < 40 { None } else { walk.bytes_at::<24>(chunk.start + 16)? };
            let more = more.ok_or_else(|| damaged("its extended fmt chunk is too short"))?;
            let valid = u32::from(le16(&more[2..]));
            if (1..=u32::from(bits)).contains(&valid) {
                fmt.valid_bits = valid;
            }
            let mask = le32(&more[4..]);
            fmt.channel_mask = (mask != 0).then_some(mask);
            // The first two bytes of the sub-format's identifier are the plain format tag.
            fmt.tag = le16(&more[8..]);
        }
        Ok(fmt)
    }

    fn check(&self) -> Result<(), FileError> {
        if !(1..=64).contains(&self.channels) {
            return Err(FileError::Channels { channels: self.channels });
        }
        if SampleRate::new(self.rate).is_none() {
            return Err(FileError::Rate { hz: self.rate });
        }
        Ok(())
    }

    /// How a sample is stored and the bytes of a frame.
    fn coding(&self, warnings: &mut Vec<FileWarning>) -> Result<(Coding, u64), FileError> {
        let container = self.container();
        let encoding = match (self.tag, container) {
            (1, 1) => Encoding::U8,
            (1, 2) => Encoding::S16,
            (1, 3) => Encoding::S24,
            (1, 4) => Encoding::S32,
            (3, 4) => Encoding::F32,
            (3, 8) => Encoding::F64,
            (6, 1) => Encoding::ALaw,
            (7, 1) => Encoding::MuLaw,
            (1, _) => return Err(FileError::Codec { codec: format!("{}-bit integers", self.bits) }),
            (3, _) => return Err(FileError::Codec { codec: format!("{}-bit floating point", self.bits) }),
            (6 | 7, _) => return Err(damaged("telephone code that is not 8 bits wide")),
            (tag, _) => return Ok((Coding::Other(tag), 1)),
        };
        let used = encoding.bytes() * self.channels;
        if usize::from(self.frame_bytes) != used {
            warnings.push(FileWarning::FrameSize { stated: u32::from(self.frame_bytes), used: used as u32 });
        }
        Ok((Coding::Plain(encoding), used as u64))
    }

    /// Bytes a sample takes: the frame size where it fits channels and bits, else the bits alone.
    fn container(&self) -> usize {
        let frame = usize::from(self.frame_bytes);
        let by_bits = usize::from(self.bits).div_ceil(8);
        let by_frame = frame / self.channels.max(1);
        let fits = frame == by_frame * self.channels && by_frame >= by_bits && (1..=8).contains(&by_frame);
        if fits { by_frame } else { by_bits }
    }
}

fn is_name(id: [u8; 4]) -> bool {
    id.iter().all(|byte| (0x20..0x7f).contains(byte)) && id.iter().any(u8::is_ascii_alphanumeric)
}

/// Chunks that recorders and editors put behind the sound; known even when they are cut.
fn is_common(id: [u8; 4]) -> bool {
    const NAMES: [&[u8; 4]; 22] = [
        b"LIST", b"JUNK", b"junk", b"bext", b"iXML", b"id3 ", b"ID3 ", b"PAD ", b"cue ", b"smpl", b"inst", b"fact",
        b"_PMX", b"axml", b"chna", b"PEAK", b"FLLR", b"levl", b"plst", b"cart", b"acid", b"fmt ",
    ];
    NAMES.contains(&&id)
}

fn damaged(what: &str) -> FileError {
    FileError::Header { what: what.into() }
}

fn le16(bytes: &[u8]) -> u16 {
    u16::from(bytes[0]) | u16::from(bytes[1]) << 8
}

fn le32(bytes: &[u8]) -> u32 {
    u32::from(le16(bytes)) | u32::from(le16(&bytes[2..])) << 16
}

fn le64(bytes: &[u8]) -> u64 {
    u64::from(le32(bytes)) | u64::from(le32(&bytes[4..])) << 32
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = id.to_vec();
        bytes.extend((body.len() as u32).to_le_bytes());
        bytes.extend(body);
        if body.len() % 2 == 1 {
            bytes.push(0);
        }
        bytes
    }

    fn fmt(tag: u16, channels: u16, rate: u32, frame_bytes: u16, bits: u16) -> Vec<u8> {
        let mut body = Vec::new();
        body.extend(tag.to_le_bytes());
        body.extend(channels.to_le_bytes());
        body.extend(rate.to_le_bytes());
        body.extend((rate * u32::from(frame_bytes)).to_le_bytes());
        body.extend(frame_bytes.to_le_bytes());
        body.extend(bits.to_le_bytes());
        chunk(b"fmt ", &body)
    }

    fn riff(parts: &[Vec<u8>]) -> Vec<u8> {
        let body: Vec<u8> = parts.concat();
        let mut bytes = b"RIFF".to_vec();
        bytes.extend((body.len() as u32 + 4).to_le_bytes());
        bytes.extend(b"WAVE");
        bytes.extend(body);
        bytes
    }

    fn header(bytes: Vec<u8>) -> Result<Wave, FileError> {
        read_header(&mut Cursor::new(bytes))
    }

    #[test]
    fn chunks_around_the_sound_are_stepped_over() {
        let bytes = riff(&[
            chunk(b"JUNK", &[0; 27]),
            chunk(b"bext", &[1; 602]),
            fmt(1, 2, 48_000, 4, 16),
            chunk(b"data", &[0; 40]),
            chunk(b"LIST", b"INFOISFT"),
        ]);
        let wave = header(bytes).unwrap();
        assert_eq!((wave.frames, wave.channels, wave.warnings.len()), (10, 2, 0));
        assert_eq!(wave.coding, Coding::Plain(Encoding::S16));
    }

    #[test]
    fn what_made_it_stands_in_a_list() {
        let info = |entries: &[Vec<u8>]| chunk(b"LIST", &[b"INFO".to_vec(), entries.concat()].concat());
        let with =
            |list: Vec<u8>| header(riff(&[fmt(1, 1, 48_000, 2, 16), list, chunk(b"data", &[0; 40])])).unwrap().maker;
        let title = chunk(b"INAM", b"take");
        assert_eq!(with(info(&[title.clone(), chunk(b"ISFT", b"maker\0")])).as_deref(), Some("maker"));
        assert_eq!(with(info(&[title])), None);
        assert_eq!(with(chunk(b"LIST", b"adtlISFT\x04\0\0\0make")), None);
        // An entry that runs out of its list.
        assert_eq!(with(chunk(b"LIST", b"INFOISFT\xff\xff\0\0make")), None);
    }

    #[test]
    fn sound_may_stand_before_the_format() {
        let bytes = riff(&[chunk(b"data", &[0; 41]), fmt(1, 1, 48_000, 1, 8)]);
        let wave = header(bytes).unwrap();
        assert_eq!((wave.frames, wave.data_start, wave.warnings.len()), (41, 20, 0));
    }

    #[test]
    fn the_file_outranks_the_header() {
        let whole = riff(&[fmt(1, 1, 48_000, 2, 16), chunk(b"data", &[7; 60_000])]);
        let with_size = |size: u32| {
            let mut bytes = whole.clone();
            bytes[40..44].copy_from_slice(&size.to_le_bytes());
            header(bytes).unwrap()
        };
        for size in [0, u32::MAX] {
            let wave = with_size(size);
            assert_eq!((wave.frames, &wave.warnings[..]), (30_000, &[FileWarning::Unfinished { frames: 30_000 }][..]));
        }
        let wave = with_size(80_000);
        assert_eq!(wave.warnings, [FileWarning::Truncated { promised: 40_000, held: 30_000 }]);
        let wave = with_size(20_000);
        assert_eq!(wave.warnings, [FileWarning::LongerThanStated { stated: 10_000, held: 30_000 }]);
        let wave = with_size(59_900);
        assert_eq!((wave.frames, &wave.warnings[..]), (29_950, &[FileWarning::TrailingBytes { bytes: 100 }][..]));
    }

    #[test]
    fn an_empty_recording_is_not_an_unfinished_one() {
        let bytes = riff(&[fmt(1, 1, 48_000, 2, 16), chunk(b"data", &[]), chunk(b"LIST", b"INFOISFT")]);
        assert!(matches!(header(bytes), Err(FileError::NoSound)));
        let bytes = riff(&[fmt(1, 1, 48_000, 2, 16), chunk(b"data", &[])]);
        assert!(matches!(header(bytes), Err(FileError::NoSound)));
    }

    #[test]
    fn impossible_formats_are_named() {
        let with = |fmt: Vec<u8>| header(riff(&[fmt, chunk(b"data", &[0; 4096])]));
        assert!(matches!(with(fmt(1, 0, 48_000, 2, 16)), Err(FileError::Channels { channels: 0 })));
        assert!(matches!(with(fmt(1, 65, 48_000, 130, 16)), Err(FileError::Channels { channels: 65 })));
        assert!(matches!(with(fmt(1, 1, 0, 2, 16)), Err(FileError::Rate { hz: 0 })));
        assert!(matches!(with(fmt(1, 1, 4_000, 2, 16)), Err(FileError::Rate { hz: 4_000 })));
        assert!(matches!(with(fmt(3, 1, 48_000, 2, 16)), Err(FileError::Codec { .. })));
        assert_eq!(with(fmt(0x31, 1, 8_000, 65, 0)).unwrap().coding, Coding::Other(0x31));
    }

    #[test]
    fn a_wrong_frame_size_is_worked_out_anew() {
        let wave = header(riff(&[fmt(1, 2, 48_000, 0, 16), chunk(b"data", &[0; 40])])).unwrap();
        assert_eq!((wave.frames, &wave.warnings[..]), (10, &[FileWarning::FrameSize { stated: 0, used: 4 }][..]));
        let wave = header(riff(&[fmt(1, 2, 48_000, 8, 24), chunk(b"data", &[0; 40])])).unwrap();
        assert_eq!((wave.frames, wave.coding), (5, Coding::Plain(Encoding::S32)));
    }
}
