//! `[sound]` of `event.toml`: what 0 dBFS is in the room, and how loud it may be there.
//!
//! Levels in dB re 20 µPa: dB(A), of peaks dB(C); differences in dB. Edge cases: without `full_scale_db` nothing was
//! compared, and levels stay relative; what is not said of a comparison counts as the least sure; a limit that is not
//! said is the usual one; without `room_mic` nothing in the room is measured, unless a channel is named.

use toml_edit::{Array, Item, TableLike, Value};

use super::rewrite::{datetime, put};
use super::settings::{Reader, date, number};
use super::when::Date;
use crate::coach::sound::{ActionValue, Calibration, Duty, Limits, Microphone, Standard};
use crate::units::{ChannelId, Db, Spl};

/// How the level in the room is measured and judged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sound {
    /// The microphone in the room.
    pub room: Option<ChannelId>,
    /// `None`: never compared.
    pub calibration: Option<Calibration>,
    /// When that was.
    pub date: Option<Date>,
    pub limits: Limits,
}

const KEYS: [&str; 12] = [
    "room_mic",
    "full_scale_db",
    "compared_with",
    "microphone",
    "spread_db",
    "date",
    "note_dba",
    "act_dba",
    "instant_dba",
    "cap_dba",
    "daily_dba",
    "peak_dbc",
];

const A_LEVEL: &str = "a number from 40 to 140 (dB)";

pub(super) fn read(event: &dyn TableLike, reader: &mut Reader) -> Sound {
    let Some(item) = event.get("sound") else { return Sound::default() };
    let Some(table) = item.as_table_like() else {
        reader.wrong(item, "sound", "a part of the file", "a line [sound] above full_scale_db and act_dba");
        return Sound::default();
    };
    reader.within = "sound, ".to_owned();
    reader.unknown_keys(table, &KEYS);
    let sound = Sound {
        room: reader.channel(table, "room_mic"),
        calibration: calibration(table, reader),
        date: reader.value(table, "date", "a date", "a day such as 2027-03-12", date),
        limits: limits(table, reader),
    };
    reader.within.clear();
    sound
}

fn calibration(table: &dyn TableLike, reader: &mut Reader) -> Option<Calibration> {
    let full_scale = reader
        .value(table, "full_scale_db", "a level", "a number from 70 to 170 (dB)", |item| number(item, 70.0..=170.0));
    let with = reader.one_of(table, "compared_with", "something to compare with", &Standard::ALL, Standard::word);
    let microphone = reader.one_of(table, "microphone", "a microphone", &Microphone::ALL, Microphone::word);
    let spread = reader.value(table, "spread_db", "a difference", "a number from 0 to 6 (dB)", |item| {
        number(item, 0.0..=Calibration::WIDEST_SPREAD.get())
    });
    Some(Calibration {
        full_scale: Spl::new(full_scale?),
        with: with.unwrap_or(Standard::OtherMeter),
        microphone: microphone.unwrap_or(Microphone::Ordinary),
        spread: spread.map_or(Calibration::WIDEST_SPREAD, Db::new),
    })
}

fn limits(table: &dyn TableLike, reader: &mut Reader) -> Limits {
    let usual = Limits::default();
    let mut level = |key, usual| reader.value(table, key, "a level", A_LEVEL, a_level).map_or(usual, Spl::new);
    let limits = Limits {
        note: level("note_dba", usual.note),
        act: level("act_dba", usual.act),
        instant: level("instant_dba", usual.instant),
        cap: level("cap_dba", usual.cap),
        duty: duty(table, reader, usual.duty),
    };
    if limits.note > limits.act {
        let written = ["act_dba", "note_dba"].into_iter().find_map(|key| Some((key, table.get(key)?)));
        if let Some((key, item)) = written {
            reader.wrong(item, key, "a level that fits", "a note_dba that is not over act_dba");
        }
    }
    limits
}

fn duty(table: &dyn TableLike, reader: &mut Reader, usual: Duty) -> Duty {
    let mut three = |key, usual: [Spl; 3]| {
        let expected = "three levels that rise, such as [80, 85, 87] (dB)";
        let levels = reader.value(table, key, "three levels", expected, three_levels);
        levels.map_or(usual, |levels| levels.map(Spl::new))
    };
    let values = [usual.lower, usual.upper, usual.limit];
    let daily = three("daily_dba", values.map(|value| value.daily));
    let peak = three("peak_dbc", values.map(|value| value.peak));
    let [lower, upper, limit] = [0, 1, 2].map(|at| ActionValue { daily: daily[at], peak: peak[at] });
    Duty { lower, upper, limit }
}

fn a_level(item: &Item) -> Option<f64> {
    number(item, 40.0..=140.0)
}

fn three_levels(item: &Item) -> Option<[f64; 3]> {
    let levels: Option<Vec<f64>> = item.as_array()?.iter().map(|value| a_level(&Item::Value(value.clone()))).collect();
    let levels: [f64; 3] = levels?.try_into().ok()?;
    levels.is_sorted().then_some(levels)
}

/// Writes into `[sound]` what differs.
pub(super) fn write(table: &mut dyn TableLike, old: &Sound, new: &Sound) {
    put(table, "room_mic", &old.room, &new.room, |room| i64::from(room.number()).into());
    let [was, is] = [old.calibration, new.calibration];
    let full_scale = |it: Option<Calibration>| it.map(|it| it.full_scale);
    put(table, "full_scale_db", &full_scale(was), &full_scale(is), |level| tenth(level.get()));
    put(table, "compared_with", &was.map(|it| it.with), &is.map(|it| it.with), |with| with.word().into());
    put(table, "microphone", &was.map(|it| it.microphone), &is.map(|it| it.microphone), |it| it.word().into());
    put(table, "spread_db", &was.map(|it| it.spread), &is.map(|it| it.spread), |spread| tenth(spread.get()));
    put(table, "date", &old.date, &new.date, |date| datetime(&date.to_string()));
    let [was, is] = [&old.limits, &new.limits];
    for (key, was, is) in [
        ("note_dba", was.note, is.note),
        ("act_dba", was.act, is.act),
        ("instant_dba", was.instant, is.instant),
        ("cap_dba", was.cap, is.cap),
    ] {
        put(table, key, &Some(was), &Some(is), |level| tenth(level.get()));
    }
    let three = |duty: &Duty, of: fn(ActionValue) -> Spl| Some([duty.lower, duty.upper, duty.limit].map(of));
    for (key, of) in [("daily_dba", (|value| value.daily) as fn(ActionValue) -> Spl), ("peak_dbc", |value| value.peak)]
    {
        put(table, key, &three(&was.duty, of), &three(&is.duty, of), |levels| {
            Value::Array(levels.iter().map(|level| tenth(level.get())).collect::<Array>())
        });
    }
}

/// No more digits than can be known.
fn tenth(db: f64) -> Value {
    ((db * 10.0).round() / 10.0).into()
}
