//! What the show's watch needs beside rings: each input's line, applause, the level in the room.
//!
//! The level in the room is that of one channel, the room's microphone, or none. Edge cases: a channel that is not there is
//! none; without a comparison with a real meter the level is only relative, and nothing is asked for.

use crate::block::{Block, Format};
use crate::coach::show::Alert;
use crate::coach::sound::{Calibration, Exposure, Limits, SoundWatch};
use crate::detectors::{Applause, LineWatch};
use crate::meters::sound::SoundMeter;
use crate::meters::{Readings, SoundReadings};
use crate::units::{ChannelId, Seconds};

/// What is attended to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Attending {
    pub room: Option<ChannelId>,
    pub calibration: Option<Calibration>,
    pub limits: Limits,
}

pub struct Attention {
    lines: LineWatch,
    applause: Applause,
    claps: bool,
    room: Option<Room>,
}

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
        Self { lines: LineWatch::new(format.channels), applause: Applause::default(), claps: false, room }
    }

    pub fn observe(&mut self, readings: &Readings) {
        self.lines.observe(readings);
        if readings.frame_complete {
            self.claps = self.applause.observe(readings);
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
        let lines = self.lines.troubles(now).map(|(channel, trouble)| Alert::Line { channel, trouble });
        lines.chain(loud)
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
