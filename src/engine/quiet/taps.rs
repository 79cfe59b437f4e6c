//! Quiet and taps: what a tapped microphone did on each channel.
//!
//! In: amplitudes. Quiet and loudest are those of `measure::pauses`, over the newest minute since it began. Edge cases:
//! nothing heard yet, and digital silence, stand at a floor, so that differences stay numbers.

use crate::coach::sweep::{Opened, TapHeard};
use crate::measure::pauses::{Steps, Stretch};
use crate::units::{ChannelId, Db, Dbfs, SampleRate};

const FLOOR: Dbfs = Dbfs::new(-120.0);
/// Somebody heard the tap from the loudspeaker: as good as a main mix that shows it.
const HEARD: Db = Db::new(40.0);

pub(super) struct Taps {
    channels: Vec<Stretch>,
}

impl Taps {
    pub fn new(rate: SampleRate, channels: usize) -> Self {
        Self { channels: vec![Stretch::new(rate); channels] }
    }

    /// What was heard before does not count.
    pub fn begin(&mut self) {
        self.channels.iter_mut().for_each(Stretch::clear);
    }

    pub fn hear(&mut self, planes: &[Vec<f32>]) {
        self.channels.iter_mut().zip(planes).for_each(|(channel, plane)| channel.push(plane));
    }

    /// By how much the channel of these that stands out most does so.
    pub fn rise(&self, of: &[ChannelId]) -> Db {
        of.iter().map(|channel| rise(self.of(*channel))).fold(Db::ZERO, Db::max)
    }

    /// `silent`: the person says that the loudspeakers kept silent.
    pub fn heard(&self, of: &[ChannelId], main_mix: Option<ChannelId>, opened: Opened, silent: bool) -> TapHeard {
        let all = of.iter().map(|channel| self.of(*channel));
        let nothing = Steps { quiet: FLOOR, loudest: FLOOR };
        let tapped = all.max_by(|a, b| rise(*a).get().total_cmp(&rise(*b).get())).unwrap_or(nothing);
        let unheard = Steps { loudest: tapped.quiet, ..tapped };
        let main = match (opened, main_mix) {
            (Opened::AtReturn, _) if !silent => Steps { loudest: tapped.quiet + HEARD, ..tapped },
            (Opened::AtReturn, Some(mix)) => self.of(mix),
            // It must come into the computer, and not out of the loudspeakers.
            (Opened::AtMainOut, _) if silent => tapped,
            (Opened::AtReturn, None) | (Opened::AtMainOut, _) => unheard,
        };
        TapHeard {
            microphone: tapped.loudest,
            microphone_quiet: tapped.quiet,
            main: main.loudest,
            main_quiet: main.quiet,
        }
    }

    fn of(&self, channel: ChannelId) -> Steps {
        let steps = self.channels.get(channel.index()).and_then(Stretch::steps);
        let floor = |level: Option<Dbfs>| level.unwrap_or(FLOOR).max(FLOOR);
        Steps { quiet: floor(steps.map(|steps| steps.quiet)), loudest: floor(steps.map(|steps| steps.loudest)) }
    }
}

fn rise(steps: Steps) -> Db {
    steps.loudest - steps.quiet
}
