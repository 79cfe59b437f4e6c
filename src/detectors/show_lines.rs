//! Each input in the show: does it clip again and again, did its line die?
//!
//! In: readings of 10 ms hops. *Clips*: three passages at full scale or more (a run of three samples within 0.1 dB of it;
//! runs nearer than 50 ms are one) within 10 s. *Dead*: 15 dB and more under the quietest that it was while it was heard,
//! for 4 s: a pause has the room's noise, a cable that fell out does not. Common practice, own working values. Edge cases:
//! what was never heard can't die; digital silence in the pauses (a gate, playback) makes a line that is never told dead;
//! a gap starts both anew. Observing allocates nothing.

use crate::meters::Readings;
use crate::units::{ChannelId, Db, Dbfs, Seconds};

const CLIPS: usize = 3;
const WITHIN: Seconds = Seconds::new(10.0);
const ONE: Seconds = Seconds::new(0.05);
const FULL_SCALE: f32 = 0.988;
const RUN: u32 = 3;
const UNDER: Db = Db::new(15.0);
const DEAD_FOR: Seconds = Seconds::new(4.0);
/// Heard before for so long, as loud as this.
const HEARD_FOR: Seconds = Seconds::new(5.0);
const HEARD: Dbfs = Dbfs::new(-60.0);
/// A floor under this is a gate's, or a machine's.
const MADE: Dbfs = Dbfs::new(-95.0);
/// The quietest rises so fast, dB a second, so that it follows a knob.
const FORGETS: f64 = 0.05;
const HOP: Seconds = Seconds::new(0.01);

/// What is wrong with an input now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineTrouble {
    Clips,
    Dead,
}

#[derive(Clone, Debug)]
pub struct LineWatch {
    channels: Vec<Line>,
}

#[derive(Clone, Copy, Debug)]
struct Line {
    clips: [Seconds; CLIPS],
    count: usize,
    heard: Seconds,
    /// The quietest tenth of a second so far.
    quietest: Option<Dbfs>,
    dead: Seconds,
}

const NEW: Line =
    Line { clips: [Seconds::ZERO; CLIPS], count: 0, heard: Seconds::ZERO, quietest: None, dead: Seconds::ZERO };

impl LineWatch {
    pub fn new(channels: usize) -> Self {
        Self { channels: vec![NEW; channels] }
    }

    /// After each hop.
    pub fn observe(&mut self, readings: &Readings) {
        let now = readings.at.at(readings.rate);
        for (line, channel) in self.channels.iter_mut().zip(&readings.channels) {
            if readings.gap.get() > 0 {
                (line.dead, line.count) = (Seconds::ZERO, 0);
            }
            let flat = channel.runs.iter().any(|run| run.samples >= RUN && run.value.abs() >= FULL_SCALE);
            if flat {
                line.clip(now);
            }
            if readings.frame_complete {
                line.frame(channel.frame.rms);
            }
            if line.dead > Seconds::ZERO {
                line.dead += HOP;
            }
        }
    }

    /// What stands now.
    pub fn troubles(&self, now: Seconds) -> impl Iterator<Item = (ChannelId, LineTrouble)> + '_ {
        let told = move |(index, line): (usize, &Line)| {
            let clips = line.count == CLIPS && now - line.clips[0] <= WITHIN;
            let trouble =
                if line.dead >= DEAD_FOR { Some(LineTrouble::Dead) } else { clips.then_some(LineTrouble::Clips) };
            Some((ChannelId::from_index(index), trouble?))
        };
        self.channels.iter().enumerate().filter_map(told)
    }
}

impl Line {
    fn clip(&mut self, now: Seconds) {
        if self.count > 0 && now - self.clips[self.count - 1] < ONE {
            self.clips[self.count - 1] = now;
            return;
        }
        if self.count == CLIPS {
            self.clips.rotate_left(1);
            self.count -= 1;
        }
        self.clips[self.count] = now;
        self.count += 1;
    }

    fn frame(&mut self, level: Dbfs) {
        let known = self.quietest.filter(|quietest| *quietest > MADE && self.heard >= HEARD_FOR);
        if known.is_some_and(|quietest| level < quietest - UNDER) {
            if self.dead == Seconds::ZERO {
                self.dead = HOP;
            }
            return;
        }
        self.dead = Seconds::ZERO;
        if level > HEARD {
            self.heard += Seconds::new(0.1);
        }
        let follows = self.quietest.map_or(level, |quietest| (quietest + Db::new(0.1 * FORGETS)).min(level));
        self.quietest = Some(follows);
    }
}
