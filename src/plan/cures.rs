//! What would mend a wire: every small change is tried on the rules themselves, and those that help are told.
//!
//! Tried are another input of the same channel, a box in the wire, another lead, phantom power on or off. What the
//! gear list holds comes first. Never tried: anything at the mains, a loudspeaker transformer, a lift of an earth.
//! Edge cases: loudspeaker level has one cure only, a line output in its place; some findings have none.

use super::checks::{About, Finding, Trouble};
use super::gear::{self, GearKind, InPort, LeadKind, OutPort};
use super::hall::Loudness;
use super::port::{Drive, Input, Layout, Output, Supply};
use super::quantity::Metres;
use super::rig::{Rig, ThingId, WireId};
use super::rules::{self, Around};
use super::signals;
use super::sums::{cable, feedback};
use super::verdict::{Reason, Verdict};
use super::wire::{Cable, InLine, Wire};
use crate::units::Db;

/// One thing to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Cure {
    /// Plug it in there.
    OtherInput(InPort),
    /// Put this between; the name is the gear list's, where it has one.
    Insert(InLine, Option<String>),
    /// Take another lead; the name is the gear list's.
    Lead(LeadKind, Option<String>),
    /// The same, into another input of the channel.
    LeadInto(LeadKind, Option<String>, InPort),
    Shorter {
        limit: Metres,
    },
    PhantomOn,
    PhantomOff,
    /// Feed it from a line output of the desk.
    LineOutput(ThingId, OutPort),
    /// Put an amplifier between.
    Amplifier(Option<String>),
    WireBothSides,
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
const BOXES: [InLine; 8] = [
    InLine::PassiveDi,
    InLine::BatteryDi,
    InLine::ActiveDi,
    InLine::StereoDi,
    InLine::Isolator,
    InLine::Pad20,
    InLine::Pad40,
    InLine::ResistorSum,
];

