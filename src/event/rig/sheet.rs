//! A sheet of cells under known headings: `patch.csv`, `gear.csv`, and the desk's columns of `inputs.csv`.
//!
//! Source of the form: RFC 4180, widened as in the input list (`,`, `;` or tabs, any order and case of headings, quotes,
//! blank lines, byte-order marks). Lines and cells are counted from 1. Edge cases: an empty sheet, an unclosed quote,
//! two columns of one name, text under no heading are mistakes; columns that are not known are told of and left alone.

use std::ops::RangeInclusive;

use csv::StringRecord;

use crate::event::error::{Doubt, Fault, Findings, quote};
use crate::event::row::{newlines, one_line};
use crate::event::table::{open_quote, records};
use crate::event::text;
use crate::event::words::{self, heading_words};
use crate::plan::quantity::Metres;

/// A heading and what people write in its place.
pub struct Heading {
    pub word: &'static str,
    pub others: &'static [&'static str],
    pub needed: bool,
}

pub const fn heading(word: &'static str, others: &'static [&'static str]) -> Heading {
    Heading { word, others, needed: false }
}

pub const fn needed(word: &'static str, others: &'static [&'static str]) -> Heading {
    Heading { word, others, needed: true }
}

/// The cells, their headings understood.
pub struct Sheet {
    known: &'static [Heading],
    /// Where each known heading stands.
    columns: Vec<Option<usize>>,
    headings: Vec<String>,
    rows: Vec<(usize, StringRecord)>,
}

/// More is no hand-written list.
const MOST_ROWS: usize = 2_000;
const MOST_COLUMNS: usize = 200;

impl Sheet {
    /// `example` is a heading line as it should be. `None` after saying why the bytes are no sheet.
    pub fn of(bytes: &[u8], known: &'static [Heading], example: &'static str, findings: &mut Findings) -> Option<Self> {
        let text = text::decode(bytes, findings)?.replace("\r\n", "\n").replace('\r', "\n");
        let separator = separator(&text, known);
        if let Some(at) = open_quote(&text, separator) {
            findings.mistake(at, "", Fault::OpenQuote);
            return None;
        }
        let mut rows: Vec<_> = records(&text, separator).take(MOST_ROWS + 1).collect();
        if let Some((line, _)) = rows.get(MOST_ROWS) {
            findings.mistake((*line, 1), "", Fault::TooManyLines(MOST_ROWS));
            return None;
        }
        if rows.is_empty() {
            findings.mistake((1, 1), "", Fault::NoLines(example));
            return None;
        }
        let (line, first) = rows.remove(0);
        let headings: Vec<String> = first.iter().map(|cell| cell.trim().to_owned()).collect();
        if headings.len() > MOST_COLUMNS {
            let fault = Fault::TooManyColumns { columns: headings.len(), most: MOST_COLUMNS };
            findings.mistake((line, 1), "", fault);
            return None;
        }
        let mut columns = vec![None; known.len()];
        for (index, heading) in headings.iter().enumerate() {
            let Some(meaning) = meaning(heading, known) else {
                unknown_heading((line, index + 1), heading, known, findings);
                continue;
            };
            match columns[meaning] {
                None => columns[meaning] = Some(index),
                Some(first) => {
                    let fault = Fault::SameColumn { heading: quote(heading), first: first + 1 };
                    findings.mistake((line, index + 1), &quote(heading), fault);
                }
            }
        }
        for (heading, column) in known.iter().zip(&columns) {
            if heading.needed && column.is_none() {
                let near = headings.iter().find(|other| words::nearest(other, [(heading.word, ())]).is_some());
                let fault =
                    Fault::NoColumn { name: heading.word, expected: example, near: near.map(|near| quote(near)) };
                findings.mistake((line, 1), "", fault);
            }
        }
        Some(Self { known, columns, headings, rows })
    }

    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row { sheet: self, line: *line, cells })
    }
}

/// The separator that gives the first line the most known headings.
fn separator(text: &str, known: &[Heading]) -> u8 {
    let score = |separator: u8| {
        let first = records(text, separator).next();
        first.map_or(0, |(_, cells)| cells.iter().filter(|cell| meaning(cell, known).is_some()).count())
    };
    [b',', b';', b'\t'].into_iter().rev().max_by_key(|separator| score(*separator)).unwrap_or(b',')
}

fn meaning(heading: &str, known: &[Heading]) -> Option<usize> {
    let written = heading_words(heading);
    known.iter().position(|heading| {
        heading_words(heading.word) == written || heading.others.iter().any(|other| *other == written)
    })
}

fn unknown_heading(at: (usize, usize), heading: &str, known: &[Heading], findings: &mut Findings) {
    if heading.is_empty() {
        return;
    }
    let near = words::nearest(heading, known.iter().map(|known| (known.word, known.word.to_owned())));
    findings.warn(at, &quote(heading), Doubt::UnknownKey { word: quote(heading), near });
}

/// One line of a sheet.
#[derive(Clone, Copy)]
pub struct Row<'a> {
    sheet: &'a Sheet,
    pub line: usize,
    cells: &'a StringRecord,
}

