//! `patch.csv`: one line a wire, both ends.
//!
//! `from` and `to` are names of the input list, the gear list, or circuits of the hall; `out` and `in` sockets of theirs.
//! Metres, mm². A lead that nobody describes is the usual one for its two sockets. Edge cases: an unknown name, a
//! socket that is no word here, two wires of one label are mistakes; a socket that the thing has not is for the check
//! to tell.

use super::sheet::{Heading, Row, Sheet, heading, needed};
use super::words::{self, BOXES, CABLES, Ends, INS, OUTS, PLUGS};
use crate::event::error::{Fault, Findings, Mistake, quote};
use crate::event::words::{nearest, plain};
use crate::plan::gear::{self, GearKind, InPort, OutPort};
use crate::plan::port::Plug;
use crate::plan::quantity::{Area, Metres};
use crate::plan::rig::{Thing, ThingId, Wired};
use crate::plan::sums::cable;
use crate::plan::wire::{Cable, InLine, Wire};

/// The least that is needed.
pub const EXAMPLE: &str = "wire,from,out,to,in,cable,length_m,through";

const HEADINGS: &[Heading] = &[
    heading("wire", &["label", "wire number", "no", "nr"]),
    needed("from", &["source"]),
    heading("out", &["output", "from socket"]),
    needed("to", &["destination"]),
    heading("in", &["input", "to socket"]),
    heading("cable", &["lead"]),
    heading("length_m", &["length", "metres", "m"]),
    heading("through", &["via", "box"]),
    heading("from_plug", &[]),
    heading("to_plug", &[]),
    heading("area_mm2", &["area", "mm2"]),
    heading("notes", &["note", "remarks"]),
];

/// A thing that a wire may name; it stands in the rig once a wire does.
pub struct Known {
    pub thing: Thing,
    /// Its place in the rig, once named.
    pub id: Option<ThingId>,
}

/// Everything that could be read, with every mistake. Named things are put into `things`.
/// Without a venue.toml nobody listed the hall's circuits (`circuits_are_listed`): what a mains lead begins at is one.
pub fn read(
    bytes: &[u8],
    circuits_are_listed: bool,
    known: &mut Vec<Known>,
    things: &mut Vec<Thing>,
    findings: &mut Findings,
) -> Vec<Wired> {
    let Some(sheet) = Sheet::of(bytes, HEADINGS, EXAMPLE, findings) else { return Vec::new() };
    let mut wires: Vec<Wired> = Vec::new();
    let mut labels: Vec<(String, usize)> = Vec::new();
    for (index, row) in sheet.rows().enumerate() {
        row.check(findings);
        let label = row.said(0).unwrap_or_else(|| (index + 1).to_string());
        if let Some((_, first)) = labels.iter().find(|(other, _)| other.eq_ignore_ascii_case(&label)) {
            row.mistake(0, Fault::SameName { name: quote(&label), first: *first }, findings);
        }
        labels.push((label.clone(), row.line));
        if !circuits_are_listed {
            take_for_a_circuit(&row, known);
        }
        wires.extend(wire(&row, label, known, things, findings));
    }
    wires
}

/// Names that another file would have told follow from what is wrong with that file: they are no mistakes of their own.
/// `missing`: the list that is not there at all, and its headings.
pub fn tell_the_cause(missing: Option<(&'static str, &'static str)>, findings: &mut Findings) {
    let follows = |mistake: &Mistake| matches!(&mistake.fault, Fault::UnknownThing { near: None, .. });
    let first = findings.mistakes.iter().find(|mistake| follows(mistake)).cloned();
    findings.mistakes.retain(|mistake| !follows(mistake));
    if let (Some(Mistake { at, fault: Fault::UnknownThing { stood, .. } }), Some((file, headings))) = (first, missing) {
        findings.mistake((at.line, at.column), &at.field, Fault::NoList { file, headings, stood });
    }
}

fn wire(
    row: &Row,
    label: String,
    known: &mut [Known],
    things: &mut Vec<Thing>,
    findings: &mut Findings,
) -> Option<Wired> {
    let from = named(row, 1, known, things, findings);
    let to = named(row, 3, known, things, findings);
    let out = words::out_port(&row.text(2));
    if out.is_none() {
        row.wrong(2, "a socket", OUTS, None, findings);
    }
    let input = words::in_port(&row.text(4));
    if input.is_none() {
        row.wrong(4, "a socket", INS, None, findings);
    }
    let (cable, ends) =
        row.word(5, "a cable", CABLES, findings).map_or((None, Ends::Open), |(cable, ends)| (Some(cable), ends));
    let length = row.number(6, "m", 0.1..=500.0, findings).map(Metres::new);
    let through = through(row, findings);
    let plugs = [8, 9].map(|column| row.word(column, "a plug", PLUGS, findings));
    let area = area(row, findings);
    let (from, to, mut out, mut input) = (from?, to?, out?, input?);
    if things[from.0].kind == GearKind::Circuit && out == OutPort::Own(None) {
        out = OutPort::Mains;
        if row.text(4).is_empty() {
            input = InPort::Power;
        }
    }
    let said = Said { cable, ends, length, through, plugs, area };
    let described = cable.is_some() && length.is_some();
    let wire = said.wire(&things[from.0], out, &things[to.0], input);
    Some(Wired { label, from: (from, out), to: (to, input), wire, described, notes: row.text(11) })
}

