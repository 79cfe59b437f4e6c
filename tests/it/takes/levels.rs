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

/// A sine at 35 Hz of half the power of everything: a share of one half.
#[test]
fn rumble_by_its_share() {
    let mut plane = programme(12.0, 1);
    let power = plane.iter().map(|x| f64::from(x * x)).sum::<f64>() / plane.len() as f64;
    for (index, sample) in plane.iter_mut().enumerate() {
        *sample += ((2.0 * power).sqrt() * (TAU * 35.0 * index as f64 / f64::from(RATE)).sin()) as f32;
    }
    let recording = take(&[plane]);
    let found = of(&recording, "rumble");
    assert_eq!(found.len(), 1, "{:?}", recording.findings);
    let Evidence::Rumble { share } = found[0].evidence else { panic!() };
    assert!((share - 0.5).abs() < 0.06, "{share}");
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
