//! The small changes of one wire that could make sense for what its two ports are, each tried on the rules.
//!
//! Another lead, another input of the same channel, another output of the same thing, phantom power on or off, a box more,
//! a box less, a box in the place of another. Which box suits which source follows from its balance, layout and
//! impedance (common practice). Edge cases: without a gear list every lead and box has to be borrowed.

use super::{Cure, owned_box};
use crate::plan::channels;
use crate::plan::counts;
use crate::plan::gear::{self, Gear, GearKind, InPort, LeadKind, OutPort, PhantomSwitch, Side};
use crate::plan::port::{Drive, Input, InputSide, Layout, ModeKind, OnPhantom, Output, Plug, Seat, Socket, Supply};
use crate::plan::quantity::Ohms;
use crate::plan::rig::{Rig, Wired};
use crate::plan::rules::{self, Around};
use crate::plan::verdict::Judgement;
use crate::plan::wire::{Cable, InLine, Wire};

/// A change, what the rules then say, and how far one has to go for it.
pub(super) struct Try {
    pub cure: Cure,
    pub after: Judgement,
    pub effort: u8,
}

const NOTHING_TO_FETCH: u8 = 0;
const LEAD_AT_HAND: u8 = 1;
const BOX_AT_HAND: u8 = 2;
const MAY_BE_THERE: u8 = 3;
const LEAD_TO_BORROW: u8 = 4;
const BOX_TO_BORROW: u8 = 5;

impl Try {
    pub const fn at_hand(&self) -> bool {
        self.effort <= MAY_BE_THERE
    }
}

const BOXES: [InLine; 10] = [
    InLine::PassiveDi,
    InLine::BatteryDi,
    InLine::ActiveDi,
    InLine::StereoDi,
    InLine::Isolator,
    InLine::Pad20,
    InLine::Pad40,
    InLine::ResistorSum,
    InLine::PhonoPreamp,
    InLine::PhantomBox,
];
/// A source under it loses nothing on a line input, so one for instruments is no gain to it.
const LOW_IMPEDANCE: Ohms = Ohms::new(1_000.0);

/// One wire, and what was tried of it so far.
pub(super) struct Trying<'a> {
    rig: &'a Rig,
    wired: &'a Wired,
    old: &'a Wire,
    out: &'a Output,
    input: &'a Input,
    /// What the boxes of the wire make of `out`.
    feeds: Output,
    around: Around,
    /// Further inputs of the same channel that such a source could want.
    others: Vec<(InPort, Input)>,
    tried: Vec<Try>,
}

impl<'a> Trying<'a> {
    pub fn of(rig: &'a Rig, wired: &'a Wired, out: &'a Output, input: &'a Input, around: Around) -> Self {
        let old = &wired.wire;
        let feeds = after(&old.through, out);
        let to = rig.thing(wired.to.0);
        let free = |port: &InPort| !channels::is_taken(rig, wired, *port);
        let wanted = |port: &InPort| match port {
            InPort::Instrument(_) => feeds.impedance > LOW_IMPEDANCE,
            InPort::Stereo(..) => feeds.layout != Layout::Mono,
            _ => true,
        };
        let ports = gear::other_inputs(wired.to.1).into_iter().filter(free).filter(wanted);
        let others = ports.filter_map(|port| Some((port, gear::input(to.kind, &to.spec, port)?))).collect();
        Self { rig, wired, old, out, input, feeds, around, others, tried: Vec::new() }
    }

    pub fn all(mut self) -> Vec<Try> {
        self.leads();
        self.inputs();
        self.phantom();
        self.more_boxes();
        self.other_boxes();
        self.outputs();
        self.tried
    }

    fn add(&mut self, cure: Cure, after: Judgement, effort: u8) {
        self.tried.push(Try { cure, after, effort });
    }

    fn judged(&self, wire: &Wire, input: &Input) -> Judgement {
        rules::judge(self.out, wire, input, self.around)
    }

