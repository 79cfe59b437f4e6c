//! Machine-readable lines: one JSON object a line, each with a `type`.
//!
//! | `type` | keys |
//! |---|---|
//! | `file` | `file`, `format`, `rate_hz`, `channels`, `duration_s`, `integrated_lufs`, `loudness_range_lu`, `momentary_max_lufs`, `short_term_max_lufs`, `true_peak_dbtp` |
//! | `channel` | `file`, `channel` (from 1), `sample_peak_dbfs`, `true_peak_dbtp`, `rms_dbfs`, `crest_db`, `active_level_dbfs`, `active_crest_db`, `noise_floor_dbfs`, `active_s`, `dc`, `invalid_samples`, `state`, `advice`; with `--aes17` also `rms_aes17_dbfs` |
//! | `note` | what a soundcheck would say of a listed channel (`kind` set_aside, spill); keys as of `finding` |
//! | `finding` | `file`, `channel` (null: all of it), `kind`, `severity` (mendable, hides, lost), `start_s`, `end_s`, `evidence`, `advice` |
//! | `track`, `cue`, `pair` | of a folder with two or more: see `view/together.rs` |
//! | `ring` | what rang: see `view/ringing.rs` |
//! | `warning` | `file`, `message`, `fix` |
//! | `error` | `file`, `message`, `fix` (how to mend it) |
//! | `step` | `time_s`, `channel` (null: none), `step`, `then`, `proof`, `peak_dbfs`, `active_level_dbfs`, `noise_floor_dbfs`, `active_s`, `hits`, `show_lift_db`, `window_dbfs` (low, high), `unseen` |
//! | `input` | `channel`, `name`, `state`, `peak_dbfs`, `active_s`, `hits`, `trims` |
//! | `device` | `id`, `name`, `host`, `channels`, `rate_hz`, `rates_hz`, `format`, `default` |
//!
//! `*_dbfs` re full scale (a full-scale sine has an RMS of −3.01; `rms_aes17_dbfs` reads 0.00), `*_dbtp` true peak,
//! `*_lufs` and `*_lu` by ITU-R BS.1770-5 and EBU Tech 3342, times in seconds from the start. Numbers are
//! rounded to 0.001 and have a plain minus, as sentences have here. Silence, and what is not known, is `null`.

use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use super::findings::{finding_advice, finding_words};
use super::numbers::thousandths as number;
use super::ringing::ring_record;
use super::sentence::NextStep;
use super::setup::Setup;
use super::states::shown;
use super::takes::{state_word, verdict_step};
use super::words;
use crate::coach::{Advice, ChannelState};
use crate::detectors::{EndForm, Evidence, Finding, HeaderFault, Heard, HumForm, Partner};
use crate::engine::recording::{Recording, RecordingError};
use crate::meters::{ChannelSummary, Programme};
use crate::units::{ChannelId, Db, Dbfs, Lufs, SampleRate, Seconds};

/// The keys of a recording's lines, for a help text.
pub const RECORDING_KEYS: &str = "\
One JSON object a line, each with a `type`:

file: file, format, rate_hz, channels, duration_s, integrated_lufs, loudness_range_lu, momentary_max_lufs, \
short_term_max_lufs, true_peak_dbtp

channel: file, channel (from 1), sample_peak_dbfs, true_peak_dbtp, rms_dbfs, crest_db, active_level_dbfs, \
active_crest_db, noise_floor_dbfs, active_s, dc, invalid_samples, state, advice; with --aes17 also rms_aes17_dbfs

finding: file, channel (null: all of it), kind (clipped, flat_top, coded_clip, low, silent, wrong_track, one_side, \
duplicate, polarity, dropout, rate, drift, hum, buzz, hiss, whine, crackle, dc, rumble, riding, lossy, mono, loud, \
truncated, header), severity (mendable, hides, lost), start_s, end_s, evidence, advice

note: as finding, for a channel of the input list, kind set_aside or spill: what a soundcheck would say of it

warning, error: file, message, fix

Levels in dB re full scale (a full-scale sine has an RMS of -3.01), times in seconds from the start, numbers rounded \
to 0.001. Silence, and what is not known, is null.";

/// The keys of a soundcheck's lines.
pub const SOUNDCHECK_KEYS: &str = "\
One JSON object a line, each with a `type`:

step, whenever the next step changes: time_s, channel (from 1), step, then, proof, peak_dbfs, active_level_dbfs, \
noise_floor_dbfs, active_s, hits, show_lift_db, window_dbfs (low, high), unseen

