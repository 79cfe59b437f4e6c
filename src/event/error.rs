//! What can be wrong with an event folder, told so that the person who wrote it can mend it.
//!
//! A mistake says where it stands (file, line, column; in an input list the column is the cell's), what
//! stood there and what was expected. All mistakes of a folder are told together, so that one visit to the
//! editor mends them. A warning tells what was read with a doubt, or not read.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why an event could not be read or kept.
#[derive(Debug, thiserror::Error)]
pub enum EventError {
    #[error("there is no folder “{}”. Give the folder of an event, which holds event.toml and inputs.csv", .0.display())]
    NoFolder(PathBuf),
    #[error("“{}” holds no event.toml, so it is no event folder. Expected a text file with at least the lines: version = 1 and name = \"…\"", .0.display())]
    NoEventFile(PathBuf),
    #[error("{}: is not a file that can be read. Expected a text file", .0.display())]
    NotAFile(PathBuf),
    #[error("{}: longer than {limit} bytes, so it is no hand-written list. Check that the right file is named", .path.display())]
    TooLong { path: PathBuf, limit: u64 },
    #[error("{}: cannot be read ({cause}). Check that the file is there and that you may read it", .path.display())]
    Unreadable { path: PathBuf, cause: io::Error },
    /// Everything that is wrong in the files, in their order.
    #[error("{}", told(.0))]
    Mistakes(Vec<Mistake>),
    #[error("{}: is there already; nothing was written. Name a new folder", .0.display())]
    AlreadyThere(PathBuf),
    #[error("{}: somebody changed it after it was read; nothing was written. Open the event again, then repeat the change", .0.display())]
    ChangedMeanwhile(PathBuf),
    #[error("{}: cannot be written ({cause}); what stood there before is untouched. Check the disk's space and that you may write there", .path.display())]
    Unwritable { path: PathBuf, cause: io::Error },
}

impl EventError {
    /// The mistakes, where that is what is wrong.
    pub fn mistakes(&self) -> &[Mistake] {
        match self {
            Self::Mistakes(mistakes) => mistakes,
            _ => &[],
        }
    }
}

/// One line a mistake; a page of them is enough to begin mending.
fn told(mistakes: &[Mistake]) -> String {
    const PAGE: usize = 20;
    let mut lines: Vec<String> = mistakes.iter().take(PAGE).map(Mistake::to_string).collect();
    if mistakes.len() > PAGE {
        lines.push(format!("… and {} more like these", mistakes.len() - PAGE));
    }
    lines.join("\n")
}

/// Where in a file: line and column counted from 1. In an input list the column counts cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spot {
    pub file: PathBuf,
    pub line: usize,
    pub column: usize,
    /// The heading or key, where it has one.
    pub field: String,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.file.display(), self.line, self.column)?;
        if self.field.is_empty() { Ok(()) } else { write!(f, " ({})", self.field) }
    }
}

/// One thing to mend.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{at}: {fault}")]
pub struct Mistake {
    pub at: Spot,
    pub fault: Fault,
}

