//! The cells of an input list under their headings, before anything is made of them.
//!
//! Source of the form: RFC 4180, widened to what spreadsheets export: `,`, `;` or tab, whichever first gives a
//! line with the three headings that no list can do without, or else the most known ones; lines above the
//! headings; a first line `sep=;`. Lines are counted from 1 as an
//! editor counts them, blank lines and line ends inside quotes included.

use csv::StringRecord;

use super::error::{Doubt, Fault, Findings, quote};
use super::words::{self, Column};

/// The headings that a list is written with; the last two may be missing.
pub(super) const HEADINGS: &str = "channel,name,kind,connection,show_lift_db";

/// No list without these.
const NEEDED: [Column; 3] = [Column::Channel, Column::Name, Column::Kind];

/// A sheet with more is no input list; this many leave room for anybody's own.
const MOST_COLUMNS: usize = 200;

/// The list as cells, its headings understood.
pub(super) struct Table {
    pub heading_line: usize,
    pub headings: Vec<String>,
    pub meanings: Vec<Option<Column>>,
    /// Line and cells, blank lines left out.
    pub rows: Vec<(usize, StringRecord)>,
}

impl Table {
    /// `None` after saying why the text is no table.
    pub fn of(text: &str, findings: &mut Findings) -> Option<Self> {
        let (separator, heading_row) = find_headings(text);
        if let Some(at) = open_quote(text, separator) {
            findings.mistake(at, "", Fault::OpenQuote);
            return None;
        }
        let mut rows: Vec<_> = records(text, separator).collect();
        if rows.is_empty() {
            findings.mistake((1, 1), "", Fault::Empty(HEADINGS));
            return None;
        }
        let rest = rows.split_off(heading_row + 1);
        let (heading_line, heading_cells) = rows.pop()?;
        for (line, _) in rows {
            findings.warn((line, 1), "", Doubt::AboveHeadings);
        }
        let mut headings: Vec<String> = heading_cells.iter().map(|cell| cell.trim().to_owned()).collect();
        headings.truncate(headings.iter().rposition(|heading| !heading.is_empty()).map_or(0, |last| last + 1));
        if headings.len() > MOST_COLUMNS {
            let fault = Fault::TooManyColumns { columns: headings.len(), most: MOST_COLUMNS };
            findings.mistake((heading_line, 1), "", fault);
            return None;
        }
        let meanings = meanings(&headings);
        let table = Self { heading_line, headings, meanings, rows: rest };
        table.check(findings).then_some(table)
    }

    /// Whether the rows can be read under these headings.
    fn check(&self, findings: &mut Findings) -> bool {
        let filled: Vec<&String> = self.headings.iter().filter(|heading| !heading.is_empty()).collect();
        if let [only] = filled[..] {
            findings.mistake((self.heading_line, 1), "", Fault::OneCell(quote(only)));
            return false;
        }
        for (index, heading) in self.headings.iter().enumerate().filter(|(_, heading)| !heading.is_empty()) {
            if let Some(control) = heading.chars().find(|c| c.is_control() && !c.is_whitespace()) {
                findings.mistake((self.heading_line, index + 1), &quote(heading), Fault::Control(control as u32));
            }
            let first = match (self.meanings[index], Column::candidates(heading)) {
                (Some(_), _) => None,
                (None, [column]) => self.meanings.iter().position(|meaning| *meaning == Some(*column)),
                (None, _) => self.headings[..index].iter().position(|other| other == heading),
            };
            if let Some(first) = first {
                let fault = Fault::SameColumn { heading: quote(heading), first: first + 1 };
                findings.mistake((self.heading_line, index + 1), &quote(heading), fault);
            }
        }
        for column in NEEDED {
            if !self.meanings.contains(&Some(column)) {
                let unknown = self.headings.iter().zip(&self.meanings).filter(|(_, meaning)| meaning.is_none());
                let near = unknown
                    .map(|(heading, _)| heading)
                    .find(|heading| words::nearest(heading, [(column.word(), column.word())]).is_some());
                let fault = Fault::NoColumn {
                    name: column.word(),
                    expected: HEADINGS,
                    near: near.map(|heading| quote(heading)),
                };
                findings.mistake((self.heading_line, 1), "", fault);
            }
        }
        findings.mistakes.is_empty()
    }

