//! Single keys of a terminal, without Enter.

use std::io::{self, IsTerminal};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEventKind};
use crossterm::terminal;

/// Keys while it lives; on no terminal, none.
pub struct Keys {
    raw: bool,
}

impl Keys {
    pub fn new() -> Self {
        Self { raw: io::stdin().is_terminal() && terminal::enable_raw_mode().is_ok() }
    }

    /// Whether there are any: then lines need a carriage return, too.
    pub const fn are_there(&self) -> bool {
        self.raw
    }

    /// One that was pressed since it was last asked.
    pub fn pressed(&self) -> Option<KeyCode> {
        if !self.raw || !event::poll(Duration::ZERO).unwrap_or(false) {
            return None;
        }
        match event::read() {
            Ok(Event::Key(key)) if key.kind != KeyEventKind::Release => Some(key.code),
            _ => None,
        }
    }
}

impl Drop for Keys {
    fn drop(&mut self) {
        if self.raw {
            let _ = terminal::disable_raw_mode();
        }
    }
}
