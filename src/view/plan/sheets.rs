//! The sheets that are printed: a title, columns, rows of text, and the cautions that belong to them.
//!
//! Whoever writes pages or CSV takes them as they are. Empty boxes to tick are "☐". Edge cases: an empty rig gives
//! sheets with headings and no rows.

use super::Plan;
use super::cautions::Caution;
use super::findings::{bus_name, channel_name, short_of, verdict_word};
use super::names::{boxed, end, in_name, lead, lead_of, plug, thing_kind};
use super::reasons::remark;
use super::seating::{self, LEGEND};
use crate::plan::counts;
use crate::plan::gear::{GearKind, OutPort, Role};
use crate::plan::loading;
use crate::plan::quantity::{Metres, Watts};
use crate::plan::rig::{Bus, Strip, Tap, WireId, Wired};
use crate::plan::routing::Node;
use crate::plan::sums::{Sum, Worked};
use crate::plan::verdict::{Reason, Remark, Verdict};
use crate::plan::wire::InLine;
use crate::view::lengths::cell;
use crate::view::words::plain;

/// Which sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PageKind {
    Inputs,
    Patch,
    Stage,
    Monitors,
    Power,
    Shortages,
    Hall,
    Strike,
}

impl PageKind {
    pub const ALL: [Self; 8] = [
        Self::Inputs,
        Self::Stage,
        Self::Patch,
        Self::Monitors,
        Self::Power,
        Self::Hall,
        Self::Shortages,
        Self::Strike,
    ];

    /// For file names.
    pub const fn slug(self) -> &'static str {
        match self {
            Self::Inputs => "input-list",
            Self::Patch => "patch-sheet",
            Self::Stage => "stage-plot",
            Self::Monitors => "monitor-list",
            Self::Power => "power-sheet",
            Self::Shortages => "shortage-list",
            Self::Hall => "hall",
            Self::Strike => "strike-list",
        }
    }

    pub const fn title(self) -> &'static str {
        match self {
            Self::Inputs => "Input list",
            Self::Patch => "Patch sheet",
            Self::Stage => "Stage plot",
            Self::Monitors => "Monitor list",
            Self::Power => "Power sheet",
            Self::Shortages => "Shortage list",
            Self::Hall => "What the seats hear",
            Self::Strike => "Strike list",
        }
    }
}

/// One sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    pub kind: PageKind,
    pub event: String,
    /// Lines above the table.
    pub notes: Vec<String>,
    pub columns: Vec<&'static str>,
    pub rows: Vec<Vec<String>>,
    pub cautions: Vec<Caution>,
}

const TICK: &str = "☐";

/// Every sheet, in the order of the day.
pub fn pages(plan: &Plan) -> Vec<Page> {
    PageKind::ALL.into_iter().map(|kind| page(plan, kind)).collect()
}

fn page(plan: &Plan, kind: PageKind) -> Page {
    let (notes, columns, rows, cautions) = match kind {
        PageKind::Inputs => inputs(plan),
        PageKind::Patch => patch(plan),
        PageKind::Stage => stage(plan),
        PageKind::Monitors => monitors(plan),
        PageKind::Power => power(plan),
        PageKind::Shortages => shortages(plan),
        PageKind::Hall => hall(plan),
        PageKind::Strike => strike(plan),
    };
    Page { kind, event: plain(&plan.rig.name), notes, columns, rows, cautions }
}

