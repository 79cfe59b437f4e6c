//! The live screen through a pseudo-terminal: it comes up, answers keys, and gives the terminal back.
//!
//! `script` (util-linux) makes the pseudo-terminal; where it is missing these tests say so and stop.

#![cfg(target_os = "linux")]

use std::io::Write;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

const ENTER: &str = "\u{1b}[?1049h";
const LEAVE: &str = "\u{1b}[?1049l";
const SHOW_CURSOR: &str = "\u{1b}[?25h";

/// What the terminal got while `keys` were pressed, one a moment; `None` without `script`.
fn run(arguments: &str, keys: &[&str], variables: &[(&str, &str)]) -> Option<String> {
    let program = env!("CARGO_BIN_EXE_beforedoors");
    let mut child = Command::new("script")
        .args(["-q", "-e", "-c", &format!("stty cols 100 rows 36; {program} {arguments}"), "/dev/null"])
        .env_remove("NO_COLOR")
        .env_remove("COLORTERM")
        .env("TERM", "xterm-256color")
        .envs(variables.iter().copied())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let Ok(child) = &mut child else {
        eprintln!("no `script` on this machine: the screen was not tested");
        return None;
    };
    let mut keyboard = child.stdin.take()?;
    let mut out = child.stdout.take()?;
    let reader = thread::spawn(move || {
        let mut text = Vec::new();
        let _ = std::io::Read::read_to_end(&mut out, &mut text);
        String::from_utf8_lossy(&text).into_owned()
    });
    for key in keys {
        thread::sleep(Duration::from_millis(700));
        let _ = keyboard.write_all(key.as_bytes()).and_then(|()| keyboard.flush());
    }
    let _ = child.wait();
    reader.join().ok()
}

fn was_given_back(text: &str) {
    let (enter, leave) = (text.find(ENTER).expect("the screen"), text.rfind(LEAVE).expect("the end"));
    assert!(enter < leave && text.rfind(SHOW_CURSOR).is_some_and(|shown| shown > enter));
    assert!(!text[leave..].contains(ENTER));
}

#[test]
fn the_screen_comes_up_explains_itself_and_goes() {
    let Some(text) = run("soundcheck --stage", &["w", "w", "?", "?", "3", "q"], &[]) else { return };
    was_given_back(&text);
    for words in ["Ask 1 Lectern for", "window −15…−9", "Why", "stands in the window: leave it", "simulated stage"]
    {
        assert!(text.contains(words), "“{words}” in {text}");
    }
    assert!(text.contains("\u{1b}[38;5;"), "some colour");
    let after = &text[text.rfind(LEAVE).unwrap_or(0)..];
    assert!(after.contains("12  Laptop"), "the table stays behind: {after}");
}

#[test]
fn ctrl_c_gives_the_terminal_back() {
    let Some(text) = run("soundcheck --stage", &["\u{3}"], &[]) else { return };
    was_given_back(&text);
}

#[test]
fn no_color_is_respected() {
    let Some(text) = run("soundcheck --stage", &["q"], &[("NO_COLOR", "1"), ("COLORTERM", "truecolor")]) else {
        return;
    };
    was_given_back(&text);
    assert!(!text.contains("\u{1b}[38;"), "no colour: {text}");
    assert!(text.contains("not heard"), "the word says it");
}

/// Asked once an event; the answers are kept in it.
#[test]
fn three_questions_on_the_first_use() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), "version = 1\nname = \"Spring concert\"\n").unwrap();
    let arguments = format!("soundcheck --stage --event {}", folder.path().display());
    let Some(text) = run(&arguments, &["Gain\n", "\n", "no\n", "q"], &[]) else { return };
    assert!(text.contains("Which word stands by the input knob? [Trim]"), "{text}");
    was_given_back(&text);
    let kept = std::fs::read_to_string(folder.path().join("event.toml")).unwrap();
    for line in ["knob = \"Gain\"", "lamp = \"Peak\"", "marks = false"] {
        assert!(kept.contains(line), "{line} in {kept}");
    }
    let Some(text) = run(&arguments, &["q"], &[]) else { return };
    assert!(!text.contains("Which word"), "asked once only");
}
