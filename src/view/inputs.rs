//! The words of the input list while it is edited: columns, what was done, what was taken back, where it is kept.
//!
//! Channels are counted from 1; a cell's own mistakes are worded by `event`.

use std::path::Path;

use super::numbers::counted;
use super::words::plain;
use crate::event::{Change, Column, Input};
use crate::units::ChannelId;

pub const OPEN: &str = "List  E";
pub const ADD: &str = "Add  A";
pub const REMOVE: &str = "Remove  Del";
pub const UP: &str = "Up  Alt ↑";
pub const DOWN: &str = "Down  Alt ↓";
pub const UNDO: &str = "Undo  Ctrl Z";
pub const REDO: &str = "Redo  Ctrl Y";
pub const PASTE: &str = "Paste a sheet  Ctrl V";
pub const CLOSE: &str = "Back  Esc";
pub const SAVE_AGAIN: &str = "Save again";
pub const READ_AGAIN: &str = "Read the folder again";
pub const MAKE: &str = "Make the event folder";

pub const EVENT_NAME: &str = "Name of the event";
pub const EVENT_FOLDER: &str = "Folder it is kept in";
pub const NAME_IT: &str = "name the event first. One word is enough";
pub const NAME_A_FOLDER: &str = "name a folder first. It is made if it is not there";
pub const OCCUPIED: &str =
    "there is an event in that folder already. Choose another, or remove the lines here to open that one";
pub const EMPTY: &str = "No inputs yet. Add one, paste cells from a spreadsheet, or drop a CSV here";
pub const SIXTY_FOUR: &str = "all 64 channels are listed. Remove one first";
/// Nothing said in a cell that offers a choice.
pub const NOT_SAID: &str = "not said";
pub const YES_NO: [&str; 2] = ["yes", "no"];
/// What mistakes call a list that was pasted.
pub const PASTED: &str = "pasted cells";

/// The lines of the keys, for the help.
pub const KEYS: [(&str, &str); 6] = [
    ("E", "the input list"),
    ("↑ ↓ Enter", "in the list: walk, and write in the line"),
    ("A Del", "in the list: add a line, remove one"),
    ("Alt ↑ ↓", "in the list: move a line to the channel beside it"),
    ("Ctrl Z Ctrl Y", "in the list: undo, redo"),
    ("Ctrl V", "in the list: cells from a spreadsheet"),
];

/// Above a cell.
pub const fn column(column: Column) -> &'static str {
    match column {
        Column::Channel => "Channel",
        Column::Name => "Name",
        Column::Kind => "Kind",
        Column::Connection => "Connected by",
        Column::ShowLift => "Show lift, dB",
        Column::Person => "Person",
        Column::Stand => "Stand",
        Column::Phantom => "Phantom, 48 V",
        Column::Notes => "Notes",
        Column::PlaceX => "Metres right of the middle",
        Column::PlaceY => "Metres from the front edge",
    }
}

/// "3 Soloist", "3 (no name)".
pub fn line(input: &Input) -> String {
    let name = if input.name.is_empty() { "(no name)".to_owned() } else { plain(&input.name) };
    format!("{} {name}", input.channel.number())
}

/// What else a line shows: "solo vocal · radio · Anna B. · her own microphone".
pub fn more(input: &Input) -> String {
    let mut parts = vec![input.kind.word().to_owned()];
    parts.extend(input.connection.map(|connection| connection.word().to_owned()));
    parts.extend(input.person.as_deref().map(plain));
    parts.extend(input.notes.as_deref().map(|notes| plain(&notes.split_whitespace().collect::<Vec<_>>().join(" "))));
    parts.join(" · ")
}

/// "Input list: 12 inputs".
pub fn head(count: usize) -> String {
    format!("Input list: {}", counted(count as u64, "input", "inputs"))
}

/// Where it is kept.
pub fn kept(event: &str, folder: &Path) -> String {
    format!("{}, saved in {}", plain(event), plain(&folder.display().to_string()))
}

/// There is no event folder.
pub const HOMELESS: &str = "Not saved yet: name an event and its folder";

/// After a change that was kept.
pub fn done(change: &Change) -> String {
    let number = |channel: &ChannelId| channel.number();
    match change {
        Change::Added(channel) => format!("Channel {} added", number(channel)),
        Change::Removed(channel) => format!("Channel {} removed", number(channel)),
        Change::Moved(from, to) => format!("Channels {} and {} exchanged", number(from), number(to)),
        Change::Set(channel, of) => format!("{} of channel {} changed", column(*of), number(channel)),
        Change::Imported(count) => format!("{} read", counted(*count as u64, "input", "inputs")),
    }
}

pub fn undone(change: &Change) -> String {
    format!("Taken back: {}", done(change))
}

pub fn redone(change: &Change) -> String {
    format!("Done again: {}", done(change))
}

/// A change that can't be kept, or a cell that can't be read.
pub fn wrong(why: &str) -> String {
    format!("Not taken: {}", plain_lines(why))
}

pub fn not_saved(why: &str) -> String {
    format!("Not saved: {}", plain_lines(why))
}

/// What was doubtful when the folder was read.
pub fn doubt(why: &str) -> String {
    format!("Look at: {}", plain_lines(why))
}

fn plain_lines(text: &str) -> String {
    text.lines().map(plain).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SourceKind;

    #[test]
    fn lines_and_changes_in_words() {
        let mut input = Input::new(ChannelId::new(2), "Soloist", SourceKind::SoloVocal);
        (input.person, input.notes) = (Some("Anna B.".into()), Some("her own\nmicrophone".into()));
        assert_eq!(line(&input), "3 Soloist");
        assert_eq!(more(&input), "solo vocal · Anna B. · her own microphone");
        assert_eq!(line(&Input::new(ChannelId::new(0), "", SourceKind::Other)), "1 (no name)");
        assert_eq!(head(1), "Input list: 1 input");
        let moved = Change::Moved(ChannelId::new(2), ChannelId::new(1));
        assert_eq!(undone(&moved), "Taken back: Channels 3 and 2 exchanged");
        assert_eq!(done(&Change::Set(ChannelId::new(0), Column::ShowLift)), "Show lift, dB of channel 1 changed");
        assert_eq!(wrong("a:1:1: x\u{1b}\nb"), "Not taken: a:1:1: x\u{fffd}\nb");
    }
}