type Parts = (Vec<String>, Vec<&'static str>, Vec<Vec<String>>, Vec<Caution>);

fn inputs(plan: &Plan) -> Parts {
    let rows = plan.rig.strips.iter().map(|strip| {
        let channel = strip.channel.number() as u8;
        let source = plan.rig.source_of(channel);
        vec![
            channel.to_string(),
            plain(&strip.name),
            source.map_or_else(|| "–".into(), |(thing, _)| thing_kind(thing.kind).to_owned()),
            source.map_or_else(|| "–".into(), |(_, wired)| into(wired)),
            strip.person.as_deref().map(plain).unwrap_or_default(),
            on_off(strip.phantom),
            strip.stand.as_deref().map(plain).unwrap_or_default(),
            goes_to(strip),
            start_gain(plan, channel),
        ]
    });
    let columns = vec!["Ch", "Name", "Source", "Into", "Who", "+48", "Stand", "Goes to", "Gain from"];
    (Vec::new(), columns, rows.collect(), vec![Caution::Phantom])
}

/// "mic 7, passive DI": the socket, and the boxes on the way.
fn into(wired: &Wired) -> String {
    let boxes = wired.wire.through.iter().map(|inline| boxed(*inline).to_owned());
    std::iter::once(in_name(wired.to.1)).chain(boxes).collect::<Vec<_>>().join(", ")
}

fn on_off(on: Option<bool>) -> String {
    match on {
        Some(true) => "ON".into(),
        Some(false) => "off".into(),
        None => String::new(),
    }
}

fn goes_to(strip: &Strip) -> String {
    let side = match strip.pan {
        pan if pan <= -0.95 => " L",
        pan if pan >= 0.95 => " R",
        _ => "",
    };
    let main = strip.to_main.then(|| format!("main{side}"));
    let groups = strip.groups.iter().map(|group| format!("group {group}"));
    let sends = strip.sends.iter().map(|(aux, tap)| format!("aux {aux} {}", tap_word(*tap)));
    let all: Vec<String> = main.into_iter().chain(groups).chain(sends).collect();
    let never = if strip.cue.is_some() { "; NEVER in the hall" } else { "" };
    if all.is_empty() { format!("–{never}") } else { format!("{}{never}", all.join(", ")) }
}

const fn tap_word(tap: Tap) -> &'static str {
    match tap {
        Tap::BeforeFader => "pre",
        Tap::AfterFader => "post",
    }
}

fn start_gain(plan: &Plan, channel: u8) -> String {
    let about = crate::plan::checks::About::Channel(channel);
    let mut of_channel =
        plan.checked.worked.iter().filter(|(what, worked)| *what == about && worked.sum == Sum::StartGain);
    of_channel.next().map_or(String::new(), |(_, worked)| format!("{:.0} dB", worked.value()))
}

fn patch(plan: &Plan) -> Parts {
    // Mains leads stand on the power sheet.
    let wires = plan.rig.wires.iter().enumerate().filter(|(_, wired)| wired.from.1 != OutPort::Mains);
    let rows = wires.map(|(index, wired)| {
        vec![
            TICK.to_owned(),
            plain(&wired.label),
            format!("{} ({})", end(&plan.rig, wired.from), plug(wired.wire.from_plug)),
            format!("{} ({})", end(&plan.rig, wired.to), plug(wired.wire.to_plug)),
            lead_of(wired),
            remember(plan, WireId(index)),
            TICK.to_owned(),
        ]
    });
    let notes =
        vec!["Left box: plugged at both ends. Right box: heard in the line check. Loudspeakers stay OFF.".into()];
    let columns = vec!["In", "Wire", "From (plug)", "To (plug)", "Lead", "Remember", "Heard"];
    let cautions = vec![Caution::PowerOrder, Caution::Phantom, Caution::Tingle];
    (notes, columns, rows.collect(), cautions)
}

/// The verdict where it is not *fits*, what to do, and what somebody wrote.
fn remember(plan: &Plan, id: WireId) -> String {
    let wired = &plan.rig.wires[id.0];
    let verdict = plan.checked.of_wire(id);
    let judgement = &plan.checked.judgements[id.0];
    let mut words: Vec<String> = Vec::new();
    if verdict == Verdict::Never {
        words.push("NEVER: do not plug".to_uppercase());
    } else if verdict == Verdict::WorksBut {
        words.push(verdict_word(verdict).to_owned());
    }
    words.extend(judgement.switch.map(|kind| format!("switch: {}", super::names::mode(kind))));
    words.extend(judgement.remarks.first().and_then(briefly));
    if !wired.notes.is_empty() {
        words.push(plain(&wired.notes));
    }
    words.join("; ")
}

