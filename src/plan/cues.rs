//! What is for the performers' ears only: click, talkback, spoken cues. No way of theirs may end in the hall or in a mix that
//! is recorded, by their channel or past it, and somebody has to hear them.
//!
//! Edge cases: on a track of its own a cue does no harm; of a source that is a cue in one half, a wire that carries both
//! halves sums it with the music.

use super::checks::{About, Found, Trouble};
use super::gear::{OutPort, Role};
use super::port::Layout;
use super::rig::{Cue, Rig, Strip, ThingId, Wired};
use super::routing::{Node, Paths, with_role};
use super::signals::output_of;
use super::wire::{Cable, InLine};

pub(super) fn check(rig: &Rig, paths: &Paths, strip: &Strip, cue: Cue, found: &mut Found) {
    let number = strip.channel.number() as u8;
    let about = About::Channel(number);
    let reached = paths.reached(Node::Channel(number));
    let heard_by = |role| {
        reached.iter().filter_map(move |node| match node {
            Node::Thing(id, _) if with_role(rig, *node, role) => Some((*id, *node)),
            _ => None,
        })
    };
    if let Some((speaker, _)) = heard_by(Role::Hall).next() {
        found.never(about, Trouble::CueInTheHall { cue, speaker });
    }
    // On a track of its own it does no harm; in a mix it does.
    let in_a_mix = |(_, node): &(ThingId, Node)| {
        let buses = reached.iter().filter(|bus| matches!(bus, Node::Bus(_)));
        buses.into_iter().any(|bus| paths.reached(*bus).contains(node))
    };
    if let Some((recorder, _)) = heard_by(Role::Recording).find(in_a_mix) {
        found.never(about, Trouble::CueInTheRecording { cue, recorder });
    }
    if heard_by(Role::Monitor).next().is_none() {
        found.but(about, Trouble::CueUnheard(cue));
    }
    summed(rig, number, cue, found);
    past_its_channel(rig, paths, strip, cue, found);
}

/// Other wires of a cue's source, and where they lead: past its channel no fader holds it back.
pub(super) fn past_its_channel(rig: &Rig, paths: &Paths, strip: &Strip, cue: Cue, found: &mut Found) {
    let number = strip.channel.number() as u8;
    let own = rig.source_of(number).map(|(_, wired)| wired.from);
    let carries = |wired: &Wired| match own {
        Some(socket) => wired.from == socket,
        None => rig.thing(wired.from.0).name == strip.name,
    };
    for edge in paths.edges() {
        let Some(wired) = edge.wire.map(|id| &rig.wires[id.0]) else { continue };
        if edge.to == Node::Channel(number) || edge.closed.is_some() || !carries(wired) {
            continue;
        }
        let mut reached = paths.reached(edge.to);
        reached.insert(edge.to);
        if let Some(Node::Thing(speaker, _)) = reached.into_iter().find(|node| with_role(rig, *node, Role::Hall)) {
            found.never(About::Channel(number), Trouble::CueInTheHall { cue, speaker });
        }
    }
}

/// A cue on one half of a source whose other wire carries both halves.
fn summed(rig: &Rig, channel: u8, cue: Cue, found: &mut Found) {
    let stereo = |wired: &Wired| output_of(rig, wired).is_some_and(|out| out.layout != Layout::Mono);
    let comes = |wired: &&Wired| Some(wired.to.0) == rig.desk() && rig.channel_of(wired) == Some(channel);
    let Some(own) = rig.wires.iter().filter(comes).find(|wired| stereo(wired)) else { return };
    let both = |wired: &Wired| {
        let whole = wired.from.1 == OutPort::Own(None) && wired.wire.cable != Cable::Split;
        wired.from.0 == own.from.0 && (whole || wired.wire.through.contains(&InLine::ResistorSum))
    };
    if rig.wires.iter().any(both) {
        found.never(About::Channel(channel), Trouble::CueSummed(cue));
    }
}
