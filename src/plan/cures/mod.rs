//! What would mend a wire: every small change is tried on the rules themselves (`tries`), and those that help are told.
//!
//! Helpful is what takes the reason away and leaves the wire better than it was. What the gear list holds comes first. Never tried: anything at the mains, a loudspeaker transformer, a lift of an earth.
//! Edge cases: loudspeaker level has one cure only, a line output in its place; some findings have none.

mod tries;

use tries::{Try, Trying};

use super::channels;
use super::checks::{About, Finding, Trouble};
use super::gear::{self, GearKind, InPort, LeadKind, OutPort, Role};
use super::hall::Loudness;
use super::kind::OutKind;
use super::port::{Drive, Plug};
use super::quantity::Metres;
use super::rig::{Rig, ThingId, WireId};
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
    /// One plug of a stereo split into each of these; the name is the gear list's.
    SplitApart(Option<String>, [InPort; 2]),
    /// Left and right change places.
    ChangeSides,
    TapeTheKnob,
    /// Take one of them out.
    Unplug,
    /// Take this wire out.
    TakeOut,
    /// For a competent person, with leave.
    CompetentPerson,
    /// A change of the geometry, and the decibels before ringing that it gains.
    Gain(feedback::Cure, Db),
}

/// Told of one wire; more would be a catalogue.
const MOST: usize = 3;

pub(super) fn of(rig: &Rig, finding: &Finding, loudness: &Loudness) -> Vec<Cure> {
    if let (About::Channel(channel), Trouble::GainShort { .. }) = (finding.about, &finding.trouble) {
        let gains = loudness.gains.iter().find(|gain| gain.channel == channel);
        let ranked = gains.iter().flat_map(|gain| &gain.cures);
        return ranked.map(|(cure, gain)| Cure::Gain(*cure, *gain)).take(MOST).collect();
    }
    if let (About::Channel(channel), Trouble::CueSummed(_)) = (finding.about, &finding.trouble) {
        return split_apart(rig, channel).into_iter().collect();
    }
    let About::Wire(id) = finding.about else { return Vec::new() };
    let wired = &rig.wires[id.0];
    let reason = match &finding.trouble {
        Trouble::Wire(reason) => reason,
        Trouble::SideCrossed(_) => return vec![Cure::ChangeSides],
        Trouble::WrongChannel { .. } | Trouble::ChannelTaken { .. } => {
            let belongs = channels::listed_socket(rig, wired).map(Cure::OtherInput);
            let alone = matches!(finding.trouble, Trouble::ChannelTaken { .. }).then_some(Cure::Unplug);
            return belongs.or(alone).into_iter().collect();
        }
        _ => return Vec::new(),
    };
    match reason {
        Reason::EarthRemoved | Reason::MainsElsewhere | Reason::NotTheSameKind => return Vec::new(),
        Reason::SpeakerLevel => return instead_of_speaker_level(rig, wired.from.0, wired.to),
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
    if out.drive != Drive::Signal {
        // No box belongs into a loudspeaker's line.
        let plugs = [out.socket.own_plug(), input.socket.own_plug()];
        let lead = Cure::Lead(LeadKind::Speaker, owned(rig, GearKind::Lead(LeadKind::Speaker)), plugs);
        let by_lead = matches!(reason, Reason::PlugDoesNotGoIn { .. } | Reason::RingShorted { .. });
        return Vec::from_iter(by_lead.then_some(lead));
    }
    let around = signals::around(rig, id);
    let mut tried = Trying::of(rig, wired, &out, &input, around).all();
    if carries_a_cue(rig, wired.from.0) {
        // Summed, the audience would hear it.
        let sums = |inline: InLine| matches!(inline, InLine::ResistorSum | InLine::StereoDi);
        tried.retain(|one| !matches!(one.cure, Cure::Insert(inline, _) | Cure::InsertInto(inline, ..) if sums(inline)));
    }
    let mut cures = best(tried, &rules::judge(&out, &wired.wire, &input, around), reason);
    // Where the desk stands nearer, that is enough.
    if let Reason::LongUnbalanced { limit, .. } = reason {
        cures.push(Cure::Shorter { limit: *limit });
    }
    cures
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
    // What is wrong with a lead is not mended by another socket.
    let of_the_lead = matches!(
        reason,
        Reason::Unshielded
            | Reason::RingShorted { .. }
            | Reason::PlugDoesNotGoIn { .. }
            | Reason::ColdGrounded
            | Reason::ColdShorted
            | Reason::Dull { .. }
    );
    tried.retain(|one| !(of_the_lead && matches!(one.cure, Cure::OtherInput(_))));
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
            Self::PhantomOn | Self::PhantomOff => 3,
            _ => 4,
        }
    }
}

/// In the place of an amplifier's output: a line output of the desk, or, into the desk, a microphone.
fn instead_of_speaker_level(rig: &Rig, from: ThingId, (to, port): (ThingId, InPort)) -> Vec<Cure> {
    let thing = rig.thing(to);
    if thing.kind.is_desk() {
        // Before a loudspeaker that this desk feeds a microphone howls.
        let fed = rig.into_thing(from).any(|wired| rig.thing(wired.from.0).kind.is_desk());
        if fed || rig.thing(from).kind.is_desk() {
            return vec![Cure::TakeOut];
        }
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
    let load = super::loading::beyond(rig, wired.to.0);
    let whole = cable::longest(load, area, rules::MOST_SPEAKER_LOSS).get().floor();
    vec![Cure::Shorter { limit: Metres::new(whole) }]
}

/// The music into its own line input, the cue into its own.
fn split_apart(rig: &Rig, cue: u8) -> Option<Cure> {
    let (source, own) = rig.source_of(cue)?;
    let music = rig.wires.iter().find(|other| {
        rig.thing(other.from.0) == source && !std::ptr::eq(*other, own) && other.to.1.channel().is_some()
    })?;
    let line = |wired: &super::rig::Wired| Some(InPort::Line(wired.to.1.channel()?));
    Some(Cure::SplitApart(owned(rig, GearKind::Lead(LeadKind::Split)), [line(music)?, line(own)?]))
}

/// Whether one half of this source is for the performers' ears only.
fn carries_a_cue(rig: &Rig, source: ThingId) -> bool {
    let cue = |wired: &super::rig::Wired| {
        let strip = rig.channel_of(wired).filter(|_| rig.desk() == Some(wired.to.0)).and_then(|n| rig.strip(n));
        strip.is_some_and(|strip| strip.cue.is_some())
    };
    rig.wires.iter().any(|wired| wired.from.0 == source && cue(wired))
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
