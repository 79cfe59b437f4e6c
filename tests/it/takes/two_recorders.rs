//! Two recorders at one event: the same function of time, sampled by two clocks, so that drift and offset are exact.

use std::f64::consts::TAU;

use beforedoors::detectors::Evidence;

use super::{Place, RATE, check, programme, write};
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

/// Heard from far back: more of the room than of the source, reverberation of 1.5 s, a level that follows the sound, as
/// many frames as the other. What is direct comes after 30 ms.
fn from_a_seat(sound: &[f32], seed: u64) -> Vec<f32> {
    let mut dice = Noise::new(seed);
    let mut roll = || dice.next().unwrap();
    let rate = f64::from(RATE);
    let echoes: Vec<(usize, f32)> = (0..300)
        .map(|_| {
            let late = 0.003 + 0.9 * (0.5 * (roll() + 1.0)).powi(2);
            ((late * rate) as usize, (10f64.powf(-3.0 * late / 1.5) * roll() * 0.4) as f32)
        })
        .chain([(0, 0.6)])
        .collect();
    let mut heard = vec![0f32; sound.len()];
    for (late, gain) in echoes {
        let late = late + (0.030 * rate) as usize;
        for (out, sample) in heard[late..].iter_mut().zip(sound) {
            *out += gain * sample;
        }
    }
    let mut level = 0.01f32;
    for sample in &mut heard {
        let size = sample.abs();
        level += (size - level) * if size > level { 1e-3 } else { 2e-5 };
        *sample = 0.1 * *sample / level.max(1e-3) + 0.001 * roll() as f32;
    }
    heard
}

#[test]
fn a_phone_far_back_is_lined_up() {
    let desk = programme(60.0, 1);
    let found = second(&desk, (&from_a_seat(&desk, 21), RATE));
    let Some(&Evidence::Drift { ppm, offset, .. }) = found.iter().find(|evidence| evidence.kind() == "drift") else {
        panic!("no drift in {found:?}");
    };
    assert!(ppm.abs() < 2.0, "{ppm}");
    // The strongest of the first arrivals.
    assert!((0.029..0.06).contains(&offset.get()), "{offset:?}");
}

/// Two tracks of one machine: one length, one start, one clock.
#[test]
fn one_machine_is_no_pair() {
    let left = programme(40.0, 1);
    let right: Vec<f32> = left.iter().zip(programme(40.0, 2)).map(|(own, other)| 0.5 * own + 0.5 * other).collect();
    let found = second(&left, (&right, RATE));
    assert!(!found.iter().any(|evidence| evidence.kind() == "drift"), "{found:?}");
}

#[test]
fn two_events_are_no_pair() {
    let first = Event::new(1).recorded(50.0, 0.0, f64::from(RATE), 2);
    let found = second(&first, (&Event::new(5).recorded(45.0, 2.0, f64::from(RATE), 3), RATE));
    assert!(!found.iter().any(|evidence| ["drift", "rate", "duplicate"].contains(&evidence.kind())), "{found:?}");
}
