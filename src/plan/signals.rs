//! Signals through the whole rig: is every input heard, is nothing heard that must not be, who hears whom.
//!
//! Edge cases: a rig without channels says that it has none; a channel that no wire reaches is not followed
//! further; loops are told once for each channel or thing that lies on them.

use super::channels;
use super::checks::{About, Found, Trouble, Unknown, wants_feed};
use super::cues;
use super::gear::{self, GearKind, InPort, OutPort, PhantomSwitch, Role, Side};
use super::loading;
use super::port::{Carries, Input, Layout, OnPhantom, Output, Supply, Takes};
use super::rig::{Bus, Rig, Strip, Tap, ThingId, WireId, Wired};
use super::routing::{Closed, Node, Paths, SideKey, with_role};
use super::rules::Around;
use super::verdict::Verdict;
use super::wire::Cable;
use crate::units::Db;

pub(super) fn check(rig: &Rig, paths: &Paths, found: &mut Found) {
    if rig.strips.is_empty() {
        found.cannot_tell(Unknown::NoInputs);
    }
    if rig.wires.is_empty() {
        found.cannot_tell(Unknown::NoWires);
        return;
    }
    let desk = rig.desk();
    if desk.is_none() {
        found.cannot_tell(Unknown::NoDesk);
    }
    for strip in rig.strips.iter().filter(|_| desk.is_some()) {
        channel(rig, paths, strip, found);
    }
    things(rig, paths, found);
    recordings(rig, paths, found);
    loops(rig, paths, found);
    phantom_for_all(rig, found);
}

/// What a mix has on top of its average, and what show night adds once the faders are set.
pub const MIX_CREST: Db = Db::new(12.0);
pub const MIX_LIFT: Db = Db::new(3.0);

/// The output at a wire's beginning; its peaks are those of what it carries, as far as it gives them.
pub fn output_of(rig: &Rig, wired: &Wired) -> Option<Output> {
    let thing = rig.thing(wired.from.0);
    let out = gear::output(thing.kind, &thing.spec, wired.from.1)?;
    let (crest, lift) = match (strip_of(rig, wired), out.carries) {
        (Some(strip), _) => (strip.crest, strip.show_lift),
        (None, Carries::Mix) => (MIX_CREST, MIX_LIFT),
        (None, Carries::OneSource) => return Some(out),
    };
    let peak = out.usual + crest + lift;
    Some(Output { loudest: if peak < out.loudest { peak } else { out.loudest }, ..out })
}

/// The channel that a source comes to.
fn strip_of<'a>(rig: &'a Rig, wired: &Wired) -> Option<&'a Strip> {
    rig.strip(rig.channel_of(wired).filter(|_| rig.desk() == Some(wired.to.0))?)
}

/// The input at a wire's end, with the phantom power that its channel has, and all that hangs on it.
pub fn input_of(rig: &Rig, wired: &Wired) -> Option<Input> {
    let thing = rig.thing(wired.to.0);
    let mut input = gear::input(thing.kind, &thing.spec, wired.to.1)?;
    if let Takes::Speaker(_) = input.takes {
        input.takes = Takes::Speaker(loading::beyond(rig, wired.to.0));
    }
    // Of another desk nobody said whether it is on.
    if let (InPort::Mic(channel), Supply::Phantom(_)) = (wired.to.1, input.supply)
        && rig.desk() == Some(wired.to.0)
    {
        input.supply = Supply::Phantom(phantom_at(rig, channel));
    }
    Some(input)
}

/// Whether +48 V is on there: as its channel says; with one switch for all, as any channel says.
fn phantom_at(rig: &Rig, channel: u8) -> Option<bool> {
    let together = rig.desk().is_some_and(|desk| rig.thing(desk).spec.phantom == Some(PhantomSwitch::AllTogether));
    let own = rig.strip(channel).and_then(|strip| strip.phantom);
    let any = rig.strips.iter().any(|strip| strip.phantom == Some(true));
    if together && any { Some(true) } else { own }
}

/// What the rest of the rig makes of a wire.
pub fn around(rig: &Rig, id: WireId) -> Around {
    Around { other_half: other_half(rig, id), insert_pair: is_insert_pair(rig, &rig.wires[id.0]) }
}

