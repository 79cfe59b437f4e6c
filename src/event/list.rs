//! The input list while it is edited: every change can be undone, and none is kept that could not be read back.
//!
//! A change is made on the list's own text and read again, so that a cell that was typed is judged as it would be in the
//! file, with the line on which it will stand there. Lines stand in the order that the person gives them; moving a line
//! past its neighbour exchanges their channels, since a channel is a place on the desk. Songs follow: a channel that
//! moved is open where it was open before, one that is gone is open nowhere.
//!
//! Edge cases: a change that changes nothing is none and can't be undone; a list has at most 64 lines.

use std::path::Path;

use super::error::EventError;
use super::inputs::{Input, inputs_text_with, parse_inputs};
use super::paste;
use super::settings::Song;
use super::words::Column;
use super::{Event, INPUTS_FILE, text};
use crate::units::{ChannelId, SourceKind};

/// What was done, for the words of an undo.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    Added(ChannelId),
    Removed(ChannelId),
    /// From a channel to another.
    Moved(ChannelId, ChannelId),
    Set(ChannelId, Column),
    /// So many inputs in place of the old list.
    Imported(usize),
}

/// Inputs and songs together, since songs name channels.
#[derive(Clone, Debug, PartialEq)]
struct State {
    inputs: Vec<Input>,
    songs: Vec<Song>,
}

/// The list, what was done to it, and what was taken back.
#[derive(Clone, Debug)]
pub struct List {
    now: State,
    past: Vec<(Change, State)>,
    future: Vec<(Change, State)>,
}

impl List {
    pub fn of(event: &Event) -> Self {
        let now = State { inputs: event.inputs.clone(), songs: event.settings.songs.clone() };
        Self { now, past: Vec::new(), future: Vec::new() }
    }

    /// In the order of the lines.
    pub fn inputs(&self) -> &[Input] {
        &self.now.inputs
    }

    /// Puts the list into the event, which keeps what else it holds.
    pub fn put_into(&self, event: &mut Event) {
        event.inputs.clone_from(&self.now.inputs);
        event.settings.songs.clone_from(&self.now.songs);
    }

    /// What would be taken back next.
    pub fn undoable(&self) -> Option<&Change> {
        self.past.last().map(|(change, _)| change)
    }

    pub fn redoable(&self) -> Option<&Change> {
        self.future.last().map(|(change, _)| change)
    }

    pub fn undo(&mut self) -> Option<Change> {
        let (change, before) = self.past.pop()?;
        let after = std::mem::replace(&mut self.now, before);
        self.future.push((change.clone(), after));
        Some(change)
    }

    pub fn redo(&mut self) -> Option<Change> {
        let (change, after) = self.future.pop()?;
        let before = std::mem::replace(&mut self.now, after);
        self.past.push((change.clone(), before));
        Some(change)
    }

    /// A line below `line` (or at the end) on the next free channel; where it stands. `None`: all 64 are listed.
    pub fn add(&mut self, line: Option<usize>) -> Option<usize> {
        let inputs = &self.now.inputs;
        let taken = |channel: ChannelId| inputs.iter().any(|input| input.channel == channel);
        let after =
            line.and_then(|line| inputs.get(line)).or(inputs.last()).map_or(0, |input| input.channel.index() + 1);
        let all = ChannelId::MAX_CHANNELS;
        let channel = (after..all).chain(0..after.min(all)).map(ChannelId::from_index).find(|free| !taken(*free))?;
        let at = line.map_or(inputs.len(), |line| (line + 1).min(inputs.len()));
        let mut new = self.now.clone();
        let mut input = Input::new(channel, "", SourceKind::Other);
        // The columns that somebody else put there stand empty.
        let others = new.inputs.first().map(|first| first.others.as_slice()).unwrap_or_default();
        input.others = others.iter().map(|(heading, _)| (heading.clone(), String::new())).collect();
        new.inputs.insert(at, input);
        self.keep(Change::Added(channel), new);
        Some(at)
    }

    pub fn remove(&mut self, line: usize) -> bool {
        let Some(input) = self.now.inputs.get(line) else { return false };
        let channel = input.channel;
        let mut new = self.now.clone();
        new.inputs.remove(line);
        for song in &mut new.songs {
            song.open.retain(|open| *open != channel);
        }
        self.keep(Change::Removed(channel), new)
    }

