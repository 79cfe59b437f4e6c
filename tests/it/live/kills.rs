//! The sound server is killed again and again while the soundcheck listens: each time it is told, heard again within 3 s
//! of the server's return, and what was missed is a gap as long as it was away.
//!
//! What would be left of each stream is its ring of 2 s (12 MB for 32 channels) and its threads. So from the third kill
//! on, by when the sound system's own library has loaded what it needs, memory may grow by a tenth of those rings at
//! most, which is more than what the allocator keeps for threads that come and go (measured: 2 MB after 10 kills, 5 MB
//! after 200), and threads not at all. A plain run kills 10 times, `BEFOREDOORS_FULL=1` 200 times.

use std::path::{Path, PathBuf};
use std::process::Child;
use std::time::{Duration, Instant};

use beforedoors::engine::Connection;
use beforedoors::engine::session::{Hearing, Link, Session, Status};
use beforedoors::units::Seconds;

use super::child::{is_told, number, run};
use super::server::{Server, launch};
use crate::support::process::signal;

const WARM: usize = 3;
const CHANNELS: usize = 32;
/// In `f32`, 2 s, in kB.
const RING: f64 = CHANNELS as f64 * 48_000.0 * 2.0 * 4.0 / 1_000.0;
/// The polling of this test and of the engine.
const GAP_TOLERANCE: f64 = 0.5;

fn kills() -> usize {
    if std::env::var_os("BEFOREDOORS_FULL").is_some() { 200 } else { 10 }
}

#[test]
fn a_server_that_dies_again_and_again_is_heard_again_each_time() {
    let Some(server) = Server::of(CHANNELS) else { return };
    let mut environment = server.environment();
    environment.push(("KILLS", PathBuf::from(kills().to_string())));
    let patience = Duration::from_secs(60 + 10 * kills() as u64);
    let found = run("live::kills::child_is_patient", &environment, patience);
    println!("{}", found["stdout"]);
    assert_eq!(number(&found, "returns"), kills() as f64, "{}\n{}", found["stdout"], found["stderr"]);
    assert!(number(&found, "slowest") < 3.0, "{}", found["stdout"]);
    assert!(number(&found, "worst_gap") < GAP_TOLERANCE, "{}", found["stdout"]);
    let leaked = (kills() - WARM) as f64 * RING;
    assert!(number(&found, "grown_kb") < 0.1 * leaked, "{}", found["stdout"]);
    assert!(number(&found, "threads_grown") <= 0.0, "{}", found["stdout"]);
}

/// Ends with the child.
struct Own(Child);

