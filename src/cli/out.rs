//! Lines out and in; a closed pipe is an error that ends the program quietly.
//!
//! Each line goes out in one piece: whoever reads gets whole lines, however the program ends.

use std::io::{self, BufRead, Write};
use std::sync::mpsc::{self, Receiver};

use serde_json::Value;

use crate::engine::session::Status;
use crate::view::words;

/// A line of text, at once.
pub fn line(text: &str) -> io::Result<()> {
    whole(format!("{}\n", text.trim_end()))
}

/// A JSON line, at once.
pub fn json(record: &Value) -> io::Result<()> {
    whole(format!("{record}\n"))
}

fn whole(line: String) -> io::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(line.as_bytes())?;
    out.flush()
}

/// A line beside the output; nobody reading it is no error.
pub fn note(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Tells beside the output when a device goes, and when it is back; and that the measuring began anew.
#[derive(Default)]
pub struct Losses {
    lost: Option<String>,
    begun_anew: bool,
}

impl Losses {
    pub fn look(&mut self, lost: Option<String>) {
        if lost == self.lost {
            return;
        }
        note(lost.as_deref().unwrap_or(words::BACK));
        self.lost = lost;
    }

    pub fn look_at(&mut self, status: Status) {
        let begun_anew = status == Status::BegunAnew;
        if begun_anew && !self.begun_anew {
            words::status(&status).iter().for_each(|words| note(words));
        }
        self.begun_anew = begun_anew;
        self.look(match status {
            Status::Lost(why) => Some(why),
            _ => None,
        });
    }
}

/// What is typed, as it comes.
pub fn typed_lines() -> io::Result<Receiver<String>> {
    let (send, lines) = mpsc::channel();
    std::thread::Builder::new().name("typed".into()).spawn(move || {
        for line in io::stdin().lock().lines() {
            if line.is_err() || line.is_ok_and(|line| send.send(line).is_err()) {
                break;
            }
        }
    })?;
    Ok(lines)
}
