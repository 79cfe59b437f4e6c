//! Dropouts: cut out of sound, repeated or left out at known frames; silence that a fade, a gate or a pause leads to is none.

use std::f64::consts::TAU;

use beforedoors::detectors::{DropoutForm, Evidence, Finding, Severity, TakeEar};
use beforedoors::engine::recording::Recording;
use beforedoors::meters::ChannelSummary;
use beforedoors::units::{ChannelId, FrameCount, SampleRate};

use super::{RATE, of, programme, take};
use crate::support::signals::{Noise, amplitude, music, stepped_sine};

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

/// Of a sound, in order: form, first frame and length in frames.
fn forms(recording: &Recording) -> Vec<(DropoutForm, u64, u64)> {
    let form = |finding: &&Finding| match finding.evidence {
        Evidence::Dropout { form, .. } => (form, finding.start.get(), (finding.end - finding.start).get()),
        _ => unreachable!(),
    };
    of(recording, "dropout").iter().map(form).collect()
}

#[test]
fn blocks_that_come_twice() {
    let mut plane = programme(12.0, 21);
    // Once more in its successor's place; and put in between, twice over.
    plane.copy_within(100_000..100_480, 100_480);
    let again = plane[299_488..300_000].repeat(2);
    plane.splice(300_000..300_000, again);
    let found = forms(&take(&[plane]));
    let expected = [(100_480, 480), (300_000, 1_024)];
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for ((form, start, length), (true_start, true_length)) in found.into_iter().zip(expected) {
        assert_eq!(form, DropoutForm::Repeated);
        // The samples beside it may be the same by chance.
        assert!(start.abs_diff(true_start) <= 3 && length.abs_diff(true_length) <= 3, "{start} {length}");
    }
}

#[test]
fn a_machines_notes_repeat_themselves_without_a_dropout() {
    // Saws of whole periods, each note with its own; and a drum's hit, the same samples every 100 ms.
    let saw = |i: usize| ((i % (90 + 7 * (i / 12_000))) as f32 / 90.0 - 0.5) * 0.4;
    let hit: Vec<f32> = music(RATE, 0.1, 5).iter().enumerate().map(|(i, x)| x * (-(i as f32) / 600.0).exp()).collect();
    for (name, plane) in [("saws", (0..480_000).map(saw).collect::<Vec<f32>>()), ("hits", hit.repeat(100))] {
        assert_eq!(forms(&take(&[plane])), [], "{name}");
    }
}

/// What is found on both sides is true, to the millisecond; on one side alone it is none.
#[test]
fn samples_that_are_missing() {
    let places: Vec<usize> = (1..=20).map(|place| place * 26_003).collect();
    let cut = |seed: u64| {
        let mut plane = programme(12.0, seed);
        for (index, &place) in places.iter().enumerate() {
            plane.drain(place..place + 64 + 48 * (index % 5));
        }
        plane
    };
    let (left, right, mut whole) = (cut(22), cut(26), programme(12.0, 27));
    whole.truncate(left.len());
    let found = forms(&take(&[left.clone(), right]));
    assert!(found.len() >= 10, "{}", found.len());
    for (form, start, _) in found {
        assert_eq!(form, DropoutForm::Step);
        assert!(places.iter().any(|&place| start.abs_diff(place as u64) <= 48), "{start}");
    }
    assert_eq!(forms(&take(&[left, whole])), []);
}

#[test]
fn a_line_that_dies() {
    let floor = amplitude(-100.0);
    let mut dead = Noise::new(9);
    let mut nothing = |plane: &mut [f32]| plane.fill_with(|| (floor * dead.next().unwrap()) as f32);
    let (whole, mut for_good, mut for_a_while) = (programme(12.0, 23), programme(12.0, 24), programme(12.0, 25));
    // A pause would hide when it went.
    let loud = |plane: &[f32], from: usize| {
        let energy = |hop: usize| plane[hop * 480..][..480].iter().map(|x| x * x).sum::<f32>();
        (from..from + 100).max_by(|&a, &b| energy(a).total_cmp(&energy(b))).map_or(0, |hop| (hop + 1) * 480)
    };
    let (good, a_while) = (loud(&for_good, 600), loud(&for_a_while, 400));
    nothing(&mut for_good[good..]);
    nothing(&mut for_a_while[a_while..a_while + 60_000]);
    let found = take(&[whole, for_good, for_a_while]);
    let mut told = of(&found, "dropout");
    told.sort_by_key(|finding| finding.channel);
    assert_eq!(told.len(), 2, "{told:?}");
    for (finding, (channel, start, end)) in told.iter().zip([(1, good, 576_000), (2, a_while, a_while + 60_000)]) {
        assert!(matches!(finding.evidence, Evidence::Dropout { form: DropoutForm::Died, .. }), "{finding:?}");
        assert_eq!((finding.channel, finding.severity()), (ChannelId::new(channel), Severity::Lost));
        // Told by hops of 10 ms.
        assert!(
            finding.start.get().abs_diff(start as u64) <= 480 && finding.end.get().abs_diff(end as u64) <= 480,
            "{finding:?}"
        );
    }
}

#[test]
fn fades_gates_pauses_and_clipping_are_none() {
    let mut faded = tone();
    for (index, sample) in faded[100_000..124_000].iter_mut().enumerate() {
        *sample *= (1.0 - index as f32 / 24_000.0).powi(4);
    }
    faded[124_000..130_000].fill(0.0);
    // The last note dies away in 0.3 s before each pause.
    let mut paused = tone();
    for start in [60_000, 180_000, 300_000] {
        for (index, sample) in paused[start..start + 60_000].iter_mut().enumerate() {
            *sample *= (-(index as f32) / 2_000.0).exp();
        }
    }
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
        format!("{:?} {:?}", ear.finish(&ChannelSummary::default(), false), ear.print().alike(ear.print()))
    };
    let whole = heard(&[plane.len()]);
    for cuts in [&[1_000][..], &[48_000], &[7, 4_801, 333], &[479]] {
        assert_eq!(heard(cuts), whole, "{cuts:?}");
    }
}
