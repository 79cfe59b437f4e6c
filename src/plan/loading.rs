//! Amplifiers and what hangs on them: total load, power, and the circuits that feed everything.
//!
//! Ohms, watts, amperes. Every loudspeaker that an output reaches, through link sockets too, is in parallel with the
//! rest. An amplifier of one to two times the loudspeakers' continuous rating is right (common practice). Edge
//! cases: loudspeakers linked in a ring are counted once; what has no numbers is not judged.

use super::checks::{About, Found, Trouble, Unknown};
use super::gear::{GearKind, InPort, OutPort};
use super::port::Takes;
use super::quantity::{Amperes, Ohms, Volts, Watts};
use super::rig::{Circuit, Rig, Thing, ThingId};
use super::sums::{cable, loads, mains};
use super::wire::Cable;

/// Where an amplifier does not say what it bears.
const USUAL_LEAST: Ohms = Ohms::new(4.0);
/// Of an amplifier's source impedance, for the damping.
const OUTPUT_IMPEDANCE: Ohms = Ohms::new(0.05);
/// Where a line's amplifier does not say.
const USUAL_LINE: Volts = Volts::new(100.0);
/// Of a line amplifier's power, for its taps (common practice).
const LINE_SHARE: f64 = 0.8;
/// Share of the rated power that music takes on average.
const AVERAGE: f64 = 1.0 / 3.0;

pub(super) fn check(rig: &Rig, found: &mut Found) {
    for id in rig.ids() {
        let kind = rig.thing(id).kind;
        if matches!(kind, GearKind::Amplifier | GearKind::PoweredMixer) {
            for output in 1..=4 {
                amplifier(rig, id, output, found);
            }
        }
    }
    for id in rig.ids().filter(|id| rig.thing(*id).kind == GearKind::LineAmplifier) {
        for output in 1..=4 {
            line(rig, id, output, found);
        }
    }
    circuits(rig, found);
    unpowered(rig, found);
}

/// Where mains leads are planned at all, each thing that wants one has one.
fn unpowered(rig: &Rig, found: &mut Found) {
    let has_power = |id: ThingId| rig.into_thing(id).any(|wired| wired.to.1 == InPort::Power);
    if !rig.ids().any(has_power) {
        return;
    }
    // Laptops, receivers and recorders run on what is theirs.
    let wants = |kind: GearKind| {
        kind.is_desk() || kind.is_active_speaker() || matches!(kind, GearKind::Amplifier | GearKind::LineAmplifier)
    };
    for id in rig.ids().filter(|id| wants(rig.thing(*id).kind) && !has_power(*id)) {
        found.but(About::Thing(id), Trouble::NoPower);
    }
}

/// Taps on a constant-voltage line against what its amplifier gives.
fn line(rig: &Rig, id: ThingId, output: u8, found: &mut Found) {
    let mut speakers = driven(rig, id, output);
    speakers.retain(|speaker| rig.thing(*speaker).kind == GearKind::LineSpeaker);
    let taps: Option<Vec<Watts>> = speakers.iter().map(|speaker| rig.thing(*speaker).spec.watts).collect();
    let spec = &rig.thing(id).spec;
    let Some(taps) = taps.filter(|taps| !taps.is_empty()) else { return };
    found.show(About::Thing(id), loads::on_line(spec.line_volts.unwrap_or(USUAL_LINE), &taps));
    let total: f64 = taps.iter().map(|tap| tap.get()).sum();
    if let Some(amplifier) = spec.watts.filter(|amplifier| total > amplifier.get()) {
        found.never(About::Thing(id), Trouble::LineOverloaded { taps: Watts::new(total), amplifier });
    } else if let Some(amplifier) = spec.watts.filter(|amplifier| total > LINE_SHARE * amplifier.get()) {
        found.but(About::Thing(id), Trouble::LineOverloaded { taps: Watts::new(total), amplifier });
    }
}

/// The loudspeakers that an output drives.
pub fn driven(rig: &Rig, id: ThingId, output: u8) -> Vec<ThingId> {
    linked(rig, (id, OutPort::Speaker(output)), Vec::new())
}

/// What a lead to this loudspeaker carries: itself, and what its link socket passes on to.
pub fn beyond(rig: &Rig, speaker: ThingId) -> Ohms {
    let all = linked(rig, (speaker, OutPort::Link), vec![speaker]);
    loads::parallel(all.iter().map(|id| ohms_of(rig.thing(*id))))
}

fn linked(rig: &Rig, from: (ThingId, OutPort), mut speakers: Vec<ThingId>) -> Vec<ThingId> {
    let mut ports = vec![from];
    while let Some(port) = ports.pop() {
        for wired in rig.wires.iter().filter(|wired| wired.from == port && wired.to.1 == InPort::In(1)) {
            let kind = rig.thing(wired.to.0).kind;
            let passive = kind.is_passive_speaker() || kind == GearKind::LineSpeaker;
            if passive && !speakers.contains(&wired.to.0) {
                speakers.push(wired.to.0);
                ports.push((wired.to.0, OutPort::Link));
            }
        }
    }
    speakers
}

