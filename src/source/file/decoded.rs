//! Streams what a codec has to decode: FLAC, MP3, AAC, Ogg Vorbis, ALAC, AIFF, CAF, Matroska, coded WAV.
//!
//! In: any seekable stream. Out: planes, packet by packet; one packet is held at a time. The first sound track is
//! read. A packet that can't be decoded becomes a gap as long as the packet, so that time stays right. Run-in and
//! filling that coders add are cut off wherever the container tells: by the library for MP3 and Vorbis, here for
//! packets marked so (CAF) and for edit lists (MP4).

use super::Stream;
use super::edits;
use super::edits::Edit;
use super::error::FileError;
use super::error::FileWarning;
use super::info::FileInfo;
use super::names;
use crate::block::BlockBuf;
use crate::block::Format;
use crate::units::FrameCount;
use crate::units::SampleRate;
use std::io;
use std::io::Read;
use std::io::Seek;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::codecs::audio::CODEC_ID_NULL_AUDIO;
use symphonia::core::codecs::audio::well_known::CODEC_ID_AAC;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::errors::Error;
use symphonia::core::formats::FormatOptions;
use symphonia::core::formats::FormatReader;
use symphonia::core::formats::Track;
use symphonia::core::formats::TrackType;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::well_known::FORMAT_ID_ADTS;
use symphonia::core::formats::well_known::FORMAT_ID_MP3;
use symphonia::core::io::MediaSource;
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::Duration;
use symphonia::core::units::TimeBase;

/// So many packets in a row without a frame mean that nothing more will come.
const MOST_BARREN_PACKETS: u32 = 10_000;

pub struct DecodedReader {
    demuxer: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    clock: Option<TimeBase>,
    /// Rate and channels of the first packet; the others must agree.
    spec: Option<(u32, usize)>,
    /// The last packet's frames; `from..to` of them are still to be given.
    planes: Vec<Vec<f32>>,
    from: usize,
    to: usize,
    /// Frames of run-in still to be dropped.
    skip: u64,
    /// Where the recording ends, if an edit list says so.
    limit: Option<u64>,
    /// The container's own count, where it is more than an estimate.
    promised: Option<u64>,
    /// Frames given so far, lost ones included.
    done: u64,
    /// Frames lost since the last one given.
    gap: u64,
    barren: u32,
    /// What the decoder last said of a packet that it could not read.
    trouble: Option<String>,
    ended: bool,
}

impl DecodedReader {
    pub fn open(mut stream: Box<dyn Stream>, warnings: &mut Vec<FileWarning>) -> Result<(Self, FileInfo), FileError> {
        let edits = edits::read_edits(&mut stream);
        let length = stream.seek(io::SeekFrom::End(0))?;
        stream.rewind()?;
        let seekable = !is_cut_aiff(&mut stream, length)?;
        let source = MediaSourceStream::new(Box::new(Media { stream, length, seekable }), Default::default());
        let demuxer = symphonia::default::get_probe()
            .probe(&Hint::new(), source, FormatOptions::default(), MetadataOptions::default())
            .map_err(cannot_open)?;
        let (track, params) = first_sound(demuxer.as_ref(), warnings)?;
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(&params, &AudioDecoderOptions::default())
            .map_err(|_| FileError::Codec { codec: refused(&params) })?;
        let mut reader = Self {
            demuxer,
            decoder,
            track: track.id,
            clock: track.time_base,
            spec: None,
            planes: Vec::new(),
            from: 0,
            to: 0,
            skip: 0,
            limit: None,
            promised: None,
            done: 0,
            gap: 0,
            barren: 0,
            trouble: None,
            ended: false,
        };
        let format = reader.first_packet(warnings)?;
        let edit = edits.iter().find(|(number, _)| *number == track.id).map(|(_, edit)| edit);
        let info = reader.promise(&track, &params, edit, format);
        Ok((reader, info))
    }

