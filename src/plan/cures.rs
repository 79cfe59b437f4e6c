//! What would mend a wire: every small change is tried on the rules themselves, and those that help are told.
//!
//! Tried are another input of the same channel, a box in the wire, another lead, phantom power on or off. What the
//! gear list holds comes first. Never tried: anything at the mains, a loudspeaker transformer, a lift of an earth.
//! Edge cases: loudspeaker level has one cure only, a line output in its place; some findings have none.

use super::checks::{About, Finding, Trouble};
use super::gear::{self, Gear, GearKind, InPort, LeadKind, OutPort, Role, Side};
use super::hall::Loudness;
use super::kind::OutKind;
use super::port::{Drive, Input, InputSide, Layout, ModeKind, Output, Plug, Socket, Supply};
use super::quantity::{Metres, Ohms};
use super::rig::{Rig, ThingId, WireId, Wired};
use super::rules::{self, Around};
use super::signals;
use super::sums::{cable, feedback};
use super::verdict::{Judgement, Reason, Verdict};
use super::wire::{Cable, InLine, Wire};
use crate::units::Db;

/// One thing to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Cure {
    /// Plug it in there.
    OtherInput(InPort),
    /// Put this between; the name is the gear list's, where it has one.
    Insert(InLine, Option<String>),
    /// The same, and into another input of the channel.
    InsertInto(InLine, Option<String>, InPort),
    /// Leave this box out.
    Remove(InLine),
    /// Take it from there.
    OtherOutput(OutPort),
    /// This box in the place of that one.
    Swap(InLine, InLine, Option<String>),
    /// Take another lead with these plugs; the name is the gear list's.
    Lead(LeadKind, Option<String>, [Plug; 2]),
    /// The same, into another input of the channel.
    LeadInto(LeadKind, Option<String>, InPort),
    Shorter {
        limit: Metres,
    },
    PhantomOn,
    PhantomOff,
    /// Feed it from a line output of the desk.
    LineOutput(ThingId, OutPort),
    /// A microphone before the loudspeaker, in the place of its wire.
    Microphone(Option<String>),
    /// Put an amplifier between.
    Amplifier(Option<String>),
    /// Whether the left socket alone would give both halves.
    WireBothSides {
        sums: bool,
    },
    TapeTheKnob,
    /// Take one of them out.
    Unplug,
    /// For a competent person, with leave.
    CompetentPerson,
    /// A change of the geometry, and the decibels before ringing that it gains.
    Gain(feedback::Cure, Db),
}

/// Told of one wire; more would be a catalogue.
const MOST: usize = 3;
const BOXES: [InLine; 9] = [
    InLine::PassiveDi,
    InLine::BatteryDi,
    InLine::ActiveDi,
    InLine::StereoDi,
    InLine::Isolator,
    InLine::Pad20,
    InLine::Pad40,
    InLine::ResistorSum,
    InLine::PhonoPreamp,
];
/// A source under it loses nothing on a line input, so one for instruments is no gain to it.
const LOW_IMPEDANCE: Ohms = Ohms::new(1_000.0);

