//! `margin` and `seats` from two recordings: closed forms, the keys that others build on, and what is refused.
//!
//! A pure delay of gain g rings at 20 lg(1/g) more, at a whole number of turns (Nyquist's condition). A direct sound alone
//! transmits speech whole; at 0 dB over a background every octave's modulation is halved, index 0.5 (IEC 60268-16).

use std::path::Path;

use beforedoors::measure::sweep::Sweep;
use beforedoors::units::{Dbfs, Hertz, SampleRate, Seconds};
use serde_json::Value;

use super::{beforedoors, json_lines, write_wav};

const RATE: usize = 48_000;

/// Half a second of silence, a sweep of two seconds, 1.5 s for its tail.
fn sent() -> Vec<f64> {
    let (low, high) = (Hertz::new(80.0), Hertz::new(12_000.0));
    let sweep = Sweep::new(low, high, Seconds::new(2.0), Seconds::new(0.01), Dbfs::new(-12.0)).unwrap();
    let samples = sweep.samples(SampleRate::new(RATE as u32).unwrap());
    let silence = |seconds: f64| vec![0.0; (seconds * RATE as f64) as usize];
    [silence(0.5), samples.into_iter().map(f64::from).collect(), silence(1.5)].concat()
}

fn later(samples: &[f64], frames: usize, gain: f64) -> Vec<f64> {
    (0..samples.len()).map(|n| if n < frames { 0.0 } else { gain * samples[n - frames] }).collect()
}

/// What is said of one captured channel, and how it ended.
fn said(command: &[&str], captured: &[f64]) -> (Vec<Value>, Option<i32>) {
    let folder = tempfile::tempdir().unwrap();
    let [sent_path, captured_path] = ["sent.wav", "captured.wav"].map(|name| folder.path().join(name));
    write_wav(&sent_path, 1, sent().into_iter());
    write_wav(&captured_path, 1, captured.iter().copied());
    let output = run(command, &sent_path, &captured_path);
    (json_lines(&output.stdout), output.status.code())
}

fn run(command: &[&str], sent: &Path, captured: &Path) -> std::process::Output {
    let mut program = beforedoors();
    program.args(command).arg("--sent").arg(sent).arg("--captured").arg(captured).output().unwrap()
}

#[test]
fn a_loop_of_one_delay() {
    let captured = later(&sent(), 480, 0.1);
    let (lines, code) = said(&["margin", "--json"], &captured);
    assert_eq!(code, Some(0), "{lines:?}");
    let number = |key: &str| lines[0][key].as_f64().unwrap_or(f64::NAN);
    assert!((number("margin_db") - 20.0).abs() < 0.3, "{lines:?}");
    assert!(number("safe_margin_db") <= 20.01 && number("safe_margin_db") > 19.0, "{lines:?}");
    let turns = number("first_ring_hz") * 0.01;
    assert!((turns - turns.round()).abs() < 0.02, "{turns}");
    assert_eq!((&lines[0]["type"], &lines[0]["channel"]), (&Value::from("margin"), &Value::from(1)));
    assert_eq!(lines[0]["cuts_needed"], "none");
    assert!((number("fader_db") - (number("safe_margin_db") - 6.0)).abs() < 0.01);
    assert_eq!(lines[0]["next_rings"].as_array().map(Vec::len), Some(5));
    // 1.9 dB are too few, and no cut helps where everything is equally loud.
    let (lines, code) = said(&["margin", "--json"], &later(&sent(), 480, 0.8));
    assert_eq!((code, &lines[0]["cuts_needed"]), (Some(1), &Value::from("move")), "{lines:?}");
    assert!(lines[0]["fader_db"].as_f64().unwrap() < -3.0, "{lines:?}");
}

