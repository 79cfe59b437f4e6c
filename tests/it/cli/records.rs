//! JSON Lines: the keys that others build on, null for silence, plain minus.

use std::collections::BTreeSet;

use beforedoors::detectors::{DropoutForm, EndForm, Evidence, FreakReason, HeaderFault, HumForm, Partner};
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz, Lufs, Seconds};
use serde_json::Value;

use super::{beforedoors, json_lines, sine, write_wav};

fn recordings(args: &[&str], path: &std::path::Path) -> Vec<Value> {
    let output = beforedoors().args(["recordings", "--json"]).args(args).arg(path).output().unwrap();
    json_lines(&output.stdout)
}

fn of_type<'a>(lines: &'a [Value], kind: &str) -> Vec<&'a Value> {
    lines.iter().filter(|line| line["type"] == kind).collect()
}

fn keys(line: &Value) -> BTreeSet<&str> {
    line.as_object().unwrap().keys().map(String::as_str).collect()
}

/// A sine of −18 dBFS peak: sample and true peak −18.0, RMS −21.01 (plain root mean square), AES17 −18.0, crest 3.01.
#[test]
fn a_sine_of_known_level() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sine.wav");
    let left_and_silence = sine(997.0, 10f64.powf(-18.0 / 20.0), 5.0).flat_map(|sample| [sample, 0.0]);
    write_wav(&path, 2, left_and_silence);
    let lines = recordings(&["--aes17"], &path);

    let file = of_type(&lines, "file")[0];
    for key in ["file", "format", "rate_hz", "channels", "duration_s", "integrated_lufs", "loudness_range_lu"] {
        assert!(keys(file).contains(key), "{key}");
    }
    assert_eq!((file["rate_hz"].as_u64(), file["channels"].as_u64()), (Some(48_000), Some(2)));
    assert_eq!(file["duration_s"], 5.0);
    assert!((file["true_peak_dbtp"].as_f64().unwrap() + 18.0).abs() < 0.02, "{file}");

    let channels = of_type(&lines, "channel");
    let value = |key: &str| channels[0][key].as_f64().unwrap_or(f64::NAN);
    assert_eq!(
        (channels.len(), channels[0]["channel"].as_u64(), channels[1]["channel"].as_u64()),
        (2, Some(1), Some(2))
    );
    for (key, expected) in [
        ("sample_peak_dbfs", -18.0),
        ("true_peak_dbtp", -18.0),
        ("rms_dbfs", -21.0103),
        ("rms_aes17_dbfs", -18.0),
        ("crest_db", 3.0103),
    ] {
        assert!((value(key) - expected).abs() < 0.02, "{key}: {}", value(key));
        let rounded = (value(key) * 1000.0).round() / 1000.0;
        assert_eq!(value(key), rounded, "{key} has three decimals");
    }
    for key in [
        "sample_peak_dbfs",
        "true_peak_dbtp",
        "rms_dbfs",
        "rms_aes17_dbfs",
        "crest_db",
        "active_crest_db",
        "active_level_dbfs",
    ] {
        assert_eq!(channels[1][key], Value::Null, "silence: {key}");
    }
    for key in ["noise_floor_dbfs", "dc", "state", "advice", "file"] {
        assert!(keys(channels[0]).contains(key), "{key}");
    }
    let plain = recordings(&[], &path);
    assert!(!keys(of_type(&plain, "channel")[0]).contains("rms_aes17_dbfs"), "only on request");
}

#[test]
fn findings_and_errors() {
    let folder = tempfile::tempdir().unwrap();
    let clipped = folder.path().join("clipped.wav");
    write_wav(&clipped, 1, sine(1000.0, 2.0, 3.0).map(|sample| sample.clamp(-1.0, 1.0)));
    let lines = recordings(&[], &clipped);
    let finding = of_type(&lines, "finding")[0];
    let expected = ["advice", "channel", "end_s", "evidence", "file", "kind", "severity", "start_s", "type"];
    assert_eq!(keys(finding), BTreeSet::from(expected));
    assert_eq!((finding["kind"].as_str(), finding["channel"].as_u64()), (Some("clipped"), Some(1)));
    assert!(finding["start_s"].as_f64().unwrap() <= finding["end_s"].as_f64().unwrap());
    assert!(finding["evidence"]["runs"].as_u64().unwrap() >= 1);

    let lines = recordings(&[], &folder.path().join("missing.wav"));
    assert_eq!(lines.len(), 1);
    assert_eq!(keys(&lines[0]), BTreeSet::from(["file", "fix", "message", "type"]));
    assert_eq!(lines[0]["type"], "error");
    assert_eq!(lines[0]["message"], "there is no such file");
    assert_eq!(lines[0]["fix"], "Check the spelling, or drag the file into the terminal");
}

#[test]
fn machine_readable_lines_have_a_plain_minus_only() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flat.wav");
    write_wav(&path, 1, sine(200.0, 0.5, 6.0).map(|sample| sample.clamp(-0.25, 0.25)));
    let output = beforedoors().args(["recordings", "--json"]).arg(&path).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("flat tops at -12.0 dBFS"), "{text}");
    assert!(!text.contains('−'), "{text}");
}

