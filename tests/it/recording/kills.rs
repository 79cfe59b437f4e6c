//! Killed at any moment (`kill -9`): every file opens, at most five seconds are lost, every line of the log but a last half
//! one can be read. Short form 10 and 20 times, `BEFOREDOORS_FULL=1` 100 times each.
//!
//! The test binary runs itself as the program that is killed. How far it came it writes into a file of its own, which
//! outlives it; loss is counted in frames.

use std::fs::{self, File};
use std::io::Write;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use beforedoors::block::BlockBuf;
use beforedoors::event::log::{self, Entry, Log};
use beforedoors::sink::record::start;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg32;
use serde_json::{Value, json};

use super::{RATE, code, fill, format, only_wav, plan, read};
use crate::support::process::signal;

const FOLDER: &str = "RECORDING_TEST_FOLDER";
const CHANNELS: usize = 4;
const BLOCK: u64 = 960;
const PATIENCE: Duration = Duration::from_secs(120);

fn kills(short: usize) -> usize {
    if std::env::var_os("BEFOREDOORS_FULL").is_some() { 100 } else { short }
}

fn run(test: &str, folder: &Path) -> Child {
    let binary = std::env::current_exe().expect("this binary's path");
    Command::new(binary)
        .args(["--exact", test, "--nocapture", "--test-threads=1"])
        .env(FOLDER, folder)
        .stdout(Stdio::null())
        .spawn()
        .expect("the child starts")
}

struct Progress(File);

impl Progress {
    fn begin(folder: &Path) -> Self {
        Self(File::create(folder.join("progress")).expect("a file"))
    }

    fn tell(&self, count: u64) {
        self.0.write_all_at(&count.to_le_bytes(), 0).expect("written");
    }

    fn read(folder: &Path) -> u64 {
        let bytes = fs::read(folder.join("progress")).unwrap_or_default();
        bytes.try_into().map_or(0, u64::from_le_bytes)
    }
}

/// Kills it once it has come so far.
fn kill_at(mut child: Child, folder: &Path, count: u64) -> u64 {
    let begun = Instant::now();
    while Progress::read(folder) < count {
        assert!(child.try_wait().expect("a state").is_none(), "it ended by itself");
        assert!(begun.elapsed() < PATIENCE, "it does not come so far");
        std::thread::sleep(Duration::from_millis(1));
    }
    signal("-9", &child.id().to_string());
    child.wait().expect("its end");
    Progress::read(folder)
}

#[test]
fn a_killed_recording_opens_and_has_lost_five_seconds_at_most() {
    const AT_ONCE: usize = 5;
    let mut dice = Pcg32::seed_from_u64(7);
    let mut worst = 0;
    for _ in 0..kills(10).div_ceil(AT_ONCE) {
        let evenings: Vec<_> = (0..AT_ONCE)
            .map(|_| {
                let folder = tempfile::tempdir().expect("a folder");
                let child = run("recording::kills::child_records", folder.path());
                (folder, child, dice.random_range(1..3 * u64::from(RATE)))
            })
            .collect();
        for (folder, child, at) in evenings {
            let fed = kill_at(child, folder.path(), at);
            let path = only_wav(folder.path());
            let (channels, codes) = read(&path);
            assert_eq!(channels, CHANNELS);
            let kept = (codes.len() / CHANNELS) as u64;
            worst = worst.max(fed.saturating_sub(kept));
            assert!(fed <= kept + 5 * u64::from(RATE), "{fed} frames were heard, {kept} are there");
            let wrong =
                codes.iter().enumerate().filter(|(at, found)| **found != code((at / CHANNELS) as u64, at % CHANNELS));
            assert_eq!(wrong.count(), 0, "every sample that the header tells of is there");
        }
    }
    println!("at most {worst} frames of {RATE} a second were lost");
}

#[test]
fn child_records() {
    let Some(folder) = std::env::var_os(FOLDER).map(std::path::PathBuf::from) else { return };
    let (mut recorder, _recording) = start(format(CHANNELS), plan(&folder, &[])).expect("it begins");
    let (progress, mut block) = (Progress::begin(&folder), BlockBuf::new(CHANNELS, BLOCK as usize));
    let begun = Instant::now();
    for at in (0..60 * u64::from(RATE)).step_by(BLOCK as usize) {
        fill(&mut block, at, BLOCK, 0);
        recorder.take(&block.as_block());
        progress.tell(at + BLOCK);
        let due = Duration::from_micros((at + BLOCK) * 1_000_000 / u64::from(RATE));
        std::thread::sleep(due.saturating_sub(begun.elapsed()));
    }
}

#[test]
fn a_killed_log_can_be_read_and_gone_on_with() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut dice = Pcg32::seed_from_u64(8);
    let (mut told, mut torn) = (0, 0);
    for kill in 0..kills(20) {
        let _ = fs::remove_file(folder.path().join("progress"));
        // By turns each line at once, and beside the program.
        let at_once = kill % 2 == 0;
        let test = if at_once { "recording::kills::child_adds" } else { "recording::kills::child_logs" };
        let child = run(test, folder.path());
        let came = kill_at(child, folder.path(), dice.random_range(1..40));
        told += if at_once { came } else { 0 };
        if kill % 4 == 3 {
            // As if the machine had gone in the middle of a line.
            let mut log = fs::OpenOptions::new().append(true).open(folder.path().join("log.jsonl")).expect("there");
            log.write_all(b"{\"at\":\"2027-03-").expect("written");
            torn += 1;
        }
        let text = fs::read_to_string(folder.path().join("log.jsonl")).expect("UTF-8");
        let lines: Vec<&str> = text.lines().collect();
        let read: Vec<Value> = lines.iter().filter_map(|line| serde_json::from_str(line).ok()).collect();
        // A kill may leave one half line of its own, always the last.
        let unread = lines.len() - read.len();
        let own = usize::from(serde_json::from_str::<Value>(lines.last().expect("lines")).is_err() && kill % 4 != 3);
        torn += own;
        assert_eq!(unread, torn, "after kill {kill}");
        let acknowledged = read.iter().filter(|line| line["event"] == "acknowledged").count() as u64;
        assert!(acknowledged >= told, "{acknowledged} of {told} lines that were said to be written");
    }
}

#[test]
fn child_adds() {
    let Some(folder) = std::env::var_os(FOLDER).map(std::path::PathBuf::from) else { return };
    let progress = Progress::begin(&folder);
    for number in 1..100_000 {
        log::add(&folder, &Entry::new("acknowledged", evidence(number))).expect("written");
        progress.tell(number);
    }
}

#[test]
fn child_logs() {
    let Some(folder) = std::env::var_os(FOLDER).map(std::path::PathBuf::from) else { return };
    let (progress, log) = (Progress::begin(&folder), Log::open(&folder).expect("a log"));
    for number in 1..100_000 {
        log.add(&Entry::new("beside", evidence(number)));
        progress.tell(number);
        std::thread::sleep(Duration::from_micros(500));
    }
}

/// Lines of many lengths.
fn evidence(number: u64) -> Value {
    json!({ "number": number, "text": "x".repeat(number as usize * 97 % 3_000) })
}
