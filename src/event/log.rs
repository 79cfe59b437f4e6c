//! `log.jsonl`: what happened at the event, a JSON object a line, only ever added to.
//!
//! A line is whole on the disk or not there, whatever ends the program: a half one that a crash left stays as it is, and
//! the next line begins anew below it. `at` is the hall's own clock in ISO 8601, `time_s` the audio clock in seconds.
//! `Log` writes on a thread of its own, so that nobody waits for the disk; a disk that takes nothing is a state, told
//! once, and once it takes lines again one of them says how many were lost.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;

use serde_json::{Value, json};

use super::error::EventError;
use super::when;
use crate::units::Seconds;

pub const NAME: &str = "log.jsonl";
/// These name a file of sound under `file`.
pub const RECORDING_BEGAN: &str = "recording_began";
pub const RECORDING_GOES_ON: &str = "recording_next_file";

/// One thing that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    pub what: &'static str,
    /// On the audio clock.
    pub time: Option<Seconds>,
    pub song: Option<String>,
    pub evidence: Value,
    /// What was asked for, in the program's words.
    pub action: Option<String>,
    /// Whether it was done; `None`: nobody has said.
    pub done: Option<bool>,
}

impl Entry {
    pub const fn new(what: &'static str, evidence: Value) -> Self {
        Self { what, time: None, song: None, evidence, action: None, done: None }
    }

    pub fn at(self, time: Seconds) -> Self {
        Self { time: Some(time), ..self }
    }

    fn line(&self) -> String {
        let time = self.time.map(|time| (time.get() * 1000.0).round() / 1000.0);
        let record = json!({
            "at": when::now_text(), "time_s": time, "song": self.song, "event": self.what,
            "evidence": self.evidence, "action": self.action, "done": self.done,
        });
        format!("{record}\n")
    }
}

/// Adds a line at once.
pub fn add(folder: &Path, entry: &Entry) -> Result<(), EventError> {
    let path = folder.join(NAME);
    let added = open(&path).and_then(|mut lines| lines.add(&entry.line()));
    added.map_err(|cause| EventError::Unwritable { path, cause })
}

/// How a file of sound is named in the log: within the event's folder by its way from there.
pub fn file_text(folder: &Path, file: &Path) -> String {
    let whole = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let (folder, file) = (whole(folder), whole(file));
    file.strip_prefix(&folder).unwrap_or(&file).to_string_lossy().into_owned()
}

/// The files of sound that the log tells of and that are still there.
pub fn recorded(folder: &Path) -> Vec<PathBuf> {
    let text = std::fs::read(folder.join(NAME)).unwrap_or_default();
    let mut files: Vec<PathBuf> = Vec::new();
    for line in text.split(|&byte| byte == b'\n') {
        let Ok(record) = serde_json::from_slice::<Value>(line) else { continue };
        let began = [RECORDING_BEGAN, RECORDING_GOES_ON].iter().any(|what| record["event"] == *what);
        let Some(name) = record["evidence"]["file"].as_str().filter(|_| began) else { continue };
        let file = folder.join(name);
        if file.is_file() && !files.contains(&file) {
            files.push(file);
        }
    }
    files
}

/// A log that is written beside whatever goes on. Dropped, it has written all.
pub struct Log {
    folder: PathBuf,
    lines: Option<Sender<String>>,
    troubles: Receiver<EventError>,
    thread: Option<JoinHandle<()>>,
}