/// A remark as short as a cell; what is only good to know stays off the sheet.
fn briefly(one: &Remark) -> Option<String> {
    match (one.weight, one.reason) {
        (Verdict::Fits, Reason::PhantomOn) => Some("switch +48 V on, after plugging".into()),
        (Verdict::Fits, Reason::PhantomHarms) => Some("phantom OFF: +48 V harms it".into()),
        (Verdict::Fits, Reason::LooksLikeInstrumentLead | Reason::AudioLiftOnly | Reason::LevelByKnob) => {
            Some(remark(*one))
        }
        (Verdict::Fits, _) => None,
        _ => Some(remark(*one)),
    }
}

fn stage(plan: &Plan) -> Parts {
    let plot = super::stage_plot(plan);
    let rows = plot.tokens.iter().map(|token| {
        vec![token.mark.clone(), token.label.clone(), tenths(token.at.0), tenths(token.at.1), token.detail.clone()]
    });
    let told = [("In the hall", &plot.in_the_hall), ("No place given", &plot.without_place)];
    let told = told.into_iter().filter(|(_, things)| !things.is_empty());
    let notes = told.map(|(what, things)| format!("{what}: {}", things.join(", "))).collect();
    let columns = vec!["Mark", "What", "Right of middle, m", "From the front edge, m", "Stand"];
    (notes, columns, rows.collect(), vec![Caution::Rigging])
}

fn hall(plan: &Plan) -> Parts {
    let columns = vec!["Seat", "Understood", "Measured"];
    (vec![LEGEND.into()], columns, seating::rows(plan), Vec::new())
}

/// Of a metre.
fn tenths(metres: f64) -> String {
    cell(&format!("{metres:.1}"), Metres::new(metres))
}

fn monitors(plan: &Plan) -> Parts {
    let rig = &plan.rig;
    let mut buses: Vec<Bus> =
        rig.strips.iter().flat_map(|strip| strip.sends.iter().map(|(aux, _)| Bus::Aux(*aux))).collect();
    buses.extend(rig.buses.iter().map(|setting| setting.bus).filter(|bus| matches!(bus, Bus::Aux(_))));
    buses.sort();
    buses.dedup();
    let rows = buses.into_iter().map(|bus| {
        let hears = rig.strips.iter().flat_map(|strip| {
            let send = strip.sends.iter().find(|(aux, _)| Bus::Aux(*aux) == bus);
            send.map(|(_, tap)| format!("{} ({})", channel_name(rig, strip.channel.number() as u8), tap_word(*tap)))
        });
        let reached = plan.checked.paths.dry(rig, Node::Bus(bus));
        let goes = reached.iter().filter_map(|node| match node {
            Node::Thing(id, _) if rig.thing(*id).kind.role() != Role::Other => Some(plain(&rig.thing(*id).name)),
            _ => None,
        });
        let goes: Vec<String> = goes.collect();
        vec![
            bus_name(bus),
            rig.bus(bus).map_or(String::new(), |setting| plain(&setting.for_whom)),
            goes.join(", "),
            hears.collect::<Vec<_>>().join(", "),
            TICK.to_owned(),
        ]
    });
    let columns = vec!["Bus", "For whom", "Loudspeaker", "Hears", "Set"];
    let notes =
        vec!["Only what somebody needs: less in a monitor rings later. A choir hears the piano, not itself.".into()];
    (notes, columns, rows.collect(), vec![Caution::Hearing])
}

