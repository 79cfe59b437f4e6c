//! Rings: acoustic feedback, heard while it is still quiet, told from a held note.
//!
//! In: each channel's spectra, 20 ms apart. Tones are followed through time ([`track`]), what their histories say is
//! told in numbers ([`signs`]), all numbers are weighed in one place ([`judge`]), and a tone that keeps its score for
//! some 60 ms is said to be *possible* or *ringing* ([`listener`]). Everything is causal: a ring's `reported` is
//! the end of the sound that decided.
//!
//! A loop a little over its limit grows on one straight line in dB, out of the floor, at one frequency, with no
//! harmonics until something clips, whatever the programme does; a note begins with an attack, and its partials rise
//! together. *Excess* is growth × loop delay, τ ≈ 0.02 s + 0.09 · reverberation time for simulated decaying-noise
//! rooms: right within a factor of three. Names only `units` and readings; allocates only in `new`.

mod company;
mod judge;
mod known;
mod line;
mod listener;
mod ring;
mod signs;
mod track;

pub use ring::{Certainty, Ring, RingEvent, Signs};

use crate::meters::Readings;
use crate::units::{ChannelId, Db, Hertz, Seconds};
use listener::Listener;

/// Events that may wait to be taken.
const EVENTS: usize = 1024;
/// Reverberation time of a room that nobody has measured.
const USUAL_REVERBERATION: Seconds = Seconds::new(0.8);

/// Listens for rings on all channels.
#[derive(Clone, Debug)]
pub struct Ringing {
    channels: Vec<Listener>,
    rings: Vec<Ring>,
    events: Vec<RingEvent>,
    next: u32,
    learning: bool,
    delay: f64,
}

impl Ringing {
    pub fn new(channels: usize) -> Self {
        let mut ringing = Self {
            channels: (0..channels).map(|index| Listener::new(ChannelId::from_index(index))).collect(),
            rings: Vec::with_capacity(channels * listener::MOST_RINGS),
            events: Vec::with_capacity(EVENTS),
            next: 1,
            learning: false,
            delay: 0.0,
        };
        ringing.set_reverberation(USUAL_REVERBERATION);
        ringing
    }

    /// The room's reverberation time, for the estimate of the excess.
    pub fn set_reverberation(&mut self, time: Seconds) {
        self.delay = 0.02 + 0.09 * time.get().clamp(0.0, 10.0);
    }

    /// While on, steady tones are taken for the room's own (forgetting those learned before); afterwards they are
    /// set aside.
    pub fn learn_room(&mut self, on: bool) {
        if on && !self.learning {
            for channel in &mut self.channels {
                channel.forget_room();
            }
        }
        self.learning = on;
    }

    /// After every hop.
    pub fn observe(&mut self, readings: &Readings) {
        let at = readings.at.at(readings.rate);
        let mut looked = false;
        for (channel, reading) in self.channels.iter_mut().zip(&readings.channels) {
            let mut desk = Desk { events: &mut self.events, next: &mut self.next, delay: self.delay };
            if readings.gap.get() > 0 {
                channel.gap(readings.gap.at(readings.rate), at, &mut desk);
            }
            looked |= channel.observe(&reading.spectrum, at, self.learning, &mut desk);
        }
        if looked {
            self.gather();
        }
    }

    /// The source is over.
    pub fn finish(&mut self, at: Seconds) {
        for channel in &mut self.channels {
            channel.finish(at, &mut Desk { events: &mut self.events, next: &mut self.next, delay: self.delay });
        }
        self.rings.clear();
    }

    /// Those that stand now.
    pub fn rings(&self) -> &[Ring] {
        &self.rings
    }

    /// What has happened since it was last asked.
    pub fn drain(&mut self) -> impl Iterator<Item = RingEvent> + '_ {
        self.events.drain(..)
    }

    /// Every tone of a channel that is judged at the moment: its number, frequency, signs and log-odds.
    pub fn judged(&self, channel: ChannelId) -> impl Iterator<Item = (u32, Hertz, Signs, f64)> + '_ {
        self.channels.get(channel.index()).into_iter().flat_map(Listener::judged)
    }

    fn gather(&mut self) {
        self.rings.clear();
        for channel in &self.channels {
            self.rings.extend(channel.rings());
        }
        for ring in &mut self.rings {
            let same = |listener: &&Listener| listener.has(ring.frequency.get());
            let others = self.channels.iter().filter(same).count().saturating_sub(1);
            ring.signs.elsewhere = others.min(255) as u8;
        }
    }
}

/// Where listeners leave what they have to say.
struct Desk<'a> {
    events: &'a mut Vec<RingEvent>,
    next: &'a mut u32,
    delay: f64,
}

impl Desk<'_> {
    fn say(&mut self, event: RingEvent) {
        if self.events.len() < EVENTS {
            self.events.push(event);
        }
    }

    fn new_id(&mut self) -> u32 {
        let id = *self.next;
        *self.next = self.next.wrapping_add(1);
        id
    }

    fn excess(&self, growth: f64) -> Option<Db> {
        (growth > 0.0).then(|| Db::new(growth * self.delay))
    }
}
