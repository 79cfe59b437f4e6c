//! Hum: exact frequencies laid under music with pauses; notes near the mains are none.
//!
//! The frequencies are the truth by construction; equal temperament puts G1 at 49.0, A♯1 at 58.3, B1 at 61.7 Hz, and C2 at
//! 65.4, where 60 Hz stand that were recorded at 44.1 kHz and labelled 48.

use std::f64::consts::TAU;

use beforedoors::detectors::{Evidence, HumForm};

use super::{RATE, of, programme, take};

/// Sines at multiples of `base`, each (order, level in dBFS of its root mean square).
fn hum(plane: &mut [f32], base: f64, lines: &[(f64, f64)]) {
    for (index, sample) in plane.iter_mut().enumerate() {
        let t = index as f64 / f64::from(RATE);
        let line = |&(order, level): &(f64, f64)| {
            2f64.sqrt() * 10f64.powf(level / 20.0) * (TAU * base * order * t + order).sin()
        };
        *sample += lines.iter().map(line).sum::<f64>() as f32;
    }
}

const MAGNETIC: [(f64, f64); 5] = [(1.0, -68.0), (2.0, -74.0), (3.0, -71.0), (5.0, -76.0), (7.0, -80.0)];

#[test]
fn frequency_family_and_level() {
    // All lines together: 10 lg of the sum of their powers.
    let level = 10.0 * MAGNETIC.iter().map(|line| 10f64.powf(line.1 / 10.0)).sum::<f64>().log10();
    for (base, family) in [(49.86, 50), (49.95, 50), (50.03, 50), (50.14, 50), (59.86, 60), (59.94, 60), (60.14, 60)] {
        let mut plane = programme(25.0, 6);
        hum(&mut plane, base, &MAGNETIC);
        let recording = take(&[plane]);
        let found = of(&recording, "hum");
        assert_eq!(found.len(), 1, "{base}: {:?}", recording.findings);
        let Evidence::Hum { family: named, frequency, level: read, form, .. } = found[0].evidence else { panic!() };
        assert_eq!((named, form), (family, HumForm::Magnetic));
        assert!((frequency.get() - base).abs() < 0.02, "{base}: {frequency:?}");
        // Notes stand on some of the lines.
        assert!((read.get() - level).abs() < 3.0, "{read:?} for {level}");
    }
}

#[test]
fn a_comb_is_a_buzz() {
    let comb: Vec<(f64, f64)> = (1..=16).map(|order| (f64::from(order), -66.0 - 0.3 * f64::from(order))).collect();
    let even: Vec<(f64, f64)> = (1..=8).map(|order| (2.0 * f64::from(order), -64.0 - f64::from(order))).collect();
    for (lines, expected) in [(comb, HumForm::Dimmer), (even, HumForm::Rectifier)] {
        let mut plane = programme(25.0, 6);
        hum(&mut plane, 50.02, &lines);
        let recording = take(&[plane]);
        let found = of(&recording, "buzz");
        assert_eq!(found.len(), 1, "{:?}", recording.findings);
        assert!(matches!(found[0].evidence, Evidence::Hum { form, .. } if form == expected), "{found:?}");
    }
}

#[test]
fn held_notes_near_the_mains_are_none() {
    for note in [48.9994, 51.9131, 54.9999, 58.2705, 61.7354, 65.4064, 97.9989, 103.826, 116.541, 123.471] {
        let mut plane = programme(25.0, 6);
        let partials: Vec<(f64, f64)> =
            (1..=8).map(|order| (f64::from(order), -30.0 - 3.0 * f64::from(order))).collect();
        hum(&mut plane, note, &partials);
        let recording = take(&[plane]);
        assert!(of(&recording, "hum").is_empty() && of(&recording, "buzz").is_empty(), "{note} Hz");
        assert!(of(&recording, "rate").is_empty(), "{note} Hz");
    }
}

/// Made at 44.1 kHz and labelled 48: 50 Hz stand at 50 · 48 / 44.1 = 54.42.
#[test]
fn the_mains_gives_a_wrong_rate_away() {
    let all: Vec<(f64, f64)> = (1..=5).map(|order| (f64::from(order), -60.0 - f64::from(order))).collect();
    let even: Vec<(f64, f64)> = (1..=6).map(|order| (f64::from(2 * order), -60.0 - f64::from(order))).collect();
    for lines in [all, even] {
        let mut plane = programme(25.0, 6);
        hum(&mut plane, 50.0 * 48.0 / 44.1, &lines);
        let recording = take(&[plane]);
        let found = of(&recording, "rate");
        assert_eq!(found.len(), 1, "{lines:?}: {:?}", recording.findings);
        assert!(matches!(found[0].evidence, Evidence::Rate { header: 48_000, true_rate: 44_100, .. }), "{found:?}");
    }
}

/// Pulses in one of eight slots of a frame of 120/26 ms, one frame of 26 left out (3GPP TS 45.002), from `from` to `to` s.
fn phone(plane: &mut [f32], (from, to): (f64, f64), height: f32) {
    let rate = f64::from(RATE);
    for (index, sample) in plane.iter_mut().enumerate().take((to * rate) as usize).skip((from * rate) as usize) {
        let frames = index as f64 / rate * 26.0 / 0.12;
        let sends = frames.fract() < 0.125 && frames as u64 % 26 != 25;
        *sample += if sends { height } else { 0.0 };
    }
}

/// In rests of the music, which covers it where it has an A.
#[test]
fn a_phone_is_a_buzz_with_times() {
    let mut plane = programme(25.0, 6);
    let spans = [(4.2, 5.1), (11.0, 14.0), (20.3, 20.9)];
    for (from, to) in spans {
        let rest = ((from - 0.1) * f64::from(RATE)) as usize..((to + 0.1) * f64::from(RATE)) as usize;
        plane[rest].iter_mut().for_each(|sample| *sample *= 0.001);
        phone(&mut plane, (from, to), 0.005);
    }
    let recording = take(&[plane]);
    let found = of(&recording, "buzz");
    assert_eq!(found.len(), spans.len(), "{:?}", recording.findings);
    for (finding, (from, to)) in found.iter().zip(spans) {
        let Evidence::Hum { frequency, form, .. } = finding.evidence else { panic!() };
        assert_eq!(form, HumForm::Phone);
        assert!((frequency.get() - 26.0 / 0.12).abs() < 0.1, "{frequency:?}");
        let at = |frame: beforedoors::units::FrameCount| frame.get() as f64 / f64::from(RATE);
        assert!((at(finding.start) - from).abs() < 0.25 && (at(finding.end) - to).abs() < 0.25, "{finding:?}");
    }
}

/// A3 is 220 Hz, 26 cents over a phone's pulses; A2 has it among its partials.
#[test]
fn held_notes_near_a_phone_are_none() {
    for note in [108.333, 109.9999, 219.9998, 216.0, 217.4] {
        let mut plane = programme(25.0, 6);
        let partials: Vec<(f64, f64)> = (1..=10).map(|order| (f64::from(order), -30.0 - f64::from(order))).collect();
        hum(&mut plane, note, &partials);
        assert!(of(&take(&[plane]), "buzz").is_empty(), "{note} Hz");
    }
}