    /// The number of the cell, counted from 1.
    pub fn column_of(&self, column: Column) -> usize {
        self.meanings.iter().position(|meaning| *meaning == Some(column)).map_or(1, |index| index + 1)
    }
}

/// The separator and the row of the headings, looked for in the first rows: the first row that has all that is
/// needed, whatever words stand in the cells below it; where none has, the one with the most known headings.
fn find_headings(text: &str) -> (u8, usize) {
    const LOOKED_AT: usize = 20;
    let mut whole: Option<(u8, usize)> = None;
    let mut best = (b',', 0, 0, 0);
    for separator in [b',', b';', b'\t'] {
        for (row, (_, cells)) in records(text, separator).take(LOOKED_AT).enumerate() {
            let known = cells.iter().filter(|cell| !Column::candidates(cell).is_empty()).count();
            // A lone known word is no heading line; then more cells are the better guess.
            let score = if known > 1 { (known, 0) } else { (0, if row == 0 { cells.len() } else { 0 }) };
            if score > (best.2, best.3) {
                best = (separator, row, score.0, score.1);
            }
            if known >= NEEDED.len() && whole.is_none_or(|(_, first)| row < first) && has_all_needed(&cells) {
                whole = Some((separator, row));
            }
        }
    }
    whole.unwrap_or((best.0, best.1))
}

fn has_all_needed(cells: &StringRecord) -> bool {
    let headings: Vec<String> = cells.iter().map(|cell| cell.trim().to_owned()).collect();
    let meanings = meanings(&headings);
    NEEDED.iter().all(|column| meanings.contains(&Some(*column)))
}

/// What each heading means: the unmistakable ones first, then the others as what is still missing.
fn meanings(headings: &[String]) -> Vec<Option<Column>> {
    let mut meanings = vec![None; headings.len()];
    for sure in [true, false] {
        for (index, heading) in headings.iter().enumerate() {
            let candidates = Column::candidates(heading);
            if (candidates.len() == 1) == sure {
                meanings[index] = candidates.iter().copied().find(|column| !meanings.contains(&Some(*column)));
            }
        }
    }
    meanings
}

/// The rows that hold anything, with the line that each begins on.
pub(super) fn records(text: &str, separator: u8) -> impl Iterator<Item = (usize, StringRecord)> + '_ {
    let mut builder = csv::ReaderBuilder::new();
    let reader = builder.delimiter(separator).has_headers(false).flexible(true).from_reader(text.as_bytes());
    let (mut line, mut counted) = (1, 0);
    // A spreadsheet may name its separator before everything else.
    let names_separator = |cells: &StringRecord| {
        let first = cells.get(0).unwrap_or_default();
        first.len() >= 4 && first.as_bytes()[..4].eq_ignore_ascii_case(b"sep=")
    };
    reader.into_records().map_while(Result::ok).filter_map(move |cells| {
        let start = cells.position().map_or(0, |position| position.byte() as usize);
        // The position may stand before blank lines that were skipped.
        let begin = start + text[start..].bytes().take_while(|&byte| byte == b'\n').count();
        line += text.as_bytes()[counted..begin].iter().filter(|&&byte| byte == b'\n').count();
        counted = begin;
        let blank = cells.iter().all(|cell| cell.chars().all(|c| c.is_whitespace() || c == ',' || c == ';'));
        let says_nothing = blank || line == 1 && names_separator(&cells);
        (!says_nothing).then_some((line, cells))
    })
}

/// Line and cell of a quote that opens a cell and is never closed: it would swallow the rest of the list.
pub(super) fn open_quote(text: &str, separator: u8) -> Option<(usize, usize)> {
    let (mut line, mut cell, mut opened, mut cell_start) = (1, 1, None, true);
    let mut bytes = text.bytes().peekable();
    while let Some(byte) = bytes.next() {
        if byte == b'"' && opened.is_some() {
            if bytes.next_if_eq(&b'"').is_none() {
                opened = None;
            }
        } else if byte == b'"' && cell_start {
            opened = Some((line, cell));
        } else if byte == separator && opened.is_none() {
            cell += 1;
        }
        if byte == b'\n' {
            line += 1;
            if opened.is_none() {
                cell = 1;
            }
        }
        cell_start = opened.is_none() && (byte == separator || byte == b'\n');
    }
    opened
}
