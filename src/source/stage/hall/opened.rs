//! The loop opened at one output, a computer's signal played into it instead, and what comes back: for quiet sweeps.
//!
//! In and out: amplitudes re the desk's full scale. At the *return* the output plays what the computer sends, by the
//! return's own fader, and no channel is assigned to it; the taps are what comes back. At the *main out* the plug is
//! moved: the loudspeakers play what the computer sends, and what the desk would have sent them goes back to it. Either
//! way the output's own loop is open; other outputs go on as they are. A call takes effect at the next frame that is
//! read; nothing queued is silence. An output that is not there stays as it is.

use super::desk::{Bus, Strip};
use crate::block::BlockBuf;
use crate::dsp::resample::stretched;
use crate::source::stage::dice::Dice;
use crate::source::stage::{Source, Stage};
use crate::units::{Db, Dbfs, SampleRate, Seconds};

/// Where the loop is opened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Opening {
    /// Into a spare return with its fader here; no channel goes to the output.
    Return { fader: Db },
    /// Between the desk's output and the loudspeakers.
    MainOut,
}

/// An output's loop while it is open.
pub struct Opened {
    pub output: usize,
    at: Opening,
    /// What will be played, and how much of it has been.
    queue: Vec<f32>,
    played: usize,
    /// What the desk gave instead, while something was played.
    out: Vec<f32>,
}

impl Opened {
    /// From the strips to what the loudspeaker gets.
    pub fn process(&mut self, bus: &mut Bus, strips: &[Strip], out: &mut [f32]) {
        let left = &self.queue[self.played..];
        let played = left.len().min(out.len());
        match self.at {
            Opening::Return { fader } => {
                let gain = fader.ratio() as f32;
                out.fill(0.0);
                out.iter_mut().zip(left).for_each(|(out, sample)| *out = gain * sample);
                bus.shape(out);
            }
            Opening::MainOut => {
                bus.mix(strips, out);
                bus.shape(out);
                // Room for it was made when the signal was queued.
                self.out.extend_from_slice(&out[..played]);
                out.fill(0.0);
                out[..played].copy_from_slice(&left[..played]);
            }
        }
        self.played += played;
        bus.bend(out);
    }
}

/// The computer that plays the sweep and records what comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Computer {
    /// Its output's and its input's knob.
    pub out: Db,
    pub input: Db,
    /// Its buffers, out and in together.
    pub delay: Seconds,
    /// How much longer the capture comes out than what was sent, in parts per million.
    pub drift_ppm: f64,
    /// Of its input, white, RMS.
    pub noise: Dbfs,
    pub seed: u64,
}

impl Computer {
    /// Of one device with the desk: no knob, no delay, no noise of its own.
    pub const PERFECT: Self = Self {
        out: Db::ZERO,
        input: Db::ZERO,
        delay: Seconds::new(0.0),
        drift_ppm: 0.0,
        noise: Dbfs::SILENCE,
        seed: 0,
    };

    /// What it sends out for these samples.
    pub fn plays(&self, samples: &[f32]) -> Vec<f32> {
        let gain = self.out.ratio() as f32;
        samples.iter().map(|sample| gain * sample).collect()
    }

    /// What it records of what comes in.
    pub fn records(&self, heard: &[f32], rate: SampleRate) -> Vec<f32> {
        let late = rate.frames(self.delay).get() as usize;
        let mut delayed = vec![0.0; late.min(heard.len())];
        delayed.extend_from_slice(&heard[..heard.len() - delayed.len()]);
        let mut recorded = stretched(&delayed, 1e-6 * self.drift_ppm);
        recorded.resize(heard.len(), 0.0);
        let (gain, mut dice) = (self.input.ratio() as f32, Dice::new(self.seed, 990));
        // An even spread has the mean square 1/3.
        let noise = 3f64.sqrt() * self.noise.amplitude();
        recorded.iter_mut().for_each(|sample| *sample = gain * *sample + (noise * dice.noise()) as f32);
        recorded
    }

    /// Its output straight into its input: the loopback that a loop is held against.
    pub fn loopback(&self, sent: &[f32], rate: SampleRate) -> Vec<f32> {
        self.records(&self.plays(sent), rate)
    }
}

impl Stage {
    /// Opens an output's loop; `false`: there is none. One that was open is closed.
    pub fn open_loop(&mut self, output: usize, at: Opening) -> bool {
        let Some(loudspeakers) = &mut self.loudspeakers else { return false };
        let there = output < loudspeakers.buses.len();
        loudspeakers.opened = there.then(|| Opened { output, at, queue: Vec::new(), played: 0, out: Vec::new() });
        there
    }

    pub fn close_loop(&mut self) {
        if let Some(loudspeakers) = &mut self.loudspeakers {
            loudspeakers.opened = None;
        }
    }

    /// Queues samples into the open loop, from the next frame on.
    pub fn play_into(&mut self, samples: &[f32]) {
        if let Some(opened) = self.opened() {
            opened.queue.drain(..opened.played);
            opened.played = 0;
            opened.queue.extend_from_slice(samples);
            opened.out.reserve(opened.queue.len());
        }
    }

    /// What the desk's output gave while something was played, since the last call; empty at the return.
    pub fn came_out(&mut self) -> Vec<f32> {
        self.opened().map_or(Vec::new(), |opened| {
            let taken = std::mem::take(&mut opened.out);
            opened.out.reserve(opened.queue.len() - opened.played);
            taken
        })
    }

    /// Plays all of it and records until it is over: every tap at the return, one channel at the main out; none where
    /// no loop is open.
    pub fn sweep(&mut self, sent: &[f32], computer: &Computer) -> Vec<Vec<f32>> {
        let Some(at) = self.opened().map(|opened| opened.at) else { return Vec::new() };
        self.play_into(&computer.plays(sent));
        let (channels, rate) = (self.format().channels, self.format().rate);
        let mut planes = vec![Vec::with_capacity(sent.len()); channels];
        let mut block = BlockBuf::new(channels, BLOCK);
        while planes.first().is_some_and(|plane| plane.len() < sent.len()) {
            let Ok(_) = self.read(&mut block);
            let heard = block.as_block();
            planes.iter_mut().enumerate().for_each(|(channel, plane)| plane.extend_from_slice(heard.channel(channel)));
        }
        planes.iter_mut().for_each(|plane| plane.truncate(sent.len()));
        let heard = if at == Opening::MainOut { vec![self.came_out()] } else { planes };
        heard.iter().map(|plane| computer.records(plane, rate)).collect()
    }

    fn opened(&mut self) -> Option<&mut Opened> {
        self.loudspeakers.as_mut()?.opened.as_mut()
    }
}

/// Frames read at a time.
const BLOCK: usize = 4096;
