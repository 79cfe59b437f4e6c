//! Offset, rumble, low, silent, loud, riding: by values that follow from how the take was made.

use std::f64::consts::TAU;

use beforedoors::detectors::{Evidence, Severity};

use super::{RATE, of, programme, take, wrong};
use crate::support::signals::{Noise, amplitude};

#[test]
fn an_offset_is_the_mean() {
    for mean in [0.004f32, -0.015, 0.06] {
        let recording = take(&[programme(12.0, 1).iter().map(|x| 0.8 * x + mean).collect()]);
        let found = of(&recording, "dc");
        assert_eq!(found.len(), 1, "{mean}");
        let Evidence::Dc { mean: read } = found[0].evidence else { panic!() };
        assert!((read - f64::from(mean)).abs() < 2e-4, "{read}");
    }
}

/// A sine of half the power of everything: a share of one half under 40 Hz, of none over it.
#[test]
fn rumble_by_its_share() {
    for (hertz, expected) in [(6.0, true), (15.0, true), (33.0, true), (50.0, false)] {
        let mut plane = programme(12.0, 1);
        let power = plane.iter().map(|x| f64::from(x * x)).sum::<f64>() / plane.len() as f64;
        for (index, sample) in plane.iter_mut().enumerate() {
            *sample += ((2.0 * power).sqrt() * (TAU * hertz * index as f64 / f64::from(RATE)).sin()) as f32;
        }
        let recording = take(&[plane]);
        let found = of(&recording, "rumble");
        assert_eq!(found.len(), usize::from(expected), "{hertz}: {:?}", recording.findings);
        for finding in found {
            let Evidence::Rumble { share } = finding.evidence else { panic!() };
            assert!((share - 0.5).abs() < 0.06, "{hertz}: {share}");
        }
    }
}

/// White noise under programme with pauses: two kilohertz to 24 are 22 of 24 parts of it.
#[test]
fn hiss_is_the_noise_between() {
    let active = 10.0 * f64::from(programme(25.0, 4).iter().map(|x| x * x).sum::<f32>() / (25.0 * RATE as f32)).log10();
    for (level, expected) in [(active - 35.0, true), (active - 62.0, false)] {
        // Even noise of height 1 has a mean square of a third.
        let height = amplitude(level) * 3f64.sqrt();
        let noise = Noise::new(9).map(|x| (height * x) as f32);
        let plane: Vec<f32> = programme(25.0, 4).iter().zip(noise).map(|(x, n)| x + n).collect();
        let recording = take(&[plane]);
        let found = of(&recording, "hiss");
        assert_eq!(found.len(), usize::from(expected), "{level}: {:?}", recording.findings);
        for finding in found {
            let Evidence::Hiss { floor, .. } = finding.evidence else { panic!() };
            assert!((floor.get() - level - 10.0 * (22.0f64 / 24.0).log10()).abs() < 1.0, "{floor:?} for {level}");
        }
    }
}

/// Chords that swell and die away, and never stop.
#[test]
fn held_notes_are_no_hiss() {
    let chord = |t: f64| {
        let partials =
            |note: f64| (1..=30).map(move |k| (TAU * note * f64::from(k) * t).sin() / f64::from(k)).sum::<f64>();
        [220.0, 277.2, 329.6].into_iter().map(partials).sum::<f64>()
    };
    let swell = |t: f64| amplitude(-34.0 - 14.0 * (TAU * t / 6.0).cos());
    let room = Noise::new(3).map(|x| 1e-4 * x);
    let plane: Vec<f32> = (0..25 * RATE)
        .map(|index| f64::from(index) / f64::from(RATE))
        .zip(room)
        .map(|(t, noise)| (swell(t) * chord(t) + noise) as f32)
        .collect();
    let recording = take(&[plane]);
    assert!(of(&recording, "hiss").is_empty(), "{:?}", recording.findings);
}

#[test]
fn silent_low_and_loud() {
    let noise =
        |db: f64| Noise::new(3).take(12 * RATE as usize).map(|x| (x * amplitude(db)) as f32).collect::<Vec<f32>>();
    for plane in [vec![0.0; 12 * RATE as usize], noise(-95.0)] {
        let recording = take(&[plane]);
        let silent = of(&recording, "silent");
        assert_eq!((silent.len(), silent[0].severity()), (1, Severity::Lost));
        assert_eq!(wrong(&recording), ["silent"]);
    }
    let soft: Vec<f32> = programme(20.0, 1).iter().zip(noise(-70.0)).map(|(x, n)| 0.01 * x + n).collect();
    assert_eq!(of(&take(&[soft]), "low").len(), 1);
    let peak = |plane: &[f32]| plane.iter().fold(0f32, |peak, x| peak.max(x.abs()));
    let plane = programme(12.0, 1);
    let highest = peak(&plane);
    let loud: Vec<f32> = plane.iter().map(|x| x / highest * 0.97).collect();
    let recording = take(&[loud]);
    assert_eq!(of(&recording, "loud").len(), 1);
    assert!(wrong(&recording).is_empty(), "{:?}", recording.findings);
}
