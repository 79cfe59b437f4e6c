//! A desk for the simulated stage: its solo buttons, its one feed, and a microphone out in the room.

use crate::support::signals::Noise;
use beforedoors::block::{Block, BlockBuf};
use beforedoors::source::Source;
use beforedoors::source::stage::Stage;
use beforedoors::units::{ChannelId, FrameCount, SampleRate};

/// Low enough to be quick, high enough for every kind's spectrum.
pub fn rate() -> SampleRate {
    SampleRate::new(16_000).expect("a rate")
}

/// What the laptop's input hears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tap {
    /// Whatever is soloed, summed.
    Solo,
    /// All of the stage, from afar.
    Room,
}

/// Peak of the cable's own hiss, −90 dBFS.
const HISS: f64 = 3.2e-5;
/// A microphone at the back of the hall, 26 dB down.
const FAR: f32 = 0.05;

pub struct Desk {
    pub stage: Stage,
    tap: Tap,
    soloed: Vec<bool>,
    inputs: BlockBuf,
    lines: Vec<Vec<f32>>,
    hiss: Noise,
    clock: u64,
}

impl Desk {
    /// The feed comes in alike on each of `lines`.
    pub fn new(stage: Stage, tap: Tap, lines: usize) -> Self {
        let format = stage.format();
        let frames = format.rate.get() as usize / 10;
        Self {
            soloed: vec![false; format.channels],
            inputs: BlockBuf::new(format.channels, frames),
            lines: vec![vec![0.0; frames]; lines],
            hiss: Noise::new(77),
            clock: 0,
            stage,
            tap,
        }
    }

    pub fn solo(&mut self, input: ChannelId, down: bool) {
        self.soloed[input.index()] = down;
    }

    pub fn soloed(&self) -> Vec<ChannelId> {
        (0..self.soloed.len()).filter(|&input| self.soloed[input]).map(ChannelId::from_index).collect()
    }

    /// The next 100 ms.
    pub fn read(&mut self) -> Block<'_> {
        let Ok(_) = self.stage.read(&mut self.inputs);
        let inputs = self.inputs.as_block();
        let start = FrameCount::new(self.clock);
        for line in &mut self.lines {
            for (frame, out) in line.iter_mut().enumerate() {
                let at = |input: usize| inputs.channel(input)[frame];
                let heard: f32 = match self.tap {
                    Tap::Solo => (0..self.soloed.len()).filter(|&input| self.soloed[input]).map(at).sum(),
                    Tap::Room => FAR * (0..self.soloed.len()).map(at).sum::<f32>(),
                };
                *out = heard + (HISS * self.hiss.next().unwrap_or_default()) as f32;
            }
        }
        self.clock += inputs.frames() as u64;
        Block::new(&self.lines, start, FrameCount::ZERO)
    }
}
