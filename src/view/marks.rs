//! Marks for a recording: its faults, its rings, its cues; and the words of files that are made.

use super::findings::FaultKind;
use super::numbers::{change, counted, lufs};
use super::setup::Setup;
use super::takes::Take;
use super::together::cue_word;
use super::words::plain;
use crate::engine::recording::Recording;
use crate::engine::takes::Mark;
use crate::engine::takes::copies::Levelled;
use crate::units::{Lufs, SampleRate, Seconds};

/// A mark in time.
#[derive(Clone, Debug, PartialEq)]
pub struct TimedMark {
    pub start: Seconds,
    pub end: Seconds,
    /// Empty where it is told of the recording.
    pub track: String,
    pub text: String,
}

impl TimedMark {
    /// As it stands in the sound.
    pub fn in_sound(&self, rate: SampleRate) -> Mark {
        let (at, end) = (rate.frames(self.start).get(), rate.frames(self.end).get());
        let text = if self.track.is_empty() { self.text.clone() } else { format!("{}: {}", self.track, self.text) };
        Mark { at, length: end.saturating_sub(at), text }
    }
}

/// In the order of their times. What is told of the whole recording stands at its beginning, without length.
pub fn marks(recording: &Recording, setup: &Setup) -> Vec<TimedMark> {
    let take = Take::new(&recording.path, &Ok(recording.clone()), setup);
    let length = recording.length();
    let fault = |fault: &super::takes::Fault| {
        let whole = fault.kind != FaultKind::Ring && fault.from <= Seconds::ZERO && fault.to >= length;
        TimedMark {
            start: fault.from,
            end: if whole { fault.from } else { fault.to },
            track: fault.track.clone(),
            text: format!("{} ({})", fault.evidence, fault.bad.word()),
        }
    };
    let mut all: Vec<TimedMark> = take.faults.iter().map(fault).collect();
    if recording.cues.len() > 1 {
        all.extend(recording.cues.iter().map(|cue| TimedMark {
            start: cue.start,
            end: cue.end,
            track: String::new(),
            text: cue_word(cue.kind).into(),
        }));
    }
    all.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
    all
}

pub mod made_words {
    //! Names and words of files that are made.

    use std::path::PathBuf;

    use super::{Levelled, Lufs, TimedMark, change, counted, lufs, plain};

    /// "take (marked).wav".
    pub const MARKED: &str = "marked";
    pub const MENDED: &str = "right header";

    /// "−18 LUFS", with a minus that every keyboard has.
    pub fn at_loudness(wanted: Lufs) -> String {
        format!("{} LUFS", wanted.get())
    }

    /// ": DOWN 3.2 dB, to −18.0 LUFS".
    pub fn levelled(levelled: &Levelled) -> String {
        let held = if levelled.held_back { "; its peaks allow no more, and dynamics are left" } else { "" };
        format!(": {}, to {}{held}", change(levelled.gain), lufs(levelled.loudness))
    }

    pub fn no_loudness(name: &str) -> String {
        format!("{name}: silence has no loudness; no copy was made. Check what this recorded")
    }

    /// "2 copies that this program made are no takes and were left out, take (marked).wav first. …".
    pub fn left_out(own: &[PathBuf]) -> Option<String> {
        let first = own.first()?;
        let name = plain(&first.file_name().unwrap_or(first.as_os_str()).to_string_lossy());
        let (verb, which) =
            if own.len() == 1 { ("is no take and was", "") } else { ("are no takes and were", ", the first of them") };
        Some(format!(
            "{} that this program made {verb} left out{which} {name}. To check one all the same, name it",
            counted(own.len() as u64, "copy", "copies")
        ))
    }

    /// What ends a batch of which some copies could not be made.
    pub fn not_made(copies: usize) -> String {
        format!(
            "{} not made; why stands with each above. Choose another folder with --out, or move what is there away",
            counted(copies as u64, "copy was", "copies were")
        )
    }

    /// `start_s,end_s,track,text` (RFC 4180).
    pub fn marks_csv(marks: &[TimedMark]) -> String {
        let cell = |text: &str| {
            let guarded =
                if text.starts_with(['=', '+', '-', '@', '\t']) { format!("'{text}") } else { text.to_owned() };
            if guarded.contains(['"', ',', '\n', '\r']) {
                format!("\"{}\"", guarded.replace('"', "\"\""))
            } else {
                guarded
            }
        };
        let line = |mark: &TimedMark| {
            format!("{:.3},{:.3},{},{}\r\n", mark.start.get(), mark.end.get(), cell(&mark.track), cell(&mark.text))
        };
        std::iter::once("start_s,end_s,track,text\r\n".to_owned()).chain(marks.iter().map(line)).collect()
    }
}
