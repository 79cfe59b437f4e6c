//! The peaks of the last hour, second by second: what the panel "why" shows.

use std::collections::VecDeque;

use crate::engine::Snapshot;
use crate::units::ChannelId;
use crate::view;

/// The peaks of each second, an hour back, channel by channel: places on the rail, oldest first.
#[derive(Default)]
pub struct History {
    channels: Vec<VecDeque<f32>>,
    second: u64,
}

impl History {
    pub const SPAN: usize = 3600;

    pub fn follow(&mut self, snapshot: &Snapshot) {
        self.channels.resize(snapshot.readings.channels.len(), VecDeque::new());
        let second = snapshot.at.get() as u64;
        for (peaks, reading) in self.channels.iter_mut().zip(&snapshot.readings.channels) {
            let place = view::place(reading.frame.sample_peak) as f32;
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

    /// The loudest of each of `columns` equal stretches up to now, newest last, `seconds` in all; `None` before the start.
    pub fn columns(&self, channel: ChannelId, seconds: usize, columns: usize) -> Vec<Option<f32>> {
        let peaks = self.channels.get(channel.index());
        let newest_first = |age: usize| peaks.and_then(|peaks| peaks.iter().rev().nth(age).copied());
        let each = seconds.div_ceil(columns.max(1)).max(1);
        let of = |column: usize| (column * each..(column + 1) * each).filter_map(newest_first).reduce(f32::max);
        (0..seconds.div_ceil(each)).rev().map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_survives_however_few_columns_there_are() {
        let mut seconds = VecDeque::from(vec![0.1; 100]);
        seconds[97] = 0.9;
        let history = History { channels: vec![seconds], second: 0 };
        let channel = ChannelId::new(0);
        let minute = history.columns(channel, 60, 60);
        assert_eq!((minute.len(), minute[57], minute[59]), (60, Some(0.9), Some(0.1)));
        let hour = history.columns(channel, 3600, 300);
        assert_eq!((hour.len(), hour[299], hour[298], hour[0]), (300, Some(0.9), Some(0.1), None));
        assert_eq!(history.columns(ChannelId::new(7), 60, 60), vec![None; 60]);
    }
}
