//! One line of an input list: cells to an [`Input`], each mistake told and a default left in its place.
//!
//! Units: show lift in dB (0 to 20), places in metres (±100). An empty cell is "not said". Numbers may have
//! a sign, their unit, and a decimal comma.

use std::ops::RangeInclusive;

use csv::StringRecord;

use super::error::{Doubt, Fault, Findings, quote};
use super::inputs::Input;
use super::table::Table;
use super::words::{self, Column, Connection};
use crate::units::{ChannelId, Db, SourceKind};

/// One line being read.
pub(super) struct Row<'a> {
    table: &'a Table,
    line: usize,
    cells: &'a StringRecord,
}

impl<'a> Row<'a> {
    pub fn new(table: &'a Table, line: usize, cells: &'a StringRecord) -> Self {
        Self { table, line, cells }
    }

    /// The input, unless its channel cannot be told; every other mistake leaves a default behind it.
    pub fn input(&self, findings: &mut Findings) -> Option<Input> {
        self.check_cells(findings);
        let channel = self.channel(findings);
        let kind = self.kind(channel, findings);
        let mut input = Input::new(channel.unwrap_or(ChannelId::new(0)), one_line(self.text(Column::Name)), kind);
        if let Some(channel) = channel.filter(|_| input.name.is_empty()) {
            findings.warn(self.at(Column::Name), Column::Name.word(), Doubt::NoName(channel.number()));
        }
        let said = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        input.connection = self.connection(findings);
        input.show_lift = self.number(Column::ShowLift, "db", 0.0..=20.0, findings).map(Db::new);
        input.person = said(&one_line(self.text(Column::Person)));
        input.stand = said(&one_line(self.text(Column::Stand)));
        input.phantom = self.phantom(findings);
        input.notes = said(self.text(Column::Notes));
        input.place_x_m = self.number(Column::PlaceX, "m", -100.0..=100.0, findings);
        input.place_y_m = self.number(Column::PlaceY, "m", -100.0..=100.0, findings);
        let headings = self.table.headings.iter().zip(&self.table.meanings).enumerate();
        let others = headings.filter(|(_, (heading, meaning))| meaning.is_none() && !heading.is_empty());
        input.others = others
            .map(|(index, (heading, _))| (heading.clone(), self.cells.get(index).unwrap_or_default().trim().to_owned()))
            .collect();
        channel.map(|_| input)
    }

    /// What no column allows: text under no heading, characters that cannot be seen.
    fn check_cells(&self, findings: &mut Findings) {
        let (mut line, mut homeless) = (self.line, false);
        for (index, cell) in self.cells.iter().enumerate() {
            let heading = self.table.headings.get(index).map_or("", String::as_str);
            if heading.is_empty() && !cell.trim().is_empty() && !homeless {
                findings.mistake((line, index + 1), "", Fault::NoHeading(quote(cell)));
                homeless = true;
            }
            if let Some(control) = cell.chars().find(|c| c.is_control() && !c.is_whitespace()) {
                findings.mistake((line, index + 1), &quote(heading), Fault::Control(control as u32));
            }
            line += newlines(cell);
        }
    }

    fn channel(&self, findings: &mut Findings) -> Option<ChannelId> {
        let text = self.text(Column::Channel).to_lowercase();
        let bare = text.strip_prefix("channel").or(text.strip_prefix("ch")).unwrap_or(&text);
        let bare = bare.trim_start_matches('.').trim();
        let whole = bare.strip_suffix(".0").or(bare.strip_suffix(",0")).unwrap_or(bare);
        let digits = !whole.is_empty() && whole.bytes().all(|byte| byte.is_ascii_digit());
        let number = if digits { whole.parse().ok() } else { None };
        let channel = number.filter(|number| (1..=ChannelId::MAX_CHANNELS).contains(number));
        if channel.is_none() {
            self.value(Column::Channel, "a channel", "one whole number from 1 to 64".to_owned(), None, findings);
        }
        channel.map(|number| ChannelId::from_index(number - 1))
    }

