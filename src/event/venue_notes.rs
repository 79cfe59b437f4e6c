//! `venue-notes.toml`: what a hall taught on other evenings, beside its `venue.toml`; the program only adds to it.
//!
//! ```toml
//! version = 1
//!
//! [[loop]]                         # how far something was from ringing
//! date = 2027-03-12
//! way = "sweep at a return"        # "sweep at the main output", or "ring-out"
//! output = "mains"                 # or "wedge 1"
//! channel = 4                      # of a sweep: the microphone; a ring-out is about all that were open
//! microphone = "Soloist"
//! left_db = 4.1                    # gain until it rings; of a ring-out, how far above its show mark it kept quiet
//! rings_hz = [1253, 2480]          # what rang, or would ring, the first one first
//! cuts = [{ hz = 1250, db = -3 }]  # with q where it has one; made in a ring-out, only computed of a sweep
//!
//! [[knob]]
//! date = 2027-03-12
//! channel = 4
//! microphone = "Soloist"
//! knob = "Trim"
//! stands = "2 o'clock"
//!
//! [[seat]]
//! date = 2027-03-12
//! seat = "row 12"
//! x_m = 1.5                        # as in venue.toml
//! y_m = -9
//! sti = 0.52                       # speech transmission, in the background as it was where that is told
//! over_background_db = 14          # speech over the background
//! t20_s = 1.4
//! t30_s = 1.5
//! edt_s = 1.3
//! c50_db = 1.2
//! ```
//!
//! Levels in dB, frequencies in Hz, metres and seconds. Edge cases: every key but the channel of a knob, the name of a seat
//! and its `sti` may be missing; what is not known is kept; a file that can't be read is never written over.

use std::path::{Path, PathBuf};

use toml_edit::{Array, ArrayOfTables, Document, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::error::{EventError, EventWarning, Fault, Findings};
use super::rewrite::datetime;
use super::rig::venue_folder;
use super::save;
use super::settings::{Reader, VERSION, date, listed, number};
use super::text::{self, line_column};
use super::when::Date;
use crate::coach::ringout::Output;
use crate::units::{ChannelId, Db, Hertz, Seconds};

const NOTES_FILE: &str = "venue-notes.toml";

/// How it was found out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    AtReturn,
    AtMainOut,
    RingOut,
}

impl Way {
    const ALL: [Self; 3] = [Self::AtReturn, Self::AtMainOut, Self::RingOut];

    pub const fn word(self) -> &'static str {
        match self {
            Self::AtReturn => "sweep at a return",
            Self::AtMainOut => "sweep at the main output",
            Self::RingOut => "ring-out",
        }
    }
}

/// A cut that was made, or computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotedCut {
    pub at: Hertz,
    pub depth: Db,
    /// Of a parametric band.
    pub q: Option<f64>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct NotedLoop {
    pub date: Option<Date>,
    pub way: Way,
    pub output: Output,
    pub channel: Option<ChannelId>,
    pub microphone: Option<String>,
    pub left: Option<Db>,
    /// The first one first.
    pub rings: Vec<Hertz>,
    pub cuts: Vec<NotedCut>,
}

/// Where a knob stood, in the words of whoever looked.
#[derive(Clone, Debug, PartialEq)]
pub struct NotedKnob {
    pub date: Option<Date>,
    pub channel: ChannelId,
    pub microphone: Option<String>,
    pub knob: String,
    pub stands: String,
}

/// What a seat heard.
#[derive(Clone, Debug, PartialEq)]
pub struct NotedSeat {
    pub date: Option<Date>,
    pub seat: String,
    /// x and y in metres, as in `venue.toml`.
    pub place: Option<(f64, f64)>,
    pub sti: f64,
    pub over_background: Option<Db>,
    pub t20: Option<Seconds>,
    pub t30: Option<Seconds>,
    pub edt: Option<Seconds>,
    pub c50: Option<Db>,
}

/// Something to be noted.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    Loop(NotedLoop),
    Knob(NotedKnob),
    Seat(NotedSeat),
}

/// All that is noted of a hall, in the order in which it was.
#[derive(Clone, Debug, Default)]
pub struct VenueNotes {
    pub loops: Vec<NotedLoop>,
    pub knobs: Vec<NotedKnob>,
    pub seats: Vec<NotedSeat>,
}

impl VenueNotes {
    /// Of the hall that this event is in; none yet is no fault.
    pub fn of(event: impl AsRef<Path>) -> Result<(Self, Vec<EventWarning>), EventError> {
        let path = path(event.as_ref());
        if !path.exists() {
            return Ok(<(Self, Vec<EventWarning>)>::default());
        }
        let (_, notes, warnings) = read(&path)?;
        Ok((notes, warnings))
    }