    /// Fills `block` up to its capacity or to the next gap; it stays empty at the end.
    pub fn read(&mut self, block: &mut BlockBuf, warnings: &mut Vec<FileWarning>) -> Result<(), FileError> {
        self.refill(warnings)?;
        block.restart(FrameCount::new(self.done), FrameCount::new(self.gap));
        self.gap = 0;
        while self.gap == 0 && self.from < self.to && block.frames() < block.capacity() {
            let count = (self.to - self.from).min(block.capacity() - block.frames());
            for (plane, heard) in block.planes_mut().iter_mut().zip(&self.planes) {
                plane.extend_from_slice(&heard[self.from..self.from + count]);
            }
            self.from += count;
            self.done += count as u64;
            if block.frames() < block.capacity() {
                self.refill(warnings)?;
            }
        }
        Ok(())
    }

    /// Decodes on until there are frames to give or the end is reached.
    fn refill(&mut self, warnings: &mut Vec<FileWarning>) -> Result<(), FileError> {
        while self.from == self.to && !self.ended {
            let packet = match self.demuxer.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return self.end(warnings),
                Err(Error::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                    return self.end(warnings);
                }
                Err(Error::IoError(error)) => return Err(error.into()),
                Err(Error::ResetRequired) => return self.stop(FileWarning::FormatChanged { at: self.done }, warnings),
                Err(error) => {
                    let why = error.to_string();
                    return self.stop(FileWarning::StoppedEarly { at: self.done, why }, warnings);
                }
            };
            if packet.track_id != self.track {
                continue;
            }
            let changed = self.decode(&packet, warnings);
            if changed {
                return self.stop(FileWarning::FormatChanged { at: self.done }, warnings);
            }
            self.barren = if self.from < self.to { 0 } else { self.barren + 1 };
            if self.barren > MOST_BARREN_PACKETS {
                let why = self.trouble.clone().unwrap_or_else(|| "nothing but empty packets".into());
                return self.stop(FileWarning::StoppedEarly { at: self.done, why }, warnings);
            }
        }
        Ok(())
    }

    /// Takes the frames of `packet`, or counts them as lost; true if rate or channels are others than before.
    fn decode(&mut self, packet: &Packet, warnings: &mut Vec<FileWarning>) -> bool {
        let rate = self.spec.map_or(0, |(rate, _)| rate);
        let heard = match self.decoder.decode(packet) {
            Ok(heard) => heard,
            Err(Error::ResetRequired) => return true,
            Err(error) => {
                self.trouble = Some(error.to_string());
                self.lose(units_to_frames(packet.dur, self.clock, rate), warnings);
                return false;
            }
        };
        if heard.frames() == 0 {
            return false;
        }
        let spec = (heard.spec().rate(), heard.spec().channels().count());
        if *self.spec.get_or_insert(spec) != spec {
            return true;
        }
        heard.copy_to_vecs_planar(&mut self.planes);
        (self.from, self.to) = kept(heard.frames(), packet, self.clock, spec.0);
        self.cut();
        false
    }

    /// A broken packet: its frames are gone, but they took their time.
    fn lose(&mut self, frames: u64, warnings: &mut Vec<FileWarning>) {
        let dropped = frames.min(self.skip);
        self.skip -= dropped;
        let lost = frames - dropped;
        self.gap += lost;
        self.done += lost;
        for warning in warnings.iter_mut() {
            if let FileWarning::BrokenPackets { packets, lost: total } = warning {
                *packets += 1;
                *total += lost;
                return;
            }
        }
        warnings.push(FileWarning::BrokenPackets { packets: 1, lost });
    }

    /// Drops run-in and what lies behind the end from the frames at hand.
    fn cut(&mut self) {
        let dropped = self.skip.min((self.to - self.from) as u64);
        self.skip -= dropped;
        self.from += dropped as usize;
        if let Some(limit) = self.limit {
            let left = limit.saturating_sub(self.done);
            self.to = self.to.min(self.from + usize::try_from(left).unwrap_or(usize::MAX - self.from));
            self.ended |= left == 0;
        }
    }

    fn end(&mut self, warnings: &mut Vec<FileWarning>) -> Result<(), FileError> {
        self.ended = true;
        if let Some(promised) = self.promised.filter(|&promised| promised > self.done) {
            warnings.push(FileWarning::Truncated { promised, held: self.done });
        }
        Ok(())
    }

    fn stop(&mut self, warning: FileWarning, warnings: &mut Vec<FileWarning>) -> Result<(), FileError> {
        self.ended = true;
        warnings.push(warning);
        Ok(())
    }

    /// Decodes the first packet: what a container says of its sound may be wrong, the sound itself is not.
    fn first_packet(&mut self, warnings: &mut Vec<FileWarning>) -> Result<Format, FileError> {
        self.refill(warnings)?;
        let Some((hz, channels)) = self.spec else {
            return Err(match self.trouble.take() {
                Some(what) => FileError::Undecodable { what },
                None => FileError::NoSound,
            });
        };
        if !(1..=64).contains(&channels) {
            return Err(FileError::Channels { channels });
        }
        let rate = SampleRate::new(hz).ok_or(FileError::Rate { hz })?;
        Ok(Format { rate, channels })
    }

    /// Works out what will come, and starts trimming.
    fn promise(
        &mut self,
        track: &Track,
        params: &AudioCodecParameters,
        edit: Option<&Edit>,
        format: Format,
    ) -> FileInfo {
        let container = self.demuxer.format_info().format;
        let mut frames = track.num_frames.filter(|&frames| frames > 0);
        if let Some(edit) = edit {
            (self.skip, frames) = edited(edit, frames, format.rate.get());
            self.limit = frames;
            self.cut();
        }
        let counted = container != FORMAT_ID_ADTS && (container != FORMAT_ID_MP3 || track.delay.is_some());
        self.promised = frames.filter(|_| counted);
        let video = self.demuxer.tracks().iter().any(|track| track.track_type() == Some(TrackType::Video));
        FileInfo {
            kind: names::kind(container, params, video),
            format,
            frames,
            bit_depth: names::bit_depth(params),
            channel_mask: None,
            lossy: names::is_lossy(params.codec),
        }
    }
}

