//! From arguments and event folder to what a session needs: inputs, names, connection, the desk's words.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::args::Way;
use super::out;
use crate::engine::{Connection, Input};
use crate::event::{Event, Listening};
use crate::units::{ChannelId, SourceKind};
use crate::view::DeskWords;
use crate::view::words::plain;

/// What the event tells.
#[derive(Debug, Default)]
pub struct Setup {
    pub event: Option<Event>,
    /// One for each channel up to the highest in the list; gaps are "other".
    pub inputs: Option<Vec<Input>>,
    pub names: Vec<String>,
    pub connection: Option<Connection>,
    pub device: Option<String>,
    pub desk: DeskWords,
}

/// Reads the event folder that was named; else the one in the current folder, if there is one.
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
    let highest = event.inputs.iter().map(|input| input.channel.index() + 1).max();
    let mut inputs = vec![Input::new(SourceKind::Other, None); highest.unwrap_or(0)];
    let mut names = vec![String::new(); inputs.len()];
    for input in &event.inputs {
        inputs[input.channel.index()] = Input::new(input.kind, input.show_lift);
        names[input.channel.index()] = plain(&input.name);
    }
    let settings = &event.settings;
    let standard = DeskWords::default();
    Ok(Setup {
        inputs: highest.is_some().then_some(inputs),
        names,
        connection: settings.connection.map(|listening| match listening {
            Listening::AllChannels => Connection::Usb,
            Listening::OneFeed => Connection::Feed,
            Listening::RoomMic => Connection::Room,
        }),
        device: settings.device.clone(),
        desk: DeskWords {
            knob: settings.desk.knob.clone().unwrap_or(standard.knob),
            lamp: settings.desk.lamp.clone().unwrap_or(standard.lamp),
            marks: settings.desk.marks.unwrap_or(standard.marks),
            zero: settings.desk.reference,
        },
        event: Some(event),
    })
}

impl Setup {
    /// Whether the desk's words were never told.
    pub fn desk_is_unknown(&self) -> bool {
        self.event.as_ref().is_none_or(|event| event.settings.desk.knob.is_none())
    }

    pub fn name(&self, channel: ChannelId) -> &str {
        self.names.get(channel.index()).map_or("", String::as_str)
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
