//! A recording, and a folder of them, as lines of text or as JSON.

use std::io;
use std::path::Path;

use crate::cli::args::RecordingsArgs;
use crate::cli::lines::state_cell;
use crate::cli::out;
use crate::engine::recording::{Recording, RecordingError};
use crate::engine::takes::Gathering;
use crate::units::{ChannelId, Dbfs};
use crate::view::words::plain;
use crate::view::{self, Setup, Together, numbers, records};

/// Findings of one recording that are told one by one; a broken one has thousands.
const PAGE: usize = 20;

pub fn take(
    path: &Path,
    result: &Result<Recording, RecordingError>,
    args: &RecordingsArgs,
    setup: &Setup,
) -> io::Result<()> {
    if args.json {
        return records::take_records(path, result, setup, args.aes17).iter().try_for_each(out::json);
    }
    let name = path.display().to_string();
    match result {
        Ok(recording) => as_lines(&name, recording, args, setup),
        Err(error) => {
            out::note(&format!("{}: {error}", plain(&name)));
            Ok(())
        }
    }
}

pub fn together(gathering: &Gathering, args: &RecordingsArgs, setup: &Setup) -> io::Result<()> {
    if args.json {
        return view::together_records(gathering).iter().try_for_each(out::json);
    }
    out::line("")?;
    Together::new(gathering, setup).lines().iter().try_for_each(|line| out::line(line))
}

fn as_lines(name: &str, recording: &Recording, args: &RecordingsArgs, setup: &Setup) -> io::Result<()> {
    let summary = &recording.summary;
    let [kind, loudness] = view::about(recording);
    out::line(&format!("{}\n  {kind}\n  {loudness}", plain(name)))?;
    for (index, (verdict, channel)) in recording.channels.iter().zip(&summary.channels).enumerate() {
        let id = ChannelId::from_index(index);
        let whole = &channel.whole;
        let crest = whole.crest().map_or("–".into(), |crest| format!("{:.1}", crest.get()));
        let aes17 = if args.aes17 {
            format!(" (AES17 {})", numbers::level(whole.rms + Dbfs::AES17_OFFSET))
        } else {
            String::new()
        };
        let (number, who) = match recording.track {
            Some(_) => (id.number().to_string(), view::track_name(recording, id, setup)),
            None => (id.number().to_string(), setup.name(id).to_owned()),
        };
        out::line(&format!(
            "  {number:>2}  {}  peak {:>6}  true {:>6}  RMS {:>6}{aes17}  crest {crest:>5}  {who}",
            state_cell(verdict.state, view::state_word(recording, verdict, setup)),
            numbers::level(whole.sample_peak),
            numbers::level(whole.true_peak),
            numbers::level(whole.rms),
        ))?;
    }
    for line in view::finding_lines(recording, PAGE, setup) {
        out::line(&format!("  {line}"))?;
    }
    if recording.findings.len() > PAGE {
        out::line("  (--json tells all)")?;
    }
    for warning in &recording.warnings {
        out::line(&format!("  note: {warning}"))?;
    }
    let cues = view::cue_lines(&recording.cues);
    if recording.track.is_none() && !cues.is_empty() && recording.likeness.is_none() && recording.length().get() >= LONG
    {
        out::line(&format!("  {}", view::CUE_LIST))?;
        cues.iter().try_for_each(|cue| out::line(&format!("    {cue}")))?;
    }
    let verdict = view::take_verdict(recording, setup);
    let sign = verdict.turn.as_ref().map_or(String::new(), |(_, arrow)| format!("{} ", arrow.sign()));
    out::line(&format!("  {sign}{}", verdict.line))?;
    // What proves a finding stands among the lines above.
    if verdict.turn.is_none() || verdict.proof.is_empty() {
        Ok(())
    } else {
        out::line(&format!("    {}", verdict.proof))
    }
}

/// Shorter takes need no cue list.
const LONG: f64 = 60.0;