input, at the end: channel, name, state, peak_dbfs, active_s, hits, trims

warning: file, message, fix

With --file the steps are those that would have come while it was played; the lines of `recordings` follow. Silence, and what is not known, is null.";

/// The keys of a device's line.
pub const DEVICE_KEYS: &str = "\
One JSON object a line, of `type` device: id, name, host, channels, rate_hz, rates_hz (lowest, highest), format, default";

fn level(level: Dbfs) -> Value {
    number(level.get())
}

fn loudness(level: Lufs) -> Value {
    number(level.get())
}

fn difference(change: Option<Db>) -> Value {
    change.map_or(Value::Null, |change| number(change.get()))
}

/// A sentence with a plain minus, so that its numbers can be searched for.
fn text(sentence: &str) -> Value {
    Value::from(sentence.replace('−', "-"))
}

/// All lines of one recording.
pub fn take_records(path: &Path, result: &Result<Recording, RecordingError>, setup: &Setup, aes17: bool) -> Vec<Value> {
    let name = path.display().to_string();
    let recording = match result {
        Ok(recording) => recording,
        Err(why) => return vec![error(&name, &why.to_string())],
    };
    let Recording { format, summary, .. } = recording;
    let length = recording.length();
    let mut all = vec![file(&name, &recording.info.kind, format.rate, format.channels, length, &summary.programme)];
    for (index, (verdict, summary)) in recording.channels.iter().zip(&summary.channels).enumerate() {
        let id = ChannelId::from_index(index);
        let advice = verdict_step(recording, id, verdict, setup)
            .map_or(String::new(), |next| format!("{} {}", next.arrow.sign(), next.sentence));
        all.push(channel(&name, id, summary, state_word(recording, verdict, setup), &advice, aes17));
    }
    all.extend(recording.worst_first().iter().map(|it| finding(&name, it, format.rate, &recording.partners)));
    all.extend(recording.rings.iter().map(|said| ring_record(&name, said)));
    all.extend(recording.warnings.iter().map(|it| warning(&name, &it.to_string())));
    all
}

/// A whole recording.
fn file(
    file: &str,
    format: &str,
    rate: SampleRate,
    channels: usize,
    duration: Seconds,
    programme: &Programme,
) -> Value {
    json!({
        "type": "file", "file": file, "format": format, "rate_hz": rate.get(), "channels": channels,
        "duration_s": number(duration.get()),
        "integrated_lufs": loudness(programme.integrated),
        "loudness_range_lu": difference(programme.range),
        "momentary_max_lufs": loudness(programme.momentary_max),
        "short_term_max_lufs": loudness(programme.short_term_max),
        "true_peak_dbtp": level(programme.true_peak),
    })
}

/// One channel of it.
fn channel(file: &str, channel: ChannelId, summary: &ChannelSummary, state: &str, advice: &str, aes17: bool) -> Value {
    let ChannelSummary { whole, take } = summary;
    let mut record = json!({
        "type": "channel", "file": file, "channel": channel.number(),
        "sample_peak_dbfs": level(whole.sample_peak), "true_peak_dbtp": level(whole.true_peak),
        "rms_dbfs": level(whole.rms), "crest_db": difference(whole.crest()),
        "active_level_dbfs": level(take.active_level), "active_crest_db": difference(take.crest()),
        "noise_floor_dbfs": take.floor.map_or(Value::Null, level), "active_s": number(take.active_time.get()),
        "dc": (whole.dc * 1e6).round() / 1e6 + 0.0, "invalid_samples": whole.invalid_samples,
        "state": state, "advice": text(advice),
    });
    if let Some(record) = record.as_object_mut().filter(|_| aes17) {
        record.insert("rms_aes17_dbfs".into(), level(whole.rms + Dbfs::AES17_OFFSET));
    }
    record
}

/// Something found in it; `partners` are the recordings that a finding between two names.
fn finding(file: &str, finding: &Finding, rate: SampleRate, partners: &[PathBuf]) -> Value {
    let channel = (!finding.evidence.is_of_all()).then(|| finding.channel.number());
    let kind = if finding.evidence.is_of_soundcheck() { "note" } else { "finding" };
    json!({
        "type": kind, "file": file, "channel": channel, "kind": finding.evidence.kind(),
        "severity": finding.severity().word(),
        "start_s": number(finding.start.at(rate).get()), "end_s": number(finding.end.at(rate).get()),
        "evidence": evidence(finding, partners), "advice": text(finding_advice(&finding.evidence)),
    })
}