pub(super) fn of(rig: &Rig, finding: &Finding, loudness: &Loudness) -> Vec<Cure> {
    if let (About::Channel(channel), Trouble::GainShort { .. }) = (finding.about, &finding.trouble) {
        let gains = loudness.gains.iter().find(|gain| gain.channel == channel);
        let ranked = gains.iter().flat_map(|gain| &gain.cures);
        return ranked.map(|(cure, gain)| Cure::Gain(*cure, *gain)).take(MOST).collect();
    }
    let (About::Wire(id), Trouble::Wire(reason)) = (finding.about, &finding.trouble) else { return Vec::new() };
    let wired = &rig.wires[id.0];
    match reason {
        Reason::EarthRemoved | Reason::MainsElsewhere | Reason::NotTheSameKind => return Vec::new(),
        Reason::SpeakerLevel => return instead_of_speaker_level(rig, wired.to),
        Reason::NeedsStepDown | Reason::LineSpeakerOnAmplifier => return vec![Cure::CompetentPerson],
        Reason::NeedsAmplifier => return vec![Cure::Amplifier(owned(rig, GearKind::Amplifier))],
        Reason::OutputsFight => return vec![Cure::Unplug],
        Reason::LevelByKnob => return vec![Cure::TapeTheKnob],
        Reason::HalfOfPair { sums } => return vec![Cure::WireBothSides { sums: *sums }],
        Reason::InsertIsNoOutput => {
            let line = signals::line_output(rig, Role::Monitor);
            return line.map(|(desk, port)| Cure::LineOutput(desk, port)).into_iter().collect();
        }
        Reason::MicSplitWithoutTransformer => {
            return vec![Cure::Insert(InLine::Splitter, owned_box(rig, InLine::Splitter))];
        }
        Reason::ThinCable | Reason::XlrOnSpeakers => {
            let plugs = [wired.wire.from_plug, wired.wire.to_plug];
            return vec![Cure::Lead(LeadKind::Speaker, owned(rig, GearKind::Lead(LeadKind::Speaker)), plugs)];
        }
        Reason::SpeakerCableLoss { .. } => return shorter_speaker_lead(rig, id),
        Reason::UsbTooLong { .. } => return vec![Cure::Shorter { limit: Metres::new(5.0) }],
        _ => {}
    }
    let (Some(out), Some(input)) = (signals::output_of(rig, wired), signals::input_of(rig, wired)) else {
        return Vec::new();
    };
    let around = Around { other_half: signals::other_half(rig, id) };
    let mut tried = tries(rig, id, &out, &input, around);
    if carries_a_cue(rig, wired.from.0) {
        // Summed, the audience would hear it.
        let sums = |inline: InLine| matches!(inline, InLine::ResistorSum | InLine::StereoDi);
        tried.retain(|one| !matches!(one.cure, Cure::Insert(inline, _) | Cure::InsertInto(inline, ..) if sums(inline)));
    }
    if let Reason::LongUnbalanced { limit, .. } = reason {
        tried.push(Try { cure: Cure::Shorter { limit: *limit }, after: Judgement::default(), effort: BOX_AT_HAND });
    }
    best(tried, &rules::judge(&out, &wired.wire, &input, around), reason)
}

/// A change, what the rules then say, and how far one has to go for it.
struct Try {
    cure: Cure,
    after: Judgement,
    effort: u8,
}

const NOTHING_TO_FETCH: u8 = 0;
const LEAD_AT_HAND: u8 = 1;
const BOX_AT_HAND: u8 = 2;
const LEAD_TO_BORROW: u8 = 3;
const BOX_TO_BORROW: u8 = 4;

impl Try {
    fn at_hand(&self) -> bool {
        self.effort <= BOX_AT_HAND
    }
}

/// Those that take this reason away and bring nothing as bad: what is there before what would have to be bought, each
/// sort of change once, and nothing that only half helps beside what helps.
fn best(mut tried: Vec<Try>, before: &Judgement, reason: &Reason) -> Vec<Cure> {
    let badness = |judgement: &Judgement| {
        let buts = judgement.remarks.iter().filter(|remark| remark.weight == Verdict::WorksBut).count();
        (judgement.verdict(), buts)
    };
    let weight_in = |judgement: &Judgement| {
        let same = judgement.remarks.iter().filter(|remark| remark.reason.code() == reason.code());
        same.map(|remark| remark.weight).max().unwrap_or(Verdict::Fits)
    };
    let bearable = |after: &Judgement| after.verdict() < Verdict::Never && badness(after) < badness(before);
    tried.retain(|one| bearable(&one.after) && weight_in(&one.after) < weight_in(before));
    tried.sort_by_key(|one| (!one.at_hand(), badness(&one.after), one.effort));
    let best_at_hand = tried.iter().filter(|one| one.at_hand()).map(|one| one.after.verdict()).min();
    let best = tried.iter().map(|one| one.after.verdict()).min();
    let wanted = |one: &Try| {
        let after = Some(one.after.verdict());
        if one.at_hand() { after == best_at_hand } else { after == best && after != best_at_hand }
    };
    let mut cures: Vec<Cure> = Vec::new();
    for one in tried.into_iter().filter(wanted) {
        if cures.iter().all(|other| other.sort() != one.cure.sort()) {
            cures.push(one.cure);
        }
    }
    cures.truncate(MOST);
    cures
}

