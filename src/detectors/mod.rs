//! History of readings → findings, and what has been heard of each channel.
//!
//! One file a detector. Names `units`, `dsp` and the meters' readings; no wording. `observe` is called
//! after every 10 ms hop and allocates nothing.

mod clapping;
mod clipping;
mod finding;
mod heard;
mod knob;
mod line;
mod peaks;
mod ringing;
mod show_lines;
mod spill;
mod take;

pub use clapping::{Applause, Clapping};
pub use clipping::Tops;
pub use finding::{
    CLEAR_OF_FLOOR, DropoutForm, EndForm, Evidence, Finding, FreakReason, HeaderFault, HumForm, NEAR_FLOOR, Partner,
    Severity,
};
pub use heard::Heard;
pub use knob::Estimate;
pub use line::{Alike, Hum, HumPattern, LineEars, Mains, Onset, PRESENCE};
pub use peaks::SetAside;
pub use ringing::{Certainty, Ring, RingEvent, Ringing, Signs};
pub use show_lines::{LineTrouble, LineWatch};
pub use take::{Alike as TracksAlike, MainsHum, Print, TakeEar, WholeEar, WholeTake, between_channels};

use crate::meters::Readings;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, Hertz, SampleRate, Seconds, SourceKind};
use clipping::Clipping;
use finding::Outbox;
use heard::Listener;
use knob::Knob;
use spill::{Origin, Spill};

/// Nothing but the room for this long is worth saying.
const NOT_HEARD: Seconds = Seconds::new(20.0);

/// What the detectors know of a channel beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    pub kind: SourceKind,
    /// Below this is rumble; `None` for sources that live down there.
    pub low_cut: Option<Hertz>,
}

/// All detectors of all channels.
#[derive(Clone, Debug)]
pub struct Detectors {
    channels: Vec<Channel>,
    /// `None` when the channels are one programme, not microphones side by side.
    spill: Option<Spill>,
    out: Outbox,
}

#[derive(Clone, Debug)]
struct Channel {
    clipping: Clipping,
    listener: Listener,
    knob: Knob,
    invalid: u64,
    set_aside: Option<FrameCount>,
    not_heard: bool,
}

impl Detectors {
    /// Separate inputs, each with its own source.
    pub fn of_inputs(expected: &[Expected], rate: SampleRate) -> Self {
        let kinds = expected.iter().map(|expected| expected.kind).collect();
        Self { spill: Some(Spill::new(kinds)), ..Self::of_programme(expected, rate) }
    }

    /// The channels of one programme: no spill between them.
    pub fn of_programme(expected: &[Expected], rate: SampleRate) -> Self {
        let channel = |(index, expected): (usize, &Expected)| Channel {
            clipping: Clipping::new(ChannelId::from_index(index), rate),
            listener: Listener::new(expected.kind, expected.low_cut),
            knob: Knob::default(),
            invalid: 0,
            set_aside: None,
            not_heard: false,
        };
        Self { channels: expected.iter().enumerate().map(channel).collect(), spill: None, out: Outbox::new() }
    }

    /// The newest hop.
    pub fn observe(&mut self, readings: &Readings) {
        if readings.gap > FrameCount::ZERO {
            let start = readings.at - readings.gap;
            let evidence = Evidence::Gap { frames: readings.gap.get() };
            self.out.push(Finding { channel: ChannelId::new(0), start, end: readings.at, evidence });
        }
        for (channel, reading) in self.channels.iter_mut().zip(&readings.channels) {
            channel.clipping.observe(&reading.runs, reading.hop.sample_peak, readings.at, &mut self.out);
        }
        if !readings.frame_complete {
            return;
        }
        if let Some(spill) = &mut self.spill {
            spill.observe(readings, &mut self.out);
        }
        for (index, channel) in self.channels.iter_mut().enumerate() {
            let id = ChannelId::from_index(index);
            let origin = self.spill.as_ref().map_or(Origin::Own, |spill| spill.origin(id, readings.frames));
            channel.observe(id, readings, origin, &mut self.out);
        }
    }

    /// The source is over, or about to be forgotten: reports what is still open.
    pub fn finish(&mut self, now: FrameCount) {
        for channel in &mut self.channels {
            channel.clipping.finish(now, &mut self.out);
        }
    }

