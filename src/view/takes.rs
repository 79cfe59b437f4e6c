//! A measured recording as a face shows it: one line first, then the lines behind it; how bad it is, for the order.

use std::path::Path;

use super::findings::finding_words;
use super::numbers::{self, counted};
use super::sentence::{NextStep, next_step};
use super::setup::{Setup, who};
use super::words::plain;
use crate::detectors::Finding;
use crate::engine::recording::{ChannelVerdict, Recording, RecordingError};
use crate::engine::{Advice, ChannelState};
use crate::units::ChannelId;

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
    pub name: String,
    pub badness: Badness,
    /// What to do, or that there is nothing to do.
    pub line: String,
    pub details: Vec<String>,
}

/// Findings listed of one recording.
const MOST: usize = 12;

impl Take {
    pub fn new(path: &Path, result: &Result<Recording, RecordingError>, setup: &Setup) -> Self {
        let name = plain(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy());
        match result {
            Err(error) => {
                let details = vec![path.display().to_string()];
                Self { name, badness: Badness::Unreadable, line: error.to_string(), details }
            }
            Ok(recording) => Self {
                name,
                badness: badness(recording),
                line: line(recording, setup),
                details: details(recording, setup),
            },
        }
    }
}

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
    } else if !recording.findings.is_empty() || recording.channels.iter().any(|verdict| verdict.step.is_some()) {
        Badness::Findings
    } else {
        Badness::Fine
    }
}

fn line(recording: &Recording, setup: &Setup) -> String {
    match recording.next_step(setup.inputs.as_deref().unwrap_or(&[])) {
        Some((channel, verdict)) => verdict_step(channel, verdict, setup).map_or(String::new(), |next| next.sentence),
        None => "Nothing to turn".into(),
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

/// The findings of a recording, each with its time; of very many the first, and how many more there are.
pub fn finding_lines(recording: &Recording, most: usize, setup: &Setup) -> Vec<String> {
    let Recording { format, findings, .. } = recording;
    let line = |finding: &Finding| {
        let start = numbers::clock(finding.start.at(format.rate));
        format!("at {start}, {}: {}", who(Some(finding.channel), &setup.names), finding_words(finding))
    };
    let mut lines: Vec<String> = findings.iter().take(most).map(line).collect();
    if let Some(more) = findings.len().checked_sub(most).filter(|&more| more > 0) {
        lines.push(format!("… and {}", counted(more as u64, "finding more", "findings more")));
    }
    lines
}

fn details(recording: &Recording, setup: &Setup) -> Vec<String> {
    let mut lines = about(recording).to_vec();
    lines.extend(finding_lines(recording, MOST, setup));
    lines.extend(recording.warnings.iter().map(|warning| format!("note: {warning}")));
    lines
}
