//! What stands in the store cupboard, and what a thing of each kind can be plugged into.
//!
//! A [`GearKind`] is the word in the gear list; [`Spec`] holds the numbers that the list may give: ohms, watts, dB (1 W,
//! 1 m), mV/Pa, metres, hours. What is not said is taken from the catalogue ([`super::kind`]). Edge cases: a kind
//! that is only stock (leads, boxes, stands) has no ports.

use super::kind::{InKind, OutKind};
use super::port::{Input, Layout, Output, Socket, Supply, Takes};
use super::quantity::{Area, Metres, Ohms, Volts, Watts};
use super::wire::InLine;

/// A kind of thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum GearKind {
    /// Something that is sung, spoken or played into, or plays.
    Source(OutKind),
    Desk,
    /// A desk with amplifiers in it.
    PoweredMixer,
    Amplifier,
    /// For a 70 or 100 V line.
    LineAmplifier,
    ActiveSpeaker,
    PassiveSpeaker,
    LineSpeaker,
    ActiveMonitor,
    PassiveMonitor,
    /// An interface or recorder with two inputs.
    Recorder,
    /// A headset jack of a laptop or tablet that records.
    HeadsetRecorder,
    Effects,
    /// A socket circuit of the hall.
    Circuit,
    Lead(LeadKind),
    Box(InLine),
    Stand(StandKind),
    Battery,
}

/// Leads as they are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LeadKind {
    Mic,
    Instrument,
    BalancedJack,
    /// Balanced, an XLR at one end and a jack at the other.
    XlrJack,
    Split,
    Insert,
    Speaker,
    /// 3.5 mm at one end, anything at the other.
    Mini,
    Rca,
    Usb,
    Network,
    Mains,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StandKind {
    Tall,
    Short,
    Speaker,
}

/// What a thing is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// Heard by the audience.
    Hall,
    Monitor,
    /// Heard later, or elsewhere.
    Recording,
    Other,
}

impl GearKind {
    pub const fn role(self) -> Role {
        match self {
            Self::ActiveSpeaker | Self::PassiveSpeaker | Self::LineSpeaker => Role::Hall,
            Self::ActiveMonitor | Self::PassiveMonitor => Role::Monitor,
            Self::Recorder | Self::HeadsetRecorder => Role::Recording,
            _ => Role::Other,
        }
    }

    pub const fn is_desk(self) -> bool {
        matches!(self, Self::Desk | Self::PoweredMixer)
    }

    pub const fn is_active_speaker(self) -> bool {
        matches!(self, Self::ActiveSpeaker | Self::ActiveMonitor)
    }

    pub const fn is_passive_speaker(self) -> bool {
        matches!(self, Self::PassiveSpeaker | Self::PassiveMonitor)
    }

    /// Whether a microphone stands there, open to the room.
    pub const fn is_mic(self) -> bool {
        matches!(
            self,
            Self::Source(
                OutKind::DynamicMic
                    | OutKind::CondenserMic
                    | OutKind::BatteryCondenserMic
                    | OutKind::RibbonMic
                    | OutKind::RadioMicLevel
                    | OutKind::RadioLineLevel
            )
        )
    }

    pub const fn is_radio(self) -> bool {
        matches!(self, Self::Source(OutKind::RadioMicLevel | OutKind::RadioLineLevel))
    }

    /// Whether it has a mains inlet.
    pub const fn is_mains_powered(self) -> bool {
        matches!(
            self,
            Self::Desk
                | Self::PoweredMixer
                | Self::Amplifier
                | Self::LineAmplifier
                | Self::ActiveSpeaker
                | Self::ActiveMonitor
                | Self::Recorder
                | Self::HeadsetRecorder
                | Self::Effects
                | Self::Source(_)
        )
    }
}

/// How a desk's phantom power is switched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PhantomSwitch {
    EachChannel,
    AllTogether,
    No,
}

/// Where an amplifier in a powered mixer gets its signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AmpFeed {
    Main,
    Aux(u8),
}

