//! Other processes: the shell's own `kill`, since not every machine has the program of that name.

use std::process::Command;

/// Sends a signal ("-TERM") to a process by its number.
pub fn signal(name: &str, process: &str) {
    let sent = Command::new("sh").args(["-c", &format!("kill {name} {process}")]).status();
    assert!(sent.expect("a shell").success(), "{name} to {process}");
}
