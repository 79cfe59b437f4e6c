//! Measures the desk reference on a live line, with the program's own tone or one that is played elsewhere.
//!
//! Runs on the caller's thread and tells it how things stand about ten times a second; the caller may stop
//! it at any time, and the tone is silent within 50 ms.

use crate::block::BlockBuf;
pub use crate::coach::{Awaited, Caution, Refusal};
use crate::coach::{DeskZero, Reference};
use crate::meters::Meters;
use crate::sink::{Armed, SinkError, TONE_PITCH, TONE_START, TONE_STEP, ToneOutput};
pub use crate::sink::{arm, write_tone_wav};
use crate::source::live::{self, LiveConfig, LiveError, LiveSource};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Dbfs, Seconds};

/// Where the tone comes from.
#[derive(Debug)]
pub enum ToneFrom {
    /// This machine's output, armed by the person.
    Output(Armed),
    /// The tone file, played from somewhere else.
    Elsewhere,
}

/// How things stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    pub awaited: Awaited,
    /// The newest 100 ms of the line.
    pub level: Dbfs,
}

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DeskZeroEnd {
    Found(DeskZero),
    Refused(Refusal),
    Stopped,
}

#[derive(Debug, thiserror::Error)]
pub enum DeskZeroError {
    #[error(transparent)]
    Input(#[from] LiveError),
    #[error(transparent)]
    Output(#[from] SinkError),
    #[error("the input has only {channels} channels. Name one from 1 to {channels}")]
    NoSuchLine { channels: usize },
}

/// Read at a time; a pressed key stops the tone no later than this plus its ramp.
const BLOCK: Seconds = Seconds::new(0.1);

/// Measures on channel `line` of `device`. `go_on` returns `false` to stop.
pub fn measure(
    device: &str,
    line: ChannelId,
    tone: ToneFrom,
    go_on: &mut dyn FnMut(Progress) -> bool,
) -> Result<DeskZeroEnd, DeskZeroError> {
    let mut source = LiveSource::open(&live::find(device)?, LiveConfig::default())?;
    let format = source.format();
    if line.index() >= format.channels {
        return Err(DeskZeroError::NoSuchLine { channels: format.channels });
    }
    let mut meters = Meters::new(format, &[]);
    let mut reference = Reference::new();
    let mut block = BlockBuf::new(format.channels, format.rate.frames(BLOCK).get() as usize);
    let mut output = None;
    let mut leave = match tone {
        ToneFrom::Output(armed) => Some(armed),
        ToneFrom::Elsewhere => None,
    };
    loop {
        let flow = source.read(&mut block)?;
        meters.push(&block.as_block(), &mut |readings| {
            if readings.frame_complete {
                reference.observe(&readings.channels[line.index()].frame);
            }
        });
        if reference.awaited() == Awaited::Tone
            && let Some(armed) = leave.take()
        {
            output = Some(ToneOutput::start(armed, None, TONE_PITCH)?);
        }
        if let Some(output) = &output {
            output.set_level(tone_level(reference.awaited()));
            output.failure().map_or(Ok(()), Err)?;
        }
        let level = meters.readings().channels[line.index()].frame.rms;
        let stopped = !go_on(Progress { awaited: reference.awaited(), level });
        let end = match (reference.result(), reference.refusal()) {
            (Some(zero), _) => Some(DeskZeroEnd::Found(zero)),
            (_, Some(refusal)) => Some(DeskZeroEnd::Refused(refusal)),
            _ => (stopped || flow == Flow::End).then_some(DeskZeroEnd::Stopped),
        };
        if let Some(end) = end {
            if let Some(output) = output {
                output.stop();
            }
            return Ok(end);
        }
    }
}

/// Starts at −30 dBFS; the step is 10 dB up.
fn tone_level(awaited: Awaited) -> Dbfs {
    match awaited {
        Awaited::Silence | Awaited::SilenceAgain => Dbfs::SILENCE,
        Awaited::Tone => TONE_START,
        Awaited::HigherTone | Awaited::DeskAtZero => TONE_STEP,
    }
}
