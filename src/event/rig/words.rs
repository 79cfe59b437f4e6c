//! The words of the rig's files: kinds of gear, sockets, cables, plugs, boxes.
//!
//! One table a subject: the word that is written, and what it means; some things have several words. Case, spaces, `_` and
//! `-` do not matter. Edge cases: a socket's number is 1 to 64; what is not a socket gives `None`.

use crate::event::words::plain;
use crate::plan::gear::{GearKind, InPort, LeadKind, OutPort, PhantomSwitch, Side, StandKind};
use crate::plan::kind::OutKind;
use crate::plan::port::{Plug, Seat, Socket};
use crate::plan::quantity::Area;
use crate::plan::wire::{Cable, InLine};

/// Words of `gear.csv`, and of the column `gear` of `inputs.csv`.
pub const KINDS: &[(&str, GearKind)] = &[
    ("dynamic mic", GearKind::Source(OutKind::DynamicMic)),
    ("condenser mic", GearKind::Source(OutKind::CondenserMic)),
    ("battery condenser mic", GearKind::Source(OutKind::BatteryCondenserMic)),
    ("ribbon mic", GearKind::Source(OutKind::RibbonMic)),
    ("radio mic", GearKind::Source(OutKind::RadioLineLevel)),
    ("radio mic at mic level", GearKind::Source(OutKind::RadioMicLevel)),
    ("passive pickup", GearKind::Source(OutKind::PassivePickup)),
    ("piezo pickup", GearKind::Source(OutKind::PiezoPickup)),
    ("active instrument", GearKind::Source(OutKind::ActiveInstrument)),
    ("stereo keys", GearKind::Source(OutKind::StereoKeys)),
    ("laptop", GearKind::Source(OutKind::LaptopPhones)),
    ("music player", GearKind::Source(OutKind::LaptopPhones)),
    ("tape or disc player", GearKind::Source(OutKind::RecordOut)),
    ("record player", GearKind::Source(OutKind::RecordPlayer)),
    ("turntable", GearKind::Source(OutKind::RecordPlayer)),
    ("other desk", GearKind::Source(OutKind::DeskOut)),
    ("desk", GearKind::Desk),
    ("powered mixer", GearKind::PoweredMixer),
    ("amplifier", GearKind::Amplifier),
    ("line amplifier", GearKind::LineAmplifier),
    ("active speaker", GearKind::ActiveSpeaker),
    ("passive speaker", GearKind::PassiveSpeaker),
    ("line speaker", GearKind::LineSpeaker),
    ("active monitor", GearKind::ActiveMonitor),
    ("passive monitor", GearKind::PassiveMonitor),
    ("recorder", GearKind::Recorder),
    ("interface", GearKind::Recorder),
    ("headset jack", GearKind::HeadsetRecorder),
    ("effects", GearKind::Effects),
    ("mic cable", GearKind::Lead(LeadKind::Mic)),
    ("instrument cable", GearKind::Lead(LeadKind::Instrument)),
    ("balanced jack cable", GearKind::Lead(LeadKind::BalancedJack)),
    ("xlr jack cable", GearKind::Lead(LeadKind::XlrJack)),
    ("stereo split", GearKind::Lead(LeadKind::Split)),
    ("insert cable", GearKind::Lead(LeadKind::Insert)),
    ("speaker cable", GearKind::Lead(LeadKind::Speaker)),
    ("mini jack cable", GearKind::Lead(LeadKind::Mini)),
    ("rca cable", GearKind::Lead(LeadKind::Rca)),
    ("usb cable", GearKind::Lead(LeadKind::Usb)),
    ("network cable", GearKind::Lead(LeadKind::Network)),
    ("mains cable", GearKind::Lead(LeadKind::Mains)),
    ("passive di", GearKind::Box(InLine::PassiveDi)),
    ("active di", GearKind::Box(InLine::ActiveDi)),
    ("battery di", GearKind::Box(InLine::BatteryDi)),
    ("stereo di", GearKind::Box(InLine::StereoDi)),
    ("isolator", GearKind::Box(InLine::Isolator)),
    ("pad 20", GearKind::Box(InLine::Pad20)),
    ("pad 40", GearKind::Box(InLine::Pad40)),
    ("phono preamp", GearKind::Box(InLine::PhonoPreamp)),
    ("mic splitter", GearKind::Box(InLine::Splitter)),
    ("phantom box", GearKind::Box(InLine::PhantomBox)),
    ("line transformer", GearKind::Box(InLine::StepDown)),
    ("usb hub", GearKind::Box(InLine::UsbHub)),
    ("tall stand", GearKind::Stand(StandKind::Tall)),
    ("short stand", GearKind::Stand(StandKind::Short)),
    ("speaker stand", GearKind::Stand(StandKind::Speaker)),
    ("battery", GearKind::Battery),
];

