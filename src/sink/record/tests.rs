//! The writer on a disk of memory: it can be slow, small, or end files early; every frame is counted.

use std::collections::BTreeMap;
use std::io::{self, Cursor, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex};

use ringbuf::traits::Observer;

use super::disk::Disk;
use super::growing::Stored;
use super::writer::{LOW, RESERVE};
use super::*;
use crate::block::BlockBuf;
use crate::units::{FrameCount, SampleRate};

const RATE: u32 = 8_000;

#[derive(Clone)]
struct Memory(Arc<Inner>);

struct Inner {
    files: Mutex<BTreeMap<PathBuf, Vec<u8>>>,
    /// Bytes that all files together, and each file, may hold.
    room: u64,
    longest: u64,
    shut: Mutex<bool>,
    opened: Condvar,
}

struct MemoryFile {
    disk: Memory,
    path: PathBuf,
    at: u64,
}

impl Memory {
    fn new(room: u64, longest: u64) -> Self {
        let (files, shut, opened) = (Mutex::default(), Mutex::default(), Condvar::new());
        Self(Arc::new(Inner { files, room, longest, shut, opened }))
    }

    fn shut(&self, shut: bool) {
        *self.0.shut.lock().unwrap() = shut;
        self.0.opened.notify_all();
    }

    fn files(&self) -> Vec<Vec<u8>> {
        self.0.files.lock().unwrap().values().cloned().collect()
    }
}

impl Disk for Memory {
    type File = MemoryFile;

    fn create(&mut self, path: &Path) -> io::Result<MemoryFile> {
        let mut files = self.0.files.lock().unwrap();
        if files.contains_key(path) {
            return Err(ErrorKind::AlreadyExists.into());
        }
        files.insert(path.to_owned(), Vec::new());
        Ok(MemoryFile { disk: self.clone(), path: path.to_owned(), at: 0 })
    }

    fn free(&mut self, _: &Path) -> io::Result<u64> {
        Ok(self.0.room - self.0.files.lock().unwrap().values().map(|file| file.len() as u64).sum::<u64>())
    }
}

impl Write for MemoryFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let inner = &self.disk.0;
        drop(inner.opened.wait_while(inner.shut.lock().unwrap(), |shut| *shut).unwrap());
        let mut files = inner.files.lock().unwrap();
        let all: u64 = files.values().map(|file| file.len() as u64).sum();
        let file = files.get_mut(&self.path).unwrap();
        let end = file.len() as u64;
        // As a disk does it: what still fits is written, then it says no.
        let fits = (end - self.at).max((inner.room - all + end).min(inner.longest).saturating_sub(self.at));
        if fits == 0 && !bytes.is_empty() {
            return Err(if end >= inner.longest { ErrorKind::FileTooLarge } else { ErrorKind::StorageFull }.into());
        }
        let part = &bytes[..bytes.len().min(fits as usize)];
        let mut cursor = Cursor::new(file);
        cursor.set_position(self.at);
        cursor.write_all(part)?;
        self.at += part.len() as u64;
        Ok(part.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Seek for MemoryFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let SeekFrom::Start(at) = to else { return Err(ErrorKind::Unsupported.into()) };
        self.at = at;
        Ok(at)
    }
}

impl Stored for MemoryFile {
    fn set_length(&mut self, bytes: u64) -> io::Result<()> {
        if bytes > self.disk.0.longest {
            return Err(ErrorKind::FileTooLarge.into());
        }
        self.disk.0.files.lock().unwrap().get_mut(&self.path).unwrap().resize(bytes as usize, 0);
        Ok(())
    }

    fn settle(&mut self) -> io::Result<()> {
        Ok(())
    }
}

const PLENTY: u64 = u64::MAX / 2;

fn format(channels: usize) -> Format {
    Format { rate: SampleRate::new(RATE).unwrap(), channels }
}

fn plan(barred: &[usize]) -> RecordPlan {
    let barred = barred.iter().map(|&index| ChannelId::from_index(index)).collect();
    let mark = |gap: &Gap| format!("{:?} {:.3}", gap.cause, gap.span.get());
    RecordPlan { folder: "takes".into(), stem: "show".into(), barred, mark }
}

/// What the sample of a frame is: its number and its channel can be read off the 24 bits.
fn sample(frame: u64, channel: usize) -> f32 {
    (code(frame, channel) as f64 / 8_388_608.0) as f32
}

fn code(frame: u64, channel: usize) -> i32 {
    (frame * 4 + channel as u64 + 1) as i32 % 8_000_000
}

/// Frames from `start` on, after a gap.
fn block(channels: usize, start: u64, frames: u64, gap: u64) -> BlockBuf {
    let mut block = BlockBuf::new(channels, frames as usize);
    block.restart(FrameCount::new(start), FrameCount::new(gap));
    for (channel, plane) in block.planes_mut().iter_mut().enumerate() {
        plane.extend((start..start + frames).map(|frame| sample(frame, channel)));
    }
    block
}

