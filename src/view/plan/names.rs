//! Things, sockets, plugs and leads in words, short enough for a tape label or a cell.

use crate::event::rig::kind_word;
use crate::plan::counts;
use crate::plan::gear::{GearKind, InPort, LeadKind, OutPort, Side, StandKind};
use crate::plan::port::{ModeKind, Plug};
use crate::plan::rig::{Rig, ThingId, Wired};
use crate::plan::wire::{Cable, InLine};
use crate::view::lengths::length;
use crate::view::words::plain;

/// "Hall desk mic 3".
pub fn end<P: Port>(rig: &Rig, (id, port): (ThingId, P)) -> String {
    let name = plain(&rig.thing(id).name);
    let socket = port.name();
    if socket.is_empty() { name } else { format!("{name} {socket}") }
}

/// A socket at either end.
pub trait Port {
    fn name(&self) -> String;
}

impl Port for OutPort {
    fn name(&self) -> String {
        out_name(*self)
    }
}

impl Port for InPort {
    fn name(&self) -> String {
        in_name(*self)
    }
}

/// "main L", "aux 1"; a thing's only output has no name.
pub fn out_name(port: OutPort) -> String {
    let sided = |word: &str, side: Option<Side>| match side {
        Some(Side::Left) => format!("{word} L").trim().to_owned(),
        Some(Side::Right) => format!("{word} R").trim().to_owned(),
        None => word.to_owned(),
    };
    match port {
        OutPort::Own(side) => sided("", side),
        OutPort::Main(side) => sided("main", side),
        OutPort::Aux(n) => format!("aux {n}"),
        OutPort::Group(n) => format!("group {n}"),
        OutPort::Phones(side) => sided("phones", side),
        OutPort::Insert(n) => format!("insert {n}"),
        OutPort::Record(side) => sided("rec", side),
        OutPort::Speaker(n) => format!("speaker {n}"),
        OutPort::Link => "link".into(),
        OutPort::Usb => "USB".into(),
        OutPort::Network => "network".into(),
        OutPort::Mains => String::new(),
    }
}

/// "mic 3", "stereo 9 L"; a thing's only input is "in".
pub fn in_name(port: InPort) -> String {
    let side = |side| if side == Side::Left { "L" } else { "R" };
    match port {
        InPort::Mic(n) => format!("mic {n}"),
        InPort::Line(n) => format!("line {n}"),
        InPort::Instrument(n) => format!("hi-Z {n}"),
        InPort::Insert(n) => format!("insert {n}"),
        InPort::Stereo(n, at) => format!("stereo {n} {}", side(at)),
        InPort::TwoTrack(at) => format!("2-track {}", side(at)),
        InPort::In(1) => "in".into(),
        InPort::In(n) => format!("in {n}"),
        InPort::Usb => "USB".into(),
        InPort::Network => "network".into(),
        InPort::Power => "power".into(),
    }
}

pub const fn plug(plug: Plug) -> &'static str {
    match plug {
        Plug::Xlr => "XLR",
        Plug::Trs => "TRS jack",
        Plug::Ts => "TS jack",
        Plug::Mini => "3.5 mm",
        Plug::Headset => "headset plug",
        Plug::Rca => "RCA",
        Plug::Speaker => "speaker plug",
        Plug::Bare => "bare ends",
        Plug::Usb => "USB",
        Plug::Network => "network",
        Plug::Mains => "mains",
    }
}

pub const fn lead(kind: LeadKind) -> &'static str {
    match kind {
        LeadKind::Mic => "mic cable",
        LeadKind::Instrument => "instrument cable",
        LeadKind::BalancedJack => "balanced jack cable",
        LeadKind::XlrJack => "XLR jack cable",
        LeadKind::Split => "stereo split",
        LeadKind::Insert => "insert cable",
        LeadKind::Speaker => "speaker cable",
        LeadKind::Mini => "mini jack cable",
        LeadKind::Rca => "RCA cable",
        LeadKind::Usb => "USB cable",
        LeadKind::Network => "network cable",
        LeadKind::Mains => "mains cable",
    }
}

/// "mic cable, 15 m, through an active DI".
pub fn lead_of(wired: &Wired) -> String {
    let mut words = lead(counts::lead_of(wired)).to_owned();
    if let Cable::Speaker(area) = wired.wire.cable {
        words = format!("{words} {} mm²", area.get());
    }
    if wired.described {
        words = format!("{words}, {}", length(&wired.wire.length.get().to_string(), wired.wire.length));
    }
    for inline in &wired.wire.through {
        words = format!("{words} + {}", boxed(*inline));
    }
    words
}

pub const fn boxed(inline: InLine) -> &'static str {
    match inline {
        InLine::PassiveDi => "passive DI",
        InLine::ActiveDi => "active DI",
        InLine::BatteryDi => "active DI on its battery",
        InLine::StereoDi => "stereo DI",
        InLine::Isolator => "isolating transformer",
        InLine::Pad20 => "20 dB pad",
        InLine::Pad40 => "40 dB pad",
        InLine::ResistorSum => "stereo-to-mono adapter with resistors (470 Ω or more each)",
        InLine::PhonoPreamp => "phono preamplifier",
        InLine::Splitter => "microphone splitter with a transformer",
        InLine::PhantomBox => "phantom box",
        InLine::StepDown => "line transformer",
        InLine::GroundLift => "the DI’s audio lift",
        InLine::UsbHub => "USB hub",
        InLine::EarthRemoved => "something that takes the earth off",
    }
}

pub const fn stand(kind: StandKind) -> &'static str {
    match kind {
        StandKind::Tall => "tall stand",
        StandKind::Short => "short stand",
        StandKind::Speaker => "speaker stand",
    }
}

pub fn thing_kind(kind: GearKind) -> &'static str {
    match kind {
        GearKind::Circuit => "mains circuit",
        kind => kind_word(kind),
    }
}

pub const fn mode(kind: ModeKind) -> &'static str {
    match kind {
        ModeKind::Mic => "mic",
        ModeKind::Line => "line",
        ModeKind::Instrument => "hi-Z",
    }
}
