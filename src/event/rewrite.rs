//! `event.toml` again, with what changed: comments, order and keys of other programs stay as they were.
//!
//! Only values that differ from what the text says are touched. A song keeps its own comments and keys by
//! its name, or by its place where it was renamed.

use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, TomlError, Value};

use super::recording::Consent;
use super::settings::{Settings, Song, VERSION};
use super::sound;
use super::when::{Date, Doors};
use super::words::Listening;
use crate::units::{ChannelId, Db, Dbfs};

/// `text` says `old`; the answer says `new`.
pub(super) fn rewrite(text: &str, old: &Settings, new: &Settings) -> Result<String, TomlError> {
    let mut document: DocumentMut = text.parse()?;
    let event = document.as_table_mut();
    if text.trim().is_empty() {
        event.insert("version", VERSION.into());
    }
    put(event, "name", &Some(&old.name), &Some(&new.name), |name| name.as_str().into());
    put(event, "place", &old.place, &new.place, |place| place.into());
    put(event, "doors", &old.doors, &new.doors, doors);
    put(event, "connection", &old.connection, &new.connection, |listening: Listening| listening.word().into());
    put(event, "device", &old.device, &new.device, |device| device.into());
    if old.songs != new.songs {
        let songs = songs(event.get("song"), &old.songs, &new.songs);
        event.insert("song", Item::ArrayOfTables(songs));
    }
    if old.desk != new.desk {
        let desk = event.entry("desk").or_insert(Item::Table(Table::new()));
        if let Some(desk) = desk.as_table_like_mut() {
            put(desk, "knob", &old.desk.knob, &new.desk.knob, |word| word.into());
            put(desk, "lamp", &old.desk.lamp, &new.desk.lamp, |word| word.into());
            put(desk, "marks", &old.desk.marks, &new.desk.marks, |marks| marks.into());
            put(desk, "reference_dbfs", &old.desk.reference, &new.desk.reference, |level: Dbfs| level.get().into());
            put(desk, "headroom_db", &old.desk.headroom, &new.desk.headroom, |db: Db| db.get().into());
            put(desk, "date", &old.desk.date, &new.desk.date, |date: Date| datetime(&date.to_string()));
        }
    }
    if old.sound != new.sound {
        let table = event.entry("sound").or_insert(Item::Table(Table::new()));
        if let Some(table) = table.as_table_like_mut() {
            sound::write(table, &old.sound, &new.sound);
        }
    }
    if old.recording != new.recording {
        let recording = event.entry("recording").or_insert(Item::Table(Table::new()));
        if let Some(table) = recording.as_table_like_mut() {
            let (old, new) = (old.recording.as_ref(), new.recording.as_ref());
            put(table, "asked", &old.map(|_| true), &new.map(|_| true), |asked| asked.into());
            let barred = |consent: Option<&Consent>| consent.map(|consent| consent.barred.clone());
            put(table, "barred", &barred(old), &barred(new), |barred| channels(&barred));
            let day = |consent: Option<&Consent>| consent.and_then(|consent| consent.delete_after);
            put(table, "delete_after", &day(old), &day(new), |date: Date| datetime(&date.to_string()));
        }
    }
    Ok(document.to_string())
}

/// Sets, changes or removes a key where it differs; the comment behind a changed value stays.
pub(super) fn put<T: Clone + PartialEq>(
    table: &mut dyn TableLike,
    key: &str,
    old: &Option<T>,
    new: &Option<T>,
    value: impl FnOnce(T) -> Value,
) {
    if old == new {
        return;
    }
    let Some(new) = new.clone() else {
        table.remove(key);
        return;
    };
    let mut value = value(new);
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(there) => {
            *value.decor_mut() = there.decor().clone();
            *there = value;
        }
        None => {
            table.insert(key, Item::Value(value));
        }
    }
}

fn songs(there: Option<&Item>, old: &[Song], new: &[Song]) -> ArrayOfTables {
    let tables = there.and_then(Item::as_array_of_tables);
    let mut songs = ArrayOfTables::new();
    for (index, song) in new.iter().enumerate() {
        let by_name = old.iter().position(|before| before.name == song.name);
        let renamed =
            || old.get(index).filter(|before| new.iter().all(|other| other.name != before.name)).map(|_| index);
        let before = by_name.or_else(renamed);
        let known = before.and_then(|before| Some((&old[before], tables?.get(before)?)));
        let (before, mut table) = known.map_or((None, Table::new()), |(song, table)| (Some(song), table.clone()));
        // A table stands where it is put, not where it stood.
        table.set_position(None);
        put(&mut table, "name", &before.map(|before| &before.name), &Some(&song.name), |name| name.as_str().into());
        put(&mut table, "open", &before.map(|before| &before.open), &Some(&song.open), |open| channels(open));
        songs.push(table);
    }
    songs
}

fn channels(channels: &[ChannelId]) -> Value {
    Value::Array(channels.iter().map(|channel| i64::from(channel.number())).collect::<Array>())
}

/// With a day as TOML's own date and time, else as text.
fn doors(doors: Doors) -> Value {
    if doors.date().is_some() { datetime(&doors.to_string()) } else { doors.to_string().into() }
}

pub(super) fn datetime(text: &str) -> Value {
    text.parse::<toml_edit::Datetime>().map_or_else(|_| text.into(), Value::from)
}
