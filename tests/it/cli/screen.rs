//! The live screen through a pseudo-terminal: it comes up, answers keys, and gives the terminal back.
//!
//! `script` (util-linux) makes the pseudo-terminal; where it is missing these tests say so and stop.

#![cfg(target_os = "linux")]

use std::io::{Read, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crate::support::process::signal;

const ENTER: &str = "\u{1b}[?1049h";
const LEAVE: &str = "\u{1b}[?1049l";
const SHOW_CURSOR: &str = "\u{1b}[?25h";
/// A loaded machine is slow; what never comes is a fault.
const PATIENCE: Duration = Duration::from_secs(60);

/// The program on a terminal of 100 × 36.
struct Terminal {
    script: Child,
    keyboard: ChildStdin,
    text: Arc<Mutex<Vec<u8>>>,
    reader: JoinHandle<()>,
    folder: tempfile::TempDir,
}

impl Terminal {
    /// `None` without `script`.
    fn start(arguments: &str, variables: &[(&str, &str)]) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let program = env!("CARGO_BIN_EXE_beforedoors");
        let line = format!("stty cols 100 rows 36; echo $$ > pid; exec {program} {arguments}");
        let script = Command::new("script")
            .args(["-q", "-e", "-c", &line, "/dev/null"])
            .current_dir(folder.path())
            .env_remove("NO_COLOR")
            .env_remove("COLORTERM")
            .env("TERM", "xterm-256color")
            .env("SHELL", "/bin/sh")
            .envs(variables.iter().copied())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let Ok(mut script) = script else {
            eprintln!("no `script` on this machine: the screen was not tested");
            return None;
        };
        let (keyboard, mut out) = (script.stdin.take()?, script.stdout.take()?);
        let text = Arc::new(Mutex::new(Vec::new()));
        let into = Arc::clone(&text);
        let reader = thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = out.read(&mut bytes) {
                into.lock().unwrap().extend_from_slice(&bytes[..count]);
            }
        });
        Some(Self { script, keyboard, text, reader, folder })
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.text.lock().unwrap()).into_owned()
    }

    /// Waits until `words` were written.
    fn shows(&self, words: &str) {
        let begun = Instant::now();
        while !self.text().contains(words) {
            assert!(begun.elapsed() < PATIENCE, "no “{words}” in {}", self.text());
            thread::sleep(Duration::from_millis(20));
        }
    }

    fn press(&mut self, key: &str) {
        self.keyboard.write_all(key.as_bytes()).and_then(|()| self.keyboard.flush()).expect("a keyboard");
    }

    /// Sends a signal to the program itself.
    fn signal(&self, name: &str) {
        let process = std::fs::read_to_string(self.folder.path().join("pid")).expect("its number");
        signal(name, process.trim());
    }

    /// All that was written, once the program has ended.
    fn ended(mut self) -> String {
        let begun = Instant::now();
        while self.script.try_wait().expect("its end").is_none() {
            if begun.elapsed() > PATIENCE {
                let _ = self.script.kill();
                panic!("it does not end: {}", self.text());
            }
            thread::sleep(Duration::from_millis(20));
        }
        self.reader.join().expect("all of it");
        String::from_utf8_lossy(&self.text.lock().unwrap()).into_owned()
    }
}

fn was_given_back(text: &str) {
    let (enter, leave) = (text.find(ENTER).expect("the screen"), text.rfind(LEAVE).expect("the end"));
    assert!(enter < leave && text.rfind(SHOW_CURSOR).is_some_and(|shown| shown > enter));
    assert!(!text[leave..].contains(ENTER));
}

#[test]
fn the_screen_comes_up_explains_itself_and_goes() {
    let Some(mut terminal) = Terminal::start("soundcheck --stage", &[]) else { return };
    terminal.shows("Ask 1 Lectern for");
    for (key, words) in [
        ("w", "Noise in the pauses"),
        ("?", "stands in the window: leave it"),
        ("3", "3 Soloist"),
        ("a", "Asked; it comes in a few seconds"),
    ] {
        terminal.press(key);
        terminal.shows(words);
    }
    terminal.press("q");
    let text = terminal.ended();
    was_given_back(&text);
    for words in
        ["window −15…−9", "heard, but not for long enough to judge", "A ask for it   S skip", "simulated stage"]
    {
        assert!(text.contains(words), "“{words}” in {text}");
    }
    assert!(text.contains("\u{1b}[38;5;"), "some colour");
    let after = &text[text.rfind(LEAVE).unwrap_or(0)..];
    assert!(after.contains("12  Laptop"), "the table stays behind: {after}");
}

#[test]
fn every_way_out_gives_the_terminal_back() {
    for way in ["\u{3}", "\u{1b}", "-TERM", "-HUP", "-INT"] {
        let Some(mut terminal) = Terminal::start("soundcheck --stage", &[]) else { return };
        terminal.shows("Ask 1 Lectern for");
        if way.starts_with('-') {
            terminal.signal(way);
        } else {
            terminal.press(way);
        }
        let text = terminal.ended();
        was_given_back(&text);
        assert!(text.contains("12  Laptop"), "{way:?}: the table stays behind");
    }
}

#[test]
fn no_color_is_respected() {
    let variables = [("NO_COLOR", "1"), ("COLORTERM", "truecolor")];
    let Some(mut terminal) = Terminal::start("soundcheck --stage", &variables) else { return };
    terminal.shows("Q leave");
    terminal.press("q");
    let text = terminal.ended();
    was_given_back(&text);
    assert!(!text.contains("\u{1b}[38;"), "no colour: {text}");
    assert!(text.contains("not heard"), "the word says it");
}

/// Asked once an event; the answers are kept in it. It names no device, and the screen says what it shows instead.
#[test]
fn three_questions_on_the_first_use() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), "version = 1\nname = \"Spring concert\"\n").unwrap();
    let event = folder.path().display();
    let Some(mut terminal) = Terminal::start(&format!("soundcheck --stage --event {event}"), &[]) else { return };
    for (question, answer) in [
        ("Which word stands by the input knob? [Trim]", "Gain\n"),
        ("What is the top lamp of a channel called? [Peak]", "\n"),
        ("Do the input knobs have dB marks? [yes]", "no\n"),
        (ENTER, "q"),
    ] {
        terminal.shows(question);
        terminal.press(answer);
    }
    was_given_back(&terminal.ended());
    let kept = std::fs::read_to_string(folder.path().join("event.toml")).unwrap();
    for line in ["knob = \"Gain\"", "lamp = \"Peak\"", "marks = false"] {
        assert!(kept.contains(line), "{line} in {kept}");
    }
    let Some(mut terminal) = Terminal::start(&format!("soundcheck --event {event}"), &[]) else { return };
    terminal.shows("The event names no device: this is the simulated stage");
    terminal.press("q");
    assert!(!terminal.ended().contains("Which word"), "asked once only");
}
