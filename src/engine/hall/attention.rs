//! What the show's watch needs beside rings: each input's line, applause, the level in the room.
//!
//! The level in the room is that of one channel, the room's microphone, or none. Edge cases: a channel that is not there is
//! none; without a comparison with a real meter the level is only relative, and nothing is asked for.

use crate::block::{Block, Format};
use crate::coach::show::{Alert, LineWatch};
use crate::coach::sound::{Calibration, Exposure, Limits, SoundWatch};
use crate::detectors::Clapping;
use crate::meters::sound::SoundMeter;
use crate::meters::{Readings, SoundReadings};
use crate::units::{ChannelId, Db, Dbfs, Seconds};

/// What is attended to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Attending {
    pub room: Option<ChannelId>,
    pub calibration: Option<Calibration>,
    pub limits: Limits,
}

pub struct Attention {
    lines: LineWatch,
    clapping: Clapping,
    claps: bool,
    /// The quietest that it was.
    quiet: Option<Dbfs>,
    room: Option<Room>,
}

/// Applause stands this far over the quietest of before, which is forgotten at half a decibel a minute.
const OVER_QUIET: Db = Db::new(12.0);
const FORGETS: Db = Db::new(0.1 * 0.5 / 60.0);
const NOTHING: Dbfs = Dbfs::new(-100.0);

/// The level in the room.
pub struct Room {
    channel: ChannelId,
    meter: SoundMeter,
    watch: SoundWatch,
    exposure: Option<Exposure>,
}

impl Attention {
    pub fn new(format: Format, to: &Attending) -> Self {
        let room = to.room.filter(|channel| channel.index() < format.channels).map(|channel| Room {
            channel,
            meter: SoundMeter::new(format.rate),
            watch: SoundWatch::new(to.limits, to.calibration),
            exposure: to.calibration.map(Exposure::new),
        });
        Self { lines: LineWatch::new(format.channels), clapping: Clapping::default(), claps: false, quiet: None, room }
    }

    pub fn observe(&mut self, readings: &Readings) {
        self.lines.observe(readings);
        if readings.frame_complete {
            let level = readings.channels.iter().map(|channel| channel.frame.rms).fold(Dbfs::SILENCE, Dbfs::max);
            let heard = level.max(NOTHING);
            self.quiet = self.quiet.map(|quiet| (quiet + FORGETS).min(heard)).or(Some(heard));
            // The steady noise of an empty pause is no applause.
            let is_loud = self.quiet.is_some_and(|quiet| level > quiet + OVER_QUIET);
            self.claps = self.clapping.observe(readings) && is_loud;
        }
    }

    pub fn hear(&mut self, block: &Block) {
        let Some(Room { channel, meter, watch, exposure }) = &mut self.room else { return };
        meter.push(block.gap(), block.channel(channel.index()), &mut |readings| {
            watch.observe(readings);
            if let Some(exposure) = exposure {
                exposure.observe(readings);
            }
        });
    }

    pub const fn claps(&self) -> bool {
        self.claps
    }

    /// What stands now.
    pub fn alerts(&self, now: Seconds) -> impl Iterator<Item = Alert> + '_ {
        let loud = self.room.as_ref().map(|room| Alert::Loud(*room.watch.advice()));
        self.lines.alerts(now).chain(loud)
    }

    /// What was asked for about the level is done, or left.
    pub fn answer_level(&mut self) {
        if let Some(room) = &mut self.room {
            room.watch.answer();
        }
    }

    pub const fn room(&self) -> Option<&Room> {
        self.room.as_ref()
    }
}

impl Room {
    pub fn readings(&self) -> &SoundReadings {
        self.meter.readings()
    }

    /// `None`: levels are only relative.
    pub fn calibration(&self) -> Option<&Calibration> {
        self.watch.calibration()
    }

    pub fn limits(&self) -> &Limits {
        self.watch.limits()
    }

    /// `None` where levels are only relative.
    pub const fn exposure(&self) -> Option<&Exposure> {
        self.exposure.as_ref()
    }
}
