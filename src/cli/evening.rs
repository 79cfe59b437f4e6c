//! What is kept of an evening beside what is said: the event's log, and a recording of all channels.
//!
//! Neither holds up the sound or the words. Edge cases: without an event there is no log; on a log that can't be written
//! it is said once.

use std::io::{self, IsTerminal};
use std::path::Path;

use anyhow::bail;
use serde_json::Value;

use super::out;
use super::soundcheck::ask;
use crate::engine::record::{RecordEvent, RecordPlan, Recording, Stop};
use crate::engine::show::{Alert, ShowWatch};
use crate::event::Consent;
use crate::event::log::{Entry, Log};
use crate::units::Seconds;
use crate::view::{NextStep, Setup, journal, multitrack, numbers};

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

/// Something that happened to the recording.
pub struct News {
    at: Seconds,
    pub text: String,
    record: Value,
    /// It wants a hand.
    pub is_alert: bool,
}

impl News {
    /// As a line of its own.
    pub fn tell(&self, json: bool) -> io::Result<()> {
        if json {
            return out::json(&self.record);
        }
        let sign = if self.is_alert { '!' } else { ' ' };
        out::line(&format!("{:>7}  {sign} {}", numbers::clock(self.at), self.text))
    }
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

    /// What the show has asked for since.
    pub fn watch(&mut self, watch: &ShowWatch) {
        for entry in watch.logged_since(self.entries) {
            self.write(journal::asked(entry, &self.names));
        }
        self.entries = watch.entries();
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

    /// What it asked for last is done or left; before it is told so.
    pub fn answer(&self, watch: &ShowWatch, alert: Option<&Alert>, done: bool) {
        if let Some(alert) = alert.filter(|alert| !matches!(alert, Alert::Ring(_))) {
            self.write(journal::alert_answered(self.at, alert, done));
        } else if let Some(entry) = watch.open_question() {
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

    /// The song at hand; `None` before the first.
    pub fn song(&self) -> Option<&str> {
        self.songs.get(self.begun.checked_sub(1)?).map(String::as_str)
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
        if let Some(trouble) = self.log.as_ref().and_then(Log::trouble) {
            out::note(&trouble.to_string());
        }
        events
            .into_iter()
            .map(|event| {
                if let Some(log) = &self.log {
                    self.write(journal::recording(self.at, log.folder(), &event));
                }
                let (text, record) = (multitrack::told(&event), multitrack::news_record(self.at, &event));
                News { at: self.at, text, record, is_alert: multitrack::is_alert(&event) }
            })
            .collect()
    }

    /// Within the song that is sung.
    fn write(&self, entry: Entry) {
        if let Some(log) = &self.log {
            log.add(&Entry { song: self.song().map(str::to_owned), ..entry });
        }
    }
}

/// Who may be recorded: as the event says, else asked once and stored there; in a pipe nobody can be asked.
pub fn consent(setup: &mut Setup) -> anyhow::Result<Consent> {
    let Some(event) = &setup.event else { bail!(multitrack::NO_EVENT) };
    if let Some(consent) = &event.settings.recording {
        return Ok(consent.clone());
    }
    if !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
        bail!(multitrack::unasked(event.folder()));
    }
    out::line(multitrack::ASKED_ONCE)?;
    for (name, number) in setup.names.iter().zip(1..).filter(|(name, _)| !name.is_empty()) {
        out::line(&format!("{number:>3}  {name}"))?;
    }
    let barred = until(multitrack::WHO, multitrack::NOBODY, multitrack::channels)?;
    let delete_after = until(multitrack::UNTIL, multitrack::NO_DAY, multitrack::day)?;
    let consent = Consent { barred, delete_after };
    setup.keep_consent(&consent)?;
    Ok(consent)
}

/// Asks until the answer is understood.
fn until<T>(question: &str, usual: &str, understand: impl Fn(&str) -> Option<T>) -> io::Result<T> {
    loop {
        if let Some(answer) = understand(&ask(question, usual)?) {
            return Ok(answer);
        }
        out::line(multitrack::NOT_UNDERSTOOD)?;
    }
}

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
