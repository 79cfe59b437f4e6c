//! Crackle: clicks at known times; a stick, a step and a plucked string are none.

use std::f64::consts::TAU;

use beforedoors::detectors::Evidence;

use super::{RATE, of, programme, take};
use crate::support::signals::Noise;

/// White bursts of a millisecond, dying away, each `height` high at first.
fn crackle(plane: &mut [f32], times: &[f64], height: f32) {
    let mut dice = Noise::new(9);
    for &time in times {
        let at = (time * f64::from(RATE)) as usize;
        for n in 0..48 {
            plane[at + n] += height * dice.next().unwrap() as f32 * (-(n as f32) / 16.0).exp();
        }
    }
}

#[test]
fn clicks_are_found_where_they_are() {
    let times = [2.5, 4.1, 4.6, 5.0, 9.25, 13.0];
    for seed in [1, 2, 3] {
        let mut plane = programme(15.0, seed);
        crackle(&mut plane, &times, 0.3);
        let recording = take(&[plane]);
        let found = of(&recording, "crackle");
        let clicks: u32 = found
            .iter()
            .map(|finding| match finding.evidence {
                Evidence::Crackle { clicks, .. } => clicks,
                _ => 0,
            })
            .sum();
        assert!(clicks >= 5, "seed {seed}: {found:?}");
        for finding in &found {
            let start = finding.start.get() as f64 / f64::from(RATE);
            assert!(times.iter().any(|time| (time - start).abs() < 0.01), "{start}");
        }
    }
}

#[test]
fn three_clicks_are_no_crackle() {
    let mut plane = programme(15.0, 1);
    crackle(&mut plane, &[2.5, 6.0, 9.0], 0.3);
    assert!(of(&take(&[plane]), "crackle").is_empty());
}

/// By their spectra: a step's differences stand as 2 to 1, a stick's (band-limited to 6 kHz) below 1.
#[test]
fn sticks_steps_and_strings_are_none() {
    let times: Vec<usize> = (1..14).map(|second| second * RATE as usize + 777).collect();
    let mut steps = programme(15.0, 2);
    let mut sticks = programme(15.0, 2);
    let mut strings = programme(15.0, 2);
    for &at in &times {
        steps[at..at + 2_400].iter_mut().for_each(|x| *x += 0.1);
        for n in 0..12_000 {
            let t = n as f64 / f64::from(RATE);
            let ring = |hz: f64, seconds: f64| (TAU * hz * t).sin() * (-t / seconds).exp();
            sticks[at + n] += (0.4 * (ring(1_900.0, 0.004) + ring(4_300.0, 0.002))) as f32;
            strings[at + n] += (0.2 * (ring(660.0, 0.1) + ring(2_640.0, 0.05) + ring(7_920.0, 0.02))) as f32;
        }
    }
    for (name, plane) in [("steps", steps), ("sticks", sticks), ("strings", strings)] {
        assert!(of(&take(&[plane]), "crackle").is_empty(), "{name}");
    }
}
