//! What is kept of an evening beside what is said: the event's log, and a recording of all channels.
//!
//! Neither holds up the sound or the words. Edge cases: without an event there is no log; on a log that can't be written
//! it is said once.

use std::io;
use std::path::Path;

use serde_json::Value;

use super::sentence::NextStep;
use super::setup::Setup;
use super::{journal, multitrack};
use crate::engine::Snapshot;
use crate::engine::record::{RecordEvent, RecordPlan, Recording, Stop};
use crate::engine::session::Status;
use crate::engine::show::{Alert, ShowEntry, ShowLog};
use crate::event::Consent;
use crate::event::log::{Entry, Log};
use crate::units::{FrameCount, Seconds};

#[derive(Default)]
pub struct Evening {
    log: Option<Log>,
    names: Vec<String>,
    /// The programme, and how many of its songs have begun.
    songs: Vec<String>,
    begun: usize,
    recording: Option<Recording>,
    /// Entries of the show's watch that are in the log.
    entries: u64,
    trouble: Option<Option<Seconds>>,
    lost: Option<String>,
    missed: Seconds,
    at: Seconds,
}

/// Something that happened to the recording, or to the log.
pub struct News {
    pub at: Seconds,
    pub text: String,
    /// The same for other programs; null: nothing for them.
    pub record: Value,
    /// It wants a hand.
    pub is_alert: bool,
}

impl Evening {
    pub fn of(setup: &Setup) -> io::Result<Self> {
        let log = setup.event.as_ref().map(|event| Log::open(event.folder())).transpose()?;
        let songs = setup.songs().iter().map(|song| song.name.clone()).collect();
        Ok(Self { log, names: setup.names.clone(), songs, ..Self::default() })
    }

    /// A recording has begun.
    pub fn keep(&mut self, recording: Recording, consent: &Consent) -> News {
        let (file, tracks, barred) = (&recording.file, &recording.tracks, &consent.barred);
        if let Some(log) = &self.log {
            self.write(journal::recording_began(self.at, log.folder(), file, tracks, barred));
        }
        let text = multitrack::began(file, tracks.len(), barred, &self.names);
        let record = multitrack::began_record(self.at, file, tracks, barred, &text);
        self.recording = Some(recording);
        News { at: self.at, text, record, is_alert: false }
    }

    /// The sound's time, what is missing of it so far, and why it is gone, if it is. Gives what is to be told.
    pub fn follow(&mut self, at: Seconds, missed: Seconds, lost: Option<&str>) -> Vec<News> {
        self.at = at;
        if lost != self.lost.as_deref() {
            self.write(journal::device(at, lost));
            self.lost = lost.map(str::to_owned);
        }
        if missed > self.missed {
            self.write(journal::gap(at, missed - self.missed));
            self.missed = missed;
        }
        let news = self.recording.as_mut().map(Recording::news).unwrap_or_default();
        self.tell(news)
    }

    /// The same of a session's newest picture.
    pub fn hear(&mut self, snapshot: &Snapshot, status: &Status) -> Vec<News> {
        let missed = FrameCount::new(snapshot.lost_frames).at(snapshot.readings.rate);
        let lost = if let Status::Lost(why) = status { Some(why.as_str()) } else { None };
        self.follow(snapshot.at, missed, lost)
    }

    /// What the show has asked for since.
    pub fn watch(&mut self, log: &ShowLog) {
        for entry in log.since(self.entries) {
            self.write(journal::asked(entry, &self.names));
        }
        self.entries = log.entries;
    }

    /// Something other than a ring wants a hand.
    pub fn alert(&self, alert: &Alert, next: &NextStep) {
        if !matches!(alert, Alert::Ring(_)) {
            self.write(journal::alert(self.at, alert, next));
        }
    }

    /// The recording has room for so much more, `Some(None)`: it stopped; `None`: all is well.
    pub const fn trouble(&self) -> Option<Option<Seconds>> {
        self.trouble
    }

