//! `inputs.csv`: one line a channel, from any spreadsheet.
//!
//! Read: cells separated by `,`, `;` or tabs (whichever gives the most known headings), headings in any
//! order and case, quotes, blank lines, every line ending, decimal commas. Columns that are not known are
//! kept. Source of the form: RFC 4180. Units: `show_lift_db` in dB (0 to 20), places in metres.
//! Edge cases: an empty cell is "not said"; an unclosed quote, two lines for one channel, a cell under no
//! heading are mistakes; nothing panics, whatever the bytes are.

use std::path::Path;

use super::error::{Doubt, EventError, EventWarning, Fault, Findings};
use super::row::Row;
use super::table::{HEADINGS, Table};
use super::words::{Column, Connection};
use super::{save, text};
use crate::units::{ChannelId, Db, SourceKind};

/// One line of the input list.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    pub channel: ChannelId,
    /// May be empty: see [`Input::label`].
    pub name: String,
    pub kind: SourceKind,
    pub connection: Option<Connection>,
    /// What show night adds; `None` takes the kind's own.
    pub show_lift: Option<Db>,
    pub person: Option<String>,
    pub stand: Option<String>,
    pub phantom: Option<bool>,
    pub notes: Option<String>,
    /// Metres from the middle of the stage's front edge, to the audience's right.
    pub place_x_m: Option<f64>,
    /// Metres from the stage's front edge, away from the audience.
    pub place_y_m: Option<f64>,
    /// Headings and cells of the columns that this program does not know, empty cells too.
    pub others: Vec<(String, String)>,
}

impl Input {
    /// An input of which only this is known.
    pub fn new(channel: ChannelId, name: impl Into<String>, kind: SourceKind) -> Self {
        Self {
            channel,
            name: name.into(),
            kind,
            connection: None,
            show_lift: None,
            person: None,
            stand: None,
            phantom: None,
            notes: None,
            place_x_m: None,
            place_y_m: None,
            others: Vec::new(),
        }
    }

    /// What to call it: its name, or its channel.
    pub fn label(&self) -> String {
        if self.name.is_empty() { format!("channel {}", self.channel.number()) } else { self.name.clone() }
    }

    /// The cell that says this of the input; empty is "not said".
    pub fn cell(&self, column: Column) -> String {
        let number = |number: Option<f64>| number.map_or_else(String::new, |number| number.to_string());
        match column {
            Column::Channel => self.channel.number().to_string(),
            Column::Name => self.name.clone(),
            Column::Kind => self.kind.word().to_owned(),
            Column::Connection => self.connection.map_or("", Connection::word).to_owned(),
            Column::ShowLift => number(self.show_lift.map(Db::get)),
            Column::Person => self.person.clone().unwrap_or_default(),
            Column::Stand => self.stand.clone().unwrap_or_default(),
            Column::Phantom => self.phantom.map_or("", |on| if on { "yes" } else { "no" }).to_owned(),
            Column::Notes => self.notes.clone().unwrap_or_default(),
            Column::PlaceX => number(self.place_x_m),
            Column::PlaceY => number(self.place_y_m),
        }
    }
}

/// Reads an input list; the inputs come in the order of their lines.
pub fn read_inputs(path: impl AsRef<Path>) -> Result<(Vec<Input>, Vec<EventWarning>), EventError> {
    let path = path.as_ref();
    parse_inputs(path, &text::read(path)?)
}

/// Reads an input list from the bytes of `file`; the name is only for the texts of mistakes.
pub fn parse_inputs(file: impl AsRef<Path>, bytes: &[u8]) -> Result<(Vec<Input>, Vec<EventWarning>), EventError> {
    let mut findings = Findings::new(file.as_ref().to_owned());
    let inputs = gather(bytes, &mut findings);
    if findings.mistakes.is_empty() {
        Ok((inputs, findings.warnings))
    } else {
        Err(EventError::Mistakes(findings.mistakes))
    }
}

/// Writes an input list that [`read_inputs`] reads back; the old one stays whole until the new one is.
pub fn write_inputs(path: impl AsRef<Path>, inputs: &[Input]) -> Result<(), EventError> {
    let text = inputs_text(inputs);
    parse_inputs(&path, text.as_bytes())?;
    save::replace(path.as_ref(), text.as_bytes())
}

/// The text of an input list: the five headings, then those that any input needs.
pub fn inputs_text(inputs: &[Input]) -> String {
    inputs_text_with(inputs, None)
}

/// The same with one cell as somebody typed it, told by the place of its line and its column.
pub(super) fn inputs_text_with(inputs: &[Input], typed: Option<(usize, Column, &str)>) -> String {
    let needed = |column: &Column| {
        HEADINGS.split(',').any(|word| word == column.word())
            || typed.is_some_and(|(_, changed, _)| changed == *column)
            || inputs.iter().any(|input| !input.cell(*column).is_empty())
    };
    let columns: Vec<Column> = Column::ALL.into_iter().filter(needed).collect();
    let mut others: Vec<&str> = Vec::new();
    for (heading, _) in inputs.iter().flat_map(|input| &input.others) {
        if !others.contains(&heading.as_str()) {
            others.push(heading);
        }
    }
    let mut lines = csv::Writer::from_writer(Vec::new());
    let headings = columns.iter().map(|column| column.word()).chain(others.iter().copied());
    let mut written = lines.write_record(headings);
    for (index, input) in inputs.iter().enumerate() {
        let cell = |column: &Column| match typed {
            Some((line, changed, text)) if (line, changed) == (index, *column) => text.to_owned(),
            _ => input.cell(*column),
        };
        let other = |heading: &&str| {
            let found = input.others.iter().find(|(own, _)| own == heading);
            found.map_or_else(String::new, |(_, cell)| cell.clone())
        };
        let cells = columns.iter().map(cell).chain(others.iter().map(other));
        written = written.and_then(|()| lines.write_record(cells.map(String::into_bytes)));
    }
    let bytes = written.ok().and_then(|()| lines.into_inner().ok()).unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// Every input that could be read, with every mistake.
pub(super) fn gather(bytes: &[u8], findings: &mut Findings) -> Vec<Input> {
    let Some(text) = text::decode(bytes, findings) else { return Vec::new() };
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let Some(table) = Table::of(&text, findings) else { return Vec::new() };
    if table.rows.is_empty() {
        findings.warn((table.heading_line, 1), "", Doubt::NoChannels);
    }
    let mut inputs = Vec::new();
    let mut lines: [Option<usize>; ChannelId::MAX_CHANNELS] = [None; ChannelId::MAX_CHANNELS];
    for (line, cells) in &table.rows {
        let Some(input) = Row::new(&table, *line, cells).input(findings) else { continue };
        match &mut lines[input.channel.index()] {
            Some(first) => {
                let fault = Fault::SameChannel { channel: input.channel.number(), first: *first };
                findings.mistake((*line, table.column_of(Column::Channel)), Column::Channel.word(), fault);
            }
            line_of_channel => {
                *line_of_channel = Some(*line);
                inputs.push(input);
            }
        }
    }
    inputs
}
