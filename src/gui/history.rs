//! The peaks of the last minute, second by second: what the panel "why" shows.

use std::collections::VecDeque;

use crate::engine::Snapshot;
use crate::units::ChannelId;
use crate::view;

/// The peaks of each second, a minute back, channel by channel: places on the rail, oldest first.
#[derive(Default)]
pub struct History {
    channels: Vec<VecDeque<f64>>,
    second: u64,
}

impl History {
    pub const SPAN: usize = 60;

    pub fn follow(&mut self, snapshot: &Snapshot) {
        self.channels.resize(snapshot.readings.channels.len(), VecDeque::new());
        let second = snapshot.at.get() as u64;
        for (peaks, reading) in self.channels.iter_mut().zip(&snapshot.readings.channels) {
            let place = view::place(reading.frame.sample_peak);
            match peaks.back_mut().filter(|_| second == self.second) {
                Some(last) => *last = last.max(place),
                None => peaks.push_back(place),
            }
            if peaks.len() > Self::SPAN {
                peaks.pop_front();
            }
        }
        self.second = second;
    }

    pub fn of(&self, channel: ChannelId) -> Vec<f64> {
        self.channels.get(channel.index()).into_iter().flatten().copied().collect()
    }
}