    /// What it asked for last is done or left; before it is told so. `open`: what of its rings is asked for and not answered.
    pub fn answer(&self, open: Option<&ShowEntry>, alert: Option<&Alert>, done: bool) {
        if let Some(alert) = alert.filter(|alert| !matches!(alert, Alert::Ring(_))) {
            self.write(journal::alert_answered(self.at, alert, done));
        } else if let Some(entry) = open {
            self.write(journal::answered(self.at, entry, done, &self.names));
        }
    }

    pub fn mark(&self, text: &str) {
        self.write(journal::mark(self.at, text));
    }

    /// The next song of the programme begins; after its last one more is nobody's.
    pub fn song_begins(&mut self) {
        self.begun = (self.begun + 1).min(self.songs.len() + 1);
    }

    /// This one is at hand, counted from 0.
    pub fn song_is(&mut self, song: usize) {
        self.begun = (song + 1).min(self.songs.len());
    }

    /// The song at hand; `None` before the first.
    pub fn song(&self) -> Option<&str> {
        self.songs.get(self.begun.checked_sub(1)?).map(String::as_str)
    }

    pub const fn recording(&self) -> Option<&Recording> {
        self.recording.as_ref()
    }

    pub const fn has_log(&self) -> bool {
        self.log.is_some()
    }

    /// Waits until all that was heard is written; whoever hears must have stopped before.
    pub fn end(mut self) -> Vec<News> {
        let news = self.recording.take().map(Recording::end).unwrap_or_default();
        self.tell(news)
    }

    fn tell(&mut self, events: Vec<RecordEvent>) -> Vec<News> {
        for event in &events {
            match event {
                RecordEvent::LowDisk { left } => self.trouble = Some(Some(*left)),
                RecordEvent::Stopped { why: Stop::DiskFull | Stop::Failed(_), .. } => self.trouble = Some(None),
                _ => {}
            }
        }
        let trouble = self.log.as_ref().and_then(Log::trouble).map(|trouble| {
            let text = trouble.to_string();
            News { at: self.at, text, record: Value::Null, is_alert: true }
        });
        let told = |event: RecordEvent| {
            if let Some(log) = &self.log {
                self.write(journal::recording(self.at, log.folder(), &event));
            }
            let (text, record) = (multitrack::told(&event), multitrack::news_record(self.at, &event));
            News { at: self.at, text, record, is_alert: multitrack::is_alert(&event) }
        };
        trouble.into_iter().chain(events.into_iter().map(told)).collect()
    }

    /// Within the song that is sung.
    fn write(&self, entry: Entry) {
        if let Some(log) = &self.log {
            log.add(&Entry { song: self.song().map(str::to_owned), ..entry });
        }
    }
}

/// A recording in this folder, without those who are barred.
pub fn plan(folder: &Path, stem: &str, consent: &Consent) -> RecordPlan {
    let (folder, stem) = (folder.to_owned(), stem.to_owned());
    RecordPlan { folder, stem, barred: consent.barred.clone(), mark: multitrack::mark }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::Event;

    #[test]
    fn the_log_tells_the_song_of_each_line() {
        let folder = tempfile::tempdir().unwrap();
        let songs = "version = 1\nname = \"C\"\n[[song]]\nname = \"Opening\"\n[[song]]\nname = \"Finale\"\n";
        std::fs::write(folder.path().join("event.toml"), songs).unwrap();
        let mut evening = Evening::of(&Setup::of(Event::open(folder.path()).unwrap().0)).unwrap();
        for song in [None, Some("Opening"), Some("Finale"), None, None] {
            assert_eq!(evening.song(), song);
            evening.mark("here");
            evening.song_begins();
        }
        evening.end();
        let text = std::fs::read_to_string(folder.path().join("log.jsonl")).unwrap();
        let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        let songs: Vec<Value> = lines.map(|line| line["song"].clone()).collect();
        assert_eq!(songs, [Value::Null, "Opening".into(), "Finale".into(), Value::Null, Value::Null]);
    }
}
