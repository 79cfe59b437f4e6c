//! What a hall taught, in words; results as notes; and the cuts of another evening for a new ring-out.
//!
//! Two frequencies within 3 % are one ring: warmth moves it by 1 % for 6 °C, hands and people by as much again (common
//! practice). Nothing here says that a cut stands: it is a suggestion, to be confirmed. Edge cases: notes without a date come
//! last; a graphic equaliser takes a noted cut at its nearest band.

use std::path::Path;

use serde_json::{Value, json};

use super::numbers::{counted, span, thousandths};
use super::ringout::{band, frequency, output_name, setting};
use super::words::plain;
use crate::coach::ringout::{Band, Cut, Equaliser, Output, Place};
use crate::engine::quiet::{Opened, QuietResult};
use crate::engine::ringout::Ended;
use crate::engine::seat::Seat;
use crate::engine::seats::{SeatFound, SeatWish};
use crate::engine::sweep::Cuts;
use crate::event::{Date, Note, NotedCut, NotedKnob, NotedLoop, NotedSeat, VenueNotes, Way};
use crate::units::{ChannelId, Db, Hertz};

pub const NOTES_KEYS: &str = "\
One JSON object a line, each with a `type`:

noted_ring: output, frequency_hz, evenings, last (the day), way, channel and microphone (null: of a ring-out)
noted_cut: output, frequency_hz, depth_db, q, made (false: only computed), date, to_confirm (true)
noted_knob: channel, microphone, knob, stands, date, to_confirm (true)
noted_seat: seat, x_m, y_m, sti, over_background_db, t20_s, t30_s, edt_s, c50_db, date

What is not known is null.";

/// Said wherever cuts of another evening are shown.
pub const TO_CONFIRM: &str = "Of another evening, to confirm: nothing of it is set by itself.";
pub const NO_NOTES: &str =
    "Nothing is noted of this hall yet: a quiet sweep or a ring-out with an event writes it down.";

/// Where notes were put.
pub fn kept(path: &Path) -> String {
    let file = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    format!("Kept in {}, to confirm another evening", plain(&file))
}

/// The same ring on two evenings.
const SAME: f64 = 0.03;

/// The rings of one output, over the evenings.
struct Rings<'a> {
    output: Output,
    at: Hertz,
    /// Newest last.
    on: Vec<&'a NotedLoop>,
}

impl Rings<'_> {
    fn evenings(&self) -> usize {
        let mut days: Vec<Option<Date>> = self.on.iter().map(|noted| noted.date).collect();
        days.sort_unstable();
        days.dedup();
        days.len()
    }
}

/// What rang more often stands first.
fn rings(notes: &VenueNotes) -> Vec<Rings<'_>> {
    let mut found: Vec<Rings> = Vec::new();
    let mut loops: Vec<&NotedLoop> = notes.loops.iter().collect();
    loops.sort_by_key(|noted| noted.date);
    for noted in loops {
        for ring in &noted.rings {
            let same = |known: &&mut Rings| known.output == noted.output && is_same(known.at, *ring);
            match found.iter_mut().find(same) {
                // The newest tells where it is now.
                Some(known) => {
                    known.at = *ring;
                    known.on.push(noted);
                }
                None => found.push(Rings { output: noted.output, at: *ring, on: vec![noted] }),
            }
        }
    }
    found.sort_by_key(|rings| (rings.output, std::cmp::Reverse(rings.evenings())));
    found
}

fn is_same(a: Hertz, b: Hertz) -> bool {
    (a.get() / b.get() - 1.0).abs() < SAME
}

/// Everything, line by line; at most so many rings of an output.
pub fn notes_lines(notes: &VenueNotes, most: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let rings = rings(notes);
    let outputs = outputs(notes);
    for output in outputs {
        lines.push(output_name(output));
        for ring in rings.iter().filter(|ring| ring.output == output).take(most) {
            let last = ring.on.last().map_or_else(String::new, |noted| told_of(noted));
            let evenings = counted(ring.evenings() as u64, "evening", "evenings");
            lines.push(format!("  {} on {evenings}{last}", frequency(ring.at)));
        }
        if let Some(noted) = last_cuts(notes, output) {
            let cuts: Vec<String> = noted.cuts.iter().map(cut_words).collect();
            let made = if noted.way == Way::RingOut { "cut" } else { "computed" };
            lines.push(format!("  {made}{}: {}", day(noted.date), cuts.join(", ")));
        }
    }
    lines.extend(last_knobs(notes).map(|knob| {
        let who = who(knob.channel, knob.microphone.as_deref());
        format!("{who}: {} at {}{}", knob.knob, knob.stands, day(knob.date))
    }));
    lines.extend(last_seats(notes).map(|seat| {
        let over =
            seat.over_background.map_or_else(String::new, |over| format!(", {} over the background", span(over)));
        format!("{}: speech transmission {:.2}{over}{}", seat.seat, seat.sti, day(seat.date))
    }));
    if !lines.is_empty() {
        lines.push(TO_CONFIRM.into());
    }
    lines
}

