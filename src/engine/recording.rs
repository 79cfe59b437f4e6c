//! A recording from its first frame to its last: levels, findings and a verdict for each channel.
//!
//! Many recordings spread over all cores, and so do the channels of one. Memory does not grow with the length; of the
//! level over time an [`Envelope`] of fixed size is kept.

use std::cmp::Reverse;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::envelope::Envelope;
use super::takes::{Likeness, Listeners};
use crate::block::BlockBuf;
use crate::block::Format;
use crate::coach::{ChannelState, Input, Step, TrimCause, Turn, Unseen, Why, judge_input, judge_take, most_urgent};
use crate::detectors::{Detectors, Evidence, Expected, Finding, Heard, Tops};
use crate::meters::{ChannelSummary, LoudnessLayout, Meters, Readings, Summary};
use crate::source::file::{FileError, FileInfo, FileSource, FileWarning};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Dbfs, Seconds, SourceKind};

/// Read and measured at a time.
const STRETCH: Seconds = Seconds::new(1.0);

/// All that was measured in a recording.
#[derive(Clone, Debug)]
pub struct Recording {
    pub path: PathBuf,
    pub info: FileInfo,
    pub format: Format,
    pub summary: Summary,
    pub channels: Vec<ChannelVerdict>,
    pub findings: Vec<Finding>,
    pub warnings: Vec<FileWarning>,
    /// Its level over time.
    pub envelope: Envelope,
    /// Other recordings that findings name.
    pub partners: Vec<PathBuf>,
    /// What it is held against others by; taken away once that is done.
    pub likeness: Option<Box<Likeness>>,
}

/// Why a recording can't be measured.
pub type RecordingError = FileError;

impl Recording {
    /// Of what was read.
    pub fn length(&self) -> Seconds {
        self.summary.channels.first().map_or(Seconds::ZERO, |channel| channel.whole.length)
    }

    /// Nothing was heard on any channel, so that nothing can be told of it.
    pub fn is_unheard(&self) -> bool {
        let not_heard = |finding: &Finding| {
            matches!(finding.evidence, Evidence::NotHeard { .. } | Evidence::Silent { .. } | Evidence::Low { .. })
                || finding.evidence.is_note()
        };
        let unheard = |verdict: &ChannelVerdict| verdict.state == ChannelState::NotHeard;
        self.channels.iter().all(unheard) && self.findings.iter().all(not_heard)
    }

    /// Whether anything was found that is more than a note.
    pub fn has_faults(&self) -> bool {
        self.findings.iter().any(|finding| !finding.evidence.is_note())
    }

    /// The findings in the order of how bad they are, then of their times; notes last.
    pub fn worst_first(&self) -> Vec<&Finding> {
        let mut findings: Vec<&Finding> = self.findings.iter().collect();
        findings.sort_by_key(|finding| (Reverse(finding.severity()), finding.evidence.is_note()));
        findings
    }

    /// The most urgent channel and its verdict, if there is anything to do.
    pub fn next_step(&self, inputs: &[Input]) -> Option<(ChannelId, &ChannelVerdict)> {
        let steps = self.channels.iter().enumerate().filter_map(|(index, verdict)| {
            let kind = inputs.get(index).map_or(SourceKind::Other, |input| input.kind);
            Some((ChannelId::from_index(index), kind, verdict.step?))
        });
        let channel = most_urgent(steps)?;
        Some((channel, &self.channels[channel.index()]))
    }
}

/// Whether the name promises a recording: what a folder is searched for.
pub fn looks_like_sound(path: &Path) -> bool {
    const ENDINGS: [&str; 22] = [
        "wav", "wave", "rf64", "bw64", "w64", "bwf", "flac", "mp3", "m4a", "mp4", "mov", "aac", "ogg", "oga", "opus",
        "aif", "aiff", "aifc", "caf", "alac", "mka", "webm",
    ];
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
    ENDINGS.contains(&ending.as_str())
}

/// Why a folder gives no recordings.
#[derive(Debug, thiserror::Error)]
pub enum GatherError {
    #[error("{0}: the folder can’t be read ({1}). Check that you may open it")]
    Unreadable(PathBuf, std::io::Error),
    #[error("{0}: no recordings in this folder. Name another")]
    Empty(PathBuf),
}

/// Files as they are named; folders with everything in them that is not hidden, in order.
pub fn gather(paths: &[PathBuf]) -> Result<Vec<PathBuf>, GatherError> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let before = files.len();
        gather_from(path, &mut files)?;
        if files.len() == before {
            return Err(GatherError::Empty(path.clone()));
        }
    }
    Ok(files)
}

fn gather_from(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), GatherError> {
    let say = |error| GatherError::Unreadable(folder.to_owned(), error);
    let mut entries = std::fs::read_dir(folder).map_err(say)?.collect::<Result<Vec<_>, _>>().map_err(say)?;
    entries.sort_by_key(std::fs::DirEntry::file_name);
    for entry in entries {
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        let kind = entry.file_type().map_err(say)?;
        if kind.is_dir() && !hidden {
            gather_from(&entry.path(), files)?;
        } else if kind.is_file() && !hidden && looks_like_sound(&entry.path()) {
            files.push(entry.path());
        }
    }
    Ok(())
}

