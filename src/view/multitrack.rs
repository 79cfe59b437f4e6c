//! Recording while listening, in words and as records: who may be recorded, what happened, what is overdue.

use std::path::Path;

use serde_json::{Value, json};

use super::numbers::{clock, counted, thousandths};
use super::who;
use crate::engine::record::{Cause, Gap, RecordEvent, Stop};
use crate::event::Date;
use crate::units::{ChannelId, Seconds};

/// Asked once an event, each with the answer that Enter gives.
pub const ASKED_ONCE: &str = "Before the first recording, once for this event: who may be recorded?";
pub const WHO: &str = "Numbers of the channels that must not be, such as 4 7:";
pub const NOBODY: &str = "none";
pub const UNTIL: &str = "After which day should the recordings be deleted, such as 2027-04-30?";
pub const NO_DAY: &str = "no day";
pub const NOT_UNDERSTOOD: &str = "Not understood. Once more:";

/// What begins the names of the files.
pub const SHOW: &str = "show";
pub const SOUNDCHECK: &str = "soundcheck";

pub const NO_EVENT: &str = "a recording needs an event, which keeps who may be recorded. Name it with --event FOLDER; \
                            beforedoors plan new FOLDER makes one";
pub const OF_THE_STAGE: &str = "the simulated stage is not recorded. Name your desk with --device NAME";

/// In a pipe nobody can be asked.
pub fn unasked(event: &Path) -> String {
    format!(
        "nobody has said yet who may be recorded. Start once in a terminal, where it is asked; or write into {}: \
         [recording], below it asked = true, barred = [4, 7] for the channels that must not be recorded (or []), and, \
         if you like, delete_after = 2027-04-30",
        event.join("event.toml").display()
    )
}

/// Numbers of channels, or the usual answer; `None`: not understood.
pub fn channels(answer: &str) -> Option<Vec<ChannelId>> {
    if answer == NOBODY {
        return Some(Vec::new());
    }
    let words = answer.split([' ', ',', ';']).filter(|word| !word.is_empty());
    let mut channels: Vec<ChannelId> = words
        .map(|word| word.parse().ok().filter(|number| (1..=ChannelId::MAX_CHANNELS).contains(number)))
        .map(|number| number.map(|number| ChannelId::from_index(number - 1)))
        .collect::<Option<_>>()?;
    channels.sort();
    channels.dedup();
    Some(channels)
}

/// A day, or the usual answer; `None`: not understood.
pub fn day(answer: &str) -> Option<Option<Date>> {
    if answer == NO_DAY { Some(None) } else { Date::parse(answer).map(Some) }
}

/// "Recording 15 channels into …; not recorded: 4 Choir left".
pub fn began(file: &Path, tracks: usize, barred: &[ChannelId], names: &[String]) -> String {
    let tracks = counted(tracks as u64, "channel", "channels");
    format!("Recording {tracks} into {}{}", file.display(), without(barred, names))
}

/// "15 channels; not recorded: 4 Choir left".
pub fn tracks(tracks: usize, barred: &[ChannelId], names: &[String]) -> String {
    format!("{}{}", counted(tracks as u64, "channel", "channels"), without(barred, names))
}

/// "Recording 12:31".
pub fn goes_on(length: Seconds) -> String {
    format!("Recording {}", clock(length))
}

fn without(barred: &[ChannelId], names: &[String]) -> String {
    let barred: Vec<String> = barred.iter().map(|&channel| who(Some(channel), names)).collect();
    if barred.is_empty() { String::new() } else { format!("; not recorded: {}", barred.join(", ")) }
}

/// What happened, and what to do.
pub fn told(event: &RecordEvent) -> String {
    match event {
        RecordEvent::Gap(gap) => format!("Recording: {}; silence stands in its place", mark(gap)),
        RecordEvent::NextFile { file } => {
            format!("Recording goes on in {}: this disk ends files here", file.display())
        }
        RecordEvent::LowDisk { left } => {
            format!("Soon: free space for the recording, {} min are left", (left.get() / 60.0).floor())
        }
        RecordEvent::Stopped { why: Stop::Asked, length } => format!("Recorded {}", clock(*length)),
        RecordEvent::Stopped { why: Stop::DiskFull, length } => {
            format!(
                "Recording stopped after {}: the disk is full. The show goes on; free space, or name another folder",
                clock(*length)
            )
        }
        RecordEvent::Stopped { why: Stop::Failed(why), length } => {
            format!(
                "Recording stopped after {} ({why}). The show goes on; look at the disk, or name another folder",
                clock(*length)
            )
        }
    }
}

/// Whether it wants a hand.
pub const fn is_alert(event: &RecordEvent) -> bool {
    !matches!(event, RecordEvent::NextFile { .. } | RecordEvent::Stopped { why: Stop::Asked, .. })
}