/// Two microphones at −20 and −26 dB: their faders' limits in the show, and which of them rings first.
#[test]
fn faders_of_the_show() {
    let folder = tempfile::tempdir().unwrap();
    let [sent_path, captured_path] = ["sent.wav", "captured.wav"].map(|name| folder.path().join(name));
    let (near, far) = (later(&sent(), 480, 0.1), later(&sent(), 480, 0.05));
    write_wav(&sent_path, 1, sent().into_iter());
    write_wav(&captured_path, 2, near.iter().zip(&far).flat_map(|(near, far)| [*near, *far]));
    let output = run(&["margin", "--json", "--faders", "-10,2", "--return", "-4"], &sent_path, &captured_path);
    let lines = json_lines(&output.stdout);
    let number = |line: usize, key: &str| lines[line][key].as_f64().unwrap_or(f64::NAN);
    // Fader of the return, less the way, less the spare; the second one's way takes 6.02 dB more.
    for (line, margin, highest) in [(0, 26.0, 10.0), (1, 20.02, 16.02)] {
        assert!((number(line, "margin_db") - margin).abs() < 0.3, "{lines:?}");
        assert!((number(line, "highest_fader_db") - highest).abs() < 0.4, "{lines:?}");
        assert!(number(line, "any_phase_margin_db") <= number(line, "safe_margin_db"), "{lines:?}");
    }
    assert_eq!(lines[2]["weakest_channel"], 2, "{lines:?}");
    let output = run(&["margin", "--faders", "-10,2"], &sent_path, &captured_path);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(text.contains("highest safe fader") && text.contains("channel 2 rings first"), "{text}");
}

#[test]
fn a_seat_that_hears_the_loudspeaker_alone() {
    let captured = later(&sent(), 480, 0.3);
    let (lines, code) = said(&["seats", "--json"], &captured);
    assert_eq!(code, Some(0), "{lines:?}");
    assert!(lines[0]["sti"].as_f64().unwrap() > 0.95, "{lines:?}");
    assert_eq!(lines[0]["words"], "every word");
    for key in ["t20_s", "t30_s", "edt_s", "c50_db", "sti_in_noise", "fix"] {
        assert!(lines[0].get(key).is_some(), "{key}");
    }
    let (lines, code) = said(&["seats", "--json", "--over-noise", "0"], &captured);
    assert!((lines[0]["sti_in_noise"].as_f64().unwrap() - 0.5).abs() < 0.02, "{lines:?}");
    assert_eq!((code, &lines[0]["words"]), (Some(1), &Value::from("most words, not names")), "{lines:?}");
    assert!(lines[0]["fix"].as_str().unwrap().starts_with("Less background"), "{lines:?}");
}

