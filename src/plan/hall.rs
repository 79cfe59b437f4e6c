//! Loud enough at the last row, without ringing: levels at the seats, gain before feedback, delays, spacing.
//!
//! Metres, dB re 20 µPa, ms. A loudspeaker's average on music stands 12 dB under the peak that its maker prints (crest
//! factor, common practice). Edge cases: what has no place is not computed, and it is said what is missing.

use super::checks::{About, Found, Trouble, Unknown};
use super::gear::{self, GearKind, OutPort, Role};
use super::kind::OutKind;
use super::loading;
use super::port::{Carries, Drive, Input, ModeKind, Output};
use super::quantity::{Metres, Watts};
use super::rig::{Place, Rig, Strip, ThingId, Venue, WireId, Wired};
use super::routing::{Node, Paths, with_role};
use super::signals;
use super::sums::feedback::{self, Cure, Geometry};
use super::sums::{Assumption, Quantity, Worked, air, exposure, levels, room, seats, time};
use crate::units::{Db, Dbu, Seconds, SourceKind, Spl};

/// Of music, under its peaks.
const CREST: f64 = 12.0;
/// Of a loudspeaker that covers an audience.
const DIRECTIVITY: f64 = 5.0;
/// Where nobody gave the figure.
const USUAL_MAX_DB: f64 = 120.0;
const USUAL_SENSITIVITY: f64 = 95.0;
const USUAL_WATTS: Watts = Watts::new(100.0);
/// This far in front of the stage a loudspeaker is a second one, and needs a delay.
const SECOND_ROW: f64 = 5.0;
/// Spill that does no harm: microphones three times as far apart as from their sources.
const WANTED_SPACING: f64 = 3.0;
/// Where the desk wants a source.
const DESK_LEVEL: Dbu = Dbu::new(0.0);
/// Under this the shortfall is a rounding.
const RING_SLACK: Db = Db::new(0.5);