fn evidence(finding: &Finding, partners: &[PathBuf]) -> Value {
    let mut numbers = match finding.evidence {
        Evidence::Clipped { runs, samples, longest } => {
            json!({ "runs": runs, "samples": samples, "longest_samples": longest })
        }
        Evidence::FlatTop { places, longest, level: at, overshoot } => json!({
            "places": places, "longest_samples": longest, "level_dbfs": level(at),
            "overshoot_db": number(overshoot.get()),
        }),
        Evidence::NotHeard { quiet, level: at } => json!({ "quiet_s": number(quiet.get()), "level_dbfs": level(at) }),
        Evidence::Freak { peak, above_the_rest, .. } => {
            json!({ "peak_dbfs": level(peak), "above_the_rest_db": number(above_the_rest.get()) })
        }
        Evidence::Spill { from, lag, below } => json!({
            "from_channel": from.number(), "lag_s": (lag.get() * 1e6).round() / 1e6,
            "below_db": number(below.get()),
        }),
        Evidence::Invalid { samples } => json!({ "samples": samples }),
        Evidence::Gap { frames } => json!({ "frames": frames }),
        Evidence::CodedClip { places, level: at, overshoot } => {
            json!({ "places": places, "level_dbfs": level(at), "overshoot_db": number(overshoot.get()) })
        }
        Evidence::Low { active, floor } => json!({
            "active_level_dbfs": level(active), "noise_floor_dbfs": floor.map_or(Value::Null, level),
        }),
        Evidence::Silent { level: at } | Evidence::WrongTrack { level: at } => json!({ "level_dbfs": level(at) }),
        Evidence::OneSide { below } => json!({ "below_db": number(below.get()) }),
        Evidence::Duplicate { of, gain, correlation } => {
            let mut numbers = partner(of, partners);
            numbers["gain_db"] = number(gain.get());
            numbers["correlation"] = millionths(correlation);
            numbers
        }
        Evidence::Polarity { with, correlation } => {
            let mut numbers = partner(with, partners);
            numbers["correlation"] = millionths(correlation);
            numbers
        }
        Evidence::Dropout { length, form } => json!({
            "length_s": millionths(length.get()),
            "form": form.word(),
        }),
        Evidence::Rate { header, true_rate, line } => json!({
            "header_rate_hz": header, "true_rate_hz": true_rate,
            "mains_line_hz": line.map_or(Value::Null, |line| number(line.get())),
        }),
        Evidence::OddRate { rate, usual } => json!({ "header_rate_hz": rate, "usual_rate_hz": usual }),
        Evidence::Drift { with, ppm, offset } => {
            let mut numbers = partner(with, partners);
            numbers["ppm"] = number(ppm);
            numbers["offset_s"] = millionths(offset.get());
            numbers
        }
        Evidence::Shifted { with, late } => {
            let mut numbers = partner(with, partners);
            numbers["late_s"] = millionths(late.get());
            numbers
        }
        Evidence::Hum { family, frequency, level: at, below, form } => json!({
            "family_hz": family, "frequency_hz": number(frequency.get()), "level_dbfs": level(at),
            "re_programme_db": number(below.get()),
            "form": match form {
                HumForm::Magnetic => "magnetic",
                HumForm::Rectifier => "rectifier",
                HumForm::Dimmer => "dimmer",
                HumForm::Phone => "phone",
            },
        }),
        Evidence::Hiss { floor, below } => {
            json!({ "level_dbfs": level(floor), "re_programme_db": number(below.get()) })
        }
        Evidence::Whine { frequency, level: at } => {
            json!({ "frequency_hz": number(frequency.get()), "level_dbfs": level(at) })
        }
        Evidence::Crackle { clicks, highest } => json!({ "clicks": clicks, "highest_dbfs": level(highest) }),
        Evidence::Dc { mean } => json!({ "mean": millionths(mean) }),
        Evidence::Rumble { share } => json!({ "share": number(share) }),
        Evidence::Riding { rise } => json!({ "rise_db": number(rise.get()) }),
        Evidence::Lossy { nothing_above } => json!({ "nothing_above_hz": number(nothing_above.get()) }),
        Evidence::Mono { gain } => json!({ "gain_db": number(gain.get()) }),
        Evidence::Loud { true_peak, integrated } => {
            json!({ "true_peak_dbtp": level(true_peak), "integrated_lufs": loudness(integrated) })
        }
        Evidence::Truncated { missing, form } => json!({
            "missing_s": missing.map_or(Value::Null, |missing| number(missing.get())),
            "form": match form {
                EndForm::CutShort => "cut_short",
                EndForm::Unwritten => "unwritten",
                EndForm::BeforeOthers => "before_others",
            },
        }),
        Evidence::LateStart { late } => json!({ "late_s": number(late.get()) }),
        Evidence::Header { fault } => match fault {
            HeaderFault::Unfinished { held } => json!({ "fault": "unfinished", "frames": held }),
            HeaderFault::TooShort { stated, held } => json!({ "fault": "too_short", "stated": stated, "frames": held }),
            HeaderFault::FrameSize { stated, used } => {
                json!({ "fault": "frame_size", "stated_bytes": stated, "used_bytes": used })
            }
            HeaderFault::TwoAsOne { held } => json!({ "fault": "two_as_one", "frames": held }),
        },
    };
    if let Some(numbers) = numbers.as_object_mut() {
        numbers.insert("text".into(), text(&finding_words(finding)));
    }
    numbers
}