/// Send and return of a channel by an insert lead, to one thing and back.
pub fn is_insert_pair(rig: &Rig, wired: &Wired) -> bool {
    let by_insert_lead = |wired: &Wired| matches!(wired.wire.cable, Cable::InsertY | Cable::ReturnWired);
    let back = |there: (ThingId, u8), thing: ThingId| {
        let sends = |other: &Wired| other.from == (there.0, OutPort::Insert(there.1)) && other.to.0 == thing;
        let returns = |other: &Wired| other.to == (there.0, InPort::Insert(there.1)) && other.from.0 == thing;
        let both = |leg: &dyn Fn(&Wired) -> bool| rig.wires.iter().any(|other| leg(other) && by_insert_lead(other));
        both(&sends) && both(&returns)
    };
    match (wired.from.1, wired.to.1) {
        (OutPort::Insert(n), _) => back((wired.from.0, n), wired.to.0),
        (_, InPort::Insert(n)) => back((wired.to.0, n), wired.from.0),
        _ => false,
    }
}

/// Whether the other half of a stereo source is wired too, or the wire carries both.
pub fn other_half(rig: &Rig, id: WireId) -> bool {
    let wired = &rig.wires[id.0];
    let Some(out) = output_of(rig, wired) else { return true };
    // Whoever puts a click on one side keeps the other for something else.
    let strip = wired.to.1.channel().and_then(|channel| rig.strip(channel));
    if strip.is_some_and(|strip| strip.cue.is_some()) {
        return true;
    }
    let sides = match out.layout {
        Layout::Mono => return true,
        Layout::OnePlug if wired.wire.cable != Cable::Split && wired.from.1.side().is_none() => return true,
        // The left socket of such a pair gives both halves where only it is plugged.
        Layout::Pair { sums: true } if wired.from.1.side() == Some(Side::Left) => return true,
        Layout::OnePlug | Layout::Pair { .. } => wired.from.1.side(),
    };
    let others = rig.wires.iter().enumerate().filter(|(index, other)| *index != id.0 && other.from.0 == wired.from.0);
    let mut others =
        others.filter(|(_, other)| std::mem::discriminant(&other.from.1) == std::mem::discriminant(&wired.from.1));
    let partner = strip.and_then(|strip| channels::partner(rig, strip));
    others.any(|(_, other)| sides.is_none() || other.from.1.side() != sides)
        || partner.is_some_and(|partner| arrives(rig, partner))
}

fn channel(rig: &Rig, paths: &Paths, strip: &Strip, found: &mut Found) {
    let number = strip.channel.number() as u8;
    let about = About::Channel(number);
    if !arrives(rig, number) {
        // A wire of its source that ends elsewhere was told of where it ends.
        let own = |wired: &&Wired| rig.thing(wired.from.0).name == strip.name;
        let elsewhere = |wired: &Wired| {
            channels::misled(rig, wired).is_some() || matches!(wired.to.1, InPort::Insert(n) if n == number)
        };
        let misled = rig.wires.iter().filter(own).any(elsewhere);
        if let Some(cue) = strip.cue {
            cues::past_its_channel(rig, paths, strip, cue, found);
        }
        if !misled && (strip.cue.is_some() || !straight_to_the_hall(rig, paths, strip)) {
            found.never(about, Trouble::NotWired);
        }
        return;
    }
    if strip.solo {
        found.but(about, Trouble::SoloOn);
    }
    let start = Node::Channel(number);
    if let Some(cue) = strip.cue {
        return cues::check(rig, paths, strip, cue, found);
    }
    let dry = paths.dry(rig, start);
    if !dry.iter().any(|node| with_role(rig, *node, Role::Hall)) {
        if muted_mains(rig) && strip.to_main {
            return found.never(About::Bus(Bus::MainLeft), Trouble::NotHeard(vec![Closed::BusMuted(Bus::MainLeft)]));
        }
        let wanted: Vec<Node> = rig
            .ids()
            .flat_map(|id| (1..=4).map(move |lane| Node::Thing(id, lane)))
            .filter(|node| with_role(rig, *node, Role::Hall))
            .collect();
        found.never(about, Trouble::NotHeard(paths.closed_on_the_way(start, &wanted)));
    } else if let Some(side) = missing_side(rig, paths, number) {
        found.but(about, Trouble::HeardOnOneSide(side));
    }
    if right_half_is_lost(rig, paths, number) {
        found.but(about, Trouble::RightHalfLost);
    }
    twice_in_a_monitor(rig, paths, strip, found);
}

