//! The two ends of a wire: what an output gives and what an input takes, as properties.
//!
//! Levels in dBu (`usual` is the level of ordinary use, `loudest` the highest that the source gives in use), source
//! and load impedances in ohms. Verdicts follow from these numbers and kinds alone ([`super::rules`]), so a port
//! that no list knows is judged like any other. Source of the figures in the catalogue: common practice and makers'
//! usual data (working values). Edge cases: an input with a switch has one [`Mode`] for each position.

use super::quantity::Ohms;
use crate::units::Dbu;

/// What is at the end of a lead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Plug {
    Xlr,
    /// 6.35 mm jack with tip, ring and sleeve.
    Trs,
    /// 6.35 mm jack with tip and sleeve.
    Ts,
    /// 3.5 mm stereo jack.
    Mini,
    /// 3.5 mm jack with four contacts, the last a microphone's.
    Headset,
    Rca,
    /// Locking loudspeaker connector.
    Speaker,
    /// Bare ends or single-pole plugs for posts.
    Bare,
    Usb,
    Network,
    Mains,
}

impl Plug {
    pub const ALL: [Self; 11] = [
        Self::Xlr,
        Self::Trs,
        Self::Ts,
        Self::Mini,
        Self::Headset,
        Self::Rca,
        Self::Speaker,
        Self::Bare,
        Self::Usb,
        Self::Network,
        Self::Mains,
    ];

    /// Whether it has a contact for each half of a balanced pair.
    pub const fn carries_a_pair(self) -> bool {
        matches!(self, Self::Xlr | Self::Trs)
    }
}

/// What a lead is plugged into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Socket {
    Xlr,
    /// 6.35 mm with a ring contact.
    Jack,
    /// 6.35 mm without one.
    MonoJack,
    /// XLR and 6.35 mm in one.
    Combo,
    Mini,
    Headset,
    Rca,
    Speaker,
    Posts,
    Usb,
    Network,
    Mains,
}

/// How a plug sits in a socket.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seat {
    Right,
    /// It goes in, and one contact meets the wrong one.
    Shorted,
    DoesNotGoIn,
}

impl Socket {
    pub const fn seats(self, plug: Plug) -> Seat {
        use Plug as P;
        match (self, plug) {
            (Self::Xlr, P::Xlr)
            | (Self::Jack, P::Trs | P::Ts)
            | (Self::MonoJack, P::Ts)
            | (Self::Combo, P::Xlr | P::Trs | P::Ts)
            | (Self::Mini, P::Mini)
            | (Self::Headset, P::Headset)
            | (Self::Rca, P::Rca)
            | (Self::Speaker, P::Speaker)
            | (Self::Posts, P::Bare)
            | (Self::Usb, P::Usb)
            | (Self::Network, P::Network)
            | (Self::Mains, P::Mains) => Seat::Right,
            (Self::MonoJack, P::Trs) | (Self::Headset, P::Mini) | (Self::Mini, P::Headset) => Seat::Shorted,
            _ => Seat::DoesNotGoIn,
        }
    }

    /// The plug that belongs there.
    pub const fn own_plug(self) -> Plug {
        match self {
            Self::Xlr | Self::Combo => Plug::Xlr,
            Self::Jack => Plug::Trs,
            Self::MonoJack => Plug::Ts,
            Self::Mini => Plug::Mini,
            Self::Headset => Plug::Headset,
            Self::Rca => Plug::Rca,
            Self::Speaker => Plug::Speaker,
            Self::Posts => Plug::Bare,
            Self::Usb => Plug::Usb,
            Self::Network => Plug::Network,
            Self::Mains => Plug::Mains,
        }
    }
}

/// What comes out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Drive {
    /// A signal, from microphone to line level.
    Signal,
    /// An amplifier's output: volts and amperes.
    Speaker,
    /// A constant-voltage line (70 or 100 V).
    HighVoltage,
    Data(DataKind),
    Mains,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataKind {
    Usb,
    Network,
}

/// What phantom power does to an output that meets it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnPhantom {
    /// Silent without it.
    Needs,
    /// It needs it, and a box in the wire keeps it off: silent.
    CutOff,
    Ignores,
    MayBeHarmed,
    IsHarmed,
}

/// How many sides an output has, and on how many plugs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    Mono,
    /// Two sockets, left and right; where only one is plugged, `sums` tells whether it gives both halves.
    Pair {
        sums: bool,
    },
    /// Left and right on one plug.
    OnePlug,
}

/// What an output carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    OneSource,
    /// A finished mix, such as a bus or a record output.
    Mix,
}

/// One output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Output {
    pub socket: Socket,
    pub drive: Drive,
    pub usual: Dbu,
    pub loudest: Dbu,
    /// Source impedance in ordinary use.
    pub impedance: Ohms,
    pub balanced: bool,
    pub phantom: OnPhantom,
    pub layout: Layout,
    pub carries: Carries,
    /// Its level hangs on a knob that anybody may touch.
    pub by_knob: bool,
    /// A record player's pickup: its bass is cut and its top raised until a phono preamplifier undoes it (RIAA curve).
    pub riaa: bool,
    /// Send and return share its socket: what is plugged there interrupts the channel.
    pub interrupts: bool,
}

/// A position of an input's switch, or the only way it works.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ModeKind {
    Mic,
    Line,
    /// For pickups: a load of a megohm.
    Instrument,
}

/// What an input takes in one position of its switch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    pub kind: ModeKind,
    /// The quietest usual level that its gain still lifts to where it should be.
    pub quietest: Dbu,
    /// Where it clips with the gain fully down.
    pub clips: Dbu,
    /// Load on the source.
    pub impedance: Ohms,
    /// Whether it has a gain knob of its own.
    pub trim: bool,
}

/// What an input is made for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Takes {
    Signal,
    /// Send and return of a channel on one socket.
    Insert,
    /// A passive loudspeaker of this impedance.
    Speaker(Ohms),
    /// A loudspeaker with a transformer for a 70 or 100 V line.
    HighVoltage,
    Data(DataKind),
    Mains,
}

/// What an input gives back on the same wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Supply {
    Nothing,
    /// 48 V phantom power (IEC 61938); `None` where nobody said whether it is on.
    Phantom(Option<bool>),
    /// A few volts for headset microphones.
    Bias,
}

/// Which socket of a stereo input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputSide {
    /// Not a stereo input.
    Single,
    /// "L/mono".
    Left,
    Right,
}

/// One input.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    pub socket: Socket,
    pub takes: Takes,
    /// One for each position of the switch; empty where it takes no signal.
    pub modes: Vec<Mode>,
    /// Where the switch stands, if somebody said.
    pub switched_to: Option<ModeKind>,
    pub balanced: bool,
    pub supply: Supply,
    pub side: InputSide,
    /// A desk channel stands behind it: tone controls, mute, fader.
    pub strip: bool,
}