    /// Past its neighbour above or below, whose channel it takes; where it stands then.
    pub fn move_line(&mut self, line: usize, down: bool) -> Option<usize> {
        let to = if down { line.checked_add(1)? } else { line.checked_sub(1)? };
        let (from_channel, to_channel) = (self.now.inputs.get(line)?.channel, self.now.inputs.get(to)?.channel);
        let mut new = self.now.clone();
        new.inputs.swap(line, to);
        (new.inputs[line].channel, new.inputs[to].channel) = (from_channel, to_channel);
        for open in new.songs.iter_mut().flat_map(|song| &mut song.open) {
            if *open == from_channel {
                *open = to_channel;
            } else if *open == to_channel {
                *open = from_channel;
            }
        }
        self.keep(Change::Moved(from_channel, to_channel), new);
        Some(to)
    }

    /// Writes a cell as it was typed: whether that changed anything, or what is wrong with it and what was expected.
    pub fn set(&mut self, line: usize, column: Column, typed: &str) -> Result<bool, EventError> {
        let Some(before) = self.now.inputs.get(line).map(|input| input.channel) else { return Ok(false) };
        let text = inputs_text_with(&self.now.inputs, Some((line, column, typed)));
        let (inputs, _) = parse_inputs(INPUTS_FILE, text.as_bytes())?;
        let Some(after) = inputs.get(line).map(|input| input.channel) else { return Ok(false) };
        let mut new = State { inputs, songs: self.now.songs.clone() };
        for open in new.songs.iter_mut().flat_map(|song| &mut song.open).filter(|open| **open == before) {
            *open = after;
        }
        Ok(self.keep(Change::Set(after, column), new))
    }

    /// Takes another list in place of this one, from the bytes of a file: how many inputs it has, or every mistake in it.
    pub fn import(&mut self, name: &Path, bytes: &[u8]) -> Result<usize, EventError> {
        let (inputs, _) = paste::parse(name, bytes)?;
        let (count, mut songs) = (inputs.len(), self.now.songs.clone());
        for song in &mut songs {
            song.open.retain(|open| inputs.iter().any(|input| input.channel == *open));
        }
        self.keep(Change::Imported(count), State { inputs, songs });
        Ok(count)
    }

    /// The same from a file, which is only read.
    pub fn import_file(&mut self, path: &Path) -> Result<usize, EventError> {
        let bytes = text::read(path)?;
        self.import(path, &bytes)
    }

