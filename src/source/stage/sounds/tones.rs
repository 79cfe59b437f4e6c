//! Pitched sounds from single-cycle tables: the notes of keys, bass and arrangement.
//!
//! A table holds the sum of a few harmonics; a note reads a bright one that dies sooner and a dull one
//! that lasts, as struck and plucked strings do.

use std::f64::consts::TAU;

use super::filters::Decay;

const CYCLE: usize = 2048;

/// One cycle of a waveform.
pub struct Table(Vec<f32>);

impl Table {
    /// From the amplitudes of the harmonics 1, 2, 3 …
    pub fn new(harmonics: &[f64]) -> Self {
        let mut cycle = vec![0f32; CYCLE + 1];
        for (index, sample) in cycle.iter_mut().enumerate() {
            let phase = TAU * index as f64 / CYCLE as f64;
            // Each harmonic starts at its own phase, so that their tops do not all meet.
            let sum: f64 = harmonics
                .iter()
                .enumerate()
                .map(|(n, amplitude)| amplitude * ((n + 1) as f64 * phase + 0.7 * (n * n) as f64).sin())
                .sum();
            *sample = sum as f32;
        }
        Self(cycle)
    }

    fn at(&self, phase: f64) -> f64 {
        let place = phase * CYCLE as f64;
        let index = place as usize;
        let (a, b) = (f64::from(self.0[index]), f64::from(self.0[index + 1]));
        a + (b - a) * (place - index as f64)
    }
}

/// How an instrument sounds a note; times in seconds.
pub struct Patch {
    pub bright: Table,
    pub dull: Table,
    pub attack: f64,
    /// To −60 dB, of the bright and of the dull part.
    pub decays: (f64, f64),
    pub release: f64,
}

/// Adds a note to `track`, beginning at frame `start`, held for `seconds`.
pub fn add_note(track: &mut [f32], rate: f64, start: usize, seconds: f64, hz: f64, level: f64, patch: &Patch) {
    let step = hz / rate;
    let (mut bright, mut dull) = (Decay::new(level, patch.decays.0, rate), Decay::new(level, patch.decays.1, rate));
    let attack = (patch.attack * rate).max(1.0);
    let (held, release) = (seconds * rate, patch.release * rate);
    let mut phase = 0.0;
    let frames = (held + release) as usize;
    for (n, sample) in track.iter_mut().skip(start).take(frames).enumerate() {
        let n = n as f64;
        let shape = (n / attack).min(1.0) * (1.0 - (n - held) / release).clamp(0.0, 1.0);
        let wave = bright.next() * patch.bright.at(phase) + dull.next() * patch.dull.at(phase);
        *sample += (shape * wave) as f32;
        phase += step;
        phase -= phase.floor();
    }
}

/// The frequency of a key, counted in semitones from A4 = 440 Hz (ISO 16).
pub fn pitch(semitones_from_a4: f64) -> f64 {
    440.0 * 2f64.powf(semitones_from_a4 / 12.0)
}