impl Cure {
    /// Changes of one sort need to be told once only.
    const fn sort(&self) -> u8 {
        match self {
            Self::OtherInput(_) => 0,
            Self::Insert(..) | Self::InsertInto(..) | Self::Swap(..) | Self::Remove(_) => 1,
            Self::Lead(..) | Self::LeadInto(..) => 2,
            Self::Shorter { .. } => 3,
            Self::PhantomOn | Self::PhantomOff => 4,
            _ => 5,
        }
    }
}

/// In the place of an amplifier's output: a line output of the desk, or, into the desk, a microphone.
fn instead_of_speaker_level(rig: &Rig, (to, port): (ThingId, InPort)) -> Vec<Cure> {
    let thing = rig.thing(to);
    if thing.kind.is_desk() {
        return vec![Cure::Microphone(owned(rig, GearKind::Source(OutKind::DynamicMic)))];
    }
    let fits = |(desk, out): &(ThingId, OutPort)| {
        let from = rig.thing(*desk);
        let ports = (gear::output(from.kind, &from.spec, *out), gear::input(thing.kind, &thing.spec, port));
        let (Some(out), Some(input)) = ports else { return false };
        rules::judge(&out, &Wire::usual(&out, &input), &input, Around::default()).verdict() < Verdict::Never
    };
    let line = signals::line_output(rig, thing.kind.role()).filter(fits);
    line.map(|(desk, port)| Cure::LineOutput(desk, port)).into_iter().collect()
}

/// As long as this cross-section may be on this loudspeaker.
fn shorter_speaker_lead(rig: &Rig, id: WireId) -> Vec<Cure> {
    let wired = &rig.wires[id.0];
    let Cable::Speaker(area) = wired.wire.cable else { return Vec::new() };
    let load = super::loading::ohms_of(rig.thing(wired.to.0));
    let whole = cable::longest(load, area, rules::MOST_SPEAKER_LOSS).get().floor();
    vec![Cure::Shorter { limit: Metres::new(whole) }]
}

/// Whether one half of this source is for the performers' ears only.
fn carries_a_cue(rig: &Rig, source: ThingId) -> bool {
    let cues = rig.strips.iter().filter(|strip| strip.cue.is_some());
    let mut sources = cues.filter_map(|strip| rig.source_of(strip.channel.number() as u8));
    sources.any(|(_, wired)| wired.from.0 == source)
}