/// What a mains lead begins at, where nobody knows it.
fn take_for_a_circuit(row: &Row, known: &mut Vec<Known>) {
    let name = row.text(1);
    let is_known = known.iter().any(|known| plain(&known.thing.name) == plain(&name));
    if !is_known && !name.is_empty() && plain(&row.text(5)) == "mains cable" {
        let thing = Thing { name, kind: GearKind::Circuit, spec: <_>::default(), place: None };
        known.push(Known { thing, id: None });
    }
}

/// The thing of this name; at its first mention it enters the rig.
fn named(
    row: &Row,
    column: usize,
    known: &mut [Known],
    things: &mut Vec<Thing>,
    findings: &mut Findings,
) -> Option<ThingId> {
    let text = row.text(column);
    if text.is_empty() {
        row.mistake(column, Fault::Missing("the name of a thing"), findings);
        return None;
    }
    let written = plain(&text);
    let mut at = known.iter().position(|known| plain(&known.thing.name) == written);
    if at.is_none() && matches!(written.as_str(), "desk" | "mixer") {
        at = known.iter().position(|known| known.thing.kind.is_desk());
    }
    let Some(at) = at else {
        let names: Vec<(String, &String)> = known.iter().map(|one| (plain(&one.thing.name), &one.thing.name)).collect();
        let near = nearest(&text, names.iter().map(|(plain, name)| (plain.as_str(), (*name).clone())));
        row.mistake(column, Fault::UnknownThing { stood: quote(&text), near }, findings);
        return None;
    };
    let known = &mut known[at];
    Some(*known.id.get_or_insert_with(|| {
        things.push(known.thing.clone());
        ThingId(things.len() - 1)
    }))
}

/// In mm², or as a wire gauge: "16 AWG".
fn area(row: &Row, findings: &mut Findings) -> Option<Area> {
    let text = row.text(10).to_lowercase();
    match text.strip_suffix("awg").map(|gauge| gauge.trim().parse::<u8>()) {
        Some(Ok(gauge @ 6..=26)) => Some(cable::gauge_area(f64::from(gauge))),
        Some(_) => {
            row.wrong(10, "a wire gauge", "6 to 26 AWG, or mm²", None, findings);
            None
        }
        None => row.number(10, "mm2", 0.1..=50.0, findings).map(Area::new),
    }
}

fn through(row: &Row, findings: &mut Findings) -> Vec<InLine> {
    let text = row.text(7);
    let mut boxes = Vec::new();
    for part in text.split(['+', ';']).map(plain).filter(|part| !part.is_empty()) {
        match BOXES.iter().find(|(word, _)| *word == part) {
            Some((_, inline)) if boxes.len() < 8 => boxes.push(*inline),
            Some(_) => row.wrong(7, "a box in a wire", "at most eight boxes", None, findings),
            None => {
                let near = nearest(&part, BOXES.iter().map(|(word, _)| (*word, (*word).to_owned())));
                let expected = format!(
                    "one of: {}, several with +",
                    crate::event::words::list(BOXES.iter().map(|(word, _)| *word))
                );
                row.wrong(7, "a box in a wire", expected, near, findings);
            }
        }
    }
    boxes
}

/// What the line says of the lead.
struct Said {
    cable: Option<Cable>,
    ends: Ends,
    length: Option<Metres>,
    through: Vec<InLine>,
    plugs: [Option<Plug>; 2],
    area: Option<Area>,
}

impl Said {
    /// The lead: what was said, and the usual for what was not.
    fn wire(self, from: &Thing, out: OutPort, to: &Thing, input: InPort) -> Wire {
        let ports = (gear::output(from.kind, &from.spec, out), gear::input(to.kind, &to.spec, input));
        let mut wire = match &ports {
            (Some(out), Some(input)) => {
                let feeds = self.through.iter().fold(*out, |out, inline| inline.after(out));
                let usual = Wire::usual(&feeds, input);
                Wire { from_plug: out.socket.own_plug(), through: Vec::new(), ..usual }
            }
            // A socket that is not there: the check says so.
            _ => Wire {
                from_plug: Plug::Xlr,
                to_plug: Plug::Xlr,
                cable: Cable::Pair,
                length: Metres::new(5.0),
                through: Vec::new(),
            },
        };
        let to_socket = ports.1.map(|input| input.socket);
        if let Some(cable) = self.cable {
            wire.cable = match (cable, self.area) {
                (Cable::Speaker(_), Some(area)) => Cable::Speaker(area),
                _ => cable,
            };
            let [from_plug, to_plug] = self.ends.plugs([ports.0.map(|out| out.socket), to_socket]);
            wire.to_plug = to_plug.unwrap_or(wire.to_plug);
            // Before a box at the source stands a short lead of its own.
            let straight = !self.through.iter().any(|inline| inline.load().is_some());
            wire.from_plug = from_plug.filter(|_| straight).unwrap_or(wire.from_plug);
        } else if let (Cable::Speaker(_), Some(area)) = (wire.cable, self.area) {
            wire.cable = Cable::Speaker(area);
        }
        wire.length = self.length.unwrap_or(wire.length);
        wire.from_plug = self.plugs[0].unwrap_or(wire.from_plug);
        wire.to_plug = self.plugs[1].unwrap_or(wire.to_plug);
        Wire { through: self.through, ..wire }
    }
}
