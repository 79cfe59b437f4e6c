//! A measured recording as a face shows it: one line first, then the lines behind it; how bad it is, for the order; its
//! faults, each with its time, and its level over time.

use std::path::{Path, PathBuf};

use super::findings::{FaultKind, finding_advice, finding_words, severity_word};
use super::headline::headline;
use super::numbers::{self, counted};
use super::sentence::{Arrow, NextStep, next_step};
use super::setup::{Setup, who};
use super::words::plain;
use crate::detectors::Finding;
use crate::engine::envelope::Envelope;
use crate::engine::recording::{ChannelVerdict, Recording, RecordingError};
use crate::engine::{Advice, ChannelState};
use crate::units::{ChannelId, FrameCount, Seconds};

/// How bad a recording is, the worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Badness {
    Fine,
    /// Nothing, or not enough, was heard.
    CannotTell,
    Findings,
    Clipped,
    Unreadable,
}

impl Badness {
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::CannotTell => "cannot tell",
            Self::Findings => "look at it",
            Self::Clipped => "clipped",
            Self::Unreadable => "unreadable",
        }
    }

    /// Of the worst, as it is read from two metres.
    pub const fn headline(self) -> &'static str {
        match self {
            Self::Fine => "All is well",
            Self::CannotTell => "Not enough heard",
            Self::Findings => "Look at this one",
            Self::Clipped => "One is clipped",
            Self::Unreadable => "One can’t be read",
        }
    }
}

/// One recording, ready to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    pub path: PathBuf,
    pub name: String,
    pub badness: Badness,
    /// What to do, or that there is nothing to do.
    pub line: String,
    /// The same as it is read from two metres.
    pub headline: String,
    pub arrow: Arrow,
    /// What it is, where it lies, what was odd when it was read.
    pub details: Vec<String>,
    /// In the order of their times, at most [`Take::MOST_FAULTS`].
    pub faults: Vec<Fault>,
    /// How many more there are.
    pub more_faults: usize,
    pub length: Seconds,
    /// `None` where it can't be read.
    pub envelope: Option<Envelope>,
}

/// Something found in a recording: what, when, on which channel, what to do about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    pub kind: FaultKind,
    pub channel: ChannelId,
    pub from: Seconds,
    pub to: Seconds,
    /// "at 0:02, 1 Soloist: clipped …".
    pub line: String,
    /// What to do about it.
    pub advice: &'static str,
    /// "clipped, at 0:02, 1 Soloist": for a mark.
    pub name: String,
}

impl Take {
    /// More marks than this cover each other on any screen.
    pub const MOST_FAULTS: usize = 300;

    pub fn new(path: &Path, result: &Result<Recording, RecordingError>, setup: &Setup) -> Self {
        let name = plain(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy());
        let place = plain(&path.display().to_string());
        let badness = result.as_ref().map_or(Badness::Unreadable, badness);
        let mut take = Self {
            path: path.to_owned(),
            name,
            badness,
            line: String::new(),
            headline: badness.headline().into(),
            arrow: Arrow::None,
            details: Vec::new(),
            faults: Vec::new(),
            more_faults: 0,
            length: Seconds::ZERO,
            envelope: None,
        };
        match result {
            Err(error) => take.line = error.to_string(),
            Ok(recording) => take.fill(recording, setup),
        }
        take.details.push(place);
        take
    }

    fn fill(&mut self, recording: &Recording, setup: &Setup) {
        let step = recording.next_step(setup.inputs.as_deref().unwrap_or(&[]));
        self.line = NOTHING_TO_TURN.into();
        if let Some((channel, verdict)) = step
            && let Some(next) = verdict_step(channel, verdict, setup)
        {
            let advice = verdict.step.map(|step| Advice { step, channel: Some(channel), why: verdict.why });
            self.headline = advice.map_or(String::new(), |a| headline(&a, &setup.desk.without_a_marker()));
            (self.line, self.arrow) = (next.sentence, next.arrow);
        }
        self.details = about(recording).to_vec();
        self.details.extend(recording.warnings.iter().map(|warning| format!("note: {warning}")));
        let fault = |finding: &Finding| {
            let (from, to) = (finding.start.at(recording.format.rate), finding.end.at(recording.format.rate));
            let (when, who) = (numbers::clock(from), who(Some(finding.channel), &setup.names));
            let kind = FaultKind::of(&finding.evidence);
            Fault {
                kind,
                channel: finding.channel,
                from,
                to,
                line: finding_line(finding, recording, setup),
                advice: finding_advice(&finding.evidence),
                name: format!("{}, at {when}, {who}", kind.word()),
            }
        };
        self.faults = recording.findings.iter().take(Self::MOST_FAULTS).map(fault).collect();
        self.more_faults = recording.findings.len() - self.faults.len();
        // Gaps count for the time line, not for what was read.
        let last = self.faults.iter().map(|fault| fault.to.get()).fold(recording.length().get(), f64::max);
        self.length = Seconds::new(last);
        self.envelope = Some(recording.envelope.clone());
    }

