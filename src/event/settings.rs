//! `event.toml`: what, where and when, the songs with their open microphones, and the desk's own words.
//!
//! Units: `reference_dbfs` is a level in dBFS (−80 to 0), `headroom_db` a difference in dB (0 to 40). Source
//! of the form: TOML 1.0. Edge cases: a missing key is "not said"; a key that is not known is kept, and told
//! of; infinities and NaN are no levels.

use std::ops::RangeInclusive;

use toml_edit::{Document, Item, TableLike, Value};

use super::error::{Doubt, Fault, Findings, quote};
use super::recording::{self, Consent};
use super::sound::{self, Sound};
use super::text::line_column;
use super::when::{Date, Doors};
use super::words::{self, Listening};
use crate::units::{ChannelId, Db, Dbfs};

/// The format that is read and written.
pub(super) const VERSION: i64 = 1;

/// What `event.toml` says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    pub name: String,
    pub place: Option<String>,
    pub doors: Option<Doors>,
    /// How the program hears the event.
    pub connection: Option<Listening>,
    /// The input device, by name.
    pub device: Option<String>,
    /// In the order of the programme.
    pub songs: Vec<Song>,
    pub desk: Desk,
    pub sound: Sound,
    /// `None`: nobody was asked yet who may be recorded.
    pub recording: Option<Consent>,
}

/// A song, or anything else that opens and closes microphones.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Song {
    pub name: String,
    /// The channels that are open in it.
    pub open: Vec<ChannelId>,
}

/// The words printed on the desk, and how its meter compares with the one here.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Desk {
    /// The word beside the input knob, such as "Trim".
    pub knob: Option<String>,
    /// The word beside a meter's top lamp, such as "Peak".
    pub lamp: Option<String>,
    /// Whether the knobs have dB marks.
    pub marks: Option<bool>,
    /// What a sine that reads 0 on the desk peaks at here.
    pub reference: Option<Dbfs>,
    /// From the desk's 0 to its clipping.
    pub headroom: Option<Db>,
    /// When that was measured.
    pub date: Option<Date>,
}

/// The last five belong to the rig.
const EVENT_KEYS: [&str; 15] = [
    "version",
    "name",
    "place",
    "doors",
    "connection",
    "device",
    "song",
    "desk",
    "sound",
    "recording",
    "venue",
    "gear",
    "show_hours",
    "bus",
    "accepted",
];
const SONG_KEYS: [&str; 2] = ["name", "open"];
const DESK_KEYS: [&str; 6] = ["knob", "lamp", "marks", "reference_dbfs", "headroom_db", "date"];

/// Everything that could be read, with every mistake. `listed` are the channels of the input list, where it
/// could be read; `folder_name` stands in for a missing name.
pub(super) fn read(text: &str, folder_name: &str, listed: Option<&[ChannelId]>, findings: &mut Findings) -> Settings {
    let document = match Document::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = line_column(text, error.span().map_or(0, |span| span.start));
            let message = error.message().lines().map(str::trim).collect::<Vec<_>>().join("; ");
            findings.mistake(at, "", Fault::Syntax(message));
            return Settings::default();
        }
    };
    let event = document.as_table();
    let mut reader = Reader::new(text, findings);
    if !reader.version(event) {
        return Settings::default();
    }
    reader.unknown_keys(event, &EVENT_KEYS);
    let name = reader.words(event, "name").unwrap_or_else(|| {
        reader.findings.warn((1, 1), "name", Doubt::NoEventName(folder_name.to_owned()));
        folder_name.to_owned()
    });
    Settings {
        name,
        place: reader.words(event, "place"),
        doors: reader.value(event, "doors", "a time", "2027-03-12T18:30:00 or \"18:30\", by the hall's clock", doors),
        connection: reader.connection(event),
        device: reader.words(event, "device"),
        songs: reader.songs(event, listed),
        desk: reader.desk(event),
        sound: sound::read(event, &mut reader),
        recording: recording::read(&mut reader, event),
    }
}

/// One TOML file being read: values by key, every mistake with its place.
pub(super) struct Reader<'a> {
    text: &'a str,
    findings: &'a mut Findings,
    /// What stands before a key in a field's name: "song 2, " or "desk, ".
    pub within: String,
}

impl<'a> Reader<'a> {
    pub fn new(text: &'a str, findings: &'a mut Findings) -> Self {
        Self { text, findings, within: String::new() }
    }

    /// Whether the file is written in a form that is read here.
    pub fn version(&mut self, event: &dyn TableLike) -> bool {
        let Some(item) = event.get("version") else { return true };
        match item.as_integer() {
            Some(VERSION) => return true,
            Some(newer) if newer > VERSION => self.mistake(item, "version", Fault::Newer(newer)),
            _ => self.wrong(item, "version", "a version of this format", "the number 1"),
        }
        false
    }

