//! What is to be checked: inputs in the order of the list, pairs, loudspeakers.

use crate::units::{ChannelId, SourceKind};

/// How an input is made to sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// A microphone: a finger on it.
    Tap,
    /// An instrument or a player on a line: short notes.
    Play,
}

/// How an input is plugged in, as far as it matters here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    Microphone,
    Radio,
    /// Through a DI box, which has a lift for its audio ground.
    Di,
    Line,
}

/// One input of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineInput {
    pub channel: ChannelId,
    pub kind: SourceKind,
    pub wire: Wire,
    /// It wants +48 V.
    pub phantom: bool,
}

impl LineInput {
    pub const fn new(channel: ChannelId, kind: SourceKind, wire: Wire, phantom: bool) -> Self {
        Self { channel, kind, wire, phantom }
    }

    /// How an input of a kind is usually plugged in.
    pub const fn usual_wire(kind: SourceKind) -> Wire {
        match kind {
            SourceKind::Bass | SourceKind::Keys => Wire::Di,
            SourceKind::Playback => Wire::Line,
            _ => Wire::Microphone,
        }
    }

    pub const fn way(&self) -> Way {
        match self.wire {
            Wire::Microphone | Wire::Radio => Way::Tap,
            Wire::Di | Wire::Line => Way::Play,
        }
    }
}

/// A whole line check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinePlan {
    /// In the order in which they are called.
    pub inputs: Vec<LineInput>,
    /// Lines of the device, heard or not.
    pub channels: usize,
    /// Left and right of one source.
    pub pairs: Vec<(ChannelId, ChannelId)>,
    /// Whether the loudspeakers are checked at the end, by a quiet sound.
    pub loudspeakers: bool,
    /// A microphone in the hall, if one is among the lines.
    pub room: Option<ChannelId>,
}

impl LinePlan {
    /// Inputs and pairs beyond the device's lines stay in the list: they are called, and never heard.
    pub fn new(inputs: Vec<LineInput>, channels: usize) -> Self {
        Self { inputs, channels, pairs: Vec::new(), loudspeakers: false, room: None }
    }

    /// With a microphone in the hall, if it is one of the lines: it is no input then.
    #[must_use]
    pub fn with_room(self, room: Option<ChannelId>) -> Self {
        let room = room.filter(|room| room.index() < self.channels);
        let inputs = self.inputs.into_iter().filter(|input| Some(input.channel) != room).collect();
        Self { inputs, room, ..self }
    }

    /// Without a list: every line of the device is taken for a microphone.
    pub fn of_lines(channels: usize) -> Self {
        let input = |line| LineInput::new(ChannelId::from_index(line), SourceKind::Other, Wire::Microphone, false);
        Self::new((0..channels).map(input).collect(), channels)
    }
}