/// A stereo channel whose right half goes to mains that nothing is wired to.
fn right_half_is_lost(rig: &Rig, paths: &Paths, number: u8) -> bool {
    let in_the_hall = |bus: Bus| paths.reached(Node::Bus(bus)).iter().any(|node| with_role(rig, *node, Role::Hall));
    let right = |wired: &Wired| Some(wired.to.0) == rig.desk() && wired.to.1 == InPort::Stereo(number, Side::Right);
    rig.wires.iter().any(right) && in_the_hall(Bus::MainLeft) && !in_the_hall(Bus::MainRight)
}

/// Then nobody is heard, and once is enough to say so.
fn muted_mains(rig: &Rig) -> bool {
    [Bus::MainLeft, Bus::MainRight].iter().all(|bus| rig.bus(*bus).is_some_and(|setting| setting.mute))
}

/// Whether a wire brings anything to a channel.
fn arrives(rig: &Rig, channel: u8) -> bool {
    rig.desk().is_some_and(|desk| {
        rig.into_thing(desk)
            .any(|wired| !matches!(wired.to.1, InPort::Insert(_)) && rig.channels_of(wired).contains(&channel))
    })
}

/// Whether the source of this name reaches the audience without the desk, as a microphone in an active loudspeaker does.
fn straight_to_the_hall(rig: &Rig, paths: &Paths, strip: &Strip) -> bool {
    // The two-track return goes to the mains past every channel.
    let into_a_channel = |wired: &Wired| Some(wired.to.0) == rig.desk() && !matches!(wired.to.1, InPort::TwoTrack(_));
    let to_the_desk = |id: ThingId| rig.wires.iter().any(|wired| wired.from.0 == id && into_a_channel(wired));
    let own = rig.ids().filter(|id| rig.thing(*id).name == strip.name && !to_the_desk(*id));
    let mut reached = own.flat_map(|id| paths.reached(Node::Thing(id, 1)));
    reached.any(|node| with_role(rig, node, Role::Hall))
}

/// The hall's side that a channel does not reach although the mains have both.
fn missing_side(rig: &Rig, paths: &Paths, number: u8) -> Option<SideKey> {
    let strip = rig.strip(number)?;
    let (_, wired) = rig.source_of(number)?;
    let by_data = matches!(wired.to.1, InPort::Usb | InPort::Network);
    if by_data || output_of(rig, wired).is_some_and(|out| out.layout != Layout::Mono) {
        return None;
    }
    // Two microphones of one thing, one on each side, are a pair.
    let other = |other: &Strip| other.kind == strip.kind && other.pan * strip.pan < 0.0;
    if rig.strips.iter().any(other) {
        return None;
    }
    let reaches = |bus: Bus| paths.reached(Node::Bus(bus)).iter().any(|node| with_role(rig, *node, Role::Hall));
    let reached = paths.reached(Node::Channel(number));
    let lacks = |bus| strip.to_main && reaches(bus) && !reached.contains(&Node::Bus(bus));
    if lacks(Bus::MainLeft) {
        Some(SideKey::Left)
    } else if lacks(Bus::MainRight) {
        Some(SideKey::Right)
    } else {
        None
    }
}

