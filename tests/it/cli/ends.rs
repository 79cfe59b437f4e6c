//! A live session in a pipe: told to end, it stops listening, sums up in whole lines, and its exit code says how the
//! inputs stand.

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::{Duration, Instant};

use super::json_lines;
use crate::live::fifo::{Pipe, drain, feed};
use crate::support::process::signal;

/// As many as a device of this kind says it has.
const LINES: usize = 2;
const PATIENCE: Duration = Duration::from_secs(60);

/// Runs `soundcheck` on a desk that plays sines, until it has said its first step; sends
/// the signal; gives exit code and everything it wrote.
fn listened(arguments: &[&str], way: &str) -> (Option<i32>, String) {
    let pipe = Pipe::new();
    let (file, held) = (pipe.open(0), pipe.open(Pipe::NON_BLOCKING));
    let done = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&done);
    let feeder = std::thread::spawn(move || feed(file, 100 * 48_000, 0, &told));
    let mut program = pipe.program();
    program.args(["soundcheck", "--device", "Hall Desk"]).args(arguments);
    let mut child = program.spawn().expect("the program starts");
    let mut out = BufReader::new(child.stdout.take().expect("its lines"));
    let mut text = String::new();
    while !text.contains("Ask ") && out.read_line(&mut text).expect("lines") > 0 {}
    std::thread::sleep(Duration::from_millis(700));
    signal(way, &child.id().to_string());
    let code = rest_of(&mut child, &mut out, &mut text);
    done.store(true, Relaxed);
    drain(&held, &feeder);
    feeder.join().expect("the feeder ends");
    (code, text)
}

fn rest_of(child: &mut Child, out: &mut BufReader<ChildStdout>, text: &mut String) -> Option<i32> {
    out.read_to_string(text).expect("the rest");
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().expect("its end") {
            return status.code();
        }
        if begun.elapsed() > PATIENCE {
            let _ = child.kill();
            panic!("it does not end:\n{text}");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn told_to_end_it_sums_up() {
    for way in ["-INT", "-TERM"] {
        let (code, text) = listened(&[], way);
        let rows: Vec<&str> = text.lines().filter(|line| line.contains("  window ")).collect();
        assert_eq!(rows.len(), LINES, "{way}: {text}");
        assert!(text.ends_with("trims\n"), "{way}: {text}");
        // Not heard for long enough: something is known, and something is left to do.
        let heard = rows.iter().any(|row| !row.contains("not heard") && !row.contains("not enough"));
        assert_eq!(code, Some(if heard { 1 } else { 2 }), "{way}: {text}");
    }
}

#[test]
fn machine_readable_lines_end_whole() {
    let (code, text) = listened(&["--json"], "-INT");
    let lines = json_lines(text.as_bytes());
    let inputs = lines.iter().filter(|line| line["type"] == "input").count();
    assert_eq!(inputs, LINES, "{text}");
    assert!(text.ends_with('\n'));
    assert!(matches!(code, Some(1 | 2)), "{code:?}: {text}");
}

#[test]
fn a_simulated_session_that_is_told_to_end_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(["soundcheck", "--stage", "--json"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut out = BufReader::new(child.stdout.take().expect("its lines"));
    let mut text = String::new();
    out.read_line(&mut text).expect("a line");
    signal("-TERM", &child.id().to_string());
    let code = rest_of(&mut child, &mut out, &mut text);
    let lines = json_lines(text.as_bytes());
    assert_eq!(lines.last().map(|line| &line["type"]), Some(&"input".into()), "{text}");
    assert!(matches!(code, Some(0..=2)), "{code:?}");
}