/// The numbers of a thing, as far as somebody gave them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spec {
    pub ohms: Option<Ohms>,
    /// The least load of an amplifier.
    pub least_ohms: Option<Ohms>,
    /// Of a line amplifier: 70 or 100 V.
    pub line_volts: Option<Volts>,
    /// What an amplifier gives into its least load, or a loudspeaker bears.
    pub watts: Option<Watts>,
    /// From the mains, rated.
    pub draw: Option<Watts>,
    /// dB at 1 W and 1 m.
    pub sensitivity_db: Option<f64>,
    /// The highest peak of an active loudspeaker at 1 m, dB.
    pub max_db: Option<f64>,
    pub millivolts_a_pascal: Option<f64>,
    /// Of a lead.
    pub length: Option<Metres>,
    pub area: Option<Area>,
    pub battery_hours: Option<f64>,
    /// Of a desk.
    pub mic_inputs: Option<u8>,
    pub channels: Option<u8>,
    pub auxes: Option<u8>,
    pub phantom: Option<PhantomSwitch>,
    /// Of a powered mixer, in the order of its outputs.
    pub amp_feeds: Vec<AmpFeed>,
}

/// A line of the gear list.
#[derive(Clone, Debug, PartialEq)]
pub struct Gear {
    pub name: String,
    pub kind: GearKind,
    pub count: u32,
    pub spec: Spec,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Side {
    Left,
    Right,
}

/// An output of a thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OutPort {
    /// The only one, or one side of it.
    Own(Option<Side>),
    Main(Option<Side>),
    Aux(u8),
    Group(u8),
    Phones(Option<Side>),
    /// A channel's insert, misused as an output.
    Insert(u8),
    Record(Option<Side>),
    /// Loudspeaker output of an amplifier, counted from 1.
    Speaker(u8),
    /// A loudspeaker's or amplifier's second socket, which passes on what comes in.
    Link,
    Usb,
    Network,
    Mains,
}

/// An input of a thing; numbers are those printed on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum InPort {
    Mic(u8),
    Line(u8),
    Instrument(u8),
    Insert(u8),
    Stereo(u8, Side),
    TwoTrack(Side),
    /// An input of anything that is no desk, counted from 1.
    In(u8),
    Usb,
    Network,
    Power,
}

impl InPort {
    /// The desk's channel behind it.
    pub const fn channel(self) -> Option<u8> {
        match self {
            Self::Mic(n) | Self::Line(n) | Self::Instrument(n) | Self::Insert(n) | Self::Stereo(n, _) => Some(n),
            _ => None,
        }
    }
}

/// The output of a thing of this kind, if it has it.
pub fn output(kind: GearKind, spec: &Spec, port: OutPort) -> Option<Output> {
    let desk = kind.is_desk();
    let own = match (kind, port) {
        (_, OutPort::Usb) if matches!(kind, GearKind::Desk | GearKind::PoweredMixer | GearKind::Recorder) => {
            OutKind::UsbOut
        }
        (GearKind::Source(OutKind::LaptopPhones), OutPort::Usb) => OutKind::UsbOut,
        (_, OutPort::Network) if desk => OutKind::NetworkOut,
        (GearKind::Source(kind), OutPort::Own(_)) => kind,
        (
            GearKind::Source(OutKind::ActiveInstrument | OutKind::StereoKeys) | GearKind::Recorder,
            OutPort::Phones(_),
        ) => OutKind::DeskPhones,
        (_, OutPort::Insert(_)) if desk => OutKind::InsertSend,
        (_, OutPort::Main(_) | OutPort::Aux(_) | OutPort::Group(_)) if desk => OutKind::DeskOut,
        (_, OutPort::Phones(_)) if desk => OutKind::DeskPhones,
        (_, OutPort::Record(_)) if desk => OutKind::RecordOut,
        (GearKind::PoweredMixer | GearKind::Amplifier, OutPort::Speaker(_)) => OutKind::SpeakerOut,
        (GearKind::LineAmplifier, OutPort::Speaker(_)) => OutKind::HighVoltageLine,
        (_, OutPort::Link) if kind.is_active_speaker() || kind == GearKind::Amplifier => OutKind::DeskOut,
        (_, OutPort::Link) if kind.is_passive_speaker() => OutKind::SpeakerOut,
        (GearKind::LineSpeaker, OutPort::Link) => OutKind::HighVoltageLine,
        (GearKind::Recorder | GearKind::Effects, OutPort::Own(_)) => OutKind::DeskOut,
        (GearKind::Circuit, OutPort::Mains) => OutKind::Mains,
        _ => return None,
    };
    let mut out = own.port();
    if let (GearKind::Source(_), Some(ohms)) = (kind, spec.ohms) {
        out.impedance = ohms;
    }
    if matches!(own, OutKind::DeskOut | OutKind::RadioMicLevel | OutKind::RadioLineLevel) {
        // XLR on some, jack on others, both on many: the lead that is there tells.
        out.socket = Socket::Combo;
    }
    match port {
        // A source said to play on one side is one half of a stereo plug or pair.
        OutPort::Own(Some(_)) if out.layout == Layout::Mono => out.layout = Layout::Pair { sums: false },
        OutPort::Speaker(_) if kind == GearKind::PoweredMixer => out.socket = Socket::MonoJack,
        _ => {}
    }
    Some(out)
}

