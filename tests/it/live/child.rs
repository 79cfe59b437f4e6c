//! A process of its own for each test that opens devices: ALSA reads its settings once, before the first
//! call. The test binary runs itself with one test selected; that test does nothing unless it is told to by
//! the environment. What a child finds out it prints as `key=value` lines.

use std::collections::HashMap;
use std::io::Read;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const TOLD: &str = "LIVE_TEST_CHILD";

/// Whether this process is a child that was told to run `test`.
pub fn is_told(test: &str) -> bool {
    std::env::var(TOLD).is_ok_and(|told| told == test)
}

/// Runs `test` (its path within this binary) in a child and gives what it printed.
pub fn run(test: &str, environment: &[(&str, PathBuf)], patience: Duration) -> HashMap<String, String> {
    let binary = std::env::current_exe().expect("this binary's path");
    let child = Command::new(binary)
        .args(["--exact", test, "--nocapture", "--test-threads=1"])
        .env(TOLD, test)
        .envs(environment.iter().map(|(key, value)| (key, value)))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the child starts");
    let (stdout, stderr, finished) = wait(child, patience);
    assert!(finished, "{test} did not end within {patience:?}\n{stdout}\n{stderr}");
    let pairs = stdout.lines().filter_map(|line| line.trim().split_once('='));
    let mut found: HashMap<String, String> =
        pairs.map(|(key, value)| (key.rsplit(' ').next().unwrap_or(key).to_owned(), value.to_owned())).collect();
    found.insert("stderr".to_owned(), stderr);
    found.insert("stdout".to_owned(), stdout);
    found
}

/// A number that a child printed.
pub fn number(found: &HashMap<String, String>, key: &str) -> f64 {
    let value = found.get(key).and_then(|value| value.parse().ok());
    value.unwrap_or_else(|| panic!("no {key} in:\n{}\n{}", found["stdout"], found["stderr"]))
}

fn wait(mut child: Child, patience: Duration) -> (String, String, bool) {
    let read = |pipe: Option<Box<dyn Read + Send>>| {
        std::thread::spawn(move || {
            let mut text = String::new();
            if let Some(mut pipe) = pipe {
                let _ = pipe.read_to_string(&mut text);
            }
            text
        })
    };
    let stdout = read(child.stdout.take().map(|pipe| Box::new(pipe) as _));
    let stderr = read(child.stderr.take().map(|pipe| Box::new(pipe) as _));
    let begun = Instant::now();
    let finished = loop {
        match child.try_wait() {
            Ok(Some(_)) => break true,
            _ if begun.elapsed() > patience => break false,
            _ => std::thread::sleep(Duration::from_millis(10)),
        }
    };
    if !finished {
        let _ = child.kill();
        let _ = child.wait();
    }
    let text = |thread: std::thread::JoinHandle<String>| thread.join().unwrap_or_default();
    (text(stdout), text(stderr), finished)
}