/// Which other track.
fn partner(partner: Partner, partners: &[PathBuf]) -> Value {
    let file = partner.file.and_then(|file| partners.get(usize::from(file)));
    json!({ "with_channel": partner.channel.number(), "with_file": file.map(|path| path.display().to_string()) })
}

fn millionths(value: f64) -> Value {
    if value.is_finite() { json!((value * 1e6).round() / 1e6 + 0.0) } else { Value::Null }
}

/// Something odd about a file that was read all the same.
pub fn warning(file: &str, message: &str) -> Value {
    notice("warning", file, message)
}

/// Why a file can't be read.
pub fn error(file: &str, message: &str) -> Value {
    notice("error", file, message)
}

fn notice(kind: &'static str, file: &str, message: &str) -> Value {
    let (problem, fix) = words::problem_and_fix(message);
    json!({ "type": kind, "file": file, "message": text(problem), "fix": fix.map(text) })
}

/// The next step, when it changes.
pub fn step(at: Seconds, advice: &Advice, next: &NextStep) -> Value {
    let why = &advice.why;
    let window = why.window.map_or(Value::Null, |(low, high)| json!([level(low), level(high)]));
    json!({
        "type": "step", "time_s": number(at.get()), "channel": advice.channel.map(ChannelId::number),
        "step": text(&next.sentence), "then": text(&next.then), "proof": text(&next.proof),
        "peak_dbfs": level(why.peak), "active_level_dbfs": level(why.active_level),
        "noise_floor_dbfs": why.floor.map_or(Value::Null, level),
        "active_s": number(why.active.get()), "hits": why.hits,
        "show_lift_db": number(why.show_lift.get()), "window_dbfs": window,
        "unseen": words::unseen(why.unseen),
    })
}

/// An input at the end of a soundcheck.
pub fn input(channel: ChannelId, name: &str, state: ChannelState, heard: &Heard, trims: u8) -> Value {
    json!({
        "type": "input", "channel": channel.number(), "name": name, "state": shown(state, heard.active, heard.hits),
        "peak_dbfs": level(heard.loudest), "active_s": number(heard.active.get()), "hits": heard.hits, "trims": trims,
    })
}

/// An input device.
pub fn device(fields: Map<String, Value>) -> Value {
    let mut record = Map::from_iter([("type".to_owned(), Value::from("device"))]);
    record.extend(fields);
    Value::Object(record)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_is_null() {
        let record = channel("a.wav", ChannelId::new(0), &ChannelSummary::default(), "not heard", "", true);
        for key in ["sample_peak_dbfs", "true_peak_dbtp", "rms_dbfs", "rms_aes17_dbfs", "crest_db", "active_crest_db"] {
            assert_eq!(record[key], Value::Null, "{key}");
        }
        assert_eq!(record["channel"], 1);
        let record = file("a", "WAV", SampleRate::new(48_000).unwrap(), 1, Seconds::ZERO, &Programme::default());
        for key in ["integrated_lufs", "loudness_range_lu", "true_peak_dbtp"] {
            assert_eq!(record[key], Value::Null, "{key}");
        }
    }

    #[test]
    fn the_aes17_reading_is_labelled_and_on_request() {
        let mut summary = ChannelSummary::default();
        summary.whole.rms = Dbfs::new(-3.0103);
        let record = |aes17| channel("a", ChannelId::new(0), &summary, "set", "", aes17);
        assert_eq!(record(false).get("rms_aes17_dbfs"), None);
        assert_eq!(record(true)["rms_aes17_dbfs"], 0.0);
    }
}