fn power(plan: &Plan) -> Parts {
    let rig = &plan.rig;
    let mut rows = Vec::new();
    let mut fed = Vec::new();
    for id in rig.ids().filter(|id| rig.thing(*id).kind == GearKind::Circuit) {
        let circuit = loading::circuit_of(rig, id);
        let breaker =
            circuit.and_then(|circuit| circuit.breaker).map_or(String::new(), |amps| format!("{} A", amps.get()));
        for (thing, draw) in loading::on_circuit(rig, id) {
            fed.push(thing);
            rows.push(vec![
                plain(&rig.thing(id).name),
                breaker.clone(),
                plain(&rig.thing(thing).name),
                draw.map_or_else(|| "not known".into(), |draw| format!("{:.0} W", draw.get())),
                TICK.to_owned(),
            ]);
        }
        let about = crate::plan::checks::About::Thing(id);
        let sum = plan.checked.worked.iter().find(|(what, worked)| *what == about && worked.sum == Sum::Current);
        if let Some((_, worked)) = sum {
            rows.push(total(plan, id, worked));
        }
    }
    let unfed: Vec<String> = rig
        .ids()
        .filter(|id| {
            let kind = rig.thing(*id).kind;
            kind.is_mains_powered() && !matches!(kind, GearKind::Source(_)) && !fed.contains(id)
        })
        .map(|id| plain(&rig.thing(id).name))
        .collect();
    let notes = if unfed.is_empty() { Vec::new() } else { vec![format!("On no circuit yet: {}", unfed.join(", "))] };
    let columns = vec!["Circuit", "Breaker", "Thing", "Takes on average", "Plugged"];
    (notes, columns, rows, vec![Caution::Electric, Caution::Tingle, Caution::PowerOrder])
}

fn total(plan: &Plan, id: crate::plan::rig::ThingId, worked: &Worked) -> Vec<String> {
    let watts: f64 = loading::on_circuit(&plan.rig, id).iter().filter_map(|(_, draw)| draw.map(Watts::get)).sum();
    vec![
        plain(&plan.rig.thing(id).name),
        String::new(),
        "together".into(),
        format!("{watts:.0} W, {:.1} A", worked.value()),
        String::new(),
    ]
}

fn shortages(plan: &Plan) -> Parts {
    let missing = counts::shortages(&plan.rig);
    let rows = missing.iter().map(|short| vec![TICK.to_owned(), short_of(short), String::new()]).collect();
    let notes = match (&plan.rig.stock, missing.is_empty()) {
        (None, _) => vec!["No gear list: nothing could be counted.".into()],
        (Some(_), true) => vec!["Everything on the plan is on the gear list.".into()],
        (Some(_), false) => vec!["Borrow in time.".into()],
    };
    (notes, vec!["Got", "Missing", "From whom"], rows, Vec::new())
}

fn strike(plan: &Plan) -> Parts {
    let mut wires: Vec<_> = plan.rig.wires.iter().collect();
    wires.reverse();
    // Power leads last: first everything is switched off, loudspeakers before the desk.
    wires.sort_by_key(|wired| matches!(wired.from.1, OutPort::Mains));
    let rows = wires.into_iter().map(|wired| {
        vec![TICK.to_owned(), plain(&wired.label), end(&plan.rig, wired.to), end(&plan.rig, wired.from), lead_of(wired)]
    });
    let mut leads: std::collections::BTreeMap<&str, usize> = <_>::default();
    for wired in &plan.rig.wires {
        *leads.entry(lead(counts::lead_of(wired))).or_default() += 1;
        // A switch on a box is no box.
        for inline in
            wired.wire.through.iter().filter(|inline| !matches!(inline, InLine::GroundLift | InLine::EarthRemoved))
        {
            *leads.entry(boxed(*inline)).or_default() += 1;
        }
    }
    let counted: Vec<String> = leads.into_iter().map(|(lead, count)| format!("{count} × {lead}")).collect();
    let notes = vec![
        "Faders down, +48 V off, loudspeakers off first, desk last. Then unplug in this order.".into(),
        format!("Into the crate: {}. A lead that crackled gets a knot.", counted.join(", ")),
    ];
    let columns = vec!["Out", "Wire", "Unplug at", "Then at", "Lead"];
    (notes, columns, rows.collect(), vec![Caution::PowerOrder, Caution::Rigging])
}