impl Log {
    pub fn open(folder: &Path) -> io::Result<Self> {
        let (lines, queue) = channel();
        let (tell, troubles) = channel();
        let path = folder.join(NAME);
        let writer = move || keep(queue, &path, || open(&path), &tell);
        let thread = std::thread::Builder::new().name("log".into()).spawn(writer)?;
        Ok(Self { folder: folder.to_owned(), lines: Some(lines), troubles, thread: Some(thread) })
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Does not wait.
    pub fn add(&self, entry: &Entry) {
        if let Some(lines) = &self.lines {
            let _ = lines.send(entry.line());
        }
    }

    /// Why lines are being lost, when that begins.
    pub fn trouble(&self) -> Option<EventError> {
        self.troubles.try_recv().ok()
    }
}

impl Drop for Log {
    fn drop(&mut self) {
        self.lines = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Writes what comes, until no more can come.
fn keep<F: Lines>(
    queue: Receiver<String>,
    path: &Path,
    mut open: impl FnMut() -> io::Result<LogFile<F>>,
    tell: &Sender<EventError>,
) {
    let mut file: Option<LogFile<F>> = None;
    let mut lost = 0;
    for line in queue {
        let mut text = line;
        if lost > 0 {
            text.insert_str(0, &Entry::new("log_lost", json!({ "lines": lost })).line());
        }
        let there = match file.take() {
            Some(file) => Ok(file),
            None => open(),
        };
        let added = there.and_then(|there| file.insert(there).add(&text));
        match added {
            Ok(()) => lost = 0,
            Err(cause) => {
                if lost == 0 {
                    let _ = tell.send(EventError::Unwritable { path: path.to_owned(), cause });
                }
                lost += 1;
            }
        }
    }
}

/// What lines are added to.
trait Lines: Write {
    fn settle(&mut self) -> io::Result<()>;
}

impl Lines for File {
    fn settle(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

struct LogFile<F> {
    file: F,
    /// The last line has no end.
    is_torn: bool,
}

fn open(path: &Path) -> io::Result<LogFile<File>> {
    let mut file = OpenOptions::new().create(true).append(true).read(true).open(path)?;
    let mut last = [b'\n'];
    if file.seek(SeekFrom::End(0))? > 0 {
        file.seek(SeekFrom::End(-1))?;
        file.read_exact(&mut last)?;
    }
    Ok(LogFile { file, is_torn: last != [b'\n'] })
}

impl<F: Lines> LogFile<F> {
    fn add(&mut self, line: &str) -> io::Result<()> {
        let begun = if self.is_torn { format!("\n{line}") } else { line.to_owned() };
        self.is_torn = true;
        self.file.write_all(begun.as_bytes())?;
        self.is_torn = false;
        self.file.settle()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(folder: &Path) -> Vec<String> {
        std::fs::read_to_string(folder.join(NAME)).unwrap().lines().map(str::to_owned).collect()
    }

    fn entry(number: u64) -> Entry {
        Entry::new("mark", json!({ "number": number })).at(Seconds::new(number as f64))
    }

    #[test]
    fn lines_are_added_and_none_is_lost() {
        let folder = tempfile::tempdir().unwrap();
        add(folder.path(), &Entry::new("mark", json!({ "view": "Show" }))).unwrap();
        let log = Log::open(folder.path()).unwrap();
        (0..50).for_each(|number| log.add(&entry(number)));
        assert!(log.trouble().is_none());
        drop(log);
        let lines: Vec<Value> = read(folder.path()).iter().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert_eq!(lines.len(), 51);
        assert_eq!((&lines[0]["event"], &lines[0]["evidence"]["view"]), (&json!("mark"), &json!("Show")));
        assert_eq!((&lines[50]["evidence"]["number"], &lines[50]["time_s"]), (&json!(49), &json!(49.0)));
        assert!(add(&folder.path().join("missing"), &entry(1)).is_err());
    }

    #[test]
    fn a_half_line_stays_and_the_next_begins_below_it() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(NAME), "{\"event\":\"mark\"}\n{\"event\":\"ri").unwrap();
        add(folder.path(), &entry(1)).unwrap();
        add(folder.path(), &entry(2)).unwrap();
        let lines = read(folder.path());
        assert_eq!((lines.len(), lines[1].as_str()), (4, "{\"event\":\"ri"));
        assert!(serde_json::from_str::<Value>(&lines[2]).is_ok() && serde_json::from_str::<Value>(&lines[3]).is_ok());
    }

    /// A disk that is full for a while, half-way through a line.
    #[test]
    fn a_full_disk_is_told_once_and_afterwards_what_was_lost() {
        struct Small(std::sync::Arc<std::sync::Mutex<(Vec<u8>, usize)>>);
        impl Write for Small {
            fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
                let (text, room) = &mut *self.0.lock().unwrap();
                let part = &bytes[..bytes.len().min(*room)];
                if part.is_empty() {
                    // Somebody makes room now and then.
                    *room = if text.len() > 700 { 0 } else { 2_000 };
                    return Err(io::ErrorKind::StorageFull.into());
                }
                text.extend(part);
                *room -= part.len();
                Ok(part.len())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        impl Lines for Small {
            fn settle(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let disk = std::sync::Arc::new(std::sync::Mutex::new((Vec::new(), 200)));
        let (lines, queue) = channel();
        (0..30).for_each(|number| lines.send(entry(number).line()).unwrap());
        drop(lines);
        let (tell, troubles) = channel();
        keep(queue, Path::new("log"), || Ok(LogFile { file: Small(disk.clone()), is_torn: false }), &tell);
        let written = disk.lock().unwrap().0.clone();
        let lines: Vec<Option<Value>> =
            written.split(|&byte| byte == b'\n').map(|line| serde_json::from_slice(line).ok()).collect();
        let torn = lines.iter().position(Option::is_none).unwrap();
        let lost = lines[torn + 1].as_ref().unwrap();
        assert_eq!((&lost["event"], &lost["evidence"]["lines"]), (&json!("log_lost"), &json!(1)));
        let after = lines[torn + 2].as_ref().unwrap()["evidence"]["number"].as_u64().unwrap();
        assert_eq!(after as usize, torn + 1, "line {torn} was lost");
        // Full again for good: told once more, however many lines come.
        assert_eq!(troubles.try_iter().count(), 2);
    }

    #[test]
    fn files_of_sound_are_found_again() {
        let folder = tempfile::tempdir().unwrap();
        let elsewhere = tempfile::tempdir().unwrap();
        let (inside, outside) = (folder.path().join("takes/show.wav"), elsewhere.path().join("b.wav"));
        std::fs::create_dir(folder.path().join("takes")).unwrap();
        for (file, what) in [(&inside, RECORDING_BEGAN), (&outside, RECORDING_GOES_ON), (&outside, RECORDING_BEGAN)] {
            std::fs::write(file, "").unwrap();
            add(folder.path(), &Entry::new(what, json!({ "file": file_text(folder.path(), file) }))).unwrap();
        }
        add(folder.path(), &Entry::new(RECORDING_BEGAN, json!({ "file": "gone.wav" }))).unwrap();
        add(folder.path(), &Entry::new("mark", json!({ "file": "takes/show.wav" }))).unwrap();
        let outside = outside.canonicalize().unwrap();
        assert_eq!(recorded(folder.path()), [inside, outside]);
        assert_eq!(file_text(folder.path(), &folder.path().join("takes/show.wav")), "takes/show.wav");
    }
}