/// What is missing; also the text of the mark in the file.
pub fn mark(gap: &Gap) -> String {
    let why = match gap.cause {
        Cause::Device => "the device gave nothing",
        Cause::Disk => "the disk was too slow",
    };
    format!("{:.2} s missing, {why}", gap.span.get())
}

/// The keys of a recording's lines.
pub const RECORDING_NEWS_KEYS: &str = "\
recording, with --record: time_s, state (began, gap, next_file, low_disk, stopped), file, tracks (the channel of each), \
barred, at_s and span_s (of a gap, in the recording), cause (device, disk), left_s, reason (asked, disk_full, failed), \
length_s, message";

/// How it began.
pub fn began_record(at: Seconds, file: &Path, tracks: &[ChannelId], barred: &[ChannelId], message: &str) -> Value {
    let numbers = |channels: &[ChannelId]| channels.iter().map(|channel| channel.number()).collect::<Vec<_>>();
    json!({
        "type": "recording", "time_s": thousandths(at.get()), "state": "began", "file": file.display().to_string(),
        "tracks": numbers(tracks), "barred": numbers(barred), "message": message,
    })
}

/// What happened to it.
pub fn news_record(at: Seconds, event: &RecordEvent) -> Value {
    let mut record = json!({ "type": "recording", "time_s": thousandths(at.get()), "state": state(event) });
    if let (Some(record), Value::Object(more)) = (record.as_object_mut(), evidence(event)) {
        record.extend(more);
        record.insert("message".into(), told(event).into());
    }
    record
}

pub(super) const fn state(event: &RecordEvent) -> &'static str {
    match event {
        RecordEvent::Gap(_) => "gap",
        RecordEvent::NextFile { .. } => "next_file",
        RecordEvent::LowDisk { .. } => "low_disk",
        RecordEvent::Stopped { .. } => "stopped",
    }
}

pub(super) fn evidence(event: &RecordEvent) -> Value {
    match event {
        RecordEvent::Gap(gap) => json!({
            "at_s": thousandths(gap.at.get()), "span_s": thousandths(gap.span.get()), "times": gap.times,
            "cause": match gap.cause { Cause::Device => "device", Cause::Disk => "disk" },
        }),
        RecordEvent::NextFile { file } => json!({ "file": file.display().to_string() }),
        RecordEvent::LowDisk { left } => json!({ "left_s": thousandths(left.get()) }),
        RecordEvent::Stopped { why, length } => {
            let (reason, detail) = match why {
                Stop::Asked => ("asked", None),
                Stop::DiskFull => ("disk_full", None),
                Stop::Failed(detail) => ("failed", Some(detail)),
            };
            json!({ "reason": reason, "detail": detail, "length_s": thousandths(length.get()) })
        }
    }
}

/// Recordings that should be gone; nothing is deleted from here.
pub fn overdue(last: Date, files: &[impl AsRef<Path>]) -> String {
    let names: Vec<String> = files.iter().map(|file| format!("  {}", file.as_ref().display())).collect();
    format!("These recordings were to be deleted after {last}. Delete them yourself:\n{}", names.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_understood_or_asked_again() {
        let numbers = |answer| channels(answer).map(|all| all.iter().map(|it| it.number()).collect::<Vec<_>>());
        assert_eq!(numbers("7, 4;4 12"), Some(vec![4, 7, 12]));
        assert_eq!(numbers(NOBODY), Some(vec![]));
        for wrong in ["four", "0", "65", "4 Choir", "-1"] {
            assert_eq!(numbers(wrong), None, "{wrong}");
        }
        assert_eq!(day(NO_DAY), Some(None));
        assert_eq!(day("2027-04-30").flatten().map(|day| day.to_string()).as_deref(), Some("2027-04-30"));
        assert_eq!(day("tomorrow"), None);
    }

    #[test]
    fn what_happened_says_what_to_do() {
        let gap = Gap { at: Seconds::new(61.0), span: Seconds::new(0.5), times: 2, cause: Cause::Disk };
        assert_eq!(
            told(&RecordEvent::Gap(gap)),
            "Recording: 0.50 s missing, the disk was too slow; silence stands in its place"
        );
        let low = RecordEvent::LowDisk { left: Seconds::new(1_199.0) };
        assert_eq!(told(&low), "Soon: free space for the recording, 19 min are left");
        let full = RecordEvent::Stopped { why: Stop::DiskFull, length: Seconds::new(3_723.4) };
        assert!(told(&full).starts_with("Recording stopped after 1:02:03: the disk is full. The show goes on"));
        let record = news_record(Seconds::new(2.0), &full);
        assert_eq!(
            (&record["state"], &record["reason"], &record["length_s"]),
            (&json!("stopped"), &json!("disk_full"), &json!(3723.4))
        );
        let barred = [ChannelId::new(1)];
        let names = ["Lectern".to_owned(), "Ana".to_owned()];
        assert_eq!(
            began(Path::new("a.wav"), 1, &barred, &names),
            "Recording 1 channel into a.wav; not recorded: 2 Ana"
        );
    }
}
