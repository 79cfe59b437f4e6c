//! Samples that are played once and can be broken off softly.
//!
//! In: mono amplitudes, 1.0 = full scale, none of them louder than they should be. Out: the same; a stop fades them out in
//! a raised cosine of 10 ms, after which every sample is exactly zero, for good. Pure arithmetic: no clock, no allocation.

use std::f64::consts::PI;

use crate::units::{SampleRate, Seconds};

/// How long a stop takes.
pub const EDGE: Seconds = Seconds::new(0.01);

pub struct Once {
    samples: Vec<f32>,
    at: usize,
    edge: usize,
    /// Frames given since the stop.
    stopped: Option<usize>,
}

impl Once {
    pub fn new(samples: Vec<f32>, rate: SampleRate) -> Self {
        Self { samples, at: 0, edge: (rate.frames(EDGE).get() as usize).max(1), stopped: None }
    }

    pub fn stop(&mut self) {
        self.stopped.get_or_insert(0);
    }

    /// Nothing but zeros from now on.
    pub fn is_over(&self) -> bool {
        self.at >= self.samples.len() || self.stopped.is_some_and(|given| given >= self.edge)
    }

    pub fn fill(&mut self, out: &mut [f32]) {
        for out in out {
            if self.is_over() {
                *out = 0.0;
                continue;
            }
            let fade = self.stopped.map_or(1.0, |given| rise(self.edge - 1 - given, self.edge));
            *out = (f64::from(self.samples[self.at]) * fade) as f32;
            self.at += 1;
            if let Some(given) = &mut self.stopped {
                *given += 1;
            }
        }
    }
}

/// A raised cosine from 0 at frame 0 to 1.
pub fn rise(frame: usize, edge: usize) -> f64 {
    if frame >= edge { 1.0 } else { 0.5 * (1.0 - (PI * frame as f64 / edge as f64).cos()) }
}