impl<'a> Row<'a> {
    /// Text under no heading, characters that cannot be seen.
    pub fn check(&self, findings: &mut Findings) {
        for (index, cell) in self.cells.iter().enumerate() {
            let heading = self.sheet.headings.get(index).map_or("", String::as_str);
            if heading.is_empty() && !cell.trim().is_empty() {
                findings.mistake((self.line, index + 1), "", Fault::NoHeading(quote(cell)));
                return;
            }
            if let Some(control) = cell.chars().find(|c| c.is_control() && !c.is_whitespace()) {
                findings.mistake((self.line, index + 1), &quote(heading), Fault::Control(control as u32));
            }
        }
    }

    /// The cell in one line; empty where it is not there.
    pub fn text(&self, column: usize) -> String {
        one_line(self.raw(column))
    }

    /// Text that was said.
    pub fn said(&self, column: usize) -> Option<String> {
        Some(self.text(column)).filter(|text| !text.is_empty())
    }

    fn raw(&self, column: usize) -> &'a str {
        self.sheet.columns[column].and_then(|index| self.cells.get(index)).unwrap_or_default().trim()
    }

    /// Line and number of a cell.
    pub fn at(&self, column: usize) -> (usize, usize) {
        let index = self.sheet.columns[column].unwrap_or(0);
        (self.line + self.cells.iter().take(index).map(newlines).sum::<usize>(), index + 1)
    }

    pub fn mistake(&self, column: usize, fault: Fault, findings: &mut Findings) {
        findings.mistake(self.at(column), self.sheet.known[column].word, fault);
    }

    /// A word that was not understood.
    pub fn wrong(
        &self,
        column: usize,
        thing: &'static str,
        expected: impl Into<String>,
        near: Option<String>,
        findings: &mut Findings,
    ) {
        let fault = Fault::Value { stood: quote(self.raw(column)), thing, expected: expected.into(), near };
        self.mistake(column, fault, findings);
    }

    /// One of these words; `None` where nothing was said, or after saying what is wrong.
    pub fn word<T: Copy>(
        &self,
        column: usize,
        thing: &'static str,
        all: &[(&'static str, T)],
        findings: &mut Findings,
    ) -> Option<T> {
        let text = self.text(column);
        if text.is_empty() {
            return None;
        }
        let written = words::plain(&text);
        let found = all.iter().find(|(word, _)| words::plain(word) == written).map(|(_, value)| *value);
        if found.is_none() {
            let near = words::nearest(&text, all.iter().map(|(word, _)| (*word, (*word).to_owned())));
            let expected = format!("one of: {}", words::list(all.iter().map(|(word, _)| *word)));
            self.wrong(column, thing, expected, near, findings);
        }
        found
    }

    pub fn answer(&self, column: usize, findings: &mut Findings) -> Option<bool> {
        match self.text(column).to_lowercase().as_str() {
            "" => None,
            "yes" | "y" | "on" | "true" | "1" | "x" => Some(true),
            "no" | "n" | "off" | "false" | "0" | "-" | "–" => Some(false),
            _ => {
                self.wrong(column, "an answer", "yes or no", None, findings);
                None
            }
        }
    }

    /// A number in this range; its unit and a decimal comma are allowed.
    pub fn number(
        &self,
        column: usize,
        unit: &'static str,
        range: RangeInclusive<f64>,
        findings: &mut Findings,
    ) -> Option<f64> {
        let text = self.text(column).to_lowercase().replace('−', "-").replace(',', ".");
        if text.is_empty() {
            return None;
        }
        let bare = text.strip_suffix(&unit.to_lowercase()).unwrap_or(&text).trim();
        let plain = bare.bytes().all(|byte| byte.is_ascii_digit() || b"+-.e".contains(&byte));
        // "1,200" may be twelve hundred or one and a fifth: nobody can tell, so nobody guesses.
        let thousands = self.text(column).split_once(',').is_some_and(|(before, after)| {
            let after = after.bytes().take_while(u8::is_ascii_digit).count();
            after == 3 && before.trim_start_matches(['+', '-', '−']) != "0"
        });
        let number = if plain && !thousands { bare.parse::<f64>().ok() } else { None };
        let within = number.filter(|number| range.contains(number));
        if within.is_none() {
            let separators = if thousands { ", without a comma between thousands" } else { "" };
            let expected = format!("a number from {} to {} ({unit}){separators}", range.start(), range.end());
            let metres = feet_as_metres(&text).filter(|metres| unit == "m" && range.contains(metres));
            self.wrong(column, "a number in range", expected, metres.map(|metres| format!("{metres:.1}")), findings);
        }
        within
    }

    /// A whole number in this range.
    pub fn whole(&self, column: usize, range: RangeInclusive<u32>, findings: &mut Findings) -> Option<u32> {
        let text = self.text(column);
        if text.is_empty() {
            return None;
        }
        let number = text.parse::<u32>().ok().filter(|number| range.contains(number));
        if number.is_none() {
            let expected = format!("a whole number from {} to {}", range.start(), range.end());
            self.wrong(column, "a count", expected, None, findings);
        }
        number
    }
}

/// What whoever measured in feet meant.
fn feet_as_metres(text: &str) -> Option<f64> {
    let feet = ["feet", "foot", "ft", "'", "’"].iter().find_map(|word| text.strip_suffix(word))?;
    Some(feet.trim().parse::<f64>().ok()? * Metres::FOOT.get())
}