/// The codes of one track, read by the library.
fn track(file: &[u8], track: usize) -> Vec<i32> {
    let mut wav = hound::WavReader::new(Cursor::new(file)).expect("a WAV file");
    let channels = usize::from(wav.spec().channels);
    assert_eq!((wav.spec().sample_rate, wav.spec().bits_per_sample), (RATE, 24));
    wav.samples::<i32>().map(Result::unwrap).skip(track).step_by(channels).collect()
}

fn gaps(news: &[RecordEvent]) -> Vec<Gap> {
    let gap = |event: &RecordEvent| if let RecordEvent::Gap(gap) = event { Some(*gap) } else { None };
    news.iter().filter_map(gap).collect()
}

fn stopped(news: &[RecordEvent]) -> (Stop, f64) {
    let Some(RecordEvent::Stopped { why, length }) = news.last() else { panic!("{news:?}") };
    (why.clone(), length.get())
}

/// Bit for bit, in whatever blocks; the barred channel is in no track.
#[test]
fn every_frame_of_every_channel_that_may_be_recorded() {
    let disk = Memory::new(PLENTY, PLENTY);
    let (mut recorder, recording) = start_on(disk.clone(), format(3), plan(&[1])).unwrap();
    assert_eq!(recording.tracks.iter().map(|track| track.number()).collect::<Vec<_>>(), [1, 3]);
    let mut at = 0;
    for frames in (1..100).chain([4_000, 3, 799, 801]) {
        recorder.take(&block(3, at, frames, 0).as_block());
        at += frames;
    }
    drop(recorder);
    let news = recording.end();
    assert_eq!(news.len(), 1, "{news:?}");
    assert_eq!(stopped(&news), (Stop::Asked, at as f64 / f64::from(RATE)));
    let files = disk.files();
    let [file] = &files[..] else { panic!("one file") };
    for (index, channel) in [0, 2].into_iter().enumerate() {
        let expected: Vec<i32> = (0..at).map(|frame| code(frame, channel)).collect();
        assert!(track(file, index) == expected, "track {index}");
    }
}

#[test]
fn all_barred_is_no_recording() {
    let all = start_on(Memory::new(PLENTY, PLENTY), format(2), plan(&[0, 1]));
    assert_eq!(all.err(), Some(RecordError::NothingLeft));
}

/// Silence of the right length, told and marked; sound afterwards stands at its time. Before the first sound there is no gap.
#[test]
fn a_gap_of_the_device_is_silence_with_a_mark() {
    let disk = Memory::new(PLENTY, PLENTY);
    let (mut recorder, recording) = start_on(disk.clone(), format(1), plan(&[])).unwrap();
    recorder.take(&block(1, 0, 1_000, 77).as_block());
    recorder.take(&block(1, 1_600, 100, 600).as_block());
    recorder.take(&block(1, 1_740, 100, 40).as_block());
    recorder.take(&block(1, 20_000, 30_000, 18_160).as_block());
    drop(recorder);
    let news = recording.end();
    let seconds = |frames: u64| Seconds::new(frames as f64 / f64::from(RATE));
    let gap = |at, missing, times| Gap { at: seconds(at), span: seconds(missing), times, cause: Cause::Device };
    assert_eq!(gaps(&news), [gap(1_000, 600 + 40 + 18_160, 3)]);
    assert_eq!(stopped(&news), (Stop::Asked, 50_000.0 / f64::from(RATE)));
    let file = &disk.files()[0];
    let sound = |frame: u64| {
        (0..1_000).contains(&frame)
            || (1_600..1_700).contains(&frame)
            || (1_740..1_840).contains(&frame)
            || frame >= 20_000
    };
    let expected: Vec<i32> = (0..50_000).map(|frame| if sound(frame) { code(frame, 0) } else { 0 }).collect();
    assert!(track(file, 0) == expected);
    let cue = file.windows(4).position(|part| part == b"cue ").expect("a cue chunk");
    assert_eq!(file[cue + 8..cue + 12], 1u32.to_le_bytes());
    assert_eq!(file[cue + 16..cue + 20], 1_000u32.to_le_bytes());
    assert!(file.windows(12).any(|part| part == b"Device 2.350"));
}

/// While the disk stands still, the queue fills, the rest is counted; then all goes on, at its time.
#[test]
fn what_the_disk_is_too_slow_for_is_a_gap_of_its_length() {
    let disk = Memory::new(PLENTY, PLENTY);
    let (mut recorder, recording) = start_on(disk.clone(), format(2), plan(&[])).unwrap();
    disk.shut(true);
    let (blocks, frames) = (300, 400);
    for at in 0..blocks {
        recorder.take(&block(2, at * frames, frames, 0).as_block());
    }
    disk.shut(false);
    while recorder.empty.is_empty() {
        std::thread::yield_now();
    }
    recorder.take(&block(2, blocks * frames, frames, 0).as_block());
    let at = (blocks + 1) * frames;
    drop(recorder);
    let news = recording.end();
    assert_eq!(stopped(&news), (Stop::Asked, at as f64 / f64::from(RATE)));
    let [gap] = gaps(&news)[..] else { panic!("{news:?}") };
    assert_eq!(gap.cause, Cause::Disk);
    let missing = (gap.span.get() * f64::from(RATE)).round() as usize;
    // Eight seconds are held, and what the writer had in its hands.
    assert!((blocks * frames) as usize - missing <= 66_000, "{missing}");
    let told = track(&disk.files()[0], 1);
    let from = (gap.at.get() * f64::from(RATE)).round() as usize;
    assert!(from >= 64_000 && told.len() == at as usize);
    for (frame, &found) in told.iter().enumerate() {
        let silent = (from..from + missing).contains(&frame);
        assert_eq!(found, if silent { 0 } else { code(frame as u64, 1) }, "frame {frame}");
    }
}

