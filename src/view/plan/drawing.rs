//! The rig as boxes and wires in columns, left to right: sources, desk inputs, buses, amplifiers, ears.
//!
//! For whoever draws it; no sizes, no colours: a box has its column and row, a wire its two boxes, its verdict and its
//! words. Edge cases: a thing that fits no column stands with the amplifiers (it passes sound on); a loop is drawn
//! as any other wire.

use std::collections::HashMap;

use super::Plan;
use super::findings::{bus_name, channel_name, finding_line, wire_words};
use super::names::thing_kind;
use super::reasons::remark;
use crate::plan::checks::About;
use crate::plan::gear::{GearKind, Role};
use crate::plan::rig::WireId;
use crate::plan::routing::Node;
use crate::plan::verdict::Verdict;
use crate::view::words::plain;

/// A column of the drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BoxKind {
    Source,
    Input,
    Bus,
    Amplifier,
    Ears,
}

impl BoxKind {
    pub const ALL: [Self; 5] = [Self::Source, Self::Input, Self::Bus, Self::Amplifier, Self::Ears];

    /// The column's heading.
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Source => "Sources",
            Self::Input => "Desk inputs",
            Self::Bus => "Buses",
            Self::Amplifier => "Amplifiers",
            Self::Ears => "Speakers and recorders",
        }
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct DrawnBox {
    pub kind: BoxKind,
    /// Within its column, counted from 0.
    pub row: usize,
    pub title: String,
    pub detail: String,
    /// The worst that was found of the thing itself.
    pub verdict: Verdict,
    /// What was found, a sentence each.
    pub words: Vec<String>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct DrawnWire {
    /// Indices of boxes.
    pub from: usize,
    pub to: usize,
    /// `None` for a way inside the desk.
    pub label: Option<String>,
    pub verdict: Verdict,
    /// Closed by a switch.
    pub closed: bool,
    /// "Wire 6, Bass → Hall desk mic 6" and a sentence for each remark, notes included.
    pub words: Vec<String>,
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    pub boxes: Vec<DrawnBox>,
    pub wires: Vec<DrawnWire>,
}

impl Drawing {
    pub fn of(plan: &Plan) -> Self {
        let mut drawer = Drawer { plan, drawing: Self::default(), places: HashMap::new() };
        for edge in plan.checked.paths.edges() {
            let (from, to) = (drawer.place(edge.from), drawer.place(edge.to));
            let (verdict, words) = edge.wire.map_or((Verdict::Fits, Vec::new()), |wire| drawer.wire(wire));
            let label = edge.wire.map(|wire| plain(&plan.rig.wires[wire.0].label));
            let wire = DrawnWire { from, to, label, verdict, closed: edge.closed.is_some(), words };
            // Two buses on one socket are one wire.
            if wire.label.is_none() || !drawer.drawing.wires.contains(&wire) {
                drawer.drawing.wires.push(wire);
            }
        }
        drawer.drawing
    }
}

struct Drawer<'a> {
    plan: &'a Plan,
    drawing: Drawing,
    places: HashMap<Node, usize>,
}

impl Drawer<'_> {
    /// The box of a node; all lanes of a thing are one box.
    fn place(&mut self, node: Node) -> usize {
        let node = match node {
            Node::Thing(id, _) => Node::Thing(id, 1),
            other => other,
        };
        if let Some(&at) = self.places.get(&node) {
            return at;
        }
        let rig = &self.plan.rig;
        let (kind, title, detail, about) = match node {
            Node::Channel(channel) => {
                (BoxKind::Input, channel_name(rig, channel), String::new(), About::Channel(channel))
            }
            Node::Bus(bus) => {
                let whom = rig.bus(bus).map_or(String::new(), |setting| plain(&setting.for_whom));
                (BoxKind::Bus, bus_name(bus), whom, About::Bus(bus))
            }
            Node::Thing(id, _) => {
                let thing = rig.thing(id);
                let kind = match thing.kind {
                    GearKind::Source(_) => BoxKind::Source,
                    kind if kind.role() != Role::Other => BoxKind::Ears,
                    _ => BoxKind::Amplifier,
                };
                (kind, plain(&thing.name), thing_kind(thing.kind).to_owned(), About::Thing(id))
            }
        };
        let found: Vec<_> = self.plan.checked.findings.iter().filter(|finding| finding.about == about).collect();
        let drawn = DrawnBox {
            kind,
            row: self.drawing.boxes.iter().filter(|other| other.kind == kind).count(),
            title,
            detail,
            verdict: found.iter().map(|finding| finding.weight).max().unwrap_or(Verdict::Fits),
            words: found.iter().map(|finding| finding_line(rig, finding)).collect(),
        };
        self.drawing.boxes.push(drawn);
        self.places.insert(node, self.drawing.boxes.len() - 1);
        self.drawing.boxes.len() - 1
    }

    fn wire(&self, wire: WireId) -> (Verdict, Vec<String>) {
        let checked = &self.plan.checked;
        let mut words = vec![wire_words(&self.plan.rig, wire)];
        words.extend(checked.judgements[wire.0].remarks.iter().map(|one| remark(*one)));
        for finding in checked.findings.iter().filter(|finding| finding.about == About::Wire(wire)) {
            let line = finding_line(&self.plan.rig, finding);
            if !words.contains(&line) {
                words.push(line);
            }
        }
        (checked.of_wire(wire), words)
    }
}
