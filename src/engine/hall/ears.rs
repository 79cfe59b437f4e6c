//! Meters with spectra, and the detector of rings, on one stream; in a show also what its watch needs.

use super::attention::{Attending, Attention};
use crate::block::{BlockBuf, Format};
use crate::coach::ready::{LastLook, LookFor};
use crate::detectors::{Ring, Ringing};
use crate::meters::Meters;
use crate::units::{ChannelId, Seconds};

pub struct Ears {
    meters: Meters,
    ringing: Ringing,
    format: Format,
    attention: Option<Attention>,
    look: Option<LastLook>,
}

impl Ears {
    pub fn new(format: Format) -> Self {
        let meters = Meters::new(format, &vec![1.0; format.channels]).with_spectra();
        Self { meters, ringing: Ringing::new(format.channels), format, attention: None, look: None }
    }

    /// From now on for a show.
    pub fn attend(&mut self, to: &Attending) {
        self.attention = Some(Attention::new(self.format, to));
    }

    /// What a show needs beside rings; `None` before `attend`.
    pub const fn attention(&self) -> Option<&Attention> {
        self.attention.as_ref()
    }

    pub const fn attention_mut(&mut self) -> Option<&mut Attention> {
        self.attention.as_mut()
    }

    /// The last look before doors begins; `None`: it is over.
    pub fn look(&mut self, to: Option<LookFor>) {
        self.look = to.map(|to| LastLook::new(to, self.format.rate, self.format.channels));
    }

    pub const fn last_look(&self) -> Option<&LastLook> {
        self.look.as_ref()
    }

    pub const fn last_look_mut(&mut self) -> Option<&mut LastLook> {
        self.look.as_mut()
    }

    pub fn hear(&mut self, block: &BlockBuf) {
        let Self { meters, ringing, attention, look, format } = self;
        let mut rest = block.as_block();
        // A look begins at the hop where it is asked for: one at a time.
        while rest.frames() > 0 {
            let (part, later) = rest.split_at(meters.frames_to_hop());
            meters.push(&part, &mut |readings| {
                ringing.observe(readings);
                if let Some(attention) = attention {
                    attention.observe(readings);
                }
                if let Some(look) = look {
                    look.observe(readings);
                }
            });
            if look.as_mut().is_some_and(LastLook::takes_restart) {
                (0..format.channels).for_each(|line| meters.restart_activity(ChannelId::from_index(line)));
            }
            rest = later;
        }
        if let Some(attention) = attention {
            attention.hear(&block.as_block());
        }
        ringing.drain().for_each(drop);
    }

    pub fn now(&self) -> Seconds {
        self.meters.readings().at.at(self.format.rate)
    }

    /// The rings of now.
    pub fn rings(&self) -> &[Ring] {
        self.ringing.rings()
    }

    /// While on, steady tones are taken for the room's own; afterwards they are set aside.
    pub fn learn_room(&mut self, on: bool) {
        self.ringing.learn_room(on);
    }

    pub const fn format(&self) -> Format {
        self.format
    }

    /// The loudest of all channels in each 24th of an octave (see `meters::Spectrum`), mean square.
    pub fn spectrum(&self, into: &mut Vec<f32>) {
        into.clear();
        for channel in &self.meters.readings().channels {
            let columns = &channel.spectrum.columns;
            into.resize(into.len().max(columns.len()), 0.0);
            for (loudest, &column) in into.iter_mut().zip(columns) {
                *loudest = loudest.max(column);
            }
        }
    }
}
