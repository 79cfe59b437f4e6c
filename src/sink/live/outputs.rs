//! What can be played: each sound behind its own handle, which stops it when it is dropped.

use std::sync::atomic::Ordering::Relaxed;

use super::{FRAMES, Output, OutputDevice, Sound};
use crate::dsp::resample::resample;
use crate::dsp::side_noise::{SideNoise, Sides};
use crate::sink::Armed;
use crate::sink::error::SinkError;
use crate::sink::excerpt::Excerpt;
use crate::sink::once::Once;
use crate::sink::tone::{TONE_HIGHEST, ToneGenerator};
use crate::units::{Dbfs, Hertz, SampleRate};

/// The same on both sides.
fn both(out: &mut [[f32; 2]], fill: impl FnOnce(&mut [f32])) {
    let mut mono = [0.0; FRAMES];
    let mono = &mut mono[..out.len()];
    fill(mono);
    for (frame, sample) in out.iter_mut().zip(mono) {
        *frame = [*sample; 2];
    }
}

impl Sound for ToneGenerator {
    fn fill(&mut self, out: &mut [[f32; 2]]) {
        both(out, |mono| Self::fill(self, mono));
    }

    fn set_level(&mut self, level: Dbfs) {
        Self::set_level(self, level);
    }

    fn stop(&mut self) {
        Self::stop(self);
    }

    fn is_over(&self) -> bool {
        Self::is_over(self)
    }
}

/// Samples have their level from whoever made them.
impl Sound for Once {
    fn fill(&mut self, out: &mut [[f32; 2]]) {
        both(out, |mono| Self::fill(self, mono));
    }

    fn stop(&mut self) {
        Self::stop(self);
    }

    fn is_over(&self) -> bool {
        Self::is_over(self)
    }
}

/// The noise, and whether it was stopped.
struct Noise {
    noise: SideNoise,
    stopped: bool,
}

impl Sound for Noise {
    fn fill(&mut self, out: &mut [[f32; 2]]) {
        out.fill_with(|| self.noise.next_frame());
    }

    fn set_sides(&mut self, sides: Sides) {
        self.noise.play(if self.stopped { Sides::default() } else { sides });
    }

    fn stop(&mut self) {
        self.stopped = true;
        self.noise.play(Sides::default());
    }

    fn is_over(&self) -> bool {
        self.stopped && self.noise.is_silent()
    }
}

/// A tone that is playing. Dropping it fades it out.
pub struct ToneOutput(Output);

impl ToneOutput {
    /// Starts the tone at −30 dBFS; without a device, on the system's default output.
    pub fn start(_leave: Armed, device: Option<&OutputDevice>, pitch: Hertz) -> Result<Self, SinkError> {
        let tone = move |rate: SampleRate| {
            ToneGenerator::new(rate, pitch).ok_or_else(|| SinkError::Pitch {
                pitch: format!("{} Hz", pitch.get()),
                rate: rate.to_string(),
                highest: ToneGenerator::highest_pitch(rate).get(),
            })
        };
        Output::start(device, tone).map(Self)
    }

    /// Glides to `level`, never above −10 dBFS.
    pub fn set_level(&self, level: Dbfs) {
        self.0.controls.level.store(level.get().to_bits(), Relaxed);
    }

    /// Silence within 50 ms of the device's next call; for good, a new tone needs a new confirmation.
    pub fn stop(&self) {
        self.0.stop();
    }

    /// The tone was stopped and has ended.
    pub fn is_over(&self) -> bool {
        self.0.is_over()
    }

    /// What went wrong since it started.
    pub fn failure(&self) -> Option<SinkError> {
        self.0.failure()
    }
}

/// The noise for two sides, playing; silent at first. Dropping it fades it out.
pub struct SideOutput(Output);

impl SideOutput {
    /// Without a device, on the system's default output, which needs two channels.
    pub fn start(_leave: Armed, device: Option<&OutputDevice>) -> Result<Self, SinkError> {
        let noise = |rate: SampleRate| Ok(Noise { noise: SideNoise::new(rate, 1), stopped: false });
        Output::start_on(device, 2, noise).map(Self)
    }

    pub fn play(&self, sides: Sides) {
        self.0.controls.sides.store(sides as u8, Relaxed);
    }

    /// What went wrong since it started.
    pub fn failure(&self) -> Option<SinkError> {
        self.0.failure()
    }
}

/// Samples that are playing, once. Dropping it fades them out.
pub struct SampleOutput(Output);

impl SampleOutput {
    /// A passage of a recording, mono, at this rate, within the limits of [`Excerpt`]; without a device, on the system's
    /// default output.
    pub fn excerpt(
        _leave: Armed,
        device: Option<&OutputDevice>,
        samples: Vec<f32>,
        rate: SampleRate,
    ) -> Result<Self, SinkError> {
        let excerpt = move |wanted| Ok(Excerpt::new(resample(&samples, rate, wanted), wanted).into_once());
        Output::start(device, excerpt).map(Self)
    }

    /// A signal for measuring, the whole of it softer where a sample stands over [`TONE_HIGHEST`].
    pub fn signal(
        _leave: Armed,
        device: Option<&OutputDevice>,
        mut samples: Vec<f32>,
        rate: SampleRate,
    ) -> Result<Self, SinkError> {
        samples.iter_mut().filter(|sample| !sample.is_finite()).for_each(|sample| *sample = 0.0);
        let peak = samples.iter().fold(0f32, |peak, sample| peak.max(sample.abs()));
        let gain = (TONE_HIGHEST.amplitude() as f32 / peak).min(1.0);
        samples.iter_mut().for_each(|sample| *sample *= gain);
        Output::start(device, move |wanted| Ok(Once::new(resample(&samples, rate, wanted), wanted))).map(Self)
    }

    /// Silence within 10 ms of the device's next call.
    pub fn stop(&self) {
        self.0.stop();
    }

    /// It was stopped or came to its end.
    pub fn is_over(&self) -> bool {
        self.0.is_over()
    }

    /// What went wrong since it started.
    pub fn failure(&self) -> Option<SinkError> {
        self.0.failure()
    }
}