    /// Adds to the notes of the hall that this event is in; where they stand now.
    pub fn add(event: impl AsRef<Path>, notes: &[Note]) -> Result<PathBuf, EventError> {
        let path = path(event.as_ref());
        let text = if path.exists() { read(&path)?.0 } else { format!("version = {VERSION}\n") };
        let syntax = |error: toml_edit::TomlError| {
            let mut findings = Findings::new(path.clone());
            findings.mistake((1, 1), "", Fault::Syntax(error.message().to_owned()));
            EventError::Mistakes(findings.mistakes)
        };
        let mut document: DocumentMut = text.parse().map_err(syntax)?;
        for note in notes {
            let (key, table) = note.table();
            let list = document.entry(key).or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
            if !list.is_array_of_tables() {
                *list = std::mem::take(list).into_array_of_tables().map_or_else(|other| other, Item::ArrayOfTables);
            }
            if let Some(list) = list.as_array_of_tables_mut() {
                list.push(table);
            }
        }
        save::replace(&path, document.to_string().as_bytes())?;
        Ok(path)
    }
}

fn path(event: &Path) -> PathBuf {
    venue_folder(event).join(NOTES_FILE)
}

fn read(path: &Path) -> Result<(String, VenueNotes, Vec<EventWarning>), EventError> {
    let bytes = text::read(path)?;
    let mut findings = Findings::new(path.to_owned());
    let read = text::decode(&bytes, &mut findings).map(|text| (gather(&text, &mut findings), text));
    match read {
        Some((notes, text)) if findings.mistakes.is_empty() => Ok((text, notes, findings.warnings)),
        _ => Err(EventError::Mistakes(findings.mistakes)),
    }
}

fn gather(text: &str, findings: &mut Findings) -> VenueNotes {
    let document = match Document::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = line_column(text, error.span().map_or(0, |span| span.start));
            findings.mistake(at, "", Fault::Syntax(error.message().replace('\n', "; ")));
            return VenueNotes::default();
        }
    };
    let hall = document.as_table();
    let mut reader = Reader::new(text, findings);
    if !reader.version(hall) {
        return VenueNotes::default();
    }
    reader.unknown_keys(hall, &["version", "loop", "knob", "seat"]);
    VenueNotes {
        loops: listed(&mut reader, hall, "loop", a_loop),
        knobs: listed(&mut reader, hall, "knob", knob),
        seats: listed(&mut reader, hall, "seat", seat),
    }
}

fn a_loop(reader: &mut Reader, table: &dyn TableLike) -> Option<NotedLoop> {
    reader.unknown_keys(table, &["date", "way", "output", "channel", "microphone", "left_db", "rings_hz", "cuts"]);
    let output = reader.value(table, "output", "an output", "\"mains\", \"wedge 1\", \"wedge 2\" …", |item| {
        Output::of(item.as_str()?)
    });
    Some(NotedLoop {
        date: day(reader, table),
        way: reader.one_of(table, "way", "a way to find out", &Way::ALL, Way::word).unwrap_or(Way::RingOut),
        output: output.unwrap_or(Output::Mains),
        channel: reader.channel(table, "channel"),
        microphone: reader.words(table, "microphone"),
        left: level(reader, table, "left_db"),
        rings: reader
            .value(table, "rings_hz", "a list of frequencies", "numbers such as [1253, 2480] (Hz)", |item| {
                item.as_array()?.iter().map(|value| frequency(&Item::Value(value.clone()))).collect()
            })
            .unwrap_or_default(),
        cuts: reader
            .value(table, "cuts", "a list of cuts", "such as [{ hz = 1250, db = -3 }]", |item| {
                item.as_array()?.iter().map(|value| cut(value.as_inline_table()?)).collect()
            })
            .unwrap_or_default(),
    })
}

fn knob(reader: &mut Reader, table: &dyn TableLike) -> Option<NotedKnob> {
    reader.unknown_keys(table, &["date", "channel", "microphone", "knob", "stands"]);
    Some(NotedKnob {
        date: day(reader, table),
        channel: reader.channel(table, "channel")?,
        microphone: reader.words(table, "microphone"),
        knob: reader.words(table, "knob").unwrap_or_default(),
        stands: reader.words(table, "stands")?,
    })
}