pub(super) fn of(rig: &Rig, finding: &Finding, loudness: &Loudness) -> Vec<Cure> {
    if let (About::Channel(channel), Trouble::GainShort { .. }) = (finding.about, &finding.trouble) {
        let gains = loudness.gains.iter().find(|gain| gain.channel == channel);
        let ranked = gains.iter().flat_map(|gain| &gain.cures);
        return ranked.map(|(cure, gain)| Cure::Gain(*cure, *gain)).take(MOST).collect();
    }
    let (About::Wire(id), Trouble::Wire(reason)) = (finding.about, &finding.trouble) else { return Vec::new() };
    let wired = &rig.wires[id.0];
    let role = rig.thing(wired.to.0).kind.role();
    match reason {
        Reason::EarthRemoved | Reason::MainsElsewhere | Reason::NotTheSameKind => return Vec::new(),
        Reason::SpeakerLevel => {
            let line = signals::line_output(rig, role);
            return line.map(|(desk, port)| Cure::LineOutput(desk, port)).into_iter().collect();
        }
        Reason::NeedsStepDown | Reason::LineSpeakerOnAmplifier => return vec![Cure::CompetentPerson],
        Reason::NeedsAmplifier => return vec![Cure::Amplifier(owned(rig, GearKind::Amplifier))],
        Reason::OutputsFight => return vec![Cure::Unplug],
        Reason::LevelByKnob => return vec![Cure::TapeTheKnob],
        Reason::HalfOfPair { .. } => return vec![Cure::WireBothSides],
        Reason::MicSplitWithoutTransformer => {
            return vec![Cure::Insert(InLine::Splitter, owned_box(rig, InLine::Splitter))];
        }
        Reason::ThinCable | Reason::XlrOnSpeakers => {
            return vec![Cure::Lead(LeadKind::Speaker, owned(rig, GearKind::Lead(LeadKind::Speaker)))];
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
        tried.retain(|(cure, _, _)| !matches!(cure, Cure::Insert(InLine::ResistorSum | InLine::StereoDi, _)));
    }
    if let Reason::LongUnbalanced { limit, .. } = reason {
        tried.push((Cure::Shorter { limit: *limit }, Verdict::Fits, 1));
    }
    let before = rules::judge(&out, &wired.wire, &input, around);
    let mut helps: Vec<(Cure, Verdict, u8)> =
        tried.into_iter().filter(|(_, after, _)| *after < before.verdict()).collect();
    // What is there comes before what would have to be bought, however well that fits.
    helps.sort_by_key(|(_, after, rank)| (*rank > 1, *after, *rank));
    let mut cures: Vec<Cure> = Vec::new();
    for (cure, _, _) in helps {
        let likeness = std::mem::discriminant(&cure);
        if cures.iter().all(|other| std::mem::discriminant(other) != likeness) {
            cures.push(cure);
        }
    }
    cures.truncate(MOST);
    cures
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

/// Each change with the verdict that it leads to, and how far one has to go for it.
fn tries(rig: &Rig, id: WireId, out: &Output, input: &Input, around: Around) -> Vec<(Cure, Verdict, u8)> {
    let wired = &rig.wires[id.0];
    let judged = |out: &Output, wire: &Wire, input: &Input| rules::judge(out, wire, input, around).verdict();
    let mut tried = Vec::new();
    let to = rig.thing(wired.to.0);
    let as_long = |wire: Wire| Wire { length: wired.wire.length, through: wired.wire.through.clone(), ..wire };
    for port in gear::other_inputs(wired.to.1) {
        if let Some(other) = gear::input(to.kind, &to.spec, port) {
            tried.push((Cure::OtherInput(port), judged(out, &as_long(Wire::usual(out, &other)), &other), 0));
            if out.layout == Layout::OnePlug {
                let name = owned(rig, GearKind::Lead(LeadKind::Split));
                let rank = if name.is_some() { 0 } else { 2 };
                let verdict = judged(out, &as_long(Wire::split(out, &other)), &other);
                tried.push((Cure::LeadInto(LeadKind::Split, name, port), verdict, rank));
            }
        }
    }
    let supply = |on| Input { supply: Supply::Phantom(Some(on)), ..input.clone() };
    if let Supply::Phantom(now) = input.supply {
        if now != Some(true) {
            tried.push((Cure::PhantomOn, judged(out, &wired.wire, &supply(true)), 0));
        }
        if now != Some(false) {
            tried.push((Cure::PhantomOff, judged(out, &wired.wire, &supply(false)), 0));
        }
    }
    for inline in BOXES.into_iter().filter(|inline| !wired.wire.through.contains(inline)) {
        let wire = boxed(&wired.wire, out, input, inline);
        let name = owned_box(rig, inline);
        let rank = if name.is_some() || inline == InLine::ResistorSum { 1 } else { 3 };
        // The new box's own needs (an active DI's phantom power) are the cure's, not the wire's.
        tried.push((Cure::Insert(inline, name), judged(out, &wire, input), rank));
    }
    if out.drive == Drive::Signal {
        for wire in [Wire::usual(out, input), Wire::split(out, input)] {
            let wire = as_long(wire);
            let kind = super::counts::lead_of(&super::rig::Wired { wire: wire.clone(), ..wired.clone() });
            let name = owned(rig, GearKind::Lead(kind));
            let rank = if name.is_some() { 1 } else { 2 };
            tried.push((Cure::Lead(kind, name), judged(out, &wire, input), rank));
        }
    }
    tried
}

/// The wire with one more box at the source, and a balanced lead behind it where that is possible.
fn boxed(wire: &Wire, out: &Output, input: &Input, inline: InLine) -> Wire {
    let through: Vec<InLine> = [inline].into_iter().chain(wire.through.iter().copied()).collect();
    let balances = matches!(
        inline,
        InLine::PassiveDi | InLine::ActiveDi | InLine::BatteryDi | InLine::StereoDi | InLine::Isolator
    );
    let pair = balances && input.balanced && input.socket.own_plug().carries_a_pair();
    Wire {
        from_plug: out.socket.own_plug(),
        to_plug: if pair { input.socket.own_plug() } else { wire.to_plug },
        cable: if pair { Cable::Pair } else { wire.cable },
        length: wire.length,
        through,
    }
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
