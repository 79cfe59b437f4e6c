//! Quiet and taps: what a tapped microphone did on each channel.
//!
//! In: amplitudes. Levels are RMS of 50 ms; *quiet* is the softest fifth since it began, a *tap* the loudest. Edge cases:
//! nothing heard yet is silence.

use crate::coach::sweep::{Opened, TapHeard};
use crate::units::{ChannelId, Db, Dbfs, SampleRate, Seconds};

const WINDOW: Seconds = Seconds::new(0.05);
/// So many windows are remembered: a minute.
const MOST: usize = 1200;
const QUIETEST: usize = 5;
/// Digital silence as a level, so that differences stay numbers.
const FLOOR: Dbfs = Dbfs::new(-120.0);
/// Somebody heard the tap from the loudspeaker: as good as a main mix that shows it.
const HEARD: Db = Db::new(40.0);

pub(super) struct Taps {
    window: usize,
    channels: Vec<Channel>,
}

struct Channel {
    rest: Vec<f32>,
    levels: Vec<Dbfs>,
}

impl Taps {
    pub fn new(rate: SampleRate, channels: usize) -> Self {
        let window = rate.frames(WINDOW).get().max(1) as usize;
        Self { window, channels: (0..channels).map(|_| Channel { rest: Vec::new(), levels: Vec::new() }).collect() }
    }

    /// What was heard before does not count.
    pub fn begin(&mut self) {
        for channel in &mut self.channels {
            channel.rest.clear();
            channel.levels.clear();
        }
    }

    pub fn hear(&mut self, planes: &[Vec<f32>]) {
        for (channel, plane) in self.channels.iter_mut().zip(planes) {
            channel.rest.extend(plane);
            let whole = channel.rest.len() / self.window * self.window;
            for part in channel.rest[..whole].chunks_exact(self.window) {
                if channel.levels.len() == MOST {
                    channel.levels.remove(0);
                }
                let power = part.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / part.len() as f64;
                channel.levels.push(Dbfs::from_power(power));
            }
            channel.rest.drain(..whole);
        }
    }

    /// By how much the channel of these that stands out most does so.
    pub fn rise(&self, of: &[ChannelId]) -> Db {
        of.iter().map(|channel| self.of(*channel)).map(|(loud, quiet)| loud - quiet).fold(Db::ZERO, Db::max)
    }

    /// `silent`: the person says that the loudspeakers kept silent.
    pub fn heard(&self, of: &[ChannelId], main_mix: Option<ChannelId>, opened: Opened, silent: bool) -> TapHeard {
        let louder = |a: &&ChannelId, b: &&ChannelId| {
            let rise = |channel: ChannelId| self.of(channel).0 - self.of(channel).1;
            rise(**a).get().total_cmp(&rise(**b).get())
        };
        let (microphone, microphone_quiet) =
            of.iter().max_by(louder).map_or((FLOOR, FLOOR), |channel| self.of(*channel));
        let (main, main_quiet) = match (opened, main_mix) {
            _ if !silent && opened == Opened::AtReturn => (microphone_quiet + HEARD, microphone_quiet),
            (Opened::AtReturn, None) => (microphone_quiet, microphone_quiet),
            (Opened::AtReturn, Some(mix)) => self.of(mix),
            // It must come into the computer, and not out of the loudspeakers.
            (Opened::AtMainOut, _) if silent => (microphone, microphone_quiet),
            (Opened::AtMainOut, _) => (microphone_quiet, microphone_quiet),
        };
        TapHeard { microphone, microphone_quiet, main, main_quiet }
    }

    /// The loudest and the quiet.
    fn of(&self, channel: ChannelId) -> (Dbfs, Dbfs) {
        let Some(channel) = self.channels.get(channel.index()) else { return (FLOOR, FLOOR) };
        let mut levels: Vec<f64> = channel.levels.iter().map(|level| level.get()).collect();
        levels.sort_by(f64::total_cmp);
        let quiet = levels.get(levels.len() / QUIETEST).copied();
        let loud = levels.last().copied();
        let floor = |level: Option<f64>| level.map_or(FLOOR, |level| Dbfs::new(level.max(FLOOR.get())));
        (floor(loud), floor(quiet))
    }
}
