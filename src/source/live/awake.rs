//! Holds off the system's sleep while a device is heard, through the system's own program for it.
//!
//! That program holds it as long as another runs, which here waits for the end of its input: whatever ends this program
//! closes the pipe and gives the sleep back. Linux: `systemd-inhibit`; macOS: `caffeinate`. Elsewhere, and where the
//! system refuses, `may_sleep` says so.

use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::thread;

#[cfg(target_os = "macos")]
const HOLD: &[&str] = &["caffeinate", "-i", "cat"];
#[cfg(target_os = "linux")]
const HOLD: &[&str] = &["systemd-inhibit", "--what=sleep:idle", "--who=beforedoors", "--why=A device is heard", "cat"];
#[cfg(not(any(target_os = "macos", target_os = "linux")))]
const HOLD: &[&str] = &[];

/// The sleep is given back when it is dropped.
pub(super) struct Awake {
    pipe: Option<ChildStdin>,
    over: Arc<AtomicBool>,
}

impl Awake {
    pub fn hold() -> Self {
        Self::through(HOLD)
    }

    fn through(words: &[&str]) -> Self {
        let over = Arc::new(AtomicBool::new(false));
        let pipe = begin(words).and_then(|mut child| {
            let pipe = child.stdin.take();
            let over = Arc::clone(&over);
            let wait = move || {
                let _ = child.wait();
                over.store(true, Relaxed);
            };
            thread::Builder::new().name("awake".to_owned()).spawn(wait).ok().and(pipe)
        });
        if pipe.is_none() {
            over.store(true, Relaxed);
        }
        Self { pipe, over }
    }

    /// The system did not take it. A refusal may take it a moment.
    pub fn may_sleep(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.over)
    }
}

impl Drop for Awake {
    fn drop(&mut self) {
        drop(self.pipe.take());
    }
}

fn begin(words: &[&str]) -> Option<Child> {
    let (program, rest) = words.split_first()?;
    Command::new(program).args(rest).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().ok()
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    /// The thread that waits for the child keeps the flag as long as the child lives.
    fn until_over(flag: &Arc<AtomicBool>) {
        while !flag.load(Relaxed) {
            thread::yield_now();
        }
    }

    #[test]
    fn it_is_held_until_it_is_dropped() {
        let awake = Awake::through(&["cat"]);
        let over = awake.may_sleep();
        assert!(!over.load(Relaxed));
        drop(awake);
        until_over(&over);
    }

    #[test]
    fn a_refusal_and_a_missing_program_are_told() {
        until_over(&Awake::through(&["false"]).may_sleep());
        assert!(Awake::through(&["/nowhere/at/all"]).may_sleep().load(Relaxed));
        assert!(Awake::through(&[]).may_sleep().load(Relaxed));
    }
}
