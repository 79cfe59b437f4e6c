//! A measured recording as a face shows it: one line first, then the lines behind it; how bad it is, for the order; its
//! faults, each with its time, and its level over time.

use std::path::{Path, PathBuf};

use super::bad::Bad;
use super::findings::{FaultKind, finding_advice, finding_words};
use super::headline::headline;
use super::numbers::{self, counted};
use super::ringing::{ring_advice, ring_words};
use super::sentence::{Arrow, NextStep, next_step};
use super::setup::{Setup, who};
use super::words::plain;
use crate::detectors::{Certainty, Finding};
use crate::engine::envelope::Envelope;
use crate::engine::recording::{ChannelVerdict, Recording, RecordingError};
use crate::engine::ring_recording::SaidRing;
use crate::engine::takes::Track;
use crate::engine::{Advice, ChannelState};
use crate::meters::BANDS;
use crate::units::{ChannelId, Dbfs, FrameCount, Seconds};

/// One recording, ready to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    pub path: PathBuf,
    pub name: String,
    pub bad: Bad,
    /// What to do, or that there is nothing to do.
    pub line: String,
    /// The same as it is read from two metres.
    pub headline: String,
    pub arrow: Arrow,
    /// What it is, where it lies, what was odd when it was read.
    pub details: Vec<String>,
    /// Where it sounds, is quiet, is applauded; nothing where all of it is one sound.
    pub cues: Vec<String>,
    /// In the order of their times, at most [`Take::MOST_FAULTS`].
    pub faults: Vec<Fault>,
    /// How many more there are.
    pub more_faults: usize,
    pub length: Seconds,
    /// `None` where it can't be read.
    pub envelope: Option<Envelope>,
    /// Of each channel its name and the level in each third octave.
    pub spectra: Vec<(String, [Dbfs; BANDS])>,
}

/// Something found in a recording: what, when, on which channel, what to do about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    pub kind: FaultKind,
    pub bad: Bad,
    pub channel: ChannelId,
    pub from: Seconds,
    pub to: Seconds,
    /// "at 0:02, 1 Soloist: clipped …".
    pub line: String,
    /// "3 Soloist", or nothing where it is told of the recording.
    pub track: String,
    /// What was found, with its numbers.
    pub evidence: String,
    /// What to do about it.
    pub advice: String,
    /// "clipped, at 0:02, 1 Soloist": for a mark.
    pub name: String,
}

impl Take {
    /// More marks than this cover each other on any screen.
    pub const MOST_FAULTS: usize = 300;

    pub fn new(path: &Path, result: &Result<Recording, RecordingError>, setup: &Setup) -> Self {
        let name = plain(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy());
        let place = plain(&path.display().to_string());
        let bad = result.as_ref().map_or(Bad::Unreadable, bad_of);
        let mut take = Self {
            path: path.to_owned(),
            name,
            bad,
            line: String::new(),
            headline: bad.headline().into(),
            arrow: Arrow::None,
            details: Vec::new(),
            cues: Vec::new(),
            faults: Vec::new(),
            more_faults: 0,
            length: Seconds::ZERO,
            envelope: None,
            spectra: Vec::new(),
        };
        match result {
            Err(error) => take.line = error.to_string(),
            Ok(recording) => take.fill(recording, setup),
        }
        take.details.push(place);
        take
    }

    fn fill(&mut self, recording: &Recording, setup: &Setup) {
        let verdict = take_verdict(recording, setup);
        self.line = verdict.line;
        if let Some((headline, arrow)) = verdict.turn {
            (self.headline, self.arrow) = (headline, arrow);
        }
        self.details = about(recording).to_vec();
        self.details.extend(recording.warnings.iter().map(|warning| format!("note: {warning}")));
        self.cues = super::together::cue_lines(&recording.cues);
        let worst = recording.worst_first();
        let mut faults: Vec<Fault> =
            worst.iter().take(Self::MOST_FAULTS).map(|it| fault(it, recording, setup)).collect();
        faults.extend(surest(&recording.rings).map(|said| ring_fault(said, recording, setup)));
        faults.sort_by(|a, b| a.from.get().total_cmp(&b.from.get()));
        self.more_faults = recording.findings.len().saturating_sub(Self::MOST_FAULTS);
        self.faults = faults;
        // Gaps count for the time line, not for what was read.
        let last = self.faults.iter().map(|fault| fault.to.get()).fold(recording.length().get(), f64::max);
        self.length = Seconds::new(last);
        self.envelope = Some(recording.envelope.clone());
        let spectrum = |(index, bands): (usize, &[f64; BANDS])| {
            (track_name(recording, ChannelId::from_index(index), setup), bands.map(Dbfs::from_power))
        };
        self.spectra = recording.bands.iter().enumerate().map(spectrum).collect();
    }