    fn keep(&mut self, change: Change, new: State) -> bool {
        if new == self.now {
            return false;
        }
        let before = std::mem::replace(&mut self.now, new);
        self.past.push((change, before));
        self.future.clear();
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(number: u16) -> ChannelId {
        ChannelId::new(number - 1)
    }

    fn list() -> List {
        let mut event = Event::new("nowhere", "Spring concert");
        event.inputs = vec![
            Input::new(channel(1), "Lectern", SourceKind::Speech),
            Input::new(channel(2), "Soloist", SourceKind::SoloVocal),
            Input::new(channel(4), "Keys", SourceKind::Keys),
        ];
        for input in &mut event.inputs {
            input.others = vec![("colour".into(), "red".into())];
        }
        event.settings.songs = vec![Song { name: "First".into(), open: vec![channel(2), channel(4)] }];
        List::of(&event)
    }

    fn told(list: &List) -> Vec<(u16, &str)> {
        list.inputs().iter().map(|input| (input.channel.number(), input.name.as_str())).collect()
    }

    fn open(list: &List) -> Vec<u16> {
        list.now.songs[0].open.iter().map(|channel| channel.number()).collect()
    }

    #[test]
    fn lines_come_and_go_and_songs_follow() {
        let mut list = list();
        assert_eq!(list.add(Some(1)), Some(2));
        assert_eq!(told(&list), [(1, "Lectern"), (2, "Soloist"), (3, ""), (4, "Keys")]);
        assert_eq!(list.add(Some(0)), Some(1), "the next free one behind channel 1");
        assert_eq!(list.inputs()[1].channel, channel(5));
        assert!(list.remove(2));
        assert_eq!(open(&list), [4]);
        assert!(!list.remove(99));
        while list.undo().is_some() {}
        assert_eq!(told(&list), [(1, "Lectern"), (2, "Soloist"), (4, "Keys")]);
        assert_eq!(open(&list), [2, 4]);
    }

    #[test]
    fn a_line_moves_to_its_neighbours_channel_and_stays_open_in_its_songs() {
        let mut list = list();
        assert_eq!(list.move_line(1, false), Some(0));
        assert_eq!(told(&list), [(1, "Soloist"), (2, "Lectern"), (4, "Keys")]);
        assert_eq!(open(&list), [1, 4]);
        assert_eq!(list.inputs()[1].others, [("colour".to_owned(), "red".to_owned())]);
        assert_eq!((list.move_line(0, false), list.move_line(2, true), list.move_line(9, true)), (None, None, None));
    }

    #[test]
    fn cells_are_judged_as_in_the_file() {
        let mut list = list();
        assert!(list.set(1, Column::Name, "  Anna\tB. ").unwrap());
        assert_eq!(list.inputs()[1].name, "Anna B.");
        assert!(!list.set(1, Column::Name, "Anna B.").unwrap(), "nothing changed");
        assert!(list.set(1, Column::Kind, "trumpet").unwrap());
        assert_eq!(list.inputs()[1].kind, SourceKind::Brass);
        assert!(list.set(0, Column::ShowLift, "6,5 dB").unwrap());
        assert!(list.set(0, Column::Notes, "two lines,\n\"quoted\"").unwrap());
        assert_eq!(list.inputs()[0].notes.as_deref(), Some("two lines,\n\"quoted\""));
        // The line is the file's own: the notes above take two.
        let said = list.set(1, Column::Kind, "drms kick").unwrap_err().to_string();
        assert!(said.starts_with("inputs.csv:4:3 (kind): “drms kick” is not a kind of source. "), "{said}");
        assert!(said.contains("Expected one of: "), "{said}");
        let said = list.set(1, Column::Channel, "1").unwrap_err().to_string();
        assert!(said.contains("channel 1 is listed twice, first on line 2. Expected each channel once"), "{said}");
        let said = list.set(2, Column::Channel, "65").unwrap_err().to_string();
        assert!(said.contains("Expected one whole number from 1 to 64"), "{said}");
        // A song keeps its microphone when that is plugged in elsewhere.
        assert!(list.set(2, Column::Channel, "9").unwrap());
        assert_eq!(open(&list), [2, 9]);
    }

    #[test]
    fn undo_goes_back_to_the_beginning_and_redo_to_the_end() {
        let mut list = list();
        for number in 0..1_000 {
            assert!(list.set(0, Column::Name, &format!("name {number}")).unwrap());
        }
        assert_eq!(list.undoable(), Some(&Change::Set(channel(1), Column::Name)));
        for _ in 0..1_000 {
            assert!(list.undo().is_some());
        }
        assert_eq!((list.undo(), told(&list)[0]), (None, (1, "Lectern")));
        for _ in 0..1_000 {
            assert!(list.redo().is_some());
        }
        assert_eq!((list.redo(), told(&list)[0]), (None, (1, "name 999")));
        list.undo();
        list.add(None);
        assert_eq!(list.redoable(), None, "a new change leaves nothing to redo");
    }

    #[test]
    fn sixty_four_lines_and_no_more() {
        let mut list = list();
        while list.add(None).is_some() {}
        assert_eq!(list.inputs().len(), 64);
        let text = inputs_text_with(list.inputs(), None);
        assert_eq!(parse_inputs("inputs.csv", text.as_bytes()).unwrap().0, list.inputs());
    }

    #[test]
    fn another_list_takes_its_place_as_one_change_or_not_at_all() {
        let mut list = list();
        let sheet = "channel\tname\tkind\n1\tChoir left\tchoir\n2\tChoir right\tchoir\n";
        assert_eq!(list.import(Path::new("paste"), sheet.as_bytes()).unwrap(), 2);
        assert_eq!(open(&list), [2]);
        let said = list.import(Path::new("paste"), b"channel\tname\tkind\n1\ta\tchoir\n1\tb\tlute\n").unwrap_err();
        assert_eq!(said.mistakes().len(), 2, "{said}");
        assert_eq!(list.inputs().len(), 2, "what was there stays");
        assert_eq!(list.undo(), Some(Change::Imported(2)));
        assert_eq!((told(&list).len(), open(&list)), (3, vec![2, 4]));
    }
}