    fn connection(&mut self, event: &dyn TableLike) -> Option<Listening> {
        let meaning = |listening| match listening {
            Listening::AllChannels => "all channels",
            Listening::OneFeed => "one feed",
            Listening::RoomMic => "room mic only",
        };
        let told = Listening::ALL.map(|listening| format!("\"{}\" ({})", listening.word(), meaning(listening)));
        self.word(event, "connection", "a way to listen", &either(&told), &Listening::ALL, Listening::word)
    }

    fn songs(&mut self, event: &dyn TableLike, listed: Option<&[ChannelId]>) -> Vec<Song> {
        let Some(item) = event.get("song") else { return Vec::new() };
        let Some(tables) = tables(item) else {
            self.wrong(item, "song", "a list of songs", "a line [[song]] above each song's name and open");
            return Vec::new();
        };
        let mut songs = Vec::with_capacity(tables.len());
        for (index, table) in tables.into_iter().enumerate() {
            self.within = format!("song {}, ", index + 1);
            self.unknown_keys(table, &SONG_KEYS);
            let name = self.words(table, "name").unwrap_or_else(|| {
                let spots = table.iter().filter_map(|(_, item)| item.span()).map(|span| span.start);
                let at = spots.min().map_or((1, 1), |start| line_column(self.text, start));
                self.findings.warn(at, &format!("song {}", index + 1), Doubt::NoSongName(index + 1));
                format!("song {}", index + 1)
            });
            songs.push(Song { name, open: self.channels(table, "open", listed, Doubt::OpenedTwice) });
        }
        self.within.clear();
        songs
    }

    /// One channel.
    pub fn channel(&mut self, table: &dyn TableLike, key: &str) -> Option<ChannelId> {
        self.value(table, key, "a channel", "one whole number from 1 to 64", |item| {
            let number = usize::try_from(item.as_integer()?).ok()?;
            (1..=ChannelId::MAX_CHANNELS).contains(&number).then(|| ChannelId::from_index(number - 1))
        })
    }

    /// A list of channels, each once.
    pub fn channels(
        &mut self,
        table: &dyn TableLike,
        key: &str,
        listed: Option<&[ChannelId]>,
        twice: fn(u16) -> Doubt,
    ) -> Vec<ChannelId> {
        let Some(item) = table.get(key) else { return Vec::new() };
        let Some(array) = item.as_array() else {
            self.wrong(item, key, "a list of channels", "channel numbers such as [1, 2, 6]");
            return Vec::new();
        };
        let mut channels = Vec::with_capacity(array.len());
        for value in array {
            let numbers = 1..=ChannelId::MAX_CHANNELS;
            let number = value.as_integer().and_then(|number| usize::try_from(number).ok());
            let item = Item::Value(value.clone());
            let Some(number) = number.filter(|number| numbers.contains(number)) else {
                self.wrong(&item, key, "a channel", "one whole number from 1 to 64");
                continue;
            };
            let channel = ChannelId::from_index(number - 1);
            if listed.is_some_and(|listed| !listed.contains(&channel)) {
                self.mistake(&item, key, Fault::NotListed(channel.number()));
            } else if channels.contains(&channel) {
                let field = format!("{}{key}", self.within);
                self.findings.warn(self.at(&item), &field, twice(channel.number()));
            } else {
                channels.push(channel);
            }
        }
        channels
    }

    fn desk(&mut self, event: &dyn TableLike) -> Desk {
        let Some(item) = event.get("desk") else { return Desk::default() };
        let Some(table) = item.as_table_like() else {
            self.wrong(item, "desk", "a part of the file", "a line [desk] above knob, lamp and marks");
            return Desk::default();
        };
        self.within = "desk, ".to_owned();
        self.unknown_keys(table, &DESK_KEYS);
        let desk = Desk {
            knob: self.words(table, "knob"),
            lamp: self.words(table, "lamp"),
            marks: self.value(table, "marks", "an answer", "true or false", Item::as_bool),
            reference: self
                .value(table, "reference_dbfs", "a level", "a number from -80 to 0 (dBFS)", |item| {
                    number(item, -80.0..=0.0)
                })
                .map(Dbfs::new),
            headroom: self
                .value(table, "headroom_db", "a headroom", "a number from 0 to 40 (dB)", |item| {
                    number(item, 0.0..=40.0)
                })
                .map(Db::new),
            date: self.value(table, "date", "a date", "a day such as 2027-03-12", date),
        };
        self.within.clear();
        desk
    }

    /// Text in one line; empty is "not said".
    pub fn words(&mut self, table: &dyn TableLike, key: &str) -> Option<String> {
        let text = self.value(table, key, "text", "text in \"quotes\"", |item| item.as_str().map(str::to_owned))?;
        if let Some(control) = text.chars().find(|c| c.is_control() && !c.is_whitespace()) {
            self.mistake(&table.get(key).cloned().unwrap_or_default(), key, Fault::Control(control as u32));
        }
        let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
        (!line.is_empty()).then_some(line)
    }