    /// The places of its faults, the worst first, notes last.
    pub fn worst_first(&self) -> Vec<usize> {
        let mut places: Vec<usize> = (0..self.faults.len()).collect();
        places.sort_by_key(|&place| std::cmp::Reverse(self.faults[place].bad));
        places
    }

    /// What is said of it in one breath.
    pub fn spoken(&self) -> String {
        format!("{}: {}, {}", self.name, self.bad.word(), self.line)
    }
}

fn fault(finding: &Finding, recording: &Recording, setup: &Setup) -> Fault {
    let (from, to) = (finding.start.at(recording.format.rate), finding.end.at(recording.format.rate));
    let who = track_name(recording, finding.channel, setup);
    let kind = FaultKind::of(&finding.evidence);
    let of_all = finding.evidence.is_of_all() && recording.track.is_none();
    Fault {
        kind,
        bad: Bad::of(finding),
        channel: finding.channel,
        from,
        to,
        line: finding_line(finding, recording, setup),
        name: format!("{}, at {}, {who}", kind.word(), numbers::clock(from)),
        track: if of_all { String::new() } else { who },
        evidence: finding_words(finding),
        advice: finding_advice(&finding.evidence).into(),
    }
}

fn ring_fault(said: &SaidRing, recording: &Recording, setup: &Setup) -> Fault {
    let ring = &said.ring;
    let track = track_name(recording, ring.channel, setup);
    let (when, words) = (numbers::clock(ring.start), ring_words(ring));
    Fault {
        kind: FaultKind::Ring,
        bad: if ring.certainty == Certainty::Ringing { Bad::Hides } else { Bad::Note },
        channel: ring.channel,
        from: ring.start,
        to: ring.end.unwrap_or(ring.reported),
        line: format!("at {when}, {track}: {words}"),
        name: format!("{}, at {when}, {track}", FaultKind::Ring.word()),
        track,
        evidence: words,
        advice: ring_advice(ring),
    }
}

/// Each ring once: as possible only where it never became surer.
fn surest(rings: &[SaidRing]) -> impl Iterator<Item = &SaidRing> {
    let surer = |said: &SaidRing| {
        rings.iter().any(|other| other.ring.id == said.ring.id && other.ring.certainty == Certainty::Ringing)
    };
    rings.iter().filter(move |said| said.ring.certainty == Certainty::Ringing || !surer(said))
}

/// So many of one kind on one channel are told with their times.
const OF_A_KIND: usize = 4;

/// What is said of a recording as a whole.
pub struct TakeVerdict {
    pub line: String,
    /// Why, where a channel of the list is to be turned.
    pub proof: String,
    /// The headline and the arrow of a turn.
    pub turn: Option<(String, Arrow)>,
}

/// A recording of listed inputs is judged as a soundcheck, any other as a take: what is worst, and what to do about it.
pub fn take_verdict(recording: &Recording, setup: &Setup) -> TakeVerdict {
    let listed = setup.inputs.as_deref().unwrap_or(&[]);
    let step = if is_judged_by_the_list(recording, setup) { recording.next_step(listed) } else { None };
    if let Some((channel, verdict)) = step
        && let Some(next) = verdict_step(recording, channel, verdict, setup)
    {
        let advice = verdict.step.map(|step| Advice { step, channel: Some(channel), why: verdict.why });
        let headline = advice.map_or(String::new(), |a| headline(&a, &setup.desk.without_a_marker()));
        return TakeVerdict { line: next.sentence, proof: next.proof, turn: Some((headline, next.arrow)) };
    }
    let worst = recording.worst_first().into_iter().find(|finding| !finding.evidence.is_note());
    let ring = recording.rings.iter().find(|said| said.ring.certainty == Certainty::Ringing);
    let (line, proof) = match (worst, ring) {
        (Some(finding), _) => {
            let word = FaultKind::of(&finding.evidence).word();
            let line = format!("{}: {}", capital(word), finding_advice(&finding.evidence));
            (line, finding_line(finding, recording, setup))
        }
        (None, Some(said)) => (ring_advice(&said.ring), ring_words(&said.ring)),
        (None, None) if recording.is_unheard() => (NOTHING_HEARD.into(), String::new()),
        (None, None) => (FINE.into(), String::new()),
    };
    TakeVerdict { line, proof, turn: None }
}

