//! Instruments on a line input: keys with three patches, and a bass guitar.

use super::drums::BEAT;
use super::filters::LowPass;
use super::tones::{Patch, Table, add_note, pitch};
use super::{Passage, Track};
use crate::source::stage::dice::Dice;

/// Chords as semitones from A4.
pub const CHORDS: [[f64; 4]; 4] =
    [[-21.0, -9.0, -5.0, -2.0], [-24.0, -12.0, -9.0, -5.0], [-16.0, -12.0, -7.0, -4.0], [-14.0, -10.0, -7.0, -2.0]];

/// A phrase with each patch; the loudest is both hands on the brightest one.
pub fn keys(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let patches = [electric_piano(), organ(), strings()];
    let chosen: &[usize] = if passage == Passage::Ordinary { &[0, 1, 2] } else { &[0] };
    let mut track = Track::default();
    for &index in chosen {
        let start = track.samples.len();
        let seconds = if passage == Passage::Ordinary { 8.0 * BEAT } else { 12.0 * BEAT };
        track.samples.resize(start + ((seconds + 0.5) * rate) as usize, 0.0);
        let phrase = &mut track.samples[start..];
        // Patches differ in loudness, as they do on every instrument.
        let level = [1.0, 0.9, 0.9][index];
        play(phrase, seconds, level, &patches[index], passage, dice, rate);
        track.phrases.push(start..start + phrase.len());
    }
    track
}

fn play(phrase: &mut [f32], seconds: f64, level: f64, patch: &Patch, passage: Passage, dice: &mut Dice, rate: f64) {
    let busy = passage == Passage::Loudest;
    let mut beat = 0.0;
    while beat * BEAT < seconds - BEAT {
        let chord = CHORDS[(beat / 4.0) as usize % CHORDS.len()];
        let length = if busy { 1.0 } else { 2.0 };
        let touch = level * dice.between(0.75, 1.0);
        for (note, semitones) in chord.iter().enumerate() {
            let start = ((beat * BEAT + 0.004 * note as f64 + dice.between(0.0, 0.008)) * rate) as usize;
            add_note(phrase, rate, start, 0.95 * length * BEAT, pitch(*semitones), touch, patch);
            if busy {
                add_note(phrase, rate, start, 0.95 * length * BEAT, pitch(semitones + 12.0), touch, patch);
            }
        }
        // The right hand's tune.
        for half in 0..(length as usize * 2) {
            if dice.chance(0.7) {
                let start = ((beat + half as f64 / 2.0) * BEAT * rate) as usize;
                let note = chord[1 + dice.pick(3)] + 12.0;
                add_note(phrase, rate, start, 0.45 * BEAT, pitch(note), touch * dice.between(0.6, 0.9), patch);
            }
        }
        beat += length;
    }
}

/// Eighths on the roots of the chords, uneven as fingers are.
pub fn bass(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let beats = if passage == Passage::Ordinary { 16.0 } else { 12.0 };
    let mut track = Track::silent(beats * BEAT + 0.2, rate);
    let patch = bass_patch();
    let mut beat = 0.0;
    while beat < beats - 0.5 {
        let root = CHORDS[(beat / 4.0) as usize % CHORDS.len()][0] - 12.0;
        let note = root + [0.0, 0.0, 0.0, 7.0, 12.0][dice.pick(5)];
        let length = if passage == Passage::Loudest || dice.chance(0.7) { 0.5 } else { 1.0 };
        let start = ((beat * BEAT + dice.between(0.0, 0.008)) * rate) as usize;
        let level = dice.between(0.7, 1.0);
        add_note(&mut track.samples, rate, start, 0.9 * length * BEAT, pitch(note), level, &patch);
        pluck(&mut track.samples[start..], level, dice, rate);
        beat += length;
    }
    track.single_phrase();
    track
}

/// The finger leaving the string.
fn pluck(track: &mut [f32], level: f64, dice: &mut Dice, rate: f64) {
    let mut soften = LowPass::new(1800.0, rate);
    let frames = 0.012 * rate;
    for (n, sample) in track.iter_mut().take(frames as usize).enumerate() {
        *sample += soften.next(0.15 * level * (1.0 - n as f64 / frames) * dice.noise()) as f32;
    }
}

fn harmonics(count: usize, amplitude: impl Fn(f64) -> f64) -> Vec<f64> {
    (1..=count).map(|n| amplitude(n as f64)).collect()
}

fn electric_piano() -> Patch {
    Patch {
        bright: Table::new(&[0.07, 0.17, 0.14, 0.07, 0.04, 0.06, 0.04]),
        dull: Table::new(&[0.5, 0.12, 0.03]),
        attack: 0.004,
        decays: (0.8, 5.0),
        release: 0.08,
    }
}

fn organ() -> Patch {
    Patch {
        bright: Table::new(&[0.0, 0.0, 0.1, 0.1]),
        dull: Table::new(&[0.4, 0.35, 0.25, 0.2, 0.0, 0.1, 0.0, 0.12]),
        attack: 0.008,
        decays: (0.1, 60.0),
        release: 0.05,
    }
}

fn strings() -> Patch {
    Patch {
        bright: Table::new(&harmonics(14, |n| 0.3 / n)),
        dull: Table::new(&harmonics(6, |n| 0.4 / (n * n).sqrt())),
        attack: 0.12,
        decays: (8.0, 30.0),
        release: 0.3,
    }
}

pub fn bass_patch() -> Patch {
    Patch {
        bright: Table::new(&harmonics(16, |n| 0.22 / n.powf(0.8))),
        dull: Table::new(&harmonics(4, |n| 0.7 / (n * n))),
        attack: 0.004,
        decays: (0.5, 4.0),
        release: 0.04,
    }
}