/// Nothing comes behind it: the file is as long as the evening all the same.
#[test]
fn what_is_missing_at_the_end_is_silence_too() {
    let disk = Memory::new(PLENTY, PLENTY);
    let (mut recorder, recording) = start_on(disk.clone(), format(1), plan(&[])).unwrap();
    disk.shut(true);
    recorder.take(&block(1, 0, 100_000, 0).as_block());
    drop(recorder);
    disk.shut(false);
    let news = recording.end();
    assert_eq!(stopped(&news), (Stop::Asked, 12.5));
    assert_eq!(gaps(&news).len(), 1);
    assert_eq!(track(&disk.files()[0], 0).len(), 100_000);
}

/// It says so, ends the file whole, and what is taken afterwards goes nowhere.
#[test]
fn a_full_disk_ends_the_recording_not_the_show() {
    let disk = Memory::new(RESERVE + 500_000, PLENTY);
    let (mut recorder, mut recording) = start_on(disk.clone(), format(1), plan(&[])).unwrap();
    let mut news = Vec::new();
    let mut at = 0;
    while !recorder.is_over() {
        // Never faster than the writer.
        if recorder.empty.occupied_len() > 1 {
            recorder.take(&block(1, at, 800, 0).as_block());
            at += 800;
        }
        news.extend(recording.news());
        std::thread::yield_now();
    }
    recorder.take(&block(1, at, 800, 0).as_block());
    news.extend(recording.end());
    assert!(matches!(news[0], RecordEvent::LowDisk { left } if left < LOW), "{news:?}");
    assert_eq!(news.iter().filter(|event| matches!(event, RecordEvent::LowDisk { .. })).count(), 1);
    let (why, length) = stopped(&news);
    assert_eq!(why, Stop::DiskFull);
    // It was looked at each five seconds.
    let told = track(&disk.files()[0], 0);
    assert!((166_666 - 800..166_666 + 5 * 8_000 + 800).contains(&told.len()), "{}", told.len());
    assert_eq!(told.len() as f64 / f64::from(RATE), length);
}

/// The space is not told in time and a write fails half-way: the file ends with the last whole parcel.
#[test]
fn a_write_that_fails_leaves_a_file_that_opens() {
    struct Unknowing(Memory);
    impl Disk for Unknowing {
        type File = MemoryFile;
        fn create(&mut self, path: &Path) -> io::Result<MemoryFile> {
            self.0.create(path)
        }
        fn free(&mut self, _: &Path) -> io::Result<u64> {
            Err(ErrorKind::Unsupported.into())
        }
    }
    let disk = Memory::new(100_001, PLENTY);
    let (mut recorder, recording) = start_on(Unknowing(disk.clone()), format(1), plan(&[])).unwrap();
    for at in 0..50 {
        recorder.take(&block(1, at * 800, 800, u64::from(at == 10)).as_block());
    }
    drop(recorder);
    let news = recording.end();
    assert_eq!(stopped(&news).0, Stop::DiskFull);
    let told = track(&disk.files()[0], 0);
    assert_eq!(told.len(), 41 * 800 + 1, "whole parcels of {} bytes", 800 * 3);
    assert_eq!(told[..8_000], (0..8_000).map(|frame| code(frame, 0)).collect::<Vec<_>>());
}

/// On a memory stick a file ends at 4 GB: the next one goes on with the frame that follows.
#[test]
fn where_a_file_may_grow_no_longer_the_next_goes_on() {
    let disk = Memory::new(PLENTY, 60_000);
    let (mut recorder, recording) = start_on(disk.clone(), format(1), plan(&[])).unwrap();
    let first = recording.file.clone();
    for at in 0..60 {
        recorder.take(&block(1, at * 800, 800, 0).as_block());
    }
    drop(recorder);
    let news = recording.end();
    assert_eq!(stopped(&news), (Stop::Asked, 6.0));
    let next = |event: &RecordEvent| if let RecordEvent::NextFile { file } = event { Some(file.clone()) } else { None };
    let names: Vec<PathBuf> = [first].into_iter().chain(news.iter().filter_map(next)).collect();
    let stored = disk.0.files.lock().unwrap();
    assert_eq!((names.len(), stored.len()), (3, 3));
    let all: Vec<i32> = names.iter().flat_map(|name| track(&stored[name], 0)).collect();
    assert!(all == (0..48_000).map(|frame| code(frame, 0)).collect::<Vec<_>>());
}
