//! Who hears what: the ways of a signal from source through the desk's switches to ears, and what stops it.
//!
//! The graph's nodes are sources, desk channels, buses and the lanes of things; an edge is open, or closed for a
//! reason. Reaching is a search over open edges; a loop is a way back to where it began. Edge cases: loops end
//! the search, they do not hang it; a rig without a desk has only direct wires.

use std::collections::{BTreeMap, BTreeSet};

use super::gear::{AmpFeed, GearKind, InPort, OutPort, Role, Side};
use super::rig::{Bus, BusSetting, Rig, Strip, Tap, ThingId, WireId, Wired};

/// A point that sound passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// A lane of a thing: an amplifier's first input drives its first output.
    Thing(ThingId, u8),
    Channel(u8),
    Bus(Bus),
}

/// What closes an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Closed {
    Muted,
    FaderDown,
    PannedAway(SideKey),
    InsertHalfIn,
    BusMuted(Bus),
    GroupNotToMain(u8),
}

/// [`Side`] with an order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SideKey {
    Left,
    Right,
}

/// From, to, and why not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    pub from: Node,
    pub to: Node,
    pub closed: Option<Closed>,
    /// The wire, where it is one.
    pub wire: Option<WireId>,
}

/// A pan this far to one side is not heard on the other.
const HARD: f64 = 0.95;

/// All edges of a rig.
#[derive(Clone, Debug, Default)]
pub struct Paths {
    edges: Vec<Edge>,
    leaving: BTreeMap<Node, Vec<usize>>,
    arriving: BTreeMap<Node, Vec<usize>>,
}

impl Paths {
    pub fn of(rig: &Rig) -> Self {
        let mut edges = Vec::new();
        for strip in &rig.strips {
            channel_edges(strip, &mut edges);
        }
        for setting in &rig.buses {
            group_edges(setting, &mut edges);
        }
        for (index, wired) in rig.wires.iter().enumerate() {
            wire_edges(rig, WireId(index), wired, &mut edges);
        }
        let mut paths = Self { edges, ..Self::default() };
        for (index, edge) in paths.edges.iter().enumerate() {
            paths.leaving.entry(edge.from).or_default().push(index);
            paths.arriving.entry(edge.to).or_default().push(index);
        }
        paths
    }

    pub fn edges(&self) -> &[Edge] {
        &self.edges
    }

    /// Everything that is reached over open edges; the start itself only if a loop leads back.
    pub fn reached(&self, from: Node) -> BTreeSet<Node> {
        search([from], |node| {
            self.of_node(&self.leaving, node).filter(|edge| edge.closed.is_none()).map(|edge| edge.to).collect()
        })
    }

    /// Everything from which one of these is reached over open edges.
    pub fn reaching(&self, wanted: impl IntoIterator<Item = Node>) -> BTreeSet<Node> {
        search(wanted, |node| {
            self.of_node(&self.arriving, node).filter(|edge| edge.closed.is_none()).map(|edge| edge.from).collect()
        })
    }

    /// The same, were every switch open.
    pub fn wired_to(&self, wanted: impl IntoIterator<Item = Node>) -> BTreeSet<Node> {
        search(wanted, |node| self.of_node(&self.arriving, node).map(|edge| edge.from).collect())
    }

    /// What closes the ways that would reach one of these, were they open.
    pub fn closed_on_the_way(&self, from: Node, wanted: &[Node]) -> Vec<Closed> {
        let all = search([from], |node| self.of_node(&self.leaving, node).map(|edge| edge.to).collect());
        let leads_there =
            search(wanted.iter().copied(), |node| self.of_node(&self.arriving, node).map(|edge| edge.from).collect());
        let on_the_way = |edge: &&Edge| {
            (edge.from == from || all.contains(&edge.from))
                && (wanted.contains(&edge.to) || leads_there.contains(&edge.to))
        };
        let why: BTreeSet<Closed> = self.edges.iter().filter(on_the_way).filter_map(|edge| edge.closed).collect();
        why.into_iter().collect()
    }

    /// Whether sound that leaves here comes back.
    pub fn loops(&self, at: Node) -> bool {
        self.reached(at).contains(&at)
    }

    fn of_node<'a>(&'a self, index: &'a BTreeMap<Node, Vec<usize>>, node: Node) -> impl Iterator<Item = &'a Edge> {
        index.get(&node).into_iter().flatten().map(|&at| &self.edges[at])
    }
}

fn search(from: impl IntoIterator<Item = Node>, next: impl Fn(Node) -> Vec<Node>) -> BTreeSet<Node> {
    let mut found = BTreeSet::new();
    let mut open: Vec<Node> = from.into_iter().collect();
    while let Some(node) = open.pop() {
        open.extend(next(node).into_iter().filter(|&node| found.insert(node)));
    }
    found
}

/// The node of a thing that ears or a recorder are at.
pub fn with_role(rig: &Rig, node: Node, role: Role) -> bool {
    matches!(node, Node::Thing(id, _) if rig.thing(id).kind.role() == role)
}

