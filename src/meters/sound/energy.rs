//! Energies in stretches of 100 ms, and their means over any span: LAeq.
//!
//! In: sums of squares, re full scale, and how many frames were heard; holes count as time, not as sound. Windows up to
//! a quarter of an hour slide in steps of a stretch; a longer span lies between two [`Tally`]s. Nothing heard is −∞.

use super::readings::Leq;
use crate::dsp::lanes;
use crate::units::{Dbfs, FrameCount, SampleRate};

/// Stretches in a second.
pub(super) const PER_SECOND: u64 = 10;
/// A quarter of an hour.
const LONGEST: usize = 900 * PER_SECOND as usize;

/// All the energy up to a moment. Two of them make the mean of what lies between.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    pub(super) energy: f64,
    pub(super) heard: u64,
    pub(super) frames: u64,
}

impl Tally {
    /// What lies between an earlier moment and this one.
    pub fn since(&self, earlier: &Self, rate: SampleRate) -> Leq {
        leq(
            self.energy - earlier.energy,
            self.heard.saturating_sub(earlier.heard),
            self.frames.saturating_sub(earlier.frames),
            rate,
        )
    }

    pub(super) fn all(&self, rate: SampleRate) -> Leq {
        self.since(&Self::default(), rate)
    }
}

fn leq(energy: f64, heard: u64, frames: u64, rate: SampleRate) -> Leq {
    Leq {
        level: if heard > 0 { Dbfs::from_power(energy / heard as f64) } else { Dbfs::SILENCE },
        heard: FrameCount::new(heard).at(rate),
        span: FrameCount::new(frames).at(rate),
    }
}

/// The last quarter of an hour, stretch by stretch; a ring.
#[derive(Clone, Debug)]
pub(super) struct Recent {
    energies: Vec<f64>,
    heard: Vec<u32>,
    frames: Vec<u32>,
    next: usize,
    filled: usize,
}

impl Recent {
    pub fn new() -> Self {
        Self { energies: vec![0.0; LONGEST], heard: vec![0; LONGEST], frames: vec![0; LONGEST], next: 0, filled: 0 }
    }

    pub fn push(&mut self, energy: f64, heard: u32, frames: u32) {
        self.energies[self.next] = energy;
        self.heard[self.next] = heard;
        self.frames[self.next] = frames;
        self.next = (self.next + 1) % LONGEST;
        self.filled = (self.filled + 1).min(LONGEST);
    }

    /// The mean over the newest `stretches`, as far as there are so many.
    pub fn leq(&self, stretches: usize, rate: SampleRate) -> Leq {
        let count = stretches.min(self.filled);
        let wrapped = count.saturating_sub(self.next);
        let parts = [self.next - (count - wrapped)..self.next, LONGEST - wrapped..LONGEST];
        let energy = parts.iter().map(|part| lanes::sum(&self.energies[part.clone()])).sum();
        let total = |values: &[u32]| parts.iter().flat_map(|part| &values[part.clone()]).map(|&n| u64::from(n)).sum();
        leq(energy, total(&self.heard), total(&self.frames), rate)
    }
}
