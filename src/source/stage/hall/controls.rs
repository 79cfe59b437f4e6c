//! The desk's controls of a stage with loudspeakers: faders, mutes and equalisers that the caller moves, and the
//! truth about the loop.
//!
//! Every call takes effect at the next frame that is read. Channels and outputs (counted from 0) that are not
//! there, and a stage without loudspeakers, ignore calls and give 0 dB.

use super::desk::{OFF, Strip};
use super::{Hall, Heard, Loudspeakers, MicrophonePlace, Truth};
use crate::dsp::biquad::EqBand;
use crate::source::stage::{RIGHT_PEAK, Stage, StageInput};
use crate::units::{ChannelId, Db};

impl Stage {
    /// Puts loudspeakers into the hall, whose sound comes back to the microphones from now on.
    pub fn with_loudspeakers(mut self, hall: &Hall) -> Self {
        let heard = |id: ChannelId| {
            let (channel, input) = (self.channel(id)?, self.inputs.get(id.index())?);
            let actor = &self.actors[channel.actor];
            // At the right trim all have the same level of their own performer: a far microphone, or one of a
            // quiet performer, then hears more of the loudspeakers.
            let right = RIGHT_PEAK - actor.show;
            let sensitivity = input.reach / (actor.player.strength().ratio() * right.ratio());
            Some(Heard { sensitivity, trim: channel.preamp.trim() })
        };
        self.loudspeakers = Some(Loudspeakers::new(hall, self.channels.len(), self.format.rate, heard));
        self
    }

    /// Where the stage's microphones are; lines have none.
    pub fn microphones(&self) -> Vec<MicrophonePlace> {
        let inputs = self.inputs.iter().enumerate().filter(|(_, input)| input.microphone);
        let place = |input: &StageInput| (input.place.0, input.place.1, 1.5);
        let microphone = |(at, input): (usize, &StageInput)| MicrophonePlace {
            channel: ChannelId::from_index(at),
            place: place(input),
            measures: false,
        };
        inputs.map(microphone).collect()
    }

    /// The outputs' names.
    pub fn outputs(&self) -> impl Iterator<Item = &'static str> {
        self.loudspeakers.iter().flat_map(|loudspeakers| loudspeakers.buses.iter().map(|bus| bus.name))
    }

    pub fn fader(&self, channel: ChannelId) -> Db {
        let strip = self.loudspeakers.as_ref().and_then(|loudspeakers| loudspeakers.strips.get(channel.index()));
        strip.map_or(Db::ZERO, |strip| strip.fader.at())
    }

    /// Up to +10 dB; −∞ is off.
    pub fn set_fader(&mut self, channel: ChannelId, to: Db) {
        if let Some(strip) = self.strip(channel) {
            strip.fader.set(to);
        }
    }

    pub fn output_fader(&self, output: usize) -> Db {
        let bus = self.loudspeakers.as_ref().and_then(|loudspeakers| loudspeakers.buses.get(output));
        bus.map_or(Db::ZERO, |bus| bus.fader.at())
    }

    /// Up to +10 dB; −∞ is off.
    pub fn set_output_fader(&mut self, output: usize, to: Db) {
        if let Some(bus) = self.loudspeakers.as_mut().and_then(|loudspeakers| loudspeakers.buses.get_mut(output)) {
            bus.fader.set(to);
        }
    }

    pub fn mute(&mut self, channel: ChannelId) {
        if let Some(strip) = self.strip(channel) {
            strip.set_open(false);
        }
    }

    pub fn open(&mut self, channel: ChannelId) {
        if let Some(strip) = self.strip(channel) {
            strip.set_open(true);
        }
    }

    pub fn is_open(&self, channel: ChannelId) -> bool {
        let strip = self.loudspeakers.as_ref().and_then(|loudspeakers| loudspeakers.strips.get(channel.index()));
        strip.is_some_and(|strip| strip.is_open())
    }

    /// Sets a band of an output's equaliser; one of the same shape and frequency moves there, and a gain of
    /// 0 dB takes it away. `false`: not there, no band left, or not a number.
    pub fn cut(&mut self, output: usize, band: EqBand) -> bool {
        let bus = self.loudspeakers.as_mut().and_then(|loudspeakers| loudspeakers.buses.get_mut(output));
        bus.is_some_and(|bus| bus.eq.set(band))
    }

    /// The same on a channel.
    pub fn cut_channel(&mut self, channel: ChannelId, band: EqBand) -> bool {
        self.strip(channel).is_some_and(|strip| strip.eq.set(band))
    }

    /// How an output's equaliser is set.
    pub fn cuts(&self, output: usize) -> Vec<EqBand> {
        let bus = self.loudspeakers.as_ref().and_then(|loudspeakers| loudspeakers.buses.get(output));
        bus.map_or(Vec::new(), |bus| bus.bands().collect())
    }

    /// Takes away all cuts of an output.
    pub fn flatten(&mut self, output: usize) {
        if let Some(bus) = self.loudspeakers.as_mut().and_then(|loudspeakers| loudspeakers.buses.get_mut(output)) {
            bus.eq.flatten();
        }
    }

    /// The feedback loop as it truly is at the present settings; `None` without loudspeakers.
    pub fn truth(&self) -> Option<Truth> {
        let trim = |channel: usize| self.channels.get(channel).map_or(OFF, |channel| channel.preamp.trim());
        self.loudspeakers.as_ref().map(|loudspeakers| loudspeakers.truth(trim))
    }

    fn strip(&mut self, channel: ChannelId) -> Option<&mut Strip> {
        self.loudspeakers.as_mut()?.strips.get_mut(channel.index())
    }
}
