//! Live input: any device that the machine offers, all its channels, in its own format and rate.
//!
//! ```text
//! device ──callback: Intake::take──▶ ring of ~2 s ──LiveSource::read──▶ blocks
//! ```
//!
//! Samples are `f32`, 1.0 = full scale, as the device gives them: no gain, no dither, no rate conversion.
//! This room and `sink::live` are the only ones that name cpal. Lost frames become a gap of the block that
//! follows; a device that says nothing any more is a state (`Health`), one that reports its end an error, and `Returning`
//! has it back when it can be had.

mod awake;
mod choice;
mod convert;
mod device;
mod error;
mod health;
mod keeper;
mod priority;
mod quiet;
mod returning;
mod ring;

use std::sync::atomic::Ordering::Relaxed;
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, SampleFormat};

pub use choice::{LiveConfig, RateRange};
pub use convert::Amplitude;
pub use device::{InputDevice, devices, find, pick};
pub use error::LiveError;
pub use health::{Health, InputState, STARVED_AFTER, ZEROS_AFTER};
pub use priority::raise_listener;
pub use returning::Returning;
pub use ring::{Intake, RING_SPAN};

use crate::block::{BlockBuf, Format};
use crate::source::{Flow, Source};
use crate::units::FrameCount;
use choice::{Choice, Offer};
use keeper::Keeper;
use ring::{Outlet, ZeroTail};

/// How long `read` waits for samples.
const WAIT: Duration = Duration::from_millis(20);
const NAP: Duration = Duration::from_millis(2);
/// How long the sound system may take with one request.
const SYSTEM_ANSWER: Duration = Duration::from_secs(3);

/// A device that is being heard. Dropping it never waits for the device.
pub struct LiveSource {
    name: String,
    format: Format,
    outlet: Outlet,
    /// `None` once the device is lost, and when the caller feeds it.
    keeper: Option<Keeper>,
    /// The frame that comes next, lost ones counted.
    next: FrameCount,
    /// All-zero frames up to now.
    zeros: u64,
    callbacks: u64,
    callback_seen: Instant,
    reopened: u32,
}

impl LiveSource {
    pub fn open(device: &InputDevice, want: LiveConfig) -> Result<Self, LiveError> {
        let (id, name) = (device.id.clone(), device.name.clone());
        let (keeper, (format, outlet)) = keeper::keep(&device.name, move || start(&id, &name, &want, None))?;
        Ok(Self::new(device.name.clone(), format, outlet, Some(keeper)))
    }

    /// A source without a device: what the caller gives to the `Intake`, as a callback would, comes out.
    pub fn fed(format: Format) -> (Intake, Self) {
        let (intake, outlet) = ring::ring(format);
        (intake, Self::new("the fed input".to_owned(), format, outlet, None))
    }

    pub fn health(&self) -> Health {
        let counters = &self.outlet.counters;
        let callbacks = counters.callbacks.load(Relaxed);
        // Callbacks since the last `read` are news, however long ago that was.
        let since_callback = if callbacks == self.callbacks { self.callback_seen.elapsed() } else { Duration::ZERO };
        let state = if counters.failure().is_some() {
            InputState::Lost
        } else if since_callback > STARVED_AFTER {
            InputState::Starved
        } else if self.zeros > self.format.rate.frames(ZEROS_AFTER).get() {
            InputState::OnlyZeros
        } else {
            InputState::Running
        };
        Health {
            state,
            callbacks,
            frames: FrameCount::new(counters.frames.load(Relaxed)),
            dropped: FrameCount::new(counters.dropped.load(Relaxed)),
            overruns: counters.overruns.load(Relaxed),
            rerouted: counters.rerouted.load(Relaxed),
            reopened: self.reopened,
            since_callback,
        }
    }

    fn new(name: String, format: Format, outlet: Outlet, keeper: Option<Keeper>) -> Self {
        Self {
            name,
            format,
            outlet,
            keeper,
            next: FrameCount::ZERO,
            zeros: 0,
            callbacks: 0,
            callback_seen: Instant::now(),
            reopened: 0,
        }
    }

    /// A new stream: its callbacks are counted from nothing.
    fn begin_to_watch(&mut self) {
        (self.callbacks, self.callback_seen, self.zeros) = (0, Instant::now(), 0);
    }

    fn note_callbacks(&mut self) {
        let callbacks = self.outlet.counters.callbacks.load(Relaxed);
        if callbacks != self.callbacks {
            self.callbacks = callbacks;
            self.callback_seen = Instant::now();
        }
    }

    fn note_zeros(&mut self, tail: ZeroTail) {
        self.zeros = if tail.whole { self.zeros + tail.frames } else { tail.frames };
    }
}

impl Source for LiveSource {
    type Error = LiveError;

    fn format(&self) -> Format {
        self.format
    }

    /// Gives what has come, without waiting for more, or waits about 20 ms for something to come. What was
    /// delivered before a loss is given before its error.
    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, LiveError> {
        let deadline = Instant::now() + WAIT;
        loop {
            self.note_callbacks();
            let failure = self.outlet.counters.failure().map(|error| LiveError::from_system(&self.name, error));
            if failure.is_some() {
                // At once: a dying sound server can call back without end.
                self.keeper = None;
            }
            if let Some(tail) = self.outlet.drain(block, self.next) {
                self.next = block.as_block().start() + FrameCount::new(block.frames() as u64);
                self.note_zeros(tail);
                return Ok(Flow::More);
            }
            match failure {
                Some(failure) => return Err(failure),
                None if Instant::now() >= deadline => return Ok(Flow::More),
                None => thread::sleep(NAP),
            }
        }
    }
}