/// White noise of −60 dBFS in the pauses: an octave f holds f/√2 of 24 kHz, and 0.2 dB that the filter's skirts add; speech
/// of −20 dBFS has −4.3 dB in the octave of 1 kHz less its whole (IEC 60268-16), and the way takes 20 dB.
#[test]
fn speech_over_the_background_of_a_recording() {
    let noise = |n: usize| {
        let hashed = (n as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let hashed = (hashed ^ (hashed >> 31)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        1e-3 * 3f64.sqrt() * ((hashed >> 40) as f64 / f64::from(1 << 23) - 1.0)
    };
    let captured: Vec<f64> = later(&sent(), 480, 0.1).iter().enumerate().map(|(n, x)| x + noise(n)).collect();
    let (lines, _) = said(&["seats", "--json", "--seat", "row 12"], &captured);
    assert_eq!(lines[0]["seat"], "row 12", "{lines:?}");
    let over = lines[0]["speech_over_background_db"][3].as_f64().unwrap();
    let voice: [f64; 7] = [-2.5, 0.5, 0.0, -6.0, -12.0, -18.0, -24.0];
    let whole = 10.0 * voice.iter().map(|db| 10f64.powf(db / 10.0)).sum::<f64>().log10();
    let background = -60.0 + 10.0 * (1000.0 / 2f64.sqrt() / 24_000.0 * std::f64::consts::FRAC_PI_3).log10();
    let expected = -6.0 - whole - 20.0 - 20.0 - background;
    assert!((over - expected).abs() < 1.0, "{over} {expected}");
    let number = |lines: &[Value], key: &str| lines[0][key].as_f64().unwrap_or(f64::NAN);
    assert!(number(&lines, "sti_in_noise") < number(&lines, "sti"), "{lines:?}");
    let (louder, _) = said(&["seats", "--json", "--speech", "-10"], &captured);
    let key = "speech_over_background_overall_db";
    assert!((number(&louder, key) - number(&lines, key) - 10.0).abs() < 0.01, "{louder:?}");
    // One channel, two names.
    let (none, code) = said(&["seats", "--json", "--seat", "row 1", "--seat", "row 2"], &captured);
    assert!(none.is_empty() && code == Some(3));
}

/// Nothing is measured of what can't be trusted.
#[test]
fn what_is_unfit_is_refused_with_its_reason() {
    let clean = later(&sent(), 480, 0.3);
    let mut slam = clean.clone();
    for (n, sample) in slam.iter_mut().skip(RATE).take(4_800).enumerate() {
        // A bang: decaying, without a pitch.
        let noise = ((n as u32).wrapping_mul(2_654_435_761) >> 16) as f64 / 65_536.0 - 0.5;
        *sample += 1.2 * noise * (-(n as f64) / 900.0).exp();
    }
    let clipped: Vec<f64> = later(&sent(), 480, 6.0).into_iter().map(|sample| sample.clamp(-0.9, 0.9)).collect();
    let cases = [
        ("door_slam", slam),
        ("clipped", clipped),
        ("no_signal", vec![0.0; clean.len()]),
        ("too_short", clean[..RATE].to_vec()),
    ];
    for (kind, captured) in cases {
        for command in ["margin", "seats"] {
            let (lines, code) = said(&[command, "--json"], &captured);
            assert_eq!((code, &lines[0]["refused"]), (Some(2), &Value::from(true)), "{kind}: {lines:?}");
            assert_eq!(lines[0]["kind"], kind, "{lines:?}");
            assert!(lines[0].get("margin_db").is_none() && lines[0].get("sti").is_none(), "{lines:?}");
        }
    }
    let none = run(&["margin"], Path::new("none.wav"), Path::new("neither.wav"));
    assert_eq!(none.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&none.stderr).contains("none.wav"));
}

/// Mains 480 samples (10 ms, 3.432 m) behind the second loudspeaker: 20 to 25 ms are set; the other way round, none.
#[test]
fn a_second_loudspeaker_is_delayed() {
    let folder = tempfile::tempdir().unwrap();
    let [sent_path, near, far] = ["sent.wav", "near.wav", "far.wav"].map(|name| folder.path().join(name));
    write_wav(&sent_path, 1, sent().into_iter());
    write_wav(&near, 1, later(&sent(), 240, 0.1).into_iter());
    write_wav(&far, 1, later(&sent(), 720, 0.05).into_iter());
    let run = |mains: &Path, second: &Path, json: &[&str]| {
        let mut program = beforedoors();
        program.args(["delay", "--one-device"]).args(json).arg("--sent").arg(&sent_path);
        program.arg("--mains").arg(mains).arg("--second").arg(second).output().unwrap()
    };
    let output = run(&far, &near, &["--json"]);
    assert_eq!(output.status.code(), Some(0));
    let line = &json_lines(&output.stdout)[0];
    let number = |value: &Value| value.as_f64().unwrap_or(f64::NAN);
    assert!((number(&line["mains_later_ms"]) - 10.0).abs() < 0.05, "{line}");
    assert!((number(&line["mains_farther_m"]) - 3.432).abs() < 0.02, "{line}");
    assert!((number(&line["set_ms"][0]) - 20.0).abs() < 0.05 && (number(&line["set_ms"][1]) - 25.0).abs() < 0.05);
    let told = String::from_utf8(run(&far, &near, &[]).stdout).unwrap();
    assert!(told.contains("the mains arrive 10.0 ms later") && told.contains("20.0 to 25.0 ms"), "{told}");
    let output = run(&near, &far, &["--json"]);
    assert_eq!(json_lines(&output.stdout)[0]["set_ms"], Value::Null);
    // Nothing came of the second one.
    let silent = folder.path().join("silent.wav");
    write_wav(&silent, 1, vec![0.0; sent().len()].into_iter());
    let output = run(&far, &silent, &["--json"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(json_lines(&output.stdout)[0]["kind"], "no_signal");
}
