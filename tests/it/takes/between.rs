//! What two channels tell of each other, by closed forms: sums and differences of independent signals of equal power.

use beforedoors::detectors::Evidence;

use super::{RATE, of, programme, take};
use crate::support::signals::Noise;

fn noise(seed: u64) -> Vec<f32> {
    Noise::new(seed).take(12 * RATE as usize).map(|x| 0.2 * x as f32).collect()
}

fn mix(a: &[f32], b: &[f32], share: f32) -> Vec<f32> {
    a.iter().zip(b).map(|(a, b)| a + share * b).collect()
}

/// m + w·s against −(m − w·s): the correlation is −(1 − w²) / (1 + w²).
#[test]
fn polarity_by_its_correlation() {
    let (middle, side) = (noise(1), noise(2));
    for (share, upside_down) in [(0.0, true), (0.2, true), (0.35, true), (0.6, false)] {
        let right: Vec<f32> = mix(&middle, &side, -share).iter().map(|x| -x).collect();
        let recording = take(&[mix(&middle, &side, share), right]);
        let found = of(&recording, "polarity");
        assert_eq!(!found.is_empty(), upside_down, "{share}");
        if let Some(Evidence::Polarity { correlation, .. }) = found.first().map(|finding| finding.evidence) {
            let expected = -(1.0 - f64::from(share).powi(2)) / (1.0 + f64::from(share).powi(2));
            assert!((correlation - expected).abs() < 0.02, "{correlation} for {expected}");
        }
    }
}

#[test]
fn the_same_at_another_level() {
    let left = programme(12.0, 3);
    for (gain, db) in [(1.0, 0.0), (0.5, -6.0206), (0.8, -1.9382)] {
        let recording = take(&[left.clone(), left.iter().map(|x| gain * x).collect()]);
        let found = of(&recording, "duplicate");
        assert_eq!(found.len(), 1, "{gain}");
        let Evidence::Duplicate { gain: read, .. } = found[0].evidence else { panic!() };
        assert!((read.get() - db).abs() < 0.01, "{read:?}");
        assert_eq!(of(&recording, "mono").len(), 1);
    }
    // Two microphones on one source: alike, not the same.
    let recording = take(&[left.clone(), mix(&left, &noise(5), 0.05)]);
    assert!(of(&recording, "duplicate").is_empty());
}

#[test]
fn one_side_and_a_dead_one() {
    let (left, right) = (programme(12.0, 3), programme(12.0, 8));
    let softer = |db: f32| right.iter().map(|x| x * 10f32.powf(db / 20.0)).collect::<Vec<f32>>();
    assert_eq!(of(&take(&[left.clone(), softer(-14.0)]), "one_side").len(), 1);
    let dead = take(&[left, vec![0.0; right.len()]]);
    assert!(of(&dead, "one_side").is_empty(), "it is silent, not weak");
    let silent = of(&dead, "silent");
    assert_eq!((silent.len(), silent[0].channel.number()), (1, 2));
}
