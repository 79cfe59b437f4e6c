//! `linecheck.csv`: the ticks of the last line check, beside the input list, for the patch sheet to show.
//!
//! ```csv
//! channel,tick,result,came_in_on,checked
//! 1,yes,arrived,1,2027-03-12
//! 4,no,came in on 5,5,2027-03-12
//! ```
//!
//! One line an input, in the order in which it was called; `tick` is yes where the wire arrived, alone and clean;
//! `came_in_on` is empty where nothing was heard; `checked` is the day. Written in one piece over the old one
//! (`save.rs`). Edge cases: no such file is "not checked yet"; columns that are not known are passed over; a line that
//! names no channel, or a channel twice, is a mistake with its place.

use std::path::Path;

use super::error::{EventError, Fault, Findings, quote};
use super::when::Date;
use super::{save, text};
use crate::units::ChannelId;

const TICKS_FILE: &str = "linecheck.csv";
const HEADINGS: [&str; 5] = ["channel", "tick", "result", "came_in_on", "checked"];

/// What a line check found about one input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tick {
    pub channel: ChannelId,
    /// It arrived, alone and clean.
    pub right: bool,
    /// In words.
    pub result: String,
    pub came_in_on: Option<ChannelId>,
    pub date: Option<Date>,
}

/// Writes the ticks into an event folder; the old ones stay whole until the new ones are.
pub fn write_ticks(folder: impl AsRef<Path>, ticks: &[Tick]) -> Result<(), EventError> {
    let mut lines = csv::Writer::from_writer(Vec::new());
    let mut written = lines.write_record(HEADINGS);
    for tick in ticks {
        let came_in_on = tick.came_in_on.map_or_else(String::new, |channel| channel.number().to_string());
        let date = tick.date.map_or_else(String::new, |date| date.to_string());
        let right = if tick.right { "yes" } else { "no" };
        let cells = [&tick.channel.number().to_string(), right, &tick.result, &came_in_on, &date];
        written = written.and_then(|()| lines.write_record(cells));
    }
    let bytes = written.ok().and_then(|()| lines.into_inner().ok()).unwrap_or_default();
    save::replace(&folder.as_ref().join(TICKS_FILE), &bytes)
}

/// The ticks of an event folder; none before its first line check.
pub fn read_ticks(folder: impl AsRef<Path>) -> Result<Vec<Tick>, EventError> {
    let path = folder.as_ref().join(TICKS_FILE);
    if !path.exists() {
        return Ok(Vec::new());
    }
    let bytes = text::read(&path)?;
    let mut findings = Findings::new(path);
    let ticks = text::decode(&bytes, &mut findings).map(|text| gather(&text, &mut findings)).unwrap_or_default();
    if findings.mistakes.is_empty() { Ok(ticks) } else { Err(EventError::Mistakes(findings.mistakes)) }
}

fn gather(text: &str, findings: &mut Findings) -> Vec<Tick> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
    let headings = reader.headers().cloned().unwrap_or_default();
    let at = |name: &str| headings.iter().position(|heading| heading.trim().eq_ignore_ascii_case(name));
    let Some(channel_at) = at("channel") else {
        findings.mistake((1, 1), "channel", Fault::Empty("channel,tick,result,came_in_on,checked"));
        return Vec::new();
    };
    let [tick_at, result_at, on_at, date_at] = ["tick", "result", "came_in_on", "checked"].map(at);
    let mut ticks: Vec<(usize, Tick)> = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let Ok(record) = record else { continue };
        let line = record.position().map_or(index + 2, |position| position.line() as usize);
        let cell = |at: Option<usize>| at.and_then(|at| record.get(at)).unwrap_or("").trim();
        let Some(channel) = channel(cell(Some(channel_at))) else {
            let fault = Fault::Value {
                stood: quote(cell(Some(channel_at))),
                thing: "a channel",
                expected: "a number from 1 to 64".into(),
                near: None,
            };
            findings.mistake((line, channel_at + 1), "channel", fault);
            continue;
        };
        if let Some((first, _)) = ticks.iter().find(|(_, tick)| tick.channel == channel) {
            let fault = Fault::SameChannel { channel: channel.number(), first: *first };
            findings.mistake((line, channel_at + 1), "channel", fault);
            continue;
        }
        let tick = Tick {
            channel,
            right: cell(tick_at).eq_ignore_ascii_case("yes"),
            result: cell(result_at).to_owned(),
            came_in_on: self::channel(cell(on_at)),
            date: Date::parse(cell(date_at)),
        };
        ticks.push((line, tick));
    }
    ticks.into_iter().map(|(_, tick)| tick).collect()
}

fn channel(text: &str) -> Option<ChannelId> {
    let number: usize = text.parse().ok()?;
    (1..=ChannelId::MAX_CHANNELS).contains(&number).then(|| ChannelId::from_index(number - 1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn tick(index: u16, right: bool, result: &str, on: Option<u16>) -> Tick {
        let date = Date::new(2027, 3, 12);
        Tick { channel: ChannelId::new(index), right, result: result.into(), came_in_on: on.map(ChannelId::new), date }
    }

    #[test]
    fn what_was_written_is_read_and_nothing_else_is_left() {
        let folder = tempfile::tempdir().expect("a folder");
        assert_eq!(read_ticks(folder.path()).expect("none yet"), []);
        let ticks = [tick(0, true, "arrived", Some(0)), tick(3, false, "came in on 5, \"again\"", Some(4))];
        write_ticks(folder.path(), &ticks).expect("written");
        assert_eq!(read_ticks(folder.path()).expect("read"), ticks);
        let fewer = [tick(7, false, "silent", None)];
        write_ticks(folder.path(), &fewer).expect("written over");
        assert_eq!(read_ticks(folder.path()).expect("read"), fewer);
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
    }

    #[test]
    fn mistakes_have_their_place() {
        let folder = tempfile::tempdir().expect("a folder");
        let told = |text: &str| {
            fs::write(folder.path().join(TICKS_FILE), text).expect("written");
            read_ticks(folder.path()).expect_err("a mistake").to_string()
        };
        assert!(told("channel,tick\nnine,yes\n").contains("linecheck.csv:2:1 (channel): “nine” is not a channel"));
        assert!(told("tick,channel\nyes,65\n").contains(":2:2 (channel): “65”"));
        assert!(told("channel,tick\n4,yes\n4,no\n").contains("channel 4 is listed twice, first on line 2"));
        assert!(told("").contains("nothing is written here"));
        assert!(told("\u{0}\u{1}").contains("not text"));
    }

    #[test]
    fn a_folder_that_is_not_there_is_said() {
        let folder = tempfile::tempdir().expect("a folder");
        let error = write_ticks(folder.path().join("gone"), &[]).expect_err("no folder");
        assert!(error.to_string().contains("cannot be written"), "{error}");
    }
}
