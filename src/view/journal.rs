//! What happens at an event, as lines of its log: machine words, evidence, and what was asked for in the program's words.
//!
//! | event | evidence |
//! |---|---|
//! | ring, cut, fader_back | the ring: channel, frequency_hz, level_dbfs, growth_db_per_s, urgency; `action` is what was asked for |
//! | answer | the same; `done` says whether it was done |
//! | alert | kind (loud, clips, dead, device, recording, battery), urgency, proof |
//! | gap | missing_s |
//! | device_lost, device_back | why |
//! | recording_began, recording_next_file | file, tracks, barred |
//! | recording_gap, recording_low_disk, recording_stopped | as in the records |
//! | mark | text, or the window's view |

use std::path::Path;

use serde_json::{Value, json};

use super::multitrack;
use super::numbers::thousandths;
use super::ringout::show_step;
use super::sentence::NextStep;
use super::show;
use crate::engine::record::RecordEvent;
use crate::engine::show::{Alert, ShowAction, ShowAdvice, ShowEntry, Urgency};
use crate::event::log::{self, Entry};
use crate::units::{ChannelId, Seconds};

/// Something was asked for.
pub fn asked(entry: &ShowEntry, names: &[String]) -> Entry {
    let what = match entry.action {
        ShowAction::Cut(_) => "cut",
        ShowAction::CreepBack { .. } => "fader_back",
        ShowAction::Nothing | ShowAction::FaderDown { .. } | ShowAction::MainsDown { .. } | ShowAction::MuteIdle => {
            "ring"
        }
    };
    about(what, entry, names).at(entry.at)
}

/// It was done, or left.
pub fn answered(at: Seconds, entry: &ShowEntry, done: bool, names: &[String]) -> Entry {
    Entry { done: Some(done), ..about("answer", entry, names).at(at) }
}

fn about(what: &'static str, entry: &ShowEntry, names: &[String]) -> Entry {
    let urgency = match entry.action {
        ShowAction::Nothing | ShowAction::CreepBack { .. } => Urgency::Later,
        ShowAction::Cut(_) => Urgency::Soon,
        ShowAction::FaderDown { .. } | ShowAction::MainsDown { .. } | ShowAction::MuteIdle => Urgency::Now,
    };
    let word = match urgency {
        Urgency::Now => "now",
        Urgency::Soon => "soon",
        Urgency::Later => "later",
    };
    let ring = entry.ring.map(|ring| {
        json!({
            "channel": ring.channel.number(), "frequency_hz": thousandths(ring.frequency.get()),
            "level_dbfs": thousandths(ring.level.get()), "growth_db_per_s": thousandths(ring.growth),
        })
    });
    let advice = ShowAdvice { action: entry.action, ring: entry.ring, urgency };
    let action = show_step(&advice, names).sentence.replace('−', "-");
    Entry { action: Some(action), ..Entry::new(what, json!({ "urgency": word, "ring": ring })) }
}

/// Something other than a ring wants a hand.
pub fn alert(at: Seconds, alert: &Alert, next: &NextStep) -> Entry {
    let evidence = json!({ "kind": show::kind(alert), "urgency": show::urgency(Some(alert)), "proof": next.proof });
    Entry { action: Some(next.sentence.replace('−', "-")), ..Entry::new("alert", evidence) }.at(at)
}

/// It was done, or left.
pub fn alert_answered(at: Seconds, alert: &Alert, done: bool) -> Entry {
    Entry { done: Some(done), ..Entry::new("answer", json!({ "kind": show::kind(alert) })) }.at(at)
}

pub fn gap(at: Seconds, missing: Seconds) -> Entry {
    Entry::new("gap", json!({ "missing_s": thousandths(missing.get()) })).at(at)
}

/// `None`: the device is back.
pub fn device(at: Seconds, lost: Option<&str>) -> Entry {
    Entry::new(if lost.is_some() { "device_lost" } else { "device_back" }, json!({ "why": lost })).at(at)
}

pub fn mark(at: Seconds, text: &str) -> Entry {
    Entry::new("mark", json!({ "text": (!text.is_empty()).then_some(text) })).at(at)
}

/// `folder` is the event's.
pub fn recording_began(at: Seconds, folder: &Path, file: &Path, tracks: &[ChannelId], barred: &[ChannelId]) -> Entry {
    let numbers = |channels: &[ChannelId]| channels.iter().map(|channel| channel.number()).collect::<Vec<_>>();
    let evidence =
        json!({ "file": log::file_text(folder, file), "tracks": numbers(tracks), "barred": numbers(barred) });
    Entry::new(log::RECORDING_BEGAN, evidence).at(at)
}

/// `folder` is the event's.
pub fn recording(at: Seconds, folder: &Path, event: &RecordEvent) -> Entry {
    let (what, evidence): (_, Value) = match event {
        RecordEvent::NextFile { file } => (log::RECORDING_GOES_ON, json!({ "file": log::file_text(folder, file) })),
        RecordEvent::Gap(_) => ("recording_gap", multitrack::evidence(event)),
        RecordEvent::LowDisk { .. } => ("recording_low_disk", multitrack::evidence(event)),
        RecordEvent::Stopped { .. } => ("recording_stopped", multitrack::evidence(event)),
    };
    Entry::new(what, evidence).at(at)
}
