//! `soundcheck.toml`: how the last soundcheck left each line, for the last look before doors.
//!
//! ```toml
//! version = 1
//! ended = 2027-03-12T17:05:00      # by the hall's clock
//! device = "Desk"
//! rate_hz = 48000
//!
//! [[line]]                         # one for each line of the device, listed or not: the main mix is one like others
//! channel = 1
//! heard = true
//! floor_dbfs = -71.3               # the quietest pause; without it none was heard
//! typical_dbfs = -14.2             # the median of the loudest passages
//! ```
//!
//! Of the simulated stage it is kept in a file of its own, with where each knob stood (`knob_db`). Levels in dBFS, to a
//! tenth. Written in one piece over the old one (`save.rs`); keys that are not known stay. Edge cases: no such file is "no
//! soundcheck yet"; a damaged one is told with its place, and never written over.

use std::path::{Path, PathBuf};

use toml_edit::{ArrayOfTables, Document, DocumentMut, Item, Table, TableLike};

use super::error::{EventError, Fault, Findings};
use super::rewrite::{datetime, put};
use super::settings::{Reader, VERSION, listed, number};
use super::text::line_column;
use super::when::{self, Doors};
use super::{save, text};
use crate::coach::ready::{Baseline, NOTHING, Was};
use crate::units::{Db, Dbfs, SampleRate};

const FILE: &str = "soundcheck.toml";
const OF_THE_STAGE: &str = "soundcheck-simulated.toml";
const KEYS: [&str; 5] = ["version", "ended", "device", "rate_hz", "line"];
const LINE_KEYS: [&str; 5] = ["channel", "heard", "floor_dbfs", "typical_dbfs", "knob_db"];

/// A soundcheck as it was stored.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    pub left: Baseline,
    /// When it ended, by the hall's clock.
    pub ended: Option<Doors>,
}

/// The one of this event; none before its first. `staged`: of the simulated stage.
pub fn read_checked(folder: &Path, staged: bool) -> Result<Option<Checked>, EventError> {
    let path = path(folder, staged);
    if !path.exists() {
        return Ok(None);
    }
    let bytes = text::read(&path)?;
    let mut findings = Findings::new(path);
    let read = text::decode(&bytes, &mut findings).and_then(|text| parse(&text, &mut findings));
    match read {
        Some(checked) if findings.mistakes.is_empty() => Ok(Some(checked)),
        _ => Err(EventError::Mistakes(findings.mistakes)),
    }
}

/// Keeps one that ends now; `known` tells of which lines something new is known, the others stay as they were stored.
pub fn keep_checked(
    folder: &Path,
    left: Baseline,
    staged: bool,
    known: impl Fn(usize) -> bool,
) -> Result<(), EventError> {
    let before = read_checked(folder, staged)?;
    let path = path(folder, staged);
    let old = if before.is_some() { text::read(&path)? } else { Vec::new() };
    let left = left.after(before.map(|before| before.left), known);
    let mut findings = Findings::new(path.clone());
    let text = text::decode(&old, &mut findings).unwrap_or_default();
    save::replace(&path, write(&text, &left).as_bytes())
}

fn path(folder: &Path, staged: bool) -> PathBuf {
    folder.join(if staged { OF_THE_STAGE } else { FILE })
}

fn parse(text: &str, findings: &mut Findings) -> Option<Checked> {
    let document = match Document::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = line_column(text, error.span().map_or(0, |span| span.start));
            let message = error.message().lines().map(str::trim).collect::<Vec<_>>().join("; ");
            findings.mistake(at, "", Fault::Damaged(message));
            return None;
        }
    };
    let table = document.as_table();
    for key in ["device", "rate_hz"] {
        if table.get(key).is_none() {
            findings.mistake((1, 1), key, Fault::Damaged(format!("there is no {key}")));
        }
    }
    let mut reader = Reader::new(text, findings);
    if !reader.version(table) {
        return None;
    }
    reader.unknown_keys(table, &KEYS);
    let moment = "a time such as 2027-03-12T17:05:00";
    let ended = reader.value(table, "ended", "a time", moment, |item| Doors::parse(&item.as_datetime()?.to_string()));
    let device = reader.words(table, "device");
    let rate = reader.value(table, "rate_hz", "a sample rate", "a whole number from 8000 to 192000", |item| {
        SampleRate::new(item.as_integer()?.try_into().ok()?)
    });
    let lines = lines(table, &mut reader);
    Some(Checked { left: Baseline { device: device.unwrap_or_default(), rate: rate?, lines }, ended })
}

fn lines(table: &dyn TableLike, reader: &mut Reader) -> Vec<Was> {
    let told = listed(reader, table, "line", |reader, line| {
        reader.unknown_keys(line, &LINE_KEYS);
        let level = |item: &Item| number(item, NOTHING.get()..=20.0);
        let channel = reader.channel(line, "channel");
        let heard = reader.value(line, "heard", "an answer", "true or false", Item::as_bool);
        let mut dbfs =
            |key| reader.value(line, key, "a level", "a number from -120 to 20 (dBFS)", level).map(Dbfs::new);
        let (floor, typical) = (dbfs("floor_dbfs"), dbfs("typical_dbfs"));
        let knob =
            reader.value(line, "knob_db", "a gain", "a number from -20 to 80 (dB)", |item| number(item, -20.0..=80.0));
        Some((channel?.index(), Was { heard: heard == Some(true), floor, typical, knob: knob.map(Db::new) }))
    });
    let mut lines: Vec<Was> = Vec::new();
    for (channel, was) in told {
        lines.resize(lines.len().max(channel + 1), Was::default());
        lines[channel] = was;
    }
    lines
}

/// The old text with what is known now; a text that can't be read was refused before.
fn write(text: &str, left: &Baseline) -> String {
    let mut document: DocumentMut = text.parse().unwrap_or_default();
    let table = document.as_table_mut();
    put(table, "version", &None, &Some(VERSION), Into::into);
    put(table, "ended", &None, &Some(when::now_date_time()), |now| datetime(&now));
    put(table, "device", &None, &Some(&left.device), |device| device.into());
    put(table, "rate_hz", &None, &Some(i64::from(left.rate.get())), Into::into);
    let old = table.get("line").and_then(Item::as_array_of_tables).cloned().unwrap_or_default();
    let of = |channel: i64| old.iter().find(|line| line.get("channel").and_then(Item::as_integer) == Some(channel));
    let mut lines = ArrayOfTables::new();
    for (was, channel) in left.lines.iter().zip(1..) {
        let mut line = of(channel).cloned().unwrap_or_else(Table::new);
        line.set_position(None);
        put(&mut line, "channel", &None, &Some(channel), Into::into);
        put(&mut line, "heard", &None, &Some(was.heard), Into::into);
        for (key, level) in [("floor_dbfs", was.floor), ("typical_dbfs", was.typical)] {
            set(&mut line, key, level.map(Dbfs::get));
        }
        set(&mut line, "knob_db", was.knob.map(Db::get));
        lines.push(line);
    }
    table.insert("line", Item::ArrayOfTables(lines));
    document.to_string()
}

/// To a tenth; what is not known any more is taken away.
fn set(line: &mut Table, key: &str, level: Option<f64>) {
    match level {
        Some(level) => put(line, key, &None, &Some((level * 10.0).round() / 10.0), Into::into),
        None => drop(line.remove(key)),
    }
}
