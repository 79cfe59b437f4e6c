//! Tops that were cut and then ruffled: by a change of rate there and back, as a codec or a converter does it.

use beforedoors::detectors::{Finding, Severity};
use beforedoors::dsp::resample::resample;
use beforedoors::units::{FrameCount, SampleRate};

use super::{RATE, of, take};
use crate::support::signals::music;

/// Low-passed at 11.4 kHz: the flat tops ring.
fn ruffled(plane: &[f32]) -> Vec<f32> {
    let rate = |hz| SampleRate::new(hz).expect("a rate");
    resample(&resample(plane, rate(RATE), rate(24_000)), rate(24_000), rate(RATE))
}

fn driven(seed: u64, gain: f32, shape: impl Fn(f32) -> f32) -> Vec<f32> {
    music(RATE, 12.0, seed).iter().map(|x| 0.5 * shape(gain * x)).collect()
}

#[test]
fn clipped_then_coded() {
    for seed in [1, 2, 3] {
        let recording = take(&[ruffled(&driven(seed, 4.0, |x| x.clamp(-1.0, 1.0)))]);
        let found: Vec<_> = recording.findings.iter().filter(|f| f.severity() == Severity::Hides).collect();
        assert!(!found.is_empty(), "seed {seed}: {:?}", recording.findings);
        let kinds: Vec<_> = found.iter().map(|finding| finding.evidence.kind()).collect();
        assert!(kinds.iter().all(|kind| ["coded_clip", "flat_top"].contains(kind)), "{kinds:?}");
    }
}

#[test]
fn the_same_music_unclipped_has_none() {
    for seed in [1, 2, 3] {
        let recording = take(&[ruffled(&driven(seed, 0.9, |x| x))]);
        for kind in ["coded_clip", "flat_top", "clipped"] {
            assert!(of(&recording, kind).is_empty(), "seed {seed}: {kind}");
        }
    }
}

/// Both half-waves end at one height, all along: one passage, with the places of both.
#[test]
fn both_half_waves_are_one_passage() {
    let recording = take(&[driven(1, 6.0, |x| x.clamp(-1.0, 1.0))]);
    let found = of(&recording, "flat_top");
    for (index, one) in found.iter().enumerate() {
        let apart = |other: &&&Finding| other.start >= one.end + FrameCount::new(u64::from(RATE));
        assert_eq!(found[index + 1..].iter().filter(apart).count(), found.len() - index - 1, "{found:?}");
    }
    assert!(!found.is_empty());
}
