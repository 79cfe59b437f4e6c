//! Is it all there: leads long enough, boxes, microphones, stands, channels, batteries.
//!
//! A lead of the list serves a wire that is no longer than it; the longest wires are served first, each by the
//! shortest lead that reaches. Metres, hours. Edge cases: leads without a length serve any wire, wires that nobody
//! described are served by any lead; without a gear list nothing is counted.

use std::collections::BTreeMap;

use super::checks::{About, Found, Trouble, Unknown};
use super::gear::{Gear, GearKind, InPort, LeadKind, OutPort, Role, StandKind};
use super::kind::OutKind;
use super::port::Plug;
use super::quantity::Metres;
use super::rig::{Bus, Rig, Wired};
use super::wire::{Cable, InLine};

/// A show may run over, and batteries age.
const BATTERY_RESERVE: f64 = 1.5;

/// Something that is missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shortage {
    pub what: Needed,
    pub count: u32,
    /// Of leads: the longest that is missing, where somebody said.
    pub length: Option<Metres>,
}

/// What can be missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Needed {
    Lead(LeadKind),
    Box(InLine),
    Mic(OutKind),
    Stand(StandKind),
    /// One set for each thing that runs on one.
    Battery,
}

pub(super) fn check(rig: &Rig, found: &mut Found) {
    desk_sizes(rig, found);
    batteries(rig, found);
    if rig.stock.is_none() {
        found.cannot_tell(Unknown::NoStock);
        return;
    }
    let none = |name: &str| rig.stock.iter().flatten().any(|gear| gear.name == name && gear.count == 0);
    for id in rig.ids().filter(|id| none(&rig.thing(*id).name)) {
        found.but(About::Thing(id), Trouble::NoneThere);
    }
    for shortage in shortages(rig) {
        found.but(About::Whole, Trouble::Short(shortage));
    }
}

/// Everything that the list has too few of.
pub fn shortages(rig: &Rig) -> Vec<Shortage> {
    let Some(stock) = &rig.stock else { return Vec::new() };
    let mut missing = Vec::new();
    for (kind, wanted) in leads(rig) {
        missing.extend(short_of_leads(kind, wanted, stock));
    }
    let short = |what: Needed, wanted: u32, has: u32| {
        (wanted > has).then(|| Shortage { what, count: wanted - has, length: None })
    };
    let has = |kind: GearKind| stock.iter().filter(|gear| gear.kind == kind).map(|gear| gear.count).sum();
    for inline in InLine::ALL {
        let wanted = rig.wires.iter().flat_map(|wired| &wired.wire.through).filter(|box_| **box_ == inline).count();
        // Part of another box, refused anyway, or made.
        let builtin =
            matches!(inline, InLine::GroundLift | InLine::EarthRemoved | InLine::UsbHub | InLine::ResistorSum);
        if !builtin {
            missing.extend(short(Needed::Box(inline), wanted as u32, has(GearKind::Box(inline))));
        }
    }
    let mut mics: Vec<OutKind> = Vec::new();
    for id in rig.ids() {
        let thing = rig.thing(id);
        let used = rig.wires.iter().any(|wired| wired.from.0 == id);
        if let (GearKind::Source(kind), true, true) = (thing.kind, thing.kind.is_mic(), used) {
            mics.push(kind);
        }
    }
    let mut kinds = mics.clone();
    kinds.sort_by_key(|kind| *kind as u8);
    kinds.dedup();
    for kind in kinds {
        let wanted = mics.iter().filter(|mic| **mic == kind).count();
        missing.extend(short(Needed::Mic(kind), wanted as u32, has(GearKind::Source(kind))));
    }
    for stand in [StandKind::Tall, StandKind::Short] {
        let wanted = rig.strips.iter().filter(|strip| stand_of(strip.stand.as_deref()) == Some(stand)).count();
        missing.extend(short(Needed::Stand(stand), wanted as u32, has(GearKind::Stand(stand))));
    }
    // Halls may have theirs on the wall, and radios their chargers: only counted where the list has such a line.
    let listed = |kind: GearKind| stock.iter().any(|gear| gear.kind == kind);
    let stand = GearKind::Stand(StandKind::Speaker);
    if listed(stand) {
        let hall = rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Hall).count();
        missing.extend(short(Needed::Stand(StandKind::Speaker), hall as u32, has(stand)));
    }
    if listed(GearKind::Battery) {
        missing.extend(short(Needed::Battery, on_batteries(rig), has(GearKind::Battery)));
    }
    missing
}

/// Radio microphones, microphones and boxes in use that run on a battery.
fn on_batteries(rig: &Rig) -> u32 {
    let is_fed = |kind: GearKind| kind.is_radio() || kind == GearKind::Source(OutKind::BatteryCondenserMic);
    let things =
        rig.ids().filter(|id| is_fed(rig.thing(*id).kind) && rig.wires.iter().any(|wired| wired.from.0 == *id));
    let boxes = rig.wires.iter().flat_map(|wired| &wired.wire.through).filter(|inline| **inline == InLine::BatteryDi);
    (things.count() + boxes.count()) as u32
}

/// The kind of stand that a cell of the input list means; clips and hands need none.
pub fn stand_of(words: Option<&str>) -> Option<StandKind> {
    let words = words?.to_lowercase();
    let any = |all: &[&str]| all.iter().any(|word| words.contains(word));
    if any(&["short", "low", "small"]) {
        Some(StandKind::Short)
    } else if any(&["tall", "boom", "straight", "stand"]) {
        Some(StandKind::Tall)
    } else {
        None
    }
}

