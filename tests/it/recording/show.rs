//! The whole way: a desk of two lines plays through ALSA, the program watches the show and records. Told to end, the file
//! and the log are whole; killed, the file opens.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::{only_wav, read};
use crate::live::fifo::{Pipe, drain, feed};
use crate::support::process::signal;

const EVENT: &str = "version = 1\nname = \"C\"\n[recording]\nasked = true\nbarred = [1]\n";

/// Watches until so many frames are in the file, then sends the signal; gives what was said, and the event's folder.
fn recorded(command: &str, way: &str) -> (Pipe, Vec<Value>) {
    let pipe = Pipe::new();
    let takes = pipe.folder().join("takes");
    fs::write(pipe.folder().join("event.toml"), EVENT).expect("written");
    fs::write(pipe.folder().join("inputs.csv"), "channel,name,kind\n1,Ana,speech\n2,Choir,choir\n").expect("written");
    let (file, held) = (pipe.open(0), pipe.open(Pipe::NON_BLOCKING));
    let done = Arc::new(AtomicBool::new(false));
    let feeder = std::thread::spawn({
        let done = Arc::clone(&done);
        move || feed(file, 100 * 48_000, 0, &done)
    });
    let mut program = pipe.program();
    program.args([command, "--json", "--device", "Hall Desk", "--record", "takes"]);
    let mut child = program.spawn().expect("the program starts");
    let mut out = BufReader::new(child.stdout.take().expect("its lines"));
    let mut text = String::new();
    while !text.contains("\"began\"") {
        assert!(out.read_line(&mut text).expect("lines") > 0, "it ended: {text}");
    }
    let begun = Instant::now();
    while told_frames(&only_wav(&takes)) < 48_000 {
        assert!(begun.elapsed() < Duration::from_secs(60), "nothing is recorded: {text}");
        std::thread::sleep(Duration::from_millis(20));
    }
    signal(way, &child.id().to_string());
    out.read_to_string(&mut text).expect("the rest");
    child.wait().expect("its end");
    done.store(true, Relaxed);
    drain(&held, &feeder);
    feeder.join().expect("the feeder ends");
    (pipe, super::lines(&text))
}

/// By the header, which may just be being renewed.
fn told_frames(path: &Path) -> u32 {
    hound::WavReader::new(File::open(path).expect("there")).expect("it opens at every moment").duration()
}

/// One line of the two, in the order of the sines, from whichever frame it began.
fn sounds(path: &Path) -> usize {
    let (channels, codes) = read(path);
    assert_eq!(channels, 1, "the barred channel has no track");
    let loudest = codes.iter().map(|code| code.abs()).max().expect("samples");
    let peak = (f64::from(loudest) / 8_388_608.0).log10() * 20.0;
    assert!((peak + 18.0).abs() < 0.01, "{peak} dBFS");
    codes.len()
}

#[test]
fn a_show_that_is_told_to_end_leaves_a_whole_file_and_log() {
    let (pipe, said) = recorded("show", "-TERM");
    let file = only_wav(&pipe.folder().join("takes"));
    let frames = sounds(&file);
    let news: Vec<&Value> = said.iter().filter(|line| line["type"] == "recording").collect();
    assert_eq!(
        (&news[0]["state"], &news[0]["barred"][0], &news[0]["tracks"][0]),
        (&"began".into(), &1.into(), &2.into())
    );
    let last = news.last().expect("news");
    assert_eq!((&last["state"], &last["reason"]), (&"stopped".into(), &"asked".into()), "{said:?}");
    let length = last["length_s"].as_f64().expect("a number") * 48_000.0;
    assert!((length - frames as f64).abs() <= 24.0, "{length} frames were told, {frames} are there");
    let log = super::lines(&fs::read_to_string(pipe.folder().join("log.jsonl")).expect("a log"));
    let name = file.file_name().expect("a name").to_string_lossy().into_owned();
    assert_eq!(
        (&log[0]["event"], &log[0]["evidence"]["file"]),
        (&"recording_began".into(), &format!("takes/{name}").into())
    );
    assert_eq!(log.last().expect("lines")["event"], "recording_stopped");
}

#[test]
fn a_soundcheck_records_as_well() {
    let (pipe, said) = recorded("soundcheck", "-INT");
    assert!(sounds(&only_wav(&pipe.folder().join("takes"))) >= 48_000);
    assert!(said.iter().any(|line| line["state"] == "stopped"), "{said:?}");
}

#[test]
fn a_show_that_is_killed_leaves_a_file_that_opens() {
    let (pipe, said) = recorded("show", "-9");
    assert!(sounds(&only_wav(&pipe.folder().join("takes"))) >= 48_000);
    assert!(said.iter().all(|line| line["state"] != "stopped"));
    let log = super::lines(&fs::read_to_string(pipe.folder().join("log.jsonl")).expect("a log"));
    assert_eq!(log[0]["event"], "recording_began");
}
