//! What an event tells a face: inputs, names, connection, device, the desk's words.

use super::sentence::DeskWords;
use super::words::{self, plain};
use crate::engine::linecheck::{LineInput, LinePlan, Wire};
use crate::engine::ringout::Microphone;
use crate::engine::show::Attending;
use crate::engine::show::{Baseline, Laptop, LookFor};
use crate::engine::sound::Calibration;
use crate::engine::{ChannelState, Connection, Input, Snapshot, Step};
use crate::event::{self, Checked, Consent, Date, Event, EventError, Listening, Song};
use crate::units::{ChannelId, SourceKind};

/// What the event tells.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    pub event: Option<Event>,
    /// One for each channel up to the highest in the list; gaps are "other".
    pub inputs: Option<Vec<Input>>,
    pub names: Vec<String>,
    pub connection: Option<Connection>,
    pub device: Option<String>,
    pub desk: DeskWords,
}

impl Setup {
    pub fn of(event: Event) -> Self {
        let highest = event.inputs.iter().map(|input| input.channel.index() + 1).max();
        let mut inputs = vec![Input::new(SourceKind::Other, None); highest.unwrap_or(0)];
        let mut names = vec![String::new(); inputs.len()];
        for input in &event.inputs {
            inputs[input.channel.index()] = Input::new(input.kind, input.show_lift);
            names[input.channel.index()] = plain(&input.name);
        }
        let settings = &event.settings;
        let standard = DeskWords::default();
        Self {
            inputs: highest.is_some().then_some(inputs),
            names,
            connection: settings.connection.map(connection),
            device: settings.device.clone(),
            desk: DeskWords {
                knob: settings.desk.knob.clone().unwrap_or(standard.knob),
                lamp: settings.desk.lamp.clone().unwrap_or(standard.lamp),
                marks: settings.desk.marks.unwrap_or(standard.marks),
                zero: settings.desk.reference,
            },
            event: Some(event),
        }
    }

    /// The listed microphones that can ring, voices first; none where lines are not the inputs' own.
    pub fn microphones(&self) -> Vec<Microphone> {
        let listed = self.event.iter().flat_map(|event| &event.inputs).filter(|input| input.kind.is_miked());
        let mut found: Vec<Microphone> =
            listed.map(|input| Microphone { channel: input.channel, kind: input.kind }).collect();
        let voice = |kind| matches!(kind, SourceKind::Speech | SourceKind::SoloVocal | SourceKind::Headset);
        found.sort_by_key(|it| (!voice(it.kind), it.channel.index()));
        if matches!(self.connection, None | Some(Connection::Usb)) { found } else { Vec::new() }
    }

    /// Minutes to the doors, on the day.
    pub fn minutes_left(&self) -> Option<f64> {
        self.event.as_ref()?.settings.doors?.minutes_left()
    }

    /// The programme; none without an event.
    pub fn songs(&self) -> &[Song] {
        self.event.as_ref().map_or(&[], |event| &event.settings.songs)
    }

    /// The same with another list of inputs; an event without a folder is none yet.
    pub fn relisted(&self, event: &Event, has_folder: bool) -> Self {
        let Self { inputs, names, event, .. } = Self::of(event.clone());
        Self { event: event.filter(|_| has_folder), inputs, names, ..self.clone() }
    }

    /// For recordings: the event's own list, never the names of what is heard now.
    pub fn of_recordings(&self) -> Self {
        match &self.event {
            Some(event) => Self { desk: self.desk.clone(), ..Self::of(event.clone()) },
            None => Self { names: Vec::new(), ..self.clone() },
        }
    }

    /// The desk's words as they were told; the event keeps them.
    pub fn keep_desk(&mut self, words: DeskWords) -> Result<(), EventError> {
        self.desk = words.clone();
        let Some(event) = &mut self.event else { return Ok(()) };
        let desk = &mut event.settings.desk;
        (desk.knob, desk.lamp, desk.marks) = (Some(words.knob), Some(words.lamp), Some(words.marks));
        event.save()
    }

    /// What the event is heard through; the event keeps it.
    pub fn keep_device(&mut self, name: &str, connection: Connection) -> Result<(), EventError> {
        (self.device, self.connection) = (Some(name.to_owned()), Some(connection));
        let Some(event) = &mut self.event else { return Ok(()) };
        event.settings.device = Some(name.to_owned());
        event.settings.connection = Some(listening(connection));
        event.save()
    }

    /// The microphone in the room, as the event tells it.
    pub fn room(&self) -> Option<ChannelId> {
        self.event.as_ref()?.settings.sound.room
    }

    /// Another one, or none; the event keeps it.
    pub fn keep_room(&mut self, room: Option<ChannelId>) -> Result<(), EventError> {
        let Some(event) = &mut self.event else { return Ok(()) };
        event.settings.sound.room = room;
        event.save()
    }

    /// What a show attends to beside rings, with this microphone in the room.
    pub fn attending(&self, room: Option<ChannelId>) -> Attending {
        let sound = self.event.as_ref().map(|event| event.settings.sound.clone()).unwrap_or_default();
        Attending { room, calibration: sound.calibration, limits: sound.limits }
    }