    /// What is said of it in one breath.
    pub fn spoken(&self) -> String {
        format!("{}: {}, {}", self.name, self.badness.word(), self.line)
    }
}

const NOTHING_TO_TURN: &str = "Nothing to turn";

/// The verdict of a channel as a step.
pub fn verdict_step(channel: ChannelId, verdict: &ChannelVerdict, setup: &Setup) -> Option<NextStep> {
    let advice = Advice { step: verdict.step?, channel: Some(channel), why: verdict.why };
    Some(next_step(&advice, &who(Some(channel), &setup.names), &setup.desk.without_a_marker()))
}

fn badness(recording: &Recording) -> Badness {
    let any = |state| recording.channels.iter().any(|verdict| verdict.state == state);
    if any(ChannelState::Clipped) {
        Badness::Clipped
    } else if recording.is_unheard() {
        Badness::CannotTell
    } else if recording.has_faults() || recording.channels.iter().any(|verdict| verdict.step.is_some()) {
        Badness::Findings
    } else {
        Badness::Fine
    }
}

/// What it is, and its loudness: "WAV · 2 channels · 48000 Hz · 3:05", "loudness −18.2 LUFS · …".
pub fn about(recording: &Recording) -> [String; 2] {
    let Recording { info, format, summary, .. } = recording;
    let channels = counted(format.channels as u64, "channel", "channels");
    let length = numbers::length(recording.length());
    let programme = &summary.programme;
    let range = programme.range.map_or("–".into(), |range| format!("{:.1} LU", range.get()));
    [
        format!("{} · {channels} · {} Hz · {length}", info.kind, format.rate.get()),
        format!(
            "loudness {} · range {range} · true peak {} dBTP",
            numbers::lufs(programme.integrated),
            numbers::level(programme.true_peak)
        ),
    ]
}

/// The findings of a recording, the worst first, each with its time and how bad it is, and what to do about each kind; of
/// very many the first, and how many more there are.
pub fn finding_lines(recording: &Recording, most: usize, setup: &Setup) -> Vec<String> {
    let findings = recording.worst_first();
    let mut lines = Vec::new();
    let mut advised: Vec<FaultKind> = Vec::new();
    for finding in findings.iter().take(most) {
        let severity = severity_word(finding.severity());
        lines.push(format!("{}: {severity}", finding_line(finding, recording, setup)));
        let kind = FaultKind::of(&finding.evidence);
        if !advised.contains(&kind) {
            advised.push(kind);
            lines.push(format!("  → {}", finding_advice(&finding.evidence)));
        }
    }
    lines.extend(more_findings(findings.len().saturating_sub(most)));
    lines
}

/// "… and 3 findings more".
pub fn more_findings(more: usize) -> Option<String> {
    (more > 0).then(|| format!("… and {}", counted(more as u64, "finding more", "findings more")))
}

fn finding_line(finding: &Finding, recording: &Recording, setup: &Setup) -> String {
    let words = finding_words(finding);
    let with = finding.evidence.partner().and_then(|partner| recording.partners.get(usize::from(partner.file?)));
    let with = with.map_or(String::new(), |path| {
        format!(" ({})", plain(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy()))
    });
    if finding.evidence.is_of_all() && finding.start == FrameCount::ZERO {
        return format!("{words}{with}");
    }
    let start = numbers::clock(finding.start.at(recording.format.rate));
    format!("at {start}, {}: {words}{with}", who(Some(finding.channel), &setup.names))
}
