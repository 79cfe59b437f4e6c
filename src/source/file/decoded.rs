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
use super::guard::GAVE_UP;
use super::guard::guarded;
use super::info::FileInfo;
use super::names;
use crate::block::BlockBuf;
use crate::block::Format;
use crate::units::FrameCount;
use crate::units::SampleRate;
use std::io;
use std::io::Seek;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
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
use symphonia::core::formats::well_known::FORMAT_ID_CAF;
use symphonia::core::formats::well_known::FORMAT_ID_MP3;
use symphonia::core::formats::well_known::FORMAT_ID_OGG;
use symphonia::core::io::MediaSource;
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::Duration;
use symphonia::core::units::TimeBase;

/// So many packets in a row without a frame mean that nothing more will come.
const MOST_BARREN_PACKETS: u32 = 10_000;

/// Frames that one packet may stand for; a damaged table may claim hours.
const LONGEST_PACKET: u64 = 1 << 16;

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
    /// Opens it as a file that can be wound back; if that fails, as a stream: the library scans a seekable file to
    /// its end first, and gives up on one that is cut.
    pub fn open(stream: Box<dyn Stream>, warnings: &mut Vec<FileWarning>) -> Result<(Self, FileInfo), FileError> {
        let stream = Arc::new(Mutex::new(stream));
        let mut found = Vec::new();
        let opened = Self::open_as(&stream, true, &mut found).or_else(|error| match error {
            FileError::Header { .. } | FileError::Unknown | FileError::NoSound | FileError::Undecodable { .. } => {
                found.clear();
                let (reader, info) = Self::open_as(&stream, false, &mut found).map_err(|_| error)?;
                // Otherwise the missing frames are counted when the end is reached.
                if reader.promised.is_none() {
                    found.push(FileWarning::EndMissing);
                }
                Ok((reader, info))
            }
            _ => Err(error),
        })?;
        warnings.append(&mut found);
        Ok(opened)
    }

    fn open_as(
        stream: &Arc<Mutex<Box<dyn Stream>>>,
        seekable: bool,
        warnings: &mut Vec<FileWarning>,
    ) -> Result<(Self, FileInfo), FileError> {
        let mut media = Media { stream: stream.clone(), length: 0, seekable };
        let edits = edits::read_edits(&mut media);
        media.length = media.seek(io::SeekFrom::End(0))?;
        media.rewind()?;
        let source = MediaSourceStream::new(Box::new(media), Default::default());
        let demuxer = guarded(|| {
            let (format, metadata) = (FormatOptions::default(), MetadataOptions::default());
            symphonia::default::get_probe().probe(&Hint::new(), source, format, metadata)
        })
        .map_err(cannot_open)?;
        let (track, params) = first_sound(demuxer.as_ref(), warnings)?;
        let options = AudioDecoderOptions::default();
        let decoder = guarded(|| symphonia::default::get_codecs().make_audio_decoder(&params, &options))
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
        // A whole Ogg file tells its length on its last page.
        if seekable && info.frames.is_none() && reader.demuxer.format_info().format == FORMAT_ID_OGG {
            warnings.push(FileWarning::EndMissing);
        }
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
            let packet = match guarded(|| self.demuxer.next_packet()) {
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
            if let Err(end) = self.decode(&packet, warnings) {
                return self.stop(end, warnings);
            }
            self.barren = if self.from < self.to { 0 } else { self.barren + 1 };
            if self.barren > MOST_BARREN_PACKETS {
                let why = self.trouble.clone().unwrap_or_else(|| "nothing but empty packets".into());
                return self.stop(FileWarning::StoppedEarly { at: self.done, why }, warnings);
            }
        }
        Ok(())
    }

    /// Takes the frames of `packet`, or counts them as lost; an `Err` says why reading must end before it.
    fn decode(&mut self, packet: &Packet, warnings: &mut Vec<FileWarning>) -> Result<(), FileWarning> {
        let heard = match guarded(|| self.decoder.decode(packet)) {
            Ok(heard) => heard,
            Err(Error::ResetRequired) => return Err(FileWarning::FormatChanged { at: self.done }),
            Err(Error::DecodeError(GAVE_UP)) => {
                self.trouble = Some(GAVE_UP.into());
                return Err(FileWarning::StoppedEarly { at: self.done, why: GAVE_UP.into() });
            }
            Err(error) => {
                self.trouble = Some(error.to_string());
                let rate = self.decoder.codec_params().sample_rate.unwrap_or(0);
                self.lose(units_to_frames(packet.dur, self.clock, rate).min(LONGEST_PACKET), warnings);
                return Ok(());
            }
        };
        if heard.frames() == 0 {
            return Ok(());
        }
        let spec = (heard.spec().rate(), heard.spec().channels().count());
        if *self.spec.get_or_insert(spec) != spec {
            return Err(FileWarning::FormatChanged { at: self.done });
        }
        heard.copy_to_vecs_planar(&mut self.planes);
        (self.from, self.to) = kept(heard.frames(), packet, self.clock, spec.0);
        self.cut();
        Ok(())
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
        let counted = match container {
            FORMAT_ID_ADTS => false,
            // Without the coder's own tag the length is worked out from the bit rate.
            FORMAT_ID_MP3 => track.delay.is_some(),
            // Some writers count whole packets.
            FORMAT_ID_CAF => names::is_pcm(params.codec),
            _ => true,
        };
        self.promised = frames.filter(|_| counted);
        let video = self.demuxer.tracks().iter().any(|track| track.track_type() == Some(TrackType::Video));
        FileInfo {
            kind: names::kind(container, params, video),
            format,
            frames,
            bit_depth: names::bit_depth(params),
            channel_mask: None,
            stamp: None,
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

/// A stream as the decoder library wants it; shared, so that a second attempt can be made with it.
struct Media {
    stream: Arc<Mutex<Box<dyn Stream>>>,
    length: u64,
    seekable: bool,
}

impl Media {
    /// A panic while the lock was held leaves the stream at some place, no worse.
    fn lock(&self) -> MutexGuard<'_, Box<dyn Stream>> {
        self.stream.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl io::Read for Media {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.lock().read(buffer)
    }
}

impl io::Seek for Media {
    fn seek(&mut self, place: io::SeekFrom) -> io::Result<u64> {
        self.lock().seek(place)
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
