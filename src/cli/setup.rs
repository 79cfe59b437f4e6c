//! Reads the event folder for a command and tells what is doubtful in it.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::args::Way;
use super::out;
use crate::engine::Connection;
use crate::event::{Date, Event, Recent, log};
use crate::view::{Setup, multitrack};

/// The event folder that was named; else the one in the current folder, if there is one.
pub fn read(folder: Option<&Path>) -> anyhow::Result<Setup> {
    let folder = match folder {
        Some(folder) => folder.to_owned(),
        None if Path::new("event.toml").is_file() => PathBuf::from("."),
        None => return Ok(Setup::default()),
    };
    let (event, warnings) = Event::open(&folder).context("the event can't be read")?;
    for warning in warnings {
        out::note(&warning.to_string());
    }
    remind(&event);
    Ok(Setup::of(event))
}

/// Of recordings that should be gone.
fn remind(event: &Event) {
    let overdue = || event.settings.recording.as_ref()?.overdue(Date::today()?);
    let Some(last) = overdue() else { return };
    let files = log::recorded(event.folder());
    if !files.is_empty() {
        out::note(&multitrack::overdue(last, &files));
    }
}

/// The event in the current folder, else the one the window was left with.
pub fn last() -> anyhow::Result<Setup> {
    if Path::new("event.toml").is_file() {
        return read(None);
    }
    match Recent::read().event {
        Some(folder) => read(Some(&folder)).or_else(|error| {
            out::note(&format!("beforedoors: {error:#}"));
            Ok(Setup::default())
        }),
        None => Ok(Setup::default()),
    }
}

impl From<Way> for Connection {
    fn from(way: Way) -> Self {
        match way {
            Way::Usb => Self::Usb,
            Way::Feed => Self::Feed,
            Way::Room => Self::Room,
        }
    }
}
