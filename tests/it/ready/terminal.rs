//! `soundcheck`, then `show --ready`: on the simulated stage with faults, in a pipe; and on a device.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

use assert_cmd::Command;
use serde_json::Value;

use crate::live::fifo::{Pipe, drain, feed};

fn event(more: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("event.toml"), format!("version = 1\nname = \"Concert\"\n{more}")).expect("written");
    folder
}

/// Nobody types beyond `typed`.
fn told(arguments: &[&str], event: &Path, typed: &str) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(arguments)
        .args(["--event", event.to_str().expect("UTF-8")])
        .write_stdin(typed)
        .output()
        .expect("a run");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

fn steps(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}"))).collect()
}

#[test]
fn after_a_soundcheck_on_the_stage_it_is_ready_and_faults_are_told_one_at_a_time() {
    let folder = event("");
    let (code, _, beside) = told(&["show", "--ready"], folder.path(), "");
    assert!(code == Some(2) && beside.contains("no soundcheck is stored"), "{beside}");
    let (_, _, beside) = told(&["soundcheck", "--stage"], folder.path(), "");
    assert!(beside.contains("Stored in the event"), "{beside}");
    assert!(folder.path().join("soundcheck-simulated.toml").is_file());
    assert!(!folder.path().join("soundcheck.toml").exists(), "the desk's own is left alone");

    let (code, text, _) = told(&["show", "--ready"], folder.path(), "");
    assert!(code == Some(0) && text.contains("→ Ready"), "{text}");
    let (code, text, _) = told(&["show", "--ready", "--fault", "dead:3", "--fault", "hum50:7"], folder.path(), "");
    assert!(code == Some(1) && text.contains("3 Soloist is silent; it was not at the soundcheck"), "{text}");
    assert!(text.contains("then 1 more") && !text.contains("7 Bass"), "{text}");
    // Put right by the stage's helper, one after the other.
    let faults = ["show", "--ready", "--json", "--fault", "dead:3", "--fault", "hum50:7"];
    let (code, text, _) = told(&faults, folder.path(), "done\nleave\n");
    let told_of: Vec<(String, Option<u64>)> = (steps(&text).iter())
        .map(|step| (step["kind"].as_str().expect("a word").to_owned(), step["channel"].as_u64()))
        .collect();
    assert_eq!(told_of[0], ("listen".into(), None), "{text}");
    assert_eq!(told_of[1], ("dead".into(), Some(3)), "{text}");
    assert!(code == Some(1) && told_of.contains(&("floor".into(), Some(7))), "{text}");
    // Another evening is another stage.
    let (code, text, _) = told(&["show", "--ready", "--seed", "2"], folder.path(), "");
    assert!(code == Some(1) && text.contains("another device"), "{text}");
}

#[test]
fn without_an_event_or_with_a_damaged_file_it_says_how_to_mend_it() {
    let nowhere = tempfile::tempdir().expect("a folder");
    let output = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(["show", "--ready"])
        .current_dir(nowhere.path())
        .output()
        .expect("a run");
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--event FOLDER"), "{output:?}");
    let folder = event("");
    fs::write(folder.path().join("soundcheck-simulated.toml"), "version = 1\ndevice = ").expect("written");
    let (code, _, beside) = told(&["show", "--ready"], folder.path(), "");
    assert!(code == Some(3) && beside.contains("soundcheck-simulated.toml:2:"), "{beside}");
    assert!(beside.contains("delete the file and repeat the soundcheck"), "{beside}");
}

/// A desk that has fewer channels than at the soundcheck.
#[test]
fn on_a_device_a_missing_channel_is_the_one_thing_to_do() {
    let pipe = Pipe::new();
    fs::write(pipe.folder().join("event.toml"), "version = 1\nname = \"C\"\n").expect("written");
    let (file, held) = (pipe.open(0), pipe.open(Pipe::NON_BLOCKING));
    let done = Arc::new(AtomicBool::new(false));
    let feeder = std::thread::spawn({
        let done = Arc::clone(&done);
        move || feed(file, 100 * 48_000, 0, &done)
    });
    let line = |channel| format!("[[line]]\nchannel = {channel}\nheard = true\nfloor_dbfs = -70.0\n");
    let lines: String = (1..=32).map(line).collect();
    let stored = format!("version = 1\ndevice = \"Another\"\nrate_hz = 48000\n{lines}");
    fs::write(pipe.folder().join("soundcheck.toml"), stored).expect("written");
    let mut program = pipe.program();
    program.args(["show", "--ready", "--json", "--device", "Hall Desk"]);
    let output = program.output().expect("a run");
    done.store(true, Relaxed);
    drain(&held, &feeder);
    feeder.join().expect("the feeder ends");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let last = steps(&text).pop().expect("steps");
    assert_eq!((output.status.code(), last["kind"].as_str()), (Some(1), Some("other_device")), "{text}");
    assert!(last["proof"].as_str().is_some_and(|proof| proof.contains("then")), "{text}");
}