    fn leads(&mut self) {
        if self.out.drive != Drive::Signal {
            return;
        }
        // Whatever box would belong to it is another cure.
        let usual = Wire { through: self.old.through.clone(), ..led(self.old, self.out, self.input) };
        // A split ends in two plugs for two sockets; a headset jack is one and has room for neither.
        let split =
            Some(Wire { cable: Cable::Split, ..usual.clone() }).filter(|_| self.input.socket != Socket::Headset);
        let splits = self.feeds.layout == Layout::OnePlug && self.old.cable != Cable::Split;
        let split = split.filter(|_| splits);
        let jacks = Wire { from_plug: Plug::Trs, to_plug: Plug::Trs, ..usual.clone() };
        let sits = |socket: Socket| socket.seats(Plug::Trs) == Seat::Right;
        let takes_jacks = self.out.balanced && sits(self.out.socket) && sits(self.input.socket);
        let jacks = Some(jacks).filter(|wire| takes_jacks && wire.cable == Cable::Pair && wire.through.is_empty());
        for wire in split.into_iter().chain([usual]).chain(jacks) {
            let kind = counts::lead_of(&Wired { wire: wire.clone(), ..self.wired.clone() });
            let (name, effort) = lead_at_hand(self.rig, kind, self.wired);
            let plugs = [wire.from_plug, wire.to_plug];
            self.add(Cure::Lead(kind, name, plugs), self.judged(&wire, self.input), effort);
        }
    }

    fn inputs(&mut self) {
        for (port, other) in self.others.clone() {
            let wire = led(self.old, self.out, &other);
            // Not every desk has one for instruments.
            let effort = if matches!(port, InPort::Instrument(_)) { MAY_BE_THERE } else { NOTHING_TO_FETCH };
            self.add(Cure::OtherInput(port), self.judged(&wire, &other), effort);
            if self.feeds.layout == Layout::OnePlug {
                let (name, effort) = lead_at_hand(self.rig, LeadKind::Split, self.wired);
                let wire = Wire { cable: Cable::Split, ..wire };
                self.add(Cure::LeadInto(LeadKind::Split, name, port), self.judged(&wire, &other), effort);
            }
        }
    }

    fn phantom(&mut self) {
        let Supply::Phantom(now) = self.input.supply else { return };
        // One switch for all can't be thrown for one.
        let together = self.rig.thing(self.wired.to.0).spec.phantom == Some(PhantomSwitch::AllTogether);
        if together && now == Some(true) {
            return;
        }
        for (on, cure) in [(true, Cure::PhantomOn), (false, Cure::PhantomOff)] {
            if now != Some(on) {
                let input = Input { supply: Supply::Phantom(Some(on)), ..self.input.clone() };
                self.add(cure, self.judged(self.old, &input), NOTHING_TO_FETCH);
            }
        }
    }

    /// A box at the source. What an active DI itself needs, phantom power, is the cure's, not the wire's.
    fn more_boxes(&mut self) {
        let has_mic = self.input.modes.iter().any(|mode| mode.kind == ModeKind::Mic);
        for inline in BOXES.into_iter().filter(|inline| !self.old.through.contains(inline)) {
            if !suits(inline, &self.feeds) {
                continue;
            }
            let (name, effort) = box_at_hand(self.rig, inline);
            if !is_di(inline) || has_mic {
                let wire = boxed(self.old, self.out, self.input, inline, false);
                self.add(Cure::Insert(inline, name.clone()), self.judged(&wire, self.input), effort);
            }
            let single = self.input.side == InputSide::Single;
            let others = self.others.clone().into_iter().filter(|(port, _)| single && belongs(inline, *port));
            for (port, other) in others {
                let wire = boxed(self.old, self.out, &other, inline, true);
                self.add(Cure::InsertInto(inline, name.clone(), port), self.judged(&wire, &other), effort);
            }
        }
    }

    /// Without a box that is in the wire, or with another DI in its place.
    fn other_boxes(&mut self) {
        for (at, worn) in self.old.through.iter().enumerate().filter(|(_, worn)| worn.load().is_some()) {
            let mut without = self.old.clone();
            without.through.remove(at);
            let wire = led(&without, self.out, self.input);
            self.add(Cure::Remove(*worn), self.judged(&wire, self.input), NOTHING_TO_FETCH);
            let before = after(&without.through[..at], self.out);
            for inline in BOXES.into_iter().filter(|new| is_di(*worn) && is_di(*new) && suits(*new, &before)) {
                let mut wire = self.old.clone();
                wire.through[at] = inline;
                let (name, effort) = box_at_hand(self.rig, inline);
                self.add(Cure::Swap(*worn, inline, name), self.judged(&wire, self.input), effort);
            }
        }
    }