    fn kind(&self, channel: Option<ChannelId>, findings: &mut Findings) -> SourceKind {
        let text = self.text(Column::Kind);
        if text.is_empty() {
            if let Some(channel) = channel {
                findings.warn(self.at(Column::Kind), Column::Kind.word(), Doubt::NoKind(channel.number()));
            }
            return SourceKind::Other;
        }
        words::kind(text).unwrap_or_else(|| {
            let expected = format!("one of: {}", words::list(SourceKind::ALL.map(SourceKind::word)));
            self.value(Column::Kind, "a kind of source", expected, words::near_kind(text), findings);
            SourceKind::Other
        })
    }

    fn connection(&self, findings: &mut Findings) -> Option<Connection> {
        let text = self.text(Column::Connection);
        let connection = Connection::from_word(text);
        if connection.is_none() && !text.is_empty() {
            let all = Connection::ALL.map(Connection::word);
            let near = words::nearest(text, all.map(|word| (word, word)));
            self.value(Column::Connection, "a connection", format!("one of: {}", words::list(all)), near, findings);
        }
        connection
    }

    fn phantom(&self, findings: &mut Findings) -> Option<bool> {
        match self.text(Column::Phantom).to_lowercase().as_str() {
            "" => None,
            "yes" | "y" | "on" | "true" | "1" | "x" | "48" | "+48" | "48v" | "+48v" | "48 v" | "+48 v" => Some(true),
            "no" | "n" | "off" | "false" | "0" | "-" | "–" => Some(false),
            _ => {
                self.value(Column::Phantom, "an answer", "yes or no".to_owned(), None, findings);
                None
            }
        }
    }

    /// A number with an optional sign and unit; the decimal mark may be a comma.
    fn number(&self, column: Column, unit: &str, range: RangeInclusive<f64>, findings: &mut Findings) -> Option<f64> {
        let text = self.text(column).to_lowercase().replace('−', "-").replace(',', ".");
        if text.is_empty() {
            return None;
        }
        let bare = text.strip_suffix(unit).unwrap_or(&text).trim();
        let plain = bare.bytes().all(|byte| byte.is_ascii_digit() || b"+-.e".contains(&byte));
        let number = if plain { bare.parse().ok() } else { None };
        let within = number.filter(|number| range.contains(number));
        if within.is_none() {
            let thing = if column == Column::ShowLift { "a show lift" } else { "a place on the stage" };
            let unit = if column == Column::ShowLift { "dB, empty for the kind's own" } else { "metres" };
            let expected = format!("a number from {} to {} ({unit})", range.start(), range.end());
            self.value(column, thing, expected, None, findings);
        }
        within
    }

    /// The column's cell; empty where the line is shorter or the column is not there.
    fn text(&self, column: Column) -> &str {
        let index = self.table.meanings.iter().position(|meaning| *meaning == Some(column));
        index.and_then(|index| self.cells.get(index)).unwrap_or_default().trim()
    }

    /// Line and number of the column's cell; a cell before it may hold line ends.
    fn at(&self, column: Column) -> (usize, usize) {
        let number = self.table.column_of(column);
        (self.line + self.cells.iter().take(number - 1).map(newlines).sum::<usize>(), number)
    }

    fn value(
        &self,
        column: Column,
        thing: &'static str,
        expected: String,
        near: Option<&'static str>,
        findings: &mut Findings,
    ) {
        let fault = Fault::Value { stood: quote(self.text(column)), thing, expected, near: near.map(str::to_owned) };
        findings.mistake(self.at(column), column.word(), fault);
    }
}

pub(super) fn newlines(cell: &str) -> usize {
    cell.bytes().filter(|&byte| byte == b'\n').count()
}

/// Names are shown in one line.
pub(super) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
