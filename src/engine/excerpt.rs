//! A few seconds of a recording through this machine's output, armed by the person.
//!
//! Reading, opening the output and waiting for the end happen on a thread of their own; whoever asked looks at
//! [`Playing::played`]. One channel is heard, on both sides. What it sounds like is limited by `sink::Excerpt`. Times
//! are seconds from the recording's start.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::block::BlockBuf;
pub use crate::sink::{Armed, arm};
use crate::sink::{SampleOutput, SinkError};
use crate::source::file::{FileError, FileSource};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, SampleRate, Seconds};

/// Heard before a fault and behind its beginning; no passage is longer than both together.
pub const BEFORE: Seconds = Seconds::new(2.0);
pub const BEHIND: Seconds = Seconds::new(4.0);

/// What is to be heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    pub path: PathBuf,
    pub channel: ChannelId,
    pub from: Seconds,
    pub to: Seconds,
}

impl Passage {
    /// A few seconds around `at`.
    pub fn around(path: &Path, channel: ChannelId, at: Seconds) -> Self {
        let from = Seconds::new((at - BEFORE).get().max(0.0));
        Self { path: path.to_owned(), channel, from, to: at + BEHIND }
    }
}

/// How far it is.
#[derive(Clone, Debug, PartialEq)]
pub enum Played {
    /// The passage is looked for, the output opened.
    Preparing,
    /// Sounds; where in the recording it is.
    Sounding(Seconds),
    Over,
    /// What went wrong and how to mend it.
    Failed(String),
}

/// A passage that plays. Dropping it stops it.
pub trait Playing {
    fn played(&self) -> Played;
    /// Silent within 50 ms.
    fn stop(&self);
}

/// Why a passage can't be heard.
#[derive(Debug, thiserror::Error)]
pub enum ExcerptError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Output(#[from] SinkError),
    #[error("there is no sound at that place any more. Drop the recording here again")]
    Nothing,
}

/// Begins to play.
pub fn play(leave: Armed, passage: Passage) -> Box<dyn Playing> {
    let shared = Arc::new(Shared { played: Mutex::new(Played::Preparing), stop: AtomicBool::new(false) });
    let theirs = Arc::clone(&shared);
    let work = move || {
        let end = match sound(leave, &passage, &theirs) {
            Ok(()) => Played::Over,
            Err(error) => Played::Failed(error.to_string()),
        };
        theirs.tell(end);
    };
    if let Err(error) = std::thread::Builder::new().name("excerpt".into()).spawn(work) {
        shared.tell(Played::Failed(format!("playing could not begin: {error}. Close other programs, try again")));
    }
    Box::new(Excerpt(shared))
}

struct Shared {
    played: Mutex<Played>,
    stop: AtomicBool,
}

impl Shared {
    fn tell(&self, played: Played) {
        *self.played.lock().unwrap_or_else(PoisonError::into_inner) = played;
    }
}

struct Excerpt(Arc<Shared>);