/// Each change that could make sense for what these two ports are.
fn tries(rig: &Rig, id: WireId, out: &Output, input: &Input, around: Around) -> Vec<Try> {
    let wired = &rig.wires[id.0];
    let old = &wired.wire;
    let judged = |wire: &Wire, input: &Input| rules::judge(out, wire, input, around);
    let feeds = old.through.iter().fold(*out, |out, inline| inline.after(out));
    let to = rig.thing(wired.to.0);
    let others = gear::other_inputs(wired.to.1).into_iter();
    let others: Vec<(InPort, Input)> = others
        .filter(|port| match port {
            InPort::Instrument(_) => feeds.impedance > LOW_IMPEDANCE,
            InPort::Stereo(..) => feeds.layout != Layout::Mono,
            _ => true,
        })
        .filter_map(|port| Some((port, gear::input(to.kind, &to.spec, port)?)))
        .collect();
    let mut tried = Vec::new();
    let mut add = |cure, after, effort| tried.push(Try { cure, after, effort });
    if out.drive == Drive::Signal {
        // Whatever box would belong to it is another cure.
        let usual = Wire { through: old.through.clone(), ..led(old, out, &feeds, input) };
        // A split ends in two plugs for two sockets; a headset jack is one and has room for neither.
        let split = Some(Wire { cable: Cable::Split, ..usual.clone() }).filter(|_| input.socket != Socket::Headset);
        for wire in split.into_iter().chain([usual]) {
            let kind = super::counts::lead_of(&Wired { wire: wire.clone(), ..wired.clone() });
            let (name, effort) = lead_at_hand(rig, kind, wired);
            let plugs = [wire.from_plug, wire.to_plug];
            add(Cure::Lead(kind, name, plugs), judged(&wire, input), effort);
        }
    }
    for (port, other) in &others {
        add(Cure::OtherInput(*port), judged(&led(old, out, &feeds, other), other), NOTHING_TO_FETCH);
        if feeds.layout == Layout::OnePlug {
            let (name, effort) = lead_at_hand(rig, LeadKind::Split, wired);
            let wire = Wire { cable: Cable::Split, ..led(old, out, &feeds, other) };
            add(Cure::LeadInto(LeadKind::Split, name, *port), judged(&wire, other), effort);
        }
    }
    if let Supply::Phantom(now) = input.supply {
        let supply = |on| Input { supply: Supply::Phantom(Some(on)), ..input.clone() };
        if now != Some(true) {
            add(Cure::PhantomOn, judged(old, &supply(true)), NOTHING_TO_FETCH);
        }
        if now != Some(false) {
            add(Cure::PhantomOff, judged(old, &supply(false)), NOTHING_TO_FETCH);
        }
    }
    for inline in BOXES.into_iter().filter(|inline| !old.through.contains(inline) && suits(*inline, &feeds)) {
        let (name, effort) = box_at_hand(rig, inline);
        // The new box's own needs (an active DI's phantom power) are the cure's, not the wire's.
        if !is_di(inline) || input.modes.iter().any(|mode| mode.kind == ModeKind::Mic) {
            add(Cure::Insert(inline, name.clone()), judged(&boxed(old, out, input, inline, false), input), effort);
        }
        for (port, other) in others.iter().filter(|(port, _)| belongs(inline, *port) && input.side == InputSide::Single)
        {
            let after = judged(&boxed(old, out, other, inline, true), other);
            add(Cure::InsertInto(inline, name.clone(), *port), after, effort);
        }
    }
    for (at, worn) in old.through.iter().enumerate().filter(|(_, worn)| worn.load().is_some()) {
        let mut without = old.clone();
        without.through.remove(at);
        let before = without.through[..at].iter().fold(*out, |out, inline| inline.after(out));
        let feeds = without.through.iter().fold(*out, |out, inline| inline.after(out));
        add(Cure::Remove(*worn), judged(&led(&without, out, &feeds, input), input), NOTHING_TO_FETCH);
        for inline in BOXES.into_iter().filter(|inline| is_di(*worn) && is_di(*inline) && suits(*inline, &before)) {
            let mut wire = old.clone();
            wire.through[at] = inline;
            let (name, effort) = box_at_hand(rig, inline);
            add(Cure::Swap(*worn, inline, name), judged(&wire, input), effort);
        }
    }
    if matches!(wired.from.1, OutPort::Phones(_)) {
        let from = rig.thing(wired.from.0);
        let side = Some(Side::Left);
        let used = |port: OutPort| rig.wires.iter().any(|other| other.from == (wired.from.0, port));
        for port in [OutPort::Own(side), OutPort::Record(side)].into_iter().filter(|port| !used(*port)) {
            if let Some(line) = gear::output(from.kind, &from.spec, port) {
                let feeds = old.through.iter().fold(line, |out, inline| inline.after(out));
                let after = rules::judge(&line, &led(old, &line, &feeds, input), input, around);
                add(Cure::OtherOutput(port), after, NOTHING_TO_FETCH);
            }
        }
    }
    tried
}

/// The lead that anybody would take there, with the length and the boxes of the old one.
fn led(old: &Wire, out: &Output, feeds: &Output, input: &Input) -> Wire {
    let usual = Wire::usual(feeds, input);
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
    let feeds = wire.through.iter().fold(*out, |out, inline| inline.after(out));
    led(&wire, out, &feeds, input)
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

fn owned(rig: &Rig, kind: GearKind) -> Option<String> {
    let stock = rig.stock.as_ref()?;
    stock.iter().find(|gear| gear.kind == kind && gear.count > 0).map(|gear| gear.name.clone())
}

/// A box of the list that no wire uses yet.
fn owned_box(rig: &Rig, inline: InLine) -> Option<String> {
    let stock = rig.stock.as_ref()?;
    let used = rig.wires.iter().flat_map(|wired| &wired.wire.through).filter(|other| **other == inline).count();
    let mut of_kind = stock.iter().filter(|gear| gear.kind == GearKind::Box(inline));
    let has: u32 = of_kind.clone().map(|gear| gear.count).sum();
    of_kind.next().filter(|_| has as usize > used).map(|gear| gear.name.clone())
}
