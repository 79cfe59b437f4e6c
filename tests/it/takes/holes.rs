//! Dropouts: cut out of sound at known frames; silence that a fade, a gate or a pause leads to is none.

use std::f64::consts::TAU;

use beforedoors::detectors::{DropoutForm, Evidence, Severity, TakeEar};
use beforedoors::meters::ChannelSummary;
use beforedoors::units::{ChannelId, FrameCount, SampleRate};

use super::{RATE, of, programme, take};
use crate::support::signals::stepped_sine;

/// Loud all the time: a hole can lie anywhere.
fn tone() -> Vec<f32> {
    stepped_sine(RATE, 440.3, &[(10.0, -12.0)])
}

#[test]
fn holes_are_found_to_the_sample() {
    let mut plane = tone();
    let holes = [(48_007, 60), (100_003, 241), (150_011, 2_160), (300_017, 9_600)];
    for (start, length) in holes {
        plane[start..start + length].fill(0.0);
    }
    let recording = take(&[tone(), plane]);
    let found = of(&recording, "dropout");
    assert_eq!(found.len(), holes.len(), "{found:?}");
    for (finding, (start, length)) in found.iter().zip(holes) {
        assert_eq!(finding.channel, ChannelId::new(1));
        // A sample of the tone itself may be zero.
        assert!(finding.start.get().abs_diff(start as u64) <= 1, "{finding:?}");
        assert!(finding.end.get().abs_diff((start + length) as u64) <= 1, "{finding:?}");
        assert!(matches!(finding.evidence, Evidence::Dropout { form: DropoutForm::Zeros, .. }));
    }
    assert_eq!(found[0].severity(), Severity::Hides);
    assert_eq!(found[3].severity(), Severity::Lost, "0.2 s take a word with them");
}

#[test]
fn a_held_value_is_a_hole() {
    let mut plane = tone();
    let held = plane[70_020] * 0.2;
    plane[70_000..70_300].fill(held);
    let recording = take(&[plane]);
    let found = of(&recording, "dropout");
    assert_eq!(found.len(), 1);
    assert!(matches!(found[0].evidence, Evidence::Dropout { form: DropoutForm::Held, .. }), "{found:?}");
}

#[test]
fn fades_gates_pauses_and_clipping_are_none() {
    let mut faded = tone();
    for (index, sample) in faded[100_000..124_000].iter_mut().enumerate() {
        *sample *= (1.0 - index as f32 / 24_000.0).powi(4);
    }
    faded[124_000..130_000].fill(0.0);
    let mut paused = tone();
    paused[100_000..140_000].fill(0.0);
    let square: Vec<f32> = tone().iter().map(|x| (x * 40.0).clamp(-0.5, 0.5)).collect();
    // Hits out of digital silence, as a drum machine has them.
    let hit = |i: usize| if i % 12_000 < 6_000 { (-((i % 12_000) as f32) / 400.0).exp() } else { 0.0 };
    let machine: Vec<f32> = tone().iter().enumerate().map(|(i, x)| x * hit(i)).collect();
    // Words that come out of digital silence and go back into it.
    let word = |i: usize| (TAU * ((i % 9_600) as f64 / 9_600.0).min(0.5)).sin().max(0.0).powi(2) as f32;
    let words: Vec<f32> = tone().iter().enumerate().map(|(i, x)| x * word(i)).collect();
    for (name, plane) in
        [("words", words), ("fade", faded), ("pause", paused), ("square", square), ("machine", machine)]
    {
        assert!(of(&take(&[plane]), "dropout").is_empty(), "{name}");
    }
}

#[test]
fn the_same_samples_give_the_same_findings_however_they_are_cut() {
    let mut plane = programme(12.0, 4);
    plane[200_000..200_200].fill(0.0);
    plane[333_000] += 0.4;
    let heard = |cuts: &[usize]| {
        let mut ear = TakeEar::new(ChannelId::new(0), SampleRate::new(RATE).expect("a rate"));
        let mut at = 0;
        for &cut in cuts.iter().cycle() {
            let to = (at + cut).min(plane.len());
            ear.push(&plane[at..to], FrameCount::new(at as u64));
            at = to;
            if at == plane.len() {
                break;
            }
        }
        format!("{:?} {:?}", ear.finish(&ChannelSummary::default()), ear.print().alike(ear.print()))
    };
    let whole = heard(&[plane.len()]);
    for cuts in [&[1_000][..], &[48_000], &[7, 4_801, 333], &[479]] {
        assert_eq!(heard(cuts), whole, "{cuts:?}");
    }
}