/// What a finding of a recording may be called; what a soundcheck alone says is a note.
const KINDS: [&str; 25] = [
    "clipped",
    "flat_top",
    "coded_clip",
    "low",
    "silent",
    "wrong_track",
    "one_side",
    "duplicate",
    "polarity",
    "dropout",
    "rate",
    "drift",
    "hum",
    "buzz",
    "hiss",
    "whine",
    "crackle",
    "dc",
    "rumble",
    "riding",
    "lossy",
    "mono",
    "loud",
    "truncated",
    "header",
];

/// Fails to compile when a variant is new.
fn every_evidence() -> Vec<Evidence> {
    use Evidence as E;
    let (level, gap, hertz, at) = (Dbfs::new(-20.0), Db::new(3.0), Hertz::new(50.0), Seconds::new(1.0));
    let with = Partner { file: None, channel: ChannelId::new(0) };
    let hum = |form| E::Hum { family: 50, frequency: hertz, level, below: gap, form };
    let next = |evidence: &E| match evidence {
        E::Clipped { .. } => Some(E::FlatTop { places: 6, longest: 4, level, overshoot: gap }),
        E::FlatTop { .. } => Some(E::NotHeard { quiet: at, level }),
        E::NotHeard { .. } => Some(E::Freak { peak: level, above_the_rest: gap, reason: FreakReason::Thump }),
        E::Freak { .. } => Some(E::Spill { from: ChannelId::new(1), lag: at, below: gap }),
        E::Spill { .. } => Some(E::Invalid { samples: 1 }),
        E::Invalid { .. } => Some(E::Gap { frames: 1 }),
        E::Gap { .. } => Some(E::CodedClip { places: 9, level, overshoot: gap }),
        E::CodedClip { .. } => Some(E::Low { active: level, floor: None }),
        E::Low { .. } => Some(E::Silent { level }),
        E::Silent { .. } => Some(E::WrongTrack { level }),
        E::WrongTrack { .. } => Some(E::OneSide { below: gap }),
        E::OneSide { .. } => Some(E::Duplicate { of: with, gain: gap, correlation: 1.0 }),
        E::Duplicate { .. } => Some(E::Polarity { with, correlation: -1.0 }),
        E::Polarity { .. } => Some(E::Dropout { length: at, form: DropoutForm::Held }),
        E::Dropout { .. } => Some(E::Rate { header: 48_000, true_rate: 44_100, line: None }),
        E::Rate { .. } => Some(E::OddRate { rate: 44_100, usual: 48_000 }),
        E::OddRate { .. } => Some(E::Drift { with, ppm: 20.0, offset: at }),
        E::Drift { .. } => Some(E::Shifted { with, late: at }),
        E::Shifted { .. } => Some(hum(HumForm::Magnetic)),
        E::Hum { form: HumForm::Magnetic, .. } => Some(hum(HumForm::Rectifier)),
        E::Hum { form: HumForm::Rectifier, .. } => Some(hum(HumForm::Dimmer)),
        E::Hum { form: HumForm::Dimmer, .. } => Some(hum(HumForm::Phone)),
        E::Hum { form: HumForm::Phone, .. } => Some(E::Hiss { floor: level, below: gap }),
        E::Hiss { .. } => Some(E::Whine { frequency: hertz, level }),
        E::Whine { .. } => Some(E::Crackle { clicks: 7, highest: level }),
        E::Crackle { .. } => Some(E::Dc { mean: 0.1 }),
        E::Dc { .. } => Some(E::Rumble { share: 0.5 }),
        E::Rumble { .. } => Some(E::Riding { rise: gap }),
        E::Riding { .. } => Some(E::Lossy { nothing_above: hertz }),
        E::Lossy { .. } => Some(E::Mono { gain: gap }),
        E::Mono { .. } => Some(E::Loud { true_peak: level, integrated: Lufs::new(-14.0) }),
        E::Loud { .. } => Some(E::Truncated { missing: None, form: EndForm::CutShort }),
        E::Truncated { .. } => Some(E::LateStart { late: at }),
        E::LateStart { .. } => Some(E::Header { fault: HeaderFault::Unfinished { held: 1 } }),
        E::Header { .. } => None,
    };
    let first = E::Clipped { runs: 1, samples: 4, longest: 4 };
    std::iter::successors(Some(first), next).collect()
}

#[test]
fn every_finding_has_a_kind_that_the_help_names() {
    let help = beforedoors().args(["recordings", "--help"]).output().unwrap();
    let help: String = String::from_utf8(help.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, named) = help.split_once("channel (null: all of it), kind (").unwrap();
    let named: Vec<&str> = named.split(')').next().unwrap().split(", ").collect();
    assert_eq!(named, KINDS);
    let all = every_evidence();
    let mut told = BTreeSet::new();
    for evidence in all {
        let is_note = evidence.is_of_soundcheck();
        assert_ne!(is_note, KINDS.contains(&evidence.kind()), "{evidence:?}");
        told.extend((!is_note).then(|| evidence.kind()));
    }
    assert_eq!(told, BTreeSet::from(KINDS));
}
