//! Many recordings checked in order, over all cores: each by itself, then what those of one folder are together.
//!
//! In: files and the input list with its names. Out, in the order of the files: each recording as soon as those before it
//! are told, and after the last of a folder what it shows as a whole. Whoever is told may break off.

use std::collections::HashMap;
use std::io;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::mpsc;

use super::companions::Companions;
use super::gathering::Gathering;
use super::tracks::{Head, Track, match_tracks};
use crate::coach::Input;
use crate::detectors::{Certainty, Evidence};
use crate::engine::recording::{Expect, Recording, RecordingError, measure_all};
use crate::engine::ring_recording::{self, SaidRing};

/// What comes, in order.
pub enum Told {
    /// Of the file at this place.
    Take(usize, Box<Result<Recording, RecordingError>>),
    Together(Box<Gathering>),
}

/// What is expected of the recordings.
#[derive(Clone, Copy)]
pub struct Listed<'a> {
    pub inputs: &'a [Input],
    /// In the order of `inputs`.
    pub names: &'a [String],
}

/// Whether ringing is listened for too, which takes as long again as all the rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rings {
    /// Only where a tone stood alone for seconds.
    Suspected,
    Everywhere,
}

/// dB a second.
const GREW: f64 = 1.0;

/// Checks them all; `progress` is told the share of a file that was read, `ended` of each that was.
pub fn check_all(
    files: &[PathBuf],
    listed: Listed,
    rings: Rings,
    progress: &(dyn Fn(usize, f64) + Sync),
    ended: &(dyn Fn() + Sync),
    tell: &mut dyn FnMut(Told) -> ControlFlow<()>,
) -> io::Result<()> {
    let heads: Vec<(PathBuf, Option<Head>)> = files.iter().map(|path| (path.clone(), Head::of(path))).collect();
    let tracks = match_tracks(&heads, listed.names);
    let expect = |index: usize| match tracks.get(&files[index]) {
        Some(track) => Expect::Track(track.input().and_then(|input| listed.inputs.get(input))),
        None => Expect::Channels(listed.inputs),
    };
    let (sender, results) = mpsc::channel();
    std::thread::scope(|scope| {
        let expect = &expect;
        std::thread::Builder::new().name("recordings".into()).spawn_scoped(scope, move || {
            let done = |index, mut result: Result<Recording, RecordingError>| {
                if let Ok(recording) = &mut result {
                    listen_for_rings(recording, rings);
                }
                ended();
                // Nobody takes the results any more: whoever reads has had enough.
                sender.send((index, result)).map_or(ControlFlow::Break(()), ControlFlow::Continue)
            };
            measure_all(files, expect, progress, &done);
        })?;
        let _ = in_order(results, files, Companions::new(&heads), &tracks, tell);
        Ok(())
    })
}

fn listen_for_rings(recording: &mut Recording, rings: Rings) {
    if rings == Rings::Suspected && !recording.has_lone_tone {
        return;
    }
    // What was read a moment ago and can't be now has nothing more to tell.
    let Ok(heard) = ring_recording::listen(&recording.path, &|_| {}) else { return };
    // Unasked, only what is sure; a tone that never grew is somebody's test tone.
    let sure = |said: &SaidRing| {
        rings == Rings::Everywhere || said.ring.certainty == Certainty::Ringing && said.ring.growth > GREW
    };
    recording.rings = heard.rings.into_iter().filter(sure).collect();
    let rang = |evidence: &Evidence| match evidence {
        Evidence::Whine { frequency, .. } => {
            recording.rings.iter().any(|said| (said.ring.frequency.get() / frequency.get() - 1.0).abs() < 0.01)
        }
        _ => false,
    };
    recording.findings.retain(|finding| !rang(&finding.evidence));
}

fn in_order(
    results: mpsc::Receiver<(usize, Result<Recording, RecordingError>)>,
    files: &[PathBuf],
    mut companions: Companions,
    tracks: &HashMap<PathBuf, Track>,
    tell: &mut dyn FnMut(Told) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let mut waiting: Vec<Option<Result<Recording, RecordingError>>> = files.iter().map(|_| None).collect();
    let mut next = 0;
    while let Ok((index, result)) = results.recv() {
        waiting[index] = Some(result);
        while let Some(mut result) = waiting.get_mut(next).and_then(Option::take) {
            if let Ok(recording) = &mut result {
                recording.track = tracks.get(&files[next]).copied();
                if let Some(gathering) = companions.meet(recording) {
                    tell(Told::Together(Box::new(gathering)))?;
                }
            }
            tell(Told::Take(next, Box::new(result)))?;
            next += 1;
        }
    }
    match companions.finish() {
        Some(gathering) => tell(Told::Together(Box::new(gathering))),
        None => ControlFlow::Continue(()),
    }
}
