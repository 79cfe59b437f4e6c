//! What is written on request: a report, copies with marks, with a right header, at a loudness.
//!
//! Reports replace an older report in one step, so that it is whole at any time; copies never replace anything. One that
//! can't be made is told, and the others are made.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context;

use super::{TakesPrinter, tell_error};
use crate::cli::args::{Bits, RecordingsArgs};
use crate::cli::{Exit, out};
use crate::engine::recording::{Recording, RecordingError};
use crate::engine::takes::copies::{self, CopyError};
use crate::engine::takes::{Gathering, Mark, Width};
use crate::event;
use crate::units::Lufs;
use crate::view::words::plain;
use crate::view::{ReportForm, Setup, Take, TakesReport, Together, made_words, marks, records, together_records};

/// What is to be written, and what was gathered for it.
pub struct Made {
    report: Option<(PathBuf, Form, TakesReport, String)>,
    copies: Option<Copies>,
    /// Copies that could not be made.
    unmade: usize,
    printer: Option<TakesPrinter>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Page(ReportForm),
    Lines,
}

struct Copies {
    folder: PathBuf,
    marked: bool,
    mended: bool,
    loudness: Option<(Lufs, Option<Width>)>,
    json: bool,
}

impl Made {
    pub fn new(args: &RecordingsArgs, printer: TakesPrinter) -> anyhow::Result<Self> {
        let report = match &args.report {
            None => None,
            // A report replaces what stands there; a recording never is what it replaces.
            Some(path) if args.paths.iter().any(|named| is_same(named, path)) => {
                anyhow::bail!("{}: is itself among the recordings. Name another file for the report", path.display())
            }
            Some(path) => Some((path.clone(), form(path)?, TakesReport::default(), String::new())),
        };
        let width = args.bits.map(|bits| match bits {
            Bits::B16 => Width::Bits16,
            Bits::B24 => Width::Bits24,
        });
        let copies = args.out.clone().map(|folder| Copies {
            folder,
            marked: args.markers,
            mended: args.mend,
            loudness: args.loudness.map(|lufs| (Lufs::new(lufs), width)),
            json: args.json,
        });
        Ok(Self { report, copies, unmade: 0, printer: Some(printer) })
    }

    pub fn nothing() -> Self {
        Self { report: None, copies: None, unmade: 0, printer: None }
    }

    pub fn take(
        &mut self,
        path: &Path,
        result: &Result<Recording, RecordingError>,
        setup: &Setup,
    ) -> anyhow::Result<()> {
        if let Some((_, form, report, lines)) = &mut self.report {
            match form {
                Form::Page(_) => report.add(Take::new(path, result, setup)),
                Form::Lines => add_lines(lines, records::take_records(path, result, setup, false)),
            }
        }
        if let (Some(copies), Ok(recording)) = (&self.copies, result) {
            self.unmade += copies.make(recording, setup)?;
        }
        Ok(())
    }

    pub fn together(&mut self, gathering: &Gathering, setup: &Setup) {
        if let Some((_, form, report, lines)) = &mut self.report {
            match form {
                Form::Page(_) => report.together.push(Together::new(gathering, setup)),
                Form::Lines => add_lines(lines, together_records(gathering)),
            }
        }
    }

    /// How the making of copies went; tells where some could not be made.
    pub fn ended(&self) -> Exit {
        if self.unmade == 0 {
            return Exit::Fine;
        }
        out::note(&made_words::not_made(self.unmade));
        Exit::BadInput
    }

    /// Writes the report as far as it is known.
    pub fn finish(&self) -> anyhow::Result<()> {
        let (Some((path, form, report, lines)), Some(printer)) = (&self.report, self.printer) else { return Ok(()) };
        let text = match form {
            Form::Page(form) => printer(report, *form),
            Form::Lines => lines.clone(),
        };
        event::write_whole(path, text.as_bytes())?;
        out::note(&format!("Wrote {}", plain(&path.display().to_string())));
        Ok(())
    }
}

impl Copies {
    /// Gives how many could not be made.
    fn make(&self, recording: &Recording, setup: &Setup) -> anyhow::Result<usize> {
        fs::create_dir_all(&self.folder).with_context(|| {
            format!("{}: this folder can’t be made. Name another with --out", self.folder.display())
        })?;
        let target = |word: &str| copies::copy_name(&recording.path, word, &self.folder);
        let mut unmade = 0;
        let mut told = |path: &Path, made: Result<String, CopyError>| match made {
            Ok(_) if self.json => Ok(()),
            Ok(more) => {
                out::note(&format!("Wrote {}{more}", plain(&path.display().to_string())));
                Ok(())
            }
            Err(error) => {
                unmade += 1;
                tell_error(path, &error.to_string(), self.json)
            }
        };
        if self.marked {
            let (path, marks) = (target(made_words::MARKED), marks(recording, setup));
            let table = path.with_extension("csv");
            let in_sound: Vec<Mark> = marks.iter().map(|mark| mark.in_sound(recording.format.rate)).collect();
            let made = copies::is_free(&table).and_then(|()| copies::marked(recording, &in_sound, &path));
            let is_made = made.is_ok();
            told(&path, made.map(|()| String::new()))?;
            if is_made {
                event::write_whole(&table, made_words::marks_csv(&marks).as_bytes())?;
                told(&table, Ok(String::new()))?;
            }
        }
        if self.mended && copies::has_wrong_header(recording) {
            let path = target(made_words::MENDED);
            told(&path, copies::mended(recording, &path).map(|()| String::new()))?;
        }
        if let Some((lufs, width)) = self.loudness {
            let path = target(&made_words::at_loudness(lufs));
            match copies::levelled(recording, lufs, width, &path) {
                Ok(None) => out::note(&made_words::no_loudness(&plain(&recording.path.display().to_string()))),
                made => told(&path, made.map(|made| made.map_or(String::new(), |made| made_words::levelled(&made))))?,
            }
        }
        Ok(unmade)
    }
}

fn add_lines(lines: &mut String, records: Vec<serde_json::Value>) {
    for record in records {
        lines.push_str(&record.to_string());
        lines.push('\n');
    }
}

fn form(path: &Path) -> anyhow::Result<Form> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    match ending.as_str() {
        "html" | "htm" => Ok(Form::Page(ReportForm::Html)),
        "csv" => Ok(Form::Page(ReportForm::Csv)),
        "json" | "jsonl" => Ok(Form::Lines),
        _ => anyhow::bail!("{}: a report ends in .html, .csv or .json. Name it so", path.display()),
    }
}
/// Whether two paths lead to one file.
fn is_same(one: &Path, other: &Path) -> bool {
    matches!((one.canonicalize(), other.canonicalize()), (Ok(one), Ok(other)) if one == other)
}