/// How a device was heard before it was lost.
#[derive(Clone, Copy)]
struct Before {
    since: Instant,
    format: Format,
}

/// Opens the device and starts it; runs on the keeper's thread. What was missed since it was lost is a gap; one that has
/// another form by now would not be on the same clock, or not on the same lines.
fn start(
    id: &str,
    name: &str,
    want: &LiveConfig,
    before: Option<Before>,
) -> Result<(cpal::Stream, (Format, Outlet)), LiveError> {
    quiet::quiet();
    let ours = |error: cpal::Error| LiveError::from_system(name, &error);
    let gone = || LiveError::Lost { device: name.to_owned(), detail: "it is not there any more".to_owned() };
    let device = device::resolve(id).or_else(|| before.and_then(|_| device::renamed(name))).ok_or_else(gone)?;
    let offer = Offer::of(&device).map_err(ours)?;
    let choice = offer.choose(want).ok_or_else(|| LiveError::NotOffered {
        device: name.to_owned(),
        asked: want.in_words(),
        offered: offer.in_words(),
    })?;
    let format = Format { rate: choice.rate, channels: choice.channels };
    if let Some(before) = before.filter(|before| before.format != format) {
        return Err(LiveError::Changed { device: name.to_owned(), was: in_words(before.format), is: in_words(format) });
    }
    let attempt = |choice: &Choice| {
        let (mut intake, outlet) = ring::ring(format);
        intake.keep_time(before.map(|before| before.since));
        build(&device, choice, intake, &outlet).map(|stream| (stream, outlet))
    };
    let by_default = Choice { buffer: BufferSize::Default, ..choice };
    let (stream, outlet) = match attempt(&choice) {
        Err(error) if error.kind() == cpal::ErrorKind::UnsupportedConfig => attempt(&by_default),
        opened => opened,
    }
    .map_err(ours)?;
    stream.play().map_err(ours)?;
    Ok((stream, (format, outlet)))
}

fn in_words(Format { rate, channels }: Format) -> String {
    LiveConfig { rate: Some(rate), channels: Some(channels) }.in_words()
}

fn build(device: &cpal::Device, choice: &Choice, intake: Intake, outlet: &Outlet) -> Result<cpal::Stream, cpal::Error> {
    match choice.format {
        SampleFormat::I8 => build_as::<i8>(device, choice, intake, outlet),
        SampleFormat::I16 => build_as::<i16>(device, choice, intake, outlet),
        SampleFormat::I24 => build_as::<cpal::I24>(device, choice, intake, outlet),
        SampleFormat::I32 => build_as::<i32>(device, choice, intake, outlet),
        SampleFormat::I64 => build_as::<i64>(device, choice, intake, outlet),
        SampleFormat::U8 => build_as::<u8>(device, choice, intake, outlet),
        SampleFormat::U16 => build_as::<u16>(device, choice, intake, outlet),
        SampleFormat::U24 => build_as::<cpal::U24>(device, choice, intake, outlet),
        SampleFormat::U32 => build_as::<u32>(device, choice, intake, outlet),
        SampleFormat::U64 => build_as::<u64>(device, choice, intake, outlet),
        SampleFormat::F32 => build_as::<f32>(device, choice, intake, outlet),
        SampleFormat::F64 => build_as::<f64>(device, choice, intake, outlet),
        _ => Err(cpal::ErrorKind::UnsupportedConfig.into()),
    }
}

fn build_as<T: cpal::SizedSample + Amplitude>(
    device: &cpal::Device,
    choice: &Choice,
    mut intake: Intake,
    outlet: &Outlet,
) -> Result<cpal::Stream, cpal::Error> {
    let counters = std::sync::Arc::clone(&outlet.counters);
    let mut raise = Some(priority::raise_caller);
    device.build_input_stream(
        choice.stream_config(),
        move |data: &[T], _| {
            if let Some(raise) = raise.take() {
                raise();
            }
            intake.take(data);
        },
        move |error| counters.note(error),
        Some(SYSTEM_ANSWER),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    fn fed(channels: usize) -> (Intake, LiveSource, BlockBuf) {
        let format = Format { rate: SampleRate::new(8_000).expect("a rate"), channels };
        let (intake, source) = LiveSource::fed(format);
        (intake, source, BlockBuf::new(channels, 1_000))
    }

    #[test]
    fn nothing_to_read_is_no_end() {
        let (_intake, mut source, mut block) = fed(2);
        assert_eq!(source.read(&mut block), Ok(Flow::More));
        assert!(block.is_empty());
    }

    /// More than 2 s of exact zeros is a state of its own; the smallest sound ends it.
    #[test]
    fn only_zeros() {
        let (mut intake, mut source, mut block) = fed(2);
        for second in 1..=3 {
            intake.take(&vec![0.0_f32; 16_000]);
            for _ in 0..8 {
                source.read(&mut block).expect("samples");
            }
            let expected = if second < 3 { InputState::Running } else { InputState::OnlyZeros };
            assert_eq!(source.health().state, expected, "after {second} s");
        }
        intake.take(&[0.0_f32, 1e-7]);
        source.read(&mut block).expect("samples");
        assert_eq!(source.health().state, InputState::Running);
    }

    #[test]
    fn what_came_before_a_loss_is_given_first() {
        let (mut intake, mut source, mut block) = fed(1);
        intake.take(&[0.25_f32; 10]);
        source.outlet.counters.note(cpal::ErrorKind::DeviceNotAvailable.into());
        assert_eq!(source.read(&mut block), Ok(Flow::More));
        assert_eq!(block.frames(), 10);
        for _ in 0..2 {
            assert!(matches!(source.read(&mut block), Err(LiveError::Lost { .. })));
        }
        assert_eq!(source.health().state, InputState::Lost);
    }
}