pub fn notes_records(notes: &VenueNotes) -> Vec<Value> {
    let date = |date: Option<Date>| date.map(|date| date.to_string());
    let ring = |ring: &Rings| {
        let last = ring.on.last();
        json!({
            "type": "noted_ring", "output": ring.output.word(), "frequency_hz": thousandths(ring.at.get()),
            "evenings": ring.evenings(), "last": last.and_then(|noted| date(noted.date)),
            "way": last.map(|noted| noted.way.word()),
            "channel": last.and_then(|noted| noted.channel).map(ChannelId::number),
            "microphone": last.and_then(|noted| noted.microphone.as_deref()),
        })
    };
    let mut records: Vec<Value> = rings(notes).iter().map(ring).collect();
    for noted in outputs(notes).into_iter().filter_map(|output| last_cuts(notes, output)) {
        records.extend(noted.cuts.iter().map(|cut| {
            json!({
                "type": "noted_cut", "output": noted.output.word(), "frequency_hz": thousandths(cut.at.get()),
                "depth_db": thousandths(cut.depth.get()), "q": cut.q, "made": noted.way == Way::RingOut,
                "date": date(noted.date), "to_confirm": true,
            })
        }));
    }
    records.extend(last_knobs(notes).map(|knob| {
        json!({
            "type": "noted_knob", "channel": knob.channel.number(), "microphone": knob.microphone, "knob": knob.knob,
            "stands": knob.stands, "date": date(knob.date), "to_confirm": true,
        })
    }));
    records.extend(last_seats(notes).map(|seat| {
        let seconds = |time: Option<crate::units::Seconds>| time.map(|time| thousandths(time.get()));
        let level = |level: Option<Db>| level.map(|level| thousandths(level.get()));
        json!({
            "type": "noted_seat", "seat": seat.seat, "x_m": seat.place.map(|(x, _)| x), "y_m": seat.place.map(|(_, y)| y),
            "sti": seat.sti, "over_background_db": level(seat.over_background), "t20_s": seconds(seat.t20),
            "t30_s": seconds(seat.t30), "edt_s": seconds(seat.edt), "c50_db": level(seat.c50), "date": date(seat.date),
        })
    }));
    records
}

/// What a new result and the notes have in common: "1.25 kHz rang here on 2 evenings, last on 2027-03-12".
pub fn known_lines(notes: &VenueNotes, output: Output, found: &[Hertz]) -> Vec<String> {
    let known = rings(notes);
    let mut lines = Vec::new();
    for at in found {
        if let Some(ring) = known.iter().find(|ring| ring.output == output && is_same(ring.at, *at)) {
            let evenings = counted(ring.evenings() as u64, "evening", "evenings");
            let last = ring.on.last().map_or_else(String::new, |noted| told_of(noted));
            lines.push(format!("{} is noted of {evenings} here already{last}", frequency(*at)));
        }
    }
    lines
}

/// The cuts of the newest ring-out of an output, for this equaliser: a suggestion.
pub fn noted_cuts(notes: &VenueNotes, output: Output, equaliser: Equaliser) -> Vec<Cut> {
    let Some(noted) = last_cuts(notes, output) else { return Vec::new() };
    let here = |cut: &NotedCut| match (equaliser, equaliser.nearest(cut.at)) {
        (_, Some(graphic)) => Some(Band::Graphic(graphic)),
        (Equaliser::Parametric, None) => Some(Band::Exact { frequency: cut.at, q: cut.q? }),
        (Equaliser::Sweep, None) => Some(Band::Swept { frequency: cut.at }),
        _ => None,
    };
    let cut = |cut: &NotedCut| Some(Cut { place: Place::Output(output), band: here(cut)?, depth: cut.depth });
    noted.cuts.iter().filter_map(cut).collect()
}

/// Of a quiet sweep.
pub fn sweep_notes(
    result: &QuietResult,
    (at, output): (Opened, Output),
    names: &[String],
    (equaliser, wanted): (Equaliser, Db),
    date: Option<Date>,
) -> Vec<Note> {
    let weakest = result.weakest().map(|(channel, _)| channel);
    let found = result.each().filter_map(|(channel, found)| Some((channel, found.as_ref().ok()?)));
    let note = |(channel, found): (ChannelId, &crate::engine::sweep::Loop)| {
        let cuts = found.cuts(equaliser, wanted).filter(|_| Some(channel) == weakest);
        let made = match &cuts {
            Some(Cuts::Enough { cuts, .. }) => &cuts[..],
            // What is not enough is no suggestion.
            Some(Cuts::NoneNeeded { .. } | Cuts::Move { .. }) | None => &[],
        };
        let graphic = equaliser.nearest(Hertz::new(1000.0)).is_some();
        let cut = |cut: &crate::engine::sweep::Cut| NotedCut {
            at: cut.band.frequency,
            depth: cut.band.gain,
            q: (!graphic).then_some(cut.band.q),
        };
        // At the main output all microphones are in the one loop.
        let alone = at == Opened::AtReturn;
        Note::Loop(NotedLoop {
            date,
            way: if alone { Way::AtReturn } else { Way::AtMainOut },
            output,
            channel: alone.then_some(channel),
            microphone: names.get(channel.index()).filter(|name| alone && !name.is_empty()).cloned(),
            left: Some(found.margin.safe),
            rings: found.margin.next.iter().map(|ring| ring.frequency).collect(),
            cuts: made.iter().map(cut).collect(),
        })
    };
    found.map(note).collect()
}

