//! Who may be recorded: kept by the event, asked before the first recording, never guessed; and the reminder afterwards.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use beforedoors::event::log::{self, Entry};
use beforedoors::event::{Consent, Date, Event};
use beforedoors::units::ChannelId;
use serde_json::json;

fn event(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("event.toml"), text).expect("written");
    fs::write(folder.path().join("inputs.csv"), "channel,name,kind\n1,Ana,speech\n2,Choir,choir\n").expect("written");
    folder
}

fn opened(folder: &Path) -> Event {
    Event::open(folder).unwrap_or_else(|error| panic!("{error}")).0
}

/// In a pipe, where nobody can be asked.
fn told(arguments: &[&str], folder: &Path) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(arguments)
        .args(["--event", folder.to_str().expect("UTF-8")])
        .output()
        .expect("a run");
    (output.status.code(), String::from_utf8(output.stderr).expect("UTF-8"))
}

#[test]
fn the_answer_is_kept_beside_what_a_person_wrote() {
    let folder = event("version = 1\nname = \"Concert\" # ours\n");
    let mut read = opened(folder.path());
    assert_eq!(read.settings.recording, None);
    let barred = vec![ChannelId::new(1), ChannelId::new(11)];
    let consent = Consent { barred, delete_after: Date::new(2027, 4, 30) };
    read.settings.recording = Some(consent.clone());
    read.save().expect("saved");
    let text = fs::read_to_string(folder.path().join("event.toml")).expect("readable");
    assert_eq!(
        text,
        "version = 1\nname = \"Concert\" # ours\n\n[recording]\nasked = true\nbarred = [2, 12]\ndelete_after = 2027-04-30\n"
    );
    assert_eq!(opened(folder.path()).settings.recording, Some(consent));
    // Not asked yet: what stands there is no answer.
    let half = event("version = 1\nname = \"C\"\n[recording]\nbarred = [2]\n");
    assert_eq!(opened(half.path()).settings.recording, None);
}

#[test]
fn mistakes_in_it_are_told_with_their_place() {
    let text = "version = 1\nname = \"C\"\n[recording]\nasked = \"yes\"\nbarred = [\"Ana\", 70, 2, 2]\ndelete_after = \"soon\"\nbared = []\n";
    let error = Event::open(event(text).path()).expect_err("mistakes").to_string();
    for told in [
        "event.toml:4:9 (recording, asked): “yes” is not an answer. Expected true or false",
        "event.toml:5:11 (recording, barred): “Ana” is not a channel. Expected one whole number from 1 to 64",
        "event.toml:5:18 (recording, barred): “70” is not a channel",
        "event.toml:6:16 (recording, delete_after): “soon” is not a date",
    ] {
        assert!(error.contains(told), "{told}\nin\n{error}");
    }
    let doubtful = event("version = 1\nname = \"C\"\n[recording]\nasked = true\nbarred = [2, 2]\nbared = []\n");
    let (read, doubts) = Event::open(doubtful.path()).expect("readable");
    assert_eq!(read.settings.recording.map(|consent| consent.barred), Some(vec![ChannelId::new(1)]));
    let doubts: Vec<String> = doubts.iter().map(ToString::to_string).collect();
    assert!(doubts.iter().any(|doubt| doubt.contains("channel 2 is barred twice")), "{doubts:?}");
    assert!(doubts.iter().any(|doubt| doubt.contains("Did you mean “barred”?")), "{doubts:?}");
}

#[test]
fn without_an_answer_a_pipe_records_nothing_and_says_how_to_give_it() {
    let folder = event("version = 1\nname = \"C\"\n");
    let takes = folder.path().join("takes");
    let record = takes.to_str().expect("UTF-8");
    for command in ["show", "soundcheck"] {
        let (code, text) = told(&[command, "--device", "Desk", "--record", record], folder.path());
        assert_eq!(code, Some(3), "{text}");
        for words in ["[recording]", "asked = true", "barred = [4, 7]", "delete_after", "event.toml", "in a terminal"] {
            assert!(text.contains(words), "“{words}” in\n{text}");
        }
    }
    let (code, text) = told(&["soundcheck", "--record", record], folder.path());
    assert!(code == Some(3) && text.contains("the simulated stage is not recorded"), "{text}");
    assert!(!takes.exists() && !folder.path().join("log.jsonl").exists());
    let nowhere = tempfile::tempdir().expect("a folder");
    let output = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(["show", "--device", "Desk", "--record", record])
        .current_dir(nowhere.path())
        .output()
        .expect("a run");
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--event FOLDER"), "{output:?}");
}

#[test]
fn what_should_be_gone_is_named_and_never_deleted() {
    let text = |day: &str| format!("version = 1\nname = \"C\"\n[recording]\nasked = true\ndelete_after = {day}\n");
    for (day, past) in [("2020-01-31", true), ("9999-01-31", false)] {
        let folder = event(&text(day));
        let file = folder.path().join("show.wav");
        fs::write(&file, "sound").expect("written");
        let began = |name: &str| Entry::new(log::RECORDING_BEGAN, json!({ "file": name }));
        log::add(folder.path(), &began("show.wav")).expect("written");
        log::add(folder.path(), &began("gone.wav")).expect("written");
        let (_, text) = told(&["show", "--device", "no such desk"], folder.path());
        assert_eq!(text.contains("show.wav"), past, "{text}");
        assert_eq!(text.contains("were to be deleted after 2020-01-31. Delete them yourself"), past, "{text}");
        assert!(!text.contains("gone.wav"), "{text}");
        assert_eq!(fs::read_to_string(&file).expect("still there"), "sound");
    }
}
