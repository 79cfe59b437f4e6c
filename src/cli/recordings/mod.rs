//! `recordings`: what is wrong with files and folders of them, and what to do; reports and copies on request.
//!
//! Each recording is told as soon as those before it are, then what those of a folder are together. Originals are never
//! written to.

mod lines;
mod made;
mod watch;

use std::io::IsTerminal;
use std::ops::ControlFlow;
use std::path::Path;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::args::RecordingsArgs;
use super::setup;
use super::{Exit, out};
use crate::engine::Step;
use crate::engine::recording::{ChannelVerdict, Recording, RecordingError};
use crate::engine::takes::{self, GatherError, Gathered, Listed, Rings, Told};
use crate::units::SourceKind;
use crate::view::words::plain;
use crate::view::{ReportForm, Setup, TakesReport, made_words, records};
use made::Made;

/// Writes a report in one of its forms.
pub type TakesPrinter = fn(&TakesReport, ReportForm) -> String;

pub fn run(args: &RecordingsArgs, printer: TakesPrinter) -> anyhow::Result<Exit> {
    let setup = setup::read(args.event.as_deref())?;
    let mut made = Made::new(args, printer)?;
    match &args.watch {
        Some(folder) => watch::watch(folder, args, &setup, &mut made),
        None => measure(args, &setup, &mut made),
    }
}

/// Measures one recording as a soundcheck was: every channel is judged as an input, of the list or "other".
pub fn measure_as_soundcheck(path: &Path, json: bool, setup: &Setup) -> anyhow::Result<Exit> {
    let args = RecordingsArgs { paths: vec![path.to_owned()], json, ..RecordingsArgs::default() };
    let mut setup = setup.clone();
    let channels = takes::Head::of(path).map_or(0, |head| head.channels);
    setup.inputs.get_or_insert_with(|| vec![crate::engine::Input::new(SourceKind::Other, None); channels]);
    measure(&args, &setup, &mut Made::nothing())
}

/// Measures all that the paths mean.
fn measure(args: &RecordingsArgs, setup: &Setup, made: &mut Made) -> anyhow::Result<Exit> {
    let found = takes::gather(&args.paths)?;
    let exit = check(&found, args, setup, made)?;
    made.finish()?;
    Ok(exit.and(made.ended()))
}

/// Checks these, tells each; exits as the worst of them says.
fn check(found: &Gathered, args: &RecordingsArgs, setup: &Setup, made: &mut Made) -> anyhow::Result<Exit> {
    let mut worst = Exit::Fine;
    for trouble in &found.troubles {
        worst = Exit::BadInput;
        let (GatherError::Unreadable(path, _) | GatherError::Empty(path)) = trouble;
        tell_error(path, &trouble.to_string(), args.json)?;
    }
    made_words::left_out(&found.own).into_iter().for_each(|told| out::note(&told));
    let files = &found.files;
    let bar = bar(files.len());
    let listed = Listed { inputs: setup.inputs.as_deref().unwrap_or(&[]), names: &setup.names };
    let rings = if args.rings { Rings::Everywhere } else { Rings::Suspected };
    let mut failed = None;
    let mut tell = |told: Told| {
        let done = bar.suspend(|| match &told {
            Told::Take(place, result) => {
                worst = worst.and(exit_of(result));
                lines::take(&files[*place], result, args, setup).map_err(anyhow::Error::from)?;
                made.take(&files[*place], result, setup)
            }
            Told::Together(gathering) => {
                lines::together(gathering, args, setup)?;
                made.together(gathering, setup);
                Ok(())
            }
        });
        match done {
            Ok(()) => ControlFlow::Continue(()),
            Err(error) => {
                failed = Some(error);
                ControlFlow::Break(())
            }
        }
    };
    let progress = |_, share: f64| bar.tick_to(share, files.len());
    takes::check_all(files, listed, rings, &progress, &|| bar.one_done(), &mut tell)?;
    bar.finish();
    failed.map_or(Ok(worst), Err)
}

/// What could not be read or made, in words that begin with its path.
fn tell_error(path: &Path, said: &str, json: bool) -> std::io::Result<()> {
    let name = path.display().to_string();
    if json {
        return out::json(&records::error(&name, said.strip_prefix(&format!("{name}: ")).unwrap_or(said)));
    }
    out::note(&plain(said));
    Ok(())
}

fn exit_of(result: &Result<Recording, RecordingError>) -> Exit {
    match result {
        Err(_) => Exit::BadInput,
        Ok(recording) if recording.is_unheard() => Exit::CannotTell,
        Ok(recording) if recording.has_faults() => Exit::Findings,
        Ok(recording) => recording.channels.iter().map(exit_of_channel).fold(Exit::Fine, Exit::and),
    }
}

fn exit_of_channel(verdict: &ChannelVerdict) -> Exit {
    match verdict.step {
        None => Exit::Fine,
        Some(Step::Listen { .. }) => Exit::CannotTell,
        Some(_) => Exit::Findings,
    }
}

/// The progress bar, on a terminal only.
pub(super) struct Bar(ProgressBar);

const SLOW: Duration = Duration::from_millis(200);

pub(super) fn bar(files: usize) -> Bar {
    if !std::io::stderr().is_terminal() {
        return Bar(ProgressBar::hidden());
    }
    let bar = ProgressBar::new(1000 * files as u64);
    if let Ok(style) = ProgressStyle::with_template("  listening {bar:40} {percent:>3} %  {eta} to go") {
        bar.set_style(style.progress_chars("━╸─"));
    }
    bar.enable_steady_tick(SLOW);
    Bar(bar)
}

impl Bar {
    pub fn tick_to(&self, share: f64, files: usize) {
        if files == 1 {
            self.0.set_position((share * 1000.0) as u64);
        }
    }

    pub fn one_done(&self) {
        self.0.inc(1000);
    }

    pub fn suspend<T>(&self, print: impl FnOnce() -> T) -> T {
        self.0.suspend(print)
    }

    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}