/// What is left of `frames` decoded ones when the packet's own marks are heeded. A decoder that heeds them itself
/// gives fewer frames than the packet codes.
fn kept(frames: usize, packet: &Packet, clock: Option<TimeBase>, rate: u32) -> (usize, usize) {
    let whole = frames as u64;
    if units_to_frames(packet.block_dur(), clock, rate) != whole {
        return (0, frames);
    }
    let from = units_to_frames(packet.trim_start, clock, rate).min(whole);
    let to = whole.saturating_sub(units_to_frames(packet.trim_end, clock, rate)).max(from);
    (from as usize, to as usize)
}

/// Frames to skip, and the frames of the piece that an edit list keeps. The movie's clock is coarse (600 or 1000
/// ticks a second); where the track's own count agrees with it within a tick, that count is the exact one.
fn edited(edit: &Edit, track_frames: Option<u64>, rate: u32) -> (u64, Option<u64>) {
    let skip = scale(edit.skip, rate, edit.track_clock);
    let behind = track_frames.map(|frames| frames.saturating_sub(skip));
    let stated = (edit.length > 0).then(|| scale(edit.length, rate, edit.movie_clock));
    let tick = u64::from(rate / edit.movie_clock) + 1;
    let frames = match (stated, behind) {
        (Some(stated), Some(behind)) if stated + tick < behind => Some(stated),
        (stated, behind) => behind.or(stated),
    };
    (skip, frames)
}

fn units_to_frames(units: Duration, clock: Option<TimeBase>, rate: u32) -> u64 {
    match clock {
        Some(clock) => scale(units.get().saturating_mul(clock.numer.get().into()), rate, clock.denom.get()),
        None => units.get(),
    }
}

