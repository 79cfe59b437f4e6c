//! A recording from its first frame to its last: levels, findings and a verdict for each channel.
//!
//! Many recordings spread over all cores, and so do the channels of one. Memory does not grow with the length; of the
//! level over time an [`Envelope`] of fixed size is kept.

use std::cmp::Reverse;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::envelope::Envelope;
use super::ring_recording::SaidRing;
use super::takes::{Cue, Likeness, Listeners, Track};
use crate::block::BlockBuf;
use crate::block::Format;
use crate::coach::{ChannelState, Input, Step, TrimCause, Turn, Unseen, Why, judge_input, judge_take, most_urgent};
use crate::detectors::{Certainty, Detectors, Evidence, Expected, Finding, Heard, Tops};
use crate::meters::{BANDS, ChannelSummary, LoudnessLayout, Meters, Readings, Summary};
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
    /// Mean square of each channel in each third-octave band.
    pub bands: Vec<[f64; BANDS]>,
    /// Where it sounds, where it is quiet, where people clap.
    pub cues: Vec<Cue>,
    /// A tone stood alone for seconds: it may have rung.
    pub has_lone_tone: bool,
    /// What rang, where it was listened for.
    pub rings: Vec<SaidRing>,
    /// Which line of the input list it is, where it is one track of many.
    pub track: Option<Track>,
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
        let rang = |said: &SaidRing| said.ring.certainty == Certainty::Ringing;
        self.findings.iter().any(|finding| !finding.evidence.is_note()) || self.rings.iter().any(rang)
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

/// What to do about a channel; `step` is `None` if it is set.
#[derive(Clone, Copy, Debug)]
pub struct ChannelVerdict {
    pub heard: Heard,
    pub tops: Tops,
    pub state: ChannelState,
    pub step: Option<Step>,
    pub why: Why,
}

/// What a recording should be.
#[derive(Clone, Copy, Debug)]
pub enum Expect<'a> {
    /// Channel n is input n; without any, a finished take.
    Channels(&'a [Input]),
    /// One track of many: this input, or one that the list does not have.
    Track(Option<&'a Input>),
}

impl<'a> Expect<'a> {
    pub(super) fn inputs(self) -> &'a [Input] {
        match self {
            Self::Channels(inputs) => inputs,
            Self::Track(input) => input.map_or(&[], std::slice::from_ref),
        }
    }

    /// There is a list, and it has nothing on this channel.
    pub(super) fn is_unlisted(self, channel: ChannelId) -> bool {
        match self {
            Self::Channels(inputs) => !inputs.is_empty() && channel.index() >= inputs.len(),
            Self::Track(input) => input.is_none(),
        }
    }
}

/// Measures one recording, channel n as input n; without inputs, as a finished take. `progress` is told the share that was
/// read, where the length is known.
pub fn measure(path: &Path, inputs: &[Input], progress: &(dyn Fn(f64) + Sync)) -> Result<Recording, FileError> {
    measure_as(path, Expect::Channels(inputs), progress)
}

/// Measures one recording as what it should be.
pub fn measure_as(path: &Path, expect: Expect, progress: &(dyn Fn(f64) + Sync)) -> Result<Recording, FileError> {
    let inputs = expect.inputs();
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
    let likeness = listeners.finish(&summary, expect, &warnings, &mut findings);
    findings.sort_by_key(|finding| (finding.start, finding.channel));

    let verdict = |(index, summary): (usize, &ChannelSummary)| {
        let channel = ChannelId::from_index(index);
        let heard = Heard { activity: summary.take, ..*detectors.heard(channel) };
        let mut tops = detectors.tops(channel);
        let flat = |finding: &&Finding| {
            let is_flat = matches!(finding.evidence, Evidence::FlatTop { .. } | Evidence::CodedClip { .. });
            is_flat && finding.channel == channel
        };
        // What the whole take tells of them counts.
        tops.flat = findings.iter().filter(flat).count() as u32;
        judge(heard, tops, summary.whole.true_peak, inputs.get(index))
    };
    let channels = summary.channels.iter().enumerate().map(verdict).collect();
    let cues = likeness.timeline.cues();
    Ok(Recording {
        path: path.to_owned(),
        info,
        format,
        summary,
        channels,
        findings,
        warnings,
        envelope,
        bands: listeners.bands(),
        cues,
        has_lone_tone: listeners.has_lone_tone(),
        rings: Vec::new(),
        track: None,
        partners: Vec::new(),
        likeness: Some(Box::new(likeness)),
    })
}

/// Measures many, over all cores, each as what `expect` says of its place in `paths`; `done` is told of each as it ends,
/// and may say that no more are wanted.
pub fn measure_all<'a>(
    paths: &[PathBuf],
    expect: &(dyn Fn(usize) -> Expect<'a> + Sync),
    progress: &(dyn Fn(usize, f64) + Sync),
    done: &(dyn Fn(usize, Result<Recording, FileError>) -> ControlFlow<()> + Sync),
) {
    let all = paths.par_iter().enumerate();
    // Broken off or not, each that was wanted has been told.
    let _ =
        all.try_for_each(|(index, path)| done(index, measure_as(path, expect(index), &|share| progress(index, share))));
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
