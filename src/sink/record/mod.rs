//! Recording while listening: all channels that may be recorded, into a WAV file that stays whole.
//!
//! ```text
//! engine ──Recorder::take──▶ parcels, 8 s at most ──writer's thread──▶ WAV, 24 bits, RF64 beyond 4 GB
//! ```
//!
//! The engine never waits for the disk; what could not be kept is a gap of the right length. The face's end
//! (`Recording`) tells what happened and ends it. A device that comes back in another form is opened anew by the person
//! (see `source::live`): that is another recording, in a file of its own. Times count from the recording's first frame.

mod disk;
mod growing;
mod queue;
#[cfg(test)]
mod tests;
mod writer;

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering::Release;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread::JoinHandle;

use crate::block::Format;
use crate::units::{ChannelId, SampleRate, Seconds};
use disk::{Disk, RealDisk};
use queue::{Flags, queue};
use writer::Writer;

pub use queue::Recorder;

/// What is to be recorded, and where.
#[derive(Clone, Debug)]
pub struct RecordPlan {
    pub folder: PathBuf,
    /// What the files' names begin with.
    pub stem: String,
    /// Channels that are never written.
    pub barred: Vec<ChannelId>,
    /// The text of a mark in the file.
    pub mark: fn(&Gap) -> String,
}

/// What happened to a recording.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordEvent {
    Gap(Gap),
    /// The file may grow no longer; this one goes on.
    NextFile {
        file: PathBuf,
    },
    /// There is room for so much more, at the present rate.
    LowDisk {
        left: Seconds,
    },
    /// The last that is told.
    Stopped {
        why: Stop,
        length: Seconds,
    },
}

/// Silence in the place of sound that is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    pub at: Seconds,
    /// All that is missing.
    pub span: Seconds,
    /// In so many pieces, within a second.
    pub times: u32,
    pub cause: Cause,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The device gave nothing.
    Device,
    /// The disk was slower than the sound.
    Disk,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stop {
    Asked,
    DiskFull,
    /// In the system's words.
    Failed(String),
}

#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    #[error("nothing is left to record: every channel is barred. Take some out of barred in event.toml")]
    NothingLeft,
    #[error("{}: too little space to record. Free some, or name another folder", .0.display())]
    NoSpace(PathBuf),
    #[error("{}: no recording can be made there ({detail}). Name a folder that you may write to", folder.display())]
    Folder { folder: PathBuf, detail: String },
}

/// The face's end. Dropping it ends the recording.
pub struct Recording {
    /// The file that it began with.
    pub file: PathBuf,
    /// The channel of each track.
    pub tracks: Vec<ChannelId>,
    events: Receiver<RecordEvent>,
    flags: Arc<Flags>,
    thread: Option<JoinHandle<()>>,
    is_over: bool,
}

/// How long a recording of so many tracks may become in a folder; an error where none can be made.
pub fn room(folder: &Path, rate: SampleRate, tracks: usize) -> std::io::Result<Seconds> {
    std::fs::create_dir_all(folder)?;
    let probe = folder.join(format!(".beforedoors-{}.new", std::process::id()));
    std::fs::File::create(&probe)?;
    std::fs::remove_file(&probe)?;
    let free = RealDisk.free(folder)?.saturating_sub(writer::RESERVE);
    let a_second = f64::from(rate.get()) * (3 * tracks.max(1)) as f64;
    Ok(Seconds::new(free as f64 / a_second))
}

/// Begins: give the `Recorder` every block of a source of this form.
pub fn start(format: Format, plan: RecordPlan) -> Result<(Recorder, Recording), RecordError> {
    start_on(RealDisk, format, plan)
}

fn start_on<D: Disk>(disk: D, format: Format, plan: RecordPlan) -> Result<(Recorder, Recording), RecordError> {
    let all = (0..format.channels).map(ChannelId::from_index);
    let tracks: Vec<ChannelId> = all.filter(|channel| !plan.barred.contains(channel)).collect();
    if tracks.is_empty() {
        return Err(RecordError::NothingLeft);
    }
    let folder = plan.folder.clone();
    let failed = |error: std::io::Error| match error.kind() {
        ErrorKind::StorageFull => RecordError::NoSpace(folder.clone()),
        _ => RecordError::Folder { folder: folder.clone(), detail: error.to_string() },
    };
    let (tell, events) = channel();
    let (writer, file) = Writer::begin(disk, plan, format.rate, tracks.len() as u16, tell).map_err(failed)?;
    let (recorder, outlet) = queue(format, tracks.iter().map(|track| track.index()).collect());
    let flags = Arc::clone(&outlet.flags);
    let thread = std::thread::Builder::new().name("recording".into()).spawn(move || writer.run(outlet));
    let thread = thread.map_err(failed)?;
    Ok((recorder, Recording { file, tracks, events, flags, thread: Some(thread), is_over: false }))
}

impl Recording {
    /// What has happened since it was last asked.
    pub fn news(&mut self) -> Vec<RecordEvent> {
        let mut news = Vec::new();
        while !self.is_over {
            match self.events.try_recv() {
                Ok(event) => {
                    self.is_over = matches!(event, RecordEvent::Stopped { .. });
                    news.push(event);
                }
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    self.is_over = true;
                    let why = Stop::Failed("the writer stopped unexpectedly".into());
                    news.push(RecordEvent::Stopped { why, length: Seconds::ZERO });
                }
            }
        }
        news
    }

    /// Its end was told.
    pub const fn is_over(&self) -> bool {
        self.is_over
    }

    /// Asks it to end, without waiting; `news` tells when it has.
    pub fn stop(&self) {
        self.flags.stop.store(true, Release);
    }

    /// Ends it, waits until all that was heard is written, and tells the last news.
    pub fn end(mut self) -> Vec<RecordEvent> {
        self.wait();
        self.news()
    }

    fn wait(&mut self) {
        self.stop();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Drop for Recording {
    fn drop(&mut self) {
        self.wait();
    }
}