/// `units` of a clock of `per_second` as frames; nothing lasts longer than 2^48 frames.
fn scale(units: u64, rate: u32, per_second: u32) -> u64 {
    let frames = u128::from(units) * u128::from(rate) / u128::from(per_second.max(1));
    frames.min(1 << 48) as u64
}

fn first_sound(
    demuxer: &dyn FormatReader,
    warnings: &mut Vec<FileWarning>,
) -> Result<(Track, AudioCodecParameters), FileError> {
    let mut sounds = demuxer.tracks().iter().filter_map(|track| match &track.codec_params {
        Some(CodecParameters::Audio(params)) if params.codec != CODEC_ID_NULL_AUDIO => Some((track, params)),
        _ => None,
    });
    let (track, params) = sounds.next().ok_or(FileError::NoTrack)?;
    if params.codec == CODEC_ID_OPUS {
        return Err(FileError::Opus);
    }
    let more = sounds.count();
    if more > 0 {
        warnings.push(FileWarning::MoreTracks { tracks: more + 1 });
    }
    Ok((track.clone(), params.clone()))
}

/// The name of a codec that the library knows but does not decode, or not in this form.
fn refused(params: &AudioCodecParameters) -> String {
    match params.codec {
        CODEC_ID_AAC => "high-efficiency or surround AAC".into(),
        codec => names::codec(codec).into(),
    }
}

/// An AIFF that ends before its header says. The library looks behind the sound for more chunks unless it is told
/// that it can't go back, and gives up at the end of such a file.
fn is_cut_aiff(stream: &mut Box<dyn Stream>, length: u64) -> io::Result<bool> {
    let mut head = Vec::with_capacity(8);
    stream.by_ref().take(8).read_to_end(&mut head)?;
    stream.rewind()?;
    Ok(match head[..] {
        [b'F', b'O', b'R', b'M', a, b, c, d] => u64::from(u32::from_be_bytes([a, b, c, d])) + 8 > length,
        _ => false,
    })
}

fn cannot_open(error: Error) -> FileError {
    match error {
        Error::Unsupported(what) if what.contains("moov") => FileError::Header {
            what: "the table of contents is missing, as in a recording that was never finished".into(),
        },
        Error::IoError(error) if error.kind() != io::ErrorKind::UnexpectedEof => error.into(),
        Error::Unsupported(_) => FileError::Unknown,
        error => FileError::Header { what: error.to_string() },
    }
}

/// A stream as the decoder library wants it.
struct Media {
    stream: Box<dyn Stream>,
    length: u64,
    seekable: bool,
}

impl io::Read for Media {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.stream.read(buffer)
    }
}

impl io::Seek for Media {
    fn seek(&mut self, place: io::SeekFrom) -> io::Result<u64> {
        self.stream.seek(place)
    }
}

impl MediaSource for Media {
    fn is_seekable(&self) -> bool {
        self.seekable
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edit_keeps_the_exact_count_where_the_coarse_clock_agrees() {
        let edit = Edit { skip: 1_024, track_clock: 48_000, length: 20_000, movie_clock: 1_000 };
        assert_eq!(edited(&edit, Some(961_037), 48_000), (1_024, Some(960_013)));
        assert_eq!(edited(&edit, Some(980_000), 48_000), (1_024, Some(960_000)));
        assert_eq!(edited(&Edit { length: 0, ..edit }, Some(961_037), 48_000), (1_024, Some(960_013)));
        assert_eq!(edited(&edit, None, 48_000), (1_024, Some(960_000)));
    }

    #[test]
    fn clocks_are_scaled_without_running_over() {
        assert_eq!(scale(1_000, 48_000, 1_000), 48_000);
        assert_eq!(scale(u64::MAX, 192_000, 1), 1 << 48);
    }
}
