//! `ringout FILE…`: the rings of recordings, or of folders of them, as they would have been said live.

use std::path::{Path, PathBuf};
use std::sync::mpsc;

use crate::cli::args::RingoutArgs;
use crate::cli::recordings::{Bar, bar};
use crate::cli::{Exit, out};
use crate::engine::recording::RecordingError;
use crate::engine::ring_recording::{self, RingRecording};
use crate::engine::takes;
use crate::view::numbers::{self, counted};
use crate::view::words::plain;
use crate::view::{made_words, records, ring_advice, ring_record, ring_words};

/// Listens to them all; each is reported as soon as those before it are.
pub fn run(args: &RingoutArgs) -> anyhow::Result<Exit> {
    let found = takes::gather(&args.paths)?;
    let troubles = found.troubles.iter().map(|trouble| plain(&trouble.to_string()));
    troubles.chain(made_words::left_out(&found.own)).for_each(|told| out::note(&told));
    let paths = found.files;
    let bar = bar(paths.len());
    let (sender, results) = mpsc::channel();
    std::thread::scope(|scope| {
        let (paths, bar) = (&paths, &bar);
        std::thread::Builder::new().name("ringout".into()).spawn_scoped(scope, move || {
            let progress = |_, share: f64| bar.tick_to(share, paths.len());
            let done = |index, result| {
                bar.one_done();
                let _ = sender.send((index, result));
            };
            ring_recording::listen_all(paths, &progress, &done);
        })?;
        report_in_order(&results, paths, args, bar)
    })
}

type Heard = Result<RingRecording, RecordingError>;

fn report_in_order(
    results: &mpsc::Receiver<(usize, Heard)>,
    paths: &[PathBuf],
    args: &RingoutArgs,
    bar: &Bar,
) -> anyhow::Result<Exit> {
    let mut waiting: Vec<Option<Heard>> = paths.iter().map(|_| None).collect();
    let mut next = 0;
    let mut worst = Exit::Fine;
    while let Ok((index, heard)) = results.recv() {
        waiting[index] = Some(heard);
        while let Some(heard) = waiting.get_mut(next).and_then(Option::take) {
            bar.suspend(|| report(&paths[next], &heard, args.json))?;
            worst = worst.and(exit_of(&heard));
            next += 1;
        }
    }
    bar.finish();
    Ok(worst)
}

/// A ring is a finding, a possible ring too; a recording too short for a judgement tells nothing.
fn exit_of(heard: &Heard) -> Exit {
    match heard {
        Err(_) => Exit::BadInput,
        Ok(recording) if !recording.rings.is_empty() => Exit::Findings,
        Ok(recording) if recording.length.get() < 1.0 => Exit::CannotTell,
        Ok(_) => Exit::Fine,
    }
}

fn report(path: &Path, heard: &Heard, json: bool) -> std::io::Result<()> {
    let name = path.display().to_string();
    match heard {
        Ok(recording) if json => {
            for said in &recording.rings {
                out::json(&ring_record(&name, said))?;
            }
            for warning in &recording.warnings {
                out::json(&records::warning(&name, &warning.to_string()))?;
            }
        }
        Ok(recording) => report_lines(&name, recording)?,
        Err(error) if json => out::json(&records::error(&name, &error.to_string()))?,
        Err(error) => out::note(&format!("{}: {error}", plain(&name))),
    }
    Ok(())
}

fn report_lines(name: &str, recording: &RingRecording) -> std::io::Result<()> {
    let length = numbers::length(recording.length);
    let channels = counted(recording.format.channels as u64, "channel", "channels");
    out::line(&format!("{}\n  {channels} · {length}", plain(name)))?;
    for said in &recording.rings {
        let (at, channel) = (numbers::clock(said.ring.reported), said.ring.channel.number());
        out::line(&format!("  at {at}, channel {channel}: {}", ring_words(&said.ring)))?;
        out::line(&format!("    {}", ring_advice(&said.ring)))?;
    }
    for warning in &recording.warnings {
        out::line(&format!("  note: {warning}"))?;
    }
    match recording.rings.is_empty() {
        true if recording.length.get() < 1.0 => out::line("  Too short to tell"),
        true => out::line("  No ring heard"),
        false => Ok(()),
    }
}
