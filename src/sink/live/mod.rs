//! The armed tone, the noise for two sides, an excerpt of a recording or a signal for measuring, through a device of this
//! machine.
//!
//! It sounds on the first two channels (or the only one) at the device's own rate and format. The callback
//! is `Player::give`: no allocation, lock, wait or print; it hears of a new level or of `stop` at its next
//! call, about 10 ms later where the device lets the size be chosen, and the sound's own ramp follows.
//! A stream is opened and dropped on a thread of its own, so that neither holds the caller up.

mod outputs;

pub use outputs::{SampleOutput, SideOutput, ToneOutput};

use std::str::FromStr;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, OnceLock, mpsc};
use std::thread;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, FromSample, SampleFormat, SizedSample, StreamConfig, SupportedBufferSize};

use super::error::SinkError;
use super::tone::TONE_START;
use crate::dsp::side_noise::Sides;
use crate::units::{Dbfs, SampleRate};

/// How long a device may take to open.
const ANSWER: Duration = Duration::from_secs(8);
const SYSTEM_ANSWER: Duration = Duration::from_secs(3);
/// How long a stopped sound may take to end before the stream is cut, and what the device still holds then.
const FADE: Duration = Duration::from_millis(500);
const DEVICE_TAIL: Duration = Duration::from_millis(100);
/// Filled at a time.
const FRAMES: usize = 256;
const NAP: Duration = Duration::from_millis(5);

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutputDevice {
    /// To remember it by, `host:id`.
    pub id: String,
    /// To show.
    pub name: String,
    /// The system's choice when none is named.
    pub is_default: bool,
}

/// The outputs of this machine, the system's default first.
pub fn outputs() -> Result<Vec<OutputDevice>, SinkError> {
    quiet();
    let mut found = Vec::new();
    for host in cpal::available_hosts().into_iter().filter_map(|id| cpal::host_from_id(id).ok()) {
        let default = host.default_output_device();
        let default_id = default.as_ref().and_then(|device| device.id().ok());
        let first = found.is_empty();
        let others = host.output_devices().into_iter().flatten();
        let others = others.filter(|device| device.id().ok() != default_id);
        for device in default.into_iter().filter(|_| first).chain(others) {
            let Ok(id) = device.id() else { continue };
            let is_default = first && Some(&id) == default_id.as_ref();
            let listed = is_default || worth_listing(&id.to_string());
            if listed && device.default_output_config().is_ok() {
                found.push(OutputDevice { id: id.to_string(), name: name_of(&device), is_default });
            }
        }
    }
    if found.is_empty() { Err(SinkError::NoDevice) } else { Ok(found) }
}

/// An output by its id, its name, or a part of it.
pub fn find_output(asked: &str) -> Result<OutputDevice, SinkError> {
    let all = outputs()?;
    let wanted = asked.trim().to_lowercase();
    let exact = all.iter().find(|device| device.id == asked || device.name.to_lowercase() == wanted);
    let part = || all.iter().find(|device| device.name.to_lowercase().contains(&wanted));
    exact.or_else(part).cloned().ok_or_else(|| {
        let offered = all.iter().map(|device| format!("  {}", device.name)).collect::<Vec<_>>().join("\n");
        SinkError::Unknown { asked: asked.to_owned(), offered }
    })
}

/// What an output plays, with a ramp of its own behind `stop`.
trait Sound: Send + 'static {
    /// Left and right; an output with one channel gets the left.
    fn fill(&mut self, out: &mut [[f32; 2]]);
    fn set_level(&mut self, _: Dbfs) {}
    fn set_sides(&mut self, _: Sides) {}
    fn stop(&mut self);
    fn is_over(&self) -> bool;
}

/// A stream that plays one sound.
struct Output {
    device: String,
    controls: Arc<Controls>,
    _keep: mpsc::Sender<()>,
}

impl Output {
    fn start<S: Sound>(
        device: Option<&OutputDevice>,
        sound: impl FnOnce(SampleRate) -> Result<S, SinkError> + Send + 'static,
    ) -> Result<Self, SinkError> {
        Self::start_on(device, 1, sound)
    }

    /// On a device with at least so many channels.
    fn start_on<S: Sound>(
        device: Option<&OutputDevice>,
        channels: u16,
        sound: impl FnOnce(SampleRate) -> Result<S, SinkError> + Send + 'static,
    ) -> Result<Self, SinkError> {
        let name = device.map_or_else(|| "the default output".to_owned(), |device| device.name.clone());
        let id = device.map(|device| device.id.clone());
        let controls = Arc::new(Controls::default());
        let (answer, answered) = mpsc::sync_channel(1);
        let (keep, released) = mpsc::channel::<()>();
        let (theirs, label) = (Arc::clone(&controls), name.clone());
        let playing = move || match open(id.as_deref(), &label, channels, sound, &theirs) {
            Ok(stream) => {
                if answer.send(Ok(())).is_ok() {
                    // Nothing is ever sent: it returns when the output is dropped.
                    let _ = released.recv();
                }
                theirs.fade_out();
                drop(stream);
            }
            Err(error) => _ = answer.send(Err(error)),
        };
        thread::Builder::new()
            .name("output".to_owned())
            .spawn(playing)
            .map_err(|error| SinkError::Device { device: name.clone(), detail: error.to_string() })?;
        match answered.recv_timeout(ANSWER) {
            Ok(started) => started.map(|()| Self { device: name, controls, _keep: keep }),
            Err(_) => Err(SinkError::NoAnswer { device: name, seconds: ANSWER.as_secs() }),
        }
    }