fn seat(reader: &mut Reader, table: &dyn TableLike) -> Option<NotedSeat> {
    reader.unknown_keys(
        table,
        &["date", "seat", "x_m", "y_m", "sti", "over_background_db", "t20_s", "t30_s", "edt_s", "c50_db"],
    );
    let metres = |reader: &mut Reader, key| {
        reader.value(table, key, "a place", "a number from -500 to 500 (metres)", |item| number(item, -500.0..=500.0))
    };
    let (x, y) = (metres(reader, "x_m"), metres(reader, "y_m"));
    let sti =
        reader.value(table, "sti", "a speech transmission", "a number from 0 to 1", |item| number(item, 0.0..=1.0));
    let mut seconds = |key| {
        reader
            .value(table, key, "a time", "a number from 0 to 60 (seconds)", |item| number(item, 0.0..=60.0))
            .map(Seconds::new)
    };
    let (t20, t30, edt) = (seconds("t20_s"), seconds("t30_s"), seconds("edt_s"));
    Some(NotedSeat {
        date: day(reader, table),
        seat: reader.words(table, "seat")?,
        place: x.zip(y),
        sti: sti?,
        over_background: level(reader, table, "over_background_db"),
        t20,
        t30,
        edt,
        c50: level(reader, table, "c50_db"),
    })
}

fn day(reader: &mut Reader, table: &dyn TableLike) -> Option<Date> {
    reader.value(table, "date", "a date", "a day such as 2027-03-12", date)
}

fn level(reader: &mut Reader, table: &dyn TableLike, key: &str) -> Option<Db> {
    let expected = "a number from -120 to 120 (dB)";
    reader.value(table, key, "a difference", expected, |item| number(item, -120.0..=120.0)).map(Db::new)
}

fn frequency(item: &Item) -> Option<Hertz> {
    number(item, 10.0..=24_000.0).map(Hertz::new)
}

fn cut(table: &InlineTable) -> Option<NotedCut> {
    let of = |key: &str| table.get(key).map(|value| Item::Value(value.clone()));
    let q = match of("q") {
        Some(q) => Some(number(&q, 0.1..=100.0)?),
        None => None,
    };
    Some(NotedCut { at: frequency(&of("hz")?)?, depth: Db::new(number(&of("db")?, -24.0..=0.0)?), q })
}

impl Note {
    /// Under which key, and as it is written.
    fn table(&self) -> (&'static str, Table) {
        let mut table = Table::new();
        let mut put = |key: &str, value: Option<Value>| {
            if let Some(value) = value {
                table.insert(key, Item::Value(value));
            }
        };
        let day = |date: Option<Date>| date.map(|date| datetime(&date.to_string()));
        let number = |channel: ChannelId| i64::from(channel.number()).into();
        let tenth = |db: Db| rounded(db.get(), 10.0);
        let key = match self {
            Self::Loop(found) => {
                put("date", day(found.date));
                put("way", Some(found.way.word().into()));
                put("output", Some(found.output.word().into()));
                put("channel", found.channel.map(number));
                put("microphone", found.microphone.as_deref().map(Value::from));
                put("left_db", found.left.filter(|left| left.get().is_finite()).map(tenth));
                let rings: Array = found.rings.iter().map(|ring| rounded(ring.get(), 1.0)).collect();
                put("rings_hz", Some(rings.into()));
                put("cuts", Some(found.cuts.iter().map(NotedCut::value).collect::<Array>().into()));
                "loop"
            }
            Self::Knob(found) => {
                put("date", day(found.date));
                put("channel", Some(number(found.channel)));
                put("microphone", found.microphone.as_deref().map(Value::from));
                put("knob", Some(found.knob.as_str().into()));
                put("stands", Some(found.stands.as_str().into()));
                "knob"
            }
            Self::Seat(found) => {
                let seconds = |time: Option<Seconds>| time.map(|time| rounded(time.get(), 100.0));
                put("date", day(found.date));
                put("seat", Some(found.seat.as_str().into()));
                put("x_m", found.place.map(|(x, _)| rounded(x, 100.0)));
                put("y_m", found.place.map(|(_, y)| rounded(y, 100.0)));
                put("sti", Some(rounded(found.sti, 1000.0)));
                put("over_background_db", found.over_background.map(tenth));
                put("t20_s", seconds(found.t20));
                put("t30_s", seconds(found.t30));
                put("edt_s", seconds(found.edt));
                put("c50_db", found.c50.map(tenth));
                "seat"
            }
        };
        (key, table)
    }
}

impl NotedCut {
    fn value(&self) -> Value {
        let mut table = InlineTable::new();
        table.insert("hz", rounded(self.at.get(), 1.0));
        table.insert("db", rounded(self.depth.get(), 10.0));
        if let Some(q) = self.q {
            table.insert("q", rounded(q, 10.0));
        }
        table.into()
    }
}

/// No more digits than can be known; whole numbers without a point.
fn rounded(value: f64, steps: f64) -> Value {
    let value = (value * steps).round() / steps;
    if value.fract() == 0.0 { (value as i64).into() } else { value.into() }
}