    /// One of a few words.
    pub fn one_of<T: Copy>(
        &mut self,
        table: &dyn TableLike,
        key: &str,
        thing: &'static str,
        all: &[T],
        word: fn(T) -> &'static str,
    ) -> Option<T> {
        let told: Vec<String> = all.iter().map(|&one| format!("\"{}\"", word(one))).collect();
        self.word(table, key, thing, &either(&told), all, word)
    }

    fn word<T: Copy>(
        &mut self,
        table: &dyn TableLike,
        key: &str,
        thing: &'static str,
        expected: &str,
        all: &[T],
        word: fn(T) -> &'static str,
    ) -> Option<T> {
        let item = table.get(key)?;
        let written = item.as_str();
        let found = written.and_then(|written| all.iter().copied().find(|&one| word(one) == words::plain(written)));
        if found.is_none() {
            let near =
                written.and_then(|written| words::nearest(written, all.iter().map(|&one| (word(one), word(one)))));
            let near = near.map(str::to_owned);
            let fault = Fault::Value { stood: self.stood(item), thing, expected: expected.to_owned(), near };
            self.mistake(item, key, fault);
        }
        found
    }

    pub fn value<T>(
        &mut self,
        table: &dyn TableLike,
        key: &str,
        thing: &'static str,
        expected: &str,
        read: impl FnOnce(&Item) -> Option<T>,
    ) -> Option<T> {
        let item = table.get(key)?;
        let value = read(item);
        if value.is_none() {
            self.wrong(item, key, thing, expected);
        }
        value
    }

    /// A key that is not known is told of; it may be a slip, or somebody's own.
    pub fn unknown_keys(&mut self, table: &dyn TableLike, known: &[&'static str]) {
        for (key, _) in table.iter().filter(|(key, _)| !known.contains(key)) {
            let near = words::nearest(key, known.iter().map(|&word| (word, word.to_owned())));
            let span = table.get_key_value(key).and_then(|(key, _)| key.span());
            let at = line_column(self.text, span.map_or(0, |span| span.start));
            let field = format!("{}{}", self.within, quote(key));
            self.findings.warn(at, &field, Doubt::UnknownKey { word: quote(key), near });
        }
    }

    pub fn wrong(&mut self, item: &Item, key: &str, thing: &'static str, expected: &str) {
        let fault = Fault::Value { stood: self.stood(item), thing, expected: expected.to_owned(), near: None };
        self.mistake(item, key, fault);
    }

    pub fn mistake(&mut self, item: &Item, key: &str, fault: Fault) {
        let field = format!("{}{key}", self.within);
        self.findings.mistake(self.at(item), &field, fault);
    }

    pub fn at(&self, item: &Item) -> (usize, usize) {
        line_column(self.text, item.span().map_or(0, |span| span.start))
    }

    /// The text of a string, or the value as it was written.
    pub fn stood(&self, item: &Item) -> String {
        let written = item.span().and_then(|span| self.text.get(span)).unwrap_or_default();
        quote(item.as_str().unwrap_or(written))
    }
}

/// "a, b or c".
fn either(choices: &[String]) -> String {
    match choices.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} or {last}", others.join(", ")),
        _ => choices.concat(),
    }
}

/// Each table of a list.
pub(super) fn listed<T>(
    reader: &mut Reader,
    of: &dyn TableLike,
    key: &str,
    mut read: impl FnMut(&mut Reader, &dyn TableLike) -> Option<T>,
) -> Vec<T> {
    let Some(item) = of.get(key) else { return Vec::new() };
    let Some(all) = tables(item) else {
        reader.wrong(item, key, "a list", &format!("a line [[{key}]] above each"));
        return Vec::new();
    };
    let mut found = Vec::new();
    for (index, table) in all.into_iter().enumerate() {
        reader.within = format!("{key} {}, ", index + 1);
        found.extend(read(reader, table));
    }
    reader.within.clear();
    found
}

/// `[[key]]` tables, or inline tables in an array.
fn tables(item: &Item) -> Option<Vec<&dyn TableLike>> {
    match item {
        Item::ArrayOfTables(tables) => Some(tables.iter().map(|table| table as &dyn TableLike).collect()),
        Item::Value(Value::Array(array)) => {
            array.iter().map(|value| value.as_inline_table().map(|table| table as &dyn TableLike)).collect()
        }
        _ => None,
    }
}

/// A time of the hall's clock; one with a zone is nobody's doors time.
fn doors(item: &Item) -> Option<Doors> {
    match item.as_datetime() {
        Some(written) if written.offset.is_some() || written.time.is_none() => None,
        Some(written) => Doors::parse(&written.to_string()),
        None => Doors::parse(item.as_str()?),
    }
}

pub(super) fn date(item: &Item) -> Option<Date> {
    match item.as_datetime() {
        Some(written) => Date::parse(&written.to_string()),
        None => Date::parse(item.as_str()?),
    }
}

pub(super) fn number(item: &Item, range: RangeInclusive<f64>) -> Option<f64> {
    let number = item.as_float().or(item.as_integer().map(|whole| whole as f64))?;
    range.contains(&number).then_some(number)
}