/// The first word of a kind.
pub fn kind_word(kind: GearKind) -> &'static str {
    KINDS.iter().find(|(_, own)| *own == kind).map_or("", |(word, _)| word)
}

const THICK: Cable = Cable::Speaker(Area::new(2.5));

/// What the word of a cable says of its plugs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    Both(Plug),
    /// Whichever way round it goes in.
    XlrAndJack,
    /// Mono jacks where a jack goes in, else what belongs there.
    JacksWhereTheyGoIn,
    /// What belongs to the sockets.
    Open,
}

impl Ends {
    /// At both ends; `None` where the word leaves it open.
    pub fn plugs(self, sockets: [Option<Socket>; 2]) -> [Option<Plug>; 2] {
        let sits = |socket: Option<Socket>, plug| socket.is_none_or(|socket| socket.seats(plug) == Seat::Right);
        match self {
            Self::Both(plug) => [Some(plug); 2],
            Self::XlrAndJack if sits(sockets[0], Plug::Xlr) && sits(sockets[1], Plug::Trs) => {
                [Some(Plug::Xlr), Some(Plug::Trs)]
            }
            Self::XlrAndJack => [Some(Plug::Trs), Some(Plug::Xlr)],
            Self::JacksWhereTheyGoIn => sockets.map(|socket| {
                socket.is_some_and(|socket| matches!(socket, Socket::Combo | Socket::Jack)).then_some(Plug::Ts)
            }),
            Self::Open => [None; 2],
        }
    }
}

pub const CABLES: &[(&str, (Cable, Ends))] = &[
    ("mic cable", (Cable::Pair, Ends::Both(Plug::Xlr))),
    ("xlr", (Cable::Pair, Ends::Both(Plug::Xlr))),
    ("balanced jack cable", (Cable::Pair, Ends::Both(Plug::Trs))),
    ("xlr jack cable", (Cable::Pair, Ends::XlrAndJack)),
    ("instrument cable", (Cable::Single, Ends::Both(Plug::Ts))),
    ("jack cable", (Cable::Single, Ends::Both(Plug::Ts))),
    ("mini jack cable", (Cable::Single, Ends::JacksWhereTheyGoIn)),
    ("rca cable", (Cable::Single, Ends::JacksWhereTheyGoIn)),
    ("stereo split", (Cable::Split, Ends::JacksWhereTheyGoIn)),
    ("insert cable", (Cable::InsertY, Ends::Open)),
    ("return insert cable", (Cable::ReturnWired, Ends::Open)),
    ("speaker cable", (THICK, Ends::Open)),
    ("usb cable", (Cable::Usb, Ends::Open)),
    ("network cable", (Cable::Network, Ends::Open)),
    ("mains cable", (Cable::Mains, Ends::Open)),
];

pub const PLUGS: &[(&str, Plug)] = &[
    ("xlr", Plug::Xlr),
    ("trs", Plug::Trs),
    ("ts", Plug::Ts),
    ("3.5 mm", Plug::Mini),
    ("mini", Plug::Mini),
    ("headset", Plug::Headset),
    ("rca", Plug::Rca),
    ("speaker", Plug::Speaker),
    ("bare", Plug::Bare),
    ("usb", Plug::Usb),
    ("network", Plug::Network),
    ("mains", Plug::Mains),
];

