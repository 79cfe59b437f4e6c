//! Each source on the channel that the list gives it, and alone there.
//!
//! A source of the input list bears its channel's name, so a wire of it that ends in another channel contradicts the list:
//! whoever mutes that channel then mutes somebody else. Sockets that share a channel share its gain and fader, so only
//! one of them may be wired. Edge cases: a source wired to its own channel may go to others as well; things that only the
//! gear list knows belong to no channel; both sides of a stereo input are one channel; the other half of a stereo source
//! may have a channel of its own, and so may an instrument that is plugged twice.

use super::checks::{About, Found, Trouble};
use super::gear::{self, InPort, OutPort, Side};
use super::port::Layout;
use super::rig::{Rig, Strip, WireId, Wired};
use super::signals;

pub(super) fn check(rig: &Rig, found: &mut Found) {
    for (index, wired) in rig.wires.iter().enumerate().filter(|(_, wired)| brings_a_channel(rig, wired)) {
        let id = WireId(index);
        let Some(ends) = wired.to.1.channel() else { continue };
        if let Some(listed) = misled(rig, wired) {
            found.never(About::Wire(id), Trouble::WrongChannel { listed, ends });
        } else if is_a_stranger(rig, wired) {
            found.never(About::Wire(id), Trouble::WrongSource { ends });
        } else if let Some(side) = crossed(rig, wired) {
            found.but(About::Wire(id), Trouble::SideCrossed(side));
        }
        let same = |(_, other): &(usize, &Wired)| {
            let there = brings_a_channel(rig, other) && other.to.1.channel() == Some(ends);
            there && !go_together(other.to.1, wired.to.1)
        };
        if let Some(by) = rig.wires[..index].iter().enumerate().find(same).map(|(by, _)| WireId(by)) {
            found.never(About::Wire(id), Trouble::ChannelTaken { by });
        }
    }
}

/// Whether a wire plugs a source into a channel of the desk.
fn brings_a_channel(rig: &Rig, wired: &Wired) -> bool {
    Some(wired.to.0) == rig.desk() && wired.to.1.channel().is_some() && !matches!(wired.to.1, InPort::Insert(_))
}

/// Two wires in one socket fight, which is told elsewhere; both sides of a stereo input are made for two.
fn go_together(one: InPort, other: InPort) -> bool {
    one == other || matches!((one, other), (InPort::Stereo(..), InPort::Stereo(..)))
}

/// The channel that the list gives this wire's source, where no wire of it ends.
pub(super) fn misled(rig: &Rig, wired: &Wired) -> Option<u8> {
    if !brings_a_channel(rig, wired) {
        return None;
    }
    let own = own_strips(rig, wired);
    let listed = own.first()?.channel.number() as u8;
    let arrives = |other: &Wired| own.iter().any(|strip| other.to.1.channel() == Some(strip.channel.number() as u8));
    let mut of_the_source =
        rig.wires.iter().filter(|other| other.from.0 == wired.from.0 && brings_a_channel(rig, other));
    (!of_the_source.any(arrives) && !may_come_to(rig, wired, own[0])).then_some(listed)
}

/// The channels that are called as a wire's source is.
fn own_strips<'a>(rig: &'a Rig, wired: &Wired) -> Vec<&'a Strip> {
    let name = &rig.thing(wired.from.0).name;
    rig.strips.iter().filter(|strip| strip.name == *name).collect()
}

/// Whether a source comes to a channel that is another's, besides its own.
fn is_a_stranger(rig: &Rig, wired: &Wired) -> bool {
    let own = own_strips(rig, wired);
    let at_home = own.iter().any(|strip| wired.to.1.channel() == Some(strip.channel.number() as u8));
    !own.is_empty() && !at_home && !may_come_to(rig, wired, own[0])
}

/// Whether the channel where a wire ends may be its source's too: it is listed, has no other source of its own, and takes
/// the half of it that is a cue, is of the same kind, or bears its name and more.
fn may_come_to(rig: &Rig, wired: &Wired, own: &Strip) -> bool {
    let Some(strip) = wired.to.1.channel().and_then(|channel| rig.strip(channel)) else { return true };
    let has_its_own = rig.things.iter().any(|thing| thing.name == strip.name);
    let half = wired.from.1.side().is_some()
        && signals::output_of(rig, wired).is_some_and(|out| out.layout != Layout::Mono)
        && strip.cue.is_some();
    let alike = strip.kind == own.kind && !rig.thing(wired.from.0).kind.is_mic();
    !has_its_own && (half || alike || strip.name.starts_with(&own.name))
}

/// The side of a stereo source that goes into the channel which the list calls the other side.
fn crossed(rig: &Rig, wired: &Wired) -> Option<Side> {
    let (OutPort::Own(side) | OutPort::Phones(side) | OutPort::Record(side)) = wired.from.1 else { return None };
    let named = rig.strip(wired.to.1.channel()?).and_then(side_of)?;
    let stereo = signals::output_of(rig, wired)?.layout != Layout::Mono;
    side.filter(|side| stereo && *side != named)
}

/// "Keys right".
fn side_of(strip: &Strip) -> Option<Side> {
    match strip.name.rsplit(' ').next()?.to_lowercase().as_str() {
        "left" | "l" => Some(Side::Left),
        "right" | "r" => Some(Side::Right),
        _ => None,
    }
}

/// Whether another wire already comes to the channel behind a socket.
pub(super) fn is_taken(rig: &Rig, but: &Wired, port: InPort) -> bool {
    let others = rig.wires.iter().filter(|other| !std::ptr::eq(*other, but) && brings_a_channel(rig, other));
    others.into_iter().any(|other| other.to.1.channel() == port.channel())
}

/// The socket of the same sort at the channel that the list gives the source, if nothing else belongs there.
pub(super) fn listed_socket(rig: &Rig, wired: &Wired) -> Option<InPort> {
    let listed = misled(rig, wired)?;
    let there = |other: &&Wired| brings_a_channel(rig, other) && other.to.1.channel() == Some(listed);
    if rig.wires.iter().filter(there).any(|other| misled(rig, other).is_none()) {
        return None;
    }
    let port = match wired.to.1 {
        InPort::Mic(_) => InPort::Mic(listed),
        InPort::Line(_) => InPort::Line(listed),
        InPort::Instrument(_) => InPort::Instrument(listed),
        InPort::Stereo(_, side) => InPort::Stereo(listed, side),
        _ => return None,
    };
    let desk = rig.thing(wired.to.0);
    gear::input(desk.kind, &desk.spec, port).map(|_| port)
}