/// The list tells what its channels are.
pub fn is_judged_by_the_list(recording: &Recording, setup: &Setup) -> bool {
    setup.inputs.is_some() && recording.track != Some(Track::Unlisted)
}

/// The state of a channel as a word: against the list, or as a take.
pub fn state_word(recording: &Recording, verdict: &ChannelVerdict, setup: &Setup) -> &'static str {
    if is_judged_by_the_list(recording, setup) {
        return super::shown(verdict.state, verdict.heard.active, verdict.heard.hits);
    }
    match verdict.state {
        ChannelState::NotHeard | ChannelState::Lost => "silent",
        ChannelState::Low => "too low",
        ChannelState::Set => "fine",
        ChannelState::High => "high",
        ChannelState::Clipped => "clipped",
    }
}

/// Which input a channel of it is: "3 Soloist".
pub fn track_name(recording: &Recording, channel: ChannelId, setup: &Setup) -> String {
    match recording.track {
        Some(Track::Input(input, _)) => who(Some(ChannelId::from_index(input)), &setup.names),
        Some(Track::Unlisted) => "not in the list".into(),
        None => who(Some(channel), &setup.names),
    }
}

const FINE: &str = "Fine as it is";
const NOTHING_HEARD: &str = "Nothing was heard: check what this recorded";

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// The verdict of a channel as a step.
pub fn verdict_step(
    recording: &Recording,
    channel: ChannelId,
    verdict: &ChannelVerdict,
    setup: &Setup,
) -> Option<NextStep> {
    let advice = Advice { step: verdict.step?, channel: Some(channel), why: verdict.why };
    Some(next_step(&advice, &track_name(recording, channel, setup), &setup.desk.without_a_marker()))
}

fn bad_of(recording: &Recording) -> Bad {
    let rang = recording.rings.iter().any(|said| said.ring.certainty == Certainty::Ringing);
    let worst = recording.findings.iter().map(Bad::of).chain(rang.then_some(Bad::Hides)).max();
    let turned = recording.channels.iter().any(|verdict| verdict.step.is_some());
    match worst {
        Some(bad) if bad > Bad::Note => bad,
        _ if recording.is_unheard() => Bad::CannotTell,
        _ if turned => Bad::Mendable,
        _ => Bad::Fine,
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
    let mut told: Vec<(FaultKind, ChannelId, usize)> = Vec::new();
    for finding in findings.iter().take(most) {
        let bad = Bad::of(finding);
        let (kind, channel) = (FaultKind::of(&finding.evidence), finding.channel);
        let place = told.iter().position(|known| (known.0, known.1) == (kind, channel)).unwrap_or(told.len());
        if place == told.len() {
            told.push((kind, channel, 0));
        }
        told[place].2 += 1;
        if told[place].2 > OF_A_KIND {
            continue;
        }
        lines.push(format!("{} {}: {}", bad.shape(), bad.word(), finding_line(finding, recording, setup)));
        if !advised.contains(&kind) {
            advised.push(kind);
            lines.push(format!("     → {}", finding_advice(&finding.evidence)));
        }
    }
    for (kind, channel, count) in told.into_iter().filter(|known| known.2 > OF_A_KIND) {
        let who = track_name(recording, channel, setup);
        lines.push(format!("     {}, {who}: {} more", kind.word(), count - OF_A_KIND));
    }
    lines.extend(more_findings(findings.len().saturating_sub(most)));
    for said in surest(&recording.rings) {
        let fault = ring_fault(said, recording, setup);
        lines.push(format!("{} {}: {}", fault.bad.shape(), fault.bad.word(), fault.line));
        lines.push(format!("     → {}", fault.advice));
    }
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
    let start = numbers::clock(finding.start.at(recording.format.rate));
    if finding.evidence.is_of_all() && recording.track.is_none() {
        return if finding.start == FrameCount::ZERO {
            format!("{words}{with}")
        } else {
            format!("at {start}: {words}{with}")
        };
    }
    format!("at {start}, {}: {words}{with}", track_name(recording, finding.channel, setup))
}
