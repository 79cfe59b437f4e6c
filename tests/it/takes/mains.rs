//! Hum: exact frequencies laid under music with pauses; notes near the mains are none.
//!
//! The frequencies are the truth by construction; equal temperament puts G1 at 49.0, A♯1 at 58.3 and B1 at 61.7 Hz.

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
    for (base, family) in [(49.95, 50), (50.03, 50), (59.94, 60), (60.05, 60)] {
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
    for note in [48.9994, 51.9131, 58.2705, 61.7354, 97.9989, 103.826, 116.541, 123.471] {
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
    let mut plane = programme(25.0, 6);
    let lines: Vec<(f64, f64)> = (1..=9).map(|order| (f64::from(order), -56.0 - f64::from(order))).collect();
    hum(&mut plane, 50.0 * 48.0 / 44.1, &lines);
    let recording = take(&[plane]);
    let found = of(&recording, "rate");
    assert_eq!(found.len(), 1, "{:?}", recording.findings);
    assert!(matches!(found[0].evidence, Evidence::Rate { header: 48_000, true_rate: 44_100, .. }), "{found:?}");
}