    /// Who plugs into the headphones has a line output beside them.
    fn outputs(&mut self) {
        let (id, OutPort::Phones(_)) = self.wired.from else { return };
        let from = self.rig.thing(id);
        for port in [OutPort::Own(Some(Side::Left)), OutPort::Record(Some(Side::Left))] {
            let used = self.rig.wires.iter().any(|other| other.from == (id, port));
            if let Some(line) = gear::output(from.kind, &from.spec, port).filter(|_| !used) {
                let wire = led(self.old, &line, self.input);
                let after = rules::judge(&line, &wire, self.input, self.around);
                self.add(Cure::OtherOutput(port), after, NOTHING_TO_FETCH);
            }
        }
    }
}

/// What boxes make of an output.
fn after(boxes: &[InLine], out: &Output) -> Output {
    boxes.iter().fold(*out, |out, inline| inline.after(out))
}

/// The lead that anybody would take there, with the length and the boxes of the old one.
fn led(old: &Wire, out: &Output, input: &Input) -> Wire {
    let usual = Wire::usual(&after(&old.through, out), input);
    let through = if old.through.is_empty() { usual.through.clone() } else { old.through.clone() };
    Wire { from_plug: out.socket.own_plug(), length: old.length, through, ..usual }
}

/// The input that a box is made for: a DI's is a microphone's, a passive sum stays at line level.
const fn belongs(inline: InLine, port: InPort) -> bool {
    match port {
        InPort::Mic(_) => is_di(inline),
        InPort::Line(_) => matches!(inline, InLine::ResistorSum),
        _ => false,
    }
}

const fn is_di(inline: InLine) -> bool {
    matches!(inline, InLine::PassiveDi | InLine::ActiveDi | InLine::BatteryDi)
}

/// Whether a box is made for such a source at all.
fn suits(inline: InLine, feeds: &Output) -> bool {
    match inline {
        InLine::PassiveDi | InLine::ActiveDi | InLine::BatteryDi => !feeds.balanced && feeds.layout != Layout::OnePlug,
        InLine::StereoDi => !feeds.balanced && feeds.layout == Layout::OnePlug,
        InLine::ResistorSum => feeds.layout == Layout::OnePlug,
        InLine::PhonoPreamp => feeds.riaa,
        InLine::PhantomBox => feeds.phantom == OnPhantom::Needs,
        _ => true,
    }
}

/// The wire with one more box at the source; behind a box that balances, and into another socket, by a new lead.
fn boxed(old: &Wire, out: &Output, input: &Input, inline: InLine, another: bool) -> Wire {
    let through: Vec<InLine> = [inline].into_iter().chain(old.through.iter().copied()).collect();
    let wire = Wire { through, ..old.clone() };
    if !another && !is_di(inline) && !matches!(inline, InLine::StereoDi | InLine::Isolator) {
        return wire;
    }
    led(&wire, out, input)
}

/// A lead of the list that is long enough, and how far one has to go for it.
fn lead_at_hand(rig: &Rig, kind: LeadKind, wired: &Wired) -> (Option<String>, u8) {
    let reaches = |gear: &&Gear| {
        gear.kind == GearKind::Lead(kind)
            && gear.count > 0
            && gear.spec.length.is_none_or(|length| !wired.described || length >= wired.wire.length)
    };
    let name = rig.stock.iter().flatten().find(reaches).map(|gear| gear.name.clone());
    let effort = if name.is_some() { LEAD_AT_HAND } else { LEAD_TO_BORROW };
    (name, effort)
}

fn box_at_hand(rig: &Rig, inline: InLine) -> (Option<String>, u8) {
    let name = owned_box(rig, inline);
    // Anybody who solders makes it.
    let effort = if name.is_some() || inline == InLine::ResistorSum { BOX_AT_HAND } else { BOX_TO_BORROW };
    (name, effort)
}
