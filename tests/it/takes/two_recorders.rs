//! Two recorders at one event: the same function of time, sampled by two clocks, so that drift and offset are exact.

use std::f64::consts::TAU;

use beforedoors::detectors::Evidence;

use super::{Place, RATE, check, write};
use crate::support::signals::Noise;

/// Sixty tones whose loudness wanders: alike nowhere but to itself.
struct Event {
    tones: Vec<(f64, f64)>,
    levels: Vec<f64>,
}

impl Event {
    fn new(seed: u64) -> Self {
        let mut dice = Noise::new(seed);
        let mut roll = || 0.5 * (dice.next().unwrap() + 1.0);
        Self {
            tones: (0..60).map(|_| (200.0 * 20f64.powf(roll()), TAU * roll())).collect(),
            levels: (0..60 * 400).map(|_| roll().powi(3)).collect(),
        }
    }

    fn at(&self, t: f64) -> f64 {
        let place = t * 4.0;
        let sum = self.tones.iter().enumerate().map(|(index, (hertz, phase))| {
            let level = |step: usize| self.levels[(step * 60 + index) % self.levels.len()];
            let (here, share) = (place.max(0.0) as usize, place.max(0.0).fract());
            (level(here) * (1.0 - share) + level(here + 1) * share) * (TAU * hertz * t + phase).sin()
        });
        0.02 * sum.sum::<f64>()
    }

    /// What a recorder that was started at `start` and whose clock runs at `rate` holds.
    fn recorded(&self, seconds: f64, start: f64, rate: f64, seed: u64) -> Vec<f32> {
        let mut noise = Noise::new(seed);
        let frames = (seconds * rate) as usize;
        (0..frames).map(|n| (self.at(start + n as f64 / rate) + 0.001 * noise.next().unwrap()) as f32).collect()
    }
}

/// The findings of the second file.
fn second(first: &[f32], second: (&[f32], u32)) -> Vec<Evidence> {
    let place = Place::new();
    let a = place.with("a.wav", &[first.to_vec()]);
    let b = place.folder.path().join("b.wav");
    write(&b, second.1, &[second.0.to_vec()]);
    let (recordings, _) = check(&[a, b], &[]);
    recordings[1].findings.iter().map(|finding| finding.evidence).collect()
}

#[test]
fn drift_and_offset() {
    let event = Event::new(1);
    let rate = f64::from(RATE);
    let first = event.recorded(50.0, 0.0, rate, 2);
    for (ppm, start) in [(12.0, 3.2), (-80.0, 1.05), (0.0, 0.5)] {
        let clock = rate * (1.0 + ppm * 1e-6);
        let found = second(&first, (&event.recorded(45.0, start, clock, 3), RATE));
        let Some(&Evidence::Drift { ppm: read, offset, .. }) = found.iter().find(|evidence| evidence.kind() == "drift")
        else {
            panic!("no drift in {found:?}");
        };
        assert!((read - ppm).abs() < 1.0, "{read} for {ppm}");
        // What lies at t in the first lies (t − start) · clock / rate into the second.
        assert!((offset.get() + start * clock / rate).abs() < 1e-4, "{offset:?} for {start}");
    }
}

#[test]
fn a_header_that_lies_about_the_rate() {
    let event = Event::new(1);
    let first = event.recorded(50.0, 0.0, f64::from(RATE), 2);
    let found = second(&first, (&event.recorded(45.0, 2.0, 44_100.0, 3), RATE));
    let lie = Evidence::Rate { header: RATE, true_rate: 44_100, line: None };
    assert!(found.contains(&lie), "{found:?}");
}

#[test]
fn two_events_are_no_pair() {
    let first = Event::new(1).recorded(50.0, 0.0, f64::from(RATE), 2);
    let found = second(&first, (&Event::new(5).recorded(45.0, 2.0, f64::from(RATE), 3), RATE));
    assert!(!found.iter().any(|evidence| ["drift", "rate", "duplicate"].contains(&evidence.kind())), "{found:?}");
}