/// What was computed of the hall.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Loudness {
    /// For each seat of the venue: level at full power and what is needed.
    pub seats: Vec<SeatLevel>,
    /// For each microphone channel.
    pub gains: Vec<GainBeforeFeedback>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeatLevel {
    pub seat: usize,
    pub level: Spl,
    pub needed: Option<Spl>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct GainBeforeFeedback {
    pub channel: u8,
    pub potential: Db,
    pub needed: Db,
    /// The most helpful first.
    pub cures: Vec<(Cure, Db)>,
}

pub(super) fn check(rig: &Rig, paths: &Paths, found: &mut Found) -> Loudness {
    let mut loudness = Loudness::default();
    start_gains(rig, found);
    later_stages(rig, found);
    spacing(rig, found);
    let Some(venue) = &rig.venue else {
        found.cannot_tell(Unknown::NoVenue);
        return loudness;
    };
    let speakers: Vec<(ThingId, Place)> = rig
        .ids()
        .filter(|id| rig.thing(*id).kind.role() == Role::Hall && rig.into_thing(*id).next().is_some())
        .filter_map(|id| Some((id, rig.thing(id).place?)))
        .collect();
    if venue.seats.is_empty() {
        found.cannot_tell(Unknown::NoSeats);
        return loudness;
    }
    if speakers.is_empty() {
        if rig.wires.is_empty() {
            return loudness;
        }
        found.cannot_tell(Unknown::NoSpeakerPlaces);
        return loudness;
    }
    let heard = |id: &ThingId| matches!(rig.thing(*id).kind.role(), Role::Hall | Role::Monitor);
    for id in rig.ids().filter(|id| heard(id) && rig.thing(*id).place.is_none() && rig.into_thing(*id).next().is_some())
    {
        found.cannot_tell(Unknown::NoPlaceOf(id));
    }
    let critical = match (venue.volume(), reverb_of(venue, found)) {
        (Some(volume), Some(reverb)) => Some(critical(volume, reverb, found)),
        _ => {
            found.cannot_tell(Unknown::NoRoom);
            None
        }
    };
    delays(venue.celsius.unwrap_or(20.0), &speakers, found);
    for (index, seat) in venue.seats.iter().enumerate() {
        let parts: Vec<Worked> = speakers
            .iter()
            .map(|(id, place)| seats::seat(at_one_metre(rig, *id), place.distance(seat.place), critical))
            .collect();
        let level = seats::incoherent_sum(parts.iter().map(|part| Spl::new(part.value())));
        for (part, (id, _)) in parts.into_iter().zip(&speakers) {
            found.show(About::Thing(*id), part);
        }
        let over_noise = venue.noise.map(|noise| seats::needed(noise, over_noise_of(rig)));
        let needed = [over_noise.as_ref().map(Worked::value), venue.target.map(Spl::get)].into_iter().flatten();
        let needed = needed.reduce(f64::max).map(Spl::new);
        if let Some(needed) = needed.filter(|needed| level < *needed) {
            found
                .but(About::Whole, Trouble::TooQuietAtSeat { seat: index, short: Db::new(needed.get() - level.get()) });
        }
        if let Some(worked) = over_noise.filter(|_| index == 0) {
            found.show(About::Whole, worked);
        }
        loudness.seats.push(SeatLevel { seat: index, level, needed });
    }
    if let Some(loudest) = loudness.seats.iter().map(|seat| seat.level.get()).reduce(f64::max) {
        found.show(About::Whole, exposure::safe_minutes(Spl::new(loudest)));
    }
    if let (Some(celsius), Some(humidity)) = (venue.celsius, venue.humidity) {
        let ways = venue.seats.iter().flat_map(|seat| speakers.iter().map(|(_, place)| place.distance(seat.place)));
        let farthest = ways.map(Metres::get).fold(0.0, f64::max);
        found.show(About::Whole, air::on_the_way(Metres::new(farthest), celsius, humidity));
    }
    loudness.gains = rig.strips.iter().filter_map(|strip| gain(rig, paths, strip, &speakers, found)).collect();
    loudness
}

/// Words want more over the noise than music does.
fn over_noise_of(rig: &Rig) -> Db {
    let speaks = |strip: &Strip| matches!(strip.kind, SourceKind::Speech | SourceKind::Headset | SourceKind::SoloVocal);
    let music_alone = !rig.strips.is_empty() && !rig.strips.iter().any(speaks);
    if music_alone { seats::OVER_NOISE_MUSIC } else { seats::OVER_NOISE_SPEECH }
}

/// As measured, or else from the mean absorption.
fn reverb_of(venue: &Venue, found: &mut Found) -> Option<Seconds> {
    if venue.reverb.is_some() {
        return venue.reverb;
    }
    let worked = room::reverb_shown(venue.volume()?, venue.surface()?, venue.absorption?);
    let reverb = Seconds::new(worked.value());
    found.show(About::Whole, worked);
    Some(reverb)
}

fn critical(volume: f64, reverb: Seconds, found: &mut Found) -> Metres {
    let worked = room::critical_distance_shown(DIRECTIVITY, volume, reverb);
    let metres = Metres::new(worked.value());
    found.show(About::Whole, worked);
    metres
}

/// A loudspeaker's average on music at 1 m, driven to its limit.
fn at_one_metre(rig: &Rig, id: ThingId) -> Spl {
    let thing = rig.thing(id);
    if thing.kind.is_active_speaker() {
        return Spl::new(thing.spec.max_db.unwrap_or(USUAL_MAX_DB) - CREST);
    }
    let watts = amplifier_watts(rig, id).or(thing.spec.watts).unwrap_or(USUAL_WATTS);
    let watts = thing.spec.watts.map_or(watts.get(), |rated| rated.get().min(watts.get()));
    let sensitivity = thing.spec.sensitivity_db.unwrap_or(USUAL_SENSITIVITY);
    // A sine's own crest is 3 dB, so its average at full power stands 9 dB over music's.
    let rated = seats::direct(Spl::new(sensitivity), Watts::new(watts), Metres::new(1.0));
    Spl::new(rated.get() + 3.0 - CREST)
}

/// The power that the loudspeaker's amplifier gives, shared among all that hangs on the output.
fn amplifier_watts(rig: &Rig, id: ThingId) -> Option<Watts> {
    let amplifiers = rig.ids().filter(|id| matches!(rig.thing(*id).kind, GearKind::Amplifier | GearKind::PoweredMixer));
    let mut outputs = amplifiers.flat_map(|id| (1..=4).map(move |output| (id, output)));
    let (amplifier, speakers) = outputs.find_map(|(amplifier, output)| {
        let speakers = loading::driven(rig, amplifier, output);
        speakers.contains(&id).then_some((amplifier, speakers.len()))
    })?;
    Some(Watts::new(rig.thing(amplifier).spec.watts?.get() / speakers as f64))
}

fn delays(celsius: f64, speakers: &[(ThingId, Place)], found: &mut Found) {
    let front = speakers.iter().map(|(_, place)| place.y).fold(f64::NEG_INFINITY, f64::max);
    for (id, place) in speakers.iter().filter(|(_, place)| front - place.y > SECOND_ROW) {
        let nearest = speakers.iter().filter(|(_, other)| front - other.y <= SECOND_ROW);
        let way = nearest.map(|(_, other)| other.distance(*place).get()).fold(f64::INFINITY, f64::min);
        found.show(About::Thing(*id), time::delay(Metres::new(way), celsius));
    }
}

/// How far a microphone usually stands from its source, by what it is for.
const fn usual_distance(kind: SourceKind) -> f64 {
    match kind {
        SourceKind::Choir => 1.2,
        SourceKind::Overhead => 0.8,
        SourceKind::Headset => 0.05,
        SourceKind::Speech => 0.2,
        SourceKind::Piano => 0.4,
        SourceKind::Brass | SourceKind::Woodwind => 0.3,
        _ => 0.1,
    }
}

/// The distance at which a source is loud enough unaided.
const fn equivalent_distance(kind: SourceKind) -> f64 {
    match kind {
        SourceKind::Choir => 5.0,
        _ => 2.5,
    }
}

const fn distance_of(strip: &Strip) -> Metres {
    match strip.distance {
        Some(distance) => distance,
        None => Metres::new(usual_distance(strip.kind)),
    }
}

fn gain(
    rig: &Rig,
    paths: &Paths,
    strip: &Strip,
    speakers: &[(ThingId, Place)],
    found: &mut Found,
) -> Option<GainBeforeFeedback> {
    let channel = strip.channel.number() as u8;
    let (thing, _) = rig.source_of(channel)?;
    // What is louder than the hall by itself needs no help there.
    let loud = strip.kind.is_intermittent() || matches!(strip.kind, SourceKind::Brass | SourceKind::Overhead);
    let reached = paths.reached(Node::Channel(channel));
    if !thing.kind.is_mic() || loud || !reached.iter().any(|node| with_role(rig, *node, Role::Hall)) {
        return None;
    }
    let Some(place) = strip.place else {
        found.cannot_tell(Unknown::NoPlaceOfMics);
        return None;
    };
    let far = rig
        .venue
        .as_ref()?
        .seats
        .iter()
        .max_by(|a, b| place.distance(a.place).get().total_cmp(&place.distance(b.place).get()))?;
    let nearest =
        |from: Place| speakers.iter().map(|(_, speaker)| speaker.distance(from).get()).fold(f64::INFINITY, f64::min);
    let geometry = Geometry {
        source_to_listener: place.distance(far.place),
        // Nobody hangs a microphone into a loudspeaker.
        mic_to_speaker: Metres::new(nearest(place).max(0.3)),
        source_to_mic: distance_of(strip),
        speaker_to_listener: Metres::new(nearest(far.place).max(1.0)),
        open_mics: open_mics(rig, channel),
        equivalent_distance: Metres::new(equivalent_distance(strip.kind)),
        credit: Db::ZERO,
    };
    for monitor in rig.ids().filter(|id| rig.thing(*id).kind.role() == Role::Monitor) {
        let hears = (1..=4).any(|lane| reached.contains(&Node::Thing(monitor, lane)));
        if let (true, Some(at), Some(level)) = (hears, rig.thing(monitor).place, level_at_one_metre(strip.kind)) {
            let level = levels::at_distance(Spl::new(level), geometry.source_to_mic);
            let worked = feedback::in_monitor(level, at.distance(place), geometry.open_mics);
            found.show(About::Channel(channel), worked);
        }
    }
    let (potential, needed) = (feedback::potential(&geometry), feedback::needed(&geometry));
    let short = feedback::short(&geometry);
    let mut cures =
        if short > Db::ZERO { feedback::cures(&geometry, forward(rig, place, speakers)) } else { Vec::new() };
    if matches!(strip.kind, SourceKind::Speech | SourceKind::Headset) {
        cures.retain(|(cure, _)| *cure != Cure::SoloistOnly);
    }
    let answer =
        GainBeforeFeedback { channel, potential: Db::new(potential.value()), needed: Db::new(needed.value()), cures };
    found.show(About::Channel(channel), potential);
    found.show(About::Channel(channel), needed);
    if short > RING_SLACK {
        found.but(About::Channel(channel), Trouble::GainShort { short });
    }
    Some(answer)
}

/// Nobody sits or walks closer in front of a loudspeaker.
const FREE_BEFORE_SPEAKER: f64 = 2.0;

/// How far the loudspeaker nearest to a microphone can go towards the audience.
fn forward(rig: &Rig, mic: Place, speakers: &[(ThingId, Place)]) -> Metres {
    let nearest = speakers.iter().min_by(|a, b| mic.distance(a.1).get().total_cmp(&mic.distance(b.1).get()));
    let first_row = rig.venue.iter().flat_map(|venue| &venue.seats).map(|seat| seat.place.y).fold(f64::NAN, f64::max);
    // Of one row nobody knows where the first one is.
    let rows = rig.venue.as_ref().map_or(0, |venue| venue.seats.len());
    let free = nearest.filter(|_| rows > 1).map_or(0.0, |(_, speaker)| speaker.y - first_row - FREE_BEFORE_SPEAKER);
    Metres::new(free.max(0.0))
}

/// The microphones that are open together with this one: in the fullest of its songs, or else all of them.
fn open_mics(rig: &Rig, channel: u8) -> u32 {
    let is_mic = |channel: u8| rig.source_of(channel).is_some_and(|(thing, _)| thing.kind.is_mic());
    let in_songs = rig.songs.iter().filter(|song| song.contains(&channel));
    let fullest = in_songs.map(|song| song.iter().filter(|open| is_mic(**open)).count()).max();
    let all = || {
        rig.strips
            .iter()
            .filter(|strip| !strip.mute && strip.cue.is_none() && is_mic(strip.channel.number() as u8))
            .count()
    };
    fullest.unwrap_or_else(all).max(1) as u32
}

/// Area microphones that stand too close to each other: they comb.
fn spacing(rig: &Rig, found: &mut Found) {
    let area: Vec<(&Strip, Place)> = rig
        .strips
        .iter()
        .filter(|strip| matches!(strip.kind, SourceKind::Choir | SourceKind::Overhead))
        .filter_map(|strip| Some((strip, strip.place?)))
        .collect();
    for (index, (strip, place)) in area.iter().enumerate() {
        for (other, other_place) in &area[..index] {
            let worked = time::spacing(place.distance(*other_place), distance_of(strip));
            let ratio = place.distance(*other_place).get() / distance_of(strip).get();
            let about = About::Channel(strip.channel.number() as u8);
            if ratio < WANTED_SPACING {
                found.but(about, Trouble::MicsTooClose { other: other.channel.number() as u8, ratio });
            }
            found.show(about, worked);
        }
    }
}

/// What a source of this kind gives at 1 m, dB: talk 60, raised 66, loud 72 to 76, a teenager's belt 85 to 90.
const fn level_at_one_metre(kind: SourceKind) -> Option<f64> {
    match kind {
        SourceKind::Speech | SourceKind::Headset => Some(66.0),
        SourceKind::SoloVocal => Some(80.0),
        SourceKind::Choir => Some(78.0),
        _ => None,
    }
}

/// The usual sensitivity of a microphone, mV/Pa.
const fn usual_sensitivity(kind: OutKind) -> Option<f64> {
    match kind {
        OutKind::DynamicMic | OutKind::RibbonMic => Some(1.5),
        OutKind::CondenserMic | OutKind::BatteryCondenserMic => Some(10.0),
        _ => None,
    }
}

/// Headroom where a line output meets the next input: the desk's outputs into loudspeakers and amplifiers.
fn later_stages(rig: &Rig, found: &mut Found) {
    for (index, wired) in rig.wires.iter().enumerate() {
        let Some(out) = given_by(rig, wired).filter(|out| out.carries == Carries::Mix) else { continue };
        let takes_line = |input: &Input| input.modes.iter().find(|mode| mode.kind == ModeKind::Line).copied();
        let Some(mode) = signals::input_of(rig, wired).as_ref().and_then(takes_line) else { continue };
        if out.drive == Drive::Signal && !rig.thing(wired.to.0).kind.is_desk() {
            let feeds = wired.wire.through.iter().fold(out, |out, inline| inline.after(out));
            let stage = levels::Stage { level: feeds.usual, most: feeds.loudest, clips: mode.clips };
            let (crest, lift) = (signals::MIX_CREST, signals::MIX_LIFT);
            found.show(About::Wire(WireId(index)), levels::headroom(stage, crest, lift, Assumption::CrestAndLiftOfMix));
        }
    }
}

/// The output at a wire's beginning, whatever it is that it carries.
fn given_by(rig: &Rig, wired: &Wired) -> Option<Output> {
    let thing = rig.thing(wired.from.0);
    gear::output(thing.kind, &thing.spec, wired.from.1)
}

/// Preamp gains to start from.
fn start_gains(rig: &Rig, found: &mut Found) {
    for strip in &rig.strips {
        let channel = strip.channel.number() as u8;
        let Some((thing, wired)) = rig.source_of(channel) else { continue };
        let (GearKind::Source(kind), OutPort::Own(_)) = (thing.kind, wired.from.1) else { continue };
        let sensitivity = thing.spec.millivolts_a_pascal.or(usual_sensitivity(kind));
        let mut computed = None;
        if let (Some(sensitivity), Some(level)) = (sensitivity, level_at_one_metre(strip.kind)) {
            let worked = levels::start_gain(Spl::new(level), distance_of(strip), sensitivity, DESK_LEVEL);
            computed = worked.given.iter().find(|given| given.what == Quantity::Level).map(|given| given.value);
            found.show(About::Channel(channel), worked);
        }
        if let (Some(out), Some(input)) = (given_by(rig, wired), signals::input_of(rig, wired))
            && let Some(mode) = input.modes.first()
        {
            let feeds = wired.wire.through.iter().fold(out, |out, inline| inline.after(out));
            found.show(About::Channel(channel), levels::loading(feeds.impedance, mode.impedance));
            let level = computed.map_or(feeds.usual, Dbu::new);
            let stage = levels::Stage { level, most: feeds.loudest, clips: mode.clips };
            let kind = Assumption::CrestAndLiftOfKind;
            found.show(About::Channel(channel), levels::headroom(stage, strip.crest, strip.show_lift, kind));
        }
    }
}