    /// The room compared with a real meter today; the event keeps it.
    pub fn keep_calibration(&mut self, room: ChannelId, calibration: Calibration) -> Result<(), EventError> {
        let Some(event) = &mut self.event else { return Ok(()) };
        event.settings.sound.room = Some(room);
        event.settings.sound.calibration = Some(calibration);
        event.settings.sound.date = Date::today();
        event.save()
    }

    /// Who may be recorded; the event keeps it.
    pub fn keep_consent(&mut self, consent: &Consent) -> Result<(), EventError> {
        let Some(event) = &mut self.event else { return Ok(()) };
        event.settings.recording = Some(consent.clone());
        event.save()
    }

    /// How a soundcheck left the lines; the event keeps it. Once all is set that is all of them, before then those that are
    /// set. Nothing is kept without an event, or of what told nothing. Says what was kept.
    pub fn keep_soundcheck(
        &self,
        snapshot: &Snapshot,
        source: &str,
        staged: bool,
    ) -> Result<Option<&'static str>, EventError> {
        let Some(event) = &self.event else { return Ok(None) };
        let all = snapshot.advice.step == Step::AllSet;
        let by_line = matches!(self.connection, None | Some(Connection::Usb)) || staged;
        let is_set = |input: usize| snapshot.inputs.get(input).is_some_and(|input| input.state == ChannelState::Set);
        let known = |line: usize| all || by_line && is_set(line);
        let left = Baseline { device: source.to_owned(), rate: snapshot.readings.rate, lines: snapshot.lines.clone() };
        if !left.tells() || !(0..left.lines.len()).any(known) {
            return Ok(None);
        }
        let quiet = left.lines.iter().any(|line| line.heard && line.floor.is_some());
        event::keep_checked(event.folder(), left, staged, known)?;
        Ok(Some(if quiet { words::SOUNDCHECK_KEPT } else { words::KEPT_WITHOUT_QUIET }))
    }

    /// How the last soundcheck left the lines, where one was stored.
    pub fn stored_soundcheck(&self, staged: bool) -> Result<Option<Checked>, EventError> {
        self.event.as_ref().map_or(Ok(None), |event| event::read_checked(event.folder(), staged))
    }

    /// What a last look looks for on this device.
    pub fn look_for(&self, before: &Checked, device: &str, laptop: Laptop) -> LookFor {
        let inputs = self.line_plan(before.left.lines.len()).inputs;
        LookFor { before: before.left.clone(), device: device.to_owned(), inputs, laptop }
    }

    /// The doors are on another day by this laptop's clock, or hours away.
    pub fn odd_clock(&self) -> bool {
        let doors = self.event.as_ref().and_then(|event| event.settings.doors);
        doors.is_some_and(|doors| doors.minutes_left().is_none())
    }

    /// Whether the desk's words were never told.
    pub fn desk_is_unknown(&self) -> bool {
        self.event.as_ref().is_none_or(|event| event.settings.desk.knob.is_none())
    }

    /// What is to be checked on a device with so many lines: the inputs in the order of the list, its pairs.
    pub fn line_plan(&self, channels: usize) -> LinePlan {
        let Some(event) = self.event.as_ref().filter(|event| !event.inputs.is_empty()) else {
            return LinePlan::of_lines(channels);
        };
        let input = |input: &event::Input| {
            let wire = match input.connection {
                Some(event::Connection::Mic) => Wire::Microphone,
                Some(event::Connection::Radio) => Wire::Radio,
                Some(event::Connection::Di) => Wire::Di,
                Some(event::Connection::Line | event::Connection::Usb) => Wire::Line,
                None => LineInput::usual_wire(input.kind),
            };
            LineInput::new(input.channel, input.kind, wire, input.phantom == Some(true))
        };
        let plan = LinePlan::new(event.inputs.iter().map(input).collect(), channels);
        LinePlan { pairs: event::pairs(&event.inputs), ..plan }
    }

    pub fn name(&self, channel: ChannelId) -> &str {
        self.names.get(channel.index()).map_or("", String::as_str)
    }

    /// Where the performer stands, metres to the right of the middle and from the front edge.
    pub fn place(&self, channel: ChannelId) -> Option<(f64, f64)> {
        let input = self.event.as_ref()?.inputs.iter().find(|input| input.channel == channel)?;
        Some((input.place_x_m?, input.place_y_m?))
    }
}

const fn connection(listening: Listening) -> Connection {
    match listening {
        Listening::AllChannels => Connection::Usb,
        Listening::OneFeed => Connection::Feed,
        Listening::RoomMic => Connection::Room,
    }
}

const fn listening(connection: Connection) -> Listening {
    match connection {
        Connection::Usb => Listening::AllChannels,
        Connection::Feed => Listening::OneFeed,
        Connection::Room => Listening::RoomMic,
    }
}

/// "3 Soloist", or "channel 3" without a name.
pub fn who(channel: Option<ChannelId>, names: &[String]) -> String {
    let Some(channel) = channel else { return String::new() };
    match names.get(channel.index()) {
        Some(name) if !name.is_empty() => format!("{} {name}", channel.number()),
        _ => format!("channel {}", channel.number()),
    }
}
