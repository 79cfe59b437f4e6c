//! `recordings`: levels, clipping and the advice that follows, for files and folders of them.

use std::io::IsTerminal;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::args::RecordingsArgs;
use super::lines::state_cell;
use super::setup;
use super::{Exit, out};
use crate::engine::Step;
use crate::engine::recording::{self, ChannelVerdict, Recording, RecordingError};
use crate::engine::takes::Companions;
use crate::units::{ChannelId, Dbfs};
use crate::view::numbers;
use crate::view::words::plain;
use crate::view::{self, Setup, records};

/// Findings of one recording that are told one by one; a broken one has thousands.
const PAGE: usize = 20;

pub fn run(args: &RecordingsArgs) -> anyhow::Result<Exit> {
    measure(args, &setup::read(args.event.as_deref())?)
}

/// Measures them all; each is reported as soon as those before it are.
pub fn measure(args: &RecordingsArgs, setup: &Setup) -> anyhow::Result<Exit> {
    let paths = recording::gather(&args.paths)?;
    let inputs = setup.inputs.clone().unwrap_or_default();
    let bar = bar(paths.len());
    let (sender, results) = mpsc::channel();
    std::thread::scope(|scope| {
        let (paths, inputs, bar) = (&paths, &inputs, &bar);
        std::thread::Builder::new().name("recordings".into()).spawn_scoped(scope, move || {
            let progress = |_, share: f64| bar.tick_to(share, paths.len());
            let done = |index, result| {
                bar.one_done();
                // Nobody takes the results any more: whoever reads has had enough.
                sender.send((index, result)).map_or(ControlFlow::Break(()), ControlFlow::Continue)
            };
            recording::measure_all(paths, inputs, &progress, &done);
        })?;
        report_in_order(results, paths, args, setup, bar)
    })
}

/// Reports results in the order of the paths, however they come.
fn report_in_order(
    results: mpsc::Receiver<(usize, Result<Recording, RecordingError>)>,
    paths: &[PathBuf],
    args: &RecordingsArgs,
    setup: &Setup,
    bar: &Bar,
) -> anyhow::Result<Exit> {
    let mut waiting: Vec<Option<Result<Recording, RecordingError>>> = paths.iter().map(|_| None).collect();
    let mut next = 0;
    let mut worst = Exit::Fine;
    let mut companions = Companions::new(paths);
    while let Ok((index, result)) = results.recv() {
        waiting[index] = Some(result);
        while let Some(mut result) = waiting.get_mut(next).and_then(Option::take) {
            if let Ok(recording) = &mut result {
                companions.meet(recording);
            }
            bar.suspend(|| -> anyhow::Result<()> {
                worst = worst.and(report(&paths[next], &result, args, setup)?);
                Ok(())
            })?;
            next += 1;
        }
    }
    bar.finish();
    Ok(worst)
}

fn report(
    path: &Path,
    result: &Result<Recording, RecordingError>,
    args: &RecordingsArgs,
    setup: &Setup,
) -> anyhow::Result<Exit> {
    let name = path.display().to_string();
    match result {
        Ok(recording) if args.json => report_json(&name, recording, args, setup)?,
        Ok(recording) => report_lines(&name, recording, args, setup)?,
        Err(error) if args.json => out::json(&records::error(&name, &error.to_string()))?,
        Err(error) => out::note(&format!("{}: {error}", plain(&name))),
    }
    Ok(match result {
        Err(_) => Exit::BadInput,
        Ok(recording) if recording.is_unheard() => Exit::CannotTell,
        Ok(recording) if recording.has_faults() => Exit::Findings,
        Ok(recording) => recording.channels.iter().map(exit_of).fold(Exit::Fine, Exit::and),
    })
}

fn exit_of(verdict: &ChannelVerdict) -> Exit {
    match verdict.step {
        None => Exit::Fine,
        Some(Step::Listen { .. }) => Exit::CannotTell,
        Some(_) => Exit::Findings,
    }
}

fn report_json(name: &str, recording: &Recording, args: &RecordingsArgs, setup: &Setup) -> std::io::Result<()> {
    let Recording { format, summary, .. } = recording;
    let length = recording.length();
    out::json(&records::file(name, &recording.info.kind, format.rate, format.channels, length, &summary.programme))?;
    for (index, (verdict, channel)) in recording.channels.iter().zip(&summary.channels).enumerate() {
        let id = ChannelId::from_index(index);
        let advice = advice_line(id, verdict, setup);
        out::json(&records::channel(name, id, channel, shown(verdict), &advice, args.aes17))?;
    }
    for finding in recording.worst_first() {
        out::json(&records::finding(name, finding, format.rate, &recording.partners))?;
    }
    for warning in &recording.warnings {
        out::json(&records::warning(name, &warning.to_string()))?;
    }
    Ok(())
}

fn report_lines(name: &str, recording: &Recording, args: &RecordingsArgs, setup: &Setup) -> std::io::Result<()> {
    let summary = &recording.summary;
    let [kind, loudness] = view::about(recording);
    out::line(&format!("{}\n  {kind}\n  {loudness}", plain(name)))?;
    for (index, (verdict, channel)) in recording.channels.iter().zip(&summary.channels).enumerate() {
        let id = ChannelId::from_index(index);
        let whole = &channel.whole;
        let crest = whole.crest().map_or("–".into(), |crest| format!("{:.1}", crest.get()));
        let aes17 = if args.aes17 {
            format!(" (AES17 {})", numbers::level(whole.rms + Dbfs::AES17_OFFSET))
        } else {
            String::new()
        };
        out::line(&format!(
            "  {:>2}  {}  peak {:>6}  true {:>6}  RMS {:>6}{aes17}  crest {crest:>5}  {}",
            id.number(),
            state_cell(verdict.state, shown(verdict)),
            numbers::level(whole.sample_peak),
            numbers::level(whole.true_peak),
            numbers::level(whole.rms),
            setup.name(id)
        ))?;
    }
    for line in view::finding_lines(recording, PAGE, setup) {
        out::line(&format!("  {line}"))?;
    }
    if recording.findings.len() > PAGE {
        out::line("  (--json tells all)")?;
    }
    for warning in &recording.warnings {
        out::line(&format!("  note: {warning}"))?;
    }
    match recording.next_step(setup.inputs.as_deref().unwrap_or(&[])) {
        Some((channel, verdict)) => {
            out::line(&format!("  {}", advice_line(channel, verdict, setup)))?;
            out::line(&format!(
                "    {}",
                view::verdict_step(channel, verdict, setup).map_or(String::new(), |words| words.proof)
            ))
        }
        None => out::line("  Nothing to turn"),
    }
}

fn shown(verdict: &ChannelVerdict) -> &'static str {
    view::shown(verdict.state, verdict.heard.active, verdict.heard.hits)
}

/// The verdict of a channel in a sentence.
fn advice_line(channel: ChannelId, verdict: &ChannelVerdict, setup: &Setup) -> String {
    view::verdict_step(channel, verdict, setup)
        .map_or(String::new(), |next| format!("{} {}", next.arrow.sign(), next.sentence))
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
