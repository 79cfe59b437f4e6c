//! The chain as a graph: things, the wires between their ports, and what the desk does with each channel.
//!
//! Places in metres: x to the audience's right of the middle of the stage's front edge, y away from the audience (so
//! seats lie at negative y). Crest and show lift in dB come with the input list's kinds. Edge cases: a rig may hold
//! things that nothing is plugged into, wires to ports that a thing has not, and loops; the checks say so.

use super::gear::{Gear, GearKind, InPort, OutPort, Side, Spec};
use super::quantity::{Amperes, Metres, Volts};
use super::wire::Wire;
use crate::units::{ChannelId, Db, Seconds, SourceKind, Spl};

/// Which thing of the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ThingId(pub usize);

/// Which wire of the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WireId(pub usize);

/// A place in the hall, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    pub x: f64,
    pub y: f64,
}

impl Place {
    pub fn distance(self, other: Self) -> Metres {
        Metres::new((self.x - other.x).hypot(self.y - other.y))
    }
}

/// One thing.
#[derive(Clone, Debug, PartialEq)]
pub struct Thing {
    pub name: String,
    pub kind: GearKind,
    pub spec: Spec,
    pub place: Option<Place>,
}

/// A wire between two ports.
#[derive(Clone, Debug, PartialEq)]
pub struct Wired {
    /// What is written on its tape.
    pub label: String,
    pub from: (ThingId, OutPort),
    pub to: (ThingId, InPort),
    pub wire: Wire,
    /// Whether somebody described the lead, or the usual one is taken.
    pub described: bool,
    pub notes: String,
}

/// What must never be heard by the audience.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cue {
    Click,
    Talkback,
    SpokenCue,
}

/// Where an auxiliary send takes the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tap {
    BeforeFader,
    AfterFader,
}

/// A bus of the desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bus {
    MainLeft,
    MainRight,
    Group(u8),
    Aux(u8),
}

/// One channel of the desk, as it will be set.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    pub channel: ChannelId,
    pub name: String,
    pub kind: SourceKind,
    pub to_main: bool,
    pub groups: Vec<u8>,
    pub sends: Vec<(u8, Tap)>,
    pub mute: bool,
    pub fader_down: bool,
    /// −1 left … +1 right.
    pub pan: f64,
    pub solo: bool,
    pub phantom: Option<bool>,
    pub low_cut: Option<bool>,
    pub insert_half_in: bool,
    pub cue: Option<Cue>,
    pub crest: Db,
    pub show_lift: Db,
    /// From the source to its microphone.
    pub distance: Option<Metres>,
    pub place: Option<Place>,
    pub person: Option<String>,
    pub stand: Option<String>,
}

/// A group or auxiliary bus, as it will be set.
#[derive(Clone, Debug, PartialEq)]
pub struct BusSetting {
    pub bus: Bus,
    /// Of a group.
    pub to_main: bool,
    pub mute: bool,
    /// Whose ears it is for.
    pub for_whom: String,
}

/// A zone of seats.
#[derive(Clone, Debug, PartialEq)]
pub struct Seat {
    pub name: String,
    pub place: Place,
}

/// A socket circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    pub name: String,
    pub volts: Option<Volts>,
    pub breaker: Option<Amperes>,
    /// What else hangs on it: kettles, heaters, dimmers.
    pub shared_with: Vec<String>,
}

/// The hall.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Venue {
    pub name: String,
    pub length: Option<Metres>,
    pub width: Option<Metres>,
    pub height: Option<Metres>,
    pub reverb: Option<Seconds>,
    /// Mean absorption coefficient, where nobody measured the reverberation.
    pub absorption: Option<f64>,
    /// The audience's noise, dBA.
    pub noise: Option<Spl>,
    /// What somebody wants at the last row, dBA.
    pub target: Option<Spl>,
    pub celsius: Option<f64>,
    pub humidity: Option<f64>,
    pub seats: Vec<Seat>,
    pub circuits: Vec<Circuit>,
}

impl Venue {
    /// m², of a box of these sides.
    pub fn surface(&self) -> Option<f64> {
        let (length, width, height) = (self.length?.get(), self.width?.get(), self.height?.get());
        Some(2.0 * (length * width + length * height + width * height))
    }

