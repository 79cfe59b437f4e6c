//! The writer's thread: parcels to integers of 24 bits, silence for what is missing, marks, a header that stays true, an
//! eye on the disk.
//!
//! 24 bits hold what a converter gives, bit for bit. The sizes in the header are renewed each second of sound, or when
//! none comes. Gaps of one cause within a second are told as one. Edge cases: a disk that is nearly full, or a write that
//! fails, ends the recording with what it has; where a file may grow no longer (4 GB on many memory sticks), the next one
//! goes on.

use std::io::{self, ErrorKind};
use std::path::PathBuf;
use std::sync::atomic::Ordering::{Acquire, Release};
use std::sync::mpsc::Sender;
use std::thread;
use std::time::Duration;

use ringbuf::traits::{Consumer, Producer};

use super::disk::{Disk, create_dated};
use super::growing::GrowingWave;
use super::queue::{Missing, Outlet, Parcel};
use super::{Cause, Gap, RecordEvent, RecordPlan, Stop};
use crate::sink::narrow::{Narrow, Width};
use crate::sink::wave_form::{Mark, WaveShape};
use crate::units::{SampleRate, Seconds};

/// So much is at stake when the program is killed.
const TOLD_EVERY: Seconds = Seconds::new(1.0);
const LOOKED_EVERY: Seconds = Seconds::new(5.0);
/// Less than this: somebody should make room, at the next pause.
pub(super) const LOW: Seconds = Seconds::new(20.0 * 60.0);
/// Room again.
const ENOUGH: Seconds = Seconds::new(25.0 * 60.0);
/// Left free for everything else that must be written: the log, the event, the system.
pub(super) const RESERVE: u64 = 64 << 20;
const ONE_GAP: Seconds = Seconds::new(1.0);
/// A hole grows in steps, so that it may go on in the next file.
const HOLE: Seconds = Seconds::new(60.0);
const MARKS: usize = 4_096;
const NAP: Duration = Duration::from_millis(10);
/// So many naps without sound, and the header is renewed.
const QUIET: u32 = 50;

pub(super) struct Writer<D: Disk> {
    disk: D,
    plan: RecordPlan,
    shape: WaveShape,
    rate: SampleRate,
    events: Sender<RecordEvent>,
    wave: GrowingWave<D::File>,
    /// Frames of all files so far, and where this one began.
    frames: u64,
    began: u64,
    marks: Vec<Mark>,
    gaps: [Option<Gathered>; 2],
    looked: u64,
    is_low: bool,
    narrow: Narrow,
    bytes: Vec<u8>,
}

/// Gaps of one cause, told as one.
struct Gathered {
    at: u64,
    until: u64,
    missing: u64,
    times: u32,
}

impl<D: Disk> Writer<D> {
    /// The first file is there when it comes back.
    pub fn begin(
        mut disk: D,
        plan: RecordPlan,
        rate: SampleRate,
        tracks: u16,
        events: Sender<RecordEvent>,
    ) -> io::Result<(Self, PathBuf)> {
        let narrow = Narrow::new(Width::Bits24, false);
        let shape = WaveShape::integers(tracks, rate.get(), Width::Bits24.bits(), Some(0));
        let (file, path) = create_dated(&mut disk, &plan.folder, &plan.stem)?;
        let wave = GrowingWave::begin(file, shape)?;
        let (marks, gaps, bytes) = (Vec::new(), [None, None], Vec::new());
        let (frames, began, looked, is_low) = (0, 0, 0, false);
        let mut writer =
            Self { disk, plan, shape, rate, events, wave, frames, began, marks, gaps, looked, is_low, narrow, bytes };
        writer.look_at_space().map_err(|_| io::Error::from(ErrorKind::StorageFull))?;
        Ok((writer, path))
    }

    pub fn run(mut self, mut outlet: Outlet) {
        let why = self.write_all(&mut outlet);
        outlet.flags.over.store(true, Release);
        self.tell_gaps(true);
        let finished = self.wave.finish(&self.marks);
        let why = match (why, finished) {
            (Stop::Asked, Err(error)) => stop(&error),
            (why, _) => why,
        };
        self.tell(RecordEvent::Stopped { why, length: self.at(self.frames) });
    }

    /// Until it is to end, or can't go on.
    fn write_all(&mut self, outlet: &mut Outlet) -> Stop {
        let mut naps = 0;
        loop {
            // Asked first: what was handed on before the end is written.
            let ends = outlet.flags.ended.load(Acquire) || outlet.flags.stop.load(Acquire);
            let done = match outlet.from.try_pop() {
                Some(parcel) => {
                    naps = 0;
                    let done = self.write(&parcel);
                    let _ = outlet.empty.try_push(parcel);
                    done
                }
                None if ends => return self.gaps_of(outlet.flags.left.get()).err().unwrap_or(Stop::Asked),
                None => {
                    thread::sleep(NAP);
                    naps += 1;
                    if naps == QUIET { self.renew() } else { Ok(()) }
                }
            };
            if let Err(why) = done {
                return why;
            }
        }
    }