    pub fn heard(&self, channel: ChannelId) -> &Heard {
        self.channels[channel.index()].listener.heard()
    }

    pub fn events_above(&self, channel: ChannelId, level: Dbfs) -> usize {
        self.channels[channel.index()].listener.events_above(level)
    }

    pub fn tops(&self, channel: ChannelId) -> Tops {
        self.channels[channel.index()].clipping.tops()
    }

    /// Listens anew on one channel.
    pub fn restart(&mut self, channel: ChannelId) {
        if let Some(spill) = &mut self.spill {
            spill.forget(channel);
        }
        let channel = &mut self.channels[channel.index()];
        channel.listener.reset();
        channel.clipping.reset();
        channel.knob.forget();
        channel.set_aside = None;
        channel.not_heard = false;
    }

    /// Another source is heard on this channel from now on.
    pub fn retarget(&mut self, channel: ChannelId, expected: Expected) {
        self.channels[channel.index()].listener = Listener::new(expected.kind, expected.low_cut);
        self.restart(channel);
    }

    /// From now on look for a turned knob, on every channel.
    pub fn expect_turn(&mut self) {
        for channel in &mut self.channels {
            channel.knob.expect_turn();
        }
    }

    pub fn rest_knobs(&mut self) {
        for channel in &mut self.channels {
            channel.knob.rest();
        }
    }

    /// How far the knob of `channel` was turned since `expect_turn`, once it surely was and stands still.
    pub fn turned(&self, channel: ChannelId) -> Option<Db> {
        self.channels[channel.index()].knob.turned()
    }

    /// The best guess at that turn by the sound between the notes of the last `span`, however unsure.
    pub fn turn_estimate(&self, channel: ChannelId, span: Seconds) -> Option<Estimate> {
        self.channels[channel.index()].knob.estimate((span.get() * 10.0) as usize)
    }

    /// How much louder its notes are since `expect_turn`: a turn, or the performer.
    pub fn louder(&self, channel: ChannelId) -> Option<Db> {
        self.channels[channel.index()].knob.louder()
    }

    pub fn channels(&self) -> impl Iterator<Item = ChannelId> + Clone + use<> {
        (0..self.channels.len()).map(ChannelId::from_index)
    }

    /// Where this knob stands against where it stood at `expect_turn`, once that is steady.
    pub fn knob_offset(&self, channel: ChannelId) -> Option<Db> {
        self.channels[channel.index()].knob.offset()
    }

    /// The pair of channels that the pair meter should look at next, (quiet, loud).
    pub fn wanted_pair(&mut self, frames: u64) -> Option<(ChannelId, ChannelId)> {
        self.spill.as_mut()?.wanted_pair(frames)
    }

    pub fn drain(&mut self) -> impl Iterator<Item = Finding> + '_ {
        self.out.drain()
    }
}

impl Channel {
    fn observe(&mut self, id: ChannelId, readings: &Readings, origin: Origin, out: &mut Outbox) {
        let reading = &readings.channels[id.index()];
        self.listener.observe(reading, origin, readings.at);
        self.knob.observe(&reading.frame);
        let frame_start = readings.at - readings.rate.frames(Seconds::new(0.1));
        let invalid = reading.whole.invalid_samples;
        if invalid > self.invalid {
            let evidence = Evidence::Invalid { samples: invalid - self.invalid };
            out.push(Finding { channel: id, start: frame_start, end: readings.at, evidence });
            self.invalid = invalid;
        }
        let heard = self.listener.heard();
        if let Some(aside) = heard.set_aside.filter(|aside| !aside.doubtful && self.set_aside != Some(aside.at)) {
            self.set_aside = Some(aside.at);
            let evidence =
                Evidence::Freak { peak: aside.peak, above_the_rest: aside.above_the_rest, reason: aside.reason };
            let start = aside.at - readings.rate.frames(Seconds::new(0.1));
            out.push(Finding { channel: id, start, end: aside.at, evidence });
        }
        if heard.quiet >= NOT_HEARD && heard.active == Seconds::ZERO && !std::mem::replace(&mut self.not_heard, true) {
            let evidence = Evidence::NotHeard { quiet: heard.quiet, level: heard.activity.loud };
            let start = readings.at - readings.rate.frames(heard.quiet);
            out.push(Finding { channel: id, start, end: readings.at, evidence });
        }
    }
}