pub const BOXES: &[(&str, InLine)] = &[
    ("passive di", InLine::PassiveDi),
    ("active di", InLine::ActiveDi),
    ("battery di", InLine::BatteryDi),
    ("stereo di", InLine::StereoDi),
    ("isolator", InLine::Isolator),
    ("pad 20", InLine::Pad20),
    ("pad 40", InLine::Pad40),
    ("resistor sum", InLine::ResistorSum),
    ("phono preamp", InLine::PhonoPreamp),
    ("mic splitter", InLine::Splitter),
    ("phantom box", InLine::PhantomBox),
    ("line transformer", InLine::StepDown),
    ("ground lift", InLine::GroundLift),
    ("usb hub", InLine::UsbHub),
    ("earth removed", InLine::EarthRemoved),
    ("mains earth lift", InLine::EarthRemoved),
];

pub const PHANTOM: &[(&str, PhantomSwitch)] =
    &[("each", PhantomSwitch::EachChannel), ("all together", PhantomSwitch::AllTogether), ("no", PhantomSwitch::No)];

/// What may stand in the columns `out` and `in`.
pub const OUTS: &str =
    "a socket such as: L, R, main L, aux 1, group 1, phones, rec, insert 1, speaker 1, link, usb, mains";
pub const INS: &str =
    "a socket such as: mic 1, line 1, hi-z 1, insert 1, stereo 1 L, 2-track L, in 1, usb, network, power";

/// The output that a cell names; empty is the thing's own.
pub fn out_port(text: &str) -> Option<OutPort> {
    let (word, number, side) = socket(text)?;
    Some(match (word.as_str(), number) {
        ("" | "out" | "own", None | Some(1)) => OutPort::Own(side),
        ("main" | "mains out" | "main out", None) => OutPort::Main(side),
        ("aux" | "send", Some(n)) => OutPort::Aux(n),
        ("group" | "sub", Some(n)) => OutPort::Group(n),
        ("phones" | "headphones", None) => OutPort::Phones(side),
        ("insert", Some(n)) => OutPort::Insert(n),
        ("rec" | "record" | "tape", None) => OutPort::Record(side),
        ("speaker" | "amp" | "speakers", Some(n)) => OutPort::Speaker(n),
        ("speaker", None) => OutPort::Speaker(if side == Some(Side::Right) { 2 } else { 1 }),
        ("link" | "through", None) => OutPort::Link,
        ("usb", None) => OutPort::Usb,
        ("network", None) => OutPort::Network,
        ("mains" | "socket", None) => OutPort::Mains,
        _ => return None,
    })
}

/// The input that a cell names; empty is the first.
pub fn in_port(text: &str) -> Option<InPort> {
    let (word, number, side) = socket(text)?;
    Some(match (word.as_str(), number) {
        ("" | "in" | "input", _) => InPort::In(number.unwrap_or(if side == Some(Side::Right) { 2 } else { 1 })),
        ("mic", Some(n)) => InPort::Mic(n),
        ("line", Some(n)) => InPort::Line(n),
        ("hi z" | "hiz" | "instrument", Some(n)) => InPort::Instrument(n),
        ("insert", Some(n)) => InPort::Insert(n),
        ("stereo", Some(n)) => InPort::Stereo(n, side.unwrap_or(Side::Left)),
        ("2 track" | "two track" | "tape in", None) => InPort::TwoTrack(side.unwrap_or(Side::Left)),
        ("usb", None) => InPort::Usb,
        ("network", None) => InPort::Network,
        ("power" | "mains", None) => InPort::Power,
        _ => return None,
    })
}

/// Words, then a number, then a side: "stereo 9 L".
fn socket(text: &str) -> Option<(String, Option<u8>, Option<Side>)> {
    let written = plain(text);
    let mut parts: Vec<&str> = written.split(' ').filter(|part| !part.is_empty()).collect();
    let side = match parts.last().copied() {
        Some("l" | "left" | "l/mono") => Some(Side::Left),
        Some("r" | "right") => Some(Side::Right),
        _ => None,
    };
    if side.is_some() {
        parts.pop();
    }
    let number = parts.last().filter(|_| parts.len() > 1).and_then(|part| part.parse::<u8>().ok());
    if number.is_some() {
        parts.pop();
    }
    if number.is_some_and(|number| !(1..=64).contains(&number)) {
        return None;
    }
    Some((parts.join(" "), number, side))
}
