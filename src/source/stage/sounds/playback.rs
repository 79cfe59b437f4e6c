//! A laptop's mixed cue: drums, bass, chords and a tune, held together by a soft limit as masters are.

use super::drums::{BEAT, add_hat, add_kick, add_snare};
use super::filters::LowPass;
use super::instruments::{CHORDS, bass_patch};
use super::tones::{Patch, Table, add_note, pitch};
use super::{Passage, Track};
use crate::source::stage::dice::Dice;

pub fn playback(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let (bars, drive) = if passage == Passage::Ordinary { (4, 1.4) } else { (3, 1.8) };
    let mut track = Track::silent(f64::from(bars) * 4.0 * BEAT + 0.4, rate);
    let samples = &mut track.samples;
    let (bass, pad, lead) = (bass_patch(), pad(), lead());
    for eighth in 0..bars as usize * 8 {
        let beat = eighth as f64 / 2.0;
        let at = (beat * BEAT * rate) as usize;
        let chord = CHORDS[eighth / 8 % CHORDS.len()];
        add_hat(&mut samples[at..], rate, dice, 0.2);
        match eighth % 8 {
            0 | 4 => add_kick(&mut samples[at..], rate, dice, 0.7),
            2 | 6 => add_snare(&mut samples[at..], rate, dice, 0.5),
            _ => {}
        }
        if eighth % 2 == 0 {
            add_note(samples, rate, at, 0.9 * BEAT, pitch(chord[0] - 12.0), 0.5, &bass);
            let note = chord[1 + dice.pick(3)] + 12.0;
            add_note(samples, rate, at, 0.8 * BEAT, pitch(note), 0.3, &lead);
        }
        if eighth % 8 == 0 {
            for semitones in chord {
                add_note(samples, rate, at, 3.9 * BEAT, pitch(semitones), 0.13, &pad);
            }
        }
    }
    let (mut first, mut second) = (LowPass::new(11_000.0, rate), LowPass::new(11_000.0, rate));
    for sample in samples {
        let loud = (drive * f64::from(*sample)).tanh();
        *sample = second.next(first.next(loud)) as f32;
    }
    track.single_phrase();
    track
}

fn pad() -> Patch {
    Patch {
        bright: Table::new(&[0.3, 0.25, 0.2, 0.15, 0.12, 0.1, 0.08]),
        dull: Table::new(&[0.6, 0.3, 0.1]),
        attack: 0.08,
        decays: (6.0, 40.0),
        release: 0.2,
    }
}

fn lead() -> Patch {
    Patch {
        bright: Table::new(&[0.4, 0.3, 0.25, 0.2, 0.15, 0.1]),
        dull: Table::new(&[0.6, 0.2]),
        attack: 0.01,
        decays: (0.5, 4.0),
        release: 0.1,
    }
}