/// A channel that reaches one monitor by two buses: it is twice as loud there, and rings sooner.
fn twice_in_a_monitor(rig: &Rig, paths: &Paths, strip: &Strip, found: &mut Found) {
    let number = strip.channel.number() as u8;
    for monitor in rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Monitor) {
        let at = Node::Thing(monitor, 1);
        let buses: Vec<Bus> = paths
            .edges()
            .iter()
            .filter(|edge| edge.from == Node::Channel(number) && edge.closed.is_none())
            .filter_map(|edge| match edge.to {
                Node::Bus(bus) => Some(if bus == Bus::MainRight { Bus::MainLeft } else { bus }),
                _ => None,
            })
            .filter(|bus| paths.dry(rig, Node::Bus(*bus)).contains(&at))
            .collect();
        if buses.iter().any(|bus| *bus != buses[0]) {
            found.but(About::Channel(number), Trouble::TwiceInOneMonitor { speaker: monitor });
        }
    }
}

fn things(rig: &Rig, paths: &Paths, found: &mut Found) {
    let channels = rig.strips.iter().map(|strip| strip.channel.number() as u8);
    let sources: Vec<Node> = channels.filter(|channel| arrives(rig, *channel)).map(Node::Channel).collect();
    for id in rig.ids() {
        let thing = rig.thing(id);
        let used = rig.wires.iter().any(|wired| wired.from.0 == id || wired.to.0 == id);
        let fed = rig.into_thing(id).any(|wired| wired.to.1 != InPort::Power);
        if wants_feed(thing.kind) && used && !fed {
            found.never(About::Thing(id), Trouble::SpeakerUnfed { closed: false });
        } else if thing.kind.role() != Role::Other && fed && !thing_hears(rig, paths, id, &sources) {
            // A send or switch is opened by whoever stands at the desk; a wire that is not there is missing.
            let wired = paths.wired_to((1..=4).map(|lane| Node::Thing(id, lane)));
            let closed = wired.iter().any(|node| matches!(node, Node::Bus(_))) || thing.kind.role() == Role::Recording;
            let silent = if closed { Verdict::WorksBut } else { Verdict::Never };
            found.add(About::Thing(id), silent, Trouble::SpeakerUnfed { closed });
        }
    }
    for strip in &rig.strips {
        for &(aux, tap) in strip.sends.iter().filter(|(_, tap)| *tap == Tap::AfterFader) {
            let monitor =
                paths.dry(rig, Node::Bus(Bus::Aux(aux))).iter().any(|node| with_role(rig, *node, Role::Monitor));
            if monitor && tap == Tap::AfterFader {
                found.but(About::Channel(strip.channel.number() as u8), Trouble::MonitorAfterFader { aux });
            }
        }
    }
}

/// What the audience hears and a recorder, fed by one bus of the desk, does not.
fn recordings(rig: &Rig, paths: &Paths, found: &mut Found) {
    let in_the_hall =
        |channel: u8| paths.reached(Node::Channel(channel)).iter().any(|node| with_role(rig, *node, Role::Hall));
    // What must not be heard need not be recorded.
    let channels = rig.strips.iter().filter(|strip| strip.cue.is_none()).map(|strip| strip.channel.number() as u8);
    let heard: Vec<u8> = channels.filter(|channel| arrives(rig, *channel) && in_the_hall(*channel)).collect();
    hall_speakers(rig, paths, &heard, found);
    for id in rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Recording) {
        let mut feeds = rig.into_thing(id).filter(|wired| wired.to.1 != InPort::Power).peekable();
        let of_the_desk = |wired: &Wired| {
            Some(wired.from.0) == rig.desk() && wired.to.1 != InPort::Usb && !matches!(wired.from.1, OutPort::Insert(_))
        };
        if feeds.peek().is_none() || !feeds.all(of_the_desk) {
            continue;
        }
        let at = paths.reaching([Node::Thing(id, 1)]);
        let missing: Vec<u8> = heard.iter().copied().filter(|channel| !at.contains(&Node::Channel(*channel))).collect();
        if !missing.is_empty() && missing.len() < heard.len() {
            found.but(About::Thing(id), Trouble::RecordingLacks(missing));
        }
    }
}