    fn write(&mut self, parcel: &Parcel) -> Result<(), Stop> {
        self.gaps_of(parcel.missing)?;
        let mut bytes = std::mem::take(&mut self.bytes);
        bytes.clear();
        let block = parcel.block.as_block();
        for frame in 0..block.frames() {
            for track in 0..block.channels() {
                self.narrow.push(f64::from(block.channel(track)[frame]), &mut bytes);
            }
        }
        let stored = self.store(block.frames() as u64, |wave| wave.push(&bytes));
        self.bytes = bytes;
        stored?;
        self.tell_gaps(false);
        if self.wave.untold() >= self.rate.frames(TOLD_EVERY).get() {
            self.renew()?;
        }
        if self.frames - self.looked >= self.rate.frames(LOOKED_EVERY).get() {
            self.look_at_space()?;
        }
        Ok(())
    }

    fn renew(&mut self) -> Result<(), Stop> {
        self.wave.tell().map_err(|error| stop(&error))
    }

    fn gaps_of(&mut self, missing: Missing) -> Result<(), Stop> {
        self.gap(Cause::Device, missing.device)?;
        self.gap(Cause::Disk, missing.disk)
    }

    /// Silence, so that time stays true.
    fn gap(&mut self, cause: Cause, missing: u64) -> Result<(), Stop> {
        if missing == 0 {
            return Ok(());
        }
        let at = self.frames;
        let mut left = missing;
        while left > 0 {
            let hole = left.min(self.rate.frames(HOLE).get());
            self.store(hole, |wave| wave.silence(hole))?;
            left -= hole;
        }
        let new = Gathered { at, until: self.frames, missing, times: 1 };
        let gathered = &mut self.gaps[cause as usize];
        match gathered {
            Some(gap) => {
                (gap.until, gap.missing, gap.times) = (self.frames, gap.missing + missing, gap.times + 1);
            }
            None => *gathered = Some(new),
        }
        Ok(())
    }

    fn store(&mut self, frames: u64, write: impl Fn(&mut GrowingWave<D::File>) -> io::Result<()>) -> Result<(), Stop> {
        let written = match write(&mut self.wave) {
            Err(error) if error.kind() == ErrorKind::FileTooLarge && self.wave.frames() > 0 => {
                self.next_file().and_then(|()| write(&mut self.wave))
            }
            written => written,
        };
        self.frames += if written.is_ok() { frames } else { 0 };
        written.map_err(|error| stop(&error))
    }

    fn next_file(&mut self) -> io::Result<()> {
        self.tell_gaps(true);
        self.wave.finish(&self.marks)?;
        let (file, path) = create_dated(&mut self.disk, &self.plan.folder, &self.plan.stem)?;
        self.wave = GrowingWave::begin(file, self.shape)?;
        self.marks.clear();
        self.began = self.frames;
        self.tell(RecordEvent::NextFile { file: path });
        Ok(())
    }

    /// Those that began a second ago, or all.
    fn tell_gaps(&mut self, all: bool) {
        for cause in [Cause::Device, Cause::Disk] {
            let recent = self.rate.frames(ONE_GAP).get();
            let due = |gap: &mut Gathered| all || self.frames >= gap.at + recent.max(gap.until - gap.at);
            let Some(told) = self.gaps[cause as usize].take_if(due) else { continue };
            let gap = Gap { at: self.at(told.at), span: self.at(told.missing), times: told.times, cause };
            if self.marks.len() < MARKS {
                let at = told.at.saturating_sub(self.began);
                self.marks.push(Mark { at, length: told.until - told.at, text: (self.plan.mark)(&gap) });
            }
            self.tell(RecordEvent::Gap(gap));
        }
    }

    fn look_at_space(&mut self) -> Result<(), Stop> {
        self.looked = self.frames;
        // A file system that can't tell goes on until a write fails.
        let Ok(free) = self.disk.free(&self.plan.folder) else { return Ok(()) };
        let Some(room) = free.checked_sub(RESERVE) else { return Err(Stop::DiskFull) };
        let a_second = f64::from(self.rate.get()) * f64::from(self.shape.frame_bytes());
        let left = Seconds::new(room as f64 / a_second);
        if left >= ENOUGH {
            self.is_low = false;
        } else if left < LOW && !self.is_low {
            self.is_low = true;
            self.tell(RecordEvent::LowDisk { left });
        }
        Ok(())
    }

    fn at(&self, frames: u64) -> Seconds {
        Seconds::new(frames as f64 / f64::from(self.rate.get()))
    }

    /// Nobody listening is no reason to stop.
    fn tell(&self, event: RecordEvent) {
        let _ = self.events.send(event);
    }
}

pub(super) fn stop(error: &io::Error) -> Stop {
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Stop::DiskFull,
        _ => Stop::Failed(error.to_string()),
    }
}