/// What to do about a channel; `step` is `None` if it is set.
#[derive(Clone, Copy, Debug)]
pub struct ChannelVerdict {
    pub heard: Heard,
    pub tops: Tops,
    pub state: ChannelState,
    pub step: Option<Step>,
    pub why: Why,
}

/// Measures one recording; `progress` is told the share that was read, where the length is known.
///
/// With `inputs`, channel n is judged as input n; without, as a finished take.
pub fn measure(path: &Path, inputs: &[Input], progress: &(dyn Fn(f64) + Sync)) -> Result<Recording, FileError> {
    let mut source = FileSource::open(path)?;
    let format = source.format();
    let total = source.info().frames;
    let weights = LoudnessLayout::of_recording(format.channels).weights(format.channels);
    let mut meters = Meters::new(format, &weights);
    let mut detectors = detectors(format, inputs);
    let mut findings = Vec::new();
    let mut envelope = Envelope::new(format.channels);
    let mut listeners = Listeners::new(format);
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    let mut read = 0;
    loop {
        let flow = source.read(&mut block)?;
        read += block.frames() as u64;
        let mut watch = |readings: &Readings| {
            detectors.observe(readings);
            envelope.observe(readings);
            listeners.observe(readings);
        };
        if format.channels == 1 {
            meters.push(&block.as_block(), &mut watch);
        } else {
            meters.push_parallel(&block.as_block(), &mut watch);
        }
        listeners.push(&block.as_block());
        meters.watch_pair(detectors.wanted_pair(meters.readings().frames));
        findings.extend(detectors.drain());
        if let Some(total) = total.filter(|&total| total > 0) {
            progress((read as f64 / total as f64).min(1.0));
        }
        if flow == Flow::End {
            break;
        }
    }
    meters.finish(&mut |readings| {
        detectors.observe(readings);
        envelope.observe(readings);
        listeners.observe(readings);
    });
    detectors.finish(meters.readings().at);
    findings.extend(detectors.drain());
    let summary = meters.summary();
    let (info, warnings) = (source.info().clone(), source.warnings().to_vec());
    let likeness = listeners.finish(&summary, inputs, &warnings, &mut findings);
    findings.sort_by_key(|finding| (finding.start, finding.channel));

    let verdict = |(index, summary): (usize, &ChannelSummary)| {
        let channel = ChannelId::from_index(index);
        let heard = Heard { activity: summary.take, ..*detectors.heard(channel) };
        judge(heard, detectors.tops(channel), summary.whole.true_peak, inputs.get(index))
    };
    let channels = summary.channels.iter().enumerate().map(verdict).collect();
    Ok(Recording {
        path: path.to_owned(),
        info,
        format,
        summary,
        channels,
        findings,
        warnings,
        envelope,
        partners: Vec::new(),
        likeness: Some(Box::new(likeness)),
    })
}

/// Measures many, over all cores; `done` is told of each as it ends, with its place in `paths`, and may say that no
/// more are wanted.
pub fn measure_all(
    paths: &[PathBuf],
    inputs: &[Input],
    progress: &(dyn Fn(usize, f64) + Sync),
    done: &(dyn Fn(usize, Result<Recording, FileError>) -> ControlFlow<()> + Sync),
) {
    let all = paths.par_iter().enumerate();
    // Broken off or not, each that was wanted has been told.
    let _ = all.try_for_each(|(index, path)| done(index, measure(path, inputs, &|share| progress(index, share))));
}

/// Separate inputs where the list says so, or where more than two channels lie side by side.
fn detectors(format: Format, inputs: &[Input]) -> Detectors {
    let unknown = Expected { kind: SourceKind::Other, low_cut: None };
    let expected: Vec<Expected> =
        (0..format.channels).map(|index| inputs.get(index).map_or(unknown, Input::expected)).collect();
    if inputs.is_empty() && format.channels <= 2 {
        Detectors::of_programme(&expected, format.rate)
    } else {
        Detectors::of_inputs(&expected, format.rate)
    }
}

fn judge(heard: Heard, tops: Tops, peak: Dbfs, input: Option<&Input>) -> ChannelVerdict {
    let step = match input {
        Some(input) => judge_input(&heard, &tops, &input.targets),
        None => judge_take(&heard, &tops, peak),
    };
    let clipped = tops.clipped > 0 || tops.near_full_scale || tops.flat > 0;
    let state = match step {
        _ if clipped => ChannelState::Clipped,
        Some(Step::Trim { turn: Turn::Down, cause: TrimCause::TooHigh, .. }) => ChannelState::High,
        Some(Step::Trim { turn: Turn::Up, .. } | Step::MoveCloser) => ChannelState::Low,
        Some(Step::CheckSource | Step::Listen { .. }) => ChannelState::NotHeard,
        _ => ChannelState::Set,
    };
    let why = Why::of(&heard, &tops, Unseen::RoomLevel);
    let why = input.map_or(why, |input| why.against(&input.targets));
    ChannelVerdict { heard, tops, state, step, why }
}