fn channel_edges(strip: &Strip, edges: &mut Vec<Edge>) {
    let from = Node::Channel(strip.channel.number() as u8);
    let switched = match (strip.mute, strip.insert_half_in) {
        (true, _) => Some(Closed::Muted),
        (false, true) => Some(Closed::InsertHalfIn),
        _ => None,
    };
    let after_fader = switched.or(strip.fader_down.then_some(Closed::FaderDown));
    let mut to = |bus, closed| edges.push(Edge { from, to: Node::Bus(bus), closed, wire: None });
    if strip.to_main {
        let panned = |away: bool, side| after_fader.or(away.then_some(Closed::PannedAway(side)));
        to(Bus::MainLeft, panned(strip.pan >= HARD, SideKey::Right));
        to(Bus::MainRight, panned(strip.pan <= -HARD, SideKey::Left));
    }
    for &group in &strip.groups {
        to(Bus::Group(group), after_fader);
    }
    for &(aux, tap) in &strip.sends {
        to(Bus::Aux(aux), if tap == Tap::AfterFader { after_fader } else { switched });
    }
}

fn group_edges(setting: &BusSetting, edges: &mut Vec<Edge>) {
    let Bus::Group(n) = setting.bus else { return };
    let closed = match (setting.mute, setting.to_main) {
        (true, _) => Some(Closed::BusMuted(setting.bus)),
        (false, false) => Some(Closed::GroupNotToMain(n)),
        (false, true) => None,
    };
    for main in [Bus::MainLeft, Bus::MainRight] {
        edges.push(Edge { from: Node::Bus(setting.bus), to: Node::Bus(main), closed, wire: None });
    }
}

fn wire_edges(rig: &Rig, wire: WireId, wired: &Wired, edges: &mut Vec<Edge>) {
    let to_kind = rig.thing(wired.to.0).kind;
    // A second desk is a box that passes on all that comes to it.
    let to = match (rig.desk() == Some(wired.to.0), wired.to.1) {
        (_, InPort::Power) => return,
        // What an insert sends comes back into the channel that sent it.
        _ if super::signals::is_insert_pair(rig, wired) => return,
        // The two-track return goes to the mains, past every channel.
        (true, InPort::TwoTrack(Side::Left)) => Node::Bus(Bus::MainLeft),
        (true, InPort::TwoTrack(Side::Right)) => Node::Bus(Bus::MainRight),
        (true, _) => match rig.channel_of(wired) {
            Some(channel) => Node::Channel(channel),
            None => return,
        },
        (false, port) => Node::Thing(wired.to.0, lane(to_kind, port)),
    };
    for (from, closed) in leaving(rig, wired.from) {
        edges.push(Edge { from, to, closed, wire: Some(wire) });
    }
}

/// The nodes that feed an output of a thing.
fn leaving(rig: &Rig, (id, port): (ThingId, OutPort)) -> Vec<(Node, Option<Closed>)> {
    let thing = rig.thing(id);
    if rig.desk() != Some(id) {
        let lane = match port {
            _ if thing.kind.is_desk() => 1,
            OutPort::Speaker(n) => n,
            _ => 1,
        };
        return vec![(Node::Thing(id, lane), None)];
    }
    let muted = |bus: Bus| rig.bus(bus).filter(|setting| setting.mute).map(|_| Closed::BusMuted(bus));
    let from = |buses: &[Bus]| buses.iter().map(|&bus| (Node::Bus(bus), muted(bus))).collect();
    let mains = |side: Option<Side>| match side {
        Some(Side::Left) => from(&[Bus::MainLeft]),
        Some(Side::Right) => from(&[Bus::MainRight]),
        None => from(&[Bus::MainLeft, Bus::MainRight]),
    };
    match port {
        OutPort::Main(side) | OutPort::Record(side) | OutPort::Phones(side) => mains(side),
        OutPort::Aux(n) => from(&[Bus::Aux(n)]),
        OutPort::Group(n) => from(&[Bus::Group(n)]),
        OutPort::Insert(n) => vec![(Node::Channel(n), None)],
        OutPort::Speaker(n) => match thing.spec.amp_feeds.get(usize::from(n).saturating_sub(1)) {
            Some(AmpFeed::Aux(aux)) => from(&[Bus::Aux(*aux)]),
            _ => mains(None),
        },
        // Multichannel: every channel and the mains.
        OutPort::Usb | OutPort::Network => {
            let channels = rig.strips.iter().map(|strip| (Node::Channel(strip.channel.number() as u8), None));
            channels.collect()
        }
        OutPort::Own(_) | OutPort::Link | OutPort::Mains => Vec::new(),
    }
}

const fn lane(kind: GearKind, port: InPort) -> u8 {
    match (kind, port) {
        (GearKind::Amplifier | GearKind::LineAmplifier, InPort::In(n)) => n,
        _ => 1,
    }
}