impl Playing for Excerpt {
    fn played(&self) -> Played {
        self.0.played.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn stop(&self) {
        self.0.stop.store(true, Relaxed);
    }
}

impl Drop for Excerpt {
    fn drop(&mut self) {
        self.stop();
    }
}

/// A stop is heard of this soon.
const NAP: Duration = Duration::from_millis(5);

fn sound(leave: Armed, passage: &Passage, shared: &Shared) -> Result<(), ExcerptError> {
    let (samples, rate) = read(passage, &|| shared.stop.load(Relaxed))?;
    if shared.stop.load(Relaxed) {
        return Ok(());
    }
    let output = SampleOutput::excerpt(leave, None, samples, rate)?;
    let began = Instant::now();
    while !output.is_over() {
        if let Some(error) = output.failure() {
            return Err(error.into());
        }
        if shared.stop.load(Relaxed) {
            output.stop();
        }
        let gone = Seconds::new(began.elapsed().as_secs_f64());
        // An output that swallows nothing would never end.
        if gone > passage.to - passage.from + BEHIND {
            break;
        }
        shared.tell(Played::Sounding(passage.from + gone));
        std::thread::sleep(NAP);
    }
    Ok(())
}

/// The passage's own samples, invalid ones as silence.
fn read(passage: &Passage, stopped: &dyn Fn() -> bool) -> Result<(Vec<f32>, SampleRate), ExcerptError> {
    let mut source = FileSource::open(&passage.path)?;
    let format = source.format();
    let (from, to) = (format.rate.frames(passage.from).get(), format.rate.frames(passage.to).get());
    if passage.channel.index() >= format.channels {
        return Err(ExcerptError::Nothing);
    }
    source.skip(from)?;
    let mut block = BlockBuf::new(format.channels, format.rate.get() as usize);
    let mut samples = Vec::with_capacity(to.saturating_sub(from) as usize);
    loop {
        let flow = source.read(&mut block)?;
        let part = block.as_block();
        let (start, end) = (part.start().get(), part.start().get() + part.frames() as u64);
        let (first, last) = (from.clamp(start, end) - start, to.clamp(start, end) - start);
        let heard = &part.channel(passage.channel.index())[first as usize..last as usize];
        samples.extend(heard.iter().map(|sample| if sample.is_finite() { *sample } else { 0.0 }));
        if flow == Flow::End || end >= to || stopped() {
            break;
        }
    }
    if samples.is_empty() && !stopped() { Err(ExcerptError::Nothing) } else { Ok((samples, format.rate)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10 s in which every sample tells its place: 8000 frames a second, 1 step a frame on channel 2.
    fn counted(folder: &Path) -> PathBuf {
        let path = folder.join("counted.wav");
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: 8_000,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        for n in 0..80_000 {
            writer.write_sample(0).unwrap();
            writer.write_sample(n << 8).unwrap();
        }
        writer.finalize().unwrap();
        path
    }

    fn passage(path: &Path, channel: u16, at: f64) -> Passage {
        Passage::around(path, ChannelId::new(channel), Seconds::new(at))
    }

    #[test]
    fn the_passage_is_the_one_that_was_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = counted(folder.path());
        let place = |sample: f32| (f64::from(sample) * f64::from(1 << 23)).round() as usize;
        for (at, first, frames) in [(5.0, 24_000, 48_000), (0.5, 0, 36_000), (9.0, 56_000, 24_000)] {
            let (samples, rate) = read(&passage(&path, 1, at), &|| false).unwrap();
            assert_eq!((samples.len(), rate.get()), (frames, 8_000), "{at}");
            assert_eq!((place(samples[0]), place(samples[frames - 1])), (first, first + frames - 1), "{at}");
        }
    }

    /// The same from a file that can't be wound: the committed FLAC holds the committed WAV's samples.
    #[test]
    fn a_decoded_file_gives_the_same_passage() {
        let fixture = |name: &str| Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name);
        let both = ["phrase.wav", "phrase.flac"].map(|name| {
            let path = fixture(name);
            let passage = Passage { to: Seconds::new(0.3), from: Seconds::new(0.1), ..passage(&path, 0, 0.0) };
            read(&passage, &|| false).unwrap()
        });
        assert!(!both[0].0.is_empty());
        assert_eq!(both[0], both[1]);
    }

    #[test]
    fn what_is_not_there_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let path = counted(folder.path());
        for wrong in [passage(&path, 2, 5.0), passage(&path, 0, 60.0), passage(&folder.path().join("gone.wav"), 0, 1.0)]
        {
            let said = read(&wrong, &|| false).unwrap_err().to_string();
            assert!(said.contains(". "), "{said}");
        }
        // On a thread of its own the same is told as a state.
        let playing = play(arm(true).unwrap(), passage(&path, 2, 5.0));
        for _ in 0..1_000 {
            if playing.played() != Played::Preparing {
                break;
            }
            std::thread::sleep(NAP);
        }
        assert_eq!(playing.played(), Played::Failed(ExcerptError::Nothing.to_string()));
    }
}
