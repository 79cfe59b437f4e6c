//! A wire: both plugs, the cable between them, its length, and the small boxes in it.
//!
//! Lengths in metres, conductor areas in mm². A box in the wire takes the signal like an input and gives it on like
//! an output, so its own load and level count. Source of the boxes' figures: common practice (a transformer DI of
//! 12 : 1 lowers the level by 20 lg 12 = 21.6 dB; an active DI loads with 1 MΩ). Edge cases: a wire without boxes;
//! an adapter that removes a mains earth is known only so that it can be refused.

use super::port::{Carries, Drive, Input, Layout, OnPhantom, Output, Plug, Socket, Takes};
use super::quantity::{Area, Metres, Ohms};
use crate::units::Db;

/// What the lead is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cable {
    /// Two cores in a shield: microphone and balanced line.
    Pair,
    /// One core in a shield: instruments, unbalanced line.
    Single,
    /// Two thick cores without a shield.
    Speaker(Area),
    /// One stereo plug to two mono ones; the wire is one of its two legs.
    Split,
    /// One insert plug (send and return) to two mono ones; the wire is one of its legs.
    InsertY,
    /// For an insert's return only: the signal is on the ring.
    ReturnWired,
    Usb,
    Network,
    Mains,
}

impl Cable {
    pub const fn is_shielded(self) -> bool {
        !matches!(self, Self::Speaker(_) | Self::Mains)
    }
}

/// A box in a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum InLine {
    /// Transformer DI.
    PassiveDi,
    /// DI of 1 MΩ that needs phantom power or a battery.
    ActiveDi,
    /// The same on its battery.
    BatteryDi,
    /// Two transformer DIs in one box, for a stereo plug.
    StereoDi,
    /// 1 : 1 audio transformer for line level.
    Isolator,
    Pad20,
    Pad40,
    /// Left and right through a resistor each (470 Ω or more) to mono.
    ResistorSum,
    /// For a record player's pickup: 40 dB of gain, and the RIAA curve undone.
    PhonoPreamp,
    /// Microphone splitter with a transformer.
    Splitter,
    /// Phantom power from a box of its own.
    PhantomBox,
    /// Line transformer from 70/100 V to a low-impedance loudspeaker, fitted by a competent person.
    StepDown,
    /// A DI's own audio ground lift.
    GroundLift,
    UsbHub,
    /// Something that takes the earth off a mains plug. Known only to be refused.
    EarthRemoved,
}

impl InLine {
    pub const ALL: [Self; 15] = [
        Self::PassiveDi,
        Self::ActiveDi,
        Self::BatteryDi,
        Self::StereoDi,
        Self::Isolator,
        Self::Pad20,
        Self::Pad40,
        Self::ResistorSum,
        Self::PhonoPreamp,
        Self::Splitter,
        Self::PhantomBox,
        Self::StepDown,
        Self::GroundLift,
        Self::UsbHub,
        Self::EarthRemoved,
    ];

    /// What the source before it is loaded with, where it is loaded anew.
    pub const fn load(self) -> Option<Ohms> {
        match self {
            Self::PassiveDi | Self::StereoDi => Some(Ohms::new(100_000.0)),
            Self::ActiveDi | Self::BatteryDi => Some(Ohms::new(1_000_000.0)),
            Self::Isolator => Some(Ohms::new(10_000.0)),
            Self::PhonoPreamp => Some(Ohms::new(47_000.0)),
            Self::Pad20 | Self::Pad40 => Some(Ohms::new(1_500.0)),
            _ => None,
        }
    }