impl Drop for Own {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Of this process: resident kB, and threads.
fn of_this_process(key: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux tells it");
    let line = status.lines().find(|line| line.starts_with(key)).expect("a line of it");
    line.split_whitespace().nth(1).and_then(|value| value.parse().ok()).expect("a number")
}

#[test]
fn child_is_patient() {
    if !is_told("live::kills::child_is_patient") {
        return;
    }
    let told = |key: &str| std::env::var(key).expect("told");
    let folder = PathBuf::from(told("HOME"));
    let kills: usize = told("KILLS").parse().expect("a number");
    let hearing = Hearing::Live { device: Some("hall".into()) };
    let session = Session::start(hearing, None, Connection::Usb, None).expect("it opens");
    let wait = |what: &str, done: &dyn Fn(&Status, Seconds) -> bool| {
        let begun = Instant::now();
        while !done(&session.status(), session.snapshot().at) {
            assert!(begun.elapsed() < Duration::from_secs(30), "never {what}");
            std::thread::sleep(Duration::from_millis(10));
        }
    };
    let second = |frames: u64| frames as f64 / f64::from(session.format().rate.get());
    let mut own = None::<Own>;
    let (mut slowest, mut worst_gap) = (0.0_f64, 0.0_f64);
    let mut sizes = Vec::new();
    wait("heard", &|_, at| at > Seconds::new(0.5));
    for _ in 0..kills {
        let before = session.snapshot().lost_frames;
        match own.take() {
            Some(own) => drop(own),
            None => signal("-9", &told("SERVER_PID")),
        }
        let killed = Instant::now();
        wait("lost", &|status, _| matches!(status, Status::Lost(_)));
        let heard = session.snapshot().at;
        let socket = folder.join("pulse.sock");
        let _ = std::fs::remove_file(&socket);
        own = Some(Own(launch(&folder.join("run.pa"), &folder).expect("it started before")));
        wait("a new server", &|_, _| Path::new(&socket).exists());
        let there = Instant::now();
        wait("heard again", &|status, at| !matches!(status, Status::Lost(_)) && at > heard);
        let (back, away) = (there.elapsed().as_secs_f64(), killed.elapsed().as_secs_f64());
        let gap = second(session.snapshot().lost_frames - before);
        slowest = slowest.max(back);
        worst_gap = worst_gap.max((gap - away).abs());
        // What the engine keeps of the dead stream is let go of by then.
        let at = session.snapshot().at;
        wait("going on", &|_, now| now > at + Seconds::new(0.3));
        sizes.push((of_this_process("VmRSS"), of_this_process("Threads")));
    }
    let (kilobytes, threads) = sizes[WARM - 1];
    let most = sizes[WARM..].iter().fold((0.0_f64, 0.0_f64), |most, size| (most.0.max(size.0), most.1.max(size.1)));
    println!("\nreturns={}\nslowest={slowest}\nworst_gap={worst_gap}", sizes.len());
    println!(
        "resident_kb={kilobytes}\ngrown_kb={}\nthreads={threads}\nthreads_grown={}",
        most.0 - kilobytes,
        most.1 - threads
    );
}

/// The server comes back with a sink of other channels: lost still, in words that tell both forms, until it is as it was.
#[test]
fn a_device_that_comes_back_with_another_form_stays_lost() {
    let Some(server) = Server::start() else { return };
    let found = run("live::kills::child_sees_a_change", &server.environment(), Duration::from_secs(60));
    let why = &found["why"];
    assert!(why.contains("came back with 6 channels at 44100 Hz; it was heard with 2 channels at 48000 Hz"), "{why}");
    assert_eq!(found["lost_to_the_end"], "true");
    assert!(number(&found, "gap") > 0.0);
}

#[test]
fn child_sees_a_change() {
    if !is_told("live::kills::child_sees_a_change") {
        return;
    }
    let folder = PathBuf::from(std::env::var("HOME").expect("told"));
    let orders = folder.join("run.pa");
    let hearing = Hearing::Live { device: Some("hall".into()) };
    let session = Session::start(hearing, None, Connection::Usb, None).expect("it opens");
    let until = |what: &str, done: &dyn Fn(&Status, Seconds) -> bool| {
        let begun = Instant::now();
        while !done(&session.status(), session.snapshot().at) {
            assert!(begun.elapsed() < Duration::from_secs(20), "never {what}");
            std::thread::sleep(Duration::from_millis(10));
        }
    };
    until("heard", &|_, at| at > Seconds::new(0.3));
    signal("-9", &std::env::var("SERVER_PID").expect("told"));
    let usual = std::fs::read_to_string(&orders).expect("the server's orders");
    let changed = usual.replace("rate=48000 channels=2", "rate=44100 channels=6");
    assert_ne!(changed, usual);
    std::fs::write(&orders, changed).expect("written");
    let _ = std::fs::remove_file(folder.join("pulse.sock"));
    let other = Own(launch(&orders, &folder).expect("it started before"));
    let says = |status: &Status, words: &str| matches!(status, Status::Lost(why) if why.contains(words));
    until("told", &|status, _| says(status, "came back with"));
    let Status::Lost(why) = session.status() else { panic!("it is heard") };
    let at = session.snapshot().at;
    std::thread::sleep(Duration::from_secs(1));
    println!("\nwhy={why}\nlost_to_the_end={}", session.snapshot().at == at && says(&session.status(), "came back"));
    drop(other);
    std::fs::write(&orders, usual).expect("written");
    let _ = std::fs::remove_file(folder.join("pulse.sock"));
    let _own = Own(launch(&orders, &folder).expect("it started before"));
    until("heard again", &|status, now| !matches!(status, Status::Lost(_)) && now > at);
    println!("gap={}", session.snapshot().lost_frames);
}
