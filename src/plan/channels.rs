//! Each source on the channel that the list gives it, and alone there.
//!
//! A source of the input list bears its channel's name, so a wire of it that ends in another channel contradicts the list:
//! whoever mutes that channel then mutes somebody else. Sockets that share a channel share its gain and fader, so only
//! one of them may be wired. Edge cases: a source wired to its own channel may go to others as well; things that only the
//! gear list knows belong to no channel; both sides of a stereo input are one channel.

use super::checks::{About, Found, Trouble};
use super::gear::{self, InPort, OutPort, Side};
use super::rig::{Rig, Strip, WireId, Wired};
use super::signals;

pub(super) fn check(rig: &Rig, found: &mut Found) {
    for (index, wired) in rig.wires.iter().enumerate().filter(|(_, wired)| brings_a_channel(rig, wired)) {
        let id = WireId(index);
        let Some(ends) = wired.to.1.channel() else { continue };
        if let Some(listed) = misled(rig, wired) {
            found.never(About::Wire(id), Trouble::WrongChannel { listed, ends });
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
    let name = &rig.thing(wired.from.0).name;
    let own = || rig.strips.iter().filter(|strip| strip.name == *name);
    let listed = own().map(|strip| strip.channel.number() as u8).next()?;
    let of_the_source = rig.wires.iter().filter(|other| other.from.0 == wired.from.0 && brings_a_channel(rig, other));
    let arrives = |other: &Wired| own().any(|strip| other.to.1.channel() == Some(strip.channel.number() as u8));
    (!of_the_source.into_iter().any(arrives)).then_some(listed)
}

/// The side of a stereo source that goes into the channel which the list calls the other side.
fn crossed(rig: &Rig, wired: &Wired) -> Option<Side> {
    let (OutPort::Own(side) | OutPort::Phones(side) | OutPort::Record(side)) = wired.from.1 else { return None };
    let named = rig.strip(wired.to.1.channel()?).and_then(side_of)?;
    let stereo = signals::output_of(rig, wired)?.layout != super::port::Layout::Mono;
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