/// The input of a thing of this kind, if it has it.
pub fn input(kind: GearKind, spec: &Spec, port: InPort) -> Option<Input> {
    let desk = kind.is_desk();
    let own = match (kind, port) {
        (_, InPort::Power) if kind.is_mains_powered() => InKind::Mains,
        (_, InPort::Usb) if desk => InKind::UsbIn,
        (GearKind::Recorder | GearKind::HeadsetRecorder | GearKind::Source(OutKind::LaptopPhones), InPort::Usb) => {
            InKind::UsbIn
        }
        (_, InPort::Network) if desk => InKind::NetworkIn,
        (_, InPort::Mic(_)) if desk => InKind::MicXlr,
        (_, InPort::Line(_)) if desk => InKind::Line,
        (_, InPort::Instrument(_)) if desk => InKind::Instrument,
        (_, InPort::Insert(_)) if desk => InKind::Insert,
        (_, InPort::Stereo(_, Side::Left)) if desk => InKind::StereoLeft,
        (_, InPort::Stereo(_, Side::Right)) if desk => InKind::StereoRight,
        (_, InPort::TwoTrack(_)) if desk => InKind::TwoTrack,
        (_, InPort::In(1)) if kind.is_active_speaker() => InKind::ActiveSpeaker,
        (_, InPort::In(1)) if kind.is_passive_speaker() => InKind::PassiveSpeaker,
        (GearKind::LineSpeaker, InPort::In(1)) => InKind::LineSpeaker,
        (GearKind::Amplifier | GearKind::LineAmplifier, InPort::In(1..=4)) => InKind::AmplifierIn,
        (GearKind::Recorder, InPort::In(1..=2)) => InKind::Interface,
        (GearKind::HeadsetRecorder, InPort::In(1)) => InKind::HeadsetJack,
        (GearKind::Effects, InPort::In(1..=2)) => InKind::Line,
        _ => return None,
    };
    let mut input = own.port();
    if let (Takes::Speaker(_), Some(ohms)) = (input.takes, spec.ohms) {
        input.takes = Takes::Speaker(ohms);
    }
    if own == InKind::MicXlr && spec.phantom == Some(PhantomSwitch::No) {
        input.supply = Supply::Nothing;
    }
    Some(input)
}

/// Inputs of the same channel that could be used in its place.
pub fn other_inputs(port: InPort) -> Vec<InPort> {
    let Some(n) = port.channel() else { return Vec::new() };
    let all = [InPort::Mic(n), InPort::Line(n), InPort::Instrument(n), InPort::Stereo(n, Side::Left)];
    all.into_iter().filter(|other| *other != port).collect()
}