    fn stop(&self) {
        self.controls.stop.store(true, Relaxed);
    }

    fn is_over(&self) -> bool {
        self.controls.over.load(Relaxed)
    }

    fn failure(&self) -> Option<SinkError> {
        let error = self.controls.failure.get()?;
        Some(SinkError::Device { device: self.device.clone(), detail: error.to_string() })
    }
}

/// Shared with the callback.
struct Controls {
    /// Bits of the level in dBFS.
    level: AtomicU64,
    /// Which of [`Sides::ALL`].
    sides: AtomicU8,
    stop: AtomicBool,
    over: AtomicBool,
    failure: OnceLock<cpal::Error>,
}

impl Default for Controls {
    fn default() -> Self {
        Self {
            level: AtomicU64::new(TONE_START.get().to_bits()),
            sides: AtomicU8::new(0),
            stop: AtomicBool::new(false),
            over: AtomicBool::new(false),
            failure: OnceLock::new(),
        }
    }
}

impl Controls {
    fn note(&self, error: cpal::Error) {
        use cpal::ErrorKind::{DeviceChanged, RealtimeDenied, Xrun};
        if !matches!(error.kind(), Xrun | DeviceChanged | RealtimeDenied) {
            let _ = self.failure.set(error);
        }
    }

    fn fade_out(&self) {
        self.stop.store(true, Relaxed);
        let mut left = FADE;
        while !self.over.load(Relaxed) && self.failure.get().is_none() && !left.is_zero() {
            thread::sleep(NAP);
            left = left.saturating_sub(NAP);
        }
        thread::sleep(DEVICE_TAIL);
    }
}

/// The body of the callback.
struct Player<S> {
    sound: S,
    channels: usize,
    level: u64,
    controls: Arc<Controls>,
}

impl<S: Sound> Player<S> {
    fn give<T: SizedSample + FromSample<f32>>(&mut self, out: &mut [T]) {
        let level = self.controls.level.load(Relaxed);
        if level != self.level {
            self.level = level;
            self.sound.set_level(Dbfs::new(f64::from_bits(level)));
        }
        let sides = Sides::ALL.get(usize::from(self.controls.sides.load(Relaxed))).copied();
        self.sound.set_sides(sides.unwrap_or_default());
        if self.controls.stop.load(Relaxed) {
            self.sound.stop();
        }
        let mut filled = [[0.0; 2]; FRAMES];
        for frames in out.chunks_mut(FRAMES * self.channels) {
            let filled = &mut filled[..frames.len() / self.channels];
            self.sound.fill(filled);
            for (frame, sides) in frames.chunks_exact_mut(self.channels).zip(filled) {
                for (channel, out) in frame.iter_mut().enumerate() {
                    *out = sides.get(channel).map_or(T::EQUILIBRIUM, |sample| T::from_sample(*sample));
                }
            }
        }
        self.controls.over.store(self.sound.is_over(), Relaxed);
    }
}

fn open<S: Sound>(
    id: Option<&str>,
    name: &str,
    channels: u16,
    sound: impl FnOnce(SampleRate) -> Result<S, SinkError>,
    controls: &Arc<Controls>,
) -> Result<cpal::Stream, SinkError> {
    quiet();
    let failed = |detail: String| {
        let detail = detail.trim_end_matches('.').to_owned();
        SinkError::Device { device: name.to_owned(), detail }
    };
    let ours = |error: cpal::Error| failed(error.to_string());
    let device = match id {
        Some(id) => resolve(id).ok_or_else(|| failed("it is not there any more".to_owned()))?,
        None => cpal::default_host().default_output_device().ok_or(SinkError::NoDevice)?,
    };
    let config = device.default_output_config().map_err(ours)?;
    let rate = SampleRate::new(config.sample_rate())
        .ok_or_else(|| failed(format!("its rate of {} Hz is out of reach", config.sample_rate())))?;
    if config.channels() < channels {
        return Err(SinkError::OneSided { device: name.to_owned() });
    }
    let sound = sound(rate)?;
    let buffer_size = match *config.buffer_size() {
        SupportedBufferSize::Range { min, max } if min <= max => {
            BufferSize::Fixed((rate.get() / 100).clamp(min.max(1), max.max(1)))
        }
        _ => BufferSize::Default,
    };
    let stream_config = StreamConfig { buffer_size, ..config.config() };
    let player = Player {
        sound,
        channels: usize::from(config.channels()),
        level: TONE_START.get().to_bits(),
        controls: Arc::clone(controls),
    };
    let stream = build(&device, config.sample_format(), stream_config, player).map_err(ours)?;
    stream.play().map_err(ours)?;
    Ok(stream)
}

