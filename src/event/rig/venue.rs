//! `venue.toml`: what a hall is like, shared between events.
//!
//! Metres, seconds, dBA, °C, %, volts, amperes; x to the audience's right of the middle of the stage's front edge, y away
//! from the audience, so that seats lie at negative y. Source of the form: TOML 1.0. Edge cases: every key may be
//! missing; keys that are not known are kept.

use toml_edit::{Document, TableLike};

use super::patch::Known;
use crate::event::error::{Doubt, Fault, Findings, quote};
use crate::event::settings::{Reader, listed, number};
use crate::event::text::line_column;
use crate::event::words::{nearest, plain};
use crate::plan::quantity::{Amperes, Metres, Volts};
use crate::plan::rig::{Circuit, Place, Seat, Venue};
use crate::units::{Seconds, Spl};

const KEYS: [&str; 14] = [
    "version",
    "name",
    "length_m",
    "width_m",
    "height_m",
    "reverb_s",
    "absorption",
    "noise_dba",
    "target_dba",
    "celsius",
    "humidity",
    "seat",
    "circuit",
    "place",
];

/// Where a named thing stands.
pub struct Placed {
    thing: String,
    pub at: Place,
    /// Where it is written.
    line_column: (usize, usize),
}

impl Placed {
    pub fn is_of(&self, name: &str) -> bool {
        self.thing.eq_ignore_ascii_case(name)
    }
}

/// A hall serves many events, so it may place things that this one has not; but a name that is almost that of a thing
/// without a place is a slip, and would change what is computed.
pub fn unplaced(places: &[Placed], known: &[Known], findings: &mut Findings) {
    let of_nothing = |place: &&Placed| !known.iter().any(|known| place.is_of(&known.thing.name));
    for (index, place) in places.iter().enumerate() {
        if let Some(first) = places[..index].iter().find(|first| place.is_of(&first.thing)) {
            let fault = Fault::SameName { name: quote(&place.thing), first: first.line_column.0 };
            findings.mistake(place.line_column, "place, thing", fault);
        }
    }
    for place in places.iter().filter(of_nothing) {
        let bare = known.iter().map(|known| &known.thing).filter(|thing| thing.place.is_none());
        let names: Vec<(String, &String)> = bare.map(|thing| (plain(&thing.name), &thing.name)).collect();
        let near = nearest(&place.thing, names.iter().map(|(plain, name)| (plain.as_str(), (*name).clone())));
        let field = "place, thing";
        if near.is_some() {
            findings.mistake(place.line_column, field, Fault::UnknownThing { stood: quote(&place.thing), near });
        } else {
            findings.warn(place.line_column, field, Doubt::PlaceOfNothing(quote(&place.thing)));
        }
    }
}

/// The hall, and where named things stand in it.
pub fn read(text: &str, findings: &mut Findings) -> (Venue, Vec<Placed>) {
    let document = match Document::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = line_column(text, error.span().map_or(0, |span| span.start));
            let message = error.message().lines().map(str::trim).collect::<Vec<_>>().join("; ");
            findings.mistake(at, "", Fault::Syntax(message));
            return <(Venue, Vec<Placed>)>::default();
        }
    };
    let hall = document.as_table();
    let mut reader = Reader::new(text, findings);
    if !reader.version(hall) {
        return <(Venue, Vec<Placed>)>::default();
    }
    reader.unknown_keys(hall, &KEYS);
    let metres = |reader: &mut Reader, key| figure(reader, hall, key, "metres", 0.5, 500.0).map(Metres::new);
    let venue = Venue {
        name: reader.words(hall, "name").unwrap_or_default(),
        length: metres(&mut reader, "length_m"),
        width: metres(&mut reader, "width_m"),
        height: metres(&mut reader, "height_m"),
        reverb: figure(&mut reader, hall, "reverb_s", "seconds", 0.1, 20.0).map(Seconds::new),
        absorption: figure(&mut reader, hall, "absorption", "mean coefficient", 0.01, 0.99),
        noise: figure(&mut reader, hall, "noise_dba", "dBA", 10.0, 110.0).map(Spl::new),
        target: figure(&mut reader, hall, "target_dba", "dBA", 40.0, 110.0).map(Spl::new),
        celsius: figure(&mut reader, hall, "celsius", "°C", -30.0, 50.0),
        humidity: figure(&mut reader, hall, "humidity", "%", 0.0, 100.0),
        seats: listed(&mut reader, hall, "seat", |reader, seat| {
            reader.unknown_keys(seat, &["name", "x_m", "y_m"]);
            let name = reader.words(seat, "name").unwrap_or_default();
            Some(Seat { name, place: place(reader, seat)? })
        }),
        circuits: listed(&mut reader, hall, "circuit", circuit),
    };
    let places = listed(&mut reader, hall, "place", |reader, at| {
        reader.unknown_keys(at, &["thing", "x_m", "y_m"]);
        let thing = required(reader, at, "thing", "the name of a thing, in \"quotes\"")?;
        let line_column = at.get("thing").map_or((1, 1), |item| reader.at(item));
        Some(Placed { thing, at: place(reader, at)?, line_column })
    });
    (venue, places)
}

/// A number in this range.
pub fn figure(reader: &mut Reader, table: &dyn TableLike, key: &str, unit: &str, least: f64, most: f64) -> Option<f64> {
    let expected = format!("a number from {least} to {most} ({unit})");
    reader.value(table, key, "a number in range", &expected, |item| number(item, least..=most))
}

/// Text that must be there.
pub fn required(reader: &mut Reader, table: &dyn TableLike, key: &str, expected: &'static str) -> Option<String> {
    let words = reader.words(table, key);
    if words.is_none() && table.get(key).is_none_or(|item| item.as_str().is_some()) {
        let spot = table.get(key).cloned().or_else(|| table.iter().next().map(|(_, item)| item.clone()));
        reader.mistake(&spot.unwrap_or_default(), key, Fault::Missing(expected));
    }
    words
}

fn place(reader: &mut Reader, table: &dyn TableLike) -> Option<Place> {
    let mut coordinate = |key: &str| {
        if table.get(key).is_none() {
            let spot = table.iter().next().map(|(_, item)| item.clone()).unwrap_or_default();
            reader.mistake(&spot, key, Fault::Missing("metres from the middle of the stage's front edge"));
        }
        figure(reader, table, key, "metres", -200.0, 200.0)
    };
    let (x, y) = (coordinate("x_m"), coordinate("y_m"));
    Some(Place { x: x?, y: y? })
}

fn circuit(reader: &mut Reader, table: &dyn TableLike) -> Option<Circuit> {
    reader.unknown_keys(table, &["name", "volts", "breaker_a", "shared_with"]);
    let name = required(reader, table, "name", "the circuit's label, in \"quotes\"");
    let expected = "names such as [\"kettle\"]";
    let shared = reader.value(table, "shared_with", "a list of words", expected, |item| {
        item.as_array()?.iter().map(|value| value.as_str().map(str::to_owned)).collect::<Option<Vec<String>>>()
    });
    Some(Circuit {
        volts: figure(reader, table, "volts", "V", 90.0, 260.0).map(Volts::new),
        breaker: figure(reader, table, "breaker_a", "A", 1.0, 125.0).map(Amperes::new),
        shared_with: shared.unwrap_or_default(),
        name: name?,
    })
}