/// What a mistake is.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A word or number that does not belong there.
    #[error("“{stood}” is not {thing}.{} Expected {expected}", did_you_mean("", .near))]
    Value { stood: String, thing: &'static str, expected: String, near: Option<String> },
    #[error(
        "“{stood}” is not a thing of this event.{} Expected a name from inputs.csv or gear.csv, or a circuit of venue.toml",
        did_you_mean("", .near)
    )]
    UnknownThing { stood: String, near: Option<String> },
    #[error(
        "there is no {file}, so nobody knows what “{stood}” is. Write it: a first line such as {headings}, then a line for each"
    )]
    NoList { file: &'static str, headings: &'static str, stood: String },
    #[error(
        "written for version {0} of this format; this program reads version 1. Open it with the newer program that wrote it"
    )]
    Newer(i64),
    #[error("not readable as TOML: {0}. Expected lines such as name = \"Spring concert\"")]
    Syntax(String),
    #[error("damaged: {0}. Mend it by hand, or delete the file and repeat the soundcheck, which writes it anew")]
    Damaged(String),
    #[error(
        "byte {offset} is 0x{byte:02X}, which is not UTF-8 text. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)"
    )]
    NotUtf8 { offset: usize, byte: u8 },
    #[error("byte {offset} begins no UTF-16 character. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)")]
    NotUtf16 { offset: usize },
    #[error(
        "not text: byte {offset} is 0x{byte:02X}. Expected plain text; from a spreadsheet, export the sheet as CSV (UTF-8)"
    )]
    Binary { offset: usize, byte: u8 },
    #[error("nothing is written here. Expected a heading line such as {0}, then one line a channel")]
    Empty(&'static str),
    #[error("the whole line stands in one cell: “{0}”. Expected cells separated by “,” or “;” or tabs")]
    OneCell(String),
    #[error("no column is headed “{name}”. Expected a heading line such as {expected}{}", did_you_mean(".", .near))]
    NoColumn { name: &'static str, expected: &'static str, near: Option<String> },
    #[error("the heading “{heading}” means the same as column {first}. Expected each column once")]
    SameColumn { heading: String, first: usize },
    #[error("{columns} columns are headed. Expected at most {most}; check that the right file is named")]
    TooManyColumns { columns: usize, most: usize },
    #[error("more than {0} lines. Expected a hand-written list; check that the right file is named")]
    TooManyLines(usize),
    #[error(
        "“{0}” stands under no heading. Expected at most one cell a heading; put text that holds the separator in \"quotes\""
    )]
    NoHeading(String),
    #[error("a quote opens here and never closes. Expected a second \" at the end of the cell, or none at all")]
    OpenQuote,
    #[error("channel {channel} is listed twice, first on line {first}. Expected each channel once")]
    SameChannel { channel: u16, first: usize },
    #[error("nothing is written here. Expected a heading line such as {0}, then one line for each")]
    NoLines(&'static str),
    #[error("“{name}” stands twice, first on line {first}. Expected each once")]
    SameName { name: String, first: usize },
    #[error("nothing is said here. Expected {0}")]
    Missing(&'static str),
    #[error("holds the invisible character U+{0:04X}. Delete the cell and type it anew")]
    Control(u32),
    #[error("channel {0} is not in inputs.csv. Expected only channels that are listed there")]
    NotListed(u16),
}

/// `before` ends the sentence that stands before the question.
fn did_you_mean(before: &str, near: &Option<String>) -> String {
    near.as_ref().map_or_else(String::new, |word| format!("{before} Did you mean “{word}”?"))
}
/// Something that was read with a doubt, or left out.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{at}: {doubt}")]
pub struct EventWarning {
    pub at: Spot,
    pub doubt: Doubt,
}

/// What a warning is about.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Doubt {
    #[error(
        "the file is not there, so no channel has a name or a kind. Write one line a channel under the headings {0}"
    )]
    NoInputs(&'static str),
    #[error("no channel is listed under the headings")]
    NoChannels,
    #[error("channel {0} has no name; it will be called “channel {0}”")]
    NoName(u16),
    #[error("channel {0} has no kind; it is taken as “other”")]
    NoKind(u16),
    #[error("the line above the headings is not read")]
    AboveHeadings,
    #[error("the event has no name; it will be called “{0}” after its folder")]
    NoEventName(String),
    #[error("the song has no name; it will be called “song {0}”")]
    NoSongName(usize),
    #[error("channel {0} is opened twice by this song")]
    OpenedTwice(u16),
    #[error("channel {0} is barred twice from recordings")]
    BarredTwice(u16),
    #[error("the last line has no end; check that the whole file is there")]
    CutOff,
    #[error("the word “{word}” is not known here; it is kept but not used{}", did_you_mean(".", .near))]
    UnknownKey { word: String, near: Option<String> },
    #[error("“{0}” is no thing of this event, so its place is not used")]
    PlaceOfNothing(String),
}

/// The mistakes and warnings of one file, gathered while it is read.
pub(super) struct Findings {
    file: PathBuf,
    pub mistakes: Vec<Mistake>,
    pub warnings: Vec<EventWarning>,
}

impl Findings {
    pub fn new(file: PathBuf) -> Self {
        Self { file, mistakes: Vec::new(), warnings: Vec::new() }
    }

    pub fn file(&self) -> &Path {
        &self.file
    }

    pub fn mistake(&mut self, (line, column): (usize, usize), field: &str, fault: Fault) {
        let at = self.spot(line, column, field);
        self.mistakes.push(Mistake { at, fault });
    }

    pub fn warn(&mut self, (line, column): (usize, usize), field: &str, doubt: Doubt) {
        let at = self.spot(line, column, field);
        self.warnings.push(EventWarning { at, doubt });
    }

    fn spot(&self, line: usize, column: usize, field: &str) -> Spot {
        Spot { file: self.file.clone(), line, column, field: field.to_owned() }
    }
}

/// What stood there, short enough for a line and safe to print on a terminal.
pub(super) fn quote(stood: &str) -> String {
    const LONGEST: usize = 40;
    let shown = stood.trim().chars().flat_map(|c| {
        let escaped = if c.is_control() { c.escape_default().collect() } else { vec![c] };
        escaped.into_iter()
    });
    let mut text: String = shown.take(LONGEST + 1).collect();
    if text.chars().count() > LONGEST {
        text = text.chars().take(LONGEST).chain(['…']).collect();
    }
    text
}