/// The kind of lead that a wire is made with.
pub fn lead_of(wired: &Wired) -> LeadKind {
    let plug = |plug: Plug| wired.wire.from_plug == plug || wired.wire.to_plug == plug;
    match wired.wire.cable {
        Cable::Split => LeadKind::Split,
        Cable::InsertY | Cable::ReturnWired => LeadKind::Insert,
        Cable::Speaker(_) => LeadKind::Speaker,
        Cable::Usb => LeadKind::Usb,
        Cable::Network => LeadKind::Network,
        Cable::Mains => LeadKind::Mains,
        Cable::Pair if plug(Plug::Trs) && plug(Plug::Xlr) => LeadKind::XlrJack,
        Cable::Pair if plug(Plug::Trs) => LeadKind::BalancedJack,
        Cable::Pair => LeadKind::Mic,
        Cable::Single if plug(Plug::Rca) => LeadKind::Rca,
        Cable::Single if plug(Plug::Mini) => LeadKind::Mini,
        Cable::Single => LeadKind::Instrument,
    }
}

/// The wires' lengths by kind of lead; two legs of one split are one lead.
fn leads(rig: &Rig) -> BTreeMap<LeadKind, Vec<Option<Metres>>> {
    let mut wanted: BTreeMap<LeadKind, Vec<Option<Metres>>> = BTreeMap::new();
    let mut splits = Vec::new();
    for wired in &rig.wires {
        let kind = lead_of(wired);
        if kind == LeadKind::Split {
            let socket = (wired.from.0, std::mem::discriminant(&wired.from.1));
            if splits.contains(&socket) {
                continue;
            }
            splits.push(socket);
        }
        let length = wired.described.then_some(wired.wire.length);
        // A box at the source needs a short lead before the long one.
        if wired.wire.through.iter().any(|inline| inline.load().is_some()) && wired.wire.from_plug == Plug::Ts {
            wanted.entry(LeadKind::Instrument).or_default().push(None);
        }
        wanted.entry(kind).or_default().push(length);
    }
    wanted
}

fn short_of_leads(kind: LeadKind, mut wanted: Vec<Option<Metres>>, stock: &[Gear]) -> Option<Shortage> {
    let mut has: Vec<Option<f64>> = stock
        .iter()
        .filter(|gear| gear.kind == GearKind::Lead(kind))
        .flat_map(|gear| std::iter::repeat_n(gear.spec.length.map(Metres::get), gear.count.min(1000) as usize))
        .collect();
    has.sort_by(|a, b| a.unwrap_or(f64::INFINITY).total_cmp(&b.unwrap_or(f64::INFINITY)));
    wanted.sort_by(|a, b| b.map_or(0.0, Metres::get).total_cmp(&a.map_or(0.0, Metres::get)));
    let mut short = Shortage { what: Needed::Lead(kind), count: 0, length: None };
    for length in wanted {
        let reaches = |lead: &Option<f64>| lead.is_none_or(|lead| lead >= length.map_or(0.0, Metres::get));
        match has.iter().position(reaches) {
            Some(at) => {
                has.remove(at);
            }
            None => {
                short.count += 1;
                short.length = short.length.or(length);
            }
        }
    }
    (short.count > 0).then_some(short)
}

fn desk_sizes(rig: &Rig, found: &mut Found) {
    let Some(desk) = rig.desk() else { return };
    let spec = &rig.thing(desk).spec;
    let channels = rig.into_thing(desk).filter_map(|wired| wired.to.1.channel()).max().unwrap_or(0);
    if let Some(has) = spec.channels.filter(|has| channels > *has) {
        found.never(About::Thing(desk), Trouble::TooManyChannels { used: channels, has });
    }
    let mics = rig.into_thing(desk).filter_map(|wired| match wired.to.1 {
        InPort::Mic(n) => Some(n),
        _ => None,
    });
    if let (Some(used), Some(has)) = (mics.max(), spec.mic_inputs)
        && used > has
        && spec.channels.is_none_or(|channels| used <= channels)
    {
        found.never(About::Thing(desk), Trouble::TooManyChannels { used, has });
    }
    let sends = rig.strips.iter().flat_map(|strip| strip.sends.iter().map(|(aux, _)| *aux));
    let outs = rig.wires.iter().filter(|wired| wired.from.0 == desk).filter_map(|wired| match wired.from.1 {
        OutPort::Aux(n) => Some(n),
        _ => None,
    });
    let named = rig.buses.iter().filter_map(|setting| match setting.bus {
        Bus::Aux(n) => Some(n),
        _ => None,
    });
    let auxes = sends.chain(outs).chain(named).max().unwrap_or(0);
    if let Some(has) = spec.auxes.filter(|has| auxes > *has) {
        found.never(About::Thing(desk), Trouble::TooManyAuxes { used: auxes, has });
    }
}

fn batteries(rig: &Rig, found: &mut Found) {
    let Some(show) = rig.show_hours else { return };
    let needed = show * BATTERY_RESERVE;
    for id in rig.ids() {
        let thing = rig.thing(id);
        let used = rig.wires.iter().any(|wired| wired.from.0 == id);
        if let Some(hours) = thing.spec.battery_hours.filter(|hours| used && *hours < needed) {
            found.but(About::Thing(id), Trouble::BatteryTooShort { hours, needed });
        }
    }
}
