//! Where each line stood in the last five seconds: the footprints on the rail.

use std::collections::VecDeque;

use super::shelf::place;
use crate::engine::Snapshot;
use crate::units::{ChannelId, Seconds};

const SPAN: Seconds = Seconds::new(5.0);
/// Each footprint is the highest of so much time.
const STRIDE: Seconds = Seconds::new(1.0);
/// A marker falls back after this.
const MARKER: Seconds = Seconds::new(2.0);

/// The peaks of every line, by time.
#[derive(Clone, Debug, Default)]
pub struct Trail {
    now: Seconds,
    lines: Vec<VecDeque<(Seconds, f64)>>,
}

impl Trail {
    pub fn follow(&mut self, snapshot: &Snapshot) {
        let now = snapshot.at;
        self.now = now;
        self.lines.resize(snapshot.readings.channels.len(), VecDeque::new());
        for (steps, reading) in self.lines.iter_mut().zip(&snapshot.readings.channels) {
            steps.push_back((now, place(reading.frame.sample_peak)));
            while steps.front().is_some_and(|&(at, _)| now - at > SPAN) {
                steps.pop_front();
            }
        }
    }

    /// The highest place of each of the last seconds, newest last.
    pub fn footprints(&self, line: ChannelId) -> Vec<f64> {
        let count = (SPAN.get() / STRIDE.get()) as usize;
        let mut prints = vec![0.0f64; count];
        for &(at, place) in self.lines.get(line.index()).into_iter().flatten() {
            let age = ((self.now - at).get() / STRIDE.get()) as usize;
            if let Some(print) = count.checked_sub(age + 1).and_then(|index| prints.get_mut(index)) {
                *print = print.max(place);
            }
        }
        prints
    }

    /// The highest place of the last two seconds.
    pub fn newest(&self, line: ChannelId) -> f64 {
        let steps = self.lines.get(line.index()).into_iter().flatten();
        steps.filter(|&&(at, _)| self.now - at <= MARKER).map(|&(_, place)| place).fold(0.0, f64::max)
    }
}