/// Of a ring-out: an output that was not rung out has nothing to tell.
pub fn ring_out_notes(ended: &[Ended], date: Option<Date>) -> Vec<Note> {
    let told = ended.iter().filter(|ended| ended.result.end.is_some());
    let note = |ended: &Ended| {
        let of_the_output = ended.cuts.iter().filter(|cut| cut.place == Place::Output(ended.result.output));
        let cut = |cut: &Cut| NotedCut {
            at: cut.band.centre(),
            depth: cut.depth,
            q: match cut.band {
                Band::Exact { q, .. } => Some(q),
                Band::Graphic(_) | Band::Swept { .. } => None,
            },
        };
        Note::Loop(NotedLoop {
            date,
            way: Way::RingOut,
            output: ended.result.output,
            channel: None,
            microphone: None,
            left: ended.result.held,
            rings: ended.rang.clone(),
            cuts: of_the_output.map(cut).collect(),
        })
    };
    told.map(note).collect()
}

/// Of the seats that were measured.
pub fn seat_notes(found: &[SeatFound], date: Option<Date>) -> Vec<Note> {
    let heard = found.iter().filter_map(|found| Some((&found.seat, found.heard.as_ref()?.as_ref().ok()?)));
    let note = |(seat, heard): (&SeatWish, &Seat)| {
        let decay = heard.room.overall;
        Note::Seat(NotedSeat {
            date,
            seat: seat.name.clone(),
            place: seat.at,
            sti: heard.heard().sti,
            over_background: heard.over.and_then(|over| over.whole).filter(|over| over.get().is_finite()),
            t20: decay.t20,
            t30: decay.t30,
            edt: decay.edt,
            c50: decay.c50,
        })
    };
    heard.map(note).collect()
}

fn outputs(notes: &VenueNotes) -> Vec<Output> {
    let mut outputs: Vec<Output> = notes.loops.iter().map(|noted| noted.output).collect();
    outputs.sort_unstable();
    outputs.dedup();
    outputs
}

/// What was cut by hand counts for more than what was only computed; the newest of those.
fn last_cuts(notes: &VenueNotes, output: Output) -> Option<&NotedLoop> {
    let with_cuts = notes.loops.iter().filter(|noted| noted.output == output && !noted.cuts.is_empty());
    with_cuts.enumerate().max_by_key(|(at, noted)| (noted.way == Way::RingOut, noted.date, *at)).map(|(_, noted)| noted)
}

/// The newest of each knob.
fn last_knobs(notes: &VenueNotes) -> impl Iterator<Item = &NotedKnob> {
    let newer = |at: usize, knob: &NotedKnob| {
        let mut later = notes.knobs[at + 1..].iter();
        later.any(|other| (other.channel, &other.knob) == (knob.channel, &knob.knob))
    };
    notes.knobs.iter().enumerate().filter(move |(at, knob)| !newer(*at, knob)).map(|(_, knob)| knob)
}

/// The newest of each seat.
pub fn last_seats(notes: &VenueNotes) -> impl Iterator<Item = &NotedSeat> {
    let newer = |at: usize, seat: &NotedSeat| notes.seats[at + 1..].iter().any(|other| other.seat == seat.seat);
    notes.seats.iter().enumerate().filter(move |(at, seat)| !newer(*at, seat)).map(|(_, seat)| seat)
}

/// ", last on 2027-03-12 with 4 Soloist".
fn told_of(noted: &NotedLoop) -> String {
    let with = noted.channel.map(|channel| format!(" with {}", who(channel, noted.microphone.as_deref())));
    let on = noted.date.map(|date| format!(" on {date}"));
    match (on, with) {
        (None, None) => String::new(),
        (on, with) => format!(", last{}{}", on.unwrap_or_default(), with.unwrap_or_default()),
    }
}

fn who(channel: ChannelId, name: Option<&str>) -> String {
    match name {
        Some(name) => format!("{} {name}", channel.number()),
        None => super::who(Some(channel), &[]),
    }
}

fn day(date: Option<Date>) -> String {
    date.map_or_else(String::new, |date| format!(" on {date}"))
}

/// "1.25k DOWN 3 dB", as it is printed on a desk where it is a printed band.
fn cut_words(cut: &NotedCut) -> String {
    let printed = Equaliser::ThirdOctave.nearest(cut.at).map(Band::Graphic).filter(|_| cut.q.is_none());
    let which = match printed {
        Some(printed) if (cut.at.get() / printed.centre().get() - 1.0).abs() < 0.01 => band(printed),
        _ => setting(cut.at),
    };
    let q = cut.q.map_or_else(String::new, |q| format!(", Q {q:.0}"));
    format!("{which} DOWN {}{q}", span(cut.depth))
}