    /// What comes out of it when this goes in.
    pub fn after(self, before: Output) -> Output {
        let lowered = |by: f64| Output {
            usual: before.usual - Db::new(by),
            loudest: before.loudest - Db::new(by),
            impedance: Ohms::new(150.0),
            ..before
        };
        // No phantom power comes back through a transformer or an amplifier.
        let behind = match before.phantom {
            OnPhantom::Needs | OnPhantom::CutOff => OnPhantom::CutOff,
            _ => OnPhantom::Ignores,
        };
        let di = |by: f64, phantom: OnPhantom| Output {
            socket: Socket::Xlr,
            balanced: true,
            phantom,
            carries: Carries::OneSource,
            ..lowered(by)
        };
        match self {
            Self::PassiveDi => di(21.6, behind),
            Self::StereoDi => Output { layout: one_side(before.layout), ..di(21.6, behind) },
            Self::ActiveDi if behind == OnPhantom::CutOff => di(12.0, behind),
            Self::ActiveDi => di(12.0, OnPhantom::Needs),
            Self::BatteryDi => di(12.0, behind),
            Self::Isolator => Output { socket: Socket::Jack, balanced: true, phantom: behind, ..before },
            Self::Pad20 => lowered(20.0),
            Self::Pad40 => lowered(40.0),
            Self::ResistorSum => Output {
                layout: Layout::Mono,
                usual: before.usual - Db::new(6.0),
                impedance: Ohms::new(before.impedance.get() / 2.0 + 235.0),
                ..before
            },
            Self::PhonoPreamp => Output {
                usual: before.usual + Db::new(40.0),
                loudest: before.loudest + Db::new(40.0),
                impedance: Ohms::new(600.0),
                riaa: false,
                ..before
            },
            Self::Splitter => Output { phantom: OnPhantom::Ignores, ..before },
            Self::PhantomBox => Output {
                phantom: if before.phantom == OnPhantom::Needs { OnPhantom::Ignores } else { before.phantom },
                ..before
            },
            Self::StepDown if before.drive == Drive::HighVoltage => Output { drive: Drive::Speaker, ..before },
            Self::StepDown | Self::GroundLift | Self::UsbHub | Self::EarthRemoved => before,
        }
    }
}

/// Each half of a stereo plug goes through a box of its own.
const fn one_side(layout: Layout) -> Layout {
    match layout {
        Layout::OnePlug => Layout::Mono,
        other => other,
    }
}

/// One lead with its boxes.
#[derive(Clone, Debug, PartialEq)]
pub struct Wire {
    pub from_plug: Plug,
    pub to_plug: Plug,
    pub cable: Cable,
    pub length: Metres,
    /// In the order in which the signal meets them.
    pub through: Vec<InLine>,
}

/// Of a lead nobody described.
const USUAL_LENGTH: Metres = Metres::new(5.0);
/// Of a loudspeaker lead nobody described.
const USUAL_AREA: Area = Area::new(2.5);

impl Wire {
    /// The lead that anybody would take between these two sockets.
    pub fn usual(out: &Output, input: &Input) -> Self {
        let speaker = matches!(out.drive, Drive::Speaker | Drive::HighVoltage);
        let from_plug = out.socket.own_plug();
        let to_plug = match (input.socket, out.socket) {
            (Socket::Combo, Socket::Xlr | Socket::Combo) => Plug::Xlr,
            (Socket::Combo, _) if out.balanced => Plug::Trs,
            (Socket::Combo, _) => Plug::Ts,
            (Socket::Jack, _) if !out.balanced && input.takes == Takes::Signal => Plug::Ts,
            (socket, _) => socket.own_plug(),
        };
        let cable = match (out.drive, input.takes) {
            (Drive::Mains, _) => Cable::Mains,
            (Drive::Data(super::port::DataKind::Usb), _) => Cable::Usb,
            (Drive::Data(super::port::DataKind::Network), _) => Cable::Network,
            _ if speaker => Cable::Speaker(USUAL_AREA),
            (_, Takes::Insert) => Cable::ReturnWired,
            _ if out.balanced && to_plug.carries_a_pair() => Cable::Pair,
            _ => Cable::Single,
        };
        let through =
            // No straight lead goes from a stereo plug to the microphone contact of a headset jack.
            if input.socket == Socket::Headset && out.layout == Layout::OnePlug { vec![InLine::ResistorSum] } else { vec![] };
        Self { from_plug, to_plug, cable, length: USUAL_LENGTH, through }
    }

    /// The same by a stereo split: this wire is one of its legs.
    pub fn split(out: &Output, input: &Input) -> Self {
        Self { cable: Cable::Split, ..Self::usual(out, input) }
    }

    /// The same through a box.
    pub fn through(self, boxes: &[InLine]) -> Self {
        Self { through: boxes.to_vec(), ..self }
    }
}