fn build<S: Sound>(
    device: &cpal::Device,
    format: SampleFormat,
    config: StreamConfig,
    player: Player<S>,
) -> Result<cpal::Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8, S>(device, config, player),
        SampleFormat::I16 => build_as::<i16, S>(device, config, player),
        SampleFormat::I24 => build_as::<cpal::I24, S>(device, config, player),
        SampleFormat::I32 => build_as::<i32, S>(device, config, player),
        SampleFormat::U8 => build_as::<u8, S>(device, config, player),
        SampleFormat::U16 => build_as::<u16, S>(device, config, player),
        SampleFormat::U24 => build_as::<cpal::U24, S>(device, config, player),
        SampleFormat::U32 => build_as::<u32, S>(device, config, player),
        SampleFormat::F32 => build_as::<f32, S>(device, config, player),
        SampleFormat::F64 => build_as::<f64, S>(device, config, player),
        _ => Err(cpal::ErrorKind::UnsupportedConfig.into()),
    }
}

fn build_as<T: SizedSample + FromSample<f32>, S: Sound>(
    device: &cpal::Device,
    config: StreamConfig,
    mut player: Player<S>,
) -> Result<cpal::Stream, cpal::Error> {
    let controls = Arc::clone(&player.controls);
    device.build_output_stream(
        config,
        move |out: &mut [T], _| player.give(out),
        move |error| controls.note(error),
        Some(SYSTEM_ANSWER),
    )
}

fn resolve(id: &str) -> Option<cpal::Device> {
    let id = cpal::DeviceId::from_str(id).ok()?;
    let host = cpal::host_from_id(id.host()).ok()?;
    let named = host.device_by_id(&id);
    named.or_else(|| host.default_output_device().filter(|device| device.id().is_ok_and(|own| own == id)))
}

fn name_of(device: &cpal::Device) -> String {
    device.description().map_or_else(|_| "an unnamed output".to_owned(), |description| description.name().to_owned())
}

/// Of ALSA's many names for one card, the one that plays any format and does not change with the next start.
fn worth_listing(id: &str) -> bool {
    let Some(pcm) = id.strip_prefix("alsa:") else { return true };
    pcm.strip_prefix("plughw:CARD=").is_some_and(|card| !card.starts_with(|c: char| c.is_ascii_digit()))
}

/// ALSA would print every device that cannot be opened; this thread's messages go to a buffer instead.
fn quiet() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sink::tone::{TONE_PITCH, TONE_STEP, ToneGenerator};

    fn player(channels: usize) -> (Player<ToneGenerator>, Arc<Controls>) {
        let controls = Arc::new(Controls::default());
        let rate = SampleRate::new(48_000).expect("a rate");
        let tone = ToneGenerator::new(rate, TONE_PITCH).expect("a pitch");
        let level = TONE_START.get().to_bits();
        (Player { sound: tone, channels, level, controls: Arc::clone(&controls) }, controls)
    }

    /// The first two channels carry the same tone, the others rest, in signed and unsigned codes.
    #[test]
    fn two_channels_sound() {
        let (mut player, _) = player(4);
        let mut out = vec![7_u16; 4 * 4_801];
        player.give(&mut out);
        let top = out.iter().map(|code| code.abs_diff(32_768)).max().expect("samples");
        // −30 dBFS of 32768 codes.
        assert_eq!(top, 1_036);
        for frame in out.chunks(4) {
            assert_eq!(frame[0], frame[1]);
            assert_eq!(frame[2..], [32_768, 32_768]);
        }
    }

    /// Level and stop reach the callback; after the stop it gives only zeros and says so.
    #[test]
    fn controls_reach_the_callback() {
        let (mut player, controls) = player(1);
        let mut out = vec![0.0_f32; 4_800];
        player.give(&mut out);
        controls.level.store(TONE_STEP.get().to_bits(), Relaxed);
        player.give(&mut out);
        player.give(&mut out);
        let peak = out.iter().copied().fold(0.0, f32::max);
        assert!((peak - 0.1).abs() < 1e-6, "{peak}");
        controls.stop.store(true, Relaxed);
        player.give(&mut out[..2_399]);
        assert!(!controls.over.load(Relaxed));
        player.give(&mut out[..1]);
        assert!(controls.over.load(Relaxed));
        player.give(&mut out);
        assert!(out.iter().all(|sample| *sample == 0.0));
    }

    #[test]
    fn one_name_for_each_card() {
        for (id, listed) in [
            ("alsa:plughw:CARD=Desk,DEV=0", true),
            ("alsa:plughw:CARD=1,DEV=0", false),
            ("alsa:hw:CARD=Desk,DEV=0", false),
            ("alsa:surround51:CARD=Desk,DEV=0", false),
            ("alsa:null", false),
            ("pulseaudio:speakers", true),
        ] {
            assert_eq!(worth_listing(id), listed, "{id}");
        }
    }
}