/// A loudspeaker of the hall behind an aux or group gives only what is sent there.
fn hall_speakers(rig: &Rig, paths: &Paths, heard: &[u8], found: &mut Found) {
    for id in rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Hall) {
        let at = paths.reaching((1..=4).map(|lane| Node::Thing(id, lane)));
        let by_the_mains = [Bus::MainLeft, Bus::MainRight].iter().any(|bus| at.contains(&Node::Bus(*bus)));
        let by_another = at.iter().any(|node| matches!(node, Node::Bus(_)));
        let lacks: Vec<u8> = heard.iter().copied().filter(|channel| !at.contains(&Node::Channel(*channel))).collect();
        if by_another && !by_the_mains && !lacks.is_empty() && lacks.len() < heard.len() {
            found.but(About::Thing(id), Trouble::SpeakerLacks(lacks));
        }
    }
}

fn thing_hears(rig: &Rig, paths: &Paths, id: ThingId, sources: &[Node]) -> bool {
    let lanes = (1..=4).map(|lane| Node::Thing(id, lane));
    let reaching = paths.reaching(lanes);
    let direct = |node: &Node| matches!(node, Node::Thing(id, _) if matches!(rig.thing(*id).kind, GearKind::Source(_)));
    // By USB or network everything may come.
    let data = rig.into_thing(id).any(|wired| matches!(wired.to.1, InPort::Usb | InPort::Network));
    data || sources.iter().any(|source| reaching.contains(source)) || reaching.iter().any(direct)
}

fn loops(rig: &Rig, paths: &Paths, found: &mut Found) {
    let buses = rig.strips.iter().flat_map(|strip| strip.sends.iter().map(|(aux, _)| Bus::Aux(*aux)));
    let mut all: Vec<Bus> = buses.chain([Bus::MainLeft]).chain(rig.buses.iter().map(|setting| setting.bus)).collect();
    all.sort();
    all.dedup();
    let mut told = false;
    for bus in all.into_iter().filter(|bus| paths.loops(Node::Bus(*bus))) {
        found.never(About::Bus(bus), Trouble::Loop);
        told = true;
    }
    // A loop that passes no bus runs from thing to thing.
    for id in rig.ids().filter(|_| !told) {
        // Passive loudspeakers linked in a ring are in parallel, and do not howl.
        let passive = rig.thing(id).kind.is_passive_speaker();
        if !passive && (1..=4).any(|lane| paths.loops(Node::Thing(id, lane))) {
            found.never(About::Thing(id), Trouble::Loop);
        }
    }
}

/// One switch for every channel: somebody needs it, and somebody is harmed.
fn phantom_for_all(rig: &Rig, found: &mut Found) {
    let Some(desk) = rig.desk().filter(|desk| rig.thing(*desk).spec.phantom == Some(PhantomSwitch::AllTogether)) else {
        return;
    };
    let on_mics = |wanted: fn(OnPhantom) -> bool| {
        rig.into_thing(desk).filter_map(move |wired| {
            let InPort::Mic(channel) = wired.to.1 else { return None };
            let out = output_of(rig, wired)?;
            let feeds = wired.wire.through.iter().fold(out, |out, inline| inline.after(out));
            wanted(feeds.phantom).then_some(channel)
        })
    };
    let Some(needs) = on_mics(|phantom| phantom == OnPhantom::Needs).next() else { return };
    for harmed in on_mics(|phantom| matches!(phantom, OnPhantom::IsHarmed | OnPhantom::MayBeHarmed)) {
        found.but(About::Channel(needs), Trouble::PhantomForAll { harmed });
    }
}

/// An output of the desk that a monitor or hall loudspeaker can be fed from at line level.
pub fn line_output(rig: &Rig, role: Role) -> Option<(ThingId, OutPort)> {
    let desk = rig.desk()?;
    let used = |port: OutPort| rig.wires.iter().any(|wired| wired.from == (desk, port));
    let auxes = (1..=rig.thing(desk).spec.auxes.unwrap_or(2)).map(OutPort::Aux);
    let ports: Vec<OutPort> = match role {
        Role::Monitor => auxes.collect(),
        _ => [OutPort::Main(Some(Side::Left)), OutPort::Main(Some(Side::Right)), OutPort::Main(None)]
            .into_iter()
            .collect(),
    };
    let free = ports.iter().copied().find(|port| !used(*port));
    free.or(ports.first().copied()).map(|port| (desk, port))
}
