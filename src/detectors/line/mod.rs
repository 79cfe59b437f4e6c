//! What a line check listens for: taps and where they arrive, floors, hum, the same signal twice, polarity.
//!
//! In: readings after every hop (10 ms), of meters that were asked for the lines of the mains. Out: onsets, levels over
//! each line's own floor, hum, likeness of one pair. Nothing here knows which line was called: that is the coach's.
//! A gap starts every window anew. `observe` allocates nothing.

mod alike;
mod hum;
mod levels;
mod onset;

pub use alike::Alike;
pub use hum::{Hum, HumPattern, Mains};
pub use onset::Onset;

use crate::meters::Readings;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate};
use hum::HumEar;
use levels::Levels;
use onset::Onsets;

/// A line sounds when it stands this far over its own floor: presence, by common practice.
pub const PRESENCE: Db = Db::new(12.0);

/// Everything that a line check hears.
#[derive(Clone, Debug)]
pub struct LineEars {
    levels: Vec<Levels>,
    hums: Vec<HumEar>,
    onsets: Onsets,
    alike: Alike,
    watched: Option<(ChannelId, ChannelId)>,
    stale: bool,
}

impl LineEars {
    pub fn new(channels: usize, rate: SampleRate) -> Self {
        Self {
            levels: (0..channels).map(|_| Levels::new()).collect(),
            hums: (0..channels).map(|_| HumEar::new()).collect(),
            onsets: Onsets::new(channels, rate),
            alike: Alike::default(),
            watched: None,
            stale: false,
        }
    }

    /// The newest hop.
    pub fn observe(&mut self, readings: &Readings) {
        if readings.gap > FrameCount::ZERO {
            self.restart_all();
        }
        if std::mem::take(&mut self.stale) {
            self.onsets.forget_told();
        }
        for (levels, channel) in self.levels.iter_mut().zip(&readings.channels) {
            levels.push(channel.hop.rms);
        }
        self.onsets.observe(&self.levels, readings.at);
        if let (Some(pair), Some(heard)) = (self.watched, readings.pair)
            && pair == (heard.quiet, heard.loud)
        {
            let sounds = |channel: ChannelId| self.levels.get(channel.index()).is_some_and(Levels::sounded);
            if sounds(pair.0) && sounds(pair.1) {
                self.alike.look(&heard);
            }
        }
        if readings.frame_complete {
            for (levels, (hum, channel)) in self.levels.iter_mut().zip(self.hums.iter_mut().zip(&readings.channels)) {
                levels.refresh();
                hum.observe(&channel.mains);
            }
            self.stale = true;
        }
    }

    pub fn channels(&self) -> usize {
        self.levels.len()
    }

    /// The onsets that were recognised since the last complete frame, oldest first.
    pub fn onsets(&self) -> &[Onset] {
        self.onsets.told()
    }

    /// What the line reads when nothing sounds; `None` until 0.3 s were heard.
    pub fn floor(&self, channel: ChannelId) -> Option<Dbfs> {
        self.levels.get(channel.index())?.floor()
    }

    /// Which share of the last `hops` hops (at most 500) stood over `level`, 0 to 1.
    pub fn share_over(&self, channel: ChannelId, level: Dbfs, hops: usize) -> f64 {
        self.levels.get(channel.index()).map_or(0.0, |levels| levels.share_over(level, hops))
    }

    /// The same over the line's own floor and the presence on top.
    pub fn share_present(&self, channel: ChannelId, hops: usize) -> f64 {
        self.floor(channel).map_or(0.0, |floor| self.share_over(channel, floor + PRESENCE, hops))
    }

    /// The mean power of the last `hops` hops.
    pub fn level(&self, channel: ChannelId, hops: usize) -> Dbfs {
        self.levels.get(channel.index()).map_or(Dbfs::SILENCE, |levels| levels.mean(hops))
    }

    /// Hum in what was heard since the line was restarted, of the last 3 s at most; wants a quiet stage.
    pub fn hum(&self, channel: ChannelId) -> Option<Hum> {
        let floor = self.floor(channel)?;
        self.hums.get(channel.index())?.measure(floor)
    }

    /// From now on: are these two alike?
    pub fn watch(&mut self, pair: Option<(ChannelId, ChannelId)>) {
        if self.watched != pair {
            self.watched = pair;
            self.alike = Alike::default();
        }
    }

    /// What the watched pair has shown so far.
    pub fn alike(&self) -> &Alike {
        &self.alike
    }

    /// The pair that the pair meter should look at.
    pub fn wanted_pair(&self) -> Option<(ChannelId, ChannelId)> {
        self.watched
    }

    /// Another thing is plugged in: its floor is another.
    pub fn restart(&mut self, channel: ChannelId) {
        if let (Some(levels), Some(hum)) = (self.levels.get_mut(channel.index()), self.hums.get_mut(channel.index())) {
            levels.restart();
            hum.restart();
        }
    }

    pub fn restart_all(&mut self) {
        (0..self.levels.len()).for_each(|index| self.restart(ChannelId::from_index(index)));
        self.onsets.restart();
    }
}