    /// m³.
    pub fn volume(&self) -> Option<f64> {
        Some(self.length?.get() * self.width?.get() * self.height?.get())
    }
}

/// A finding that somebody lives with.
#[derive(Clone, Debug, PartialEq)]
pub struct Accepted {
    /// The wire's label or the channel's or thing's name.
    pub about: String,
    /// The finding's machine word.
    pub what: String,
    pub because: String,
}

/// Everything that is planned.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rig {
    pub name: String,
    pub things: Vec<Thing>,
    pub wires: Vec<Wired>,
    pub strips: Vec<Strip>,
    pub buses: Vec<BusSetting>,
    /// The store cupboard; `None` where there is no list.
    pub stock: Option<Vec<Gear>>,
    pub venue: Option<Venue>,
    pub accepted: Vec<Accepted>,
    /// The channels that each song has open, where songs are listed.
    pub songs: Vec<Vec<u8>>,
    /// For batteries.
    pub show_hours: Option<f64>,
}

impl Rig {
    pub fn thing(&self, id: ThingId) -> &Thing {
        &self.things[id.0]
    }

    pub fn ids(&self) -> impl Iterator<Item = ThingId> + use<> {
        (0..self.things.len()).map(ThingId)
    }

    pub fn strip(&self, channel: u8) -> Option<&Strip> {
        self.strips.iter().find(|strip| strip.channel.number() == u16::from(channel))
    }

    /// The desk that the input list is for: of several, the one that most channels come to.
    pub fn desk(&self) -> Option<ThingId> {
        let desks = self.ids().filter(|id| self.thing(*id).kind.is_desk());
        let channels = |id: &ThingId| self.into_thing(*id).filter(|wired| wired.to.1.channel().is_some()).count();
        desks.max_by_key(|id| (channels(id), std::cmp::Reverse(id.0)))
    }

    pub fn bus(&self, bus: Bus) -> Option<&BusSetting> {
        self.buses.iter().find(|setting| setting.bus == bus)
    }

    /// The wires that end in a thing.
    pub fn into_thing(&self, id: ThingId) -> impl Iterator<Item = &Wired> {
        self.wires.iter().filter(move |wired| wired.to.0 == id)
    }

    /// The channel that a wire into the desk comes to. What comes by USB or network takes the channel of its own name.
    pub fn channel_of(&self, wired: &Wired) -> Option<u8> {
        let named = || self.strips.iter().find(|strip| strip.name == self.thing(wired.from.0).name);
        match wired.to.1 {
            InPort::Usb | InPort::Network => named().map(|strip| strip.channel.number() as u8),
            port => port.channel(),
        }
    }

    /// All channels that a wire into the desk comes to: by USB or network also those of playback that have no other wire.
    pub fn channels_of(&self, wired: &Wired) -> Vec<u8> {
        let mut all: Vec<u8> = self.channel_of(wired).into_iter().collect();
        if matches!(wired.to.1, InPort::Usb | InPort::Network)
            && matches!(self.thing(wired.from.0).kind, GearKind::Source(_))
        {
            let plugged = |channel| self.into_thing(wired.to.0).any(|other| self.channel_of(other) == Some(channel));
            let of_playback =
                self.strips.iter().filter(|strip| strip.kind == SourceKind::Playback && strip.cue.is_none());
            let numbers = of_playback.map(|strip| strip.channel.number() as u8);
            all.extend(numbers.filter(|channel| !plugged(*channel)));
        }
        all
    }

    /// The source on a channel, and its wire.
    pub fn source_of(&self, channel: u8) -> Option<(&Thing, &Wired)> {
        let desk = self.desk()?;
        let arrives =
            |wired: &&Wired| self.channels_of(wired).contains(&channel) && !matches!(wired.to.1, InPort::Insert(_));
        let wired = self.into_thing(desk).find(arrives)?;
        Some((self.thing(wired.from.0), wired))
    }
}

impl OutPort {
    pub const fn side(self) -> Option<Side> {
        match self {
            Self::Own(side) | Self::Main(side) | Self::Phones(side) | Self::Record(side) => side,
            _ => None,
        }
    }
}