/// What a loudspeaker loads with.
pub fn ohms_of(thing: &Thing) -> Ohms {
    match super::gear::input(thing.kind, &thing.spec, InPort::In(1)).map(|input| input.takes) {
        Some(Takes::Speaker(ohms)) => ohms,
        _ => Ohms::new(8.0),
    }
}

/// How many of these loudspeakers an amplifier bears, the highest impedances first.
fn most_on(speakers: &[Ohms], least: Ohms) -> usize {
    let mut highest = speakers.to_vec();
    highest.sort_by(|a, b| b.get().total_cmp(&a.get()));
    let bears = |count: &usize| loads::parallel(highest[..*count].iter().copied()).get() >= 0.99 * least.get();
    (1..=highest.len()).take_while(bears).count()
}

fn amplifier(rig: &Rig, id: ThingId, output: u8, found: &mut Found) {
    let speakers = driven(rig, id, output);
    if speakers.is_empty() {
        return;
    }
    let spec = &rig.thing(id).spec;
    let all: Vec<Ohms> = speakers.iter().map(|speaker| ohms_of(rig.thing(*speaker))).collect();
    let least = spec.least_ohms.unwrap_or(USUAL_LEAST);
    let worked = loads::on_amplifier(&all, least);
    // A rounding of the nominal value is no lower load.
    if worked.value() < least.get() * 0.99 {
        found.never(
            About::Thing(id),
            Trouble::LoadTooLow { total: Ohms::new(worked.value()), least, bears: most_on(&all, least) },
        );
    }
    found.show(About::Thing(id), worked);
    let rated: Option<f64> =
        speakers.iter().map(|speaker| rig.thing(*speaker).spec.watts.map(Watts::get)).sum::<Option<f64>>();
    // The watts of a loudspeaker for a line are its tap's, at the line's voltage.
    let on_a_line = speakers.iter().any(|speaker| rig.thing(*speaker).kind == GearKind::LineSpeaker);
    if let (Some(amplifier), Some(rated), false) = (spec.watts, rated, on_a_line) {
        let speakers = Watts::new(rated);
        if amplifier.get() > 2.0 * rated {
            found.but(About::Thing(id), Trouble::AmplifierTooStrong { amplifier, speakers });
        } else if amplifier.get() < 0.5 * rated {
            found.but(About::Thing(id), Trouble::AmplifierTooWeak { amplifier, speakers });
        }
    }
    for wired in rig.wires.iter().filter(|wired| wired.from == (id, OutPort::Speaker(output))) {
        if let Cable::Speaker(area) = wired.wire.cable {
            let load = beyond(rig, wired.to.0);
            found.show(About::Thing(wired.to.0), cable::speaker_lead(wired.wire.length, area, load));
            let damping = cable::damping_shown(wired.wire.length, area, load, OUTPUT_IMPEDANCE);
            found.show(About::Thing(wired.to.0), damping);
        }
    }
}

/// The circuit that a thing of the rig is, in the venue's notes.
pub fn circuit_of(rig: &Rig, id: ThingId) -> Option<&Circuit> {
    let name = &rig.thing(id).name;
    rig.venue.as_ref()?.circuits.iter().find(|circuit| circuit.name.eq_ignore_ascii_case(name))
}

/// What hangs on a circuit, each with the power that it takes on average.
pub fn on_circuit(rig: &Rig, circuit: ThingId) -> Vec<(ThingId, Option<Watts>)> {
    let fed = rig.wires.iter().filter(|wired| wired.from == (circuit, OutPort::Mains)).map(|wired| wired.to.0);
    fed.map(|id| (id, average_draw(rig.thing(id)))).collect()
}

fn average_draw(thing: &Thing) -> Option<Watts> {
    let amplifies = matches!(
        thing.kind,
        GearKind::Amplifier
            | GearKind::LineAmplifier
            | GearKind::PoweredMixer
            | GearKind::ActiveSpeaker
            | GearKind::ActiveMonitor
    );
    let share = if amplifies { AVERAGE } else { 1.0 };
    thing.spec.draw.map(|draw| Watts::new(draw.get() * share))
}

fn circuits(rig: &Rig, found: &mut Found) {
    let circuits: Vec<ThingId> = rig.ids().filter(|id| rig.thing(*id).kind == GearKind::Circuit).collect();
    if !rig.wires.is_empty() && !circuits.iter().any(|id| !on_circuit(rig, *id).is_empty()) {
        found.cannot_tell(Unknown::NoCircuits);
    }
    for id in circuits {
        let load = on_circuit(rig, id);
        let Some(circuit) = circuit_of(rig, id).filter(|_| !load.is_empty()) else { continue };
        if !circuit.shared_with.is_empty() {
            found.never(About::Thing(id), Trouble::CircuitShared);
        }
        let (Some(volts), Some(breaker)) = (circuit.volts, circuit.breaker) else { continue };
        let total: f64 = load.iter().filter_map(|(_, draw)| draw.map(Watts::get)).sum();
        let worked = mains::current(Watts::new(total), volts, mains::POWER_FACTOR, breaker);
        let most = Amperes::new(breaker.get() * mains::CONTINUOUS);
        if worked.value() > most.get() {
            found.never(About::Thing(id), Trouble::CircuitTooWeak { current: Amperes::new(worked.value()), most });
        }
        found.show(About::Thing(id), worked);
    }
}
